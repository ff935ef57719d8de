//! Change-points: since when, by how much, and does it come back.
//!
//! Sequential test by the generalised likelihood ratio (Lorden 1971; Willsky and Jones 1976; Basseville and Nikiforov,
//! Detection of Abrupt Changes, chapter 2.4.3; from memory): at each value, every recent moment is tried as the moment of
//! a step, in a window that reaches back over a reference. Scatter is autoregressive ([`Scatter`]) and learned from the
//! series itself; values are drawn in to three standard deviations of the reference, so that one wild day raises nothing;
//! a slow slope of limited steepness (season, growth of a hedge) is fitted beside the step, lest it be taken for one. The
//! threshold is calibrated by simulation (`tests/health.rs`); nothing later than a value decides whether it raises an
//! alarm, so that running the watch again over the same entries tells the same story.

use super::Entry;
use super::noise::{Scatter, WINSOR};
use slantpath_stats::robust::median;

/// How a change goes on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Course {
    /// It stays.
    Stays,
    /// It goes back as an exponential with this time constant (unit of the times).
    Decays {
        /// Time constant.
        constant: f64,
    },
    /// It came back at this time.
    Returned {
        /// When.
        at: f64,
    },
}

/// A change of level.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// First value of the new level: most likely time.
    pub began: f64,
    /// 95 % interval of that time.
    pub interval: (f64, f64),
    /// When there was evidence enough.
    pub raised: f64,
    /// New level less old; of one that decays, at its beginning.
    pub size: f64,
    /// Standard uncertainty of the size.
    pub u: f64,
    /// Size over uncertainty when it was raised, as of a normal deviate.
    pub strength: f64,
    /// How it went on.
    pub course: Course,
}

/// Something logged beside the series that moves it a little: temperature, whether it rained that day.
#[derive(Debug, Clone, PartialEq)]
pub struct Covariate {
    /// One value for each entry; not finite where nothing was logged.
    pub values: Vec<f64>,
    /// Standard deviation of its effect per unit before the data say anything.
    pub u: f64,
}

/// How to look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Normal deviate that raises an alarm.
    pub threshold: f64,
    /// Values of reference before the moments tried.
    pub reference: usize,
    /// Latest values tried as moments of change.
    pub recent: usize,
    /// Values before the first alarm can be raised.
    pub learning: usize,
    /// Values after a change before it can be believed.
    pub least: usize,
    /// Standard deviation of the slope that is no change, per unit of time.
    pub slope: f64,
    /// How far from the reference a value counts in full, standard deviations.
    pub clip: f64,
    /// Smaller changes of level are not told, in the series' unit.
    pub smallest: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            threshold: 4.2,
            reference: 90,
            recent: 30,
            learning: 25,
            least: 5,
            // An annual sine of 0.1 dB is as steep.
            slope: 0.0017,
            clip: 3.5,
            smallest: 0.18,
        }
    }
}

/// Values of earlier segments from which the scatter is learned, at most.
const MEMORY: usize = 365;
/// Newest values that take no part in learning the scatter.
const APART: usize = 10;
/// Scatter and effects are learned anew after so many values.
const LEARN_EVERY: usize = 4;

/// Finds the changes. `restarts` are times at which the level may have changed for a known reason (a part was changed):
/// levels before and after are not compared.
///
/// Covariates are taken out by their effects on earlier values only.
pub fn changes(
    entries: &[Entry],
    covariates: &[Covariate],
    restarts: &[f64],
    s: &Settings,
) -> Vec<Change> {
    let mut out: Vec<Change> = Vec::new();
    // Residuals about the levels found so far, for the scatter.
    let mut begin = 0usize;
    let mut residual: Vec<f64> = vec![0.0; entries.len()];
    let mut settled = 0usize;
    let mut restarts: Vec<f64> = restarts.to_vec();
    restarts.sort_by(f64::total_cmp);
    let mut next_restart = restarts.iter().copied().peekable();
    let mut known: Option<(usize, usize, Calm)> = None;
    let around = Around {
        entries,
        covariates,
        s,
    };
    let mut n = 0usize;
    while n < entries.len() {
        let Some(now) = entries.get(n) else { break };
        while next_restart.peek().is_some_and(|r| *r <= now.t) {
            settle(entries, &mut residual, begin, n, &mut settled);
            begin = n;
            next_restart.next();
        }
        let calm = match known.take() {
            Some((b, k, c)) if b == begin && n < k + LEARN_EVERY => Some((b, k, c)),
            _ => around
                .learn(&residual, begin, n, settled)
                .map(|c| (begin, n, c)),
        };
        let found = calm
            .as_ref()
            .and_then(|c| around.look(&c.2, begin, n, settled));
        known = calm;
        if let Some(found) = found {
            let at = found.at;
            settle(entries, &mut residual, begin, at, &mut settled);
            out.push(found.change);
            begin = at;
        }
        n += 1;
    }
    courses(entries, &restarts, out, s)
}

