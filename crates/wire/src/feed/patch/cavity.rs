//! The cavity model: resonance, losses, far field.

use super::mode::{PatchMode, Radial};
use super::{Feeding, PatchRing};
use crate::error::WireError;
use crate::feed::bessel::j;
use num_complex::Complex64;
use slantpath_antenna::AntennaError;
use slantpath_antenna::pattern::{Field, GridPattern, Pattern};
use slantpath_antenna::polarisation::Polarisation;
use slantpath_antenna::quadrature::integrate;
use slantpath_quantity::constants::{ETA0_OHM, SPEED_OF_LIGHT};
use slantpath_quantity::{Angle, Decibel, Frequency, Length, Validity, to_db};
use std::f64::consts::{FRAC_PI_2, PI};

/// Height over wavelength to which the cavity model was compared with the wire grid.
pub(super) const GREATEST_HEIGHT: f64 = 0.06;
/// Standard uncertainties, from the comparison with the wire grid: resonance (relative), Q (relative), directivity over an
/// infinite plane (dB).
const FREQUENCY_U: f64 = 0.015;
const Q_U: f64 = 0.12;
const DIRECTIVITY_U: f64 = 0.2;
/// What a real disc adds: between 0.8 and 1.3 wavelengths across, the wire grid's directivity lies 0.6 dB below to 0.9 dB
/// above that over the plane.
const DISC_U: f64 = 0.5;

/// A resonance of a patch ring.
#[derive(Debug, Clone, PartialEq)]
pub struct Cavity {
    /// The patch.
    pub ring: PatchRing,
    /// Which resonance.
    pub mode: PatchMode,
    /// Resonant frequency.
    pub frequency: Frequency,
    /// Its standard uncertainty.
    pub frequency_u: Frequency,
    /// Q by radiation alone. Standard uncertainty [`Cavity::q_u`].
    pub q_radiation: f64,
    /// Q by loss in patch and ground; infinite for perfect metal.
    pub q_metal: f64,
    /// Q by loss in the dielectric; infinite without.
    pub q_dielectric: f64,
    /// Inside the model's range at resonance, or why not.
    pub validity: Validity,
    radial: Radial,
    edges: [(f64, f64); 2],
}

/// A patch driven at a frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct PatchField {
    /// Frequency.
    pub frequency: Frequency,
    /// How it is fed.
    pub feeding: Feeding,
    /// Directivity on the axis, both polarisations together, over isotropic; infinite plane.
    pub directivity: Decibel,
    /// Its standard uncertainty for a real disc: 0.2 dB of the model, 0.5 dB of the disc's edge (0.8 to 1.3 wavelengths
    /// across), which the infinite plane leaves out as it does all power behind.
    pub directivity_u: Decibel,
    /// Directivity less loss in metal and dielectric; without mismatch.
    pub gain: Decibel,
    /// Axial ratio on the axis (infinite when linear).
    pub axial_ratio: Decibel,
    /// Inside the model's range, or why not.
    pub validity: Validity,
    edges: [(f64, f64); 2],
    k: f64,
    height: f64,
    jones: [Complex64; 2],
}

impl Cavity {
    pub(super) fn new(ring: PatchRing, mode: PatchMode) -> Result<Self, WireError> {
        ring.check()?;
        let (a, b) = ring.effective_radii();
        let radial = Radial::new(a.as_m(), b.as_m(), ring.inner_edge, mode).ok_or(
            WireError::Dimension {
                wire: "patch ring".to_owned(),
                what: "inner diameter",
                value: ring.inner.as_m() * 1e3,
                unit: "mm",
                expected: "below about four fifths of the outer one: in a narrower ring TM12 is no feed",
            },
        )?;
        let k0 = radial.k / ring.permittivity.sqrt();
        let frequency = Frequency::hz(k0 * SPEED_OF_LIGHT / (2.0 * PI));
        let h = ring.height.as_m();
        // both plates: thickness over skin depth (Balanis (14-77) form, from memory)
        let skin = |s: f64| (PI * frequency.as_hz() * ETA0_OHM / SPEED_OF_LIGHT * s).sqrt();
        let edges = rings(&ring, radial.edges());
        let field = Edges {
            edges,
            k: k0,
            height: h,
        };
        Ok(Self {
            ring,
            mode,
            frequency,
            frequency_u: Frequency::hz(FREQUENCY_U * frequency.as_hz()),
            // omega W / P with W = e h pi int R^2 rho / 2 and P = (k h)^2 pi S / (8 eta)
            q_radiation: 4.0 * ring.permittivity * radial.energy() / (k0 * h * field.sum()),
            q_metal: ring.metal.of().map_or(f64::INFINITY, |s| h * skin(s)),
            q_dielectric: 1.0 / ring.loss_tangent,
            validity: ring.validity(frequency.wavelength(), mode),
            radial,
            edges,
        })
    }

