//! From channel samples to symbols: matched filter and interpolation in one step.

use super::Stream;
use slantpath_signal::C32;
use slantpath_signal::pulse::root_raised_cosine;
use std::f64::consts::TAU;

/// When symbols stand and how the carrier turns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Grid {
    /// Symbol rate, Bd.
    pub rate: f64,
    /// A symbol instant, s from the stream's first sample.
    pub instant_s: f64,
    /// Carrier, Hz from the stream's zero, at the stream's first sample.
    pub carrier_hz: f64,
    /// Its drift, Hz/s.
    pub drift: f64,
    /// Roll-off.
    pub rolloff: f64,
}

/// Rows of the tabulated pulse within one sample.
const ROWS: usize = 1024;

/// Symbols either side at which the pulse may be cut: beyond it has fallen below -50 dB of its peak.
pub(super) fn full_span(rolloff: f64) -> f64 {
    (6.8 / rolloff).clamp(24.0, 90.0)
}

/// Symbols, and the time of the first one in s from the stream's first sample. The filter is the carrier's own pulse,
/// cut at `span` symbols either side and tabulated finely enough for the nearest row to do; `most` symbols at most.
pub(super) fn symbols(stream: &Stream, g: &Grid, span: f64, most: usize) -> (Vec<C32>, f64) {
    let r = stream.rate_hz;
    let half = (span * r / g.rate).ceil() as usize;
    let need = (most as f64 * r / g.rate).ceil().min(1e15) as usize + 2 * half;
    let samples = stream.samples.get(..need).unwrap_or(&stream.samples);
    let mixed = mixed(samples, r, g);
    let width = 2 * half;
    // Row p, tap j: sample floor(x) - half + 1 + j, at (j - half + 1 - p/ROWS) samples from the symbol.
    let per = g.rate / r;
    let mut table = Vec::with_capacity((ROWS + 1) * width);
    for p in 0..=ROWS / 2 {
        for j in 0..width {
            let d = j as f64 - (half as f64 - 1.0) - p as f64 / ROWS as f64;
            table.push((root_raised_cosine(d * per, g.rolloff) * per) as f32);
        }
    }
    // The pulse is even: the other half mirrors the first.
    for p in (0..ROWS / 2).rev() {
        let from = table.len();
        table.extend_from_within(p * width..(p + 1) * width);
        table[from..].reverse();
    }
    let n = mixed.len();
    let first = ((half as f64 / r - g.instant_s) * g.rate).ceil() as i64;
    let last = (((n as f64 - half as f64 - 1.0) / r - g.instant_s) * g.rate).floor() as i64;
    let start = g.instant_s + first as f64 / g.rate;
    let mut out = Vec::with_capacity((last - first).max(0) as usize + 1);
    for k in first..=last {
        let x = (g.instant_s + k as f64 / g.rate) * r;
        let i = x.floor();
        let p = ((x - i) * ROWS as f64).round() as usize;
        let from = i as i64 - half as i64 + 1;
        let Some(samples) = usize::try_from(from)
            .ok()
            .and_then(|f| mixed.get(f..f + width))
        else {
            continue;
        };
        let taps = table.get(p * width..(p + 1) * width).unwrap_or(&[]);
        out.push(dot(samples, taps));
    }
    (out, start)
}

/// Sum of samples times real taps, in four lanes so that it vectorises.
fn dot(samples: &[C32], taps: &[f32]) -> C32 {
    let mut re = [0f32; 8];
    let mut im = [0f32; 8];
    let (s, t) = (samples.chunks_exact(8), taps.chunks_exact(8));
    let (sr, tr) = (s.remainder(), t.remainder());
    for (s, t) in s.zip(t) {
        for k in 0..8 {
            re[k] += s[k].re * t[k];
            im[k] += s[k].im * t[k];
        }
    }
    let mut z = C32::new(re.iter().sum(), im.iter().sum());
    for (s, t) in sr.iter().zip(tr) {
        z += s * t;
    }
    z
}

/// Samples with the carrier turned to zero.
fn mixed(samples: &[C32], r: f64, g: &Grid) -> Vec<C32> {
    const RUN: usize = 128;
    let mut out = Vec::with_capacity(samples.len());
    for (i, run) in samples.chunks(RUN).enumerate() {
        let t = (i * RUN) as f64 / r;
        let turns = (g.carrier_hz + 0.5 * g.drift * t) * t;
        let mut z = num_complex::Complex::<f64>::cis(-TAU * (turns % 1.0));
        let step = num_complex::Complex::cis(-TAU * (g.carrier_hz + g.drift * t) / r);
        for y in run {
            out.push(y * C32::new(z.re as f32, z.im as f32));
            z *= step;
        }
    }
    out
}
