//! Where a feed's power goes on a reflector: aperture integration with the offset's own projected integral.
//!
//! The field of the feed is taken to the surface, reflected by geometrical optics, `E_r = 2 (n.E) n - E`, and integrated
//! over the projected aperture, each point weighted by its true distance, phase and direction from the (displaced, tilted)
//! feed. Nodes lie in the cone of the rim as the focus sees it: Gauss-Legendre in its polar angle, trapezoid around it; a
//! flux tube of solid angle `dOmega` covers the aperture area `r^2 dOmega`.
//!
//! Efficiency parts multiply to the whole by construction:
//!
//! | part | definition |
//! |---|---|
//! | spill | power meeting the reflector / power radiated |
//! | cross-polar | co-polar power in the aperture / all power in it |
//! | taper | `(int abs(E))^2 / (A int abs(E)^2)` of the co-polar field |
//! | phase | `abs(int E)^2 / (int abs(E))^2`, feed at its own best axial position |
//! | tilt, axial, lateral | what the efficiency becomes when the feed is tilted, then moved along, then across its axis |
//! | blockage | aperture field shadowed by feed and struts |
//! | surface | Ruze |
//!
//! Not in the model: diffraction at the edge, the direct field of the feed in the pattern, mutual coupling.

mod beam;
mod compromise;
mod focus;
mod illuminate;
mod nodes;
pub mod optics;

pub use beam::{Beam, CutPoint, beam, beam_width, cut};
pub use compromise::{BandFeed, Compromise, FocusPoint, compromise};
pub use focus::{AtPlace, along_axis};
pub use illuminate::{beam_polarisation, feed_tilt_for_beam};
pub use nodes::Nodes;

use crate::degradation::{Strut, ruze_loss};
use crate::error::{AntennaError, not_negative, positive, require};
use crate::pattern::Pattern;
use crate::reflector::Reflector;
use illuminate::{Illumination, Pose};
use slantpath_quantity::{Angle, Decibel, Frequency, Length, Validity, to_db};
use std::f64::consts::PI;

/// Where the feed looks.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Aim {
    /// Along the axis of the rim's cone: equal angles to both edges.
    #[default]
    Bisector,
    /// At the surface point under the aperture's centre.
    Centre,
    /// At an angle from the paraboloid's axis.
    FromAxis(Angle),
}

/// How the feed stands: nominal aim, and the errors in which the mount differs from it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Placement {
    /// Nominal aim.
    pub aim: Aim,
    /// Position of the pattern's origin along the feed's axis from the focus, positive towards the reflector. A feed whose
    /// phase centre lies `z` in front of its origin belongs at `-z`.
    pub axial: Length,
    /// Position across the axis: along the feed's `x` (across the symmetry plane) and `y` (in it, towards the paraboloid's
    /// axis).
    pub lateral: [Length; 2],
    /// Tilt of the feed's axis from the nominal aim: in the symmetry plane (positive towards the farther edge) and across it.
    pub tilt: [Angle; 2],
}

/// What stands in the aperture.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Blockage {
    /// Diameter of the feed seen from the satellite; it counts where it stands inside the projected aperture.
    pub feed: Length,
    /// Struts with the azimuth, in the dish's `x y` plane, at which each runs from the feed to the rim.
    pub struts: Vec<(Strut, Angle)>,
}

/// One part of the efficiency.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Part {
    /// Power that misses the reflector.
    Spill,
    /// Unequal illumination.
    Taper,
    /// Phase of the feed that refocusing does not remove.
    Phase,
    /// Power in the wrong polarisation.
    CrossPolar,
    /// Feed tilted from its aim.
    Tilt,
    /// Feed off its best position along the axis.
    Axial,
    /// Feed off the axis; at the peak of the squinted beam.
    Lateral,
    /// Shadow of feed and struts on the aperture.
    Blockage,
    /// Rough surface.
    Surface,
}

impl Part {
    /// All parts, in the order in which they multiply.
    pub const ALL: [Self; 9] = [
        Self::Spill,
        Self::Taper,
        Self::Phase,
        Self::CrossPolar,
        Self::Tilt,
        Self::Axial,
        Self::Lateral,
        Self::Blockage,
        Self::Surface,
    ];
    /// What a person calls it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Spill => "spillover",
            Self::Taper => "taper",
            Self::Phase => "phase",
            Self::CrossPolar => "cross-polar",
            Self::Tilt => "feed tilt",
            Self::Axial => "focus, axial",
            Self::Lateral => "focus, lateral",
            Self::Blockage => "blockage",
            Self::Surface => "surface",
        }
    }
}

