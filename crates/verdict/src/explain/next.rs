//! The measurement that would tell most about the suspects.

use super::Explanation;
use slantpath_quantity::Contributor;

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
    /// Sensitivities as in [`super::Comparand::sensitivity`].
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
