//! Beacons followed through the recording, stretch by stretch.

use super::PlacedBand;
use crate::beacon::{BlockResult, View, measure_block};
use crate::floor::{Cells, FloorRule, find_floor};
use crate::locate::{BAND_SHOWN, Location};
use crate::noise::flat_edge;
use crate::plan::{BeaconKind, BeaconPlan, SearchPlan};
use rayon::prelude::*;
use slantpath_quantity::to_db;
use slantpath_signal::fit::polynomial;
use slantpath_signal::{C32, ChannelBand, FrameBank, Spectrum};

/// Width of a beacon's channel, Hz, at least: the beacon and enough noise beside it.
const CHANNEL_HZ: f64 = 26_000.0;
/// What the noise under a beacon on the falling side of its passband may differ from the noise within, relative (one
/// standard deviation; own estimate: the side's shape is not known).
const U_EDGE: f64 = 0.07;
/// Energy over its own standard deviation from which a beacon counts as seen.
const SEEN: f64 = 6.0;
/// Line over its surroundings (power ratio) from which a frequency is believed.
const LINE_SEEN: f64 = 18.0;

/// A beacon being followed.
pub(super) struct Tracker {
    plan: BeaconPlan,
    pub(super) band: ChannelBand,
    rate_hz: f64,
    /// Channel's zero, Hz from the recording's centre.
    zero_hz: f64,
    nominal_hz: f64,
    view: View,
    start_s: f64,
    taken_s: f64,
    blocks: Vec<(f64, BlockResult)>,
    /// First stretch, measured again once all beacons have agreed on the oscillator's error.
    held: Option<(f64, Vec<C32>)>,
    tied: bool,
    /// Relative standard uncertainty of the noise under it because it stands on the falling side of its passband.
    u_edge: f64,
    state: Presence,
    wide: Option<BlockResult>,
}

/// Whether a beacon could be measured at all.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Presence {
    /// It is within the recorded band.
    Shown,
    /// It lies outside the recorded band.
    OutOfBand,
    /// The satellite was not found in the recording.
    NotLocated,
}

/// One beacon's measurement.
#[derive(Debug, Clone)]
pub struct BeaconMeasured {
    /// What was looked for.
    pub plan: BeaconPlan,
    /// Whether it could be seen.
    pub presence: Presence,
    /// Its nominal place, Hz from the recording's centre.
    pub nominal_hz: f64,
    /// What was found; `None` when it does not stand out of the noise.
    pub found: Option<BeaconFound>,
    /// Each stretch: time of its middle and what it showed.
    pub blocks: Vec<(f64, BlockResult)>,
}

/// Means over the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct BeaconFound {
    /// Power, full scale squared (key-down for a keyed carrier).
    pub c: f64,
    /// Noise density at its frequency, full scale squared per hertz.
    pub n0: f64,
    /// C/N0, Hz.
    pub c_n0: f64,
    /// Relative standard uncertainty of C/N0 from averaging: carrier's part.
    pub u_carrier: f64,
    /// The same: noise density's part.
    pub u_noise: f64,
    /// Frequency in the middle of the recording, Hz from its centre, and standard uncertainty.
    pub f_hz: f64,
    /// See `f_hz`.
    pub u_f_hz: f64,
    /// Drift, Hz/s, and standard uncertainty.
    pub drift: f64,
    /// See `drift`.
    pub u_drift: f64,
    /// Seconds of carrier used.
    pub down_s: f64,
    /// Noise bandwidth used, Hz.
    pub n0_band_hz: f64,
    /// Energy over coherent power less one, with standard uncertainty: interference on the beacon raises it.
    pub interference: Option<(f64, f64)>,
    /// Power in key gaps over key-down power, with standard uncertainty.
    pub gap_excess: Option<(f64, f64)>,
    /// Steps of the phase: seconds from the start and radians.
    pub phase_steps: Vec<(f64, f64)>,
    /// What else stands on the beacon, in words, when something does.
    pub company: Option<Company>,
    /// Relative standard uncertainty of C/N0 that it, or the passband's falling side, adds.
    pub u_company: f64,
    /// A stray line within the beacon's band: power over the beacon's and distance from its carrier, Hz.
    pub second_line: Option<(f64, f64)>,
    /// Scatter of the power between stretches beyond what averaging explains, dB (0 with one stretch).
    pub fading_db: f64,
}

