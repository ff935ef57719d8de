//! ITU-R P.839-4 (09/2013): rain height.

/// Mean annual rain height above mean sea level, km, from the mean annual 0 degC isotherm height:
/// `h_R = h_0 + 0.36 km` (section 3 of the Annex).
pub fn rain_height_km(h0_km: f64) -> f64 {
    h0_km + 0.36
}

#[cfg(test)]
mod tests {
    /// ITU-R SG 3 validation example for 3.133 N 101.7 E: h0 = 4.59797440 km, hR = 4.95797440 km.
    #[test]
    fn published_example() {
        assert!((super::rain_height_km(4.59797440) - 4.95797440).abs() < 1e-12);
    }
}