    /// Q by all that takes power.
    pub fn q(&self) -> f64 {
        1.0 / (1.0 / self.q_radiation + 1.0 / self.q_metal + 1.0 / self.q_dielectric)
    }

    /// Standard uncertainty of [`Cavity::q`].
    pub fn q_u(&self) -> f64 {
        Q_U * self.q()
    }

    /// Share of the power that is radiated.
    pub fn efficiency(&self) -> f64 {
        self.q() / self.q_radiation
    }

    /// Bandwidth within a standing-wave ratio, of a patch matched at resonance: `f_0 (s - 1)/(Q sqrt s)` (Balanis (14-88a),
    /// from memory). `s` above 1.
    pub fn bandwidth(&self, standing_wave_ratio: f64) -> Frequency {
        let s = standing_wave_ratio;
        Frequency::hz(self.frequency.as_hz() * (s - 1.0) / (self.q() * s.sqrt()))
    }

    /// Impedance at a post so far from the axis, at a frequency: single-tuned circuit in series with the post's reactance.
    ///
    /// Resistance at resonance `V^2/2P` with `V = h E_z`; the reactance is that of the post's own near field,
    /// `(eta k h/2 pi)(ln(4/(k d)) - 0.577)` for diameter `d` (Carver & Mink, IEEE Trans. AP-29 (1981) 2, from memory).
    ///
    /// # Errors
    /// [`WireError::Dimension`] for a post that is not under the patch or has no thickness.
    pub fn impedance(
        &self,
        f: Frequency,
        at: Length,
        post: Length,
    ) -> Result<Complex64, WireError> {
        let r = at.as_m();
        let (a, b) = (0.5 * self.ring.inner.as_m(), 0.5 * self.ring.outer.as_m());
        let need = |ok, what, value: Length, expected| {
            crate::error::require(ok, "patch ring", what, value.as_m() * 1e3, "mm", expected)
        };
        need(
            r >= a && r <= b && r > 0.0,
            "distance of the post from the axis",
            at,
            "between the patch's edges",
        )?;
        need(post.as_m() > 0.0, "diameter of the post", post, "above 0")?;
        let (h, q) = (self.ring.height.as_m(), self.q());
        let e = self.ring.permittivity;
        let k0 = 2.0 * PI / self.frequency.wavelength().as_m();
        let peak =
            h * self.radial.at(r).powi(2) * q * ETA0_OHM / (k0 * e * PI * self.radial.energy());
        let x = f.as_hz() / self.frequency.as_hz();
        let tuned = peak / Complex64::new(1.0, q * (x - 1.0 / x));
        let k = 2.0 * PI / f.wavelength().as_m() * e.sqrt();
        let own = (4.0 / (k * post.as_m())).ln() - 0.577_216;
        Ok(tuned + Complex64::new(0.0, ETA0_OHM / e.sqrt() * k * h / (2.0 * PI) * own))
    }

