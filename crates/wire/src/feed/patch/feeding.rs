//! How the two resonances at right angles are driven.

use num_complex::Complex64;
use slantpath_antenna::polarisation::Sense;
use slantpath_quantity::{Angle, Decibel};

/// How a patch is fed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Feeding {
    /// One resonance, electric field along `x`.
    Linear,
    /// Two points a right angle apart (on `x` and `y`) through a quadrature splitter, or four through its like.
    Quadrature {
        /// Sense wished.
        sense: Sense,
        /// Amplitude on `y` over that on `x`.
        amplitude_error: Decibel,
        /// Phase by which the splitter misses 90 degrees.
        phase_error: Angle,
    },
    /// One point at 45 degrees between two resonances made unequal by notches or tabs.
    Split {
        /// Sense wished.
        sense: Sense,
        /// Difference of the two resonances over their mean; `1/Q` makes it circular in the middle.
        split: f64,
    },
}

impl Feeding {
    /// An exact quadrature feed.
    pub fn quadrature(sense: Sense) -> Self {
        Self::Quadrature {
            sense,
            amplitude_error: Decibel(0.0),
            phase_error: Angle::rad(0.0),
        }
    }

    /// Sense wished; `None` when linear.
    pub fn sense(&self) -> Option<Sense> {
        match self {
            Self::Linear => None,
            Self::Quadrature { sense, .. } | Self::Split { sense, .. } => Some(*sense),
        }
    }

    /// Amplitudes of the fields along `x` and `y` on the axis, at a detuning `(f - f_0)/f_0` of a resonance of quality `q`.
    ///
    /// Split: each resonance follows `1/(1 + 2jQ (f - f_i)/f_0)` (single-tuned circuit near resonance).
    pub fn amplitudes(&self, detuning: f64, q: f64) -> [Complex64; 2] {
        let one = Complex64::new(1.0, 0.0);
        // right: y lags x by a quarter period, exp(+j omega t)
        let turn = |s: Sense| match s {
            Sense::Right => Complex64::new(0.0, -1.0),
            Sense::Left => Complex64::new(0.0, 1.0),
        };
        match *self {
            Self::Linear => [one, Complex64::default()],
            Self::Quadrature {
                sense,
                amplitude_error,
                phase_error,
            } => {
                let error = Complex64::from_polar(
                    slantpath_quantity::amplitude_from_db(amplitude_error.0),
                    phase_error.as_rad(),
                );
                [one, turn(sense) * error]
            }
            Self::Split { sense, split } => {
                let tuned = |d: f64| one / Complex64::new(1.0, 2.0 * q * (detuning - d));
                let (low, high) = (tuned(-0.5 * split), tuned(0.5 * split));
                // above its resonance a mode lags: the lower one must be y for right
                match sense {
                    Sense::Right => [high, low],
                    Sense::Left => [low, high],
                }
            }
        }
    }
}
