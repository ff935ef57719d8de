//! The symbol clock, found blind.
//!
//! Neighbouring symbols share the excess bandwidth: the spectrum around `centre + rate/2` repeats what stands around
//! `centre - rate/2`. The product of the upper edge with the conjugate of the lower one holds a line at the symbol rate
//! whose phase is the timing (band-edge timing, L. E. Franks and J. P. Bubrouski, IEEE Trans. COM-22, 1974; W. A.
//! Gardner, IEEE Trans. COM-34, 1986). Carrier frequency cancels, noise does not make a line, and a hump of noise with
//! whatever edges has none.

use super::transform;
use slantpath_signal::C32;
use std::f64::consts::{PI, TAU};

/// Transform of a stretch of samples, zero frequency first.
pub(super) struct Bins<'a> {
    /// Transform, unnormalised.
    pub y: &'a [C32],
    /// Distance of bins, Hz.
    pub df: f64,
}

/// The line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Line {
    /// Symbol rate, Bd.
    pub rate: f64,
    /// Standard uncertainty, Bd.
    pub u_rate: f64,
    /// Power of the line over the mean power of a bin beside it.
    pub significance: f64,
    /// A symbol instant near the middle of the stretch, s from its start.
    pub instant_s: f64,
    /// Standard uncertainty of the instant, symbols.
    pub u_instant: f64,
}

/// Half the width of the edges used, in symbol rates.
const EDGE: f64 = 0.15;
/// Least half width that is still worth trying.
const LEAST_EDGE: f64 = 0.04;

/// The strongest line within `tolerance * rate` of `rate`, for a carrier at about `centre_hz`; `samples_s` is how long
/// the samples last (a transform may have been padded). `None` when the edges lie outside the transform or hold no
/// power.
pub(super) fn line(
    bins: &Bins<'_>,
    centre_hz: f64,
    rate: f64,
    tolerance: f64,
    samples_s: f64,
) -> Option<Line> {
    let df = bins.df;
    let n = bins.y.len() as i64;
    let (up, low) = (
        ((centre_hz + 0.5 * rate) / df).round() as i64,
        ((centre_hz - 0.5 * rate) / df).round() as i64,
    );
    // A carrier that nearly fills the band leaves narrower edges.
    let room = (n / 2 - 1 - up).min(low + n / 2);
    let m = ((EDGE * rate / df).round() as i64).min(room);
    if m < 16 || (m as f64) < LEAST_EDGE * rate / df {
        return None;
    }
    let size = (4 * m as usize).next_power_of_two();
    let u = edge(bins, up, m, size);
    let l = edge(bins, low, m, size);
    let mut v: Vec<C32> = u.iter().zip(&l).map(|(a, b)| a * b.conj()).collect();
    transform::forward(&mut v);
    // Bin j of the product is the frequency (up - low + j) df.
    let at = |j: i64| {
        v.get(j.rem_euclid(size as i64) as usize)
            .copied()
            .unwrap_or_default()
    };
    let middle = rate / df - (up - low) as f64;
    let reach = (tolerance * rate / df).max(4.0);
    let (from, to) = (
        ((middle - reach).floor() as i64).max(-(size as i64) / 2 + 2),
        ((middle + reach).ceil() as i64).min(size as i64 / 2 - 2),
    );
    if to - from < 6 {
        return None;
    }
    let best = (from..=to).max_by(|a, b| at(*a).norm_sqr().total_cmp(&at(*b).norm_sqr()))?;
    // The noise of the product slopes: what counts is the noise beside the line.
    let beside = ((to - from) / 8).max(200);
    let mut powers: Vec<f32> = (from.max(best - beside)..=to.min(best + beside))
        .map(|j| at(j).norm_sqr())
        .collect();
    // The median of exponentially distributed powers is ln 2 of their mean.
    let mean = f64::from(median(&mut powers)?) / std::f64::consts::LN_2;
    if !(mean > 0.0 && mean.is_finite()) {
        return None;
    }
    if f64::from(at(best).norm_sqr()) < 8.0 * mean {
        return None;
    }
    // Fine search: the product's own transform between bins.
    let sums = Sums::around(&u, &l, best as f64 / size as f64);
    let power = |x: f64| -> f64 { sums.at(x / size as f64).norm_sqr() };
    let step = {
        // Zero padding makes the line wider than a bin.
        let padded = 1.0 / (df * samples_s.max(1e-12));
        0.5 * padded.max(1.0)
    };
    let (mut x, mut h) = (best as f64, step);
    let mut p0 = power(x);
    for _ in 0..40 {
        let (a, b) = (power(x - h), power(x + h));
        if a > p0 || b > p0 {
            x += if a > b { -h } else { h };
            p0 = a.max(b);
        } else {
            let curve = a - 2.0 * p0 + b;
            let shift = if curve < 0.0 {
                0.5 * (a - b) / curve
            } else {
                0.0
            };
            x += shift.clamp(-1.0, 1.0) * h;
            h *= 0.1;
            p0 = power(x);
        }
        if h < 1e-4 {
            break;
        }
    }
    let significance = p0 / mean;
    let line_hz = (x + (up - low) as f64) * df;
    // Phase at the middle of the stretch, where it does not depend on the rate's error.
    let t_mid = 0.5 * samples_s;
    let c = sums.at(x / size as f64);
    let u_phase = sums.u_phase(x / size as f64);
    // The sums refer the phase to the start of the transform.
    let at_mid = c.im.atan2(c.re) + TAU * line_hz * t_mid;
    let turns = at_mid / TAU;
    let instant_s = t_mid - (turns - turns.round()) / line_hz;
    Some(Line {
        rate: line_hz,
        // Bound of a tone's frequency (D. C. Rife and R. R. Boorstyn, IEEE Trans. IT-20, 1974), for the noise across
        // the line: the pattern of the data adds more along it.
        u_rate: 12f64.sqrt() * u_phase / (TAU * samples_s),
        significance,
        instant_s,
        u_instant: u_phase / TAU,
    })
}

