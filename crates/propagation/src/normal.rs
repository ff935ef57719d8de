//! The normal distribution as far as P.618 needs it: quantile and the bivariate upper-tail integral.

use std::f64::consts::PI;

/// Upper-tail probability `Q(x)` of the standard normal, for `x >= 0` and below, by its continued
/// fraction (|x| > 3) or its power series: Abramowitz and Stegun 26.2.11 and 26.2.14.
pub fn upper_tail(x: f64) -> f64 {
    let density = (-0.5 * x * x).exp() / (2.0 * PI).sqrt();
    if x.abs() <= 3.0 {
        // P(x) - 1/2 = density * (x + x^3/3 + x^5/(3*5) + ...)
        let (mut term, mut sum, mut n) = (x, x, 1.0);
        while term.abs() > 1e-17 * sum.abs() {
            n += 2.0;
            term *= x * x / n;
            sum += term;
        }
        0.5 - density * sum
    } else {
        let a = x.abs();
        let mut tail = a;
        for k in (1..=60).rev() {
            tail = a + f64::from(k) / tail;
        }
        let q = density / tail;
        if x > 0.0 { q } else { 1.0 - q }
    }
}

/// `x` with `Q(x) = q`, for `0 < q < 1`: bisection, then Newton steps to the last digits.
pub fn upper_quantile(q: f64) -> f64 {
    let (mut lo, mut hi) = (-40.0, 40.0);
    for _ in 0..40 {
        let mid = 0.5 * (lo + hi);
        if upper_tail(mid) > q {
            lo = mid;
        } else {
            hi = mid;
        }
    }
    let mut x = 0.5 * (lo + hi);
    for _ in 0..3 {
        let density = (-0.5 * x * x).exp() / (2.0 * PI).sqrt();
        if density > 1e-300 {
            x += (upper_tail(x) - q) / density;
        }
    }
    x
}

/// `P(X > a, Y > a)` of a standard bivariate normal with correlation `rho` in 0..1.
///
/// By Plackett's identity the derivative with respect to the correlation is the density at `(a, a)`, so
/// `B = Q(a)^2 + 1/(2 pi) int_0^asin(rho) exp(-a^2 / (1 + sin t)) dt`: smooth, Simpson's rule suffices.
pub fn bivariate_upper(a: f64, rho: f64) -> f64 {
    let top = rho.clamp(-1.0, 1.0).asin();
    let n = 200;
    let h = top / f64::from(n);
    let g = |t: f64| (-a * a / (1.0 + t.sin())).exp();
    let mut sum = g(0.0) + g(top);
    for i in 1..n {
        sum += if i % 2 == 1 { 4.0 } else { 2.0 } * g(f64::from(i) * h);
    }
    let q = upper_tail(a);
    q * q + sum * h / 3.0 / (2.0 * PI)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn printed_values() {
        // Abramowitz and Stegun table 26.1 (from memory): Q(1.96) = 0.0249979, Q(3) = 0.0013499.
        assert!((upper_tail(1.96) - 0.024_997_895).abs() < 1e-9);
        assert!((upper_tail(3.0) - 0.001_349_898).abs() < 1e-9);
        assert!((upper_tail(3.000_001) - upper_tail(2.999_999)).abs() < 1e-7);
        assert!((upper_tail(-4.0) + upper_tail(4.0) - 1.0).abs() < 1e-15);
        for q in [1e-6, 0.01, 0.5, 0.9] {
            assert!((upper_tail(upper_quantile(q)) / q - 1.0).abs() < 1e-10);
        }
    }

    #[test]
    fn bivariate_limits() {
        // Independent, identical, and the closed form at the origin: 1/4 + asin(rho) / (2 pi).
        let q = upper_tail(1.2);
        assert!((bivariate_upper(1.2, 0.0) - q * q).abs() < 1e-12);
        assert!((bivariate_upper(1.2, 1.0) - q).abs() < 1e-7);
        let b = bivariate_upper(0.0, 0.5);
        assert!((b - (0.25 + 0.5f64.asin() / (2.0 * PI))).abs() < 1e-12);
    }
}
