//! What moves with the satellite is not the station.
//!
//! Every signal of the satellite seen against the station's own noise (a beacon's C/N0 without the satellite's noise, the
//! satellite's noise itself) rises and falls with the station's G/T; what one of them does alone is the satellite's doing.
//! All of them moving alike is the station, the path, or a satellite that changes everything at once, which only a control
//! receiver can tell.

use super::Entry;
use super::changes::Change;
use super::noise::Scatter;
use slantpath_stats::intervals::chi2_exceeded;
use slantpath_stats::robust::{median, scaled_mad};

/// All sources at one time: value and standard uncertainty, or nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct Sight {
    /// When.
    pub t: f64,
    /// By source, in one order for all sights.
    pub values: Vec<Option<(f64, f64)>>,
}

/// Sources parted.
#[derive(Debug, Clone, PartialEq)]
pub struct Separated {
    /// What they have in common, about zero.
    pub common: Vec<Entry>,
    /// What each does beside it, about zero; empty for one source alone.
    pub own: Vec<Vec<Entry>>,
}

/// Parts the sources: each about its median, weighted by its uncertainty and by how much it moves alone.
pub fn separate(sights: &[Sight]) -> Separated {
    let m = sights.iter().map(|s| s.values.len()).max().unwrap_or(0);
    let of = |s: &Sight, i: usize| s.values.get(i).copied().flatten();
    let middle: Vec<f64> = (0..m)
        .map(|i| {
            let v: Vec<f64> = sights
                .iter()
                .filter_map(|s| of(s, i))
                .map(|v| v.0)
                .collect();
            median(&v).unwrap_or(0.0)
        })
        .collect();
    let mut alone = vec![0.0; m];
    let mut out = Separated {
        common: Vec::new(),
        own: vec![Vec::new(); m],
    };
    // First with equal trust, then with what the first round showed of each source.
    for round in 0..3 {
        out.common.clear();
        out.own.iter_mut().for_each(Vec::clear);
        for s in sights {
            let seen: Vec<(usize, f64, f64, f64)> = (0..m)
                .filter_map(|i| {
                    let (v, u) = of(s, i)?;
                    let v2 = u * u + alone.get(i)?;
                    Some((i, v - middle.get(i)?, u, 1.0 / v2.max(1e-8)))
                })
                .filter(|x| x.1.is_finite() && x.3.is_finite())
                .collect();
            let w: f64 = seen.iter().map(|x| x.3).sum();
            if w <= 0.0 {
                continue;
            }
            let mean = seen.iter().map(|x| x.3 * x.1).sum::<f64>() / w;
            out.common.push(Entry {
                t: s.t,
                value: mean,
                u: w.sqrt().recip(),
            });
            if seen.len() > 1 {
                for (i, x, u, _) in &seen {
                    if let Some(list) = out.own.get_mut(*i) {
                        list.push(Entry {
                            t: s.t,
                            value: x - mean,
                            u: *u,
                        });
                    }
                }
            }
        }
        if round < 2 {
            for (a, own) in alone.iter_mut().zip(&out.own) {
                let v: Vec<f64> = own.iter().map(|e| e.value).collect();
                let u2 = own.iter().map(|e| e.u * e.u).sum::<f64>() / own.len().max(1) as f64;
                let k = m as f64;
                // A source's own part of its distance from the mean of all.
                let mad = scaled_mad(&v).unwrap_or(0.0);
                *a = (mad * mad * k / (k - 1.0).max(1.0) - u2).max(1e-6);
            }
        }
    }
    out
}

/// Who moved.
#[derive(Debug, Clone, PartialEq)]
pub enum Mover {
    /// All sources alike: the station or the path.
    Station,
    /// These sources alone: the satellite.
    Satellite(Vec<usize>),
    /// The sources do not tell.
    Unclear,
}

/// How much each source moved at a change.
#[derive(Debug, Clone, PartialEq)]
pub struct Attribution {
    /// Source, size, standard uncertainty.
    pub sizes: Vec<(usize, f64, f64)>,
    /// Who it was.
    pub mover: Mover,
}

/// Values looked at on either side of a change.
const SIDE: usize = 30;
/// Sources whose steps differ by more than chance allows at this level do not move alike.
const ALIKE: f64 = 0.01;

/// Level after less level before, with the uncertainty of medians of autocorrelated values. Looks at up to 30 values on
/// each side of `began`, none before `not_before` or from `not_after` on.
pub fn step_of(
    entries: &[Entry],
    began: f64,
    not_before: f64,
    not_after: f64,
) -> Option<(f64, f64)> {
    let before: Vec<Entry> = entries
        .iter()
        .copied()
        .filter(|e| e.t >= not_before && e.t < began)
        .collect();
    let before = before.get(before.len().saturating_sub(SIDE)..)?;
    let after: Vec<Entry> = entries
        .iter()
        .copied()
        .filter(|e| e.t >= began && e.t < not_after)
        .take(SIDE)
        .collect();
    let side = |e: &[Entry]| -> Option<(f64, f64)> {
        let v: Vec<f64> = e.iter().map(|e| e.value).collect();
        let m = median(&v)?;
        let own = e.iter().map(|e| e.u).fold(0.0, f64::max);
        let (sigma, phi) = Scatter::learn(e).map_or((own.max(0.05), 0.35), |s| (s.sigma, s.phi));
        let n = (v.len() as f64 * (1.0 - phi) / (1.0 + phi)).max(1.0);
        Some((m, 1.2533 * sigma / n.sqrt()))
    };
    let (a, ua) = side(before)?;
    let (b, ub) = side(&after)?;
    Some((b - a, ua.hypot(ub)))
}

