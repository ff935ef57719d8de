//! The one pass over the samples. The recording is taken in stretches: in each, carriers that were not there before are
//! looked for; then the filter bank averages its spectrum and cuts one channel a carrier. A carrier's channel is kept up
//! to a number of symbols, and given up when the carrier leaves, so that memory does not grow with the length.

use super::activity::{self, LevelStep, Record};
use super::find::{self, Before, Found, Parts, Unexplained};
use super::{Stream, WidebandSettings};
use slantpath_quantity::to_db;
use slantpath_signal::{BankPlan, BankSums, C32, ChannelBand, FrameBank, Spectrum};
use std::ops::Range;

/// Carriers followed at most.
const MOST: usize = 64;
/// Frames of a stretch that are worth a search.
const LEAST_FRAMES: u64 = 24;
/// Symbols with which a carrier that came back is not begun anew.
const ENOUGH: f64 = 30_000.0;

/// A carrier on its way.
pub(super) struct Tracked {
    pub found: Found,
    pub stream: Stream,
    channel: Option<usize>,
    quota: usize,
    /// Density in its flat middle with which it is compared later.
    middle: f64,
    /// Spectrum over the stretches in which it stood still.
    psd: Vec<f64>,
    frames: u64,
    /// Its jump, when it stood still in none of them.
    jump: Option<LevelStep>,
    /// Stretches in which it was there, and when the first began and the last ended.
    stretches: usize,
    there: (f64, f64),
    /// Whether it was no longer there in the last stretch.
    leaves: bool,
}

impl Tracked {
    /// Whether it is there in a spectrum: more than three tenths of its step are left.
    fn present(&self, s: &Spectrum) -> bool {
        middle(s, &self.found) > self.middle - 0.7 * self.found.step
    }

    /// Adds a stretch in which it is there. Its spectrum counts where it stood still, else the first of all.
    fn add(&mut self, parts: &Parts, (from_s, to_s): (f64, f64)) {
        if self.stretches == 0 {
            self.there.0 = from_s;
        }
        self.stretches += 1;
        self.there.1 = to_s;
        let s = &parts.all;
        let jump = jump(parts, &self.found, from_s);
        if jump.is_some() && self.frames > 0 {
            return;
        }
        if jump.is_none() && self.jump.is_some() {
            // What it is compared with rises to the whole of it.
            let m = middle(s, &self.found);
            self.found.step += m - self.middle;
            self.middle = m;
            self.psd.iter_mut().for_each(|p| *p = 0.0);
            self.frames = 0;
        }
        self.jump = jump;
        for (a, p) in self.psd.iter_mut().zip(&s.psd) {
            *a += p * s.frames as f64;
        }
        self.frames += s.frames;
    }
}

/// The largest change of a carrier's level from one part of a stretch to the next, when it is beyond noise and 0.3 dB.
fn jump(parts: &Parts, f: &Found, from_s: f64) -> Option<LevelStep> {
    let levels: Vec<f64> = parts.each.iter().map(|s| middle(s, f)).collect();
    let (at, ratio) = levels
        .windows(2)
        .map(|w| (w[1] / w[0].max(1e-300)).ln())
        .enumerate()
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))?;
    let s = parts.each.first()?;
    let noise = (2.0 * s.relative_variance(0.6 * f.line.rate / s.bin_hz())).sqrt();
    (ratio.abs() > 0.07f64.max(6.0 * noise)).then(|| LevelStep {
        at_s: from_s + ((at + 1) * parts.samples) as f64 / s.sample_rate_hz,
        db: to_db(ratio.exp()),
        gain: false,
    })
}

/// Mean density in the flat middle of a carrier.
fn middle(s: &Spectrum, f: &Found) -> f64 {
    let half = 0.3 * f.line.rate;
    let r = s.range(f.centre_hz - half, f.centre_hz + half);
    let width = r.len().max(1) as f64 * s.bin_hz();
    s.power(r) / width
}

/// What the pass gathered of a carrier.
pub(super) struct Heard {
    pub found: Found,
    pub stream: Stream,
    pub step: Option<LevelStep>,
    /// Spectrum while it was there, when it was not there all the time.
    pub spectrum: Option<Spectrum>,
    /// From when to when, s, when that is not all of the recording; as fine as the stretches are.
    pub there: Option<(f64, f64)>,
}

/// The pass.
pub(super) struct Pass {
    fs: f64,
    n: usize,
    symbols: usize,
    bank: Option<FrameBank>,
    zones: Vec<Vec<Range<usize>>>,
    record: Record,
    row_s: f64,
    before: Before,
    tracked: Vec<Tracked>,
    unexplained: Vec<Unexplained>,
    /// Stretches so far that were searched, and samples.
    stretches: usize,
    seen: u64,
}