/// The efficiency and what it is made of.
#[derive(Debug, Clone, PartialEq)]
pub struct Budget {
    /// Frequency.
    pub frequency: Frequency,
    /// Factor of each part, in the order of [`Part::ALL`]; their product is `efficiency`. Tilt, axial and lateral may exceed
    /// 1 a little where an error compensates another.
    pub factors: [f64; 9],
    /// Aperture efficiency at the beam's peak, on the projected area.
    pub efficiency: f64,
    /// Gain at the beam's peak, over isotropic, in the nominal polarisation, before loss in conductors.
    pub gain: Decibel,
    /// Share of the radiated power that meets the reflector with the feed as it stands (the spill part is for the feed
    /// straight and in focus).
    pub captured: f64,
    /// Direction of the peak off the paraboloid's axis, in the dish's `x` and `y`.
    pub squint: [Angle; 2],
    /// Axial position of the pattern's origin at which the gain is greatest.
    pub best_axial: Length,
    /// Co-polar illumination of the nearer and farther edge relative to the greatest in the aperture, space loss included.
    pub edge: [Decibel; 2],
    /// Share of the captured power that meets feed and struts.
    pub blocked_power: f64,
    /// Outside when the geometry is.
    pub validity: Validity,
}

impl Budget {
    /// Factor of one part.
    pub fn factor(&self, part: Part) -> f64 {
        self.factors.get(part as usize).copied().unwrap_or(1.0)
    }
    /// Loss of one part, dB.
    pub fn loss(&self, part: Part) -> Decibel {
        Decibel(-to_db(self.factor(part)))
    }
}

/// The budget of a feed on a reflector.
///
/// `surface` is the effective rms (see [`crate::degradation::ruze_loss`]). Error of the quadrature below 1e-5 in efficiency
/// for feeds smooth over the cone; the physics (no edge diffraction) is good to about 0.1 dB above 10 wavelengths of
/// diameter and a few tenths at 5.
///
/// # Errors
/// [`AntennaError::Domain`] for sizes or a frequency that cannot be, [`AntennaError::FeedOutsideCone`] when the feed's axis
/// misses the reflector.
pub fn budget(
    reflector: &Reflector,
    pattern: &Pattern,
    placement: &Placement,
    blockage: &Blockage,
    surface: Length,
    f: Frequency,
) -> Result<Budget, AntennaError> {
    let nodes = Nodes::smooth(reflector);
    budget_on(&nodes, pattern, placement, blockage, surface, f)
}

/// [`budget`] on prepared nodes, for many feeds on one reflector.
///
/// # Errors
/// As [`budget`].
pub fn budget_on(
    nodes: &Nodes,
    pattern: &Pattern,
    placement: &Placement,
    blockage: &Blockage,
    surface: Length,
    f: Frequency,
) -> Result<Budget, AntennaError> {
    let reflector = nodes.reflector();
    check(reflector, placement, f)?;
    let nominal = Pose::new(reflector, placement.aim, [0.0; 2], [0.0; 3]);
    let k = 2.0 * PI / f.wavelength().as_m();

    let first = Illumination::new(nodes, pattern, &nominal, k);
    let best = first.best_axial(nodes, &nominal, k);
    let at = |tilt: [Angle; 2], lateral: [f64; 2], axial: f64| {
        let pose = Pose::new(
            reflector,
            placement.aim,
            tilt.map(Angle::as_rad),
            [lateral[0], lateral[1], axial],
        );
        Illumination::new(nodes, pattern, &pose, k)
    };
    let straight = [Angle::default(); 2];
    let focused = at(straight, [0.0; 2], best);
    let area = reflector.area_m2();
    let total = pattern.power();
    require(
        focused.captured > 0.0,
        "power on the reflector",
        focused.captured,
        "",
        "above 0",
    )?;
    let eta0 = focused.sum_co(nodes, [0.0; 2], k).norm_sqr() / (area * total);

    // Each later state only where it differs, so that an ideal mount has factors of exactly 1.
    let tilted = placement.tilt != straight;
    let tilt_state = tilted.then(|| at(placement.tilt, [0.0; 2], best));
    let eta1 = tilt_state
        .as_ref()
        .map_or(eta0, |s| s.peak(nodes, k).1 / (area * total));
    let axial_state = at(placement.tilt, [0.0; 2], placement.axial.as_m());
    let eta2 = axial_state.peak(nodes, k).1 / (area * total);
    let lateral = placement.lateral.map(Length::as_m);
    let moved = (lateral != [0.0; 2]).then(|| at(placement.tilt, lateral, placement.axial.as_m()));
    let last = moved.as_ref().unwrap_or(&axial_state);
    let (direction, power) = last.peak(nodes, k);
    let eta3 = power / (area * total);

    let (blocked_field, blocked_power) =
        last.blocked(reflector, pattern, blockage, direction, k)?;
    let block = (1.0 - blocked_field).norm_sqr();
    let rough = ruze_loss(surface, f)?;
    let surface_factor = 1.0 / rough.ratio();

    let s = focused.sums(nodes);
    let factors = [
        focused.captured / total,
        s.abs * s.abs / (area * s.co),
        focused.sum_co(nodes, [0.0; 2], k).norm_sqr() / (s.abs * s.abs),
        s.co / focused.captured,
        eta1 / eta0,
        eta2 / eta1,
        eta3 / eta2,
        block,
        surface_factor,
    ];
    let efficiency = eta3 * block * surface_factor;
    let diameter = reflector.diameter() / f.wavelength();
    let mut validity = pattern.validity().clone().and(Validity::check(
        "aperture integration",
        "reflector diameter",
        diameter,
        4.0..=2000.0,
        "wavelengths",
    ));
    let best_in_waves = best / f.wavelength().as_m();
    if best_in_waves.abs() > 4.0 {
        validity = validity.and(Validity::outside(format!(
            "aperture integration: the best feed position lies {best_in_waves:.1} wavelengths from the pattern's origin, at the \
             end of the range searched; refer the pattern to a point near its phase centre"
        )));
    }
    if rough.0 > 4.8 {
        validity = validity.and(Validity::outside(format!(
            "Ruze surface loss: {:.1} dB is beyond the small-error range (4.8 dB, rms above a twelfth of a wavelength)",
            rough.0
        )));
    }
    Ok(Budget {
        frequency: f,
        factors,
        efficiency,
        gain: Decibel(to_db(efficiency * (PI * diameter).powi(2))),
        captured: last.captured / total,
        squint: direction.map(|s| Angle::rad(s.clamp(-1.0, 1.0).asin())),
        best_axial: Length::m(best),
        edge: focused.edges(reflector, pattern, placement.aim, best, k),
        blocked_power,
        validity,
    })
}

