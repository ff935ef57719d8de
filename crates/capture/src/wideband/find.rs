//! Every carrier of a recording, blind: edges of the averaged spectrum suggest where one may stand, its symbol clock
//! says whether it does.
//!
//! A root-raised-cosine carrier adds the same step of density at both of its edges whatever else overlaps it, and its
//! half-power points are one symbol rate apart for every roll-off. So a rise and a fall of like height, each found at
//! the same scale, propose a centre and a symbol rate; a line at the symbol rate proves them.

use super::clock::{Bins, Line, line};
use super::transform;
use rayon::prelude::*;
use slantpath_signal::spectrum::HANN_BIN_FACTOR;
use slantpath_signal::{C32, Spectrum};
use std::collections::BTreeMap;

/// Slowest and fastest symbol rates looked for, Bd.
pub(super) const RATES: (f64, f64) = (18e3, 4.5e6);
/// Line power over the noise beside it that proves a carrier. The strongest of all bins of all candidates of pure noise
/// stays below 20 (false alarms of exponentially distributed powers: 1e6 bins at `exp(-24)` are 4e-5).
pub(super) const PROOF: f64 = 24.0;

/// A carrier proved by its clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Found {
    /// Centre, Hz from the recording's centre.
    pub centre_hz: f64,
    /// Its clock.
    pub line: Line,
    /// Step of density at its edges, full scale squared per hertz.
    pub step: f64,
}

/// Power that stands above its surroundings and shows no symbol clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unexplained {
    /// Lower edge, Hz from the recording's centre.
    pub lo_hz: f64,
    /// Upper edge; infinite when it reaches beyond the recording.
    pub hi_hz: f64,
    /// Height above its surroundings, ratio of densities.
    pub ratio: f64,
    /// Whether it reaches an end of the recorded band.
    pub cut: bool,
    /// Centre of the carrier that it mirrors, when it is an image by the receiver's imbalance.
    pub mirrors_hz: Option<f64>,
}

#[derive(Debug, Clone, Copy)]
struct Edge {
    f_hz: f64,
    step: f64,
    z: f64,
    low: f64,
}

/// A pair of edges: centre, distance, step of density.
type Pair = (f64, f64, f64);

/// What earlier stretches of the recording told.
#[derive(Debug, Default)]
pub(super) struct Before {
    /// Carriers found.
    pub found: Vec<Found>,
    /// Pairs of edges that showed no clock.
    refused: Vec<Pair>,
}

impl Before {
    /// Whether a pair of edges is a carrier found before, or was tried in vain at such a level.
    fn knows(&self, (c, rate, step): &Pair) -> bool {
        let alike = |kc: f64, kr: f64| (c - kc).abs() < 0.08 * kr && (rate / kr - 1.0).abs() < 0.06;
        self.found.iter().any(|k| alike(k.centre_hz, k.line.rate))
            || self
                .refused
                .iter()
                .any(|(kc, kr, ks)| alike(*kc, *kr) && *step < 1.5 * ks)
    }
}

/// Spectra of the parts of a stretch, all of them together, and how many samples a part has.
pub(super) struct Parts {
    pub each: Vec<Spectrum>,
    pub all: Spectrum,
    pub samples: usize,
}

impl Parts {
    /// Most parts of a stretch.
    const MOST: usize = 8;

    pub(super) fn of(stretch: &[C32], fs: f64, n: usize) -> Self {
        // Each long enough for some frames.
        let count = (stretch.len() / (8 * n).max(1)).clamp(1, Self::MOST);
        let samples = stretch.len().div_ceil(count).max(1);
        let each: Vec<Spectrum> = stretch
            .chunks(samples)
            .map(|part| Spectrum::of(part, fs, n))
            .filter(|s| s.frames > 0)
            .collect();
        let mut all = Spectrum {
            sample_rate_hz: fs,
            psd: vec![0.0; n],
            frames: 0,
        };
        for s in &each {
            for (a, p) in all.psd.iter_mut().zip(&s.psd) {
                *a += p * s.frames as f64;
            }
            all.frames += s.frames;
        }
        let scale = 1.0 / all.frames.max(1) as f64;
        all.psd.iter_mut().for_each(|a| *a *= scale);
        Self { each, all, samples }
    }

    /// The part in which a band holds most power, when that is much more than in the first: where something that comes and
    /// goes is best looked for.
    fn loudest(&self, centre_hz: f64, width_hz: f64) -> usize {
        let power =
            |s: &Spectrum| s.power(s.range(centre_hz - 0.5 * width_hz, centre_hz + 0.5 * width_hz));
        let first = self.each.first().map_or(0.0, power);
        self.each
            .iter()
            .map(power)
            .enumerate()
            .filter(|(_, p)| *p > 1.3 * first)
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(0, |(i, _)| i * self.samples)
    }
}