impl Pass {
    pub(super) fn new(fs: f64, n: usize, settings: &WidebandSettings) -> Self {
        Self {
            fs,
            n,
            symbols: settings.symbols,
            bank: None,
            zones: Vec::new(),
            record: Record::default(),
            row_s: 0.0,
            before: Before::default(),
            tracked: Vec::new(),
            unexplained: Vec::new(),
            stretches: 0,
            seen: 0,
        }
    }

    /// Takes the next stretch.
    pub(super) fn stretch(&mut self, x: &[C32]) {
        let parts = Parts::of(x, self.fs, self.n);
        let first = self.bank.is_none();
        if first || parts.all.frames >= LEAST_FRAMES {
            self.search(x, &parts);
        }
        for piece in x.chunks(1 << 19) {
            if let Some(bank) = &mut self.bank {
                bank.push(piece);
            }
            self.collect();
        }
        // A channel that is closed when the next stretch is searched must not lose the end of this one.
        if let Some(bank) = &mut self.bank {
            bank.settle();
        }
        self.collect();
        self.seen += x.len() as u64;
        // A carrier that left was there for a part of this stretch, perhaps.
        let Some(bank) = &mut self.bank else { return };
        for t in self.tracked.iter_mut().filter(|t| t.leaves) {
            t.leaves = false;
            if let Some(c) = t.channel.take() {
                bank.close_channel(c);
            }
        }
    }

    fn search(&mut self, x: &[C32], parts: &Parts) {
        let (fs, n) = (self.fs, self.n);
        let (new, rest) = find::find(x, parts, &mut self.before);
        let time = (
            self.seen as f64 / fs,
            (self.seen + x.len() as u64) as f64 / fs,
        );
        let row_frames = ((0.01 * fs / (0.5 * n as f64)).round() as usize).clamp(1, 64);
        let bank = self.bank.get_or_insert_with(|| {
            self.zones = activity::zones(&new, fs, n);
            self.row_s = row_frames as f64 * 0.5 * n as f64 / fs;
            FrameBank::new(BankPlan {
                sample_rate_hz: fs,
                n,
                row_frames,
                channels: Vec::new(),
                zones: self.zones.clone(),
                levels: true,
            })
        });
        let open = |bank: &mut FrameBank, f: &Found| {
            let band = ChannelBand::around(f.centre_hz, 2.0 * f.line.rate, fs, n);
            let channel = bank.open_channel(band);
            let stream = Stream {
                samples: Vec::new(),
                rate_hz: band.rate_hz(fs, n),
                centre_hz: band.centre_hz(fs, n),
                start_s: bank.start_of_channel(channel) as f64 / fs,
                trimmed: false,
            };
            (channel, stream)
        };
        for t in &mut self.tracked {
            if t.present(&parts.all) {
                t.add(parts, time);
                let kept = t.stream.samples.len() as f64 * t.found.line.rate / t.stream.rate_hz;
                if t.channel.is_none() && kept < ENOUGH.min(0.9 * self.symbols as f64) {
                    let (channel, stream) = open(bank, &t.found);
                    (t.channel, t.stream) = (Some(channel), stream);
                }
            } else if parts.each.first().is_some_and(|s| t.present(s)) {
                t.leaves = true;
            } else if let Some(c) = t.channel.take() {
                bank.close_channel(c);
            }
        }
        for f in new {
            if self.tracked.len() == MOST {
                break;
            }
            let (channel, stream) = open(bank, &f);
            let mut t = Tracked {
                quota: (self.symbols as f64 * stream.rate_hz / f.line.rate) as usize,
                channel: Some(channel),
                stream,
                middle: middle(&parts.all, &f),
                psd: vec![0.0; n],
                frames: 0,
                jump: None,
                stretches: 0,
                there: (0.0, 0.0),
                leaves: false,
                found: f,
            };
            t.add(parts, time);
            self.tracked.push(t);
        }
        for u in rest {
            let double = self
                .unexplained
                .iter()
                .any(|o| o.lo_hz < u.hi_hz && u.lo_hz < o.hi_hz);
            if !double {
                self.unexplained.push(u);
            }
        }
        self.stretches += 1;
    }

    /// Takes what the channels gave, and gives up those that have enough.
    fn collect(&mut self) {
        let Some(bank) = &mut self.bank else { return };
        for t in &mut self.tracked {
            let Some(c) = t.channel else { continue };
            let room = t.quota.saturating_sub(t.stream.samples.len());
            t.stream
                .samples
                .extend(bank.take_channel(c, usize::MAX).into_iter().take(room));
            if t.stream.samples.len() >= t.quota {
                bank.close_channel(c);
                t.channel = None;
            }
        }
        self.record.add(bank.take_rows());
    }

