//! Nonlinear least squares by Levenberg and Marquardt.
//!
//! Damped Gauss-Newton steps: with `J` the Jacobian of the model in whitened units, `r` the residuals and `D` the
//! running maximum of the column lengths of `J` (More 1978), each step solves
//! `min |J d - r|^2 + lambda |D d|^2` by QR of the stacked matrix, never by the normal equations. The damping follows
//! the gain ratio (Nielsen 1999, as in Madsen, Nielsen and Tingleff, Methods for Non-Linear Least Squares Problems,
//! 2004, eq. 3.17; from memory).

use super::Prior;
use crate::matrix::{Matrix, Qr, dot, norm};
use crate::{StatsError, Stop};

type ModelFn<'a> = dyn Fn(&[f64], &mut [f64]) + 'a;
type JacobianFn<'a> = dyn Fn(&[f64], &mut Matrix) + 'a;

/// Why the iteration ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// The residuals are orthogonal to every column of the Jacobian.
    Gradient,
    /// The step became too small to change the unknowns.
    Step,
    /// No step lowers the sum of squares any more, to working precision.
    NoFurtherReduction,
    /// The number of iterations ran out: the result is not a minimum yet.
    IterationLimit,
}

/// How the iteration went.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Convergence {
    /// Why it ended.
    pub ending: Ending,
    /// Accepted steps.
    pub iterations: usize,
    /// Model evaluations, those for the Jacobian included.
    pub evaluations: usize,
    /// Largest cosine between the residuals and a column of the Jacobian at the end.
    pub gradient_cosine: f64,
}

impl Convergence {
    /// True for every ending at a minimum.
    pub fn is_converged(&self) -> bool {
        self.ending != Ending::IterationLimit
    }
}

/// A nonlinear fit.
#[derive(Debug, Clone, PartialEq)]
pub struct NonlinearFit {
    /// Estimated unknowns.
    pub p: Vec<f64>,
    /// Covariance `(J^T J)^-1` with the noise as stated; rows and columns of unknowns at a bound are zero.
    pub covariance: Matrix,
    /// Sum of squared whitened residuals, priors included.
    pub chi2: f64,
    /// Observations and priors minus unknowns.
    pub dof: usize,
    /// `y - f(p)`, in the unit of `y`.
    pub residuals: Vec<f64>,
    /// Which unknowns ended on a bound.
    pub at_bound: Vec<bool>,
    /// How the iteration went.
    pub convergence: Convergence,
}

impl NonlinearFit {
    /// Standard uncertainty of unknown `j` with the noise as stated.
    pub fn u(&self, j: usize) -> f64 {
        self.covariance[(j, j)].max(0.0).sqrt()
    }
    /// `sqrt(chi2/dof)`: factor by which the residuals scatter more than stated. Multiply `u` by it when the noise
    /// level is not known. `None` without degrees of freedom.
    pub fn residual_scale(&self) -> Option<f64> {
        (self.dof > 0).then(|| (self.chi2 / self.dof as f64).sqrt())
    }
}

/// A nonlinear least-squares problem, set up step by step and solved by [`Nonlinear::fit`].
pub struct Nonlinear<'a> {
    y: &'a [f64],
    model: &'a ModelFn<'a>,
    jacobian: Option<&'a JacobianFn<'a>>,
    u: Option<&'a [f64]>,
    bounds: Vec<(usize, f64, f64)>,
    priors: Vec<Prior>,
    typical: Vec<(usize, f64)>,
    max_iterations: usize,
    stop: Stop,
}

