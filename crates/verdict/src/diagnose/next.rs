//! The next measurement: expected information about which fault it is, by simulation.

use super::score::{DISCREPANCY, at_size, covariance};
use super::{Case, Diagnosis, Evidence, Ranked};
use slantpath_stats::StatsError;
use slantpath_stats::intervals::normal_quantile;
use slantpath_stats::matrix::{Cholesky, dot};

/// What to do next.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    /// Position among the case's actions.
    pub action: usize,
    /// Expected information about which fault it is, bit.
    pub bits: f64,
}

/// Outcomes drawn for each action and hypothesis.
const DRAWS: u32 = 32;
/// Less than this much information is not worth a walk to the roof, bit.
const WORTH: f64 = 0.02;

/// Actions by expected information for each minute, the best first (Lindley 1956: the mutual information of outcome and
/// hypothesis). Each hypothesis stands at its most likely size. What was measured already is not advised again.
///
/// # Errors
/// A covariance that is singular.
pub fn advise(
    case: &Case,
    evidence: &[Evidence],
    diagnosis: &Diagnosis,
) -> Result<Vec<Advice>, StatsError> {
    let seen: Vec<&Evidence> = evidence
        .iter()
        .filter(|e| case.find(&e.id).is_some())
        .collect();
    let used = &diagnosis.used;
    let extra: Vec<f64> = seen.iter().map(|e| e.u * e.u + 1e-9).collect();
    let chol = Cholesky::new(&covariance(case, used, &extra))?;
    let y: Vec<f64> = seen
        .iter()
        .zip(used)
        .map(|(e, i)| e.value - case.observables[*i].healthy)
        .collect();
    let mut out = Vec::new();
    for (k, a) in case.actions.iter().enumerate() {
        let Some(i) = case.find(&a.observable).filter(|i| !used.contains(i)) else {
            continue;
        };
        // Correlation of what would be seen with what was.
        let mut at = used.clone();
        at.push(i);
        let mut wide = extra.clone();
        wide.push(a.u * a.u);
        let v = covariance(case, &at, &wide);
        let n = used.len();
        let cross: Vec<f64> = (0..n).map(|j| v[(n, j)]).collect();
        let gain = if n == 0 {
            Vec::new()
        } else {
            chol.solve(&cross)
        };
        let sd = (v[(n, n)] - dot(&gain, &cross)).max(1e-12).sqrt();
        // Where each hypothesis expects it, given what was seen; none of these expects anything.
        let own: f64 = v[(n, n)].sqrt();
        let mut outcomes: Vec<(f64, f64, f64)> = Vec::new();
        let worth = |r: &&Ranked| r.probability > if r.second.is_some() { 0.02 } else { 1e-4 };
        for r in diagnosis.ranked.iter().filter(worth) {
            let Some(f) = r.fault.and_then(|f| case.faults.get(f)) else {
                outcomes.push((r.probability, 0.0, 4.0 * own));
                continue;
            };
            let s = at_size(&f.nodes, r.size);
            let more = r
                .second
                .and_then(|(k, size)| Some(at_size(&case.faults.get(k)?.nodes, size)));
            let of = |i: usize| {
                let second = more.as_ref().and_then(|m| m.get(i)).copied();
                s.get(i).copied().unwrap_or(0.0) + second.unwrap_or(0.0)
            };
            let left: Vec<f64> = y.iter().zip(used).map(|(y, i)| y - of(*i)).collect();
            let wide = sd.hypot(DISCREPANCY * of(i));
            outcomes.push((r.probability, of(i) + dot(&gain, &left), wide));
        }
        let bits = information(&outcomes);
        if bits >= WORTH {
            out.push(Advice { action: k, bits });
        }
    }
    let worth = |a: &Advice| {
        case.actions
            .get(a.action)
            .map_or(0.0, |x| a.bits / x.minutes.max(0.5))
    };
    out.sort_by(|a, b| {
        worth(b)
            .total_cmp(&worth(a))
            .then_with(|| a.action.cmp(&b.action))
    });
    Ok(out)
}

/// Mutual information of a mixture of normals (weight, mean, sd) with its label, bit: outcomes of each are drawn at the
/// middles of equally probable strips, so that nothing depends on a seed.
fn information(mixture: &[(f64, f64, f64)]) -> f64 {
    let total: f64 = mixture.iter().map(|m| m.0).sum();
    if mixture.len() < 2 || total <= 0.0 {
        return 0.0;
    }
    let density = |m: &(f64, f64, f64), x: f64| (-0.5 * ((x - m.1) / m.2).powi(2)).exp() / m.2;
    let mut sum = 0.0;
    for m in mixture {
        let of_one: f64 = (0..DRAWS)
            .map(|k| {
                let z = normal_quantile((f64::from(k) + 0.5) / f64::from(DRAWS));
                let x = m.1 + m.2 * z;
                let all: f64 = mixture.iter().map(|n| n.0 / total * density(n, x)).sum();
                (density(m, x) / all.max(1e-300)).max(1e-300).log2()
            })
            .sum();
        sum += m.0 / total * of_one / f64::from(DRAWS);
    }
    sum.max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_sure_outcomes_are_one_bit_and_twins_are_none() {
        let far = information(&[(0.5, 0.0, 1.0), (0.5, 100.0, 1.0)]);
        assert!((far - 1.0).abs() < 0.01, "{far}");
        assert_eq!(information(&[(0.5, 3.0, 1.0), (0.5, 3.0, 1.0)]), 0.0);
        // Two sigma apart (d = 2): 0.486 bit by numeric integration.
        let some = information(&[(0.5, 0.0, 1.0), (0.5, 2.0, 1.0)]);
        assert!((some - 0.486).abs() < 0.02, "{some}");
    }
}
