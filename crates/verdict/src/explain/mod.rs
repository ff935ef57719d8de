//! What would have to be different for the measurement to be right: generalised least squares on the ledger.
//!
//! Every contributor carries what was known of it (mean zero, its stated u); the measurements carry theirs. The
//! least-squares solution says how far each contributor would have to move, how sure that is, and which measurement pulls
//! it there (GUM F.2.3; Bayes' rule for normal distributions). The prediction is linearised anew at every step until the
//! solution stands still, so that large shifts are as good as small ones. Contributors are normal here, whatever shape they
//! were stated with.

mod next;
mod solve;
#[cfg(test)]
mod tests;

pub use next::{Candidate, next_measurement};

use slantpath_quantity::{Contributor, Unit};
use slantpath_stats::least_squares::LinearFit as Fit;
use slantpath_stats::matrix::Matrix;
use slantpath_stats::{StatsError, intervals};
use solve::{Problem, Solution, silent};

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
    /// Whether a shift the other way explains as much.
    pub either_way: bool,
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
                either_way: solution.even.contains(&i),
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
