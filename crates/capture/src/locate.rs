//! Where the satellite stands in the recording: one common oscillator error ties all its beacons and passbands
//! together.
//!
//! For every meaning the centre may have, and every oscillator error within tolerance, the spectrum is compared with
//! what the plan says may be there: a line for a carrier, the power spectrum of the pulses for BPSK, a raised floor
//! for a passband. Each beacon's correlation with its own shape gives candidates; a candidate collects the evidence
//! of every beacon and passband at once. Candidates of BPSK are then proved by the line that squaring makes.

use crate::beacon::squared_line;
use crate::plan::{BeaconKind, CentreMeaning, SearchPlan};
use slantpath_signal::pulse::raised_cosine;
use slantpath_signal::{BankPlan, Block, C32, ChannelBand, FrameBank, Spectrum};
use std::f64::consts::PI;

/// Where the plan stands in the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Location {
    /// What the centre means.
    pub meaning: CentreMeaning,
    /// Shift of everything against its nominal place, Hz in the recording (positive: higher).
    pub shift_hz: f64,
    /// How well the shift is known so far, Hz.
    pub u_shift_hz: f64,
    /// Evidence, natural logarithm of a likelihood ratio (capped).
    pub score: f64,
    /// Evidence of the best candidate that stands elsewhere.
    pub runner_up: Option<Candidate>,
    /// Number of beacons seen at their places.
    pub beacons_seen: usize,
    /// Whether the passband's edges took part.
    pub edges_used: bool,
}

/// One possible place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// What the centre would mean.
    pub meaning: CentreMeaning,
    /// Shift, Hz.
    pub shift_hz: f64,
    /// Evidence.
    pub score: f64,
}

/// Nothing of the plan was found.
#[derive(Debug, Clone, PartialEq)]
pub enum NotFound {
    /// No beacon or passband can lie in the recorded band, whatever the oscillator's error.
    OutOfBand,
    /// It might, and nothing convincing was seen. The best score reached.
    Nothing {
        /// Best evidence.
        score: f64,
    },
}

/// Evidence below which a place is not believed.
const BELIEVE: f64 = 5.0;
/// Largest evidence of one beacon: beyond, more signal says nothing more about where it is.
const CAP: f64 = 9.0;

/// Part of the band that a recording shows: the receiver's filter falls beyond.
pub const BAND_SHOWN: f64 = 0.47;

