//! Compression and intermodulation of an amplifier without memory.
//!
//! The models act on the complex envelope, scaled so that `|z|^2` is the power in watt at the part's port. A
//! [`Curve`] is a straight gain, a measured table, Rapp's model or the cubic; all give output power, phase,
//! compression and two-tone products the same way.

mod cubic;
mod efficiency;
mod ramp;
mod rapp;
mod table;
mod two_tone;

pub use cubic::Cubic;
pub use efficiency::Efficiency;
pub use ramp::{RampPoint, RappFit, fit_rapp};
pub use rapp::Rapp;
pub use table::{Table, TableRow};
pub use two_tone::TwoTone;

use crate::error::{Result, finite};
use num_complex::Complex64;
use slantpath_quantity::{Angle, Power, Validity, to_db};

/// How output follows input.
#[derive(Debug, Clone, PartialEq)]
pub enum Curve {
    /// A constant gain in dB at any level.
    Linear(f64),
    /// A measured table.
    Table(Table),
    /// Rapp's model.
    Rapp(Rapp),
    /// The third-order model.
    Cubic(Cubic),
}

impl Curve {
    /// Gain at small signals, dB.
    pub fn gain_db(&self) -> f64 {
        match self {
            Self::Linear(g) => *g,
            Self::Table(t) => t.gain_db(),
            Self::Rapp(r) => r.gain_db,
            Self::Cubic(c) => c.gain_db,
        }
    }
    /// Input power up to which the model says anything, dBm.
    pub fn max_input_dbm(&self) -> f64 {
        match self {
            Self::Linear(_) | Self::Rapp(_) => f64::INFINITY,
            Self::Table(t) => t.max_input_dbm(),
            Self::Cubic(c) => c.max_input_dbm(),
        }
    }
    /// Largest output of the model, dBm; infinite for a straight gain.
    pub fn saturation_dbm(&self) -> f64 {
        match self {
            Self::Linear(_) => f64::INFINITY,
            Self::Table(t) => t.saturation_dbm(),
            Self::Rapp(r) => r.saturation_dbm,
            Self::Cubic(c) => c.saturation_dbm(),
        }
    }
    /// Output amplitude and phase shift of an input amplitude (root watt). Beyond the model's largest input the
    /// output is held; compare [`Self::max_input_dbm`] with the signal's peak.
    fn envelope(&self, r: f64) -> (f64, f64) {
        match self {
            Self::Linear(g) => (r * slantpath_quantity::amplitude_from_db(*g), 0.0),
            Self::Table(t) => t.envelope(r),
            Self::Rapp(m) => (m.amplitude(r), 0.0),
            Self::Cubic(c) => (c.amplitude(r), 0.0),
        }
    }
    /// One sample of the complex envelope through the part.
    pub fn apply(&self, z: Complex64) -> Complex64 {
        let r = z.norm();
        if r == 0.0 {
            return z;
        }
        let (a, phase) = self.envelope(r);
        let scaled = z * (a / r);
        if phase == 0.0 {
            scaled
        } else {
            scaled * Complex64::cis(phase)
        }
    }
    /// Output power of a steady carrier, dBm.
    ///
    /// # Errors
    /// Input not finite.
    pub fn output_dbm(&self, in_dbm: f64) -> Result<(f64, Validity)> {
        finite("amplifier", "in_dbm", in_dbm)?;
        let (a, _) = self.envelope(Power::dbm(in_dbm).as_w().sqrt());
        let v = Validity::check(
            "amplifier curve",
            "input",
            in_dbm,
            f64::NEG_INFINITY..=self.max_input_dbm(),
            "dBm",
        );
        Ok((Power::w(a * a).as_dbm(), v))
    }
    /// Phase shift of a steady carrier relative to small signals.
    ///
    /// # Errors
    /// Input not finite.
    pub fn phase(&self, in_dbm: f64) -> Result<Angle> {
        finite("amplifier", "in_dbm", in_dbm)?;
        let small = self.envelope(1e-12).1;
        Ok(Angle::rad(
            self.envelope(Power::dbm(in_dbm).as_w().sqrt()).1 - small,
        ))
    }
    /// How much gain is lost at an input level against small signals, dB (negative: expansion).
    ///
    /// # Errors
    /// Input not finite.
    pub fn compression_db(&self, in_dbm: f64) -> Result<f64> {
        Ok(self.gain_db() + in_dbm - self.output_dbm(in_dbm)?.0)
    }
    /// Lowest input at which the gain is down by `db`, dBm; `None` when the model never gets there.
    ///
    /// # Errors
    /// `db` not finite.
    pub fn input_at_compression_dbm(&self, db: f64) -> Result<Option<f64>> {
        finite("amplifier", "compression_db", db)?;
        let sat_in = self.saturation_dbm() - self.gain_db();
        if !sat_in.is_finite() {
            return Ok(None);
        }
        // From far below saturation upward in steps, then bisection inside the first step that crosses.
        let top = self.max_input_dbm().min(sat_in + db.max(0.0) + 60.0);
        let step = 0.1;
        let mut lo = sat_in - 80.0;
        while lo < top {
            let hi = (lo + step).min(top);
            if self.compression_db(hi)? >= db {
                let (mut a, mut b) = (lo, hi);
                for _ in 0..60 {
                    let m = 0.5 * (a + b);
                    if self.compression_db(m)? >= db {
                        b = m;
                    } else {
                        a = m;
                    }
                }
                return Ok(Some(b));
            }
            lo = hi;
        }
        Ok(None)
    }
    /// Output power where the gain is down by 1 dB, dBm.
    pub fn p1db_out_dbm(&self) -> Option<f64> {
        let input = self.input_at_compression_dbm(1.0).ok().flatten()?;
        self.output_dbm(input).ok().map(|(p, _)| p)
    }
    /// How far an output power stays below saturation, dB.
    pub fn output_backoff_db(&self, out_dbm: f64) -> f64 {
        self.saturation_dbm() - out_dbm
    }
    /// Products of two equal tones whose total input power is `mean_in_dbm`.
    ///
    /// # Errors
    /// Input not finite.
    pub fn two_tone(&self, mean_in_dbm: f64) -> Result<TwoTone> {
        two_tone::two_tone(self, mean_in_dbm)
    }
}

/// Output third-order intercept minus output 1 dB point of the cubic, dB: `-10 log10(1 - 10^(-1/20)) + 1`.
///
/// Real amplifiers differ by a few dB either way; use it only where one of the two is not known.
pub fn oip3_minus_op1db_db() -> f64 {
    iip3_minus_ip1db_db() + 1.0
}

/// The same, referred to the input: `-10 log10(1 - 10^(-1/20))`, 9.636 dB.
pub fn iip3_minus_ip1db_db() -> f64 {
    -to_db(1.0 - slantpath_quantity::amplitude_from_db(-1.0))
}
