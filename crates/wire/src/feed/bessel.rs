//! Bessel functions of order 0, 1, 2 for apertures of a few wavelengths.

/// `J_n(x)` for `n` = 0, 1, 2 by the ascending series (Abramowitz & Stegun 9.1.10); absolute error below 1e-8 for
/// `|x| <= 16`, which is an aperture of 2.5 wavelengths radius.
pub(crate) fn j(n: u32, x: f64) -> f64 {
    let q = -0.25 * x * x;
    let mut term = match n {
        0 => 1.0,
        1 => 0.5 * x,
        _ => 0.125 * x * x,
    };
    let mut sum = term;
    for m in 1..80 {
        let m = f64::from(m);
        term *= q / (m * (m + f64::from(n)));
        sum += term;
        if term.abs() < 1e-17 * sum.abs().max(1e-3) {
            break;
        }
    }
    sum
}

/// `J_1(x)/x`, finite at 0.
pub(crate) fn j1_over_x(x: f64) -> f64 {
    if x.abs() < 1e-6 { 0.5 } else { j(1, x) / x }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the C library's functions.
    #[test]
    fn as_libm() {
        for i in 0..=160 {
            let x = 0.1 * f64::from(i);
            assert!((j(0, x) - libm::j0(x)).abs() < 1e-8, "{x}");
            assert!((j(1, x) - libm::j1(x)).abs() < 1e-8, "{x}");
            assert!((j(2, x) - libm::jn(2, x)).abs() < 1e-8, "{x}");
        }
    }
}
