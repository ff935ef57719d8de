//! Far-field patterns: one type for a formula, a table of levels and a computed grid.
//!
//! A pattern lives in the feed's own frame: `z` where the feed looks, spherical `theta` from it, `phi` from `x` towards `y`,
//! phases relative to the frame's origin, `exp(+j omega t)`. Only relative values matter; [`Pattern::power`] normalises.
//!
//! Co- and cross-polar are Ludwig's third definition (A. C. Ludwig, IEEE Trans. AP-21, 1973):
//! `E_x3 = E_theta cos phi - E_phi sin phi`, `E_y3 = E_theta sin phi + E_phi cos phi`.

mod grid;
mod measures;
mod table;

pub use grid::GridPattern;
pub use measures::{PhaseCentre, PhaseFit};
pub use table::{Beyond, TablePoint};

use crate::error::{AntennaError, require};
use crate::illumination::exponent_of_taper;
use crate::polarisation::Polarisation;
use num_complex::Complex64;
use slantpath_quantity::{Angle, Decibel, Validity};
use std::f64::consts::{FRAC_PI_2, PI};
use table::Profile;

/// Far field in one direction, transverse components.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Field {
    /// Component along increasing theta.
    pub theta: Complex64,
    /// Component along increasing phi.
    pub phi: Complex64,
}

impl Field {
    /// Relative radiation intensity `|E_theta|^2 + |E_phi|^2`.
    pub fn intensity(self) -> f64 {
        self.theta.norm_sqr() + self.phi.norm_sqr()
    }
    /// Ludwig-3 components `(E_x3, E_y3)` in the direction with azimuth `phi`.
    pub fn ludwig3(self, phi: f64) -> [Complex64; 2] {
        let (s, c) = phi.sin_cos();
        [self.theta * c - self.phi * s, self.theta * s + self.phi * c]
    }
    /// From Ludwig-3 components.
    pub fn of_ludwig3(x3: Complex64, y3: Complex64, phi: f64) -> Self {
        let (s, c) = phi.sin_cos();
        Self {
            theta: x3 * c + y3 * s,
            phi: y3 * c - x3 * s,
        }
    }
}

#[derive(Debug, Clone, PartialEq)]
enum Shape {
    /// Power pattern `cos^n`, nothing behind 90 deg, no cross-polar.
    CosN(f64),
    /// E- and H-plane profiles between which a circular waveguide's `cos phi` law holds.
    Planes(Box<(Profile, Profile)>),
    Grid(GridPattern),
}

/// A far-field pattern with its nominal polarisation.
#[derive(Debug, Clone, PartialEq)]
pub struct Pattern {
    shape: Shape,
    polarisation: Polarisation,
    jones: [Complex64; 2],
    power: f64,
    validity: Validity,
}

impl Pattern {
    /// `G = 2 (n+1) cos^n theta` in front, nothing behind, cross-polar free, phase centre at the origin.
    ///
    /// # Errors
    /// [`AntennaError::Domain`] for `n` outside 0..=1000.
    pub fn cos_n(n: f64, polarisation: Polarisation) -> Result<Self, AntennaError> {
        require(
            (0.0..=1000.0).contains(&n),
            "feed exponent n",
            n,
            "",
            "0 to 1000",
        )?;
        Ok(Self::build(
            Shape::CosN(n),
            polarisation,
            2.0 * PI / (n + 1.0),
            Validity::Inside,
        ))
    }

    /// The `cos^n` feed that is down by `taper` (negative dB, the feed's own pattern) at `at` off its axis; see
    /// [`exponent_of_taper`] for the equivalence.
    ///
    /// # Errors
    /// As [`exponent_of_taper`].
    pub fn edge_taper(
        taper: Decibel,
        at: Angle,
        polarisation: Polarisation,
    ) -> Result<Self, AntennaError> {
        Self::cos_n(exponent_of_taper(taper, at)?, polarisation)
    }

    /// Rotationally symmetric pattern from a table of level and phase against theta, cross-polar free.
    ///
    /// Levels are interpolated in dB, phases in radians, both by monotone cubics (Fritsch & Carlson 1980).
    ///
    /// # Errors
    /// [`AntennaError::Table`] for fewer than two points, angles not rising from 0 within 0..180 deg, or values not finite.
    pub fn rotational(
        points: &[TablePoint],
        beyond: Beyond,
        polarisation: Polarisation,
    ) -> Result<Self, AntennaError> {
        let p = Profile::new(points, beyond)?;
        Self::planes_of(p.clone(), p, polarisation)
    }

    /// Pattern from E-plane and H-plane tables of a linear (or, by superposition, circular) feed with two planes of
    /// symmetry: `E_theta ~ e(theta) (p . rho)`, `E_phi ~ h(theta) (p . phi)` with `p` the Jones vector. Exact for the
    /// azimuthal order-one fields of circular apertures; a model for others.
    ///
    /// # Errors
    /// As [`Pattern::rotational`], and [`AntennaError::Table`] when the two planes differ on the axis by more than 0.5 dB.
    pub fn planes(
        e: &[TablePoint],
        h: &[TablePoint],
        beyond: Beyond,
        polarisation: Polarisation,
    ) -> Result<Self, AntennaError> {
        let (e, h) = (Profile::new(e, beyond)?, Profile::new(h, beyond)?);
        let gap = e.level(0.0) - h.level(0.0);
        if gap.abs() > 0.5 {
            return Err(AntennaError::Table(format!(
                "E and H plane differ by {gap:.2} dB on the axis, where they are the same direction"
            )));
        }
        Self::planes_of(e, h, polarisation)
    }