/// Finds the place. `samples` are the beginning of the recording, `s` their spectrum.
pub fn locate(
    plan: &SearchPlan,
    centre_hz: f64,
    s: &Spectrum,
    samples: &[C32],
) -> Result<Location, NotFound> {
    let widest = plan
        .beacons
        .iter()
        .map(|b| b.kind.half_width_hz())
        .fold(0.0, f64::max);
    let e = Excess::of(s, direct_current(samples), widest);
    let limit = BAND_SHOWN * s.sample_rate_hz;
    let mut all: Vec<Candidate> = Vec::new();
    let mut possible = false;
    for &meaning in &plan.meanings {
        let inverted = meaning.is_inverted();
        let shown: Vec<(BeaconKind, f64)> = plan
            .beacons
            .iter()
            .map(|b| (b.kind, meaning.offset_hz(b.rf_hz, centre_hz)))
            .filter(|(_, o)| o.abs() < limit + plan.lo_tolerance_hz)
            .collect();
        let bands: Vec<(f64, f64)> = plan
            .passbands
            .iter()
            .map(|p| {
                let (a, b) = (
                    meaning.offset_hz(p.lo_hz, centre_hz),
                    meaning.offset_hz(p.hi_hz, centre_hz),
                );
                if inverted { (b, a) } else { (a, b) }
            })
            .filter(|(a, b)| {
                *a < limit + plan.lo_tolerance_hz && *b > -limit - plan.lo_tolerance_hz
            })
            .collect();
        if shown.is_empty() && bands.is_empty() {
            continue;
        }
        possible = true;
        let edges = Edges::of(s, &e, &bands);
        let mut shifts: Vec<f64> = Vec::new();
        let profiles: Vec<Vec<f32>> = shown.iter().map(|(k, _)| e.profile(*k)).collect();
        for ((_, offset), profile) in shown.iter().zip(&profiles) {
            for (f, _) in e.peaks(
                profile,
                offset - plan.lo_tolerance_hz,
                offset + plan.lo_tolerance_hz,
                20,
            ) {
                shifts.push(f - offset);
            }
        }
        // The edges speak for places without any beacon too.
        shifts.extend(edges.best_shift(plan.lo_tolerance_hz));
        let reference = edges.reference(&shifts);
        for &shift in &shifts {
            let mut score = edges.score_near(shift) - reference;
            score = score.max(-15.0);
            // A step that stands out is evidence by itself.
            if reference > 12.0 {
                score += 6.0;
            }
            for ((kind, offset), profile) in shown.iter().zip(&profiles) {
                let f = offset + shift;
                if f.abs() + kind.half_width_hz() > limit {
                    continue;
                }
                let seen = e.near(profile, f, 1.5 * s.bin_hz() + 20.0);
                score += if seen > 1.0 { seen } else { -1.0 };
            }
            all.push(Candidate {
                meaning,
                shift_hz: shift,
                score,
            });
        }
    }
    if !possible {
        return Err(NotFound::OutOfBand);
    }
    all.sort_by(|a, b| b.score.total_cmp(&a.score));
    prove(plan, centre_hz, s, samples, &mut all);
    all.sort_by(|a, b| b.score.total_cmp(&a.score));
    let Some(&best) = all.first() else {
        return Err(NotFound::Nothing { score: 0.0 });
    };
    if best.score < BELIEVE {
        return Err(NotFound::Nothing { score: best.score });
    }
    Ok(refine(plan, centre_hz, s, &e, best, &all))
}

/// Mean place of the beacons seen about the winning candidate.
fn refine(
    plan: &SearchPlan,
    centre_hz: f64,
    s: &Spectrum,
    e: &Excess,
    best: Candidate,
    all: &[Candidate],
) -> Location {
    let limit = BAND_SHOWN * s.sample_rate_hz;
    let (mut sum, mut weight, mut seen) = (0.0, 0.0, 0);
    for b in &plan.beacons {
        let f = best.meaning.offset_hz(b.rf_hz, centre_hz) + best.shift_hz;
        if f.abs() + b.kind.half_width_hz() > limit {
            continue;
        }
        let profile = e.profile(b.kind);
        let reach = 1.5 * s.bin_hz() + 20.0;
        if let Some((at, v)) = e.peaks(&profile, f - reach, f + reach, 1).first()
            && *v > 2.0
        {
            // A line is placed better than a broad spectrum.
            let w = match b.kind {
                BeaconKind::Carrier | BeaconKind::KeyedCarrier => 4.0,
                _ => 1.0,
            };
            sum += w * (at - f);
            weight += w;
            seen += 1;
        }
    }
    let own = 1.0f64.max(s.bin_hz());
    Location {
        meaning: best.meaning,
        shift_hz: best.shift_hz + if weight > 0.0 { sum / weight } else { 0.0 },
        u_shift_hz: if seen > 0 {
            own
        } else {
            4.0 * own + 1e-3 * s.sample_rate_hz
        },
        score: best.score,
        runner_up: all
            .iter()
            .find(|c| {
                c.meaning != best.meaning
                    || (c.shift_hz - best.shift_hz).abs() > 4.0 * s.bin_hz() + 100.0
            })
            .copied(),
        beacons_seen: seen,
        edges_used: !plan.passbands.is_empty() && s.sample_rate_hz > 0.0,
    }
}