impl<'a> Nonlinear<'a> {
    /// `model(p, out)` writes the value expected for each of `y` under the unknowns `p`.
    pub fn new(y: &'a [f64], model: &'a ModelFn<'a>) -> Self {
        Self {
            y,
            model,
            jacobian: None,
            u: None,
            bounds: Vec::new(),
            priors: Vec::new(),
            typical: Vec::new(),
            max_iterations: 500,
            stop: Stop::new(),
        }
    }
    /// `jacobian(p, j)` writes `j[(i, k)] = d out[i] / d p[k]`. Without it central differences are taken.
    pub fn jacobian(mut self, jacobian: &'a JacobianFn<'a>) -> Self {
        self.jacobian = Some(jacobian);
        self
    }
    /// Standard uncertainty of each observation (default 1).
    pub fn uncertainties(mut self, u: &'a [f64]) -> Self {
        self.u = Some(u);
        self
    }
    /// Keeps unknown `index` within `lo..=hi`.
    pub fn bound(mut self, index: usize, lo: f64, hi: f64) -> Self {
        self.bounds.push((index, lo, hi));
        self
    }
    /// Adds what was known of an unknown before.
    pub fn prior(mut self, prior: Prior) -> Self {
        self.priors.push(prior);
        self
    }
    /// Size that a change of unknown `index` typically has; needed for central differences only where the unknown may
    /// be zero (default: its own size, or 1 at zero).
    pub fn typical(mut self, index: usize, size: f64) -> Self {
        self.typical.push((index, size));
        self
    }
    /// Limit on accepted steps (default 500).
    pub fn max_iterations(mut self, n: usize) -> Self {
        self.max_iterations = n;
        self
    }
    /// Ends early with [`StatsError::Stopped`] when `stop` is requested.
    pub fn stop(mut self, stop: &Stop) -> Self {
        self.stop = stop.clone();
        self
    }

    /// Solves from `start`.
    ///
    /// A light damping is tried first; when it leads to where an unknown has no influence any more, or to no minimum, the
    /// iteration starts again with a heavier one (smaller first steps).
    ///
    /// # Errors
    /// Shapes that do not fit; a start outside its bounds; a model that is not finite at the start; fewer observations
    /// and priors than unknowns; an unknown that does not influence the model at the solution.
    pub fn fit(&self, start: &[f64]) -> Result<NonlinearFit, StatsError> {
        let mut first = None;
        for lambda in [1e-3, 1.0, 1e3] {
            let outcome = self.fit_damped(start, lambda);
            match &outcome {
                Ok(fit) if fit.convergence.is_converged() => return outcome,
                Ok(_) | Err(StatsError::Undetermined { .. }) => {}
                Err(_) => return outcome,
            }
            first.get_or_insert(outcome);
        }
        first.unwrap_or(Err(StatsError::TooFew { have: 0, need: 1 }))
    }

