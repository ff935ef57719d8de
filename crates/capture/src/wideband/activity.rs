//! Whether a carrier's level stood still over the whole recording: it may come, go or change, and so may the gain.

use super::find::Found;
use slantpath_quantity::to_db;
use slantpath_signal::Row;
use slantpath_signal::spectrum::{HANN_BIN_FACTOR, HANN_VARIANCE_FACTOR};
use std::ops::Range;

/// A change of level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelStep {
    /// When, s from the start of the recording.
    pub at_s: f64,
    /// By how much, dB: later over earlier.
    pub db: f64,
    /// Whether the noise beside the carriers changed with it, so that the receiver's gain did.
    pub gain: bool,
}

/// Zones of bins whose power is recorded: the flat middle of each carrier, then what is free of all.
pub(super) fn zones(found: &[Found], fs: f64, n: usize) -> Vec<Vec<Range<usize>>> {
    let df = fs / n as f64;
    let bin = |f: f64| (f / df + 0.5 * n as f64).round().clamp(0.0, n as f64) as usize;
    let mut out: Vec<Vec<Range<usize>>> = found
        .iter()
        .map(|f| {
            let half = 0.35 * f.line.rate;
            let middle = bin(f.centre_hz - half)..bin(f.centre_hz + half);
            Vec::from([middle])
        })
        .collect();
    let mut free: Vec<Range<usize>> = Vec::new();
    let mut from = bin(-0.42 * fs);
    let mut taken: Vec<(usize, usize)> = found
        .iter()
        .map(|f| {
            let half = 0.8 * f.line.rate;
            (bin(f.centre_hz - half), bin(f.centre_hz + half))
        })
        .collect();
    taken.push((n / 2 - n.min(8) / 2, n / 2 + n.min(8) / 2));
    taken.sort_unstable();
    for (a, b) in taken {
        if a > from {
            free.push(from..a);
        }
        from = from.max(b);
    }
    let end = bin(0.42 * fs);
    if end > from {
        free.push(from..end);
    }
    out.push(free);
    out
}

/// Power in the zones against time, in a number of rows that does not grow with the recording.
#[derive(Debug)]
pub(super) struct Record {
    rows: Vec<Row>,
    /// Rows of the filter bank in one row here.
    merged: usize,
    open: Option<Row>,
    got: usize,
}

impl Default for Record {
    fn default() -> Self {
        Self {
            rows: Vec::new(),
            merged: 1,
            open: None,
            got: 0,
        }
    }
}

impl Record {
    /// Rows kept at most; beyond, neighbours become one.
    const MOST: usize = 8192;

    /// Adds rows of the filter bank.
    pub fn add(&mut self, rows: Vec<Row>) {
        for r in rows {
            let row = match self.open.take() {
                Some(o) => joined(o, &r),
                None => r,
            };
            self.got += 1;
            if self.got < self.merged {
                self.open = Some(row);
                continue;
            }
            self.got = 0;
            self.rows.push(row);
            if self.rows.len() == Self::MOST {
                self.merged *= 2;
                self.rows = self
                    .rows
                    .chunks_exact(2)
                    .map(|p| joined(p[0].clone(), &p[1]))
                    .collect();
            }
        }
    }
    /// Whole rows so far.
    pub fn rows(&self) -> &[Row] {
        &self.rows
    }
    /// Rows of the filter bank in one of them.
    pub fn merged(&self) -> usize {
        self.merged
    }
}

/// Two neighbouring rows as one.
fn joined(a: Row, b: &Row) -> Row {
    let frames = a.frames + b.frames;
    let (x, y) = (
        a.frames as f64 / frames.max(1) as f64,
        b.frames as f64 / frames.max(1) as f64,
    );
    Row {
        frames,
        zones: a
            .zones
            .iter()
            .zip(&b.zones)
            .map(|(p, q)| x * p + y * q)
            .collect(),
    }
}

/// Power of a zone in every full row, and the relative deviation that noise alone gives it.
fn record(rows: &[Row], zone: usize, bins: f64) -> Option<(Vec<f64>, f64)> {
    let full = rows.iter().map(|r| r.frames).max()?;
    let p: Vec<f64> = rows
        .iter()
        .filter(|r| r.frames == full)
        .filter_map(|r| r.zones.get(zone).copied())
        .collect();
    let r = full as f64;
    let per_bin = (1.0 + (HANN_VARIANCE_FACTOR - 1.0) * (r - 1.0) / r) / r;
    (p.len() >= 8 && bins >= 4.0 && p.iter().all(|v| *v > 0.0))
        .then(|| (p, (per_bin * HANN_BIN_FACTOR / bins).sqrt()))
}

/// The one step that explains most: first row after it, and the logarithm of later over earlier.
fn step(p: &[f64], expected: f64) -> Option<(usize, f64)> {
    let logs: Vec<f64> = p.iter().map(|v| v.ln()).collect();
    let n = logs.len() as f64;
    let total: f64 = logs.iter().sum();
    let mut before = 0.0;
    let mut best: Option<(f64, usize, f64)> = None;
    for (k, v) in logs.iter().enumerate().take(logs.len() - 1) {
        before += v;
        let m = (k + 1) as f64;
        let d = (total - before) / (n - m) - before / m;
        let z = d.abs() / (expected * (1.0 / m + 1.0 / (n - m)).sqrt());
        if best.is_none_or(|b| z > b.0) {
            best = Some((z, k + 1, d));
        }
    }
    let (z, at, d) = best?;
    // Eight deviations, and more than a tenth of a decibel: less does not matter.
    (z > 8.0 && d.abs() > 0.023).then_some((at, d))
}

/// The largest change of each carrier's level.
pub(super) fn steps(
    rows: &[Row],
    zones: &[Vec<Range<usize>>],
    row_s: f64,
) -> Vec<Option<LevelStep>> {
    let bins = |z: &[Range<usize>]| z.iter().map(|r| r.len()).sum::<usize>() as f64;
    let of = |zone: usize| {
        let (p, e) = record(rows, zone, zones.get(zone).map_or(0.0, |z| bins(z)))?;
        step(&p, e)
    };
    let carriers = zones.len().saturating_sub(1);
    let free = of(carriers);
    (0..carriers)
        .map(|i| {
            let (at, d) = of(i)?;
            let gain = free.is_some_and(|(k, f)| {
                k.abs_diff(at) <= 3 && f.signum() == d.signum() && f.abs() > 0.4 * d.abs()
            });
            Some(LevelStep {
                at_s: at as f64 * row_s,
                db: to_db(d.exp()),
                gain,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_is_found_where_it_is_and_none_where_none_is() {
        let row = |v: f64, f: f64| Row {
            frames: 16,
            zones: vec![v, f],
        };
        let flat: Vec<Row> = (0..40).map(|_| row(2.0, 1.0)).collect();
        let zones = vec![vec![0..40], vec![60..100]];
        assert_eq!(steps(&flat, &zones, 0.01), vec![None]);
        let goes: Vec<Row> = (0..40)
            .map(|i| row(if i < 25 { 2.0 } else { 0.2 }, 1.0))
            .collect();
        let s = steps(&goes, &zones, 0.01)[0].unwrap();
        assert!((s.at_s - 0.25).abs() < 1e-9 && (s.db + 10.0).abs() < 1e-9 && !s.gain);
        let gain: Vec<Row> = (0..40)
            .map(|i| {
                let g = if i < 10 { 1.0 } else { 2.0 };
                row(2.0 * g, g)
            })
            .collect();
        assert!(steps(&gain, &zones, 0.01)[0].unwrap().gain);
    }
}