/// Adds the evidence of the squared line to the best candidates.
fn prove(plan: &SearchPlan, centre_hz: f64, s: &Spectrum, samples: &[C32], all: &mut [Candidate]) {
    let fs = s.sample_rate_hz;
    let n = s.len();
    let limit = BAND_SHOWN * fs;
    let mut jobs: Vec<(usize, f64, f64)> = Vec::new(); // candidate, frequency, half width
    let top = all.first().map_or(0.0, |c| c.score);
    let mut tried: Vec<(CentreMeaning, f64)> = Vec::new();
    for (i, c) in all.iter().enumerate().take(40) {
        if jobs.len() >= 10 || c.score < top - 14.0 {
            break;
        }
        if tried
            .iter()
            .any(|(m, x)| *m == c.meaning && (x - c.shift_hz).abs() < 1.2 * s.bin_hz())
        {
            continue;
        }
        tried.push((c.meaning, c.shift_hz));
        for b in &plan.beacons {
            let f = c.meaning.offset_hz(b.rf_hz, centre_hz) + c.shift_hz;
            if matches!(b.kind, BeaconKind::Bpsk { .. }) && f.abs() + b.kind.half_width_hz() < limit
            {
                jobs.push((i, f, b.kind.half_width_hz()));
            }
        }
    }
    if jobs.is_empty() {
        return;
    }
    let channels: Vec<ChannelBand> = jobs
        .iter()
        .map(|(_, f, h)| ChannelBand::around(*f, 8.0 * h, fs, n))
        .collect();
    let mut bank = FrameBank::new(BankPlan {
        channels: channels.clone(),
        ..BankPlan::psd_only(fs, n)
    });
    let take = ((2.0 * fs) as usize).max(64 * n).min(samples.len());
    bank.push(samples.get(..take).unwrap_or(samples));
    bank.finish();
    for (k, ((i, f, half), band)) in jobs.iter().zip(&channels).enumerate() {
        let y = bank.take_channel(k, usize::MAX);
        let rate = band.rate_hz(fs, n);
        if y.len() < 256 {
            continue;
        }
        let block = Block::new(&y, rate);
        let near = f - band.centre_hz(fs, n);
        let reach = (1.5 * s.bin_hz() + 20.0).min(0.2 * half);
        if let Some((snr, _)) = squared_line(&block, near, reach, *half)
            && let Some(c) = all.get_mut(*i)
        {
            // A noise peak among some thousand trials reaches about ln(1e4) = 9; speech is far from a line.
            let gain = if snr > 25.0 {
                (snr / 25.0).ln().min(2.0) * 2.0 + 3.0
            } else {
                -3.0
            };
            c.score += gain;
        }
    }
}

/// Power of the mean of samples.
fn direct_current(samples: &[C32]) -> f64 {
    let sum: slantpath_signal::C64 = samples
        .iter()
        .map(|z| slantpath_signal::C64::new(f64::from(z.re), f64::from(z.im)))
        .sum();
    (sum / samples.len().max(1) as f64).norm_sqr()
}

/// The spectrum over its own floor, and how a floor is guessed before anything is known.
struct Excess {
    /// Density over floor, less one.
    x: Vec<f32>,
    floor: Vec<f64>,
    /// Bins of the stretch that a value of the floor rests on.
    stretch: usize,
    /// Standard deviation of `x` for noise.
    sigma: f64,
    df: f64,
    n: usize,
}

