//! Combination of several causes of attenuation, P.618-13 section 2.5.

use slantpath_quantity::Validity;

use super::REVISION;

/// Overall rms error of the method against measurements, relative (P.618-13 section 2.5, 0.001 to 1 %,
/// with the rain maps of P.837; value from memory).
pub const RMS_RELATIVE_ERROR: f64 = 0.35;

/// `A_T = A_G + sqrt((A_R + A_C)^2 + A_S^2)`, dB (equation 63).
pub fn combine_db(a_gas_db: f64, a_cloud_db: f64, a_rain_db: f64, a_scint_db: f64) -> f64 {
    a_gas_db + (a_rain_db + a_cloud_db).hypot(a_scint_db)
}

/// The percentage at which gas and cloud enter the combination: their 1 % values for anything rarer
/// (equations 64 and 65), because the rain prediction already contains much of them.
pub fn gas_cloud_percent(p_percent: f64) -> f64 {
    p_percent.max(1.0)
}

/// Stated range: to 55 GHz, p 0.001 to 50 %.
pub fn validity(f_ghz: f64, p_percent: f64) -> Validity {
    let model = format!("{REVISION} 2.5 (combination)");
    Validity::check(&model, "f", f_ghz, 1.0..=55.0, "GHz").and(Validity::check(
        &model,
        "p",
        p_percent,
        0.001..=50.0,
        "%",
    ))
}

#[cfg(test)]
mod tests {
    /// ITU-R SG 3 validation row (ValEx Rev 5.1): 51.5 N 0.14 W, 14.25 GHz, 31.08 deg, p = 1 %.
    #[test]
    fn published_row() {
        let a = super::combine_db(0.226874038, 0.455169824, 0.495316047, 0.261931889);
        assert!((a - 1.212790721).abs() < 1e-8);
    }
}
