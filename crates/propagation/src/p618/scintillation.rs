//! Amplitude scintillation, P.618-13 section 2.4.1 (elevation 5 deg and above).

use slantpath_quantity::Validity;

use super::REVISION;

/// Height of the turbulent layer, m (step 4).
const H_L_M: f64 = 1000.0;

/// Steps 1 to 7, done once: the standard deviation of the signal amplitude for this path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scintillation {
    /// Standard deviation of the received level, dB (step 7).
    pub sigma_db: f64,
    f_ghz: f64,
    el_deg: f64,
}

impl Scintillation {
    /// `d_m` aperture diameter in m, `eta` its efficiency (0..1), `n_wet` median wet term of
    /// refractivity (P.453).
    pub fn new(f_ghz: f64, el_deg: f64, d_m: f64, eta: f64, n_wet: f64) -> Self {
        let sin_el = el_deg.to_radians().sin();
        let sigma_ref = 3.6e-3 + 1e-4 * n_wet; // step 3, dB
        let l_m = 2.0 * H_L_M / ((sin_el * sin_el + 2.35e-4).sqrt() + sin_el); // step 4
        let d_eff_m = eta.sqrt() * d_m; // step 5
        // Step 6, antenna averaging: x = 1.22 D_eff^2 f / L.
        let x = 1.22 * d_eff_m * d_eff_m * f_ghz / l_m;
        let g_squared = if x >= 7.0 {
            0.0
        } else {
            3.86 * (x * x + 1.0).powf(11.0 / 12.0) * (11.0 / 6.0 * 1f64.atan2(x)).sin()
                - 7.08 * x.powf(5.0 / 6.0)
        };
        let sigma_db =
            sigma_ref * f_ghz.powf(7.0 / 12.0) * g_squared.max(0.0).sqrt() / sin_el.powf(1.2);
        Self {
            sigma_db,
            f_ghz,
            el_deg,
        }
    }

    /// Fade depth exceeded for `p_percent` of the time, dB (steps 8 and 9); 0 where the percentage
    /// factor has gone negative (beyond about 62 %).
    pub fn fade_db(&self, p_percent: f64) -> f64 {
        let x = p_percent.log10();
        let a = 3.0 + x * (-1.71 + x * (0.072 - 0.061 * x));
        (a * self.sigma_db).max(0.0)
    }

    /// Stated range: 4 to 55 GHz, elevation 5 deg and above, p above 0.01 to 50 %.
    pub fn validity(&self, p_percent: f64) -> Validity {
        let model = format!("{REVISION} 2.4.1 (scintillation)");
        Validity::check(&model, "f", self.f_ghz, 4.0..=55.0, "GHz")
            .and(Validity::check(
                &model,
                "elevation",
                self.el_deg,
                5.0..=90.0,
                "deg",
            ))
            .and(Validity::check(&model, "p", p_percent, 0.01..=50.0, "%"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A point aperture is not averaged: g(0)^2 = 3.86 sin(11 pi / 12).
    #[test]
    fn point_aperture_limit() {
        let s = Scintillation::new(10.0, 90.0, 1e-6, 0.5, 0.0);
        let g = (3.86 * (11.0 / 12.0 * std::f64::consts::PI).sin()).sqrt();
        assert!((s.sigma_db - 3.6e-3 * 10f64.powf(7.0 / 12.0) * g).abs() < 1e-5);
        // A very large aperture averages everything out, and nothing becomes NaN on the way.
        assert_eq!(
            Scintillation::new(10.0, 20.0, 60.0, 0.6, 50.0).fade_db(0.1),
            0.0
        );
        assert!(!s.validity(0.001).is_inside());
    }
}
