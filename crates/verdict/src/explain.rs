//! What would have to be different for the measurement to be right: generalised least squares on the ledger.
//!
//! Every contributor carries what was known of it (mean zero, its stated u); the measurements carry theirs. The
//! least-squares solution says how far each contributor would have to move, how sure that is, and which measurement pulls
//! it there (GUM F.2.3; Bayes' rule for normal distributions). The prediction is linearised anew at every step until the
//! solution stands still, so that large shifts are as good as small ones. Contributors are normal here, whatever shape they
//! were stated with.

use slantpath_quantity::{Contributor, Unit};
use slantpath_stats::least_squares::{LinearFit as Fit, Noise, Prior, Scale, linear};
use slantpath_stats::matrix::Matrix;
use slantpath_stats::{StatsError, intervals};

/// One measurand, predicted and measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparand {
    /// Identity of the measurand.
    pub measurand: String,
    /// What a person calls it.
    pub label: String,
    /// Unit of everything here.
    pub unit: Unit,
    /// Predicted best estimate.
    pub predicted: f64,
    /// Standard uncertainty of the prediction.
    pub u_predicted: f64,
    /// Measured value.
    pub measured: f64,
    /// Standard uncertainty of the measurement.
    pub u_measured: f64,
    /// True when the measurement says only "at least this much" (an instrument at its ceiling).
    pub at_least: bool,
    /// Change of the measurand per unit of each contributor, in the order of the contributors.
    pub sensitivity: Vec<f64>,
}

/// Prediction against measurement for one measurand.
#[derive(Debug, Clone, PartialEq)]
pub struct Disagreement {
    /// Identity of the measurand.
    pub measurand: String,
    /// What a person calls it.
    pub label: String,
    /// Unit.
    pub unit: Unit,
    /// Measured minus predicted.
    pub difference: f64,
    /// Standard uncertainty of the difference.
    pub u: f64,
    /// Difference in units of its u: the normalised disagreement.
    pub normalised: f64,
    /// Difference that is left when every contributor has moved as far as the explanation asks.
    pub left_over: f64,
    /// True when the measurement stood at a ceiling and lies below the prediction: nothing can be said.
    pub silent: bool,
}

/// A contributor and how far it would have to move.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspect {
    /// The contributor.
    pub contributor: Contributor,
    /// How far it would have to move, in its own unit.
    pub shift: f64,
    /// Standard uncertainty of it after the measurements.
    pub u_after: f64,
    /// Shift in units of what was known before: how unusual it would be.
    pub in_u: f64,
    /// The shift that the model linearised at its best estimates would have asked for.
    pub linear: f64,
    /// Which measurement pulls, and by how much of the shift, largest first.
    pub pulls: Vec<Pull>,
}

/// One measurement's part in a shift.
#[derive(Debug, Clone, PartialEq)]
pub struct Pull {
    /// Identity of the measurand.
    pub measurand: String,
    /// Part of the shift, in the contributor's unit.
    pub part: f64,
}

/// What accounts for the difference.
#[derive(Debug, Clone, PartialEq)]
pub struct Explanation {
    /// Measurand by measurand.
    pub disagreements: Vec<Disagreement>,
    /// Contributors that would have to move, the most unusual first.
    pub suspects: Vec<Suspect>,
    /// Weighted sum of squared disagreements, correlations of the prediction included.
    pub chi2: f64,
    /// Number of measurements that took part.
    pub dof: usize,
    /// Probability of a sum as large by chance when model and stated uncertainties are right.
    pub chance: f64,
    /// Covariance of the contributors after the measurements (in the order given).
    pub after: Matrix,
    /// How often the prediction was linearised anew.
    pub steps: usize,
    /// Whether the solution stands still; else it is the best point found.
    pub converged: bool,
}

impl Explanation {
    /// True when prediction and measurement agree within what is stated (5 % chance level).
    pub fn agrees(&self) -> bool {
        self.chance >= 0.05
    }
}

/// Explains the differences with the linearised prediction: [`explain_with`] for a model that is a plane.
///
/// # Errors
/// As [`explain_with`].
pub fn explain(
    contributors: &[Contributor],
    comparands: &[Comparand],
) -> Result<Explanation, StatsError> {
    explain_with(contributors, comparands, &mut |shift: &[f64]| {
        let plane = comparands.iter().map(|c| {
            let moved: f64 = c.sensitivity.iter().zip(shift).map(|(s, x)| s * x).sum();
            c.predicted + moved
        });
        Some(plane.collect())
    })
}

