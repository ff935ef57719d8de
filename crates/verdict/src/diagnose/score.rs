//! Scoring by marginal likelihood.

use super::{Case, Evidence};
use slantpath_stats::StatsError;
use slantpath_stats::intervals::normal_cdf;
use slantpath_stats::matrix::{Cholesky, Matrix, dot};

/// Prior probability that the fault is none of the list (own choice, no source).
pub const NONE_PRIOR: f64 = 0.05;
/// How far something unknown moves an observable, in its own natural spread (own choice, no source).
const NONE_WIDTH: f64 = 12.0;
/// Two faults whose consequences lie nearer than this (Mahalanobis distance, squared) are not told apart.
const INDISTINCT: f64 = 1.0;
/// Less probable faults take no part in groups.
const WORTH_TELLING: f64 = 0.02;

/// Prior probability that two faults of the list are there at once (own choice, no source).
pub const TWO_PRIOR: f64 = 0.04;
/// A consequence as computed is off by this part of itself, one standard deviation, each observable for itself: stations
/// differ from their files in more than the files' uncertainties, and a fault is never quite the one of the book (Kennedy
/// and O'Hagan 2001: the model's own discrepancy). Chosen with [`TAILS`] on simulated stations apart from those reported.
pub(super) const DISCREPANCY: f64 = 0.15;
/// Evidence is a little worse than it says now and then: variances multiplied, and how often (Tukey's contaminated normal).
const TAILS: [(f64, f64); 3] = [(1.0, 0.80), (4.0, 0.17), (16.0, 0.03)];
/// Hypotheses whose pairs with every other one are looked at.
const PAIRED: usize = 8;

/// A hypothesis after the evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranked {
    /// Position among the case's faults; `None`: none of these.
    pub fault: Option<usize>,
    /// A second fault that is there at once, and its size.
    pub second: Option<(usize, f64)>,
    /// Probability.
    pub probability: f64,
    /// Logarithm of the marginal likelihood.
    pub ln_likelihood: f64,
    /// Where between the nodes the size most likely is (0 to number of nodes less one).
    pub size: f64,
}

/// Faults that the evidence does not tell apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// Positions in [`Diagnosis::ranked`].
    pub members: Vec<usize>,
    /// Their probability together.
    pub probability: f64,
}

/// What the evidence says.
#[derive(Debug, Clone, PartialEq)]
pub struct Diagnosis {
    /// Hypotheses, the most probable first.
    pub ranked: Vec<Ranked>,
    /// Groups, the most probable first; a hypothesis that stands alone is a group of one.
    pub groups: Vec<Group>,
    /// Positions of the observables that took part, in the order of the evidence.
    pub used: Vec<usize>,
    /// Evidence of which the case knows nothing.
    pub left_out: Vec<String>,
}

/// The joint normal of the observables in `at`, with `extra` variances added.
pub(super) fn covariance(case: &Case, at: &[usize], extra: &[f64]) -> Matrix {
    Matrix::from_fn(at.len(), at.len(), |i, j| {
        let (a, b) = (&case.observables[at[i]], &case.observables[at[j]]);
        let shared: f64 = a.effects.iter().zip(&b.effects).map(|(x, y)| x * y).sum();
        if i == j {
            shared + a.u * a.u + extra[i]
        } else if at[i] == at[j] {
            // The same thing seen twice.
            shared + a.u * a.u
        } else {
            shared
        }
    })
}

/// ln of the mean of N(r; t d, V) for t even in 0..1, all whitened, and the most likely t.
fn segment(r: &[f64], d: &[f64]) -> (f64, f64) {
    let (rr, dd, rd) = (dot(r, r), dot(d, d), dot(r, d));
    if dd < 1e-12 {
        return (-0.5 * rr, 0.5);
    }
    let (q, t0) = (dd.sqrt(), rd / dd);
    let off = (rr - rd * t0).max(0.0);
    let (a, b) = (-q * t0, q * (1.0 - t0));
    // Both tails by their nearer end, lest a difference of ones be lost.
    let mass = if a > 0.0 {
        normal_cdf(-a) - normal_cdf(-b)
    } else {
        normal_cdf(b) - normal_cdf(a)
    };
    let t = t0.clamp(0.0, 1.0);
    let ln = if mass > 1e-280 {
        -0.5 * off + (std::f64::consts::TAU.sqrt() / q).ln() + mass.ln()
    } else {
        // Far outside: the nearer end decides.
        let e = if t0 < 0.0 { a } else { b };
        -0.5 * (off + e * e) - (q * e.abs().max(1.0)).ln()
    };
    (ln, t)
}

