//! Zenith and slant-path attenuation by equivalent heights: P.676-12 Annex 2.

use slantpath_quantity::Validity;

use super::REVISION;
use super::gamma::{gamma_oxygen_db_km, gamma_water_db_km};
use crate::p453;

/// Table 3: `(c_i, f_i)` of equation (32).
const T2_LINES: [(f64, f64); 7] = [
    (0.1597, 118.750334),
    (0.1066, 368.498246),
    (0.1325, 424.763020),
    (0.1242, 487.249273),
    (0.0938, 715.392902),
    (0.1448, 773.839490),
    (0.1374, 834.145546),
];
/// Table 4: `(f_i, a_i, b_i)` of equation (35b).
const H_W_LINES: [(f64, f64, f64); 14] = [
    (22.23508, 1.52, 2.56),
    (183.310087, 7.62, 10.2),
    (325.152888, 1.56, 2.7),
    (380.197353, 4.15, 5.7),
    (439.150807, 0.2, 0.91),
    (448.001085, 1.63, 2.46),
    (474.689092, 0.76, 2.22),
    (488.490108, 0.26, 2.49),
    (556.935985, 7.81, 10.0),
    (620.70087, 1.25, 2.35),
    (752.033113, 16.2, 20.0),
    (916.171582, 1.47, 2.58),
    (970.315022, 1.36, 2.44),
    (987.926764, 1.6, 1.86),
];

/// Equivalent heights of oxygen and water vapour, km (equations 30 to 38). Arguments as for the line
/// formulas: dry pressure, temperature, vapour density at the surface.
pub fn equivalent_heights_km(f_ghz: f64, p_hpa: f64, t_k: f64, rho_gm3: f64) -> (f64, f64) {
    let f = f_ghz;
    let t_c = t_k - 273.15;
    let r_p = (p_hpa + p453::vapour_pressure_hpa(rho_gm3, t_k)) / 1013.25;
    let t1 = 5.1040 / (1.0 + 0.066 * r_p.powf(-2.3))
        * (-((f - 59.7) / (2.87 + 12.4 * (-7.9 * r_p).exp())).powi(2)).exp(); // (31)
    let mut t2 = 0.0; // (32)
    for (c, f_i) in T2_LINES {
        t2 += c * (2.12 * r_p).exp() / ((f - f_i).powi(2) + 0.025 * (2.2 * r_p).exp());
    }
    let t3 = 0.0114 * f / (1.0 + 0.14 * r_p.powf(-2.6)) * (15.02 * f * f - 1353.0 * f + 5.333e4)
        / (f.powi(3) - 151.3 * f * f + 9629.0 * f - 6803.0); // (33)
    let a = 0.7832 + 0.00709 * t_c; // (34)
    let mut h_0 = 6.1 * a / (1.0 + 0.17 * r_p.powf(-1.1)) * (1.0 + t1 + t2 + t3); // (30)
    if f < 70.0 {
        h_0 = h_0.min(10.7 * r_p.powf(0.3));
    }
    let a_w = 1.9298 - 0.04166 * t_c + 0.0517 * rho_gm3; // (36)
    let b_w = 1.1674 - 0.00622 * t_c + 0.0063 * rho_gm3; // (37)
    let sigma_w = 1.013 / (1.0 + (-8.6 * (r_p - 0.57)).exp()); // (38)
    let mut sum = 0.0; // (35b)
    for (f_i, a_i, b_i) in H_W_LINES {
        sum += a_i * sigma_w / ((f - f_i).powi(2) + b_i * sigma_w);
    }
    (h_0, a_w + b_w * sum)
}

/// Zenith attenuation by water vapour, dB, from its total content `v_t_kgm2` above a station at `h_km`
/// (Annex 2 section 2.3, equations 39 and 40): scaled from 20.6 GHz.
pub fn water_from_content_db(f_ghz: f64, v_t_kgm2: f64, h_km: f64) -> f64 {
    if v_t_kgm2 <= 0.0 {
        return 0.0;
    }
    const F_REF_GHZ: f64 = 20.6;
    const P_REF_HPA: f64 = 845.0;
    let rho_ref = v_t_kgm2 / 2.38; // g/m3
    let t_ref_k = 14.0 * (0.22 * v_t_kgm2 / 2.38).ln() + 3.0 + 273.15;
    let ratio = gamma_water_db_km(f_ghz, P_REF_HPA, t_ref_k, rho_ref)
        / gamma_water_db_km(F_REF_GHZ, P_REF_HPA, t_ref_k, rho_ref);
    let a_w = 0.0176 * v_t_kgm2 * ratio;
    if f_ghz < 20.0 {
        return a_w;
    }
    let f = f_ghz;
    let gauss = |c: f64, f_i: f64, w: f64| c * (-((f - f_i) / w).powi(2)).exp();
    let a = gauss(0.2048, 22.43, 3.097) + gauss(0.2326, 183.5, 4.096) + gauss(0.2073, 325.0, 3.651)
        - 0.1113;
    let b = 8.741e4 * (-0.587 * f).exp() + 312.2 * f.powf(-2.38) + 0.723;
    // The Recommendation itself holds h to 0..4 km here.
    a_w * (a * h_km.clamp(0.0, 4.0).powf(b) + 1.0)
}

/// Zenith attenuation of one station: oxygen and water vapour apart, dB.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Zenith {
    /// Oxygen, dB.
    pub oxygen_db: f64,
    /// Water vapour, dB.
    pub water_db: f64,
}

impl Zenith {
    /// From surface values; with the total vapour content `v_t_kgm2` when known (section 2.3), else by
    /// the equivalent height of water vapour (section 2.1).
    pub fn new(
        f_ghz: f64,
        p_hpa: f64,
        t_k: f64,
        rho_gm3: f64,
        h_km: f64,
        v_t_kgm2: Option<f64>,
    ) -> Self {
        let (h_0, h_w) = equivalent_heights_km(f_ghz, p_hpa, t_k, rho_gm3);
        Self {
            oxygen_db: gamma_oxygen_db_km(f_ghz, p_hpa, t_k, rho_gm3) * h_0,
            water_db: match v_t_kgm2 {
                Some(v) => water_from_content_db(f_ghz, v, h_km),
                None => gamma_water_db_km(f_ghz, p_hpa, t_k, rho_gm3) * h_w,
            },
        }
    }

    /// Slant attenuation, dB, by the cosecant law (Annex 2 section 2.2.1): 5 to 90 deg.
    pub fn slant_db(&self, el_deg: f64) -> f64 {
        (self.oxygen_db + self.water_db) / el_deg.to_radians().sin()
    }
}

/// Stated range of the cosecant law: 1 to 350 GHz, elevation 5 to 90 deg.
pub fn validity(f_ghz: f64, el_deg: f64) -> Validity {
    let model = format!("{REVISION} Annex 2");
    Validity::check(&model, "f", f_ghz, 1.0..=350.0, "GHz").and(Validity::check(
        &model,
        "elevation",
        el_deg,
        5.0..=90.0,
        "deg",
    ))
}
