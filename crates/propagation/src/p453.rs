//! ITU-R P.453-14 (08/2019; the formulas used here are those of P.453-13): radio refractivity.

/// Reference surface refractivity and scale height of the exponential reference atmosphere,
/// `N(h) = 315 exp(-h / 7.35 km)` (section 3, equation 8).
pub const REFERENCE_N0: f64 = 315.0;
/// Scale height of the reference atmosphere, km.
pub const REFERENCE_SCALE_HEIGHT_KM: f64 = 7.35;

/// Dry term of refractivity, N-units: `77.6 P_d / T`; dry pressure in hPa (equation 3).
pub fn n_dry(p_dry_hpa: f64, t_k: f64) -> f64 {
    77.6 * p_dry_hpa / t_k
}

/// Wet term of refractivity, N-units: `72 e/T + 3.75e5 e/T^2`; vapour pressure in hPa (equation 4).
pub fn n_wet(e_hpa: f64, t_k: f64) -> f64 {
    72.0 * e_hpa / t_k + 3.75e5 * e_hpa / (t_k * t_k)
}

/// Refractivity `N = (n - 1) 1e6` (equation 2).
pub fn refractivity(p_dry_hpa: f64, e_hpa: f64, t_k: f64) -> f64 {
    n_dry(p_dry_hpa, t_k) + n_wet(e_hpa, t_k)
}

/// Water vapour pressure, hPa, of a density in g/m3: `e = rho T / 216.7` (equation 10).
pub fn vapour_pressure_hpa(rho_gm3: f64, t_k: f64) -> f64 {
    rho_gm3 * t_k / 216.7
}

/// Saturation vapour pressure over water, hPa, at `t_c` degC and total pressure `p_hpa` (equation 9,
/// coefficients for water; -40 to +50 degC).
pub fn saturation_pressure_hpa(t_c: f64, p_hpa: f64) -> f64 {
    let ef = 1.0 + 1e-4 * (7.2 + p_hpa * (0.0320 + 5.9e-6 * t_c * t_c));
    ef * 6.1121 * ((18.678 - t_c / 234.5) * t_c / (t_c + 257.14)).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Saturation over water at 0 and 20 degC: 6.11 and 23.4 hPa (common physics tables, from memory).
    #[test]
    fn saturation() {
        assert!((saturation_pressure_hpa(0.0, 1013.25) - 6.14).abs() < 0.03);
        assert!((saturation_pressure_hpa(20.0, 1013.25) - 23.48).abs() < 0.1);
    }

    /// The standard atmosphere at sea level stands near the reference value N0 = 315.
    #[test]
    fn surface_refractivity_near_reference() {
        let e = vapour_pressure_hpa(7.5, 288.15);
        let n = refractivity(1013.25 - e, e, 288.15);
        assert!((n - REFERENCE_N0).abs() < 10.0, "{n}");
    }
}