impl Excess {
    fn of(s: &Spectrum, dc_power: f64, widest_hz: f64) -> Self {
        let n = s.len();
        let mut p = s.psd.clone();
        // The receiver's direct current is nobody's carrier. Under a Hann window of n points it fills three bins, the
        // middle one with dc n/(1.5 fs), its neighbours with a quarter of that.
        let dc = n / 2;
        if n > 32 {
            let around: f64 = (4..8).flat_map(|k| [p[dc - k], p[dc + k]]).sum::<f64>() / 8.0;
            let middle = dc_power * n as f64 / (1.5 * s.sample_rate_hz);
            for (k, share) in [(dc - 1, 0.25), (dc, 1.0), (dc + 1, 0.25)] {
                let left = p[k] - share * middle;
                // What is left of a strong direct current is its own unrest.
                p[k] = if left > 0.05 * share * middle && left > 0.0 {
                    left
                } else {
                    around
                };
            }
        }
        let df = s.bin_hz();
        // The widest beacon must not fill the stretch whose low quantile is taken for the floor.
        let most = (n / 8)
            .max((3.0 * widest_hz / df) as usize)
            .clamp(16, n / 2);
        let half = ((6_000.0f64.max(3.0 * widest_hz) / df).round() as usize).clamp(16, most);
        let step = (half / 8).max(1);
        let sigma = 1.0 / s.averages().sqrt();
        // Low quantile over a sliding stretch, joined by straight lines.
        let knots: Vec<(usize, f64)> = (0..n)
            .step_by(step)
            .chain([n.saturating_sub(1)])
            .map(|i| {
                let mut v: Vec<f64> = p[i.saturating_sub(half)..(i + half + 1).min(n)].to_vec();
                let k = (v.len() as f64 * 0.35) as usize;
                let (_, q, _) = v.select_nth_unstable_by(k, f64::total_cmp);
                (i, *q * (1.0 + 0.385 * sigma))
            })
            .collect();
        let mut floor = vec![0.0; n];
        for w in knots.windows(2) {
            let ((a, pa), (b, pb)) = (w[0], w[1]);
            for (i, f) in floor.iter_mut().enumerate().take(b + 1).skip(a) {
                let t = if b > a {
                    (i - a) as f64 / (b - a) as f64
                } else {
                    0.0
                };
                *f = pa + t * (pb - pa);
            }
        }
        let x = p
            .iter()
            .zip(&floor)
            .map(|(p, f)| if *f > 0.0 { (p / f - 1.0) as f32 } else { 0.0 })
            .collect();
        Self {
            x,
            floor,
            stretch: 2 * half + 1,
            sigma,
            df,
            n,
        }
    }

    fn shape(&self, kind: BeaconKind) -> Vec<f64> {
        let spread = |f: f64| -> f64 {
            match kind {
                BeaconKind::Carrier | BeaconKind::KeyedCarrier => {
                    // Main lobe of the Hann window.
                    match (f / self.df).round().abs() as i64 {
                        0 => 1.0,
                        1 => 0.35,
                        _ => 0.0,
                    }
                }
                BeaconKind::Bpsk {
                    symbol_rate,
                    rolloff,
                    manchester: false,
                }
                | BeaconKind::Modulated {
                    symbol_rate,
                    rolloff,
                } => raised_cosine(f, symbol_rate, rolloff),
                BeaconKind::Bpsk {
                    symbol_rate,
                    rolloff,
                    manchester: true,
                } => {
                    let s = (PI * f / (2.0 * symbol_rate)).sin();
                    raised_cosine(f, 2.0 * symbol_rate, rolloff) * 2.0 * s * s
                }
            }
        };
        let reach = match kind {
            BeaconKind::Carrier | BeaconKind::KeyedCarrier => 6,
            k => (1.4 * k.half_width_hz() / self.df).ceil() as i64 + 1,
        };
        (-reach..=reach)
            .map(|k| spread(k as f64 * self.df))
            .collect()
    }

    /// Evidence for a beacon of this kind at every bin.
    fn profile(&self, kind: BeaconKind) -> Vec<f32> {
        let g = self.shape(kind);
        let reach = g.len() / 2;
        let gg: f64 = g.iter().map(|v| v * v).sum();
        let noise = self.sigma * self.sigma;
        let mut out = vec![0f32; self.n];
        for (i, o) in out
            .iter_mut()
            .enumerate()
            .take(self.n.saturating_sub(reach))
            .skip(reach)
        {
            let x = &self.x[i - reach..=i + reach];
            let (mut gx, mut xx) = (0.0, 0.0);
            for (g, x) in g.iter().zip(x) {
                let x = f64::from(*x);
                gx += g * x;
                xx += x * x;
            }
            let snr = gx / (gg * noise * 1.5).sqrt();
            if snr < 4.0 {
                continue;
            }
            // How much of what stands here has the beacon's shape.
            let signal = (xx - x.len() as f64 * noise).max(gx * gx / gg);
            let like = (gx / (gg * signal).sqrt()).clamp(0.0, 1.0);
            *o = ((1.0 + snr * snr).ln().min(CAP) * like.powi(4)) as f32;
        }
        out
    }