/// The upper median; the order is lost.
pub(super) fn median(x: &mut [f32]) -> Option<f32> {
    let middle = x.len() / 2;
    (!x.is_empty()).then(|| *x.select_nth_unstable_by(middle, f32::total_cmp).1)
}

/// Samples of an edge, mixed to zero; its bins are capped so that lone carriers in it make no line.
fn edge(bins: &Bins<'_>, centre: i64, m: i64, size: usize) -> Vec<C32> {
    let n = bins.y.len() as i64;
    let get = |k: i64| {
        bins.y
            .get((centre + k).rem_euclid(n) as usize)
            .copied()
            .unwrap_or_default()
    };
    let mut p: Vec<f32> = (-m..=m).map(|k| get(k).norm_sqr()).collect();
    let cap = (14.0 * median(&mut p).unwrap_or(0.0)).sqrt();
    let mut out = vec![C32::default(); size];
    for k in -m..=m {
        let z = get(k);
        let r = z.norm();
        let w = (0.5 * PI * k as f64 / (m + 1) as f64).cos() as f32;
        let z = if r > cap { z * (cap / r) } else { z };
        if let Some(o) = out.get_mut(k.rem_euclid(size as i64) as usize) {
            *o = z * w;
        }
    }
    transform::inverse(&mut out);
    let scale = 1.0 / bins.y.len() as f32;
    for z in &mut out {
        *z *= scale;
    }
    out
}

/// The product of both edges near one frequency: sums over short runs, turned back by that frequency.
struct Sums {
    turns: f64,
    run: usize,
    runs: Vec<num_complex::Complex<f64>>,
}

impl Sums {
    /// Runs so short that some bins beside `turns` lose nothing.
    fn around(u: &[C32], l: &[C32], turns: f64) -> Self {
        let run = (u.len() / 1024).clamp(1, 4096);
        let step = num_complex::Complex::cis(-TAU * turns);
        let runs = u
            .chunks(run)
            .zip(l.chunks(run))
            .enumerate()
            .map(|(i, (a, b))| {
                let mut r = num_complex::Complex::cis(-TAU * ((turns * (i * run) as f64) % 1.0));
                let mut sum = num_complex::Complex::<f64>::default();
                for (a, b) in a.iter().zip(b) {
                    let v = a * b.conj();
                    sum += num_complex::Complex::new(f64::from(v.re), f64::from(v.im)) * r;
                    r *= step;
                }
                sum
            })
            .collect();
        Self { turns, run, runs }
    }

    /// Each run at another frequency, in turns a sample.
    fn each(&self, turns: f64) -> impl Iterator<Item = num_complex::Complex<f64>> + '_ {
        let d = (turns - self.turns) * self.run as f64;
        // A run turns about its own middle.
        let middle = 0.5 * (self.run as f64 - 1.0) / self.run as f64;
        self.runs
            .iter()
            .enumerate()
            .map(move |(i, s)| s * num_complex::Complex::cis(-TAU * (d * (i as f64 + middle))))
    }

    /// Transform at one frequency.
    fn at(&self, turns: f64) -> num_complex::Complex<f64> {
        self.each(turns).sum()
    }

    /// Standard uncertainty of the phase there, rad: from the scatter of the runs across the sum.
    fn u_phase(&self, turns: f64) -> f64 {
        let sum = self.at(turns);
        let size = sum.norm().max(1e-300);
        let unit = sum.conj() / size;
        let across: f64 = self.each(turns).map(|s| (s * unit).im.powi(2)).sum();
        across.sqrt() / size
    }
}
