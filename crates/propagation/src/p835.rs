//! ITU-R P.835-6 (12/2017): the mean annual global reference atmosphere, 0 to 100 km.

use crate::p453;

/// Height above which the atmosphere is neglected, km.
pub const TOP_KM: f64 = 100.0;
/// Water vapour density of the reference atmosphere at sea level, g/m3 (section 1.2).
pub const REFERENCE_RHO0_GM3: f64 = 7.5;
/// Water vapour scale height of the reference atmosphere, km (section 1.2).
pub const REFERENCE_VAPOUR_SCALE_KM: f64 = 2.0;

/// Geometric height, km, to which the first height regime (equations 2a to 3g) reaches.
const FIRST_REGIME_KM: f64 = 86.0;

/// Geopotential height, km', of a geometric height, km (equation 1a).
fn geopotential_km(h_km: f64) -> f64 {
    6356.766 * h_km / (6356.766 + h_km)
}

/// Temperature, K, at geometric height `h_km` (equations 2a to 2g, 4a and 4b).
pub fn temperature_k(h_km: f64) -> f64 {
    if h_km <= FIRST_REGIME_KM {
        let h = geopotential_km(h_km);
        return match h {
            _ if h <= 11.0 => 288.15 - 6.5 * h,
            _ if h <= 20.0 => 216.65,
            _ if h <= 32.0 => 216.65 + (h - 20.0),
            _ if h <= 47.0 => 228.65 + 2.8 * (h - 32.0),
            _ if h <= 51.0 => 270.65,
            _ if h <= 71.0 => 270.65 - 2.8 * (h - 51.0),
            _ => 214.65 - 2.0 * (h - 71.0),
        };
    }
    if h_km <= 91.0 {
        186.8673
    } else {
        let x = (h_km.min(TOP_KM) - 91.0) / 19.9429;
        263.1905 - 76.3232 * (1.0 - x * x).sqrt()
    }
}

/// Total (barometric) pressure, hPa, at geometric height `h_km` (equations 3a to 3g and 5).
pub fn pressure_hpa(h_km: f64) -> f64 {
    if h_km <= FIRST_REGIME_KM {
        let h = geopotential_km(h_km);
        return match h {
            _ if h <= 11.0 => 1013.25 * (288.15 / (288.15 - 6.5 * h)).powf(-34.1632 / 6.5),
            _ if h <= 20.0 => 226.3226 * (-34.1632 * (h - 11.0) / 216.65).exp(),
            _ if h <= 32.0 => 54.74980 * (216.65 / (216.65 + (h - 20.0))).powf(34.1632),
            _ if h <= 47.0 => 8.680422 * (228.65 / (228.65 + 2.8 * (h - 32.0))).powf(34.1632 / 2.8),
            _ if h <= 51.0 => 1.109106 * (-34.1632 * (h - 47.0) / 270.65).exp(),
            _ if h <= 71.0 => {
                0.6694167 * (270.65 / (270.65 - 2.8 * (h - 51.0))).powf(-34.1632 / 2.8)
            }
            _ => 0.03956649 * (214.65 / (214.65 - 2.0 * (h - 71.0))).powf(-34.1632 / 2.0),
        };
    }
    let h = h_km.min(TOP_KM);
    (95.571899 + h * (-4.011801 + h * (6.424731e-2 + h * (-4.789660e-4 + h * 1.340543e-6)))).exp()
}

/// Water vapour density, g/m3, at geometric height `h_km` over a sea-level density `rho0_gm3`
/// (equation 6).
pub fn vapour_density_gm3(h_km: f64, rho0_gm3: f64) -> f64 {
    rho0_gm3 * (-h_km / REFERENCE_VAPOUR_SCALE_KM).exp()
}

/// State of the air at one height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Temperature, K.
    pub t_k: f64,
    /// Pressure of dry air, hPa (total less vapour).
    pub p_dry_hpa: f64,
    /// Water vapour density, g/m3.
    pub rho_gm3: f64,
    /// Water vapour pressure, hPa.
    pub e_hpa: f64,
}

impl Air {
    /// From total pressure.
    pub fn of_total_pressure(p_hpa: f64, t_k: f64, rho_gm3: f64) -> Self {
        let e_hpa = p453::vapour_pressure_hpa(rho_gm3, t_k);
        Self {
            t_k,
            p_dry_hpa: p_hpa - e_hpa,
            rho_gm3,
            e_hpa,
        }
    }
    /// Radio refractivity, N-units (P.453).
    pub fn refractivity(&self) -> f64 {
        p453::refractivity(self.p_dry_hpa, self.e_hpa, self.t_k)
    }
}