/// Explains the differences. `model` gives the predicted value of every comparand when the contributors have moved by
/// `shift` from their best estimates (own units, order of `contributors`); `None` where the model cannot be.
///
/// Minimises `sum ((y - f(x)) / u)^2 + sum (x / u_0)^2` by Gauss and Newton's method, halving steps that do not descend
/// and linearising anew at every step; a reading at its ceiling adds `-2 ln Phi((f - y) / u)` instead, the probability that
/// the truth is this or more.
///
/// # Errors
/// Sensitivities of another length than the contributors; uncertainties that are not positive; a model that gives another
/// number of values or none at the best estimates.
pub fn explain_with(
    contributors: &[Contributor],
    comparands: &[Comparand],
    model: &mut dyn FnMut(&[f64]) -> Option<Vec<f64>>,
) -> Result<Explanation, StatsError> {
    let n = contributors.len();
    for c in comparands {
        if c.sensitivity.len() != n {
            return Err(StatsError::Shape {
                what: "sensitivity",
                expected: n,
                found: c.sensitivity.len(),
            });
        }
    }
    let active: Vec<usize> = (0..n)
        .filter(|&i| contributors[i].distribution.u() > 0.0)
        .collect();
    let mut problem = Problem {
        contributors,
        comparands,
        active: &active,
        model,
    };
    let solution = problem.solve()?;
    let shift = &solution.shift;
    let left = problem.values(shift).unwrap_or_else(|| solution.f.clone());
    let disagreements: Vec<Disagreement> = comparands
        .iter()
        .zip(&left)
        .map(|(c, f)| {
            let d = c.measured - c.predicted;
            let uu = c.u_measured.hypot(c.u_predicted);
            let silent = silent(c);
            Disagreement {
                measurand: c.measurand.clone(),
                label: c.label.clone(),
                unit: c.unit,
                difference: d,
                u: uu,
                normalised: if uu > 0.0 { d / uu } else { 0.0 },
                left_over: if c.at_least {
                    (c.measured - f).max(0.0)
                } else {
                    c.measured - f
                },
                silent,
            }
        })
        .collect();
    let dof = comparands.iter().filter(|c| !silent(c)).count();
    let chance = if dof == 0 || active.is_empty() {
        1.0
    } else {
        intervals::chi2_exceeded(solution.chi2, dof as f64)?
    };
    let mut after = Matrix::from_fn(n, n, |i, j| {
        if i == j {
            contributors[i].distribution.u().powi(2)
        } else {
            0.0
        }
    });
    let mut suspects = Vec::new();
    if let Some(fit) = &solution.fit {
        for (p, &i) in active.iter().enumerate() {
            for (q, &j) in active.iter().enumerate() {
                after[(i, j)] = fit.covariance[(p, q)];
            }
        }
        for (p, &i) in active.iter().enumerate() {
            suspects.push(Suspect {
                contributor: contributors[i].clone(),
                shift: shift[i],
                u_after: fit.u(p),
                in_u: shift[i] / contributors[i].distribution.u(),
                linear: solution.linear[i],
                pulls: pulls(comparands, &solution, fit, &active, p),
            });
        }
    }
    suspects.sort_by(|x, y| {
        y.in_u
            .abs()
            .total_cmp(&x.in_u.abs())
            .then_with(|| x.contributor.id.cmp(&y.contributor.id))
    });
    Ok(Explanation {
        disagreements,
        suspects,
        chi2: solution.chi2,
        dof,
        chance,
        after,
        steps: solution.steps,
        converged: solution.converged,
    })
}

/// Each measurement's part of a shift: gain of contributor `p` on it, (covariance after) J^T V^-1, times its working
/// residual. The parts sum to the shift.
fn pulls(
    comparands: &[Comparand],
    solution: &Solution,
    fit: &Fit,
    active: &[usize],
    p: usize,
) -> Vec<Pull> {
    let mut out: Vec<Pull> = solution
        .rows
        .iter()
        .map(|row| {
            let gain: f64 = (0..active.len())
                .map(|q| fit.covariance[(p, q)] * row.slope[q])
                .sum::<f64>()
                / (row.u * row.u);
            Pull {
                measurand: comparands[row.comparand].measurand.clone(),
                part: gain * row.residual,
            }
        })
        .collect();
    out.sort_by(|x, y| y.part.abs().total_cmp(&x.part.abs()));
    out
}

