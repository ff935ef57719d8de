//! Noise temperature of an attenuating sky, P.618-13 section 3.

use slantpath_quantity::constants::T_CMB_K;
use slantpath_quantity::from_db;

/// Mean radiating temperature when the surface temperature is unknown, K (P.618-13 section 3; value from
/// memory).
pub const T_MR_DEFAULT_K: f64 = 275.0;

/// Mean radiating temperature, K, from the surface temperature: `T_mr = 37.34 + 0.81 T_s` (P.618-13
/// section 3; from memory).
pub fn mean_radiating_k(t_s_k: f64) -> f64 {
    37.34 + 0.81 * t_s_k
}

/// Sky noise temperature at the ground, K: `T_mr (1 - 10^(-A/10)) + T_cmb 10^(-A/10)`.
///
/// The Recommendation writes 2.7 K for the background; the constant used here is 2.7255 K.
pub fn sky_k(a_db: f64, t_mr_k: f64) -> f64 {
    let transmission = from_db(-a_db);
    t_mr_k * (1.0 - transmission) + T_CMB_K * transmission
}

/// Sky noise temperature, K, when `extra_db` of rain and cloud at `t_extra_k` lie below clear air that
/// by itself would show `t_clear_k`: the wet layer attenuates what the clear air emits and adds its own.
pub fn behind_k(t_clear_k: f64, extra_db: f64, t_extra_k: f64) -> f64 {
    let transmission = from_db(-extra_db);
    t_clear_k * transmission + t_extra_k * (1.0 - transmission)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits() {
        assert!((sky_k(0.0, 275.0) - T_CMB_K).abs() < 1e-12);
        assert!((sky_k(100.0, 275.0) - 275.0).abs() < 1e-6);
        // 3 dB of absorber: about half of each.
        assert!((sky_k(3.0103, 275.0) - (275.0 + T_CMB_K) / 2.0).abs() < 0.01);
        assert!((behind_k(10.0, 0.0, 280.0) - 10.0).abs() < 1e-12);
        assert!((mean_radiating_k(288.15) - 270.74).abs() < 0.01);
    }
}