    fn planes_of(e: Profile, h: Profile, polarisation: Polarisation) -> Result<Self, AntennaError> {
        let power = PI * (e.power() + h.power());
        let validity = e.validity().and(h.validity());
        if !(power > 0.0 && power.is_finite()) {
            return Err(AntennaError::Table("the pattern radiates nothing".into()));
        }
        Ok(Self::build(
            Shape::Planes(Box::new((e, h))),
            polarisation,
            power,
            validity,
        ))
    }

    /// From a computed grid; `polarisation` is the one the feed is meant to have (what counts as co-polar).
    pub fn grid(grid: GridPattern, polarisation: Polarisation) -> Self {
        let power = grid.power();
        Self::build(Shape::Grid(grid), polarisation, power, Validity::Inside)
    }

    fn build(shape: Shape, polarisation: Polarisation, power: f64, validity: Validity) -> Self {
        Self {
            shape,
            polarisation,
            jones: polarisation.jones(),
            power,
            validity,
        }
    }

    /// Nominal polarisation.
    pub fn polarisation(&self) -> Polarisation {
        self.polarisation
    }
    /// The same feed with another nominal polarisation. For a formula or a table the feed itself is turned into it; for a
    /// computed grid only what counts as co-polar changes.
    pub fn with_polarisation(mut self, polarisation: Polarisation) -> Self {
        self.polarisation = polarisation;
        self.jones = polarisation.jones();
        self
    }
    /// Unit Jones vector of the nominal polarisation.
    pub fn jones(&self) -> [Complex64; 2] {
        self.jones
    }
    /// Whether the table reached far enough.
    pub fn validity(&self) -> &Validity {
        &self.validity
    }
    /// Power through the whole sphere, `int (|E_theta|^2 + |E_phi|^2) dOmega`, in the pattern's own relative unit.
    pub fn power(&self) -> f64 {
        self.power
    }

    /// Field at `theta` (0..=pi), `phi` (any), radian.
    pub fn field(&self, theta: f64, phi: f64) -> Field {
        let radial = |fe: Complex64, fh: Complex64| {
            let (s, c) = phi.sin_cos();
            let [px, py] = self.jones;
            Field {
                theta: fe * (px * c + py * s),
                phi: fh * (py * c - px * s),
            }
        };
        match &self.shape {
            Shape::CosN(n) => {
                if theta >= FRAC_PI_2 {
                    return Field::default();
                }
                let f = Complex64::new(theta.cos().powf(0.5 * n), 0.0);
                radial(f, f)
            }
            Shape::Planes(p) => radial(p.0.field(theta), p.1.field(theta)),
            Shape::Grid(g) => g.field(theta, phi),
        }
    }

    /// Angle beyond which the pattern is identically zero, if there is one.
    pub(crate) fn zero_beyond(&self) -> f64 {
        match &self.shape {
            Shape::CosN(_) => FRAC_PI_2,
            Shape::Planes(p) => p.0.zero_beyond().max(p.1.zero_beyond()),
            Shape::Grid(_) => PI,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quadrature::gauss_legendre;

    #[test]
    fn ludwig_round_trip() {
        let f = Field {
            theta: Complex64::new(0.3, -0.2),
            phi: Complex64::new(-1.0, 0.7),
        };
        let [x, y] = f.ludwig3(0.7);
        let g = Field::of_ludwig3(x, y, 0.7);
        assert!((f.theta - g.theta).norm() < 1e-15 && (f.phi - g.phi).norm() < 1e-15);
    }

    #[test]
    fn stated_power_is_the_integral() {
        let points: Vec<_> = (0..=18)
            .map(|i| {
                TablePoint::level(
                    Angle::deg(10.0 * f64::from(i)),
                    Decibel(-0.9 * f64::from(i)),
                )
            })
            .collect();
        let narrow: Vec<_> = (0..=18)
            .map(|i| {
                TablePoint::level(
                    Angle::deg(10.0 * f64::from(i)),
                    Decibel(-1.4 * f64::from(i)),
                )
            })
            .collect();
        let pol = Polarisation::elliptical(
            Decibel(3.0),
            Angle::deg(20.0),
            crate::polarisation::Sense::Left,
        )
        .unwrap();
        for p in [
            Pattern::cos_n(6.0, pol).unwrap(),
            Pattern::planes(&points, &narrow, Beyond::Nothing, pol).unwrap(),
        ] {
            let mut sum = 0.0;
            for (t, w) in gauss_legendre(200, 0.0, PI) {
                for j in 0..8 {
                    sum += w
                        * t.sin()
                        * p.field(t, 2.0 * PI * f64::from(j) / 8.0).intensity()
                        * (2.0 * PI / 8.0);
                }
            }
            assert!((sum / p.power() - 1.0).abs() < 2e-4, "{sum} {}", p.power());
        }
    }
}