/// Who made a change: `sources` are the sights of each, binned; changes of other times bound what is looked at.
pub fn attribute(
    sources: &[Vec<Entry>],
    change: &Change,
    not_before: f64,
    not_after: f64,
) -> Attribution {
    let sizes: Vec<(usize, f64, f64)> = sources
        .iter()
        .enumerate()
        .filter_map(|(i, e)| {
            step_of(e, change.began, not_before, not_after).map(|(d, u)| (i, d, u))
        })
        .collect();
    let mover = if sizes.len() < 2 {
        Mover::Unclear
    } else if alike(&sizes) {
        Mover::Station
    } else {
        // Without which of them would the others have stood still?
        let still = |part: &[(usize, f64, f64)]| part.iter().all(|x| x.1.abs() < 3.0 * x.2);
        let mut moved: Vec<usize> = sizes
            .iter()
            .filter(|x| x.1.abs() >= 3.0 * x.2)
            .map(|x| x.0)
            .collect();
        let rest: Vec<(usize, f64, f64)> = sizes
            .iter()
            .copied()
            .filter(|x| !moved.contains(&x.0))
            .collect();
        if !rest.is_empty() && still(&rest) && !moved.is_empty() {
            moved.sort_unstable();
            Mover::Satellite(moved)
        } else {
            Mover::Unclear
        }
    };
    Attribution { sizes, mover }
}

fn alike(sizes: &[(usize, f64, f64)]) -> bool {
    let w: f64 = sizes.iter().map(|x| x.2.powi(-2)).sum();
    let mean = sizes.iter().map(|x| x.1 * x.2.powi(-2)).sum::<f64>() / w;
    let chi2: f64 = sizes.iter().map(|x| ((x.1 - mean) / x.2).powi(2)).sum();
    chi2_exceeded(chi2, (sizes.len() - 1) as f64).is_ok_and(|p| p > ALIKE)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::health::changes::{Settings, changes};
    use slantpath_stats::stream::{named_stream, normal};

    /// Two beacons and the satellite's noise; `moved` by how much each moves at day 100.
    fn sky(seed: u64, moved: [f64; 3]) -> Vec<Sight> {
        let mut rng = named_stream(seed, "sky", 0);
        (0..160)
            .map(|k| {
                let t = f64::from(k);
                let g = 0.05 * normal(&mut rng);
                let values = moved
                    .iter()
                    .map(|m| {
                        let step = if t >= 100.0 { *m } else { 0.0 };
                        Some((50.0 + g + step + 0.06 * normal(&mut rng), 0.03))
                    })
                    .collect();
                Sight { t, values }
            })
            .collect()
    }
    fn blame(moved: [f64; 3]) -> Option<Mover> {
        let s = sky(3, moved);
        let p = separate(&s);
        let sources: Vec<Vec<Entry>> = (0..3)
            .map(|i| {
                s.iter()
                    .filter_map(|x| {
                        let (value, u) = x.values[i]?;
                        Some(Entry { t: x.t, value, u })
                    })
                    .collect()
            })
            .collect();
        let c = changes(&p.common, &[], &[], &Settings::default());
        c.first()
            .map(|c| attribute(&sources, c, f64::NEG_INFINITY, f64::INFINITY).mover)
    }

    #[test]
    fn all_alike_is_the_station_and_one_alone_the_satellite() {
        assert_eq!(blame([-0.5, -0.5, -0.5]), Some(Mover::Station));
        assert_eq!(blame([0.0, -1.5, 0.0]), Some(Mover::Satellite(vec![1])));
        assert_eq!(blame([-1.5, -1.5, 0.0]), Some(Mover::Satellite(vec![0, 1])));
        assert_eq!(blame([0.0, 0.0, 0.0]), None);
    }

    #[test]
    fn a_wandering_source_gets_less_weight() {
        let mut rng = named_stream(9, "wander", 0);
        let s: Vec<Sight> = (0..300)
            .map(|k| Sight {
                t: f64::from(k),
                values: vec![
                    Some((0.02 * normal(&mut rng), 0.02)),
                    Some((0.5 * normal(&mut rng), 0.02)),
                    Some((0.02 * normal(&mut rng), 0.02)),
                ],
            })
            .collect();
        let p = separate(&s);
        let rms = (p.common.iter().map(|e| e.value * e.value).sum::<f64>() / 300.0).sqrt();
        assert!(rms < 0.05, "{rms}");
    }
}