/// Fixes residuals of a finished segment about its median.
fn settle(entries: &[Entry], residual: &mut [f64], begin: usize, end: usize, settled: &mut usize) {
    let Some(part) = entries.get(begin..end) else {
        return;
    };
    let values: Vec<f64> = part.iter().map(|e| e.value).collect();
    let Some(level) = median(&values) else { return };
    for (r, v) in residual.iter_mut().skip(begin).zip(&values) {
        *r = v - level;
    }
    *settled = end;
}

struct Found {
    change: Change,
    at: usize,
}

/// What a test looks at.
struct Around<'a> {
    entries: &'a [Entry],
    covariates: &'a [Covariate],
    s: &'a Settings,
}

impl Around<'_> {
    /// Learns scatter and effects before value `n` of the segment that began at `begin`.
    fn learn(&self, residual: &[f64], begin: usize, n: usize, settled: usize) -> Option<Calm> {
        let entries = self.entries;
        let length = n + 1 - begin;
        if length < self.before(settled) + self.s.least {
            return None;
        }
        // From what is not under suspicion.
        let end = n + 1 - APART.min(length / 3).max(self.s.least);
        let own = begin.max(end.saturating_sub(self.s.reference))..end;
        let level = median(
            &entries
                .get(own)?
                .iter()
                .map(|e| e.value)
                .collect::<Vec<_>>(),
        )?;
        let from = end.saturating_sub(MEMORY);
        let mut left: Vec<f64> = (from..end)
            .map(|k| {
                if k >= begin {
                    entries.get(k).map_or(0.0, |e| e.value - level)
                } else {
                    residual.get(k).copied().unwrap_or(0.0)
                }
            })
            .collect();
        let effects = effects(self.covariates, from, &left);
        for (k, r) in left.iter_mut().enumerate() {
            *r -= effects.at(self.covariates, from + k);
        }
        let scatter = Scatter::of_residuals(entries.get(from..end)?, &left)?;
        Some(Calm { effects, scatter })
    }

    /// Values that a segment needs before a moment can be tried: the first has to learn how the series scatters, later
    /// ones know.
    fn before(&self, settled: usize) -> usize {
        if settled >= self.s.learning {
            self.s.least
        } else {
            self.s.learning
        }
    }

    /// The test at value `n` of the segment that began at `begin`.
    fn look(&self, calm: &Calm, begin: usize, n: usize, settled: usize) -> Option<Found> {
        let (entries, s) = (self.entries, self.s);
        let length = n + 1 - begin;
        let before = self.before(settled);
        if length < before + s.least {
            return None;
        }
        let Calm { effects, scatter } = calm;
        let first = begin.max((n + 1).saturating_sub(s.reference + s.recent));
        let window: Vec<Entry> = entries
            .get(first..=n)?
            .iter()
            .enumerate()
            .map(|(k, e)| Entry {
                value: e.value - effects.at(self.covariates, first + k),
                ..*e
            })
            .collect();
        let window = window.as_slice();
        // Level of the reference: of what is not under suspicion.
        let end = (n + 1 - APART.min(length / 3).max(s.least)).saturating_sub(first);
        let level = median(
            &window
                .get(..end)?
                .iter()
                .map(|e| e.value)
                .collect::<Vec<_>>(),
        )?;
        let z = ratios(window, level, scatter, s);
        // Earliest and latest moments that can be tried.
        let earliest = (n + 1)
            .saturating_sub(s.recent)
            .max(begin + before.min(length))
            - first;
        let latest = (n + 1 - s.least).checked_sub(first)?;
        let nu = (scatter.n as f64 * (1.0 - scatter.phi) / (1.0 + scatter.phi)).max(4.0);
        let tried = z.get(earliest..=latest)?;
        let (k, best) = tried
            .iter()
            .enumerate()
            .max_by(|a, b| a.1.z.abs().total_cmp(&b.1.z.abs()))?;
        let strength = as_normal(best.z, nu);
        if strength.abs() < s.threshold {
            return None;
        }
        // What the median of the new values is off by, nothing drawn in.
        let after: Vec<f64> = window
            .get(earliest + k..)?
            .iter()
            .map(|e| e.value)
            .collect();
        if (median(&after)? - level).abs() < s.smallest {
            return None;
        }
        let (from, to) = interval(tried)?;
        let time = |i: usize| entries.get(first + earliest + i).map_or(f64::NAN, |e| e.t);
        Some(Found {
            at: first + earliest + k,
            change: Change {
                began: time(k),
                // A step lies between the last old value and the first new one.
                interval: (time(from.saturating_sub(1)), time(to)),
                raised: entries.get(n)?.t,
                size: best.size,
                u: best.u,
                strength,
                course: Course::Stays,
            },
        })
    }
}