/// Carriers that were not known before, lowest frequency first, and what else stands out; both are told to `before`.
pub(super) fn find(
    stretch: &[C32],
    parts: &Parts,
    before: &mut Before,
) -> (Vec<Found>, Vec<Unexplained>) {
    let s = &parts.all;
    let psd = without_lines(s);
    let mut candidates: Vec<(Edge, Edge)> = Vec::new();
    let mut w = 4usize;
    let mut one_sided: Vec<(Edge, bool)> = Vec::new();
    while w * 2 < s.len() / 2 {
        let edges = edges(s, &psd, w);
        let scale = w as f64 * s.bin_hz();
        for r in edges.iter().filter(|e| e.step > 0.0) {
            for f in edges.iter().filter(|e| e.step < 0.0 && e.f_hz > r.f_hz) {
                let rate = f.f_hz - r.f_hz;
                let like = r.step / -f.step;
                if (RATES.0..RATES.1).contains(&rate)
                    && rate > 1.3 * scale
                    && rate < 24.0 * scale
                    && (0.35..2.8).contains(&like)
                {
                    candidates.push((*r, *f));
                }
            }
        }
        if scale > 20e3 {
            one_sided.extend(edges.iter().map(|e| (*e, e.step > 0.0)));
        }
        w *= 2;
    }
    candidates.sort_by(|a, b| (b.0.z.min(-b.1.z)).total_cmp(&a.0.z.min(-a.1.z)));
    let mut unique: Vec<(f64, f64, f64)> = Vec::new();
    for (r, f) in &candidates {
        let (c, rate) = (0.5 * (r.f_hz + f.f_hz), f.f_hz - r.f_hz);
        let known = unique
            .iter()
            .any(|(uc, ur, _)| (c - uc).abs() < 0.04 * rate && (rate / ur - 1.0).abs() < 0.03);
        if !known && unique.len() < 300 {
            unique.push((c, rate, 0.5 * (r.step - f.step)));
        }
    }
    let mut blocks = Blocks::new(stretch, s.sample_rate_hz, parts);
    // Strongest edges first; what an already sure carrier explains is not tried again.
    let mut proved: Vec<Found> = Vec::new();
    let mut refused: Vec<Pair> = Vec::new();
    for part in unique.chunks(16) {
        let sure: Vec<&Found> = before
            .found
            .iter()
            .chain(&proved)
            .filter(|k| k.line.significance > SURE)
            .collect();
        let open: Vec<&Pair> = part
            .iter()
            .filter(|p| !before.knows(p) && !explained(p, &sure))
            .collect();
        blocks.prepare(open.iter().map(|(c, rate, _)| (*c, *rate)));
        let ready = &blocks;
        let new: Vec<Found> = open
            .par_iter()
            .filter_map(|(c, rate, step)| {
                let l = ready.line(*c, *rate)?;
                (l.significance > PROOF).then_some(Found {
                    centre_hz: *c,
                    line: l,
                    step: *step,
                })
            })
            .collect();
        refused.extend(
            open.iter()
                .filter(|(c, rate, _)| {
                    !new.iter()
                        .any(|k| k.centre_hz == *c && (k.line.rate / rate - 1.0).abs() < 0.08)
                })
                .map(|p| **p),
        );
        proved.extend(new);
    }
    before.refused.extend(refused);
    let excess = before.refused.len().saturating_sub(2000);
    before.refused.drain(..excess);
    proved.sort_by(|a, b| b.line.significance.total_cmp(&a.line.significance));
    let mut kept: Vec<Found> = Vec::new();
    for p in proved {
        let clash = before.found.iter().chain(&kept).any(|k| {
            let near = (p.centre_hz - k.centre_hz).abs();
            let same_clock = (p.line.rate / k.line.rate - 1.0).abs() < 2e-3;
            near < if same_clock { 0.6 } else { 0.2 } * p.line.rate.min(k.line.rate)
        });
        if !clash {
            kept.push(p);
        }
    }
    kept.sort_by(|a, b| a.centre_hz.total_cmp(&b.centre_hz));
    before.found.extend(kept.iter().copied());
    let rest = unexplained(s, &unique, &one_sided, &before.found);
    (kept, rest)
}