/// The least-squares problem.
struct Problem<'a> {
    contributors: &'a [Contributor],
    comparands: &'a [Comparand],
    active: &'a [usize],
    model: &'a mut dyn FnMut(&[f64]) -> Option<Vec<f64>>,
}

/// One measurement as the linear step sees it.
struct Row {
    comparand: usize,
    /// Change per unit of each active contributor.
    slope: Vec<f64>,
    /// Working residual: what the shifts, all counted from zero, have to explain.
    residual: f64,
    u: f64,
}

struct Solution {
    shift: Vec<f64>,
    /// The shift of the first, plain linear step.
    linear: Vec<f64>,
    f: Vec<f64>,
    rows: Vec<Row>,
    fit: Option<Fit>,
    chi2: f64,
    steps: usize,
    converged: bool,
}

/// Beyond this many standard uncertainties above its ceiling a prediction agrees with a ceiling for certain.
const SURE: f64 = 6.0;

impl Problem<'_> {
    fn values(&mut self, shift: &[f64]) -> Option<Vec<f64>> {
        let f = (self.model)(shift)?;
        (f.len() == self.comparands.len() && f.iter().all(|x| x.is_finite())).then_some(f)
    }

    fn u0(&self, p: usize) -> f64 {
        self.contributors[self.active[p]].distribution.u()
    }

    /// The sum that is least at the solution.
    fn objective(&self, shift: &[f64], f: &[f64]) -> f64 {
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
    fn slopes(&mut self, shift: &[f64], f: &[f64]) -> Matrix {
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
    fn rows(&self, shift: &[f64], f: &[f64], slopes: &Matrix) -> Vec<Row> {
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

    fn linear_step(&self, rows: &[Row]) -> Result<Option<Fit>, StatsError> {
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
    fn hold(&mut self, shift: &[f64], target: &mut [f64]) -> bool {
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

    fn solve(&mut self) -> Result<Solution, StatsError> {
        const MOST_STEPS: usize = 40;
        const CLOSE: f64 = 1e-6;
        let n = self.contributors.len();
        let mut shift = vec![0.0; n];
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
            converged |= far < CLOSE;
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
                    });
                }
            }
        }
    }
}

/// phi(z) / Phi(z); far below zero by its continued fraction (Abramowitz and Stegun 26.2.14).
fn mills(z: f64) -> f64 {
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

fn ln_normal_cdf(z: f64) -> f64 {
    if z > -5.0 {
        intervals::normal_cdf(z).ln()
    } else {
        -0.5 * z * z - 0.5 * std::f64::consts::TAU.ln() - mills(z).ln()
    }
}

/// A reading at its ceiling that lies below the prediction is what the prediction says too.
fn silent(c: &Comparand) -> bool {
    c.at_least && c.measured <= c.predicted
}

/// A measurement that could be made.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// Identity of the measurand.
    pub measurand: String,
    /// What to do, in a sentence.
    pub how: String,
    /// Minutes it takes.
    pub minutes: f64,
    /// Standard uncertainty it reaches.
    pub u: f64,
    /// Sensitivities as in [`Comparand::sensitivity`].
    pub sensitivity: Vec<f64>,
}

