//! Specific attenuation, line by line: P.676-12 Annex 1 section 1.

use slantpath_quantity::Validity;

use super::REVISION;
use super::lines::{OXYGEN, WATER};
use crate::p453;

/// Specific attenuation of dry air (oxygen, and nitrogen by pressure), dB/km.
///
/// `p_hpa`: pressure of *dry* air; `t_k`: temperature; `rho_gm3`: water vapour density (it broadens the
/// oxygen lines a little). Equations (1) to (9), (3) and (6) for oxygen.
pub fn gamma_oxygen_db_km(f_ghz: f64, p_hpa: f64, t_k: f64, rho_gm3: f64) -> f64 {
    let f = f_ghz;
    let theta = 300.0 / t_k;
    let e = p453::vapour_pressure_hpa(rho_gm3, t_k);
    let theta_08 = theta.powf(0.8);
    let strength = p_hpa * theta.powi(3);
    let mut n_imag = 0.0;
    for line in &OXYGEN {
        let [a1, a2, a3, a4, a5, a6] = line.a;
        let s = a1 * 1e-7 * strength * (a2 * (1.0 - theta)).exp(); // (3)
        // (6a); a4 is zero for every line below the isolated ones, which spares the power.
        let broad = if a4 == 0.0 {
            theta_08
        } else {
            theta.powf(0.8 - a4)
        };
        let df = a3 * 1e-4 * (p_hpa * broad + 1.1 * e * theta);
        let df = (df * df + 2.25e-6).sqrt(); // (6b), Zeeman splitting
        let delta = (a5 + a6 * theta) * 1e-4 * (p_hpa + e) * theta_08; // (7)
        let (m, q) = (line.f0_ghz - f, line.f0_ghz + f);
        let shape = f / line.f0_ghz
            * ((df - delta * m) / (m * m + df * df) + (df - delta * q) / (q * q + df * df)); // (5)
        n_imag += s * shape;
    }
    // Dry continuum, (8) and (9).
    let d = 5.6e-4 * (p_hpa + e) * theta_08;
    let continuum = f
        * p_hpa
        * theta
        * theta
        * (6.14e-5 / (d * (1.0 + (f / d).powi(2)))
            + 1.4e-12 * p_hpa * theta.powf(1.5) / (1.0 + 1.9e-5 * f.powf(1.5)));
    0.1820 * f * (n_imag + continuum) // (1), (2a)
}

/// Specific attenuation of water vapour, dB/km; arguments as for [`gamma_oxygen_db_km`].
pub fn gamma_water_db_km(f_ghz: f64, p_hpa: f64, t_k: f64, rho_gm3: f64) -> f64 {
    let f = f_ghz;
    let theta = 300.0 / t_k;
    let e = p453::vapour_pressure_hpa(rho_gm3, t_k);
    let strength = e * theta.powf(3.5);
    let ln_theta = theta.ln();
    let mut n_imag = 0.0;
    for line in &WATER {
        let [b1, b2, b3, b4, b5, b6] = line.b;
        let s = b1 * 0.1 * strength * (b2 * (1.0 - theta)).exp(); // (3)
        // (6a): theta^b by exp(b ln theta), one logarithm for all lines.
        let df = b3 * 1e-4 * (p_hpa * (b4 * ln_theta).exp() + b5 * e * (b6 * ln_theta).exp());
        let doppler = 2.1316e-12 * line.f0_ghz * line.f0_ghz / theta;
        let df = 0.535 * df + (0.217 * df * df + doppler).sqrt(); // (6b)
        let (m, q) = (line.f0_ghz - f, line.f0_ghz + f);
        n_imag += s * f / line.f0_ghz * (df / (m * m + df * df) + df / (q * q + df * df)); // (5)
    }
    0.1820 * f * n_imag
}

/// Stated range of Annex 1: 1 to 1000 GHz.
pub fn validity(f_ghz: f64) -> Validity {
    Validity::check(
        &format!("{REVISION} Annex 1"),
        "f",
        f_ghz,
        1.0..=1000.0,
        "GHz",
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ITU-R SG 3 validation row (ValEx Rev 5.1), 12 GHz, 1013.25 hPa dry, 288.15 K, 7.5 g/m3.
    #[test]
    fn published_row() {
        let o = gamma_oxygen_db_km(12.0, 1013.25, 288.15, 7.5);
        let w = gamma_water_db_km(12.0, 1013.25, 288.15, 7.5);
        assert!((o / 0.008698264 - 1.0).abs() < 1e-6, "{o}");
        assert!((w / 0.009535388 - 1.0).abs() < 1e-6, "{w}");
    }

    #[test]
    fn known_peaks() {
        // The 60 GHz complex near 15 dB/km and the 22.235 GHz line near 0.2 dB/km at sea level.
        let peak = gamma_oxygen_db_km(60.0, 1013.25, 288.15, 7.5);
        assert!((13.0..17.0).contains(&peak), "{peak}");
        assert!(gamma_water_db_km(22.235, 1013.25, 288.15, 7.5) > 0.15);
        assert_eq!(gamma_water_db_km(10.5, 1013.25, 288.15, 0.0), 0.0);
        assert!(!validity(0.4).is_inside());
    }
}
