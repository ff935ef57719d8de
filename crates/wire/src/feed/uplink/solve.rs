//! From wires to the figures of a transmit feed.

use super::structure::build;
use super::{Ground, HelixFeed, IMPEDANCE_U, UplinkFeed};
use crate::error::WireError;
use crate::mesh::Density;
use crate::report::Report;
use crate::system::System;
use num_complex::Complex64;
use slantpath_antenna::AntennaError;
use slantpath_antenna::pattern::{Pattern, PhaseCentre, PhaseFit};
use slantpath_antenna::polarisation::Polarisation;
use slantpath_antenna::quadrature::gauss_legendre;
use slantpath_quantity::{Angle, Decibel, Frequency, Length, Validity, to_db};
use std::f64::consts::PI;

/// Directions of the sampled pattern.
const NT: usize = 61;
const NP: usize = 24;

/// How pure the polarisation is over the dish's cone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cone {
    /// Half-angle under which the feed sees the dish.
    pub half_angle: Angle,
    /// Greatest axial ratio within it.
    pub worst_axial_ratio: Decibel,
    /// Power of the wrong sense over power of the right one within it, dB.
    pub cross_polar: Decibel,
    /// Share of all radiated power within it.
    pub power: f64,
}

/// Change of figures between two divisions of the wires, taken as standard uncertainties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Of the gain, dB.
    pub gain: Decibel,
    /// Of the axial ratio on the axis, dB.
    pub axial_ratio: Decibel,
    /// Of the phase centre.
    pub phase_centre: Length,
    /// Of the impedance, ohm.
    pub impedance: f64,
}

/// A solved transmit feed at one frequency.
#[derive(Debug, Clone)]
pub struct Uplink {
    /// Frequency.
    pub frequency: Frequency,
    /// Pattern over the sphere, phases from the middle of the disc, nominal polarisation as meant.
    pub pattern: Pattern,
    /// Directivity on the axis, both polarisations together, over isotropic.
    pub directivity: Decibel,
    /// Gain on the axis: directivity less loss in the metal, without mismatch.
    pub gain: Decibel,
    /// Loss in the metal.
    pub metal_loss: Decibel,
    /// Axial ratio on the axis (infinite for a linear feed).
    pub axial_ratio: Decibel,
    /// Over the dish's cone.
    pub cone: Cone,
    /// Phase centre in the planes `x z` and `y z`, over the dish's cone's angle; distance before the disc.
    pub phase_centre_planes: [PhaseCentre; 2],
    /// Phase centre over the whole cone: where the dish's focus belongs.
    pub phase_centre: PhaseCentre,
    /// Front to back; infinite over a plane.
    pub front_to_back: Decibel,
    /// Impedance at each source as driven, ohm.
    pub impedance: Vec<Complex64>,
    /// Current along the driven wires (stub, then winding; or the rods), per volt: distance from the foot, m, and amplitude, A.
    pub currents: Vec<(f64, f64)>,
    /// Change between two densities, when solved at two.
    pub spread: Option<Spread>,
    /// What the solver says of itself.
    pub report: Report,
    /// Inside the model's range, or why not.
    pub validity: Validity,
}

impl Spread {
    pub(super) fn between(coarse: &Uplink, fine: &Uplink) -> Self {
        let z = |u: &Uplink| u.impedance.first().copied().unwrap_or_default();
        let ar = fine.axial_ratio.0 - coarse.axial_ratio.0;
        Self {
            gain: Decibel((fine.gain.0 - coarse.gain.0).abs()),
            axial_ratio: Decibel(if ar.is_finite() { ar.abs() } else { 0.0 }),
            phase_centre: Length::m((fine.phase_centre.z - coarse.phase_centre.z).as_m().abs()),
            impedance: (z(fine) - z(coarse)).norm(),
        }
    }
}

impl Uplink {
    /// Standard uncertainty of an impedance, ohm: 15 % of its size and the change between two divisions.
    pub fn impedance_u(&self) -> f64 {
        let z = self.impedance.first().map_or(0.0, |z| z.norm());
        (IMPEDANCE_U * z).hypot(self.spread.map_or(0.0, |s| s.impedance))
    }

    /// Return loss against a line, dB > 0, with its standard uncertainty from that of the impedance.
    pub fn return_loss(&self, line_ohm: f64) -> (Decibel, Decibel) {
        let z = self.impedance.first().copied().unwrap_or_default();
        return_loss(z, self.impedance_u(), line_ohm)
    }
}