    fn fit_damped(&self, start: &[f64], first_lambda: f64) -> Result<NonlinearFit, StatsError> {
        let mut work = Work::new(self, start)?;
        let mut p = start.to_vec();
        let mut r = work.whitened_residuals(&p);
        if let Some(i) = r.iter().position(|x| !x.is_finite()) {
            return Err(StatsError::NotFinite {
                output: i,
                trial: 0,
            });
        }
        let n = p.len();
        let mut chi2 = dot(&r, &r);
        let mut lambda = first_lambda;
        let mut growth = 2.0;
        let mut d = vec![0.0f64; n];
        let mut iterations = 0;
        let mut ending = None;
        let mut j = work.jacobian(&p);
        while ending.is_none() {
            self.stop.check()?;
            let free = work.free(&p, &j, &r);
            let lengths: Vec<f64> = (0..n).map(|k| norm(&j.col(k))).collect();
            for (d, l) in d.iter_mut().zip(&lengths) {
                *d = d.max(*l);
            }
            if gradient_cosine(&j, &r, &free) <= 1e-13 {
                ending = Some(Ending::Gradient);
                break;
            }
            // Inner loop: raise the damping until a step lowers the sum of squares.
            loop {
                let step = damped_step(&j, &r, &d, lambda, &free);
                let trial: Vec<f64> = (0..n)
                    .map(|k| (p[k] + step[k]).clamp(work.lo[k], work.hi[k]))
                    .collect();
                let taken: Vec<f64> = trial.iter().zip(&p).map(|(t, p)| t - p).collect();
                let small = taken
                    .iter()
                    .zip(&p)
                    .all(|(s, p)| s.abs() <= 4.0 * f64::EPSILON * p.abs());
                if small {
                    ending = Some(Ending::Step);
                    break;
                }
                let r_new = work.whitened_residuals(&trial);
                let chi2_new = dot(&r_new, &r_new);
                let linear: Vec<f64> = j.times(&taken).iter().zip(&r).map(|(f, r)| r - f).collect();
                let promised = chi2 - dot(&linear, &linear);
                let gain = if promised > 0.0 {
                    (chi2 - chi2_new) / promised
                } else {
                    -1.0
                };
                if chi2_new.is_finite() && chi2_new < chi2 && gain > 0.0 {
                    p = trial;
                    r = r_new;
                    chi2 = chi2_new;
                    lambda *= (1.0 - (2.0 * gain - 1.0).powi(3)).max(1.0 / 3.0);
                    lambda = lambda.max(1e-18);
                    growth = 2.0;
                    iterations += 1;
                    break;
                }
                lambda *= growth;
                growth *= 2.0;
                if lambda > 1e25 {
                    ending = Some(Ending::NoFurtherReduction);
                    break;
                }
            }
            if ending.is_none() {
                j = work.jacobian(&p);
                if iterations >= self.max_iterations {
                    ending = Some(Ending::IterationLimit);
                }
            }
        }
        work.finish(p, &r, chi2, &j, iterations, ending.unwrap_or(Ending::Step))
    }
}

/// Solves the damped linear problem for the free unknowns; the others do not move.
fn damped_step(j: &Matrix, r: &[f64], d: &[f64], lambda: f64, free: &[usize]) -> Vec<f64> {
    let m = j.rows();
    let f = free.len();
    let stacked = Matrix::from_fn(m + f, f, |i, k| {
        let scale = if d[free[k]] > 0.0 { d[free[k]] } else { 1.0 };
        match i.checked_sub(m) {
            None => j[(i, free[k])] / scale,
            Some(q) if q == k => lambda.sqrt(),
            Some(_) => 0.0,
        }
    });
    let mut right = r.to_vec();
    right.resize(m + f, 0.0);
    let mut step = vec![0.0; j.cols()];
    if let Ok(qr) = Qr::new(stacked) {
        for (k, z) in qr.solve(&right).into_iter().enumerate() {
            let scale = if d[free[k]] > 0.0 { d[free[k]] } else { 1.0 };
            step[free[k]] = z / scale;
        }
    }
    step
}

fn gradient_cosine(j: &Matrix, r: &[f64], free: &[usize]) -> f64 {
    let length = norm(r);
    free.iter()
        .map(|&k| {
            let c = j.col(k);
            let scale = norm(&c) * length;
            if scale > 0.0 {
                dot(&c, r).abs() / scale
            } else {
                0.0
            }
        })
        .fold(0.0, f64::max)
}

/// The checked problem and its scratch space.
struct Work<'p, 'a> {
    problem: &'p Nonlinear<'a>,
    u: Vec<f64>,
    lo: Vec<f64>,
    hi: Vec<f64>,
    typical: Vec<f64>,
    out: Vec<f64>,
    evaluations: usize,
}