/// ln of a mean of exponentials.
fn ln_mean(v: &[f64]) -> f64 {
    let top = v.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !top.is_finite() {
        return top;
    }
    top + (v.iter().map(|x| (x - top).exp()).sum::<f64>() / v.len() as f64).ln()
}

/// Ranks the hypotheses.
///
/// # Errors
/// Evidence that is no number or whose uncertainty is not positive; a covariance that is singular.
pub fn diagnose(case: &Case, evidence: &[Evidence]) -> Result<Diagnosis, StatsError> {
    let mut used = Vec::new();
    let mut kept: Vec<&Evidence> = Vec::new();
    let mut left_out = Vec::new();
    for (k, e) in evidence.iter().enumerate() {
        if !(e.value.is_finite() && e.u.is_finite() && e.u >= 0.0) {
            return Err(StatsError::NotFinite {
                output: k,
                trial: 0,
            });
        }
        match case.find(&e.id) {
            Some(i) => {
                used.push(i);
                kept.push(e);
            }
            None => left_out.push(e.id.clone()),
        }
    }
    let extra: Vec<f64> = kept.iter().map(|e| e.u * e.u + 1e-9).collect();
    let v = covariance(case, &used, &extra);
    let chol = Cholesky::new(&v)?;
    let y: Vec<f64> = kept
        .iter()
        .zip(&used)
        .map(|(e, i)| e.value - case.observables[*i].healthy)
        .collect();
    let scene = Scene { v: &v, y: &y };
    let nodes: Vec<Vec<Vec<f64>>> = case
        .faults
        .iter()
        .map(|f| f.nodes.iter().map(|s| pick(&used, s)).collect())
        .collect();
    let mut ranked = Vec::new();
    let total: f64 = case.faults.iter().map(|f| f.weight).sum();
    for (k, f) in case.faults.iter().enumerate() {
        let (ln_likelihood, size) = scene.marginal(nodes.get(k).map_or(&[], Vec::as_slice))?;
        ranked.push(Ranked {
            fault: Some(k),
            second: None,
            probability: (1.0 - NONE_PRIOR - TWO_PRIOR) * f.weight / total,
            ln_likelihood,
            size,
        });
    }
    ranked.extend(pairs(case, &scene, &nodes, &ranked)?);
    ranked.push(Ranked {
        fault: None,
        second: None,
        probability: NONE_PRIOR,
        ln_likelihood: none_of_these(case, &used, &extra, &y)?,
        size: 0.0,
    });
    let top = ranked
        .iter()
        .map(|r| r.ln_likelihood)
        .fold(f64::NEG_INFINITY, f64::max);
    for r in &mut ranked {
        r.probability *= (r.ln_likelihood - top).exp();
    }
    let sum: f64 = ranked.iter().map(|r| r.probability).sum();
    for r in &mut ranked {
        r.probability /= sum;
    }
    ranked.sort_by(|a, b| {
        b.probability
            .total_cmp(&a.probability)
            .then_with(|| a.fault.cmp(&b.fault))
            .then_with(|| a.second.map(|s| s.0).cmp(&b.second.map(|s| s.0)))
    });
    let groups = groups(case, &chol, &used, &ranked);
    Ok(Diagnosis {
        ranked,
        groups,
        used,
        left_out,
    })
}

/// A consequence on what was observed.
fn pick(used: &[usize], node: &[f64]) -> Vec<f64> {
    used.iter()
        .map(|i| node.get(*i).copied().unwrap_or(0.0))
        .collect()
}

/// The evidence, and how it scatters about a sound station.
struct Scene<'a> {
    v: &'a Matrix,
    y: &'a [f64],
}

