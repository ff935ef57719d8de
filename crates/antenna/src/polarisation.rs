//! Polarisation states of a plane wave and the mismatch between two (IEEE Std 145; Poincare sphere).
//!
//! A state is written as people measure it: axial ratio in dB, tilt of the major axis, sense of rotation. Internally it is
//! the ellipticity angle `epsilon` with `tan |epsilon| = 1/r`, `r` the axial ratio as an amplitude ratio >= 1, positive for
//! left-hand by the usual sphere (north pole left-hand circular).

use crate::error::{AntennaError, not_negative};
use num_complex::Complex64;
use slantpath_quantity::{Angle, Decibel, amplitude_from_db, amplitude_to_db, to_db};

/// Sense of rotation, IEEE Std 145: looking in the direction in which the wave travels, clockwise is right-hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Sense {
    /// Right-hand.
    Right,
    /// Left-hand.
    Left,
}

impl Sense {
    /// The other sense: what one reflection makes of it.
    pub fn reversed(self) -> Self {
        match self {
            Self::Right => Self::Left,
            Self::Left => Self::Right,
        }
    }
    fn sign(self) -> f64 {
        match self {
            Self::Right => -1.0,
            Self::Left => 1.0,
        }
    }
}

/// A fully polarised state, of a wave seen along its own direction of travel; for a receiving antenna the state that it
/// would transmit (IEEE Std 145, "polarization of an antenna").
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Polarisation {
    /// Ellipticity angle, radian, -pi/4 (right circular) .. +pi/4 (left circular).
    epsilon_rad: f64,
    /// Tilt of the major axis from the x axis (horizontal), radian; without meaning for circular states.
    tilt_rad: f64,
}

impl Polarisation {
    /// Right-hand circular.
    pub const RIGHT_CIRCULAR: Self = Self {
        epsilon_rad: -std::f64::consts::FRAC_PI_4,
        tilt_rad: 0.0,
    };
    /// Left-hand circular.
    pub const LEFT_CIRCULAR: Self = Self {
        epsilon_rad: std::f64::consts::FRAC_PI_4,
        tilt_rad: 0.0,
    };
    /// Linear along x (horizontal).
    pub const HORIZONTAL: Self = Self {
        epsilon_rad: 0.0,
        tilt_rad: 0.0,
    };
    /// Linear along y (vertical).
    pub const VERTICAL: Self = Self {
        epsilon_rad: 0.0,
        tilt_rad: std::f64::consts::FRAC_PI_2,
    };

    /// Linear at a tilt from the x axis.
    pub fn linear(tilt: Angle) -> Self {
        Self {
            epsilon_rad: 0.0,
            tilt_rad: tilt.as_rad(),
        }
    }

    /// Circular of a sense.
    pub fn circular(sense: Sense) -> Self {
        match sense {
            Sense::Right => Self::RIGHT_CIRCULAR,
            Sense::Left => Self::LEFT_CIRCULAR,
        }
    }

    /// Elliptical: axial ratio in dB (0 circular, infinite linear), tilt of the major axis, sense.
    ///
    /// # Errors
    /// [`AntennaError::Domain`] for a negative or NaN axial ratio; infinity is linear and allowed.
    pub fn elliptical(
        axial_ratio: Decibel,
        tilt: Angle,
        sense: Sense,
    ) -> Result<Self, AntennaError> {
        if axial_ratio.0 == f64::INFINITY {
            return Ok(Self::linear(tilt));
        }
        not_negative("axial ratio", axial_ratio.0, "dB")?;
        let epsilon_rad = sense.sign() * (1.0 / amplitude_from_db(axial_ratio.0)).atan();
        Ok(Self {
            epsilon_rad,
            tilt_rad: tilt.as_rad(),
        })
    }

    /// From a Jones vector `(E_x, E_y)` of a wave towards `+z`, `exp(+j omega t)`. `None` for the zero vector.
    ///
    /// Stokes `s1 = |x|^2-|y|^2`, `s2 = 2 Re(x* y)`, `s3 = 2 Im(x* y)`; with this time factor right-hand is `y/x = -j`.
    pub fn of_jones(x: Complex64, y: Complex64) -> Option<Self> {
        let s0 = x.norm_sqr() + y.norm_sqr();
        if !(s0 > 0.0 && s0.is_finite()) {
            return None;
        }
        let c = x.conj() * y;
        let (s1, s2, s3) = (x.norm_sqr() - y.norm_sqr(), 2.0 * c.re, 2.0 * c.im);
        Some(Self {
            epsilon_rad: 0.5 * s3.atan2(s1.hypot(s2)), // well conditioned near circular, unlike asin(s3/s0)
            tilt_rad: 0.5 * s2.atan2(s1),
        })
    }

    /// Unit Jones vector `(E_x, E_y)` of the wave towards `+z`.
    pub fn jones(self) -> [Complex64; 2] {
        let (se, ce) = self.epsilon_rad.sin_cos();
        let (st, ct) = self.tilt_rad.sin_cos();
        // major axis along x, then rotated by the tilt
        [
            Complex64::new(ce * ct, -se * st),
            Complex64::new(ce * st, se * ct),
        ]
    }

