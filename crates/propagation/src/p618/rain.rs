//! Rain attenuation, P.618-13 section 2.2.1.1 (steps 1 to 10) and the probability of rain on the path
//! (section 2.2.1.2).

use slantpath_quantity::Validity;

use super::REVISION;
use crate::normal;
use crate::p838;

/// Effective radius of the Earth used by the method, km.
const R_E_KM: f64 = 8500.0;

/// Everything of the method that does not depend on the percentage: steps 1 to 9, done once.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RainPath {
    /// Attenuation exceeded for 0.01 % of an average year, dB (step 9).
    pub a_001_db: f64,
    /// Specific attenuation at `R_0.01`, dB/km (step 5).
    pub gamma_r_db_km: f64,
    /// Slant path below rain height, km (step 2); zero when the station stands above it.
    pub l_s_km: f64,
    /// Effective path length, km (step 8).
    pub l_e_km: f64,
    f_ghz: f64,
    sin_el: f64,
    beta_below_1: f64,
}

/// Slant path length below the rain height, km (step 2, equations 1 and 2).
pub fn slant_length_km(h_r_km: f64, h_s_km: f64, el_deg: f64) -> f64 {
    let dh = h_r_km - h_s_km;
    if dh <= 0.0 {
        return 0.0;
    }
    let s = el_deg.to_radians().sin();
    if el_deg >= 5.0 {
        dh / s
    } else {
        2.0 * dh / ((s * s + 2.0 * dh / R_E_KM).sqrt() + s)
    }
}

impl RainPath {
    /// Steps 1 to 9.
    ///
    /// `lat_deg` latitude; `h_s_km` station height; `h_r_km` rain height (P.839); `r_001_mmh` rain rate
    /// exceeded for 0.01 % of an average year (P.837); `tau_deg` polarisation tilt from the horizontal.
    /// With no rain, or a station above the rain height, the attenuation is zero.
    pub fn new(
        f_ghz: f64,
        el_deg: f64,
        tau_deg: f64,
        lat_deg: f64,
        h_s_km: f64,
        h_r_km: f64,
        r_001_mmh: f64,
    ) -> Self {
        let (sin_el, cos_el) = el_deg.to_radians().sin_cos();
        let abs_lat_deg = lat_deg.abs();
        // Step 10, beta for p < 1 %.
        let beta_below_1 = if abs_lat_deg >= 36.0 {
            0.0
        } else if el_deg >= 25.0 {
            -0.005 * (abs_lat_deg - 36.0)
        } else {
            -0.005 * (abs_lat_deg - 36.0) + 1.8 - 4.25 * sin_el
        };
        let l_s_km = slant_length_km(h_r_km, h_s_km, el_deg); // step 2
        let mut path = Self {
            a_001_db: 0.0,
            gamma_r_db_km: 0.0,
            l_s_km,
            l_e_km: 0.0,
            f_ghz,
            sin_el,
            beta_below_1,
        };
        if l_s_km <= 0.0 || r_001_mmh <= 0.0 {
            return path;
        }
        let dh = h_r_km - h_s_km;
        let l_g = l_s_km * cos_el; // step 3, km
        let gamma_r = p838::specific_attenuation_db_km(f_ghz, el_deg, tau_deg, r_001_mmh); // step 5
        // Step 6, horizontal reduction factor.
        let r_001 =
            1.0 / (1.0 + 0.78 * (l_g * gamma_r / f_ghz).sqrt() - 0.38 * (1.0 - (-2.0 * l_g).exp()));
        // Step 7, vertical adjustment factor.
        let zeta_deg = dh.atan2(l_g * r_001).to_degrees();
        let l_r = if zeta_deg > el_deg {
            l_g * r_001 / cos_el
        } else {
            dh / sin_el
        };
        let chi_deg = (36.0 - abs_lat_deg).max(0.0);
        let v_001 = 1.0
            / (1.0
                + sin_el.sqrt()
                    * (31.0 * (1.0 - (-el_deg / (1.0 + chi_deg)).exp()) * (l_r * gamma_r).sqrt()
                        / (f_ghz * f_ghz)
                        - 0.45));
        path.l_e_km = l_r * v_001; // step 8
        path.gamma_r_db_km = gamma_r;
        path.a_001_db = gamma_r * path.l_e_km; // step 9
        path
    }

    /// Attenuation exceeded for `p_percent` of an average year, dB (step 10).
    pub fn attenuation_db(&self, p_percent: f64) -> f64 {
        if self.a_001_db <= 0.0 {
            return 0.0;
        }
        let beta = if p_percent >= 1.0 {
            0.0
        } else {
            self.beta_below_1
        };
        let exponent = -(0.655 + 0.033 * p_percent.ln()
            - 0.045 * self.a_001_db.ln()
            - beta * (1.0 - p_percent) * self.sin_el);
        self.a_001_db * (p_percent / 0.01).powf(exponent)
    }

    /// Stated range: to 55 GHz (the lowest is that of P.838, 1 GHz), p 0.001 to 5 %.
    pub fn validity(&self, p_percent: f64) -> Validity {
        let model = format!("{REVISION} 2.2.1.1 (rain)");
        Validity::check(&model, "f", self.f_ghz, 1.0..=55.0, "GHz").and(Validity::check(
            &model,
            "p",
            p_percent,
            0.001..=5.0,
            "%",
        ))
    }
}

/// Probability, percent, that there is rain attenuation on the slant path at all (section 2.2.1.2).
///
/// `p0_percent`: probability of rain at the station (P.837, in percent there); `l_s_km`: slant path below
/// rain height. The joint probability of rain at both ends is a bivariate normal integral.
pub fn probability_on_path_percent(p0_percent: f64, l_s_km: f64, el_deg: f64) -> f64 {
    let p0 = p0_percent / 100.0;
    if p0 <= 0.0 || p0 >= 1.0 {
        return p0_percent.clamp(0.0, 100.0);
    }
    let alpha = normal::upper_quantile(p0);
    let d_km = l_s_km * el_deg.to_radians().cos();
    let rho = 0.59 * (-d_km / 31.0).exp() + 0.41 * (-d_km / 800.0).exp();
    let c_b = normal::bivariate_upper(alpha, rho);
    let joint = (c_b - p0 * p0) / (p0 * (1.0 - p0));
    100.0 * (1.0 - (1.0 - p0) * joint.max(0.0).powf(p0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_above_the_rain_or_without_it() {
        let high = RainPath::new(10.5, 30.0, 0.0, 10.0, 5.5, 5.0, 60.0);
        assert_eq!(high.attenuation_db(0.01), 0.0);
        let dry = RainPath::new(10.5, 30.0, 0.0, 10.0, 0.5, 5.0, 0.0);
        assert_eq!(dry.attenuation_db(0.01), 0.0);
    }

    #[test]
    fn step_10_returns_a_001_at_001_up_to_its_own_offset() {
        // (p/0.01)^x is 1 at p = 0.01 whatever the exponent.
        let r = RainPath::new(10.5, 30.0, 0.0, 50.0, 0.1, 3.0, 30.0);
        assert!((r.attenuation_db(0.01) - r.a_001_db).abs() < 1e-12);
        assert!(r.validity(0.01).is_inside() && !r.validity(20.0).is_inside());
    }
}