impl Scene<'_> {
    /// The covariance about a consequence, with the consequence's own discrepancy.
    fn about(&self, s: &[f64]) -> Result<Cholesky, StatsError> {
        let n = self.y.len();
        Cholesky::new(&Matrix::from_fn(n, n, |i, j| {
            let own = if i == j {
                s.get(i).map_or(0.0, |s| (DISCREPANCY * s).powi(2))
            } else {
                0.0
            };
            self.v[(i, j)] + own
        }))
    }

    /// ln of the integral over the size, and where it is largest.
    fn marginal(&self, nodes: &[Vec<f64>]) -> Result<(f64, f64), StatsError> {
        if let [one] = nodes {
            let c = self.about(one)?;
            let z = c.whiten(&less(self.y, one));
            let zz = dot(&z, &z);
            return Ok((mixed(&c, z.len(), |scale| -0.5 * zz / scale), 0.0));
        }
        let mut parts = Vec::new();
        let (mut best, mut at) = (f64::NEG_INFINITY, 0.0);
        for (k, w) in nodes.windows(2).enumerate() {
            let [a, b] = w else { continue };
            let middle: Vec<f64> = a.iter().zip(b).map(|(a, b)| 0.5 * (a + b)).collect();
            let c = self.about(&middle)?;
            let (a, b) = (c.whiten(&less(self.y, a)), c.whiten(&less(self.y, b)));
            let d: Vec<f64> = a.iter().zip(&b).map(|(a, b)| a - b).collect();
            let (_, t) = segment(&a, &d);
            let left: Vec<f64> = a.iter().zip(&d).map(|(a, d)| a - t * d).collect();
            let peak = -0.5 * (dot(&left, &left) + c.ln_det());
            if peak > best {
                (best, at) = (peak, k as f64 + t);
            }
            parts.push(mixed(&c, a.len(), |scale| {
                let by = scale.sqrt();
                let shrunk = |v: &[f64]| v.iter().map(|x| x / by).collect::<Vec<f64>>();
                segment(&shrunk(&a), &shrunk(&d)).0
            }));
        }
        if parts.is_empty() {
            return Ok((f64::NEG_INFINITY, 0.0));
        }
        Ok((ln_mean(&parts), at))
    }
}

fn less(y: &[f64], s: &[f64]) -> Vec<f64> {
    y.iter().zip(s).map(|(y, s)| y - s).collect()
}

/// ln of a normal density whose variances are now and then larger; `exponent` of a scale is what stands beside the norm.
fn mixed(c: &Cholesky, n: usize, exponent: impl Fn(f64) -> f64) -> f64 {
    let norm = -0.5 * (c.ln_det() + n as f64 * std::f64::consts::TAU.ln());
    let parts = TAILS
        .map(|(scale, often)| often.ln() + norm - 0.5 * n as f64 * scale.ln() + exponent(scale));
    ln_mean(&parts) + (parts.len() as f64).ln()
}

/// Two faults at once: every pair of a likely one with another, the consequences added.
fn pairs(
    case: &Case,
    scene: &Scene<'_>,
    nodes: &[Vec<Vec<f64>>],
    singles: &[Ranked],
) -> Result<Vec<Ranked>, StatsError> {
    // A fault without a consequence on what was observed says nothing beside another one.
    let calm = Cholesky::new(scene.v)?;
    let speaks = |k: usize| {
        nodes.get(k).is_some_and(|n| {
            n.iter().any(|s| {
                let z = calm.whiten(s);
                dot(&z, &z) > INDISTINCT
            })
        })
    };
    let speaking: Vec<bool> = (0..nodes.len()).map(speaks).collect();
    let real = |k: usize| {
        case.faults.get(k).is_some_and(|f| f.key != "sound")
            && speaking.get(k).copied().unwrap_or(false)
    };
    let mut likely: Vec<&Ranked> = singles
        .iter()
        .filter(|r| r.fault.is_some_and(real))
        .collect();
    likely.sort_by(|a, b| b.ln_likelihood.total_cmp(&a.ln_likelihood));
    let firsts: Vec<usize> = likely.iter().filter_map(|r| r.fault).take(PAIRED).collect();
    let weight: f64 = case
        .faults
        .iter()
        .filter(|f| f.key != "sound")
        .map(|f| f.weight)
        .sum();
    let mut out: Vec<Ranked> = Vec::new();
    for (i, first) in firsts.iter().enumerate() {
        for (second, f) in case.faults.iter().enumerate() {
            // Each pair once.
            if !real(second) || second == *first || firsts.iter().take(i).any(|x| *x == second) {
                continue;
            }
            let (Some(a), Some(b)) = (nodes.get(*first), nodes.get(second)) else {
                continue;
            };
            let (mut parts, mut best) = (Vec::new(), (f64::NEG_INFINITY, 0.0, 0.0));
            for (k, size) in a.iter().enumerate() {
                let both: Vec<Vec<f64>> = b
                    .iter()
                    .map(|s| s.iter().zip(size).map(|(x, y)| x + y).collect())
                    .collect();
                let (ln, other) = scene.marginal(&both)?;
                if ln > best.0 {
                    best = (ln, k as f64, other);
                }
                parts.push(ln);
            }
            let of = case.faults.get(*first).map_or(0.0, |f| f.weight);
            out.push(Ranked {
                fault: Some(*first),
                second: Some((second, best.2)),
                probability: TWO_PRIOR * 2.0 * of * f.weight / (weight * weight),
                ln_likelihood: ln_mean(&parts),
                size: best.1,
            });
        }
    }
    Ok(out)
}