    /// The far field at a frequency.
    ///
    /// # Errors
    /// [`WireError::Pattern`] when the two resonances cancel to nothing.
    pub fn at(&self, f: Frequency, feeding: Feeding) -> Result<PatchField, WireError> {
        let detuning = f.as_hz() / self.frequency.as_hz() - 1.0;
        let jones = feeding.amplitudes(detuning, self.q());
        let polarisation = Polarisation::of_jones(jones[0], jones[1]).ok_or_else(|| {
            WireError::Pattern(AntennaError::Table("the patch radiates nothing".into()))
        })?;
        let edges = Edges {
            edges: self.edges,
            k: 2.0 * PI / f.wavelength().as_m(),
            height: self.ring.height.as_m(),
        };
        let directivity = to_db(4.0 * edges.pair(0.0).0.powi(2) / edges.sum());
        let validity = self
            .ring
            .validity(f.wavelength(), self.mode)
            .and(Validity::check(
                "patch cavity",
                "detuning times Q",
                detuning * self.q(),
                -1.5..=1.5,
                "",
            ));
        Ok(PatchField {
            frequency: f,
            feeding,
            directivity: Decibel(directivity),
            directivity_u: Decibel(DIRECTIVITY_U.hypot(DISC_U)),
            gain: Decibel(directivity + to_db(self.efficiency())),
            axial_ratio: polarisation.axial_ratio(),
            validity,
            edges: edges.edges,
            k: edges.k,
            height: edges.height,
            jones,
        })
    }
}

impl PatchField {
    /// Field in a direction (radian), relative; nothing behind the plane.
    ///
    /// `E_theta ~ F_- (p . rho)`, `E_phi ~ F_+ cos theta (p . phi)` with `F_-+ = sum s rho R(rho) [J0 -+ J2](k rho sin theta)`
    /// over both edges, outer less inner: Balanis (14-70) for one ring of magnetic current and its image, from memory.
    pub fn field(&self, theta: f64, phi: f64) -> Field {
        if theta > FRAC_PI_2 {
            return Field::default();
        }
        let (minus, plus) = self.edges().pair(theta);
        let (s, c) = phi.sin_cos();
        let [x, y] = self.jones;
        Field {
            theta: (x * c + y * s) * minus,
            phi: (y * c - x * s) * (plus * theta.cos()),
        }
    }

    /// Angle off the axis at which a plane's level (E plane: `phi = 0`) is 3 dB down; `None` when it is nowhere in front.
    pub fn half_power(&self, e_plane: bool) -> Option<Angle> {
        let level = |t: f64| {
            let (minus, plus) = self.edges().pair(t);
            let e = if e_plane { minus } else { plus * t.cos() };
            to_db((e / self.edges().pair(0.0).0).powi(2))
        };
        let down = -to_db(2.0);
        let step = FRAC_PI_2 / 900.0;
        (1..=900)
            .map(f64::from)
            .find(|i| level(i * step) <= down)
            .map(|i| Angle::rad((i - 0.5) * step))
    }

    /// The pattern over the sphere, phases from the middle of the ground. At the horizon itself half the power is kept, so
    /// that the step there adds up rightly.
    ///
    /// # Errors
    /// [`WireError::Pattern`] for a field of nothing.
    pub fn pattern(&self) -> Result<Pattern, WireError> {
        let nominal = match self.feeding.sense() {
            Some(s) => Polarisation::circular(s),
            None => Polarisation::HORIZONTAL,
        };
        let horizon = |t: f64| (t - FRAC_PI_2).abs() < 1e-9;
        let grid = GridPattern::sample(181, 24, |t, p| {
            let f = self.field(t.min(FRAC_PI_2 + if horizon(t) { 0.0 } else { PI }), p);
            let half = if horizon(t) { 0.5_f64.sqrt() } else { 1.0 };
            Field {
                theta: f.theta * half,
                phi: f.phi * half,
            }
        })?;
        Ok(Pattern::grid(grid, nominal))
    }

    fn edges(&self) -> Edges {
        Edges {
            edges: self.edges,
            k: self.k,
            height: self.height,
        }
    }
}

/// How far the outer ring of magnetic current stands inwards of the effective edge, as a share of the fringing extension.
/// The fringing field lies between the plate's edge (1) and the effective one (0); at 0 the directivity comes out above the
/// wire grid's, the more so the higher the patch. Chosen on five patches; two others then agree within 0.27 dB.
const INWARDS: f64 = 1.0 / 3.0;

