//! One pass over the samples: averaged spectrum, power in zones against time, narrow channels, level statistics.
//!
//! Frames of `n` samples overlap by half under a Hann window. The window's halves add up to one, hence the inverse
//! transforms of a few bins of each frame, overlapped and added, are the samples of a narrow channel at the rate
//! `sample_rate * bins / n`: the transform that measures the spectrum also cuts the channels (filter bank summation,
//! J. B. Allen, IEEE Trans. ASSP-25, 1977). Memory does not depend on the length, results do not depend on how the
//! samples arrive in pieces or on the number of threads.

use crate::plans::{forward_short, inverse_short};
use crate::{C32, LevelStats, Spectrum, Window};
use rayon::prelude::*;
use rustfft::Fft;
use std::ops::Range;
use std::sync::Arc;

/// A narrow channel: `bins` neighbouring bins of the frame transform.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ChannelBand {
    /// Lowest bin, counted from the recording's centre (may be negative).
    pub first_bin: i64,
    /// Bins, even.
    pub bins: usize,
}

impl ChannelBand {
    /// The band of at least `width_hz` around `centre_hz`, all of it when wider than the recording.
    pub fn around(centre_hz: f64, width_hz: f64, sample_rate_hz: f64, n: usize) -> Self {
        let df = sample_rate_hz / n as f64;
        let bins = ((width_hz / df / 2.0).ceil() as usize * 2).clamp(2, n);
        if bins * 10 >= n * 9 {
            return Self {
                first_bin: -(n as i64 / 2),
                bins: n,
            };
        }
        Self {
            first_bin: (centre_hz / df).round() as i64 - bins as i64 / 2,
            bins,
        }
    }
    /// Frequency of the channel's zero, Hz from the recording's centre.
    pub fn centre_hz(&self, sample_rate_hz: f64, n: usize) -> f64 {
        (self.first_bin + self.bins as i64 / 2) as f64 * sample_rate_hz / n as f64
    }
    /// Sample rate of the channel.
    pub fn rate_hz(&self, sample_rate_hz: f64, n: usize) -> f64 {
        sample_rate_hz * self.bins as f64 / n as f64
    }
}

/// What one pass has to produce.
#[derive(Debug, Clone)]
pub struct BankPlan {
    /// Sample rate, Hz.
    pub sample_rate_hz: f64,
    /// Frame length, even.
    pub n: usize,
    /// Frames in one row of the power record.
    pub row_frames: usize,
    /// Channels to cut.
    pub channels: Vec<ChannelBand>,
    /// Zones whose power is recorded against time: ranges of bins, lowest frequency first.
    pub zones: Vec<Vec<Range<usize>>>,
    /// Whether to gather level statistics.
    pub levels: bool,
}

impl BankPlan {
    /// Spectrum alone.
    pub fn psd_only(sample_rate_hz: f64, n: usize) -> Self {
        Self {
            sample_rate_hz,
            n: n.max(2) & !1,
            row_frames: 16,
            channels: Vec::new(),
            zones: Vec::new(),
            levels: false,
        }
    }
}

/// Power in the zones during one row, full scale squared.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Frames in this row.
    pub frames: u64,
    /// Mean power of each zone.
    pub zones: Vec<f64>,
}

/// What has been gathered.
#[derive(Debug, Clone)]
pub struct BankSums {
    sample_rate_hz: f64,
    n: usize,
    /// Sum of |X|^2, transform order.
    sum: Vec<f64>,
    /// Sum over rows of the square of the row's mean |X|^2, and of the mean.
    row_sq: Vec<f64>,
    row_sum: Vec<f64>,
    full_rows: u64,
    window_power: f64,
    /// Frames.
    pub frames: u64,
    /// Power against time.
    pub rows: Vec<Row>,
    /// Level statistics.
    pub levels: LevelStats,
}

impl BankSums {
    fn ordered(&self, v: &[f64], scale: f64) -> Vec<f64> {
        let h = self.n / 2;
        (0..self.n)
            .map(|j| v.get((j + self.n - h) % self.n).map_or(0.0, |x| x * scale))
            .collect()
    }