/// 95 % of the moments by likelihood, exp(z^2/2) beside one another, the size integrated out: positions of the ends.
fn interval(tried: &[Ratio]) -> Option<(usize, usize)> {
    let top = tried.iter().map(|r| r.z * r.z).fold(0.0, f64::max);
    let weights: Vec<f64> = tried
        .iter()
        .map(|r| (0.5 * (r.z * r.z - top)).exp())
        .collect();
    let total: f64 = weights.iter().sum();
    let end = |order: Vec<usize>| {
        let mut sum = 0.0;
        order.into_iter().find(|i| {
            sum += weights.get(*i).copied().unwrap_or(0.0);
            sum >= 0.025 * total
        })
    };
    Some((
        end((0..weights.len()).collect())?,
        end((0..weights.len()).rev().collect())?,
    ))
}

/// The moment of a change anew, with what came after it: values between `from` and `to`, up to sixty on either side.
fn dated(
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

/// How the series is when nothing changes.
struct Calm {
    effects: Effects,
    scatter: Scatter,
}

/// Effects of covariates, each about its mean.
struct Effects(Vec<(f64, f64)>);

impl Effects {
    /// What the covariates do to value `k`.
    fn at(&self, covariates: &[Covariate], k: usize) -> f64 {
        self.0
            .iter()
            .zip(covariates)
            .filter_map(|((beta, mean), c)| {
                let x = c.values.get(k).copied().filter(|x| x.is_finite())?;
                Some(beta * (x - mean))
            })
            .sum()
    }
}

/// Effects by least squares with their priors, one covariate after the other until they stand still (Gauss and Seidel),
/// values drawn in to three scaled median deviations.
fn effects(covariates: &[Covariate], from: usize, residual: &[f64]) -> Effects {
    let mut out = Effects(vec![(0.0, 0.0); covariates.len()]);
    if covariates.is_empty() || residual.len() < 15 {
        return out;
    }
    let sigma = slantpath_stats::robust::scaled_mad(residual)
        .unwrap_or(0.0)
        .max(1e-9);
    for (c, o) in covariates.iter().zip(&mut out.0) {
        let x: Vec<f64> = (0..residual.len())
            .filter_map(|k| c.values.get(from + k).copied().filter(|x| x.is_finite()))
            .collect();
        o.1 = x.iter().sum::<f64>() / x.len().max(1) as f64;
    }
    let drawn: Vec<f64> = residual
        .iter()
        .map(|r| r.clamp(-WINSOR * sigma, WINSOR * sigma))
        .collect();
    let middle = drawn.iter().sum::<f64>() / drawn.len() as f64;
    for _ in 0..4 {
        for (j, c) in covariates.iter().enumerate() {
            let Some((own, mean)) = out.0.get(j).copied() else {
                continue;
            };
            let (mut xx, mut xy) = ((sigma / c.u).powi(2), 0.0);
            for (k, r) in drawn.iter().enumerate() {
                let Some(x) = c.values.get(from + k).copied().filter(|x| x.is_finite()) else {
                    continue;
                };
                let x = x - mean;
                let others = out.at(covariates, from + k) - own * x;
                xx += x * x;
                xy += x * (r - middle - others);
            }
            if let Some(o) = out.0.get_mut(j) {
                o.0 = xy / xx;
            }
        }
    }
    out
}

#[derive(Debug, Clone, Copy)]
struct Ratio {
    z: f64,
    size: f64,
    u: f64,
}

/// For every position of the window as the first value of a new level: estimate of the step beside a constant and a slope
/// of limited steepness, by generalised least squares under the autoregression.
fn ratios(window: &[Entry], level: f64, scatter: &Scatter, s: &Settings) -> Vec<Ratio> {
    let n = window.len();
    let sigma = scatter.sigma;
    let t0 = window.first().map_or(0.0, |e| e.t);
    // Whitening: each value less what its forerunner foretells, over what is left.
    let mut rows: Vec<(f64, f64, f64, f64)> = Vec::with_capacity(n);
    let mut before: Option<(f64, f64, f64)> = None;
    for e in window {
        let y = (e.value - level).clamp(-s.clip * sigma, s.clip * sigma);
        let t = e.t - t0;
        match before {
            None => rows.push((1.0 / sigma, t / sigma, y / sigma, 1.0 / sigma)),
            Some((t1, y1, _)) => {
                let rho = scatter.rho(t - t1);
                let w = 1.0 / (sigma * (1.0 - rho * rho).max(1e-6).sqrt());
                rows.push(((1.0 - rho) * w, (t - rho * t1) * w, (y - rho * y1) * w, w));
            }
        }
        before = Some((t, y, 0.0));
    }
    let (mut a11, mut a12, mut a22, mut b1, mut b2) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (one, t, y, _) in &rows {
        a11 += one * one;
        a12 += one * t;
        a22 += t * t;
        b1 += one * y;
        b2 += t * y;
    }
    a22 += s.slope.max(1e-12).powi(-2);
    let det = a11 * a22 - a12 * a12;
    let mut out = vec![
        Ratio {
            z: 0.0,
            size: 0.0,
            u: f64::INFINITY
        };
        n
    ];
    // The step's column, whitened: its first value stands alone, later ones as the constant does.
    let (mut d1, mut d2, mut dy, mut dd) = (0.0, 0.0, 0.0, 0.0);
    for k in (0..n).rev() {
        let Some((one, t, y, w)) = rows.get(k) else {
            continue;
        };
        let (f1, f2, fy, fd) = (d1 + w * one, d2 + w * t, dy + w * y, dd + w * w);
        let left = fd - (f1 * (a22 * f1 - a12 * f2) + f2 * (a11 * f2 - a12 * f1)) / det;
        let along = fy - (f1 * (a22 * b1 - a12 * b2) + f2 * (a11 * b2 - a12 * b1)) / det;
        if left > 1e-9
            && let Some(r) = out.get_mut(k)
        {
            *r = Ratio {
                z: along / left.sqrt(),
                size: along / left,
                u: left.sqrt().recip(),
            };
        }
        d1 += one * one;
        d2 += one * t;
        dy += one * y;
        dd += one * one;
    }
    out
}

/// A Student deviate as the normal one of about the same probability (Abramowitz and Stegun 26.7.8, from memory).
fn as_normal(t: f64, nu: f64) -> f64 {
    t * (1.0 - 1.0 / (4.0 * nu)) / (1.0 + t * t / (2.0 * nu)).sqrt()
}

/// Sizes anew with all values, steps back joined to what they undo, decays recognised.
fn courses(entries: &[Entry], restarts: &[f64], found: Vec<Change>, s: &Settings) -> Vec<Change> {
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

/// Whether the values after a change are an exponential back to the old level rather than a step (and a step back): time
/// constant, size at the beginning and its uncertainty. Sums of squares of both are compared with the penalty of a
/// parameter (Schwarz 1978).
fn decay(after: &[Entry], old: f64, c: &Change, back: bool) -> Option<(f64, f64, f64)> {
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

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_stats::stream::{named_stream, normal};

    fn series(seed: u64, n: u32, shape: impl Fn(f64) -> f64) -> Vec<Entry> {
        let mut rng = named_stream(seed, "changes", 0);
        let mut x = 0.0;
        (0..n)
            .map(|k| {
                x = 0.3 * x + 0.08 * normal(&mut rng);
                let t = f64::from(k);
                Entry {
                    t,
                    value: shape(t) + x,
                    u: 0.05,
                }
            })
            .collect()
    }

    #[test]
    fn a_step_is_found_with_date_and_size() {
        let e = series(1, 200, |t| if t < 120.0 { 1.0 } else { 0.6 });
        let c = changes(&e, &[], &[], &Settings::default());
        assert_eq!(c.len(), 1, "{c:?}");
        assert!(
            (c[0].size + 0.4).abs() < 3.0 * c[0].u && c[0].u < 0.05,
            "{c:?}"
        );
        assert!(
            c[0].interval.0 <= 120.0
                && c[0].interval.1 >= 120.0
                && (c[0].began - 120.0).abs() <= 2.0
        );
        assert!(c[0].raised < 130.0);
        assert_eq!(c[0].course, Course::Stays);
    }

    #[test]
    fn a_known_swap_is_no_change() {
        let e = series(2, 200, |t| if t < 120.0 { 1.0 } else { 2.6 });
        assert!(changes(&e, &[], &[119.5], &Settings::default()).is_empty());
    }

    #[test]
    fn one_wild_day_and_a_slow_season_raise_nothing() {
        let e = series(3, 700, |t| {
            let wild = if (t as i64) % 97 == 11 { -4.0 } else { 0.0 };
            0.1 * (t / 58.1).sin() + wild
        });
        assert!(changes(&e, &[], &[], &Settings::default()).is_empty());
    }

    #[test]
    fn what_dries_is_told_from_what_stays() {
        let e = series(4, 200, |t| {
            if t < 100.0 {
                0.0
            } else {
                -1.5 * (-(t - 100.0) / 8.0).exp()
            }
        });
        let c = changes(&e, &[], &[], &Settings::default());
        assert_eq!(c.len(), 1, "{c:?}");
        let Course::Decays { constant } = c[0].course else {
            panic!("{c:?}")
        };
        assert!(
            (constant - 8.0).abs() < 3.0 && (c[0].size + 1.5).abs() < 0.3,
            "{c:?}"
        );
        let e = series(5, 200, |t| {
            if (100.0..125.0).contains(&t) {
                -1.0
            } else {
                0.0
            }
        });
        let c = changes(&e, &[], &[], &Settings::default());
        assert_eq!(c.len(), 1, "{c:?}");
        assert!(
            matches!(c[0].course, Course::Returned { at } if (at - 125.0).abs() < 2.0),
            "{c:?}"
        );
    }

    #[test]
    fn nothing_later_changes_what_was_raised() {
        let e = series(6, 200, |t| if t < 120.0 { 1.0 } else { 0.6 });
        let all = changes(&e, &[], &[], &Settings::default());
        let raised = all[0].raised;
        let upto: Vec<Entry> = e.iter().copied().filter(|x| x.t <= raised).collect();
        let now = changes(&upto, &[], &[], &Settings::default());
        assert_eq!(now[0].raised, raised);
        assert!((now[0].began - all[0].began).abs() <= 3.0);
        let before: Vec<Entry> = e.iter().copied().filter(|x| x.t < raised).collect();
        assert!(changes(&before, &[], &[], &Settings::default()).is_empty());
    }

    #[test]
    fn short_and_empty_series_say_nothing() {
        assert!(changes(&[], &[], &[], &Settings::default()).is_empty());
        assert!(changes(&series(7, 20, |_| 0.0), &[], &[3.0], &Settings::default()).is_empty());
    }
}
