//! Dates and sizes with all values, and how a change goes on.

use super::look::{interval, ratios};
use super::{Change, Course, Settings};
use crate::health::Entry;
use crate::health::noise::Scatter;
use slantpath_stats::robust::median;

/// Sizes anew with all values, steps back joined to what they undo, decays recognised.
pub(super) fn courses(
    entries: &[Entry],
    restarts: &[f64],
    found: Vec<Change>,
    s: &Settings,
) -> Vec<Change> {
    let mut out: Vec<Change> = Vec::new();
    let level = |from: f64, to: f64| -> Option<(f64, f64)> {
        let v: Vec<f64> = entries
            .iter()
            .filter(|e| e.t >= from && e.t < to)
            .map(|e| e.value)
            .collect();
        let m = median(&v)?;
        let mad = slantpath_stats::robust::scaled_mad(&v).unwrap_or(0.0);
        Some((m, 1.2533 * mad / (v.len() as f64).sqrt()))
    };
    // Sizes as the values say them: what raised the alarm was drawn in.
    let mut found = found;
    for k in 0..found.len() {
        let at = |i: Option<usize>| i.and_then(|i| found.get(i)).map(|c| c.began);
        let Some(began) = at(Some(k)) else { continue };
        let fence = |x: &f64| *x <= began;
        let from = restarts
            .iter()
            .copied()
            .filter(fence)
            .chain(at(k.checked_sub(1)))
            .fold(f64::NEG_INFINITY, f64::max);
        let to = restarts
            .iter()
            .copied()
            .filter(|x| *x > began)
            .chain(at(Some(k + 1)))
            .fold(f64::INFINITY, f64::min);
        let Some(c) = found.get_mut(k) else { continue };
        if let Some((at, interval)) = dated(entries, c, from, to, s) {
            (c.began, c.interval) = (at, interval);
        }
        if let (Some((a, ua)), Some((b, ub))) = (level(from, c.began), level(c.began, to)) {
            c.size = b - a;
            c.u = ua.hypot(ub).max(0.3 * c.u);
        }
    }
    let mut k = 0;
    while let Some(c) = found.get(k) {
        let mut c = c.clone();
        let earlier = out
            .last()
            .map_or(f64::NEG_INFINITY, |o: &Change| match o.course {
                Course::Returned { at } => at,
                _ => o.began,
            });
        let floor = restarts
            .iter()
            .copied()
            .filter(|r| *r <= c.began)
            .fold(earlier, f64::max);
        // Changes that follow and lead back towards the old level.
        let mut last = k;
        let mut left = c.size;
        while let Some(next) = found.get(last + 1) {
            let crossed = restarts.iter().any(|r| *r > c.began && *r <= next.began);
            if crossed
                || next.size * c.size >= 0.0
                || next.size.abs() > 1.5 * left.abs() + 2.0 * next.u
            {
                break;
            }
            left += next.size;
            last += 1;
            if left * c.size <= 0.0 || left.abs() < 3.0 * next.u {
                break;
            }
        }
        let end = found
            .get(last + 1)
            .map(|x| x.began)
            .into_iter()
            .chain(restarts.iter().copied().filter(|r| *r > c.began))
            .fold(f64::INFINITY, f64::min);
        let old = level(floor, c.began);
        if let Some((a, ua)) = old {
            let after: Vec<Entry> = entries
                .iter()
                .copied()
                .filter(|e| e.t >= c.began && e.t < end)
                .collect();
            if let Some((constant, size, u)) = decay(&after, a, &c, last > k) {
                c.course = Course::Decays { constant };
                c.size = size;
                c.u = u.hypot(ua);
            } else if last > k
                && let Some(back) = found.get(last)
            {
                let now = level(back.began, end);
                let returned = now.is_some_and(|(m, um)| {
                    (m - a).abs() < (3.0 * um.hypot(ua)).max(0.35 * c.size.abs())
                });
                if returned {
                    c.course = Course::Returned { at: back.began };
                } else {
                    last = k;
                }
            }
        }
        out.push(c);
        k = last.max(k) + 1;
    }
    out
}

