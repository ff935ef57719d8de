//! The memoryless third-order model: what an intercept point means.

use crate::error::{Result, finite};
use slantpath_quantity::{Power, amplitude_from_db};

/// `y = a1 x + a3 x^3` with `a3` compressive. On the envelope: `A_out = g r (1 - r^2/P_iip3)`, rising up to
/// `r^2 = P_iip3/3`; beyond that the model folds back, and the output is held at its peak.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cubic {
    /// Small-signal gain, dB.
    pub gain_db: f64,
    /// Output third-order intercept (per tone), dBm.
    pub oip3_dbm: f64,
}

impl Cubic {
    /// From gain and output intercept.
    ///
    /// # Errors
    /// Values that are not finite.
    pub fn new(gain_db: f64, oip3_dbm: f64) -> Result<Self> {
        finite("cubic model", "gain_db", gain_db)?;
        finite("cubic model", "oip3_dbm", oip3_dbm)?;
        Ok(Self { gain_db, oip3_dbm })
    }
    fn iip3_w(&self) -> f64 {
        Power::dbm(self.oip3_dbm - self.gain_db).as_w()
    }
    pub(super) fn max_input_dbm(&self) -> f64 {
        Power::w(self.iip3_w() / 3.0).as_dbm()
    }
    pub(super) fn saturation_dbm(&self) -> f64 {
        // g^2 P (1 - 1/3)^2 at P = iip3/3
        Power::w(Power::dbm(self.oip3_dbm).as_w() * 4.0 / 27.0).as_dbm()
    }
    pub(super) fn amplitude(&self, r: f64) -> f64 {
        let p3 = self.iip3_w();
        let r = r.min((p3 / 3.0).sqrt());
        amplitude_from_db(self.gain_db) * r * (1.0 - r * r / p3)
    }
}
