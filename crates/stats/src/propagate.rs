//! Propagation of uncertainty without random numbers: first order (JCGM 100:2008, 5.1 and 5.2), one contributor at a
//! time by quadrature, and effective degrees of freedom (G.4.1).

use crate::StatsError;
use crate::matrix::Matrix;
use slantpath_quantity::{Contributor, ContributorId, Distribution, Share};

/// First-order result for one output.
#[derive(Debug, Clone, PartialEq)]
pub struct FirstOrder {
    /// The model at the best estimates.
    pub value: f64,
    /// Combined standard uncertainty, independent inputs (GUM equation 10).
    pub u: f64,
    /// Signed contribution `c_i u(x_i)` of each input, in the order given.
    pub effects: Vec<f64>,
}

/// First-order propagation for independent inputs. Sensitivities are central differences over one standard
/// uncertainty each way (GUM 5.1.3, note 2).
///
/// # Errors
/// [`StatsError::NotFinite`] when the model is not finite at a point visited.
pub fn first_order(
    contributors: &[Contributor],
    outputs: usize,
    model: impl Fn(&[f64], &mut [f64]),
) -> Result<Vec<FirstOrder>, StatsError> {
    let mut run = Run::new(contributors, outputs, &model);
    let value = run.at_best()?;
    let mut effects = vec![Vec::with_capacity(contributors.len()); outputs];
    for (i, c) in contributors.iter().enumerate() {
        let (mean, u) = (c.distribution.mean(), c.distribution.u());
        let (high, low) = if u > 0.0 {
            (run.with(i, mean + u)?, run.with(i, mean - u)?)
        } else {
            (value.clone(), value.clone())
        };
        for (k, e) in effects.iter_mut().enumerate() {
            e.push(0.5 * (high[k] - low[k]));
        }
    }
    Ok(value
        .into_iter()
        .zip(effects)
        .map(|(value, effects)| FirstOrder {
            value,
            u: effects.iter().map(|e| e * e).sum::<f64>().sqrt(),
            effects,
        })
        .collect())
}

/// First-order propagation of correlated inputs with the covariance matrix given: values and covariance of the outputs,
/// `J V J^T` (GUM equation 13 and H.2).
///
/// # Errors
/// Shapes that do not fit; a model that is not finite.
pub fn first_order_correlated(
    x: &[f64],
    covariance: &Matrix,
    outputs: usize,
    model: impl Fn(&[f64], &mut [f64]),
) -> Result<(Vec<f64>, Matrix), StatsError> {
    let n = x.len();
    if covariance.rows() != n || covariance.cols() != n {
        return Err(StatsError::Shape {
            what: "rows of the covariance",
            expected: n,
            found: covariance.rows(),
        });
    }
    let eval = |x: &[f64]| {
        let mut out = vec![0.0; outputs];
        model(x, &mut out);
        finite(out)
    };
    let value = eval(x)?;
    let mut j = Matrix::zeros(outputs, n);
    for i in 0..n {
        let u = covariance[(i, i)].max(0.0).sqrt();
        if u == 0.0 {
            continue;
        }
        let mut p = x.to_vec();
        p[i] = x[i] + u;
        let high = eval(&p)?;
        p[i] = x[i] - u;
        let low = eval(&p)?;
        for k in 0..outputs {
            j[(k, i)] = (high[k] - low[k]) / (2.0 * u);
        }
    }
    let jv: Vec<Vec<f64>> = (0..outputs).map(|a| covariance.times(j.row(a))).collect();
    let v = Matrix::from_fn(outputs, outputs, |a, b| {
        crate::matrix::dot(&jv[a], j.row(b))
    });
    Ok((value, v))
}

/// What one contributor alone does to one output.
#[derive(Debug, Clone, PartialEq)]
pub struct Alone {
    /// Which contributor.
    pub id: ContributorId,
    /// What a person calls it.
    pub label: String,
    /// Standard deviation of the output when only this contributor varies.
    pub u: f64,
    /// Change of the output per one standard uncertainty, signed: half the difference between one up and one down.
    pub effect: f64,
}

impl Alone {
    /// As a share of an answer.
    pub fn share(self, systematic: bool) -> Share {
        Share {
            id: self.id,
            label: self.label,
            u: self.u,
            effect: self.effect,
            systematic,
        }
    }
}