    /// Averaged spectrum so far.
    pub fn spectrum(&self) -> Spectrum {
        let scale = 1.0 / (self.frames.max(1) as f64 * self.sample_rate_hz * self.window_power);
        Spectrum {
            sample_rate_hz: self.sample_rate_hz,
            psd: self.ordered(&self.sum, scale),
            frames: self.frames,
        }
    }

    /// Scatter of each bin's power from row to row relative to its mean (standard deviation over mean), lowest
    /// frequency first; steady noise gives `1/sqrt(averages in a row)`. `None` with fewer than four rows.
    pub fn row_scatter(&self) -> Option<Vec<f64>> {
        if self.full_rows < 4 {
            return None;
        }
        let k = self.full_rows as f64;
        let v: Vec<f64> = self
            .row_sq
            .iter()
            .zip(&self.row_sum)
            .map(|(q, s)| {
                let m = s / k;
                let var = (q / k - m * m).max(0.0) * k / (k - 1.0);
                if m > 0.0 { var.sqrt() / m } else { 0.0 }
            })
            .collect();
        Some(self.ordered(&v, 1.0))
    }
}

struct RowOut {
    sum: Vec<f32>,
    frames: usize,
    zones: Vec<f64>,
    channels: Vec<Vec<C32>>,
    levels: Option<LevelStats>,
}

/// The pass itself.
pub struct FrameBank {
    plan: BankPlan,
    fft: Arc<dyn Fft<f32>>,
    inverse: Vec<Arc<dyn Fft<f32>>>,
    window: Vec<f32>,
    zones: Vec<Vec<Range<usize>>>,
    pending: Vec<C32>,
    frame_index: u64,
    sums: BankSums,
    /// Finished samples of each channel, and the half frame still open.
    out: Vec<Vec<C32>>,
    tail: Vec<Vec<C32>>,
    /// Whether a channel is still cut, and the frame it began with.
    open: Vec<bool>,
    opened: Vec<u64>,
}

/// Rows handed to the threads at once.
const ROWS_PER_BATCH: usize = 16;

impl FrameBank {
    /// Prepares the transforms.
    pub fn new(mut plan: BankPlan) -> Self {
        plan.n = plan.n.max(2) & !1;
        plan.row_frames = plan.row_frames.max(1);
        let n = plan.n;
        let fft = forward_short(n);
        let inverse = plan
            .channels
            .iter()
            .map(|c| inverse_short(c.bins))
            .collect();
        let w = Window::Hann.coefficients(n);
        // Zones arrive lowest frequency first; transforms have zero first.
        let h = n / 2;
        let zones = plan
            .zones
            .iter()
            .map(|z| {
                z.iter()
                    .flat_map(|r| {
                        let (a, b) = (r.start.min(n), r.end.min(n));
                        let low = a.min(h)..b.min(h);
                        let high = a.max(h)..b.max(h);
                        [
                            low.start + n - h..low.end + n - h,
                            high.start - h..high.end - h,
                        ]
                    })
                    .filter(|r| !r.is_empty())
                    .collect()
            })
            .collect();
        let k = plan.channels.len();
        Self {
            fft,
            inverse,
            window: w.iter().map(|x| *x as f32).collect(),
            zones,
            pending: Vec::new(),
            frame_index: 0,
            sums: BankSums {
                sample_rate_hz: plan.sample_rate_hz,
                n,
                sum: vec![0.0; n],
                row_sq: vec![0.0; n],
                row_sum: vec![0.0; n],
                full_rows: 0,
                window_power: w.iter().map(|x| x * x).sum(),
                frames: 0,
                rows: Vec::new(),
                levels: LevelStats::default(),
            },
            out: vec![Vec::new(); k],
            tail: vec![Vec::new(); k],
            open: vec![true; k],
            opened: vec![0; k],
            plan,
        }
    }

    /// What has been gathered so far.
    pub fn sums(&self) -> &BankSums {
        &self.sums
    }

    /// The plan.
    pub fn plan(&self) -> &BankPlan {
        &self.plan
    }

    /// Cuts a further channel from the samples on that are not worked off yet; its number.
    pub fn open_channel(&mut self, band: ChannelBand) -> usize {
        self.inverse.push(inverse_short(band.bins));
        self.plan.channels.push(band);
        self.out.push(Vec::new());
        self.tail.push(Vec::new());
        self.open.push(true);
        self.opened.push(self.frame_index);
        self.open.len() - 1
    }