    /// Axial ratio, dB; infinite for linear.
    pub fn axial_ratio(self) -> Decibel {
        Decibel(-amplitude_to_db(self.epsilon_rad.abs().tan()))
    }
    /// Tilt of the major axis.
    pub fn tilt(self) -> Angle {
        Angle::rad(self.tilt_rad)
    }
    /// Sense; `None` for linear.
    pub fn sense(self) -> Option<Sense> {
        match self.epsilon_rad {
            e if e > 0.0 => Some(Sense::Left),
            e if e < 0.0 => Some(Sense::Right),
            _ => None,
        }
    }
    /// The orthogonal state: no power passes between the two.
    pub fn orthogonal(self) -> Self {
        Self {
            epsilon_rad: -self.epsilon_rad,
            tilt_rad: self.tilt_rad + std::f64::consts::FRAC_PI_2,
        }
    }
    /// After reflection by a dish or mirror: the sense reverses, the tilt is mirrored.
    pub fn reflected(self) -> Self {
        Self {
            epsilon_rad: -self.epsilon_rad,
            tilt_rad: -self.tilt_rad,
        }
    }
    /// Turned about the direction of travel.
    pub fn rotated(self, by: Angle) -> Self {
        Self {
            tilt_rad: self.tilt_rad + by.as_rad(),
            ..self
        }
    }

    /// Share of the power that passes between two states, 0..=1.
    ///
    /// `p = (1 + sin 2e1 sin 2e2 + cos 2e1 cos 2e2 cos 2 dt) / 2`: the cosine of the angle between the two points on the
    /// Poincare sphere (IEEE Std 145 "polarization efficiency"; Balanis, Antenna Theory, sec. 2.12: from memory).
    pub fn efficiency(self, other: Self) -> f64 {
        let (s1, c1) = (2.0 * self.epsilon_rad).sin_cos();
        let (s2, c2) = (2.0 * other.epsilon_rad).sin_cos();
        let c = (2.0 * (self.tilt_rad - other.tilt_rad)).cos();
        (0.5 * (1.0 + s1 * s2 + c1 * c2 * c)).clamp(0.0, 1.0)
    }

    /// Polarisation mismatch loss, dB >= 0; infinite between orthogonal states.
    pub fn mismatch_loss(self, other: Self) -> Decibel {
        Decibel(-to_db(self.efficiency(other)))
    }
}

/// Cross-polar isolation of two linear states misaligned by `skew`: `-20 log10 tan |skew|`, dB.
pub fn skew_isolation(skew: Angle) -> Decibel {
    Decibel(-amplitude_to_db(skew.as_rad().tan().abs()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn state(ar: f64, tilt: f64, sense: Sense) -> Polarisation {
        Polarisation::elliptical(Decibel(ar), Angle::deg(tilt), sense).unwrap()
    }

    #[test]
    fn circular_and_linear() {
        let rc = Polarisation::RIGHT_CIRCULAR;
        assert!((rc.mismatch_loss(Polarisation::HORIZONTAL).0 - 3.010_299_956_6).abs() < 1e-9);
        assert!(rc.efficiency(Polarisation::LEFT_CIRCULAR) < 1e-15);
        assert!(rc.axial_ratio().0.abs() < 1e-12);
        assert_eq!(Polarisation::VERTICAL.axial_ratio().0, f64::INFINITY);
        assert_eq!(rc.reflected().sense(), Some(Sense::Left));
        // IEEE: right-hand is x - j y for exp(+j omega t)
        let [x, y] = rc.jones();
        assert!((y / x - Complex64::new(0.0, -1.0)).norm() < 1e-15);
    }

    #[test]
    fn skew_of_ten_and_three_degrees() {
        // 10 deg: 0.13 dB lost, 15 dB isolation; 3 deg 26 dB (common practice, no source; by arithmetic)
        let h = Polarisation::HORIZONTAL;
        assert!((h.mismatch_loss(h.rotated(Angle::deg(10.0))).0 - 0.133).abs() < 5e-4);
        assert!((skew_isolation(Angle::deg(10.0)).0 - 15.07).abs() < 0.01);
        assert!((skew_isolation(Angle::deg(3.0)).0 - 25.61).abs() < 0.01);
    }

    #[test]
    fn nonsense_is_refused() {
        assert!(Polarisation::elliptical(Decibel(-1.0), Angle::deg(0.0), Sense::Left).is_err());
        assert!(Polarisation::elliptical(Decibel(f64::NAN), Angle::deg(0.0), Sense::Left).is_err());
        assert_eq!(
            Polarisation::of_jones(Complex64::default(), Complex64::default()),
            None
        );
    }

    proptest! {
        #[test]
        fn jones_round_trip_and_orthogonality(ar in 0.01f64..40.0, tilt in -89.0f64..89.0, left: bool,
                                              ar2 in 0.0f64..40.0, tilt2 in -90.0f64..90.0, left2: bool) {
            let sense = if left { Sense::Left } else { Sense::Right };
            let s = state(ar, tilt, sense);
            let [x, y] = s.jones();
            let back = Polarisation::of_jones(x, y).unwrap();
            prop_assert!((back.axial_ratio().0 - ar).abs() < 1e-6);
            prop_assert_eq!(back.sense(), Some(sense));
            prop_assert!(s.efficiency(back) > 1.0 - 1e-12);
            prop_assert!(s.efficiency(s.orthogonal()) < 1e-12);
            // Poincare form against the inner product of Jones vectors
            let t = state(ar2, tilt2, if left2 { Sense::Left } else { Sense::Right });
            let [u, v] = t.jones();
            prop_assert!((s.efficiency(t) - (x * u.conj() + y * v.conj()).norm_sqr()).abs() < 1e-12);
            // what is lost to one state arrives in the orthogonal one
            prop_assert!((s.efficiency(t) + s.efficiency(t.orthogonal()) - 1.0).abs() < 1e-12);
        }
    }
}