/// The rings of magnetic current: the outer drawn in by [`INWARDS`] with its moment (radius times field) kept.
fn rings(ring: &PatchRing, [(rho, field), inner]: [(f64, f64); 2]) -> [(f64, f64); 2] {
    let at = rho - INWARDS * (rho - 0.5 * ring.outer.as_m());
    [(at, field * rho / at), inner]
}

/// Two rings of magnetic current over the plane.
struct Edges {
    edges: [(f64, f64); 2],
    k: f64,
    height: f64,
}

impl Edges {
    /// `(F_-, F_+)` at `theta`, m; the height of ring and image together by `sin(u)/u`, `u = kh cos theta`.
    fn pair(&self, theta: f64) -> (f64, f64) {
        let (sin, cos) = theta.sin_cos();
        let u = self.k * self.height * cos;
        let thick = if u.abs() < 1e-6 { 1.0 } else { u.sin() / u };
        self.edges.iter().fold((0.0, 0.0), |(m, p), (rho, e)| {
            let x = self.k * rho * sin;
            let w = thick * rho * e;
            (m + w * (j(0, x) - j(2, x)), p + w * (j(0, x) + j(2, x)))
        })
    }

    /// `int (F_-^2 + F_+^2 cos^2) sin theta d theta` over the half space, m^2.
    fn sum(&self) -> f64 {
        integrate(48, 0.0, FRAC_PI_2, |t| {
            let (m, p) = self.pair(t);
            (m * m + (p * t.cos()).powi(2)) * t.sin()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::feed::patch::InnerEdge;
    use slantpath_antenna::polarisation::Sense;

    fn mm(x: f64) -> Length {
        Length::mm(x)
    }
    fn example() -> Cavity {
        PatchRing::air(mm(72.0), mm(22.0), mm(5.0), mm(130.0))
            .with_inner_edge(InnerEdge::Joined)
            .cavity(PatchMode::Tm11)
            .unwrap()
    }

    /// Balanis, chapter 14, circular patch for 10 GHz (from memory): radius 5.25 mm on 1.588 mm of permittivity 2.2. That design
    /// puts the effective radius into the logarithm, which is 1 % here.
    #[test]
    fn disc_on_a_dielectric() {
        let ring = PatchRing::air(mm(10.5), mm(0.0), mm(1.588), mm(60.0)).on(2.2, 0.0009);
        let patch = ring.cavity(PatchMode::Tm11).unwrap();
        let f = patch.frequency.as_hz() * 1e-9;
        assert!((f / 10.0 - 1.0).abs() < 0.015, "{f}");
        assert!(patch.efficiency() > 0.9 && patch.efficiency() < 1.0);
    }

    /// A ring small against the wavelength is a magnetic dipole along the plane: directivity 3 whatever else.
    #[test]
    fn small_ring_is_a_magnetic_dipole() {
        let at = example().at(Frequency::mhz(10.0), Feeding::Linear).unwrap();
        assert!((at.directivity.0 - to_db(3.0)).abs() < 1e-3, "{at:?}");
        assert!(!at.validity.is_inside());
    }

    /// The sampled pattern has the closed form's directivity, sense and axial ratio; E- and H-plane widths meet.
    #[test]
    fn pattern_is_the_field() {
        let patch = example();
        for sense in [Sense::Right, Sense::Left] {
            let at = patch
                .at(patch.frequency, Feeding::quadrature(sense))
                .unwrap();
            let p = at.pattern().unwrap();
            let zero = Angle::rad(0.0);
            assert!((p.directivity(zero, zero).0 - at.directivity.0).abs() < 0.005);
            assert_eq!(p.polarisation_at(zero, zero).unwrap().sense(), Some(sense));
            assert!(at.axial_ratio.0 < 1e-9 && p.worst_axial_ratio(zero).unwrap().0 < 1e-6);
            let (e, h) = (at.half_power(true).unwrap(), at.half_power(false).unwrap());
            assert!(
                e.as_deg() > 25.0 && h.as_deg() > 25.0 && e.as_deg() < 50.0 && h.as_deg() < 50.0
            );
            // the planes differ as the axial ratio off the axis says
            let t = 0.5_f64;
            let ratio = at.field(t, 0.0);
            let ar =
                slantpath_quantity::amplitude_to_db(ratio.theta.norm() / ratio.phi.norm()).abs();
            let told = p.worst_axial_ratio(Angle::rad(t)).unwrap().0;
            assert!((ar - told).abs() < 0.02, "{ar} {told}");
        }
    }

    /// A quadrature error of 1 dB is 1 dB of axial ratio; one of `d` radian is `cot((pi/2 - d)/2)`; a split of `1/Q` is
    /// circular in the middle and elliptical off it, the wished sense in both.
    #[test]
    fn feeding_errors() {
        let patch = example();
        let ar = |amplitude_error, phase_error| {
            let feeding = Feeding::Quadrature {
                sense: Sense::Right,
                amplitude_error: Decibel(amplitude_error),
                phase_error: Angle::deg(phase_error),
            };
            patch.at(patch.frequency, feeding).unwrap().axial_ratio.0
        };
        assert!((ar(1.0, 0.0) - 1.0).abs() < 1e-9);
        let ten = slantpath_quantity::amplitude_to_db(1.0 / Angle::deg(40.0).as_rad().tan());
        assert!((ar(0.0, 10.0) - ten).abs() < 1e-9 && (ar(0.0, -10.0) - ten).abs() < 1e-9);
        for sense in [Sense::Right, Sense::Left] {
            let split = Feeding::Split {
                sense,
                split: 1.0 / patch.q(),
            };
            let middle = patch.at(patch.frequency, split).unwrap();
            assert!(middle.axial_ratio.0 < 1e-6);
            // axial ratio of 3 dB within 0.35/Q (P. C. Sharma, K. C. Gupta 1983; from memory)
            let edge = Frequency::hz(patch.frequency.as_hz() * (1.0 + 0.175 / patch.q()));
            let off = patch.at(edge, split).unwrap();
            assert!(
                (off.axial_ratio.0 - 3.0).abs() < 0.2,
                "{}",
                off.axial_ratio.0
            );
            let p = off.pattern().unwrap();
            let zero = Angle::rad(0.0);
            assert_eq!(p.polarisation_at(zero, zero).unwrap().sense(), Some(sense));
        }
    }

    #[test]
    fn limits_are_told() {
        let tall = PatchRing::air(mm(60.0), mm(0.0), mm(12.0), mm(150.0));
        let told = tall.cavity(PatchMode::Tm11).unwrap().validity;
        assert!(
            told.reasons().iter().any(|r| r.contains("height")),
            "{told:?}"
        );
        let bare = PatchRing::air(mm(60.0), mm(0.0), mm(4.0), mm(70.0));
        let told = bare.cavity(PatchMode::Tm11).unwrap().validity;
        assert!(
            told.reasons().iter().any(|r| r.contains("ground")),
            "{told:?}"
        );
        assert!(example().validity.is_inside());
        let hole = PatchRing::air(mm(60.0), mm(60.0), mm(4.0), mm(150.0));
        let refused = hole.cavity(PatchMode::Tm11).unwrap_err().to_string();
        assert!(refused.contains("inner diameter"), "{refused}");
        let thin = PatchRing::air(mm(60.0), mm(58.0), mm(0.5), mm(150.0));
        assert!(thin.cavity(PatchMode::Tm12).is_err());
        let patch = example();
        assert!(patch.impedance(patch.frequency, mm(50.0), mm(1.0)).is_err());
        // matched somewhere between tube and edge, and less so off resonance
        let z = |f: f64| {
            patch.impedance(
                Frequency::hz(patch.frequency.as_hz() * f),
                mm(16.0),
                mm(2.0),
            )
        };
        assert!(z(1.0).unwrap().re > 2.0 * z(1.2).unwrap().re);
        assert!(patch.bandwidth(2.0) < patch.frequency * 0.2);
    }
}