    /// Cuts a channel no more; what is ready can still be taken.
    pub fn close_channel(&mut self, channel: usize) {
        if let Some(o) = self.open.get_mut(channel) {
            *o = false;
        }
    }

    /// The power record so far, which begins anew.
    pub fn take_rows(&mut self) -> Vec<Row> {
        std::mem::take(&mut self.sums.rows)
    }

    /// Samples of a channel that are ready and not yet taken.
    pub fn channel_len(&self, channel: usize) -> usize {
        self.out.get(channel).map_or(0, Vec::len)
    }

    /// Takes the first `count` ready samples of a channel.
    pub fn take_channel(&mut self, channel: usize, count: usize) -> Vec<C32> {
        self.out.get_mut(channel).map_or_else(Vec::new, |o| {
            let count = count.min(o.len());
            o.drain(..count).collect()
        })
    }

    /// Adds samples.
    pub fn push(&mut self, samples: &[C32]) {
        let hop = self.plan.n / 2;
        let batch = ROWS_PER_BATCH * self.plan.row_frames * hop;
        let mut rest = samples;
        while !rest.is_empty() {
            let want = (batch + hop).saturating_sub(self.pending.len()).max(1);
            let take = want.min(rest.len());
            let (now, later) = rest.split_at(take);
            self.pending.extend_from_slice(now);
            rest = later;
            if self.pending.len() >= batch + hop {
                self.rows(ROWS_PER_BATCH, self.plan.row_frames);
                self.pending.drain(..batch);
            }
        }
    }

    /// Works off every whole row that is there: a channel closed now has all but the last row's samples so far.
    pub fn settle(&mut self) {
        let hop = self.plan.n / 2;
        let row = self.plan.row_frames * hop;
        let rows = self.pending.len().saturating_sub(hop) / row;
        if rows > 0 {
            self.rows(rows, self.plan.row_frames);
            self.pending.drain(..rows * row);
        }
    }

    /// Works off what is left: whole rows, then one shorter row, then the samples that fill no frame (these count
    /// for the level statistics alone).
    pub fn finish(&mut self) {
        let hop = self.plan.n / 2;
        self.settle();
        let frames = (self.pending.len() / hop).saturating_sub(1);
        if frames > 0 {
            self.rows(1, frames);
            self.pending.drain(..frames * hop);
        }
        if self.plan.levels {
            let rest = std::mem::take(&mut self.pending);
            self.sums.levels.push(&rest);
        }
        self.pending.clear();
    }

    fn rows(&mut self, rows: usize, frames: usize) {
        let hop = self.plan.n / 2;
        let outs: Vec<RowOut> = (0..rows)
            .into_par_iter()
            .map_init(
                || self.scratch(),
                |scratch, r| {
                    let start = r * frames * hop;
                    let x = self
                        .pending
                        .get(start..start + (frames + 1) * hop)
                        .unwrap_or(&[]);
                    self.row(x, frames, self.frame_index + (r * frames) as u64, scratch)
                },
            )
            .collect();
        for o in outs {
            self.add(o);
        }
        self.frame_index += (rows * frames) as u64;
    }

    fn scratch(&self) -> Scratch {
        let len = self
            .inverse
            .iter()
            .map(|f| f.get_inplace_scratch_len())
            .chain([self.fft.get_inplace_scratch_len()])
            .max()
            .unwrap_or(0);
        Scratch {
            frame: vec![C32::default(); self.plan.n],
            work: vec![C32::default(); len],
            bins: Vec::new(),
        }
    }