/// One contributor at a time, the others at their best estimates: for each output, one entry a contributor in the order
/// given. The standard deviation is computed by Gauss quadrature with 15 nodes (Hermite or Legendre, exact for
/// polynomial models up to degree 14), so it carries no sampling noise.
///
/// # Errors
/// [`StatsError::NotFinite`] when the model is not finite at a point visited.
pub fn one_at_a_time(
    contributors: &[Contributor],
    outputs: usize,
    model: impl Fn(&[f64], &mut [f64]),
) -> Result<Vec<Vec<Alone>>, StatsError> {
    let hermite = gauss_hermite(NODES);
    let legendre = gauss_legendre(NODES);
    let mut run = Run::new(contributors, outputs, &model);
    let mut all = vec![Vec::with_capacity(contributors.len()); outputs];
    for (i, c) in contributors.iter().enumerate() {
        let (mean, u) = (c.distribution.mean(), c.distribution.u());
        let (mut effect, mut sd) = (vec![0.0; outputs], vec![0.0; outputs]);
        if u > 0.0 {
            let (high, low) = (run.with(i, mean + u)?, run.with(i, mean - u)?);
            let (rule, half) = match c.distribution {
                Distribution::Rectangular { lo, hi } => (&legendre, 0.5 * (hi - lo)),
                _ => (&hermite, u),
            };
            let mut values = Vec::with_capacity(rule.len());
            for &(x, w) in rule {
                values.push((run.with(i, mean + half * x)?, w));
            }
            for k in 0..outputs {
                effect[k] = 0.5 * (high[k] - low[k]);
                let m: f64 = values.iter().map(|(y, w)| w * y[k]).sum();
                sd[k] = values
                    .iter()
                    .map(|(y, w)| w * (y[k] - m).powi(2))
                    .sum::<f64>()
                    .sqrt();
            }
        }
        for k in 0..outputs {
            all[k].push(Alone {
                id: c.id.clone(),
                label: c.label.clone(),
                u: sd[k],
                effect: effect[k],
            });
        }
    }
    Ok(all)
}

const NODES: usize = 15;

/// Nodes and weights for the mean over a standard normal deviate. Weights `n!/(n He_{n-1}(x))^2`.
fn gauss_hermite(n: usize) -> Vec<(f64, f64)> {
    // Normalised polynomials h_k = He_k/sqrt(k!) keep the numbers small; weight 1/(n h_{n-1}^2).
    let poly = |x: f64, n: usize| {
        let (mut previous, mut h) = (0.0, 1.0);
        for k in 0..n {
            let next = (x * h - (k as f64).sqrt() * previous) / ((k + 1) as f64).sqrt();
            (previous, h) = (h, next);
        }
        h
    };
    roots(|x| poly(x, n), (4.0 * n as f64 + 2.0).sqrt())
        .into_iter()
        .map(|x| (x, 1.0 / (n as f64 * poly(x, n - 1).powi(2))))
        .collect()
}

/// Nodes and weights for the mean over -1..1. Weights `(1 - x^2)/(n P_{n-1}(x))^2`.
fn gauss_legendre(n: usize) -> Vec<(f64, f64)> {
    let poly = |x: f64, n: usize| {
        let (mut previous, mut p) = (0.0, 1.0);
        for k in 0..n {
            let k = k as f64;
            let next = ((2.0 * k + 1.0) * x * p - k * previous) / (k + 1.0);
            (previous, p) = (p, next);
        }
        p
    };
    roots(|x| poly(x, n), 1.0)
        .into_iter()
        .map(|x| (x, (1.0 - x * x) / (n as f64 * poly(x, n - 1)).powi(2)))
        .collect()
}

/// Roots within `-limit..limit` of a function whose roots lie further apart than `limit/1000`: scan, then bisect.
fn roots(f: impl Fn(f64) -> f64, limit: f64) -> Vec<f64> {
    const SCAN: usize = 2001; // odd number of intervals: zero is not on the grid
    let at = |i: usize| limit * (2.0 * i as f64 / SCAN as f64 - 1.0);
    let mut found = Vec::new();
    for i in 0..SCAN {
        let (mut a, mut b) = (at(i), at(i + 1));
        if f(a) * f(b) > 0.0 {
            continue;
        }
        for _ in 0..80 {
            let m = 0.5 * (a + b);
            if f(a) * f(m) <= 0.0 {
                b = m;
            } else {
                a = m;
            }
        }
        found.push(0.5 * (a + b));
    }
    found
}