impl BeaconFound {
    /// Relative standard uncertainty of C/N0.
    pub fn relative_u(&self) -> f64 {
        self.u_carrier.hypot(self.u_noise).hypot(self.u_company)
    }
}

pub(super) fn trackers(
    plan: &SearchPlan,
    location: Option<&Location>,
    centre_hz: f64,
    s: &Spectrum,
    bands: &[PlacedBand],
) -> Vec<Tracker> {
    let (fs, n) = (s.sample_rate_hz, s.len());
    let edge_lo = -flat_edge(s, 0.0, -1.0);
    let edge_hi = flat_edge(s, 0.0, 1.0);
    plan.beacons
        .iter()
        .map(|b| {
            let half = b.kind.half_width_hz();
            let nominal_hz = location.map_or(0.0, |l| l.meaning.offset_hz(b.rf_hz, centre_hz));
            let f = nominal_hz + location.map_or(0.0, |l| l.shift_hz);
            let state = match location {
                None => Presence::NotLocated,
                Some(_) if f.abs() + half > BAND_SHOWN * fs => Presence::OutOfBand,
                Some(_) => Presence::Shown,
            };
            let band = match (state, b.kind) {
                (Presence::Shown, BeaconKind::Modulated { .. })
                | (Presence::OutOfBand | Presence::NotLocated, _) => ChannelBand {
                    first_bin: 0,
                    bins: 2,
                },
                _ => ChannelBand::around(f, CHANNEL_HZ.max(9.0 * half), fs, n),
            };
            let (zero_hz, rate_hz) = (band.centre_hz(fs, n), band.rate_hz(fs, n));
            let u = location.map_or(0.0, |l| l.u_shift_hz);
            let (mut lo, mut hi) = (
                (-0.47 * rate_hz).max(edge_lo - zero_hz),
                (0.47 * rate_hz).min(edge_hi - zero_hz),
            );
            let mut u_edge = 0.0;
            // Within its passband the noise is even up to where the sides begin to fall.
            for p in bands {
                let (mid, w) = (0.5 * (p.lo_hz + p.hi_hz), 0.5 * (p.hi_hz - p.lo_hz));
                if (f - mid).abs() < w {
                    if (f - mid).abs() > 0.93 * w {
                        u_edge = U_EDGE;
                    }
                    lo = lo.max(mid - 0.93 * w - zero_hz);
                    hi = hi.min(mid + 0.93 * w - zero_hz);
                }
            }
            Tracker {
                plan: b.clone(),
                band,
                rate_hz,
                zero_hz,
                nominal_hz,
                view: View {
                    predicted_hz: f - zero_hz,
                    search_hz: (1.5 * u + 30.0).min(match b.kind {
                        // Squaring makes a weaker line half a symbol rate beside the carrier's own: the stronger
                        // of them is the carrier's as long as both are looked at.
                        BeaconKind::Bpsk { symbol_rate, .. } => {
                            (0.25 * half).max(0.6 * symbol_rate)
                        }
                        _ => 400.0,
                    }),
                    drift_max: plan.drift_tolerance_hz_per_s,
                    drift_hz_per_s: 0.0,
                    noise_lo_hz: lo,
                    noise_hi_hz: hi,
                    dc_hz: -zero_hz,
                },
                start_s: 0.5 * n as f64 / fs,
                taken_s: 0.0,
                blocks: Vec::new(),
                held: None,
                tied: false,
                u_edge,
                state,
                wide: match (state, b.kind) {
                    (Presence::Shown, BeaconKind::Modulated { .. }) => wide_beacon(s, f, half),
                    _ => None,
                },
            }
        })
        .collect()
}