/// The moment of a change anew, with what came after it: values between `from` and `to`, up to sixty on either side.
pub(super) fn dated(
    entries: &[Entry],
    c: &Change,
    from: f64,
    to: f64,
    s: &Settings,
) -> Option<(f64, (f64, f64))> {
    const SIDE: usize = 60;
    let a = entries.partition_point(|e| e.t < from);
    let k = entries.partition_point(|e| e.t < c.began);
    let z = entries.partition_point(|e| e.t < to);
    let window = entries.get(a.max(k.saturating_sub(SIDE))..z.min(k + SIDE))?;
    let (before, after): (Vec<Entry>, Vec<Entry>) = window.iter().partition(|e| e.t < c.began);
    if before.len() < s.least || after.len() < s.least {
        return None;
    }
    let of = |v: &[Entry]| median(&v.iter().map(|e| e.value).collect::<Vec<_>>());
    let (old, new) = (of(&before)?, of(&after)?);
    let residual: Vec<f64> = window
        .iter()
        .map(|e| e.value - if e.t < c.began { old } else { new })
        .collect();
    let scatter = Scatter::of_residuals(window, &residual)?;
    let wide = Settings {
        clip: s.clip + 0.5 * (new - old).abs() / scatter.sigma,
        ..*s
    };
    let all = ratios(window, 0.5 * (old + new), &scatter, &wide);
    let tried = all.get(2..all.len().saturating_sub(2))?;
    let best = tried
        .iter()
        .enumerate()
        .max_by(|a, b| a.1.z.abs().total_cmp(&b.1.z.abs()))?
        .0;
    let (lo, hi) = interval(tried)?;
    let time = |i: usize| window.get(i).map_or(f64::NAN, |e| e.t);
    Some((time(best + 2), (time(lo + 1), time(hi + 2))))
}

/// Whether the values after a change are an exponential back to the old level rather than a step (and a step back): time
/// constant, size at the beginning and its uncertainty. Sums of squares of both are compared with the penalty of a
/// parameter (Schwarz 1978).
pub(super) fn decay(after: &[Entry], old: f64, c: &Change, back: bool) -> Option<(f64, f64, f64)> {
    let n = after.len() as f64;
    let span = after.last()?.t - c.began;
    if after.len() < 8 || span <= 0.0 {
        return None;
    }
    let values: Vec<f64> = after.iter().map(|e| e.value).collect();
    let m = median(&values)?;
    let mut flat: f64 = after.iter().map(|e| (e.value - m).powi(2)).sum();
    let mut parameters = 1.0;
    if back {
        // The best single step back to the old level.
        for k in 3..after.len().saturating_sub(2) {
            let head = values.get(..k)?;
            let h = median(head)?;
            let sum: f64 = head.iter().map(|v| (v - h).powi(2)).sum::<f64>()
                + values
                    .get(k..)?
                    .iter()
                    .map(|v| (v - old).powi(2))
                    .sum::<f64>();
            if sum < flat {
                flat = sum;
                parameters = 2.0;
            }
        }
    }
    let mut best: Option<(f64, f64, f64, f64)> = None;
    for i in 0..60 {
        let constant = span * 0.02 * (100f64).powf(f64::from(i) / 59.0);
        let (mut xx, mut xy) = (0.0, 0.0);
        for e in after {
            let x = (-(e.t - c.began) / constant).exp();
            xx += x * x;
            xy += x * (e.value - old);
        }
        let size = xy / xx;
        let sum: f64 = after
            .iter()
            .map(|e| (e.value - old - size * (-(e.t - c.began) / constant).exp()).powi(2))
            .sum();
        if best.is_none_or(|b| sum < b.3) {
            let s2 = sum / (n - 2.0).max(1.0);
            // The time constant takes part in it, and values that follow one another are alike.
            best = Some((constant, size, 2.5 * (s2 / xx).sqrt(), sum));
        }
    }
    let (constant, size, u, sum) = best?;
    let gain = n * (flat.max(1e-12) / sum.max(1e-12)).ln() - (2.0 - parameters) * n.ln();
    // Slower than the time watched: it has not begun to come back.
    (gain > 6.0 && constant < span && size * c.size > 0.0).then_some((constant, size, u))
}