    fn bin(&self, f: f64) -> f64 {
        f / self.df + (self.n / 2) as f64
    }

    fn near(&self, profile: &[f32], f: f64, reach: f64) -> f64 {
        let a = self.bin(f - reach).round().max(0.0) as usize;
        let b = self.bin(f + reach).round().max(0.0) as usize;
        profile
            .get(a..(b + 1).min(self.n))
            .map_or(0.0, |p| p.iter().fold(0f32, |m, v| m.max(*v)).into())
    }

    /// Strongest local maxima between two frequencies: frequency (interpolated) and value.
    fn peaks(&self, profile: &[f32], lo: f64, hi: f64, count: usize) -> Vec<(f64, f64)> {
        let a = self.bin(lo).round().max(1.0) as usize;
        let b = (self.bin(hi).round().max(0.0) as usize).min(self.n.saturating_sub(2));
        let mut v: Vec<(f64, f64)> = (a..=b)
            .filter(|&i| {
                profile[i] > 0.5 && profile[i] >= profile[i - 1] && profile[i] > profile[i + 1]
            })
            .map(|i| {
                let (l, m, r) = (
                    f64::from(profile[i - 1]),
                    f64::from(profile[i]),
                    f64::from(profile[i + 1]),
                );
                let curve = l - 2.0 * m + r;
                let d = if curve < 0.0 {
                    (0.5 * (l - r) / curve).clamp(-0.5, 0.5)
                } else {
                    0.0
                };
                ((i as f64 + d - (self.n / 2) as f64) * self.df, m)
            })
            .collect();
        v.sort_by(|x, y| y.1.total_cmp(&x.1));
        v.truncate(count);
        v
    }
}

/// The floor in coarse cells, and how well a raised passband explains it.
struct Edges {
    f: Vec<f64>,
    y: Vec<f64>,
    bands: Vec<(f64, f64)>,
    flat: f64,
    /// Cells that are independent of each other: neighbours rest on the same stretch of floor.
    independent: f64,
}

impl Edges {
    fn of(s: &Spectrum, e: &Excess, bands: &[(f64, f64)]) -> Self {
        let limit = 0.45 * s.sample_rate_hz;
        let cells = 120;
        let r = s.range(-limit, limit);
        let width = (r.len() / cells).max(1);
        let (mut f, mut y) = (Vec::new(), Vec::new());
        let mut a = r.start;
        while a + width <= r.end {
            let mut v = e.floor[a..a + width].to_vec();
            v.sort_by(f64::total_cmp);
            let m = v[v.len() / 2];
            if m > 0.0 {
                f.push(s.freq(a + width / 2));
                y.push(m.ln());
            }
            a += width;
        }
        // Values of a sliding quantile two thirds of its stretch apart are nearly independent.
        let independent = 1.5 * r.len() as f64 / e.stretch as f64;
        let mut me = Self {
            independent: independent.min(y.len() as f64),
            f,
            y,
            bands: bands.to_vec(),
            flat: 0.0,
        };
        me.flat = me.residual(None);
        me
    }