    fn row(&self, x: &[C32], frames: usize, first: u64, s: &mut Scratch) -> RowOut {
        let (n, hop) = (self.plan.n, self.plan.n / 2);
        let mut sum = vec![0f32; n];
        let mut channels: Vec<Vec<C32>> = self
            .plan
            .channels
            .iter()
            .zip(&self.open)
            .map(|(c, open)| {
                let half_frames = if *open { frames + 1 } else { 0 };
                vec![C32::default(); c.bins / 2 * half_frames]
            })
            .collect();
        for k in 0..frames {
            let Some(frame) = x.get(k * hop..k * hop + n) else {
                break;
            };
            for ((d, v), w) in s.frame.iter_mut().zip(frame).zip(&self.window) {
                *d = v * w;
            }
            self.fft.process_with_scratch(&mut s.frame, &mut s.work);
            for (a, z) in sum.iter_mut().zip(&s.frame) {
                *a += z.norm_sqr();
            }
            for ((c, inv), out) in self
                .plan
                .channels
                .iter()
                .zip(&self.inverse)
                .zip(channels.iter_mut())
                .filter(|(_, out)| !out.is_empty())
            {
                cut(c, inv.as_ref(), s, first + k as u64, k, out);
            }
        }
        let scale = 1.0 / (frames as f64 * self.sums.window_power * n as f64);
        let zones = self
            .zones
            .iter()
            .map(|z| {
                z.iter()
                    .flat_map(|r| sum.get(r.clone()).unwrap_or(&[]))
                    .map(|v| f64::from(*v))
                    .sum::<f64>()
                    * scale
            })
            .collect();
        let levels = self.plan.levels.then(|| {
            let mut l = LevelStats::default();
            if first == 0 {
                l.note_step(x);
            }
            // The first half million samples count one by one, later ones in every sixteenth run.
            let thin = if first * (hop as u64) < 500_000 {
                1
            } else {
                16
            };
            l.push_thinned(x.get(..frames * hop).unwrap_or(&[]), thin);
            l
        });
        RowOut {
            sum,
            frames,
            zones,
            channels,
            levels,
        }
    }

    fn add(&mut self, o: RowOut) {
        let inv = 1.0 / o.frames as f64;
        let full = o.frames == self.plan.row_frames;
        for (((a, q), m), v) in self
            .sums
            .sum
            .iter_mut()
            .zip(self.sums.row_sq.iter_mut())
            .zip(self.sums.row_sum.iter_mut())
            .zip(&o.sum)
        {
            let v = f64::from(*v);
            *a += v;
            if full {
                let r = v * inv;
                *q += r * r;
                *m += r;
            }
        }
        self.sums.full_rows += u64::from(full);
        self.sums.frames += o.frames as u64;
        self.sums.rows.push(Row {
            frames: o.frames as u64,
            zones: o.zones,
        });
        if let Some(l) = &o.levels {
            self.sums.levels.add(l);
        }
        for (((c, mut piece), out), tail) in self
            .plan
            .channels
            .iter()
            .zip(o.channels)
            .zip(self.out.iter_mut())
            .zip(self.tail.iter_mut())
        {
            if piece.is_empty() {
                continue;
            }
            let half = c.bins / 2;
            for (p, t) in piece.iter_mut().zip(tail.iter()) {
                *p += t;
            }
            // The very first half frame has no partner: it is tapered and is left out.
            let from = if tail.is_empty() {
                half.min(piece.len())
            } else {
                0
            };
            let to = piece.len().saturating_sub(half).max(from);
            out.extend_from_slice(piece.get(from..to).unwrap_or(&[]));
            *tail = piece.split_off(piece.len() - half.min(piece.len()));
        }
    }

    /// Samples of the recording before the first sample of a channel that was there from the beginning.
    pub fn channel_start(&self) -> usize {
        self.plan.n / 2
    }

    /// Samples of the recording before a channel's first sample.
    pub fn start_of_channel(&self, channel: usize) -> u64 {
        let frame = self.opened.get(channel).copied().unwrap_or(0);
        (frame + 1) * (self.plan.n / 2) as u64
    }
}

struct Scratch {
    frame: Vec<C32>,
    work: Vec<C32>,
    bins: Vec<C32>,
}