impl<'p, 'a> Work<'p, 'a> {
    fn new(problem: &'p Nonlinear<'a>, start: &[f64]) -> Result<Self, StatsError> {
        let (m, n) = (problem.y.len(), start.len());
        let rows = m + problem.priors.len();
        if rows < n {
            return Err(StatsError::TooFew {
                have: rows,
                need: n,
            });
        }
        let u = match problem.u {
            None => vec![1.0; m],
            Some(u) if u.len() != m => {
                return Err(StatsError::Shape {
                    what: "uncertainties",
                    expected: m,
                    found: u.len(),
                });
            }
            Some(u) => u.to_vec(),
        };
        if let Some(&bad) = u.iter().find(|u| !(**u > 0.0 && u.is_finite())) {
            return Err(StatsError::OutOfRange {
                name: "standard uncertainty",
                value: bad,
                range: "finite values > 0",
            });
        }
        for p in &problem.priors {
            p.check(n)?;
        }
        let (mut lo, mut hi) = (vec![f64::NEG_INFINITY; n], vec![f64::INFINITY; n]);
        for &(k, l, h) in &problem.bounds {
            let inside = k < n && l <= start[k] && start[k] <= h;
            if !inside {
                return Err(StatsError::OutOfRange {
                    name: "start",
                    value: start.get(k).copied().unwrap_or(f64::NAN),
                    range: "the bounds of its unknown",
                });
            }
            (lo[k], hi[k]) = (l, h);
        }
        let mut typical = vec![0.0; n];
        for &(k, size) in &problem.typical {
            if let Some(t) = typical.get_mut(k) {
                *t = size.abs();
            }
        }
        Ok(Self {
            problem,
            u,
            lo,
            hi,
            typical,
            out: vec![0.0; m],
            evaluations: 0,
        })
    }

    fn predict(&mut self, p: &[f64]) -> Vec<f64> {
        self.evaluations += 1;
        (self.problem.model)(p, &mut self.out);
        self.out.clone()
    }

    /// `(y - f)/u`, then `(mean - p)/u` of each prior.
    fn whitened_residuals(&mut self, p: &[f64]) -> Vec<f64> {
        let f = self.predict(p);
        let data = (0..f.len()).map(|i| (self.problem.y[i] - f[i]) / self.u[i]);
        let prior = self
            .problem
            .priors
            .iter()
            .map(|q| (q.mean - p[q.index]) / q.u);
        data.chain(prior).collect()
    }

    /// Jacobian of the whitened model (minus that of the residuals), prior rows below.
    fn jacobian(&mut self, p: &[f64]) -> Matrix {
        let (m, n) = (self.problem.y.len(), p.len());
        let mut full = Matrix::zeros(m + self.problem.priors.len(), n);
        if let Some(analytic) = self.problem.jacobian {
            let mut j = Matrix::zeros(m, n);
            analytic(p, &mut j);
            for i in 0..m {
                for k in 0..n {
                    full[(i, k)] = j[(i, k)] / self.u[i];
                }
            }
        } else {
            for k in 0..n {
                // Step of eps^(1/3) relative: truncation and rounding errors balance at about eps^(2/3).
                let size = match p[k].abs().max(self.typical[k]) {
                    0.0 => 1.0,
                    s => s,
                };
                let h = f64::EPSILON.cbrt() * size;
                let mut q = p.to_vec();
                q[k] = (p[k] + h).min(self.hi[k]);
                let (high, f_high) = (q[k], self.predict(&q));
                q[k] = (p[k] - h).max(self.lo[k]);
                let (low, f_low) = (q[k], self.predict(&q));
                for i in 0..m {
                    let slope = (f_high[i] - f_low[i]) / (high - low);
                    full[(i, k)] = if slope.is_finite() {
                        slope / self.u[i]
                    } else {
                        0.0
                    };
                }
            }
        }
        for (q, prior) in self.problem.priors.iter().enumerate() {
            full[(m + q, prior.index)] = 1.0 / prior.u;
        }
        full
    }

    /// Unknowns that may move: not held at a bound by the gradient.
    fn free(&self, p: &[f64], j: &Matrix, r: &[f64]) -> Vec<usize> {
        (0..p.len())
            .filter(|&k| {
                let downhill = dot(&j.col(k), r);
                !(p[k] <= self.lo[k] && downhill <= 0.0 || p[k] >= self.hi[k] && downhill >= 0.0)
            })
            .collect()
    }

