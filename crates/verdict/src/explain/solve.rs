//! The least-squares problem behind an explanation, solved by Gauss and Newton's method.

use super::Comparand;
use slantpath_quantity::Contributor;
use slantpath_stats::least_squares::{LinearFit as Fit, Noise, Prior, Scale, linear};
use slantpath_stats::matrix::Matrix;
use slantpath_stats::{StatsError, intervals};

/// The least-squares problem.
pub(super) struct Problem<'a> {
    pub(super) contributors: &'a [Contributor],
    pub(super) comparands: &'a [Comparand],
    pub(super) active: &'a [usize],
    pub(super) model: &'a mut dyn FnMut(&[f64]) -> Option<Vec<f64>>,
}

/// One measurement as the linear step sees it.
pub(super) struct Row {
    pub(super) comparand: usize,
    /// Change per unit of each active contributor.
    pub(super) slope: Vec<f64>,
    /// Working residual: what the shifts, all counted from zero, have to explain.
    pub(super) residual: f64,
    pub(super) u: f64,
}

pub(super) struct Solution {
    pub(super) shift: Vec<f64>,
    /// The shift of the first, plain linear step.
    pub(super) linear: Vec<f64>,
    pub(super) f: Vec<f64>,
    pub(super) rows: Vec<Row>,
    pub(super) fit: Option<Fit>,
    pub(super) chi2: f64,
    pub(super) steps: usize,
    pub(super) converged: bool,
    /// Contributors whose shift explains as much with its sign turned round.
    pub(super) even: Vec<usize>,
}

/// Beyond this many standard uncertainties above its ceiling a prediction agrees with a ceiling for certain.
const SURE: f64 = 6.0;