fn check(reflector: &Reflector, placement: &Placement, f: Frequency) -> Result<(), AntennaError> {
    positive("frequency", f.as_hz(), "Hz")?;
    let room = 0.5 * reflector.focal_length().as_m();
    for (what, d) in [
        ("axial position of the feed", placement.axial),
        ("lateral position of the feed", placement.lateral[0]),
        ("lateral position of the feed", placement.lateral[1]),
    ] {
        require(
            d.as_m().abs() <= room,
            what,
            d.as_m(),
            "m",
            "within half the focal length of the focus",
        )?;
    }
    let aim = placement.aim.from_axis(reflector).as_rad() + placement.tilt[0].as_rad();
    let off = ((aim - reflector.bisector_angle().as_rad()).cos()
        * placement.tilt[1].as_rad().cos())
    .clamp(-1.0, 1.0)
    .acos();
    let half = reflector.half_angle().as_rad();
    if off.is_nan() || off >= half {
        let (near, far) = reflector.edge_angles();
        return Err(AntennaError::FeedOutsideCone(format!(
            "its axis stands {:.1} deg from the paraboloid's axis, the reflector is seen from {:.1} to {:.1} deg; aim it at \
             {:.1} deg",
            aim.to_degrees(),
            near.as_deg(),
            far.as_deg(),
            reflector.bisector_angle().as_deg()
        )));
    }
    Ok(())
}

impl Aim {
    /// Angle from the paraboloid's axis.
    pub fn from_axis(self, reflector: &Reflector) -> Angle {
        match self {
            Self::Bisector => reflector.bisector_angle(),
            Self::Centre => reflector.centre_angle(),
            Self::FromAxis(a) => a,
        }
    }
}

impl Blockage {
    fn check(&self) -> Result<(), AntennaError> {
        not_negative("feed diameter", self.feed.as_m(), "m")?;
        for (s, azimuth) in &self.struts {
            not_negative("strut width", s.width.as_m(), "m")?;
            not_negative("strut length", s.length.as_m(), "m")?;
            require(true, "strut azimuth", azimuth.as_rad(), "rad", "finite")?;
        }
        Ok(())
    }
}

/// Axes of the feed in the dish frame and its place, tilt and displacement included.
pub(crate) fn feed_pose(
    reflector: &Reflector,
    placement: &Placement,
) -> ([crate::vector::V3; 3], crate::vector::V3) {
    let pose = Pose::placed(reflector, placement);
    (pose.frame, pose.at)
}
