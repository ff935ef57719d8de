//! Y factor: the ratio of two noise powers, hot over cold, and what it says of the receiver.

use crate::error::{ChainError, Result, fraction, not_negative};
use slantpath_quantity::{Temperature, from_db, to_db};

/// What a Y factor gave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct YResult {
    /// Receiver noise temperature, K.
    pub te_k: f64,
    /// Change of `te_k` per dB of Y, K/dB (negative).
    pub per_y_db: f64,
    /// Change of `te_k` per kelvin of the hot load.
    pub per_hot: f64,
    /// Change of `te_k` per kelvin of the cold load (negative).
    pub per_cold: f64,
}

impl YResult {
    /// Standard uncertainty of `te_k`, K (GUM 5.1.2; independent inputs).
    pub fn u_k(&self, u_y_db: f64, u_hot_k: f64, u_cold_k: f64) -> f64 {
        let (a, b, c) = (
            self.per_y_db * u_y_db,
            self.per_hot * u_hot_k,
            self.per_cold * u_cold_k,
        );
        (a * a + b * b + c * c).sqrt()
    }
}

/// Receiver noise temperature from a Y factor: `Te = (Th - Y Tc)/(Y - 1)`.
///
/// # Errors
/// `Y` not above 1 (0 dB), hot not above cold, or a negative temperature as the result: then the loads are not
/// what was stated, or the receiver is not linear.
pub fn te_from_y(y_db: f64, hot: Temperature, cold: Temperature) -> Result<YResult> {
    let (th, tc) = (hot.as_k(), cold.as_k());
    not_negative("Y factor", "t_cold_k", tc)?;
    if !(y_db.is_finite() && y_db > 0.0) {
        return Err(ChainError::Impossible {
            part: "Y factor".into(),
            symbol: "y_db",
            value: y_db,
            must: "above 0 dB",
        });
    }
    if !(th.is_finite() && th > tc) {
        return Err(ChainError::Impossible {
            part: "Y factor".into(),
            symbol: "t_hot_k",
            value: th,
            must: "above the cold load",
        });
    }
    let y = from_db(y_db);
    let te = (th - y * tc) / (y - 1.0);
    if te < 0.0 {
        return Err(ChainError::Undetermined {
            part: "Y factor".into(),
            why: format!(
                "Y = {y_db:.2} dB is more than a noiseless receiver could show between {tc:.0} K and {th:.0} K \
                 ({:.2} dB); check the loads' temperatures and the receiver's linearity",
                to_db(th / tc)
            ),
        });
    }
    let d = y - 1.0;
    Ok(YResult {
        te_k: te,
        per_y_db: -(th - tc) / (d * d) * y * std::f64::consts::LN_10 / 10.0,
        per_hot: 1.0 / d,
        per_cold: -y / d,
    })
}

/// Y factor in dB that a receiver of noise temperature `te` shows between two loads.
///
/// # Errors
/// Negative temperatures, or cold load and receiver both at 0 K.
pub fn y_from_te(te: Temperature, hot: Temperature, cold: Temperature) -> Result<f64> {
    let te = not_negative("Y factor", "te_k", te.as_k())?;
    let th = not_negative("Y factor", "t_hot_k", hot.as_k())?;
    let tc = not_negative("Y factor", "t_cold_k", cold.as_k())?;
    if te + tc <= 0.0 {
        return Err(ChainError::Undetermined {
            part: "Y factor".into(),
            why: "the cold load and the receiver are both at 0 K".into(),
        });
    }
    Ok(to_db((th + te) / (tc + te)))
}

/// Y factor in dB between ground (or absorber) filling `filled` of the beam and cold sky.
///
/// # Errors
/// As [`y_from_te`]; `filled` outside 0..1.
pub fn ground_to_sky_y(
    te: Temperature,
    ground: Temperature,
    sky: Temperature,
    filled: f64,
) -> Result<f64> {
    fraction("ground to sky Y factor", "filled", filled)?;
    y_from_te(te, ground * filled + sky * (1.0 - filled), sky)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn refuses_what_cannot_be() {
        let k = Temperature::k;
        assert!(te_from_y(0.0, k(290.0), k(77.0)).is_err());
        assert!(te_from_y(3.0, k(77.0), k(77.0)).is_err());
        let e = te_from_y(9.0, k(290.0), k(77.0)).unwrap_err();
        assert!(e.to_string().contains("noiseless"));
    }

    proptest! {
        #[test]
        fn there_and_back(te in 1.0..2000.0f64, tc in 3.0..300.0f64, up in 10.0..9000.0f64) {
            let (te, tc, th) = (Temperature::k(te), Temperature::k(tc), Temperature::k(tc + up));
            let y = y_from_te(te, th, tc).unwrap();
            let r = te_from_y(y, th, tc).unwrap();
            prop_assert!((r.te_k - te.as_k()).abs() < 1e-6 * (te.as_k() + up));
            // sensitivities against differences
            let h = 1e-5 * y;
            let d = (te_from_y(y + h, th, tc).unwrap_or(r).te_k - te_from_y(y - h, th, tc).unwrap_or(r).te_k) / (2.0 * h);
            prop_assume!(te_from_y(y + h, th, tc).is_ok());
            prop_assert!((d / r.per_y_db - 1.0).abs() < 1e-4);
        }
    }
}