/// Return loss of an impedance (ohm, with its standard uncertainty in any direction) against a line, dB > 0, with its own.
pub fn return_loss(z: Complex64, u_ohm: f64, line_ohm: f64) -> (Decibel, Decibel) {
    let rl = |z: Complex64| -to_db(((z - line_ohm) / (z + line_ohm)).norm_sqr());
    let best = rl(z);
    // eight directions in the plane of impedance
    let swing = (0..8)
        .map(|i| rl(z + Complex64::from_polar(u_ohm, PI / 4.0 * f64::from(i))))
        .map(|x| (x - best).powi(2))
        .sum::<f64>();
    (Decibel(best), Decibel((swing / 8.0).sqrt()))
}

pub(super) fn solve(
    feed: &UplinkFeed,
    like: &UplinkFeed,
    f: Frequency,
    cone: Angle,
    density: Density,
) -> Result<Uplink, WireError> {
    let half = cone.as_rad();
    if !(half > 0.09 && half < 2.0) {
        return Err(WireError::Pattern(AntennaError::FeedOutsideCone(format!(
            "it is seen under a half-angle of {:.1} deg; dishes lie between 10 and 110",
            cone.as_deg()
        ))));
    }
    let built = build(feed, like, f, density.per_wavelength)?;
    let system = System::new(&built.structure, f, density)?;
    let on = system.drive(&built.ports)?;
    let report = on.report();
    let nominal = match feed.sense() {
        Some(s) => Polarisation::circular(s),
        None => Polarisation::HORIZONTAL,
    };
    let pattern = Pattern::grid(on.grid(NT, NP)?, nominal);
    let plane = built.structure.plane;
    // over a plane the sampled pattern steps at the horizon: power from the exact integral instead
    let radiated = on.radiated() * 2.0 * slantpath_quantity::constants::ETA0_OHM;
    let directivity = to_db(4.0 * PI * on.far_field(0.0, 0.0).intensity() / radiated);
    let metal_loss = -to_db(1.0 - report.lost_share);
    let zero = Angle::rad(0.0);
    let axial = |t: Angle| pattern.worst_axial_ratio(t).map_or(f64::INFINITY, |d| d.0);
    let mut impedance = Vec::with_capacity(built.ports.len());
    for (port, volt) in &built.ports {
        impedance.push(volt / on.current(port)?);
    }
    let currents = along(&system, &on);
    let validity = built.validity.and(report.validity.clone());
    let plane_fit = |deg: f64| pattern.phase_centre(f, cone, PhaseFit::Plane(Angle::deg(deg)));
    Ok(Uplink {
        frequency: f,
        directivity: Decibel(directivity),
        gain: Decibel(directivity - metal_loss),
        metal_loss: Decibel(metal_loss),
        axial_ratio: Decibel(axial(zero)),
        cone: Cone {
            half_angle: cone,
            worst_axial_ratio: Decibel(
                (0..=8)
                    .map(|i| axial(cone * (f64::from(i) / 8.0)))
                    .fold(0.0, f64::max),
            ),
            cross_polar: Decibel(cross_polar(&pattern, half)),
            power: pattern.power_within(cone)?,
        },
        phase_centre_planes: [plane_fit(0.0)?, plane_fit(90.0)?],
        phase_centre: pattern.phase_centre(f, cone, PhaseFit::Cone)?,
        front_to_back: if plane {
            Decibel(f64::INFINITY)
        } else {
            pattern.front_to_back()
        },
        impedance,
        currents,
        spread: None,
        report,
        validity,
        pattern,
    })
}

/// Amplitudes on all wires that are no grid, one after the other.
fn along(system: &System, on: &crate::solution::Solution<'_>) -> Vec<(f64, f64)> {
    let mut s = 0.0;
    let mut out = Vec::new();
    for ((.., len, wire), [a, b]) in system.mesh().places().zip(on.currents()) {
        let name = &system.mesh().wires[wire].name;
        let grids = ["disc", "receive feed", "patch", "tube"];
        if grids.iter().any(|g| name.starts_with(g)) {
            continue;
        }
        out.push((s + 0.5 * len, (0.5 * (a + b)).norm()));
        s += len;
    }
    out
}

/// Cross-polar power over co-polar within the cone.
fn cross_polar(p: &Pattern, half: f64) -> f64 {
    let (mut co, mut cross) = (0.0, 0.0);
    for (t, w) in gauss_legendre(16, 0.0, half) {
        for j in 0..24 {
            let phi = PI * f64::from(j) / 12.0;
            let w = w * t.sin();
            co += w * p.co_polar(t, phi).norm_sqr();
            cross += w * p.cross_polar(t, phi).norm_sqr();
        }
    }
    to_db(cross / co)
}

impl HelixFeed {
    /// A coil on a disc without a receive feed.
    pub fn on_disc(coil: crate::feed::Coil, disc: Length) -> Self {
        Self {
            coil,
            ground: Ground::Disc(disc),
            tube: None,
        }
    }
}
