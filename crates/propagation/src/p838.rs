//! ITU-R P.838-3 (03/2005): specific attenuation of rain, `gamma_R = k R^alpha`.

use slantpath_quantity::Validity;

/// One term of equations (2) and (3): `a exp(-((log10 f - b) / c)^2)`.
type Term = (f64, f64, f64);

/// A fitted curve over `x = log10 f`: sum of terms plus `m x + c` (equations 2 and 3).
fn curve(x: f64, terms: &[Term], m: f64, c: f64) -> f64 {
    let mut sum = m * x + c;
    for &(a_j, b_j, c_j) in terms {
        let z = (x - b_j) / c_j;
        sum += a_j * (-z * z).exp();
    }
    sum
}

/// Table 1, coefficients for kH; then mk and ck.
const K_H: ([Term; 4], f64, f64) = (
    [
        (-5.33980, -0.10008, 1.13098),
        (-0.35351, 1.26970, 0.45400),
        (-0.23789, 0.86036, 0.15354),
        (-0.94158, 0.64552, 0.16817),
    ],
    -0.18961,
    0.71147,
);
/// Table 2, coefficients for kV.
const K_V: ([Term; 4], f64, f64) = (
    [
        (-3.80595, 0.56934, 0.81061),
        (-3.44965, -0.22911, 0.51059),
        (-0.39902, 0.73042, 0.11899),
        (0.50167, 1.07319, 0.27195),
    ],
    -0.16398,
    0.63297,
);
/// Table 3, coefficients for alphaH.
const ALPHA_H: ([Term; 5], f64, f64) = (
    [
        (-0.14318, 1.82442, -0.55187),
        (0.29591, 0.77564, 0.19822),
        (0.32177, 0.63773, 0.13164),
        (-5.37610, -0.96230, 1.47828),
        (16.1721, -3.29980, 3.43990),
    ],
    0.67849,
    -1.95537,
);
/// Table 4, coefficients for alphaV.
const ALPHA_V: ([Term; 5], f64, f64) = (
    [
        (-0.07771, 2.33840, -0.76284),
        (0.56727, 0.95545, 0.54039),
        (-0.20238, 1.14520, 0.26809),
        (-48.2991, 0.791669, 0.116226),
        (48.5833, 0.791459, 0.116479),
    ],
    -0.053739,
    0.83433,
);

/// The frequency dependent coefficients for both linear polarisations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LinearCoefficients {
    /// k for horizontal polarisation.
    pub k_h: f64,
    /// alpha for horizontal polarisation.
    pub alpha_h: f64,
    /// k for vertical polarisation.
    pub k_v: f64,
    /// alpha for vertical polarisation.
    pub alpha_v: f64,
}

/// kH, alphaH, kV, alphaV at `f_ghz` (equations 2 and 3, tables 1 to 4). Stated range 1 to 1000 GHz.
pub fn linear_coefficients(f_ghz: f64) -> LinearCoefficients {
    let x = f_ghz.log10();
    LinearCoefficients {
        // The fit is of log10 k, not of a level in dB.
        k_h: 10f64.powf(curve(x, &K_H.0, K_H.1, K_H.2)),
        alpha_h: curve(x, &ALPHA_H.0, ALPHA_H.1, ALPHA_H.2),
        k_v: 10f64.powf(curve(x, &K_V.0, K_V.1, K_V.2)),
        alpha_v: curve(x, &ALPHA_V.0, ALPHA_V.1, ALPHA_V.2),
    }
}

/// k and alpha for a path of elevation `el_deg` and a polarisation tilted by `tau_deg` from the
/// horizontal (0 horizontal, 90 vertical, 45 circular). Equations (4) and (5).
pub fn k_alpha(f_ghz: f64, el_deg: f64, tau_deg: f64) -> (f64, f64) {
    let c = linear_coefficients(f_ghz);
    let mix = el_deg.to_radians().cos().powi(2) * (2.0 * tau_deg.to_radians()).cos();
    let k = 0.5 * (c.k_h + c.k_v + (c.k_h - c.k_v) * mix);
    let (ka_h, ka_v) = (c.k_h * c.alpha_h, c.k_v * c.alpha_v);
    let alpha = (ka_h + ka_v + (ka_h - ka_v) * mix) / (2.0 * k);
    (k, alpha)
}

/// Specific attenuation `gamma_R = k R^alpha`, dB/km, for a rain rate `r_mmh` in mm/h (equation 1).
pub fn specific_attenuation_db_km(f_ghz: f64, el_deg: f64, tau_deg: f64, r_mmh: f64) -> f64 {
    let (k, alpha) = k_alpha(f_ghz, el_deg, tau_deg);
    k * r_mmh.powf(alpha)
}

/// Stated range: 1 to 1000 GHz.
pub fn validity(f_ghz: f64) -> Validity {
    Validity::check("ITU-R P.838-3", "f", f_ghz, 1.0..=1000.0, "GHz")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// P.838-3 Table 5, printed to four significant digits (values from memory; an independent
    /// implementation reproduces every one).
    #[test]
    fn printed_table_5() {
        for (f, k_h, a_h, k_v, a_v) in [
            (1.0, 2.59e-5, 0.9691, 3.08e-5, 0.8592),
            (2.0, 8.47e-5, 1.0664, 9.98e-5, 0.9490),
            (4.0, 1.071e-4, 1.6009, 2.461e-4, 1.2476),
        ] {
            let c = linear_coefficients(f);
            assert!((c.k_h - k_h).abs() < 1e-7, "kH at {f} GHz: {}", c.k_h);
            assert!((c.k_v - k_v).abs() < 1e-7, "kV at {f} GHz: {}", c.k_v);
            assert!((c.alpha_h - a_h).abs() < 5.1e-5);
            assert!((c.alpha_v - a_v).abs() < 5.1e-5);
        }
    }

    #[test]
    fn circular_lies_between_and_zenith_forgets_polarisation() {
        let (k_h, k_c, k_v) = (
            k_alpha(10.5, 20.0, 0.0).0,
            k_alpha(10.5, 20.0, 45.0).0,
            k_alpha(10.5, 20.0, 90.0).0,
        );
        assert!(k_v < k_c && k_c < k_h);
        let (a, b) = (k_alpha(10.5, 90.0, 0.0), k_alpha(10.5, 90.0, 90.0));
        assert!((a.0 - b.0).abs() < 1e-15 && (a.1 - b.1).abs() < 1e-12);
        assert!(!validity(0.5).is_inside());
    }
}