/// Something unknown moved one observable, or all of them, by amounts that nothing foretells.
fn none_of_these(case: &Case, used: &[usize], extra: &[f64], y: &[f64]) -> Result<f64, StatsError> {
    let width = |i: usize| {
        let o = &case.observables[used[i]];
        let own: f64 = o.effects.iter().map(|e| e * e).sum::<f64>() + o.u * o.u;
        NONE_WIDTH * NONE_WIDTH * own.max(1e-6)
    };
    let mut parts = Vec::new();
    let mut with = |moved: &dyn Fn(usize) -> bool| -> Result<(), StatsError> {
        let wide: Vec<f64> = extra
            .iter()
            .enumerate()
            .map(|(i, e)| if moved(i) { e + width(i) } else { *e })
            .collect();
        let c = Cholesky::new(&covariance(case, used, &wide))?;
        let z = c.whiten(y);
        let zz = dot(&z, &z);
        parts.push(mixed(&c, y.len(), |scale| -0.5 * zz / scale));
        Ok(())
    };
    for k in 0..used.len() {
        with(&|i| i == k)?;
        for j in 0..k {
            with(&|i| i == k || i == j)?;
        }
    }
    with(&|_| true)?;
    Ok(ln_mean(&parts))
}

/// The consequence at a size between nodes.
pub(super) fn at_size(nodes: &[Vec<f64>], size: f64) -> Vec<f64> {
    let k = (size.max(0.0) as usize).min(nodes.len().saturating_sub(1));
    let t = size - k as f64;
    match (nodes.get(k), nodes.get(k + 1)) {
        (Some(a), Some(b)) => a.iter().zip(b).map(|(a, b)| a + t * (b - a)).collect(),
        (Some(a), None) => a.clone(),
        _ => Vec::new(),
    }
}

/// Joins hypotheses whose consequences on what was observed are the same within its uncertainty: the consequence at the
/// most likely size of one, best imitated by the other.
fn groups(case: &Case, chol: &Cholesky, used: &[usize], ranked: &[Ranked]) -> Vec<Group> {
    let mut out: Vec<Group> = Vec::new();
    for (k, r) in ranked.iter().enumerate() {
        // Two at once stand alone.
        let fault = r
            .fault
            .filter(|_| r.second.is_none())
            .and_then(|f| case.faults.get(f));
        let home = fault
            .filter(|_| r.probability >= WORTH_TELLING)
            .and_then(|f| {
                let seen = pick(used, &at_size(&f.nodes, r.size));
                out.iter_mut().find(|g| {
                    let lead = g
                        .members
                        .first()
                        .and_then(|m| ranked.get(*m))
                        .filter(|r| r.second.is_none())
                        .and_then(|r| r.fault);
                    lead.and_then(|l| case.faults.get(l)).is_some_and(|lead| {
                        let nodes: Vec<Vec<f64>> =
                            lead.nodes.iter().map(|s| pick(used, s)).collect();
                        -2.0 * nearest(chol, &seen, &nodes) < INDISTINCT
                    })
                })
            });
        match home {
            Some(g) => {
                g.members.push(k);
                g.probability += r.probability;
            }
            None => out.push(Group {
                members: vec![k],
                probability: r.probability,
            }),
        }
    }
    out.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    out
}

