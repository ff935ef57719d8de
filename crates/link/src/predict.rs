//! From the model to answers: draws, shares, because.

use crate::LinkError;
use crate::conditions::Drawing;
use crate::measurand::{Group, Measurand};
use crate::model::Model;
use slantpath_quantity::{Answer, Contributor, Estimate, Interval, Share, show};
use slantpath_stats::draws::{Settings, monte_carlo};
use slantpath_stats::intervals::normal_factor;
use slantpath_stats::progress::{Progress, Stop};
use slantpath_stats::propagate::{first_order, one_at_a_time};

/// Coverage of every interval given.
pub const LEVEL: f64 = 0.95;

/// A prediction: every output as an answer, and what they depend on.
#[derive(Debug, Clone)]
pub struct Prediction {
    /// What each answer is of, in the order of the answers.
    pub measurands: Vec<Measurand>,
    /// Answers in the order of the model's outputs.
    pub answers: Vec<Answer>,
    /// Inputs of the model, in order.
    pub contributors: Vec<Contributor>,
    /// Change of each output per unit of each input: row per output, column per input.
    pub sensitivity: Vec<Vec<f64>>,
    /// How it was drawn.
    pub drawing: Drawing,
}

impl Prediction {
    /// The answer of that identity.
    pub fn answer(&self, id: &str) -> Option<&Answer> {
        self.answers.iter().find(|a| a.measurand == id)
    }
    /// Index of the answer of that identity.
    pub fn index(&self, id: &str) -> Option<usize> {
        self.answers.iter().position(|a| a.measurand == id)
    }
    /// Answers of a group, with what they are of.
    pub fn group(&self, group: Group) -> impl Iterator<Item = (&Measurand, &Answer)> {
        self.measurands
            .iter()
            .zip(&self.answers)
            .filter(move |(m, _)| m.group == group)
    }
}

/// Draws the model. Measurands get Monte Carlo means and intervals (JCGM 101); budget and ledger lines get their value
/// at the best estimates with first-order uncertainty (GUM 5.1.2), so that lines still sum to their totals.
///
/// # Errors
/// Contradictory contributors, a stop request, a model that is not finite somewhere in the draws.
pub fn predict(
    model: &Model,
    drawing: Drawing,
    stop: &Stop,
    progress: &Progress,
) -> Result<Prediction, LinkError> {
    let contributors = model.inputs().contributors().to_vec();
    let outputs = model.outputs();
    let n = outputs.len();
    let first = first_order(&contributors, n, |x, y| model.evaluate(x, y))?;
    // Only what a person measures is drawn; the rest is exact enough to first order.
    let drawn: Vec<usize> = (0..n)
        .filter(|&k| outputs[k].group == Group::Measurand)
        .collect();
    let settings = Settings {
        seed: drawing.seed,
        trials: drawing.trials,
        stop: stop.clone(),
        progress: progress.clone(),
    };
    let draws = monte_carlo(&contributors, drawn.len().max(1), &settings, |x, y| {
        model.evaluate_measurands(x, y);
    })?;
    let estimates = draws.estimates(LEVEL)?;
    let alone = one_at_a_time(&contributors, n, |x, y| model.evaluate(x, y))?;
    let factor = normal_factor(LEVEL);
    let mut answers = Vec::with_capacity(n);
    let mut sensitivity = Vec::with_capacity(n);
    for (k, m) in outputs.iter().enumerate() {
        let f = &first[k];
        let estimate = match drawn.iter().position(|&d| d == k) {
            Some(p) => estimates[p].clone(),
            None => Estimate {
                value: f.value,
                u: f.u,
                interval: around(f.value, f.u, factor, m.group == Group::Ledger),
            },
        };
        let shares: Vec<Share> = alone[k]
            .iter()
            .filter(|a| a.u > 0.0)
            .map(|a| {
                a.clone()
                    .share(!a.id.as_str().starts_with("air.scintillation"))
            })
            .collect();
        sensitivity.push(
            alone[k]
                .iter()
                .zip(&contributors)
                .map(|(a, c)| {
                    let u = c.distribution.u();
                    if u > 0.0 { a.effect / u } else { 0.0 }
                })
                .collect(),
        );
        let mut answer = Answer::known(&m.id, &m.label, m.unit, estimate)
            .with_shares(shares)
            .with_validity(model.validity().clone());
        answer = with_because(answer);
        answers.push(answer);
    }
    Ok(Prediction {
        measurands: outputs.to_vec(),
        answers,
        contributors,
        sensitivity,
        drawing,
    })
}

/// The normal interval. A `positive` quantity whose normal interval would reach below nothing has that of the lognormal
/// distribution of the same mean and u.
fn around(value: f64, u: f64, factor: f64, positive: bool) -> Interval {
    let (lo, hi) = (value - factor * u, value + factor * u);
    let (lo, hi) = if positive && value > 0.0 && lo < 0.0 {
        let s2 = (u / value).powi(2).ln_1p();
        let at = |z: f64| value * (z * s2.sqrt() - 0.5 * s2).exp();
        (at(-factor), at(factor))
    } else {
        (lo, hi)
    };
    Interval {
        lo,
        hi,
        level: LEVEL,
    }
}

/// Names the two largest contributors.
fn with_because(answer: Answer) -> Answer {
    let unit = answer.unit.symbol();
    let text = |s: &Share| format!("{} (u = {} {unit})", s.label, show::significant(s.u, 2));
    let why = match answer.shares.as_slice() {
        [] => return answer,
        [a] => format!("Its uncertainty comes from {}.", text(a)),
        [a, b, ..] => format!(
            "Its uncertainty comes mostly from {} and {}.",
            text(a),
            text(b)
        ),
    };
    answer.because(why)
}

/// Settings for a quick, silent run.
pub fn quick(model: &Model, drawing: Drawing) -> Result<Prediction, LinkError> {
    predict(model, drawing, &Stop::new(), &Progress::silent())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The lognormal of mean 1 and u 1 has the median 1/sqrt(2) and sigma = sqrt(ln 2) (closed form).
    #[test]
    fn a_temperature_has_no_interval_below_nothing() {
        let k = normal_factor(LEVEL);
        let i = around(1.0, 1.0, k, true);
        let (median, sigma) = (0.5_f64.sqrt(), 2.0_f64.ln().sqrt());
        assert!((i.lo - median * (-k * sigma).exp()).abs() < 1e-12 && i.lo > 0.0);
        assert!((i.hi - median * (k * sigma).exp()).abs() < 1e-12);
        // Far from nothing it is the normal one, and a level in dB always.
        assert_eq!(around(10.0, 1.0, k, true).lo, 10.0 - k);
        assert_eq!(around(1.0, 1.0, k, false).lo, 1.0 - k);
    }
}