/// Measures the stretches that are ready; at the end, whatever is left.
pub(super) fn follow(trackers: &mut [Tracker], bank: &mut FrameBank, block_s: f64, last: bool) {
    // Round by round, so that the first stretches of all beacons agree before the second is looked at.
    loop {
        let mut work: Vec<(&mut Tracker, Vec<C32>)> = Vec::new();
        for (k, t) in trackers.iter_mut().enumerate() {
            if !t.is_narrow() {
                bank.take_channel(k, usize::MAX);
                continue;
            }
            let want = ((block_s * t.rate_hz) as usize).max(1);
            let ready = bank.channel_len(k);
            // The last stretch takes what is left, up to twice the usual length.
            let take = if ready >= 2 * want {
                want
            } else if last && ready > 0 {
                usize::MAX
            } else {
                continue;
            };
            work.push((t, bank.take_channel(k, take)));
        }
        if work.is_empty() {
            break;
        }
        work.into_par_iter().for_each(|(t, y)| {
            let start = t.start_s + t.taken_s;
            t.taken_s += y.len() as f64 / t.rate_hz;
            if t.tied {
                t.block(start, &y);
            } else {
                t.held = Some((start, y));
            }
        });
        let waiting = trackers
            .iter()
            .any(|t| t.is_narrow() && !t.tied && t.held.is_none());
        if trackers.iter().any(|t| t.held.is_some()) {
            if waiting && !last {
                break;
            }
            tie(trackers);
        }
    }
}

/// First stretch of every beacon: each is searched for widely, the clearest tells the common shift, then all are
/// measured where it puts them.
fn tie(trackers: &mut [Tracker]) {
    let mut first: Vec<(f64, f64, f64, f64)> = Vec::new(); // clarity, shift, drift and its uncertainty
    for t in trackers.iter_mut() {
        let Some((_, y)) = &t.held else { continue };
        if let Some(b) = measure_block(y, t.rate_hz, t.plan.kind, &t.view)
            && seen(&b)
        {
            first.push((
                b.line_snr,
                t.zero_hz + b.f_hz - t.nominal_hz,
                b.drift,
                b.u_drift,
            ));
        }
    }
    first.sort_by(|a, b| b.0.total_cmp(&a.0));
    let common = first.first().copied();
    for t in trackers.iter_mut() {
        t.tied = true;
        let Some((start, y)) = t.held.take() else {
            continue;
        };
        if let Some((_, shift, drift, u_drift)) = common {
            t.view.predicted_hz = t.nominal_hz + shift - t.zero_hz;
            t.view.search_hz = 25.0;
            t.view.drift_hz_per_s = drift;
            // One oscillator moves them all; a keyed line alone can be mistaken about its drift.
            t.view.drift_max = (0.1 + 6.0 * u_drift).min(1.5);
        }
        t.block(start, &y);
    }
}

fn seen(b: &BlockResult) -> bool {
    b.c > SEEN * b.var_energy.sqrt() && b.line_snr > LINE_SEEN
}

impl Tracker {
    /// Followed in a channel of its own, rather than in the averaged spectrum.
    fn is_narrow(&self) -> bool {
        self.state == Presence::Shown && !matches!(self.plan.kind, BeaconKind::Modulated { .. })
    }

    fn block(&mut self, start_s: f64, y: &[C32]) {
        let duration = y.len() as f64 / self.rate_hz;
        if duration < 0.15 && !self.blocks.is_empty() {
            return;
        }
        let mid = start_s + 0.5 * duration;
        if let Some((t0, last)) = self.blocks.iter().rev().find(|(_, b)| seen(b)) {
            self.view.predicted_hz = last.f_hz + last.drift * (mid - t0);
            self.view.drift_hz_per_s = last.drift;
            self.view.drift_max = 0.5;
            self.view.search_hz = 15.0 + 0.5 * duration;
        }
        if let Some(b) = measure_block(y, self.rate_hz, self.plan.kind, &self.view) {
            // A few samples at the end may not have been used.
            self.blocks.push((start_s + 0.5 * b.duration_s, b));
        }
    }
}