/// Whether carriers that leave no doubt account for a pair of edges: the same one, a part of one, or from the edge of one
/// to the edge of another.
fn explained((c, rate, step): &Pair, sure: &[&Found]) -> bool {
    let edge = |f: f64, side: f64| {
        sure.iter().position(|k| {
            (f - k.centre_hz - 0.5 * side * k.line.rate).abs() < 0.04 * k.line.rate
                && (0.6..1.7).contains(&(step / k.step.max(1e-300)))
        })
    };
    let (low, high) = (edge(c - 0.5 * rate, -1.0), edge(c + 0.5 * rate, 1.0));
    low.zip(high).is_some_and(|(a, b)| a != b)
        || sure.iter().any(|k| {
            let like = (rate / k.line.rate - 1.0).abs() < 0.06;
            (c - k.centre_hz).abs() < 0.08 * k.line.rate && like
                || (c - k.centre_hz).abs() < 0.3 * k.line.rate && *rate < 0.6 * k.line.rate
        })
}

/// The spectrum with lone lines and the converter's direct current taken off: running median of seven bins.
fn without_lines(s: &Spectrum) -> Vec<f64> {
    let n = s.len();
    let mut p = s.psd.clone();
    // Three bins of direct current become their neighbours' mean.
    let c = n / 2;
    if n > 32 {
        let mean = (-8i64..=8)
            .filter(|k| k.abs() > 3)
            .filter_map(|k| s.psd.get((c as i64 + k) as usize))
            .sum::<f64>()
            / 10.0;
        for v in p.iter_mut().skip(c - 3).take(7) {
            *v = v.min(mean);
        }
    }
    let mut out = p.clone();
    for i in 3..n.saturating_sub(3) {
        let mut w = [0.0; 7];
        w.copy_from_slice(&p[i - 3..i + 4]);
        // Where four of seven are nearly as high, so is the median.
        if w.iter().filter(|v| 1.8 * **v >= p[i]).count() >= 4 {
            continue;
        }
        w.sort_by(f64::total_cmp);
        // A line stands far above the median of its neighbourhood; noise does not.
        if p[i] > w[3] * (1.0 + 8.0 / s.averages().sqrt()).max(1.8) {
            out[i] = w[3];
        }
    }
    out
}

/// Steps of the density at a scale of `w` bins, strongest of their neighbourhood.
fn edges(s: &Spectrum, psd: &[f64], w: usize) -> Vec<Edge> {
    let n = psd.len();
    let mut sum = vec![0.0; n + 1];
    for i in 0..n {
        sum[i + 1] = sum[i] + psd[i];
    }
    let k = s.averages() * w as f64 / HANN_BIN_FACTOR;
    let wf = w as f64;
    let at = |i: usize| -> Edge {
        let hi = (sum[i + w] - sum[i]) / wf;
        let lo = (sum[i] - sum[i - w]) / wf;
        Edge {
            f_hz: s.freq(i) - 0.5 * s.bin_hz(),
            step: hi - lo,
            z: (hi - lo) / ((hi * hi + lo * lo) / k).sqrt().max(1e-300),
            low: hi.min(lo),
        }
    };
    let all: Vec<Edge> = (w..=n.saturating_sub(w)).map(at).collect();
    let reach = (w / 2).max(2);
    let mut out = Vec::new();
    for (i, e) in all.iter().enumerate() {
        if e.z.abs() < 6.0 || e.step.abs() < 0.04 * e.low {
            continue;
        }
        let around = &all[i.saturating_sub(reach)..(i + reach + 1).min(all.len())];
        if around.iter().all(|o| {
            o.step * e.step.signum() < e.step.abs() || (o.step == e.step && o.f_hz >= e.f_hz)
        }) {
            // Half-power point: centroid of the upper half of the peak.
            let (mut a, mut b) = (0.0, 0.0);
            for o in around {
                let x = o.step * e.step.signum() - 0.5 * e.step.abs();
                if x > 0.0 {
                    a += x * o.f_hz;
                    b += x;
                }
            }
            out.push(Edge {
                f_hz: if b > 0.0 { a / b } else { e.f_hz },
                ..*e
            });
        }
    }
    out
}

/// Transforms of parts of a stretch, as long as a candidate needs.
struct Blocks<'a> {
    head: &'a [C32],
    fs: f64,
    parts: &'a Parts,
    /// By first sample and length of the transform.
    done: BTreeMap<(usize, usize), Vec<C32>>,
}

/// Line power that leaves no doubt.
const SURE: f64 = 150.0;

/// Symbols that prove a carrier.
const PROOF_SYMBOLS: f64 = 50_000.0;

impl<'a> Blocks<'a> {
    fn new(head: &'a [C32], fs: f64, parts: &'a Parts) -> Self {
        Self {
            head,
            fs,
            parts,
            done: BTreeMap::new(),
        }
    }

    /// First sample and number of samples used for a carrier, and the length of their transform.
    fn size(&self, centre_hz: f64, rate: f64) -> (usize, usize, usize) {
        let want = (PROOF_SYMBOLS * self.fs / rate) as usize;
        // Powers of four, so that few different transforms are made.
        let mut n = 1usize << 14;
        while n < want && n < self.head.len() {
            n *= 4;
        }
        let used = n.min(self.head.len());
        let loudest = self.parts.loudest(centre_hz, 0.8 * rate);
        let start = loudest.min(self.head.len() - used);
        (start, used, used.next_power_of_two())
    }

