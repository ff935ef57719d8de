//! ITU-R P.840-7 (12/2017): attenuation due to clouds.

use slantpath_quantity::Validity;

/// Specific attenuation coefficient of cloud liquid water, `K_l`, (dB/km)/(g/m3), at `f_ghz` and liquid
/// water temperature `t_k` (double-Debye model, equations 2 to 11).
pub fn k_l(f_ghz: f64, t_k: f64) -> f64 {
    let theta = 300.0 / t_k; // (9)
    let eps_0 = 77.66 + 103.3 * (theta - 1.0); // (6)
    let eps_1 = 0.0671 * eps_0; // (7)
    let eps_2 = 3.52; // (8)
    let f_p = 20.20 - 146.0 * (theta - 1.0) + 316.0 * (theta - 1.0).powi(2); // (10), GHz
    let f_s = 39.8 * f_p; // (11), GHz
    let (x_p, x_s) = (f_ghz / f_p, f_ghz / f_s);
    let eps_im =
        x_p * (eps_0 - eps_1) / (1.0 + x_p * x_p) + x_s * (eps_1 - eps_2) / (1.0 + x_s * x_s); // (4)
    let eps_re = (eps_0 - eps_1) / (1.0 + x_p * x_p) + (eps_1 - eps_2) / (1.0 + x_s * x_s) + eps_2; // (5)
    let eta = (2.0 + eps_re) / eps_im; // (3)
    0.819 * f_ghz / (eps_im * (1.0 + eta * eta)) // (2)
}

/// Slant-path cloud attenuation, dB, from the columnar content of liquid water reduced to 0 degC,
/// `l_red_kgm2` in kg/m2 (equation 12): `A = L_red K_l(f, 273.15 K) / sin(el)`.
pub fn slant_attenuation_db(f_ghz: f64, el_deg: f64, l_red_kgm2: f64) -> f64 {
    l_red_kgm2 * k_l(f_ghz, 273.15) / el_deg.to_radians().sin()
}

/// Stated range: to 200 GHz; elevation 5 to 90 deg, below which the cosecant overstates the path.
pub fn validity(f_ghz: f64, el_deg: f64) -> Validity {
    Validity::check("ITU-R P.840-7", "f", f_ghz, 1.0..=200.0, "GHz").and(Validity::check(
        "ITU-R P.840-7",
        "elevation",
        el_deg,
        5.0..=90.0,
        "deg",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Well below the relaxation frequency absorption grows as f squared (Rayleigh regime).
    #[test]
    fn rayleigh_limit() {
        let ratio = k_l(2.0, 273.15) / k_l(1.0, 273.15);
        assert!((ratio - 4.0).abs() < 0.06, "{ratio}");
        // Cold water absorbs more at these frequencies.
        assert!(k_l(10.5, 265.0) > k_l(10.5, 283.0));
    }
}
