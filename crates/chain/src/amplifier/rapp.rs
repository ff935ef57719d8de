//! Rapp's model of a solid-state amplifier (Rapp 1991, Second European Conference on Satellite Communications).

use crate::error::{ChainError, Result, finite, positive};
use slantpath_quantity::{Power, amplitude_from_db, from_db, to_db};

/// `A_out = g r / (1 + (g r/A_sat)^(2p))^(1/(2p))`: gain, saturation and smoothness; no phase shift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rapp {
    /// Small-signal gain, dB.
    pub gain_db: f64,
    /// Saturated output power, dBm.
    pub saturation_dbm: f64,
    /// Smoothness p: small is soft, large a hard limiter. Solid-state parts: about 1 to 3.
    pub p: f64,
}

impl Rapp {
    /// From gain, saturation and smoothness.
    ///
    /// # Errors
    /// Values that are not finite, smoothness not above zero.
    pub fn new(gain_db: f64, saturation_dbm: f64, p: f64) -> Result<Self> {
        let part = "Rapp model";
        finite(part, "gain_db", gain_db)?;
        finite(part, "saturation_dbm", saturation_dbm)?;
        positive(part, "p", p)?;
        Ok(Self {
            gain_db,
            saturation_dbm,
            p,
        })
    }
    /// From gain, output 1 dB point and saturation; the smoothness follows from their distance:
    /// `P1dB/Psat = (1 - 10^(-p/10))^(1/p)`.
    ///
    /// # Errors
    /// Saturation not above the 1 dB point, or so far above that the smoothness would fall below 0.5 (19 dB).
    pub fn from_p1db(gain_db: f64, p1db_dbm: f64, saturation_dbm: f64) -> Result<Self> {
        let part = "Rapp model";
        let gap_db = positive(part, "saturation_dbm - p1db_dbm", saturation_dbm - p1db_dbm)?;
        // gap falls strictly with p
        let gap = |p: f64| -to_db(1.0 - from_db(-p)) / p;
        let (mut lo, mut hi) = (0.5, 60.0);
        if gap_db > gap(lo) || gap_db < gap(hi) {
            return Err(ChainError::Undetermined {
                part: part.into(),
                why: format!(
                    "saturation {gap_db:.2} dB above the 1 dB point is outside what the model can show \
                     ({:.0e} to {:.1} dB)",
                    gap(hi),
                    gap(lo)
                ),
            });
        }
        // Regula falsi (Illinois) on the logarithm of the gap, which is nearly straight in p: some ten steps.
        let miss = |p: f64| (gap(p) / gap_db).ln();
        let (mut f_lo, mut f_hi, mut last) = (miss(lo), miss(hi), 0i8);
        for _ in 0..80 {
            let p = (lo * f_hi - hi * f_lo) / (f_hi - f_lo);
            let f = miss(p);
            if f.abs() < 1e-13 || hi - lo < 1e-13 * hi {
                (lo, hi) = (p, p);
                break;
            }
            if f > 0.0 {
                (lo, f_lo) = (p, f);
                if last == 1 {
                    f_hi *= 0.5;
                }
                last = 1;
            } else {
                (hi, f_hi) = (p, f);
                if last == -1 {
                    f_lo *= 0.5;
                }
                last = -1;
            }
        }
        Self::new(gain_db, saturation_dbm, 0.5 * (lo + hi))
    }
    /// Output amplitude, root watt.
    pub(super) fn amplitude(&self, r: f64) -> f64 {
        let a_sat = Power::dbm(self.saturation_dbm).as_w().sqrt();
        let x = r * amplitude_from_db(self.gain_db) / a_sat;
        let q = 2.0 * self.p;
        // Two forms of the same, each without overflow on its side.
        if x <= 1.0 {
            a_sat * x / (1.0 + x.powf(q)).powf(1.0 / q)
        } else {
            a_sat / (1.0 + x.powf(-q)).powf(1.0 / q)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::amplifier::Curve;
    use proptest::prelude::*;

    #[test]
    fn closed_forms() {
        // Where the straight gain would just reach saturation the amplitude is 2^(-1/(2p)) of it: 10 log10(2)/p dB.
        for p in [0.5, 1.0, 2.0, 3.0, 10.0] {
            let c = Curve::Rapp(Rapp::new(20.0, 47.0, p).unwrap());
            let got = c.compression_db(27.0).unwrap();
            assert!((got - to_db(2.0) / p).abs() < 1e-10);
            // the output 1 dB point in closed form
            let want = 47.0 + to_db(1.0 - from_db(-p)) / p;
            assert!((c.p1db_out_dbm().unwrap() - want).abs() < 1e-9, "{p}");
        }
        assert!(Rapp::from_p1db(20.0, 47.0, 47.0).is_err());
        assert!(Rapp::from_p1db(20.0, 27.0, 47.0).is_err());
    }

    proptest! {
        #[test]
        fn p1db_and_saturation_come_back(p in 0.5..8.0f64, sat in 20.0..60.0f64, gain in 0.0..50.0f64) {
            let a = Rapp::new(gain, sat, p).unwrap();
            let p1 = Curve::Rapp(a).p1db_out_dbm().unwrap();
            let b = Rapp::from_p1db(gain, p1, sat).unwrap();
            prop_assert!((a.p - b.p).abs() < 1e-5 * a.p.max(1.0).powi(4));
        }
        #[test]
        fn rises_and_never_passes_saturation(p in 0.3..50.0f64, x in -60.0..60.0f64, d in 0.001..10.0f64) {
            let c = Curve::Rapp(Rapp::new(10.0, 40.0, p).unwrap());
            let (a, b) = (c.output_dbm(x).unwrap().0, c.output_dbm(x + d).unwrap().0);
            prop_assert!(b >= a && b <= 40.0 + 1e-9);
        }
    }
}