/// Exponent of the normal at the best size.
fn nearest(chol: &Cholesky, y: &[f64], nodes: &[Vec<f64>]) -> f64 {
    let at = |left: &[f64]| {
        let z = chol.whiten(left);
        -0.5 * dot(&z, &z)
    };
    if let [one] = nodes {
        return at(&less(y, one));
    }
    nodes
        .windows(2)
        .filter_map(|w| {
            let [a, b] = w else { return None };
            let (r, d) = (chol.whiten(&less(y, a)), chol.whiten(&less(b, a)));
            let (_, t) = segment(&r, &d);
            let left: Vec<f64> = r.iter().zip(&d).map(|(r, d)| r - t * d).collect();
            Some(-0.5 * dot(&left, &left))
        })
        .fold(f64::NEG_INFINITY, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnose::{Fault, Observable};

    fn observable(id: &str) -> Observable {
        Observable {
            id: id.into(),
            label: id.into(),
            unit: "dB",
            healthy: 1.0,
            u: 1.0,
            effects: vec![],
        }
    }
    fn fault(key: &'static str, nodes: Vec<Vec<f64>>) -> Fault {
        Fault {
            key,
            label: key,
            remedy: "",
            weight: 1.0,
            nodes,
        }
    }

    #[test]
    fn a_segment_is_the_integral_that_a_sum_finds() {
        let (r, d): ([f64; 2], [f64; 2]) = ([1.3, -0.4], [2.0, 0.7]);
        let n = 200_000;
        let sum: f64 = (0..n)
            .map(|k| {
                let t = (f64::from(k) + 0.5) / f64::from(n);
                let z = [r[0] - t * d[0], r[1] - t * d[1]];
                (-0.5 * dot(&z, &z)).exp()
            })
            .sum::<f64>()
            / f64::from(n);
        assert!((segment(&r, &d).0 - sum.ln()).abs() < 1e-9);
    }

    #[test]
    fn two_points_follow_bayes_by_hand() {
        // One observable, u = 1 twice (spread and meter): y - f = 2 or 0, V = 2 or, with the consequence's own
        // discrepancy, 2.09; each density a mixture of three scales.
        let case = Case {
            observables: vec![observable("a")],
            faults: vec![
                fault("sound", vec![vec![0.0]]),
                fault("bad", vec![vec![2.0]]),
            ],
            actions: vec![],
        };
        let e = [Evidence {
            id: "a".into(),
            value: 3.0,
            u: 1.0,
        }];
        let d = diagnose(&case, &e).unwrap();
        let p = |k| {
            d.ranked
                .iter()
                .find(|r| r.fault == Some(k))
                .unwrap()
                .probability
        };
        let density = |r: f64, v: f64| -> f64 {
            [(1.0, 0.80), (4.0, 0.17), (16.0, 0.03)]
                .map(|(k, w): (f64, f64)| w * (-0.5 * r * r / (k * v)).exp() / (k * v).sqrt())
                .iter()
                .sum()
        };
        let by_hand = density(0.0, 2.0 + 0.09) / density(2.0, 2.0);
        assert!((p(1) / p(0) / by_hand - 1.0).abs() < 1e-6);
    }

    #[test]
    fn what_could_explain_anything_is_believed_less() {
        let narrow = vec![vec![1.9], vec![2.1]];
        let wide = vec![vec![-20.0], vec![20.0]];
        let case = Case {
            observables: vec![Observable {
                u: 0.1,
                ..observable("a")
            }],
            faults: vec![fault("narrow", narrow), fault("wide", wide)],
            actions: vec![],
        };
        let d = diagnose(
            &case,
            &[Evidence {
                id: "a".into(),
                value: 3.0,
                u: 0.1,
            }],
        )
        .unwrap();
        assert_eq!(d.ranked[0].fault, Some(0));
        assert!(d.ranked[0].probability > 0.9, "{d:?}");
    }

    #[test]
    fn twins_are_one_group_and_the_unexplained_is_told() {
        let nodes = |a: f64, b: f64| vec![vec![0.0, 0.0], vec![a, b]];
        let case = Case {
            observables: vec![
                Observable {
                    u: 0.1,
                    ..observable("a")
                },
                Observable {
                    u: 0.1,
                    ..observable("b")
                },
            ],
            faults: vec![
                fault("x", nodes(5.0, 1.0)),
                fault("y", nodes(5.0, -1.0)),
                fault("z", nodes(-5.0, 0.0)),
            ],
            actions: vec![],
        };
        let at = |id: &str, v: f64| Evidence {
            id: id.into(),
            value: 1.0 + v,
            u: 0.1,
        };
        let d = diagnose(&case, &[at("a", 3.0)]).unwrap();
        assert_eq!(d.groups[0].members.len(), 2, "{d:?}");
        let d = diagnose(&case, &[at("a", 3.0), at("b", 0.6)]).unwrap();
        assert_eq!((d.groups[0].members.len(), d.ranked[0].fault), (1, Some(0)));
        // b alone moves far: no fault of the list does that.
        let d = diagnose(&case, &[at("a", 0.0), at("b", 1.5)]).unwrap();
        assert_eq!(d.ranked[0].fault, None, "{d:?}");
        let d = diagnose(&case, &[at("a", 3.0), at("who", 0.6)]).unwrap();
        assert_eq!(d.left_out, ["who"]);
        assert!(diagnose(&case, &[at("a", f64::NAN)]).is_err());
    }
}