/// The atmosphere above one station: the reference atmosphere fitted to what is known at the surface.
///
/// Pressure is scaled by one factor; the temperature difference at the surface fades linearly to nothing
/// at the tropopause of the reference atmosphere (11 km); water vapour falls exponentially with the scale
/// height `h_wv`. The fitting is our own choice (no source); with the reference's own surface values it
/// returns P.835-6 exactly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Atmosphere {
    h_s_km: f64,
    pressure_factor: f64,
    delta_t_k: f64,
    rho_s_gm3: f64,
    h_wv_km: f64,
}

/// Height at which a surface temperature anomaly has faded, km (tropopause of P.835-6).
const FADE_KM: f64 = 11.0;

impl Atmosphere {
    /// P.835-6 as it stands, seen by a station at `h_s_km`.
    pub fn reference(h_s_km: f64) -> Self {
        Self {
            h_s_km,
            pressure_factor: 1.0,
            delta_t_k: 0.0,
            rho_s_gm3: vapour_density_gm3(h_s_km, REFERENCE_RHO0_GM3),
            h_wv_km: REFERENCE_VAPOUR_SCALE_KM,
        }
    }

    /// Fitted to surface values: total pressure `p_s_hpa`, temperature `t_s_k`, vapour density
    /// `rho_s_gm3`, and total vapour content `v_t_kgm2` when known (scale height `V / rho`, held to
    /// 0.5 to 6 km; without it 2 km).
    pub fn fitted(
        h_s_km: f64,
        p_s_hpa: f64,
        t_s_k: f64,
        rho_s_gm3: f64,
        v_t_kgm2: Option<f64>,
    ) -> Self {
        let h_wv_km = match v_t_kgm2 {
            // kg/m2 over g/m3 is km. The bounds only guard the division where the air is bone dry.
            Some(v) if rho_s_gm3 > 0.0 => (v / rho_s_gm3).clamp(0.5, 6.0),
            _ => REFERENCE_VAPOUR_SCALE_KM,
        };
        Self {
            h_s_km,
            pressure_factor: p_s_hpa / pressure_hpa(h_s_km),
            delta_t_k: t_s_k - temperature_k(h_s_km),
            rho_s_gm3,
            h_wv_km,
        }
    }

    /// Height of the station, km.
    pub fn station_height_km(&self) -> f64 {
        self.h_s_km
    }

    /// The air at height `h_km` above sea level.
    pub fn at(&self, h_km: f64) -> Air {
        let fade = ((FADE_KM - h_km) / (FADE_KM - self.h_s_km)).clamp(0.0, 1.0);
        let rho_gm3 = self.rho_s_gm3 * (-(h_km - self.h_s_km) / self.h_wv_km).exp();
        Air::of_total_pressure(
            self.pressure_factor * pressure_hpa(h_km),
            temperature_k(h_km) + self.delta_t_k * fade,
            rho_gm3,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Level by level the formulas must join (P.835-6 section 1.1), to the digits of its constants.
    #[test]
    fn the_pieces_join() {
        for h_geopot in [11.0, 20.0, 32.0, 47.0, 51.0, 71.0] {
            let h = 6356.766 * h_geopot / (6356.766 - h_geopot);
            let (a, b) = (pressure_hpa(h - 1e-6), pressure_hpa(h + 1e-6));
            assert!((a / b - 1.0).abs() < 1e-4, "pressure at {h_geopot} km'");
            assert!((temperature_k(h - 1e-6) - temperature_k(h + 1e-6)).abs() < 1e-3);
        }
        let (a, b) = (pressure_hpa(85.9999), pressure_hpa(86.0001));
        assert!((a / b - 1.0).abs() < 5e-3, "{a} {b}");
    }

    #[test]
    fn fitted_to_the_reference_is_the_reference() {
        let h = 0.7;
        let rho = vapour_density_gm3(h, 7.5);
        let a = Atmosphere::fitted(h, pressure_hpa(h), temperature_k(h), rho, Some(2.0 * rho));
        for z in [0.7, 3.0, 15.0, 60.0] {
            let (x, y) = (a.at(z), Atmosphere::reference(h).at(z));
            assert!((x.t_k - y.t_k).abs() < 1e-9 && (x.e_hpa - y.e_hpa).abs() < 1e-9);
        }
    }
}