/// Welch-Satterthwaite: effective degrees of freedom of a combined standard uncertainty from `(u_i, nu_i)` pairs
/// (GUM G.2b). `nu_i` may be infinite. Infinite when nothing has finite degrees of freedom.
pub fn effective_dof(parts: &[(f64, f64)]) -> f64 {
    let u2: f64 = parts.iter().map(|(u, _)| u * u).sum();
    let lost: f64 = parts
        .iter()
        .filter(|(_, nu)| nu.is_finite())
        .map(|(u, nu)| u.powi(4) / nu)
        .sum();
    if lost > 0.0 {
        u2 * u2 / lost
    } else {
        f64::INFINITY
    }
}

struct Run<'a, M> {
    best: Vec<f64>,
    outputs: usize,
    model: &'a M,
}

impl<'a, M: Fn(&[f64], &mut [f64])> Run<'a, M> {
    fn new(contributors: &[Contributor], outputs: usize, model: &'a M) -> Self {
        Self {
            best: contributors.iter().map(|c| c.distribution.mean()).collect(),
            outputs,
            model,
        }
    }
    fn at_best(&self) -> Result<Vec<f64>, StatsError> {
        let mut out = vec![0.0; self.outputs];
        (self.model)(&self.best, &mut out);
        finite(out)
    }
    fn with(&mut self, i: usize, x: f64) -> Result<Vec<f64>, StatsError> {
        let keep = std::mem::replace(&mut self.best[i], x);
        let result = self.at_best();
        self.best[i] = keep;
        result
    }
}

fn finite(out: Vec<f64>) -> Result<Vec<f64>, StatsError> {
    match out.iter().position(|y| !y.is_finite()) {
        Some(output) => Err(StatsError::NotFinite { output, trial: 0 }),
        None => Ok(out),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn contributor(id: &str, distribution: Distribution) -> Contributor {
        Contributor {
            id: ContributorId::new(id),
            label: id.to_string(),
            distribution,
            unit: "dB",
            source: "test".to_string(),
        }
    }

    #[test]
    fn rules_integrate_moments_exactly() {
        let h = gauss_hermite(NODES);
        let l = gauss_legendre(NODES);
        assert_eq!((h.len(), l.len()), (NODES, NODES));
        // Moments of the normal: 1, 1, 3, 15, 105; of the uniform on -1..1: 1/(m+1).
        for (m, exact) in [(0, 1.0), (2, 1.0), (4, 3.0), (6, 15.0), (8, 105.0)] {
            let got: f64 = h.iter().map(|(x, w)| w * x.powi(m)).sum();
            assert!((got - exact).abs() < 1e-11 * exact, "{m} {got}");
            let got: f64 = l.iter().map(|(x, w)| w * x.powi(m)).sum();
            assert!((got - 1.0 / f64::from(m + 1)).abs() < 1e-13);
        }
    }

    /// y = x^2 at x = 0: first order sees nothing, alone gives u^2 sqrt(2) (normal) and the exact rectangular value.
    #[test]
    fn one_at_a_time_sees_curvature() {
        let c = [
            contributor("n", Distribution::Normal { mean: 0.0, u: 2.0 }),
            contributor("r", Distribution::Rectangular { lo: -1.0, hi: 1.0 }),
            contributor("e", Distribution::Exact(3.0)),
        ];
        let model = |x: &[f64], y: &mut [f64]| y[0] = x[0] * x[0] + x[1] * x[1] + x[2];
        let alone = one_at_a_time(&c, 1, model).unwrap();
        assert!((alone[0][0].u - 4.0 * 2f64.sqrt()).abs() < 1e-10);
        assert!((alone[0][1].u - (4.0f64 / 45.0).sqrt()).abs() < 1e-13);
        assert_eq!((alone[0][2].u, alone[0][0].effect), (0.0, 0.0));
        assert_eq!(first_order(&c, 1, model).unwrap()[0].u, 0.0);
    }
}
