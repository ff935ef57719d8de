//! Cross-polarisation discrimination from rain statistics, P.618-13 section 4.1.

use slantpath_quantity::{Validity, amplitude_to_db, to_db};

use super::REVISION;

/// Polarisation improvement term as a ratio: `1 - 0.484 (1 + cos 4 tau)`.
fn polarisation_ratio(tau_deg: f64) -> f64 {
    1.0 - 0.484 * (1.0 + (4.0 * tau_deg.to_radians()).cos())
}

/// XPD, dB, not exceeded for `p_percent` of the time, ice included (steps 1 to 8).
///
/// `a_p_db`: rain attenuation exceeded for the same percentage on the same path; `tau_deg`: tilt of the
/// linear polarisation from the horizontal (45 for circular). Between 4 and 6 GHz the 6 GHz value is
/// scaled (section 4.3). No attenuation means no depolarising rain: positive infinity.
pub fn xpd_db(a_p_db: f64, f_ghz: f64, el_deg: f64, p_percent: f64, tau_deg: f64) -> f64 {
    if a_p_db <= 0.0 {
        return f64::INFINITY;
    }
    let f = f_ghz.max(6.0);
    // Step 1. The coefficients are of log10 f, not of a level.
    let c_f = if f < 9.0 {
        60.0 * f.log10() - 28.3
    } else if f < 36.0 {
        26.0 * f.log10() + 4.1
    } else {
        35.9 * f.log10() - 11.3
    };
    let v = if f < 9.0 {
        30.8 * f.powf(-0.21)
    } else if f < 20.0 {
        12.8 * f.powf(0.19)
    } else if f < 40.0 {
        22.6
    } else {
        13.0 * f.powf(0.15)
    };
    let c_a = v * a_p_db.log10(); // step 2
    let c_tau = -to_db(polarisation_ratio(tau_deg)); // step 3
    let c_theta = -2.0 * amplitude_to_db(el_deg.to_radians().cos()); // step 4: -40 log10 cos
    // Step 5: effective standard deviation of the canting angle, deg.
    let sigma_deg: f64 = if p_percent <= 0.001 {
        15.0
    } else if p_percent <= 0.01 {
        10.0
    } else if p_percent <= 0.1 {
        5.0
    } else {
        0.0
    };
    let xpd_rain = c_f - c_a + c_tau + c_theta + 0.0053 * sigma_deg * sigma_deg; // step 6
    let c_ice = xpd_rain * (0.3 + 0.1 * p_percent.log10()) / 2.0; // step 7
    let xpd = xpd_rain - c_ice; // step 8
    if f_ghz < 6.0 {
        xpd - amplitude_to_db(f_ghz / 6.0)
    } else {
        xpd
    }
}

/// Stated range: 6 to 55 GHz (4 GHz with frequency scaling), elevation to 60 deg.
pub fn validity(f_ghz: f64, el_deg: f64) -> Validity {
    let model = format!("{REVISION} 4.1 (XPD)");
    Validity::check(&model, "f", f_ghz, 4.0..=55.0, "GHz").and(Validity::check(
        &model,
        "elevation",
        el_deg,
        0.0..=60.0,
        "deg",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ITU-R SG 3 validation rows (ValEx Rev 5.1), p = 1 %, 14.25 GHz, tau 0.
    #[test]
    fn published_rows() {
        for (el, a_p, want) in [
            (31.07699124, 0.49531707, 49.47769944),
            (46.35969261, 0.42101702, 53.93857066),
        ] {
            let got = xpd_db(a_p, 14.25, el, 1.0, 0.0);
            assert!((got - want).abs() < 1e-6, "{got} {want}");
        }
        assert_eq!(xpd_db(0.0, 10.5, 30.0, 1.0, 0.0), f64::INFINITY);
    }
}