    /// Sum of squares about a straight line, with a step for the passbands when a shift is given.
    fn residual(&self, shift: Option<f64>) -> f64 {
        let n = self.f.len();
        if n < 12 {
            return 1.0;
        }
        let scale = self.f.last().copied().unwrap_or(1.0).abs().max(1.0);
        let (mut a, mut b) = ([[0.0; 3]; 3], [0.0; 3]);
        let mut rows: Vec<([f64; 3], f64)> = Vec::with_capacity(n);
        for (f, y) in self.f.iter().zip(&self.y) {
            // Cells on an edge belong to neither side.
            let step = match shift {
                Some(d) => self.inside(*f, d),
                None => Some(0.0),
            };
            let Some(step) = step else { continue };
            rows.push(([1.0, f / scale, step], *y));
        }
        for (r, y) in &rows {
            for i in 0..3 {
                b[i] += r[i] * y;
                for j in 0..3 {
                    a[i][j] += r[i] * r[j];
                }
            }
        }
        a[2][2] += 1e-6;
        let m: Vec<Vec<f64>> = a.iter().map(|r| r.to_vec()).collect();
        let Some(inv) = slantpath_signal::fit::invert(&m) else {
            return self.flat.max(1e-9);
        };
        let c: Vec<f64> = inv
            .iter()
            .map(|r| r.iter().zip(&b).map(|(x, y)| x * y).sum())
            .collect();
        if shift.is_some() && c[2] < 0.02 {
            // A passband can only raise the floor.
            return self.flat;
        }
        let sse: f64 = rows
            .iter()
            .map(|(r, y)| {
                let d = y - r.iter().zip(&c).map(|(x, c)| x * c).sum::<f64>();
                // A cell spoilt by signals counts no more than this.
                (d * d).min(0.25)
            })
            .sum();
        sse / rows.len().max(1) as f64 * n as f64 + 1e-4 * n as f64
    }

    /// 1 within a passband, 0 well outside, nothing on its edges.
    fn inside(&self, f: f64, shift: f64) -> Option<f64> {
        let mut answer = Some(0.0);
        for (lo, hi) in &self.bands {
            let half = 0.5 * (hi - lo);
            let x = (f - shift - 0.5 * (lo + hi)).abs() / half.max(1.0);
            if x < 0.95 {
                return Some(1.0);
            }
            if x < 1.06 {
                answer = None;
            }
        }
        answer
    }

    /// Evidence for a step at this shift, natural logarithm.
    fn score(&self, shift: f64) -> f64 {
        if self.bands.is_empty() || self.f.len() < 12 {
            return 0.0;
        }
        0.5 * self.independent * (self.flat / self.residual(Some(shift))).max(1e-9).ln()
    }

    /// The best evidence within a cell and a half: edges do not tell places apart that lie closer.
    fn score_near(&self, shift: f64) -> f64 {
        let cell = match (self.f.first(), self.f.last()) {
            (Some(a), Some(b)) => (b - a) / self.f.len() as f64,
            _ => 0.0,
        };
        (-3..=3)
            .map(|k| self.score(shift + 0.5 * f64::from(k) * cell))
            .fold(f64::NEG_INFINITY, f64::max)
    }

    fn reference(&self, shifts: &[f64]) -> f64 {
        shifts
            .iter()
            .map(|s| self.score_near(*s))
            .fold(0.0, f64::max)
    }

    /// Shift at which the edges fit best, when they fit well.
    fn best_shift(&self, tolerance: f64) -> Option<f64> {
        let first = self.f.first()?;
        let cell = (self.f.last()? - first) / self.f.len() as f64;
        let step = 0.5 * cell;
        let count = (tolerance / step).ceil() as i64;
        let scored: Vec<(f64, f64)> = (-count..=count)
            .map(|k| (k as f64 * step, self.score(k as f64 * step)))
            .collect();
        let best = scored.iter().map(|s| s.1).fold(0.0, f64::max);
        if best < 12.0 {
            return None;
        }
        // Every shift that fits nearly as well counts: edges lie within a cell.
        let near: Vec<f64> = scored
            .iter()
            .filter(|s| s.1 > best - 1.0)
            .map(|s| s.0)
            .collect();
        Some(near.iter().sum::<f64>() / near.len().max(1) as f64)
    }
}