pub(super) fn conclude(trackers: Vec<Tracker>, duration_s: f64) -> Vec<BeaconMeasured> {
    trackers
        .into_iter()
        .map(|t| {
            let blocks: Vec<(f64, BlockResult)> = match t.wide {
                Some(b) => vec![(0.5 * duration_s, b)],
                None => t.blocks,
            };
            let wide = matches!(t.plan.kind, BeaconKind::Modulated { .. });
            let is_line = matches!(t.plan.kind, BeaconKind::Carrier | BeaconKind::KeyedCarrier);
            let mut found = combine(&blocks, t.zero_hz, wide, is_line, duration_s);
            if let Some(f) = found.as_mut() {
                f.u_company = f.u_company.hypot(t.u_edge);
            }
            BeaconMeasured {
                plan: t.plan,
                presence: t.state,
                nominal_hz: t.nominal_hz,
                found,
                blocks,
            }
        })
        .collect()
}

fn combine(
    blocks: &[(f64, BlockResult)],
    zero_hz: f64,
    wide: bool,
    is_line: bool,
    duration_s: f64,
) -> Option<BeaconFound> {
    let (mut wc, mut wn) = (0.0, 0.0);
    let (mut c, mut n0, mut var_e, mut var_n, mut band, mut n_band) =
        (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for (_, b) in blocks {
        wc += b.down_s;
        wn += b.duration_s;
    }
    if !(wc > 0.0 && wn > 0.0) {
        return None;
    }
    for (_, b) in blocks {
        let (p, q) = (b.down_s / wc, b.duration_s / wn);
        c += p * b.c;
        n0 += q * b.n0;
        var_e += p * p * b.var_energy;
        var_n += q * q * b.var_n0 * b.n0 * b.n0;
        band += p * b.noise_band_hz;
        n_band += q * b.n0_band_hz;
    }
    let clear: Vec<&(f64, BlockResult)> = blocks.iter().filter(|(_, b)| wide || seen(b)).collect();
    if !(c > SEEN * var_e.sqrt() && n0 > 0.0) || clear.is_empty() {
        return None;
    }
    let share = 1.0 + n0 * band / c;
    // Frequency against time.
    let mid = 0.5 * duration_s;
    let (t, f): (Vec<f64>, Vec<f64>) = clear.iter().map(|(t, b)| (*t, b.f_hz)).unzip();
    let w: Vec<f64> = clear
        .iter()
        .map(|(_, b)| b.u_f_hz.max(1e-4).powi(-2))
        .collect();
    let (mut f_hz, mut u_f, mut drift, mut u_drift);
    let (t0, b0) = clear.first()?;
    f_hz = b0.f_hz + b0.drift * (mid - t0);
    u_f = b0.u_f_hz.hypot(b0.u_drift * (mid - t0));
    drift = b0.drift;
    u_drift = b0.u_drift;
    if clear.len() >= 2
        && let Some(p) = polynomial(&t, &f, &w, 1, mid, 0.5 * duration_s.max(1e-9), &[])
    {
        let stretch = (p.chi2 / (clear.len() as f64 - 2.0).max(1.0))
            .max(1.0)
            .sqrt();
        f_hz = p.at(mid);
        u_f = p.variance_at(mid).sqrt() * stretch;
        drift = p.slope_at(mid);
        u_drift = p.variance_of(&[0.0, 1.0]).sqrt() / (0.5 * duration_s) * stretch;
    }
    // Energy against coherent power.
    let coherent: Vec<(f64, f64, f64)> = blocks
        .iter()
        .filter_map(|(_, b)| Some((b.duration_s, b.c, b.coherent_c?)))
        .collect();
    let interference = (!coherent.is_empty()).then(|| {
        let e: f64 = coherent.iter().map(|x| x.0 * x.1).sum();
        let k: f64 = coherent.iter().map(|x| x.0 * x.2).sum();
        // Both carry the same cross term of signal and noise; what differs is noise against noise, and N0.
        let u = ((0.75 * n0 * n0 * band / wc).sqrt() / c).hypot(var_n.sqrt() * band / c);
        (e / k.max(1e-300) - 1.0, u)
    });
    let gaps: Vec<(f64, f64)> = blocks.iter().filter_map(|(_, b)| b.gap_excess).collect();
    let gap_excess = (!gaps.is_empty()).then(|| {
        let w: f64 = gaps.iter().map(|g| g.1.powi(-2)).sum();
        (
            gaps.iter().map(|g| g.0 * g.1.powi(-2)).sum::<f64>() / w,
            w.powf(-0.5),
        )
    });
    let lines: Vec<(f64, f64, f64)> = blocks
        .iter()
        .filter_map(|(_, b)| b.second_line.map(|l| (b.duration_s, l.power, l.offset_hz)))
        .collect();
    let second_line = lines.first().map(|first| {
        let p = lines.iter().map(|l| l.0 * l.1).sum::<f64>() / wn;
        (p / c.max(1e-300), first.2)
    });
    let phase_steps = blocks
        .iter()
        .flat_map(|(t, b)| {
            b.phase_steps
                .iter()
                .map(move |s| (t - 0.5 * b.duration_s + s.0, s.1))
        })
        .collect();
    let k = blocks.len() as f64;
    let fading_db = if blocks.len() >= 3 {
        let db: Vec<f64> = blocks.iter().map(|(_, b)| to_db(b.c.max(1e-300))).collect();
        let m = db.iter().sum::<f64>() / k;
        let var = db.iter().map(|x| (x - m).powi(2)).sum::<f64>() / (k - 1.0);
        let own = slantpath_quantity::decibel::db_of_relative_u((var_e * k).sqrt() / c).powi(2);
        (var - own).max(0.0).sqrt()
    } else {
        0.0
    };
    let (c, mut company, u_company) = without_company(c, interference, gap_excess, second_line);
    // A line that turns but a few times against the direct current within a stretch cannot be told from it.
    let from_dc = zero_hz * f64::from(u8::from(!wide)) + f_hz;
    let longest = blocks.iter().map(|(_, b)| b.duration_s).fold(0.0, f64::max);
    if is_line && from_dc.abs() * longest < 4.0 {
        company = Some(Company {
            evidence: format!(
                "its carrier stands {from_dc:+.1} Hz from the recording's centre, where the receiver puts its direct \
                 current"
            ),
            ratio: 1.0,
            trusted: false,
        });
    }
    Some(BeaconFound {
        c,
        n0,
        c_n0: c / n0,
        u_carrier: var_e.sqrt() / c,
        company,
        u_company,
        u_noise: var_n.sqrt() / n0 * share,
        f_hz: zero_hz * f64::from(u8::from(!wide)) + f_hz,
        u_f_hz: u_f,
        drift,
        u_drift,
        down_s: wc,
        n0_band_hz: n_band,
        interference,
        gap_excess,
        phase_steps,
        second_line,
        fading_db,
    })
}

/// Something else on a beacon.
#[derive(Debug, Clone, PartialEq)]
pub struct Company {
    /// What was seen.
    pub evidence: String,
    /// Its power over the beacon's.
    pub ratio: f64,
    /// Whether the beacon's own level is still worth stating.
    pub trusted: bool,
}

/// Beacon power without what else stands in its band, what that is, and the relative uncertainty it adds.
fn without_company(
    c: f64,
    interference: Option<(f64, f64)>,
    gap_excess: Option<(f64, f64)>,
    second_line: Option<(f64, f64)>,
) -> (f64, Option<Company>, f64) {
    if let Some((ratio, offset)) = second_line
        && ratio > 0.003
    {
        let company = Company {
            evidence: format!(
                "a line {:.1} dB {} stands {offset:.1} Hz from its carrier",
                to_db(ratio).abs(),
                if ratio < 1.0 {
                    "weaker than it"
                } else {
                    "stronger than it"
                }
            ),
            ratio,
            // A binary modulation is told from a line by its axis; of two lines either may be the beacon.
            trusted: interference.is_some() && ratio < 1.5 || ratio < 0.1,
        };
        // Its power was taken off already, bin by bin; a tenth of it stays uncertain.
        return (c, Some(company), 0.05 * ratio);
    }
    if let Some((e, u)) = gap_excess
        && e > 5.0 * u
        && e > 0.005
    {
        let company = Company {
            evidence: format!(
                "{:.1} % of its key-down power remains in the gaps of its keying",
                100.0 * e
            ),
            ratio: e,
            trusted: e < 0.3,
        };
        return (c * (1.0 - e), Some(company), 0.3 * e);
    }
    // Phase noise of a poor oscillator takes some per cent off the coherent part as well.
    if let Some((x, u)) = interference
        && x > 5.0 * u
        && x > 0.08
    {
        let company = Company {
            evidence: format!(
                "{:.1} % of the energy in its band does not carry its phase",
                100.0 * x
            ),
            ratio: x,
            trusted: x < 0.5,
        };
        return (c / (1.0 + x), Some(company), 0.15 * x);
    }
    (c, None, 0.0)
}

/// A wide modulated beacon from the averaged spectrum: energy within its bandwidth over the noise on both sides.
fn wide_beacon(s: &Spectrum, f: f64, half: f64) -> Option<BlockResult> {
    let df = s.bin_hz();
    let limit = 0.46 * s.sample_rate_hz;
    let beside = (0.5 * half).max(20.0 * df);
    let gap = 0.04 * half;
    let lo = s.range((f - half - gap - beside).max(-limit), f - half - gap);
    let hi = s.range(f + half + gap, (f + half + gap + beside).min(limit));
    let cells = Cells::of(s, &[lo, hi]);
    let floor = find_floor(
        &cells,
        &FloorRule {
            min_order: 1,
            max_order: 1,
            widest_hz: 0.3 * half,
            centre_hz: f,
            scale_hz: half + beside,
            priors: vec![(1, 0.0, 0.12)],
            tolerance: 0.01,
        },
    )?;
    let n0 = floor.density(f);
    let r = s.range(f - half, f + half);
    let band = r.len() as f64 * df;
    let e = s.power(r.clone());
    let c = e - n0 * band;
    let centre = r
        .clone()
        .map(|i| (s.psd[i] - n0) * df * s.freq(i))
        .sum::<f64>()
        / c;
    let t = s.duration_s();
    // Centroid of noise-like power of width 2 half observed for t seconds.
    let u_f = half / 3f64.sqrt() / (band * t).sqrt() * (1.0 + n0 * band / c.max(1e-300));
    (c > 0.0).then(|| BlockResult {
        duration_s: t,
        c,
        // Random data within a finite bandwidth: the energy of root-raised-cosine modulation with constant
        // modulus symbols does not scatter by itself.
        var_energy: (2.0 * c * n0 + n0 * n0 * band) / t,
        noise_band_hz: band,
        n0,
        var_n0: floor.poly.variance_at(f),
        n0_order: floor.poly.coefficients.len() - 1,
        n0_band_hz: cells.len() as f64 * df,
        f_hz: centre,
        u_f_hz: u_f,
        drift: 0.0,
        u_drift: u_f * 4.0 / t,
        line_snr: 1e3,
        down_s: t,
        coherent_c: None,
        gap_excess: None,
        phase_steps: Vec::new(),
        second_line: None,
    })
}
