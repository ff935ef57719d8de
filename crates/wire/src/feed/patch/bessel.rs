//! Bessel functions of both kinds for the field under an annular patch.

use crate::feed::bessel::j;
use std::f64::consts::PI;

/// Euler's constant.
const GAMMA: f64 = 0.577_215_664_901_532_9;
/// Largest argument for which the ascending series keep eight digits.
pub(super) const GREATEST: f64 = 16.0;

/// `Y_n(x)` for `n` = 0, 1 and `0 < x <= 16` by the ascending series (Abramowitz & Stegun 9.1.11 and 9.1.13); absolute
/// error below 1e-8.
pub(super) fn y(n: u32, x: f64) -> f64 {
    let q = -0.25 * x * x;
    let log = (0.5 * x).ln();
    // term m: q^m/(m! (m+n)!), with the harmonic numbers H_m and H_(m+n)
    let (mut term, mut low) = (1.0, 0.0);
    let mut sum = 0.0;
    for m in 0..80 {
        let m = f64::from(m);
        if m > 0.0 {
            term *= q / (m * (m + f64::from(n)));
            low += 1.0 / m;
        }
        let weight = match n {
            0 => 2.0 * low,
            _ => 2.0 * low + 1.0 / (m + 1.0) - 2.0 * GAMMA,
        };
        sum += term * weight;
        if m > 2.0 && (term * weight).abs() < 1e-17 * sum.abs().max(1e-3) {
            break;
        }
    }
    match n {
        0 => 2.0 / PI * (log + GAMMA) * j(0, x) - sum / PI,
        _ => -2.0 / (PI * x) + 2.0 / PI * log * j(1, x) - 0.5 * x / PI * sum,
    }
}

/// `J_1'(x)`.
pub(super) fn j1_slope(x: f64) -> f64 {
    0.5 * (j(0, x) - j(2, x))
}

/// `Y_1'(x)`.
pub(super) fn y1_slope(x: f64) -> f64 {
    y(0, x) - y(1, x) / x
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Abramowitz & Stegun, table 9.1 (values from memory), and the C library's functions.
    #[test]
    fn second_kind() {
        for (x, y0, y1) in [
            (0.5, -0.444_518_733_5, -1.471_472_392_7),
            (1.0, 0.088_256_964_2, -0.781_212_821_3),
            (2.0, 0.510_375_672_6, -0.107_032_431_5),
            (5.0, -0.308_517_625_2, 0.147_863_143_4),
        ] {
            assert!((y(0, x) - y0).abs() < 1e-9, "Y0({x}) = {}", y(0, x));
            assert!((y(1, x) - y1).abs() < 1e-9, "Y1({x}) = {}", y(1, x));
        }
        for i in 1..=160 {
            let x = 0.1 * f64::from(i);
            assert!((y(0, x) - libm::y0(x)).abs() < 1e-8, "Y0({x})");
            assert!((y(1, x) - libm::y1(x)).abs() < 1e-8, "Y1({x})");
        }
    }

    /// Wronskian `J_1 Y_1' - J_1' Y_1 = 2/(pi x)` (Abramowitz & Stegun 9.1.16).
    #[test]
    fn wronskian() {
        for i in 1..=150 {
            let x = 0.1 * f64::from(i);
            let w = j(1, x) * y1_slope(x) - j1_slope(x) * y(1, x);
            assert!((w * PI * x / 2.0 - 1.0).abs() < 3e-7, "{x} {w}");
        }
    }
}