/// Adds the channel's share of one frame to `out` at frame position `k` of the row.
fn cut(
    c: &ChannelBand,
    inv: &dyn Fft<f32>,
    s: &mut Scratch,
    index: u64,
    k: usize,
    out: &mut [C32],
) {
    let (n, m) = (s.frame.len(), c.bins);
    let centre = c.first_bin + (m / 2) as i64;
    // Mixing to the channel's centre turns the phase by pi per bin and frame.
    let sign = if (centre & 1) != 0 && index % 2 == 1 {
        -1.0
    } else {
        1.0
    };
    let scale = sign / n as f32;
    s.bins.clear();
    // Index i of the inverse transform is the channel's frequency i or i - m: two runs of neighbouring bins, each of
    // which may pass the end of the transform.
    for (first, mut len) in [(centre, m / 2), (centre - (m / 2) as i64, m / 2)] {
        let mut from = first.rem_euclid(n as i64) as usize;
        while len > 0 {
            let run = len.min(n - from);
            let part = s.frame.get(from..from + run).unwrap_or(&[]);
            s.bins.extend(part.iter().map(|z| z * scale));
            len -= run;
            from = 0;
        }
    }
    inv.process_with_scratch(&mut s.bins, &mut s.work);
    let at = k * (m / 2);
    if let Some(o) = out.get_mut(at..at + m) {
        for (o, b) in o.iter_mut().zip(&s.bins) {
            *o += b;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha12Rng;

    fn plan() -> BankPlan {
        BankPlan {
            sample_rate_hz: 100e3,
            n: 512,
            row_frames: 4,
            channels: vec![ChannelBand::around(12_345.0, 8e3, 100e3, 512)],
            zones: vec![vec![0..512], vec![200..300]],
            levels: true,
        }
    }

    fn tone(f: f64, fs: f64, n: usize) -> Vec<C32> {
        (0..n)
            .map(|i| {
                let a = std::f64::consts::TAU * f * i as f64 / fs;
                C32::new(a.cos() as f32, a.sin() as f32)
            })
            .collect()
    }

    #[test]
    fn a_channel_is_the_signal_mixed_and_decimated() {
        let mut b = FrameBank::new(plan());
        b.push(&tone(13_000.0, 100e3, 40_000));
        b.finish();
        let c = b.plan().channels[0];
        let (f0, rate) = (c.centre_hz(100e3, 512), c.rate_hz(100e3, 512));
        let y = b.take_channel(0, usize::MAX);
        let t0 = b.channel_start() as f64 / 100e3;
        let mut worst = 0f64;
        for (i, z) in y.iter().enumerate() {
            let t = t0 + i as f64 / rate;
            let a = std::f64::consts::TAU * (13_000.0 - f0) * t;
            // The centre is mixed with its phase zero at the start of the recording.
            let want = C32::new(a.cos() as f32, a.sin() as f32);
            worst = worst.max(f64::from((z - want).norm()));
        }
        assert!(worst < 3e-3, "{worst}");
        assert!(y.len() > 3_000);
    }

    #[test]
    fn pieces_and_threads_do_not_matter() {
        let mut r = ChaCha12Rng::seed_from_u64(9);
        let x: Vec<C32> = (0..50_000)
            .map(|_| C32::new(r.random::<f32>() - 0.5, r.random::<f32>() - 0.5))
            .collect();
        let run = |pieces: &[usize], threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap();
            pool.install(|| {
                let mut b = FrameBank::new(plan());
                let mut at = 0;
                let mut i = 0;
                while at < x.len() {
                    let k = pieces[i % pieces.len()].min(x.len() - at);
                    b.push(&x[at..at + k]);
                    at += k;
                    i += 1;
                }
                b.finish();
                let y = b.take_channel(0, usize::MAX);
                (
                    b.sums().spectrum(),
                    b.sums().rows.clone(),
                    y,
                    b.sums().levels.power(),
                )
            })
        };
        let a = run(&[50_000], 1);
        let b = run(&[1, 777, 4096, 3], 2);
        assert_eq!(a, b);
        // Power in the zone over the whole band is the mean power of the samples.
        let total: f64 =
            a.1.iter()
                .map(|r| r.zones[0] * r.frames as f64)
                .sum::<f64>()
                / a.1.iter().map(|r| r.frames as f64).sum::<f64>();
        assert!((total / a.3 - 1.0).abs() < 0.01);
    }

    #[test]
    fn a_channel_closed_after_settling_has_all_but_the_last_row() {
        let p = plan();
        let (row, hop) = (p.row_frames * p.n / 2, p.n / 2);
        let mut bank = FrameBank::new(p);
        // Far fewer samples than a batch of rows.
        bank.push(&vec![C32::new(0.1, 0.0); 5 * row + hop]);
        assert_eq!(bank.channel_len(0), 0);
        bank.settle();
        bank.close_channel(0);
        let rate = bank.plan().channels[0].rate_hz(100e3, 512);
        let samples = bank.channel_len(0) as f64 * 100e3 / rate;
        assert!(samples >= (4 * row) as f64, "{samples}");
    }
}