    /// Ends the pass: sums over everything, what was heard of each carrier in order of frequency, and what else stands out.
    pub(super) fn finish(mut self) -> Option<(BankSums, Vec<Heard>, Vec<Unexplained>)> {
        self.bank.as_mut()?.finish();
        self.collect();
        let sums = self.bank.as_ref()?.sums().clone();
        let row_s = self.row_s * self.record.merged() as f64;
        let steps = activity::steps(self.record.rows(), &self.zones, row_s);
        let stretches = self.stretches;
        let fs = self.fs;
        let mut heard: Vec<Heard> = self
            .tracked
            .into_iter()
            .enumerate()
            .map(|(i, t)| Heard {
                // Zones are those of the first stretch's carriers, which are the first.
                step: if t.stretches == stretches {
                    steps.get(i).copied().flatten()
                } else {
                    t.jump
                },
                there: (t.stretches < stretches).then_some(t.there),
                spectrum: (t.stretches < stretches).then(|| Spectrum {
                    sample_rate_hz: fs,
                    psd: t.psd.iter().map(|p| p / t.frames.max(1) as f64).collect(),
                    frames: t.frames,
                }),
                found: t.found,
                stream: t.stream,
            })
            .collect();
        heard.sort_by(|a, b| a.found.centre_hz.total_cmp(&b.found.centre_hz));
        // What a carrier of a later stretch explains.
        let mut rest = self.unexplained;
        rest.retain(|u| {
            let middle = 0.5 * (u.lo_hz + u.hi_hz);
            u.cut
                || !heard
                    .iter()
                    .any(|h| (h.found.centre_hz - middle).abs() < 0.5 * h.found.line.rate)
        });
        rest.sort_by(|a, b| a.lo_hz.total_cmp(&b.lo_hz));
        Some((sums, heard, rest))
    }
}

/// Cuts off a channel what lies before a carrier came and after it left, when it was there for less than half of it. The
/// channel's zero must be the carrier's middle.
pub(super) fn trim(s: &mut Stream, centre_hz: f64, rate: f64) {
    const PARTS: usize = 64;
    const FINE: usize = 32;
    let size = s.samples.len() / PARTS;
    if (centre_hz - s.centre_hz).abs() > 0.1 * rate || size < 256 {
        return;
    }
    // Weights 1, 2, 1 keep the neighbours at the channel's ends out.
    let power: Vec<f64> = s
        .samples
        .chunks_exact(size)
        .map(|c| {
            c.windows(3)
                .map(|w| f64::from((w[0] + w[1] * 2.0 + w[2]).norm_sqr()))
                .sum::<f64>()
        })
        .collect();
    let mut sorted = power.clone();
    sorted.sort_by(f64::total_cmp);
    let (low, high) = (sorted[PARTS / 10], sorted[sorted.len() - 2]);
    if high < 2.0 * low {
        return;
    }
    let level = (low * high).sqrt();
    let (mut best, mut from) = (0..0, 0);
    for (i, p) in power.iter().enumerate() {
        if *p < level {
            from = i + 1;
        } else if i + 1 - from > best.len() {
            best = from..i + 1;
        }
    }
    if best.is_empty() || 2 * best.len() > PARTS {
        return;
    }
    let a = best.start.saturating_sub(1) * size;
    let b = ((best.end + 1) * size).min(s.samples.len());
    // Closer: the outermost short runs above the mean of both levels, all between them taken to belong to it.
    let fine = (size / FINE).max(64);
    let half = 0.5 * (low + high) * fine as f64 / size as f64;
    let above: Vec<usize> = s
        .samples
        .get(a..b)
        .unwrap_or(&[])
        .chunks_exact(fine)
        .enumerate()
        .filter(|(_, c)| {
            let p: f64 = c
                .windows(3)
                .map(|w| f64::from((w[0] + w[1] * 2.0 + w[2]).norm_sqr()))
                .sum();
            p > half
        })
        .map(|(i, _)| i)
        .collect();
    // A run of noise may reach the mean by chance, two of three neighbours hardly ever do.
    let dense = |w: &&[usize]| w[2] - w[0] <= 3;
    let first = above.windows(3).find(dense).map(|w| w[0]);
    let last = above.windows(3).rev().find(dense).map(|w| w[2]);
    let (a, b) = match (first, last) {
        (Some(f), Some(l)) if l > f => (a + f * fine, (a + (l + 1) * fine).min(b)),
        _ => (a, b),
    };
    s.samples.truncate(b);
    s.samples.drain(..a);
    s.start_s += a as f64 / s.rate_hz;
    s.trimmed = true;
}
