//! The test at one value: every recent moment as the moment of a step.

use super::effects::{Calm, effects};
use super::{Change, Course, Covariate, Settings};
use crate::health::Entry;
use crate::health::noise::Scatter;
use slantpath_stats::robust::median;

/// Values of earlier segments from which the scatter is learned, at most.
pub(super) const MEMORY: usize = 365;

/// Newest values that take no part in learning the scatter.
pub(super) const APART: usize = 10;

pub(super) struct Found {
    pub(super) change: Change,
    pub(super) at: usize,
}

/// What a test looks at.
pub(super) struct Around<'a> {
    pub(super) entries: &'a [Entry],
    pub(super) covariates: &'a [Covariate],
    pub(super) s: &'a Settings,
}

impl Around<'_> {
    /// Learns scatter and effects before value `n` of the segment that began at `begin`.
    pub(super) fn learn(
        &self,
        residual: &[f64],
        begin: usize,
        n: usize,
        settled: usize,
    ) -> Option<Calm> {
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
    pub(super) fn before(&self, settled: usize) -> usize {
        if settled >= self.s.learning {
            self.s.least
        } else {
            self.s.learning
        }
    }

    /// The test at value `n` of the segment that began at `begin`.
    pub(super) fn look(
        &self,
        calm: &Calm,
        begin: usize,
        n: usize,
        settled: usize,
    ) -> Option<Found> {
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

#[derive(Debug, Clone, Copy)]
pub(super) struct Ratio {
    pub(super) z: f64,
    pub(super) size: f64,
    pub(super) u: f64,
}

/// For every position of the window as the first value of a new level: estimate of the step beside a constant and a slope
/// of limited steepness, by generalised least squares under the autoregression.
pub(super) fn ratios(window: &[Entry], level: f64, scatter: &Scatter, s: &Settings) -> Vec<Ratio> {
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

/// 95 % of the moments by likelihood, exp(z^2/2) beside one another, the size integrated out: positions of the ends.
pub(super) fn interval(tried: &[Ratio]) -> Option<(usize, usize)> {
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

/// A Student deviate as the normal one of about the same probability (Abramowitz and Stegun 26.7.8, from memory).
pub(super) fn as_normal(t: f64, nu: f64) -> f64 {
    t * (1.0 - 1.0 / (4.0 * nu)) / (1.0 + t * t / (2.0 * nu)).sqrt()
}