/// The candidate that tells most about the leading suspects per root minute: expected reduction of the logarithm of
/// the determinant of the covariance of the first `leading` suspects (expected information in nats, Lindley 1956).
///
/// Returns the candidate's index and the information in bits; `None` without candidates or suspects.
pub fn next_measurement(
    explanation: &Explanation,
    contributors: &[Contributor],
    candidates: &[Candidate],
    leading: usize,
) -> Option<(usize, f64)> {
    let lead: Vec<usize> = explanation
        .suspects
        .iter()
        .take(leading)
        .filter_map(|s| contributors.iter().position(|c| c.id == s.contributor.id))
        .collect();
    if lead.is_empty() {
        return None;
    }
    let p = &explanation.after;
    let mut best: Option<(usize, f64, f64)> = None;
    for (k, c) in candidates.iter().enumerate() {
        if c.sensitivity.len() != contributors.len() || c.u <= 0.0 {
            continue;
        }
        let pj = p.times(&c.sensitivity);
        let s: f64 = c.u * c.u
            + pj.iter()
                .zip(&c.sensitivity)
                .map(|(a, b)| a * b)
                .sum::<f64>();
        // Information about the leading suspects one by one: variance that goes, as a fraction.
        let bits: f64 = lead
            .iter()
            .map(|&i| {
                let before = p[(i, i)];
                let gone = pj[i] * pj[i] / s;
                if before > 0.0 {
                    -0.5 * (1.0 - (gone / before).min(1.0 - 1e-12)).log2()
                } else {
                    0.0
                }
            })
            .sum();
        let score = bits / c.minutes.max(1.0).sqrt();
        if best.is_none_or(|(_, _, b)| score > b) {
            best = Some((k, bits, score));
        }
    }
    best.map(|(k, bits, _)| (k, bits))
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_quantity::{ContributorId, Distribution};

    fn c(id: &str, u: f64) -> Contributor {
        Contributor {
            id: ContributorId::new(id),
            label: id.into(),
            distribution: Distribution::Normal { mean: 0.0, u },
            unit: "dB",
            source: "test".into(),
        }
    }
    fn m(id: &str, d: f64, u: f64, s: &[f64], contributors: &[Contributor]) -> Comparand {
        let up = s
            .iter()
            .zip(contributors)
            .map(|(s, c)| (s * c.distribution.u()).powi(2))
            .sum::<f64>()
            .sqrt();
        Comparand {
            measurand: id.into(),
            label: id.into(),
            unit: Unit::Db,
            predicted: 10.0,
            u_predicted: up,
            measured: 10.0 + d,
            u_measured: u,
            at_least: false,
            sensitivity: s.to_vec(),
        }
    }

    #[test]
    fn one_measurement_is_shared_by_variance() {
        // Closed form: shift_i = u_i^2 r / (u_1^2 + u_2^2 + u_m^2).
        let cs = [c("a", 1.0), c("b", 2.0)];
        let e = explain(&cs, &[m("x", -3.0, 0.5, &[1.0, 1.0], &cs)]).unwrap();
        let total = 1.0 + 4.0 + 0.25;
        let b = &e.suspects[0];
        assert_eq!(b.contributor.id.as_str(), "b");
        assert!((b.shift + 3.0 * 4.0 / total).abs() < 1e-12);
        assert!((b.pulls[0].part - b.shift).abs() < 1e-12);
        assert!((e.chi2 - 9.0 / total).abs() < 1e-12);
        assert!((e.disagreements[0].left_over + 3.0 * 0.25 / total).abs() < 1e-12);
        assert!(e.agrees());
    }

    #[test]
    fn two_measurements_single_out_the_culprit() {
        // Both see a; only the second sees b. A loss in both indicts a.
        let cs = [c("a", 1.0), c("b", 1.0)];
        let e = explain(
            &cs,
            &[
                m("x", -3.0, 0.1, &[1.0, 0.0], &cs),
                m("y", -3.0, 0.1, &[1.0, 1.0], &cs),
            ],
        )
        .unwrap();
        assert_eq!(e.suspects[0].contributor.id.as_str(), "a");
        assert!((e.suspects[0].shift + 3.0).abs() < 0.1 && e.suspects[1].shift.abs() < 0.1);
        assert!(!e.agrees());
    }

    #[test]
    fn a_ceiling_below_the_prediction_says_nothing() {
        let cs = [c("a", 1.0)];
        let mut x = m("x", -4.0, 0.1, &[1.0], &cs);
        x.at_least = true;
        let e = explain(&cs, &[x]).unwrap();
        assert!(e.disagreements[0].silent && e.agrees() && e.dof == 0);
    }

    #[test]
    fn the_next_measurement_separates_the_leading_two() {
        let cs = [c("a", 1.0), c("b", 1.0)];
        let e = explain(&cs, &[m("x", -3.0, 0.1, &[1.0, 1.0], &cs)]).unwrap();
        let candidate = |s: &[f64]| Candidate {
            measurand: "m".into(),
            how: "h".into(),
            minutes: 10.0,
            u: 0.1,
            sensitivity: s.to_vec(),
        };
        // Measuring the sum again tells nothing new; the difference does.
        let (k, bits) = next_measurement(
            &e,
            &cs,
            &[candidate(&[1.0, 1.0]), candidate(&[1.0, -1.0])],
            2,
        )
        .unwrap();
        assert_eq!(k, 1);
        assert!(bits > 2.0);
    }

    /// Noise of two origins adds in power: far from a plane. The solution is that of a fine search of the same sum.
    #[test]
    fn large_shifts_are_found_on_the_curve_itself() {
        use slantpath_quantity::{from_db, to_db};
        let cs = [c("a", 6.0), c("b", 6.0)];
        let mut f = |x: &[f64]| {
            Some(vec![
                to_db(from_db(x[0]) + from_db(x[1] - 3.0)),
                x[0] - 0.2 * x[1],
            ])
        };
        let at = f(&[0.0, 0.0]).unwrap();
        let mut y = vec![
            m("sum", 0.0, 0.3, &[0.67, 0.33], &cs),
            m("other", 0.0, 0.5, &[1.0, -0.2], &cs),
        ];
        for (y, (f, d)) in y.iter_mut().zip(at.iter().zip([9.0, -2.0])) {
            (y.predicted, y.measured) = (*f, f + d);
        }
        let e = explain_with(&cs, &y, &mut f).unwrap();
        assert!(e.converged && e.steps > 1, "{e:?}");
        let sum = |a: f64, b: f64| {
            let g = f(&[a, b]).unwrap();
            (a / 6.0).powi(2)
                + (b / 6.0).powi(2)
                + ((y[0].measured - g[0]) / 0.3).powi(2)
                + ((y[1].measured - g[1]) / 0.5).powi(2)
        };
        let (mut best, mut centre, mut width) = ((f64::INFINITY, 0.0, 0.0), (0.0, 0.0), 24.0);
        for _ in 0..12 {
            for i in -20..=20 {
                for j in -20..=20 {
                    let (a, b) = (
                        centre.0 + width * f64::from(i) / 20.0,
                        centre.1 + width * f64::from(j) / 20.0,
                    );
                    let s = sum(a, b);
                    if s < best.0 {
                        best = (s, a, b);
                    }
                }
            }
            centre = (best.1, best.2);
            width /= 4.0;
        }
        let shift = |id: &str| {
            e.suspects
                .iter()
                .find(|s| s.contributor.id.as_str() == id)
                .unwrap()
        };
        assert!(
            (shift("a").shift - best.1).abs() < 1e-3,
            "{} {}",
            shift("a").shift,
            best.1
        );
        assert!(
            (shift("b").shift - best.2).abs() < 1e-3,
            "{} {}",
            shift("b").shift,
            best.2
        );
        assert!((e.chi2 - best.0).abs() < 1e-6);
        // The plane at the start would have missed it by far.
        assert!(
            (shift("b").linear - best.2).abs() > 0.5,
            "{}",
            shift("b").linear
        );
        // What each measurement pulls sums to the shift.
        for s in &e.suspects {
            let parts: f64 = s.pulls.iter().map(|p| p.part).sum();
            assert!((parts - s.shift).abs() < 1e-3, "{parts} {}", s.shift);
        }
    }

    /// A reading at its ceiling above the prediction pulls up, less than an ordinary reading there would, and the result is
    /// the maximum of the normal density times the probability of "this or more".
    #[test]
    fn a_ceiling_above_the_prediction_pulls_as_at_least() {
        let cs = [c("a", 1.0)];
        let mut x = m("x", 1.0, 0.5, &[1.0], &cs);
        let plain = explain(&cs, &[x.clone()]).unwrap().suspects[0].shift;
        x.at_least = true;
        let e = explain(&cs, &[x]).unwrap();
        let density = |a: f64| -0.5 * a * a + ln_normal_cdf((a - 1.0) / 0.5);
        let best =
            (0..40_000)
                .map(|k| f64::from(k) * 1e-4)
                .fold((f64::NEG_INFINITY, 0.0), |b, a| {
                    if density(a) > b.0 { (density(a), a) } else { b }
                });
        assert!(
            (e.suspects[0].shift - best.1).abs() < 2e-4,
            "{} {}",
            e.suspects[0].shift,
            best.1
        );
        assert!(e.suspects[0].shift > 0.3 && plain > 0.3 && e.converged);
        // Twice as far above as can be believed: the tail is still a number.
        assert!((mills(-5.0 + 1e-9) - mills(-5.0 - 1e-9)).abs() < 1e-6);
        assert!(ln_normal_cdf(-40.0) < -800.0);
    }

    #[test]
    fn a_model_that_ends_is_followed_to_its_edge() {
        let cs = [c("a", 1.0)];
        let mut f = |x: &[f64]| (x[0] > -1.0).then(|| vec![10.0 + x[0]]);
        let e = explain_with(&cs, &[m("x", -3.0, 0.1, &[1.0], &cs)], &mut f).unwrap();
        assert!(e.suspects[0].shift > -1.0 && e.suspects[0].shift < -0.5 && !e.converged);
    }
}
