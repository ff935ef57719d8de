//! What would have to be different for the measurement to be right: generalised least squares on the ledger.
//!
//! The prediction is linearised at its best estimates, `y = f(x0) + J (x - x0)`. Every contributor carries what was
//! known of it (mean zero, its stated u); the measurements carry theirs. The least-squares solution says how far each
//! contributor would have to move, how sure that is, and which measurement pulls it there (GUM F.2.3; Bayes' rule for
//! normal distributions). Contributors are normal here, whatever shape they were stated with; that and the
//! linearisation are good while shifts stay within about two standard uncertainties, and the result says when not.

use slantpath_quantity::{Contributor, Unit};
use slantpath_stats::least_squares::{Noise, Prior, Scale, linear};
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
}

impl Explanation {
    /// True when prediction and measurement agree within what is stated (5 % chance level).
    pub fn agrees(&self) -> bool {
        self.chance >= 0.05
    }
}

/// Explains the differences.
///
/// # Errors
/// Sensitivities of another length than the contributors; uncertainties that are not positive; nothing to compare.
pub fn explain(
    contributors: &[Contributor],
    comparands: &[Comparand],
) -> Result<Explanation, StatsError> {
    let active: Vec<usize> = (0..contributors.len())
        .filter(|&i| contributors[i].distribution.u() > 0.0)
        .collect();
    let spoken: Vec<usize> = (0..comparands.len())
        .filter(|&k| !silent(&comparands[k]))
        .collect();
    for c in comparands {
        if c.sensitivity.len() != contributors.len() {
            return Err(StatsError::Shape {
                what: "sensitivity",
                expected: contributors.len(),
                found: c.sensitivity.len(),
            });
        }
    }
    let a = Matrix::from_fn(spoken.len(), active.len(), |k, i| {
        comparands[spoken[k]].sensitivity[active[i]]
    });
    let residual: Vec<f64> = spoken
        .iter()
        .map(|&k| comparands[k].measured - comparands[k].predicted)
        .collect();
    let u: Vec<f64> = spoken.iter().map(|&k| comparands[k].u_measured).collect();
    let priors: Vec<Prior> = active
        .iter()
        .enumerate()
        .map(|(index, &i)| Prior {
            index,
            mean: 0.0,
            u: contributors[i].distribution.u(),
        })
        .collect();
    let fit = if spoken.is_empty() || active.is_empty() {
        None
    } else {
        Some(linear(
            &a,
            &residual,
            Noise::Each(&u),
            &priors,
            Scale::Known,
        )?)
    };
    let shift_of = |i: usize| -> f64 {
        match (&fit, active.iter().position(|&k| k == i)) {
            (Some(f), Some(p)) => f.x[p],
            _ => 0.0,
        }
    };
    let disagreements: Vec<Disagreement> = comparands
        .iter()
        .map(|c| {
            let d = c.measured - c.predicted;
            let uu = c.u_measured.hypot(c.u_predicted);
            let moved: f64 = c
                .sensitivity
                .iter()
                .enumerate()
                .map(|(i, s)| s * shift_of(i))
                .sum();
            Disagreement {
                measurand: c.measurand.clone(),
                label: c.label.clone(),
                unit: c.unit,
                difference: d,
                u: uu,
                normalised: if uu > 0.0 { d / uu } else { 0.0 },
                left_over: d - moved,
                silent: silent(c),
            }
        })
        .collect();
    let (chi2, chance) = match &fit {
        Some(f) => (
            f.chi2,
            intervals::chi2_exceeded(f.chi2, spoken.len() as f64)?,
        ),
        None => (0.0, 1.0),
    };
    let mut suspects = Vec::new();
    let n = contributors.len();
    let mut after = Matrix::from_fn(n, n, |i, j| {
        if i == j {
            contributors[i].distribution.u().powi(2)
        } else {
            0.0
        }
    });
    if let Some(f) = &fit {
        for (p, &i) in active.iter().enumerate() {
            for (q, &j) in active.iter().enumerate() {
                after[(i, j)] = f.covariance[(p, q)];
            }
        }
        for (p, &i) in active.iter().enumerate() {
            let prior_u = contributors[i].distribution.u();
            // Gain of contributor i on measurement k: (posterior covariance) J^T V^-1.
            let mut pulls: Vec<Pull> = spoken
                .iter()
                .enumerate()
                .map(|(row, &k)| {
                    let gain: f64 = (0..active.len())
                        .map(|q| f.covariance[(p, q)] * a[(row, q)])
                        .sum::<f64>()
                        / (u[row] * u[row]);
                    Pull {
                        measurand: comparands[k].measurand.clone(),
                        part: gain * residual[row],
                    }
                })
                .collect();
            pulls.sort_by(|x, y| y.part.abs().total_cmp(&x.part.abs()));
            suspects.push(Suspect {
                contributor: contributors[i].clone(),
                shift: f.x[p],
                u_after: f.u(p),
                in_u: f.x[p] / prior_u,
                pulls,
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
        chi2,
        dof: spoken.len(),
        chance,
        after,
    })
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
}