    fn finish(
        self,
        p: Vec<f64>,
        r: &[f64],
        chi2: f64,
        j: &Matrix,
        iterations: usize,
        ending: Ending,
    ) -> Result<NonlinearFit, StatsError> {
        let n = p.len();
        let at_bound: Vec<bool> = (0..n)
            .map(|k| p[k] <= self.lo[k] || p[k] >= self.hi[k])
            .collect();
        let free: Vec<usize> = (0..n).filter(|&k| !at_bound[k]).collect();
        let mut covariance = Matrix::zeros(n, n);
        if !free.is_empty() {
            let reduced = Matrix::from_fn(j.rows(), free.len(), |i, k| j[(i, free[k])]);
            let inverse = Qr::new(reduced)
                .map_err(|e| match e {
                    StatsError::Undetermined { column } => StatsError::Undetermined {
                        column: free[column],
                    },
                    other => other,
                })?
                .inverse_gram();
            for (a, &ka) in free.iter().enumerate() {
                for (b, &kb) in free.iter().enumerate() {
                    covariance[(ka, kb)] = inverse[(a, b)];
                }
            }
        }
        Ok(NonlinearFit {
            covariance,
            chi2,
            dof: r.len() - n,
            residuals: (0..self.u.len()).map(|i| r[i] * self.u[i]).collect(),
            convergence: Convergence {
                ending,
                iterations,
                evaluations: self.evaluations,
                gradient_cosine: gradient_cosine(j, r, &free),
            },
            at_bound,
            p,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const X: [f64; 5] = [0.0, 1.0, 2.0, 3.0, 4.0];

    #[test]
    fn straight_line_matches_the_linear_fit() {
        let y = [1.1, 2.9, 5.2, 6.8, 9.1];
        let model = |p: &[f64], out: &mut [f64]| {
            for (o, x) in out.iter_mut().zip(X) {
                *o = p[0] + p[1] * x;
            }
        };
        let fit = Nonlinear::new(&y, &model).fit(&[0.0, 0.0]).unwrap();
        let a = Matrix::from_fn(5, 2, |i, j| if j == 0 { 1.0 } else { X[i] });
        let lin = super::super::linear(
            &a,
            &y,
            super::super::Noise::Unit,
            &[],
            super::super::Scale::Known,
        )
        .unwrap();
        for k in 0..2 {
            assert!((fit.p[k] - lin.x[k]).abs() < 1e-9);
            assert!((fit.u(k) - lin.u(k)).abs() < 1e-9);
        }
        assert!(fit.convergence.is_converged());
    }

    #[test]
    fn bound_and_prior_are_kept() {
        let y = [1.0, 0.5, 0.2, 0.1, 0.05];
        let model = |p: &[f64], out: &mut [f64]| {
            for (o, x) in out.iter_mut().zip(X) {
                *o = p[0] * (-p[1] * x).exp();
            }
        };
        let fit = Nonlinear::new(&y, &model)
            .bound(1, 0.0, 0.5)
            .fit(&[1.0, 0.1])
            .unwrap();
        assert_eq!(fit.p[1], 0.5);
        assert!(fit.at_bound[1] && fit.u(1) == 0.0 && fit.u(0) > 0.0);
        let tight = Prior {
            index: 1,
            mean: 0.3,
            u: 1e-6,
        };
        let fit = Nonlinear::new(&y, &model)
            .prior(tight)
            .fit(&[1.0, 0.1])
            .unwrap();
        assert!((fit.p[1] - 0.3).abs() < 1e-5);
    }

    #[test]
    fn a_dead_unknown_is_named() {
        let y = [1.0, 2.0, 3.0];
        let model = |p: &[f64], out: &mut [f64]| out.fill(p[0]);
        let e = Nonlinear::new(&y, &model).fit(&[0.5, 9.0]).unwrap_err();
        assert_eq!(e, StatsError::Undetermined { column: 1 });
    }
}
