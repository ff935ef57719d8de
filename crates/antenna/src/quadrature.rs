//! Gauss-Legendre nodes, the quadrature of every smooth integral here.

use std::f64::consts::PI;

/// Nodes and weights of the `n`-point Gauss-Legendre rule on `[a, b]`, ascending.
///
/// Newton iteration on the Legendre recurrence from the usual cosine start (Abramowitz & Stegun 25.4.29/30). Exact for
/// polynomials up to degree `2 n - 1`; `n = 0` gives no nodes.
pub fn gauss_legendre(n: usize, a: f64, b: f64) -> Vec<(f64, f64)> {
    let (mid, half) = (0.5 * (a + b), 0.5 * (b - a));
    (0..n)
        .map(|i| {
            // i-th root counted from -1
            let mut x = -(PI * (i as f64 + 0.75) / (n as f64 + 0.5)).cos();
            let mut slope = 1.0;
            for _ in 0..100 {
                let (p, dp) = legendre(n, x);
                slope = dp;
                let step = p / dp;
                x -= step;
                if step.abs() < 1e-15 {
                    break;
                }
            }
            let w = 2.0 / ((1.0 - x * x) * slope * slope);
            (mid + half * x, half * w)
        })
        .collect()
}

/// Legendre polynomial `P_n(x)` and its derivative.
fn legendre(n: usize, x: f64) -> (f64, f64) {
    let (mut p0, mut p1) = (1.0, x);
    if n == 0 {
        return (1.0, 0.0);
    }
    for k in 2..=n {
        let k = k as f64;
        (p0, p1) = (p1, ((2.0 * k - 1.0) * x * p1 - (k - 1.0) * p0) / k);
    }
    (p1, n as f64 * (x * p1 - p0) / (x * x - 1.0))
}

/// Integral of `f` over `[a, b]` with `n` Gauss-Legendre nodes.
pub fn integrate(n: usize, a: f64, b: f64, mut f: impl FnMut(f64) -> f64) -> f64 {
    gauss_legendre(n, a, b)
        .into_iter()
        .map(|(x, w)| w * f(x))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_point_rule_is_the_textbook_one() {
        let r = gauss_legendre(2, -1.0, 1.0);
        assert!((r[1].0 - 1.0 / 3f64.sqrt()).abs() < 1e-15 && (r[0].1 - 1.0).abs() < 1e-15);
    }

    #[test]
    fn exact_to_degree_2n_minus_1() {
        for n in 1..40 {
            for d in [2 * n - 2, 2 * n - 1] {
                let got = integrate(n, 0.0, 1.0, |x| x.powi(d as i32));
                assert!(
                    (got - 1.0 / (d as f64 + 1.0)).abs() < 1e-14,
                    "n={n} d={d}: {got}"
                );
            }
            // and not beyond: a rule that were exact for everything would be no quadrature
            if n < 6 {
                let d = 2 * n;
                let got = integrate(n, 0.0, 1.0, |x| x.powi(d as i32));
                assert!((got - 1.0 / (d as f64 + 1.0)).abs() > 1e-9);
            }
        }
    }
}
