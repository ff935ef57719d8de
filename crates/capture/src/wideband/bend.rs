//! Drift of the carrier while only header and pilots are known: frequency and its change by maximum likelihood, groups of
//! unknown phase each.

use slantpath_signal::{C32, C64};
use std::f64::consts::TAU;

/// How a carrier turns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bend {
    /// Turns a symbol at `middle`.
    pub turns: f64,
    /// Change of it, turns a symbol each symbol, and its standard uncertainty.
    pub drift: f64,
    pub u_drift: f64,
    /// The symbol at which `turns` holds.
    pub middle: f64,
}

/// Groups looked at, and the greatest change of frequency between the middle and either end, turns a symbol.
const GROUPS: usize = 600;
const MOST: f64 = 0.02;
/// Gain of log-likelihood over a steady carrier that makes a drift: four standard deviations.
const PROOF: f64 = 8.0;

/// The drift that groups (place of the middle, received times conjugate of sent) tell, when there is one beyond doubt.
pub(super) fn bend(groups: &[(f64, Vec<C64>)]) -> Option<Bend> {
    let (first, last) = (groups.first()?.0, groups.last()?.0);
    let (middle, half) = (0.5 * (first + last), 0.5 * (last - first));
    if groups.len() < 4 || half < 1000.0 {
        return None;
    }
    let stride = groups.len().div_ceil(GROUPS);
    let used: Vec<&(f64, Vec<C64>)> = groups.iter().step_by(stride).collect();
    let power = |t: f64, end: f64| -> f64 {
        used.iter()
            .map(|(place, q)| {
                let step = C64::cis(-TAU * (t + end * (place - middle) / half));
                let mut r = C64::new(1.0, 0.0);
                let mut sum = C64::default();
                for x in q {
                    sum += x * r;
                    r *= step;
                }
                sum.norm_sqr() / q.len().max(1) as f64
            })
            .sum()
    };
    // Up the hill from the best of some places; the likelihood's hill is a hundredth of a turn wide.
    let climb = |start: (f64, f64), drifts: bool| {
        let (mut at, mut top, mut h) = (start, power(start.0, start.1), 2e-3);
        while h > 1e-7 {
            let mut tries = vec![(at.0 - h, at.1), (at.0 + h, at.1)];
            if drifts {
                tries.extend([
                    (at.0, at.1 - h),
                    (at.0, at.1 + h),
                    (at.0 - h, at.1 - h),
                    (at.0 + h, at.1 + h),
                    (at.0 - h, at.1 + h),
                    (at.0 + h, at.1 - h),
                ]);
            }
            let best = tries
                .into_iter()
                .map(|p| (p, power(p.0, p.1)))
                .max_by(|a, b| a.1.total_cmp(&b.1));
            match best {
                Some((p, v)) if v > top => (at, top) = (p, v),
                _ => h *= 0.5,
            }
        }
        (at, top)
    };
    // The carrier known so far is that of the middle, or that of the first headers.
    let steps = (MOST / 4e-3) as i32;
    let start = (-steps..=steps)
        .map(|k| 4e-3 * f64::from(k))
        .flat_map(|end| [(0.0, end), (end, end)])
        .map(|p| (p, power(p.0, p.1)))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let (at, top) = climb(start.0, true);
    let (_, steady) = climb((0.0, 0.0), false);
    // Noise a symbol with this drift taken off.
    let total: f64 = used.iter().flat_map(|(_, q)| q).map(C64::norm_sqr).sum();
    let free = used.iter().map(|(_, q)| q.len() as f64 - 1.0).sum::<f64>();
    let noise = ((total - top) / free.max(1.0)).max(1e-6 * total / free.max(1.0));
    if top - steady < PROOF * noise || at.1.abs() > 1.2 * MOST {
        return None;
    }
    // Curvature of the log-likelihood at its top.
    let h = 2e-4;
    let curve = (2.0 * top - power(at.0, at.1 - h) - power(at.0, at.1 + h)) / (h * h * noise);
    Some(Bend {
        turns: at.0,
        drift: at.1 / half,
        u_drift: curve.max(1e-12).powf(-0.5) / half,
        middle,
    })
}

/// Takes frequency and drift off symbols.
pub(super) fn straighten(z: &mut [C32], b: &Bend) {
    for (k, x) in z.iter_mut().enumerate() {
        let d = k as f64 - b.middle;
        let r = C64::cis(-TAU * (((b.turns + 0.5 * b.drift * d) * d) % 1.0));
        *x *= C32::new(r.re as f32, r.im as f32);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_stats::stream::{named_stream, normal, uniform};

    /// Headers of unit power every 8000 symbols, of any phase, `turns` in the middle and `end` more at the end.
    fn groups(seed: u64, rho: f64, turns: f64, end: f64) -> Vec<(f64, Vec<C64>)> {
        let mut rng = named_stream(seed, "bend", 0);
        let s = (0.5 / rho).sqrt();
        (0..50)
            .map(|g| {
                let place = 8000.0 * f64::from(g);
                let t = turns + end * (place / 196_000.0 - 1.0);
                let phase = uniform(&mut rng);
                let q = (0..90)
                    .map(|i| {
                        C64::cis(TAU * (phase + t * f64::from(i)))
                            + C64::new(s * normal(&mut rng), s * normal(&mut rng))
                    })
                    .collect();
                (place, q)
            })
            .collect()
    }

    #[test]
    fn a_drift_is_told_and_a_steady_carrier_has_none() {
        for (seed, rho, turns, end) in [
            (1, 1.0, 1e-3, 4e-3),
            (2, 10.0, -0.01, -0.012),
            (3, 3.0, 0.0, 2e-3),
        ] {
            let b = bend(&groups(seed, rho, turns, end)).expect("a drift");
            // Bound of a frequency from 50 groups of 90 of unknown phase, three times over (Rife and Boorstyn 1974).
            let u = (6.0 / (rho * 90f64.powi(3) * 50.0)).sqrt() / TAU * (1.0 + 0.5 / rho).sqrt();
            assert!((b.turns - turns).abs() < 4.0 * u, "{b:?}");
            assert!(
                (b.drift * 196_000.0 - end).abs() < 4.0 * 3f64.sqrt() * u,
                "{b:?}"
            );
            let ratio = b.u_drift * 196_000.0 / (3f64.sqrt() * u);
            assert!((0.6..1.6).contains(&ratio), "{ratio}");
        }
        for seed in 10..30 {
            assert_eq!(bend(&groups(seed, 1.0, 1e-3, 0.0)), None, "{seed}");
        }
    }
}