    /// Makes the transforms that these carriers need.
    fn prepare(&mut self, carriers: impl Iterator<Item = (f64, f64)>) {
        let mut missing: Vec<(usize, usize, usize)> = carriers
            .map(|(c, rate)| self.size(c, rate))
            .filter(|(start, _, n)| !self.done.contains_key(&(*start, *n)))
            .collect();
        missing.sort_unstable();
        missing.dedup();
        let head = self.head;
        let made: Vec<((usize, usize), Vec<C32>)> = missing
            .into_par_iter()
            .map(|(start, used, n)| {
                let mut y = head.get(start..start + used).unwrap_or(&[]).to_vec();
                y.resize(n, C32::default());
                transform::forward(&mut y);
                ((start, n), y)
            })
            .collect();
        self.done.extend(made);
    }

    fn line(&self, centre_hz: f64, rate: f64) -> Option<Line> {
        let (start, used, n) = self.size(centre_hz, rate);
        let y = self.done.get(&(start, n))?;
        let bins = Bins {
            y,
            df: self.fs / n as f64,
        };
        line(&bins, centre_hz, rate, 0.07, used as f64 / self.fs)
    }
}

/// Pairs of edges and lone edges that no proved carrier explains.
fn unexplained(
    s: &Spectrum,
    pairs: &[(f64, f64, f64)],
    lone: &[(Edge, bool)],
    found: &[Found],
) -> Vec<Unexplained> {
    let mut out: Vec<Unexplained> = Vec::new();
    let half = 0.5 * s.sample_rate_hz;
    let own = |f: f64| {
        found
            .iter()
            .any(|k| (f - k.centre_hz).abs() < 0.75 * k.line.rate)
    };
    for (c, rate, step) in pairs {
        let (lo, hi) = (c - 0.5 * rate, c + 0.5 * rate);
        // The receiver's own filter falls off at both ends of the band.
        let outside = density_around(s, lo, hi);
        let filter = lo < -0.7 * half && hi > 0.7 * half;
        if filter || outside <= 0.0 {
            continue;
        }
        let ratio = 1.0 + step / outside.max(1e-300);
        let covered = found
            .iter()
            .any(|k| k.centre_hz > lo - 0.1 * rate && k.centre_hz < hi + 0.1 * rate)
            || (own(lo) && own(hi));
        let double = out.iter().any(|u| u.lo_hz < hi && u.hi_hz > lo);
        if !covered && !double && ratio > 1.15 {
            out.push(Unexplained {
                lo_hz: lo,
                hi_hz: hi,
                ratio,
                cut: false,
                mirrors_hz: None,
            });
        }
    }
    // A step that is not undone before the band ends.
    for (e, rises) in lone {
        if e.f_hz.abs() > 0.8 * half || own(e.f_hz) || e.step.abs() < 0.4 * e.low {
            continue;
        }
        let (lo, hi) = if *rises {
            (e.f_hz, half)
        } else {
            (-half, e.f_hz)
        };
        let inside_hz = (hi - lo) * 0.25;
        let mean = |a: f64, b: f64| {
            let r = s.range(a, b);
            let k = r.len().max(1) as f64;
            s.psd.get(r).map_or(0.0, |p| p.iter().sum::<f64>()) / k
        };
        let far = if *rises {
            mean(0.92 * half - inside_hz, 0.92 * half)
        } else {
            mean(-0.92 * half, -0.92 * half + inside_hz)
        };
        let high = far > e.low + 0.6 * e.step.abs();
        let double = out.iter().any(|u| u.lo_hz < hi && u.hi_hz > lo);
        let inside = found.iter().any(|k| k.centre_hz > lo && k.centre_hz < hi);
        if high && !double && !inside {
            out.push(Unexplained {
                lo_hz: lo,
                hi_hz: hi,
                ratio: 1.0 + e.step.abs() / e.low.max(1e-300),
                cut: true,
                mirrors_hz: None,
            });
        }
    }
    out.sort_by(|a, b| a.lo_hz.total_cmp(&b.lo_hz));
    out
}

fn density_around(s: &Spectrum, lo: f64, hi: f64) -> f64 {
    let w = 0.2 * (hi - lo);
    let (a, b) = (s.range(lo - 2.0 * w, lo - w), s.range(hi + w, hi + 2.0 * w));
    let n = (a.len() + b.len()) as f64;
    let sum: f64 = a.chain(b).filter_map(|i| s.psd.get(i)).sum();
    if n > 0.0 { sum / n } else { 0.0 }
}