impl Problem<'_> {
    pub(super) fn values(&mut self, shift: &[f64]) -> Option<Vec<f64>> {
        let f = (self.model)(shift)?;
        (f.len() == self.comparands.len() && f.iter().all(|x| x.is_finite())).then_some(f)
    }

    pub(super) fn u0(&self, p: usize) -> f64 {
        self.contributors[self.active[p]].distribution.u()
    }

    /// The sum that is least at the solution.
    pub(super) fn objective(&self, shift: &[f64], f: &[f64]) -> f64 {
        let prior: f64 = (0..self.active.len())
            .map(|p| (shift[self.active[p]] / self.u0(p)).powi(2))
            .sum();
        let data: f64 = self
            .comparands
            .iter()
            .zip(f)
            .map(|(c, f)| {
                let z = (f - c.measured) / c.u_measured;
                if c.at_least {
                    -2.0 * ln_normal_cdf(z)
                } else {
                    z * z
                }
            })
            .sum();
        prior + data
    }

    /// Slopes at a point by central differences of a twentieth of what is known of each contributor; one-sided where the
    /// model ends.
    pub(super) fn slopes(&mut self, shift: &[f64], f: &[f64]) -> Matrix {
        let mut out = Matrix::from_fn(self.comparands.len(), self.active.len(), |_, _| 0.0);
        let mut x = shift.to_vec();
        for p in 0..self.active.len() {
            let i = self.active[p];
            let h = 0.05 * self.u0(p);
            x[i] = shift[i] + h;
            let up = self.values(&x);
            x[i] = shift[i] - h;
            let down = self.values(&x);
            x[i] = shift[i];
            let (hi, lo, width) = match (&up, &down) {
                (Some(u), Some(d)) => (u.as_slice(), d.as_slice(), 2.0 * h),
                (Some(u), None) => (u.as_slice(), f, h),
                (None, Some(d)) => (f, d.as_slice(), h),
                (None, None) => continue,
            };
            for k in 0..self.comparands.len() {
                out[(k, p)] = (hi[k] - lo[k]) / width;
            }
        }
        out
    }

    /// The measurements as the linear step at `shift` sees them.
    pub(super) fn rows(&self, shift: &[f64], f: &[f64], slopes: &Matrix) -> Vec<Row> {
        let mut out = Vec::new();
        for (k, c) in self.comparands.iter().enumerate() {
            let slope: Vec<f64> = (0..self.active.len()).map(|p| slopes[(k, p)]).collect();
            let moved: f64 = slope
                .iter()
                .zip(self.active)
                .map(|(s, &i)| s * shift[i])
                .sum();
            let z = (f[k] - c.measured) / c.u_measured;
            let (residual, u) = if c.at_least {
                if z > SURE {
                    continue;
                }
                // Newton's step on -ln Phi(z): slope -lambda, curvature lambda (lambda + z), lambda = phi / Phi.
                let lambda = mills(z);
                let w = (lambda * (lambda + z)).clamp(1e-9, 1.0);
                (c.u_measured * lambda / w, c.u_measured / w.sqrt())
            } else {
                (c.measured - f[k], c.u_measured)
            };
            out.push(Row {
                comparand: k,
                slope,
                residual: residual + moved,
                u,
            });
        }
        out
    }

    pub(super) fn linear_step(&self, rows: &[Row]) -> Result<Option<Fit>, StatsError> {
        if rows.is_empty() || self.active.is_empty() {
            return Ok(None);
        }
        let a = Matrix::from_fn(rows.len(), self.active.len(), |k, p| rows[k].slope[p]);
        let residual: Vec<f64> = rows.iter().map(|r| r.residual).collect();
        let u: Vec<f64> = rows.iter().map(|r| r.u).collect();
        let priors: Vec<Prior> = (0..self.active.len())
            .map(|p| Prior {
                index: p,
                mean: 0.0,
                u: self.u0(p),
            })
            .collect();
        linear(&a, &residual, Noise::Each(&u), &priors, Scale::Known).map(Some)
    }

    /// Draws back each contributor that alone would leave the model (a loss below nothing), and says whether one was.
    pub(super) fn hold(&mut self, shift: &[f64], target: &mut [f64]) -> bool {
        if self.values(target).is_some() {
            return false;
        }
        let mut held = false;
        let mut x = shift.to_vec();
        for k in 0..self.active.len() {
            let i = self.active[k];
            for halving in 0..20 {
                x[i] = target[i];
                if self.values(&x).is_some() {
                    break;
                }
                held = true;
                target[i] = if halving == 19 {
                    shift[i]
                } else {
                    0.5 * (target[i] + shift[i])
                };
            }
            x[i] = shift[i];
        }
        held
    }

    /// Active contributors in which the measurands are even about a point: moved either way by what is known of them, they
    /// change the same (a skew, a pointing error). There the slopes are nothing, however much a larger shift would explain.
    fn even(&mut self, shift: &[f64], f: &[f64]) -> Vec<usize> {
        // Change of a measurand, in its u, below which it does not matter.
        const MATTERS: f64 = 0.1;
        let mut out = Vec::new();
        let mut x = shift.to_vec();
        for p in 0..self.active.len() {
            let i = self.active[p];
            x[i] = shift[i] + self.u0(p);
            let up = self.values(&x);
            x[i] = shift[i] - self.u0(p);
            let down = self.values(&x);
            x[i] = shift[i];
            let (Some(up), Some(down)) = (up, down) else {
                continue;
            };
            let matters = |k: usize| {
                let (bend, slope) = (up[k] + down[k] - 2.0 * f[k], up[k] - down[k]);
                bend.abs() > MATTERS * self.comparands[k].u_measured
                    && slope.abs() < 0.1 * bend.abs()
            };
            if (0..self.comparands.len()).any(matters) {
                out.push(i);
            }
        }
        out
    }

    /// The least sum. Descent from the best estimates never leaves a point about which a measurand is even; from there it
    /// is tried again from a shift of twice the u, and the better of the two is the solution.
    pub(super) fn solve(&mut self) -> Result<Solution, StatsError> {
        let mut best = self.descend(vec![0.0; self.contributors.len()])?;
        let linear = best.linear.clone();
        let (from, f) = (best.shift.clone(), best.f.clone());
        let mut even = Vec::new();
        for i in self.even(&from, &f) {
            let mut start = best.shift.clone();
            start[i] += 2.0 * self.contributors[i].distribution.u();
            if self.values(&start).is_none() {
                continue;
            }
            let other = self.descend(start)?;
            if other.chi2 < best.chi2 - 1e-6 * best.chi2.abs() {
                best = other;
                even.push(i);
            }
        }
        best.linear = linear;
        best.even = even;
        Ok(best)
    }

    /// Gauss and Newton's steps from a start.
    fn descend(&mut self, start: Vec<f64>) -> Result<Solution, StatsError> {
        const MOST_STEPS: usize = 40;
        const CLOSE: f64 = 1e-6;
        const NEAR: f64 = 1e-3;
        let n = self.contributors.len();
        let mut shift = start;
        let mut f = self.values(&shift).ok_or(StatsError::Shape {
            what: "model at the best estimates",
            expected: self.comparands.len(),
            found: 0,
        })?;
        let mut value = self.objective(&shift, &f);
        let mut first = None;
        let mut steps = 0;
        let mut converged = false;
        loop {
            let slopes = self.slopes(&shift, &f);
            let rows = self.rows(&shift, &f, &slopes);
            let fit = self.linear_step(&rows)?;
            let mut target = vec![0.0; n];
            if let Some(fit) = &fit {
                for (p, &i) in self.active.iter().enumerate() {
                    target[i] = fit.x[p];
                }
            }
            let linear = first.get_or_insert_with(|| target.clone()).clone();
            let held = self.hold(&shift, &mut target);
            let far = (0..self.active.len())
                .map(|p| (target[self.active[p]] - shift[self.active[p]]).abs() / self.u0(p))
                .fold(0.0, f64::max);
            // Where a residual bends the sum, the last steps shrink slowly; what they still move nobody sees.
            converged |= far < if steps == MOST_STEPS { NEAR } else { CLOSE };
            if converged || steps == MOST_STEPS {
                converged &= !held;
                return Ok(Solution {
                    shift,
                    linear,
                    f,
                    rows,
                    fit,
                    chi2: value,
                    steps,
                    converged,
                    even: Vec::new(),
                });
            }
            steps += 1;
            let mut part = 1.0;
            let moved = loop {
                let trial: Vec<f64> = shift
                    .iter()
                    .zip(&target)
                    .map(|(a, b)| a + part * (b - a))
                    .collect();
                if let Some(g) = self.values(&trial) {
                    let v = self.objective(&trial, &g);
                    if v <= value + 1e-12 * value.abs() {
                        break Some((trial, g, v));
                    }
                }
                part *= 0.5;
                if part < 1e-4 {
                    break None;
                }
            };
            match moved {
                Some((x, g, v)) => {
                    // Descending by nothing any more is as close as rounding allows.
                    converged = value - v < 1e-12 * value.abs() && part == 1.0;
                    (shift, f, value) = (x, g, v);
                }
                None => {
                    return Ok(Solution {
                        shift,
                        linear,
                        f,
                        rows,
                        fit,
                        chi2: value,
                        steps,
                        converged: far < 0.01 && !held,
                        even: Vec::new(),
                    });
                }
            }
        }
    }
}

/// phi(z) / Phi(z); far below zero by its continued fraction (Abramowitz and Stegun 26.2.14).
pub(super) fn mills(z: f64) -> f64 {
    if z > -5.0 {
        return intervals::normal_pdf(z) / intervals::normal_cdf(z);
    }
    let x = -z;
    let mut tail = x;
    for k in (1..=20).rev() {
        tail = x + f64::from(k) / tail;
    }
    tail
}

pub(super) fn ln_normal_cdf(z: f64) -> f64 {
    if z > -5.0 {
        intervals::normal_cdf(z).ln()
    } else {
        -0.5 * z * z - 0.5 * std::f64::consts::TAU.ln() - mills(z).ln()
    }
}

/// A reading at its ceiling that lies below the prediction is what the prediction says too.
pub(super) fn silent(c: &Comparand) -> bool {
    c.at_least && c.measured <= c.predicted
}
