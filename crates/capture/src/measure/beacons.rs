//! Beacons followed through the recording, stretch by stretch.

use super::PlacedBand;
use super::found::{BeaconFound, combine};
use crate::beacon::{BlockResult, View, measure_block};
use crate::floor::{Cells, FloorRule, find_floor};
use crate::locate::{BAND_SHOWN, Location};
use crate::noise::{flat_edge, flat_edge_to};
use crate::plan::{BeaconKind, BeaconPlan, SearchPlan};
use rayon::prelude::*;
use slantpath_signal::{C32, ChannelBand, FrameBank, Spectrum};

/// Width of a beacon's channel, Hz, at least: the beacon and enough noise beside it.
const CHANNEL_HZ: f64 = 26_000.0;
/// What the noise under a beacon on the falling side of its passband may differ from the noise within, relative (one
/// standard deviation; own estimate: the side's shape is not known).
const U_EDGE: f64 = 0.07;
/// Energy over its own standard deviation from which a beacon counts as seen.
pub(super) const SEEN: f64 = 6.0;
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

pub(super) fn trackers(
    plan: &SearchPlan,
    location: Option<&Location>,
    centre_hz: f64,
    s: &Spectrum,
    bands: &[PlacedBand],
) -> Vec<Tracker> {
    let (fs, n) = (s.sample_rate_hz, s.len());
    let edges = (-flat_edge(s, 0.0, -1.0), flat_edge(s, 0.0, 1.0));
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
            let own = bands
                .iter()
                .find(|p| (f - 0.5 * (p.lo_hz + p.hi_hz)).abs() < 0.5 * (p.hi_hz - p.lo_hz));
            let quiet = own.map_or(Quiet::between(edges.0, edges.1), |p| within(s, p, f, half));
            let u_edge = if quiet.untold { U_EDGE } else { 0.0 };
            let (lo, hi) = (
                (-0.47 * rate_hz).max(quiet.lo_hz - zero_hz),
                (0.47 * rate_hz).min(quiet.hi_hz - zero_hz),
            );
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
                    falling: quiet.falling,
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

/// Where the noise beside a beacon can be read, Hz from the recording's centre.
struct Quiet {
    lo_hz: f64,
    hi_hz: f64,
    /// It falls on one side.
    falling: bool,
    /// It falls under the beacon, and too little shows beyond to tell how.
    untold: bool,
}

impl Quiet {
    fn between(lo_hz: f64, hi_hz: f64) -> Self {
        Self {
            lo_hz,
            hi_hz,
            falling: false,
            untold: false,
        }
    }
}

/// Part of a passband's half width within which its noise is even.
const EVEN: f64 = 0.93;
/// Even noise on the outer side of a beacon that is enough, and falling noise that tells a curve, Hz.
const ENOUGH_HZ: f64 = 4_000.0;
/// Distance from a passband's falling side within which the noise may bend already: that of a beacon's channel, Hz.
const BENDS_HZ: f64 = 0.5 * CHANNEL_HZ;
const TOLD_HZ: f64 = 1_200.0;
/// Fall of the density to which a curve is followed, natural logarithm.
const FOLLOWED: f64 = 0.2;

/// Beside a beacon at `f` within its passband. The noise is even up to where the passband's sides begin to fall; a
/// beacon near there needs the falling side too, as far as it falls little.
fn within(s: &Spectrum, p: &PlacedBand, f: f64, half: f64) -> Quiet {
    let limit = BAND_SHOWN * s.sample_rate_hz;
    let (mid, w) = (0.5 * (p.lo_hz + p.hi_hz), 0.5 * (p.hi_hz - p.lo_hz));
    let (from, to) = (mid - EVEN * w, mid + EVEN * w);
    // The receiver's own edge counts before that; beyond, it could not be told from the passband's.
    let mut q = Quiet::between(
        from.max(-flat_edge_to(s, 0.0, -1.0, (-from).max(0.0))),
        to.min(flat_edge_to(s, 0.0, 1.0, to.max(0.0))),
    );
    if from > 0.0 {
        q.lo_hz = from;
    }
    if to < 0.0 {
        q.hi_hz = to;
    }
    let gap = 1.15 * half + 60.0;
    let sign = (f - mid).signum();
    let out = |x: f64| sign * (x - f) - gap;
    let end = if sign > 0.0 { q.hi_hz } else { q.lo_hz };
    // Somewhere else than at the passband's end nothing falls.
    if end != if sign > 0.0 { to } else { from } {
        return q;
    }
    q.falling = out(end) < BENDS_HZ;
    if out(end) >= ENOUGH_HZ {
        return q;
    }
    let reached = follow_side(s, f, gap, mid, w, sign).clamp(-limit, limit);
    if out(reached) > out(end) {
        if sign > 0.0 {
            q.hi_hz = reached;
        } else {
            q.lo_hz = reached;
        }
    }
    q.untold = out(reached.max(-limit)) < TOLD_HZ && (f - mid).abs() > EVEN * w;
    q
}

/// How far the density on a passband's side stays near that within.
fn follow_side(s: &Spectrum, f: f64, gap: f64, mid: f64, w: f64, sign: f64) -> f64 {
    let part = (6.0 * s.bin_hz()).max(600.0);
    let level = |a: f64, b: f64| -> Option<f64> {
        let mut v: Vec<f64> = s.psd.get(s.range(a.min(b), a.max(b)))?.to_vec();
        v.sort_by(f64::total_cmp);
        v.get(v.len() / 2)
            .copied()
            .filter(|x| *x > 0.0)
            .map(f64::ln)
    };
    let (first, last) = (mid + sign * 0.75 * w, mid + sign * EVEN * w);
    let parts = ((last - first).abs() / part).floor().max(1.0);
    let mut inside: Vec<f64> = (0..parts as usize)
        .filter_map(|k| {
            let a = first + sign * k as f64 * part;
            level(a, a + sign * part)
        })
        .collect();
    inside.sort_by(f64::total_cmp);
    let Some(reference) = inside.get(inside.len() / 2) else {
        return last;
    };
    let mut at = f + sign * gap;
    while (at - mid).abs() < 1.08 * w {
        match level(at, at + sign * part) {
            Some(l) if l > reference - FOLLOWED => at += sign * part,
            _ => break,
        }
    }
    at
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

pub(super) fn seen(b: &BlockResult) -> bool {
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
        dc_share: 0.0,
    })
}
