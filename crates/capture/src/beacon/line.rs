//! Frequency of a beacon: the line of a carrier, or the line that squaring makes of BPSK.

use super::View;
use super::phase::{Spread, spread};
use slantpath_signal::line::despun;
use slantpath_signal::{Block, C64, ChirpPeak, chirp_line};
use std::f64::consts::{PI, TAU};

/// A beacon's frequency in a block.
pub(super) struct Found {
    pub f_hz: f64,
    pub u_f_hz: f64,
    pub drift: f64,
    pub u_drift: f64,
    pub snr: f64,
    pub coherent_c: Option<f64>,
    pub phase_steps: Vec<(f64, f64)>,
    pub second_line: Option<SecondLine>,
}

/// The strongest line near the prediction. A `steady` one is never keyed.
pub(super) fn carrier(b: &Block, v: &View, half: f64, steady: bool) -> Option<Found> {
    let width = 2.0 * (v.search_hz + half).max(200.0);
    let s = b.sub_band(v.predicted_hz, width);
    let z = undrift(&s.z, s.rate_hz, v.drift_hz_per_s);
    let near = v.predicted_hz - s.centre_hz;
    let p = chirp_line(
        &z,
        s.rate_hz,
        near - v.search_hz,
        near + v.search_hz,
        v.drift_max,
    )?;
    let phase = pieces(&z, s.rate_hz, &p, PIECE_S);
    let about = about(&z, s.rate_hz, &p);
    let drift = p.drift_hz_per_s + about.by_drift + v.drift_hz_per_s;
    Some(Found {
        f_hz: s.centre_hz + p.f_mid_hz + about.by_f + to_middle(drift, s.rate_hz),
        u_f_hz: about.u_f,
        drift,
        u_drift: about.u_drift,
        snr: p.snr,
        coherent_c: None,
        phase_steps: steps(&phase, 1.0),
        second_line: second_line(
            &b.sub_band(v.predicted_hz, 2.0 * half / 0.6),
            &Axis {
                zero_hz: s.centre_hz,
                f_hz: p.f_mid_hz,
                drift: p.drift_hz_per_s + v.drift_hz_per_s,
                mid_s: middle_s(&z, s.rate_hz),
                phase: &phase,
                multiple: 1.0,
                steady,
            },
            half,
        ),
    })
}

/// The line at twice the carrier that squaring makes of binary phase shift keying.
///
/// The square of a real signal of power C on a carrier has mean C at twice the carrier's frequency and phase; noise,
/// being circular, has none. The coherent mean hence measures C without any noise to subtract, and interference
/// that is not itself of this kind leaves it alone.
pub(super) fn squared(b: &Block, v: &View, half: f64) -> Option<Found> {
    let (line, rate, zero) = squared_band(b, v, half)?;
    let z = undrift(&line, rate, 2.0 * v.drift_hz_per_s);
    let near = 2.0 * v.predicted_hz - zero;
    let p = chirp_line(
        &z,
        rate,
        near - 2.0 * v.search_hz,
        near + 2.0 * v.search_hz,
        2.0 * v.drift_max,
    )?;
    let phase = pieces(&z, rate, &p, PIECE_S);
    let about = about(&z, rate, &p);
    let drift = p.drift_hz_per_s + about.by_drift + 2.0 * v.drift_hz_per_s;
    Some(Found {
        f_hz: 0.5 * (zero + p.f_mid_hz + about.by_f + to_middle(drift, rate)),
        u_f_hz: 0.5 * about.u_f,
        drift: 0.5 * drift,
        u_drift: 0.5 * about.u_drift,
        snr: p.snr,
        coherent_c: coherent_mean(&phase),
        phase_steps: steps(&phase, 2.0),
        second_line: second_line(
            &b.sub_band(v.predicted_hz, 2.0 * half / 0.6),
            &Axis {
                zero_hz: zero,
                f_hz: p.f_mid_hz,
                drift: p.drift_hz_per_s + 2.0 * v.drift_hz_per_s,
                mid_s: middle_s(&z, rate),
                phase: &phase,
                multiple: 2.0,
                steady: false,
            },
            half,
        ),
    })
}

/// Line that squaring makes in a channel, for telling BPSK from other signals: line over surroundings (power ratio).
pub fn squared_line(b: &Block, predicted_hz: f64, search_hz: f64, half: f64) -> Option<(f64, f64)> {
    let v = View {
        predicted_hz,
        search_hz,
        drift_max: 4.0,
        drift_hz_per_s: 0.0,
        noise_lo_hz: 0.0,
        noise_hi_hz: 0.0,
        falling: false,
        dc_hz: 0.0,
    };
    squared(b, &v, half).map(|f| (f.snr, f.f_hz))
}

/// Square of the beacon's band, cut to the neighbourhood of twice the prediction; rate and frequency of its zero.
fn squared_band(b: &Block, v: &View, half: f64) -> Option<(Vec<C64>, f64, f64)> {
    // The flat part of the cut spans the signal: edges take a fifth of the width on each side.
    let s = b.sub_band(v.predicted_hz, 2.0 * (half + v.search_hz) / 0.6);
    let sq: Vec<C64> = s.z.iter().map(|z| z * z).collect();
    let wide = Block::of(&sq, s.rate_hz);
    let near = 2.0 * (v.predicted_hz - s.centre_hz);
    let line = wide.sub_band(near, 2.0 * (2.0 * v.search_hz + 60.0) / 0.6);
    Some((line.z, line.rate_hz, 2.0 * s.centre_hz + line.centre_hz))
}

/// The samples of a cut begin with the stretch: their middle lies half a sample before the stretch's.
fn to_middle(drift: f64, rate: f64) -> f64 {
    0.5 * drift / rate
}

fn undrift(z: &[C64], rate: f64, drift: f64) -> Vec<C64> {
    despun(z, rate, 0.0, drift)
}

/// What the phase says of the frequency and drift of a line.
fn about(z: &[C64], rate: f64, p: &ChirpPeak) -> Spread {
    let t_s = z.len() as f64 / rate;
    // Short stretches still make some eighty pieces.
    spread(&pieces(z, rate, p, PIECE_S.min(t_s / 80.0)), t_s)
}

/// Length of a piece within which the phase stands still.
const PIECE_S: f64 = 0.02;

/// Means over pieces of `piece_s` seconds with frequency and drift taken out: time of the middle and mean.
fn pieces(z: &[C64], rate: f64, p: &ChirpPeak, piece_s: f64) -> Vec<(f64, C64)> {
    let mid = 0.5 * (z.len() as f64 - 1.0);
    let len = ((piece_s * rate).round() as usize).max(4);
    despun(z, rate, p.f_mid_hz, p.drift_hz_per_s)
        .chunks_exact(len)
        .enumerate()
        .map(|(k, c)| {
            let mean = c.iter().sum::<C64>() / len as f64;
            (((k * len) as f64 + 0.5 * len as f64 - mid) / rate, mean)
        })
        .collect()
}

/// A line that does not belong to the beacon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SecondLine {
    /// Its power, full scale squared.
    pub power: f64,
    /// Its distance from the beacon's carrier, Hz, without sign.
    pub offset_hz: f64,
    /// Over the median of its neighbourhood, power ratio.
    pub snr: f64,
}

/// Middle of a cut's samples, seconds from the stretch's first.
fn middle_s(z: &[C64], rate: f64) -> f64 {
    0.5 * (z.len() as f64 - 1.0) / rate
}

/// The beacon's phase through a stretch, as the line that was found tells it.
struct Axis<'a> {
    /// Where the zero of the line's cut stands, Hz from the block's zero times `multiple`. Cuts are turned by their zeros
    /// from the stretch's first sample on.
    zero_hz: f64,
    /// Frequency of the line in the middle, Hz from the zero of its cut.
    f_hz: f64,
    /// Its drift, Hz/s.
    drift: f64,
    /// The middle, seconds from the first sample: cuts at other rates have theirs elsewhere.
    mid_s: f64,
    /// Means over pieces with frequency and drift taken out.
    phase: &'a [(f64, C64)],
    /// The power to which the beacon was raised when its phase was found.
    multiple: f64,
    /// The beacon is an unmodulated carrier.
    steady: bool,
}

/// Distances from its carrier at which another line is looked for across the beacon's axis and along it, Hz, at least.
const ACROSS_HZ: f64 = 4.0;
const ALONG_HZ: f64 = 1.5;

/// Looks for a line in the component at right angles to the beacon's.
///
/// With the beacon's phase taken out, keying and binary modulation lie along one axis; the other holds noise, phase
/// noise (a smooth skirt) and whatever else stands in the band. A stray line of power S shows there as two lines of
/// S/4 each. A line that turns slower than the pieces follow is taken for the beacon's own phase and hardly shows
/// there; on an unmodulated carrier it shows along its axis too, as a beat of the same power.
fn second_line(
    s: &slantpath_signal::channel::SubBand,
    axis: &Axis<'_>,
    half: f64,
) -> Option<SecondLine> {
    let phase = axis.phase;
    if phase.len() < 16 {
        return None;
    }
    // Phase of the pieces, continuous, in time order.
    let mut track: Vec<(f64, f64)> = Vec::with_capacity(phase.len());
    let strongest = phase.iter().map(|x| x.1.norm()).fold(0.0, f64::max);
    for k in 0..phase.len() {
        let (a, b) = (k.saturating_sub(1), (k + 2).min(phase.len()));
        let z: C64 = phase[a..b].iter().map(|x| x.1).sum();
        if z.norm() < 0.4 * strongest * (b - a) as f64 {
            continue;
        }
        let last = track.last().map_or(z.arg(), |x| x.1);
        let turn = ((z.arg() - last) / TAU).round();
        track.push((phase[k].0, z.arg() - turn * TAU));
    }
    if track.len() < 8 {
        return None;
    }
    let mut at = 0;
    let turned: Vec<C64> =
        s.z.iter()
            .enumerate()
            .map(|(i, z)| {
                let from_start = i as f64 / s.rate_hz;
                let t = from_start - axis.mid_s;
                while at + 2 < track.len() && track[at + 1].0 < t {
                    at += 1;
                }
                let ((ta, pa), (tb, pb)) = (track[at], track[at + 1]);
                let slow = pa + (pb - pa) * ((t - ta) / (tb - ta)).clamp(0.0, 1.0);
                let fast = TAU * axis.f_hz * t + PI * axis.drift * t * t;
                let zeros = TAU * (axis.zero_hz / axis.multiple - s.centre_hz) * from_start;
                z * C64::from_polar(1.0, -((fast + slow) / axis.multiple + zeros))
            })
            .collect();
    let mean = turned.iter().map(|z| z.re).sum::<f64>() / turned.len().max(1) as f64;
    let across = turned.iter().map(|z| C64::new(z.im, 0.0)).collect();
    let along = turned.iter().map(|z| C64::new(z.re - mean, 0.0)).collect();
    let drift = axis.drift / axis.multiple;
    let mut looks: Vec<(Vec<C64>, f64)> = vec![(across, ACROSS_HZ)];
    if axis.steady {
        looks.push((along, ALONG_HZ));
    }
    let look = |z: &[C64], nearest: f64| stray(&Block::of(z, s.rate_hz), nearest, half);
    looks
        .iter()
        .flat_map(|(z, nearest)| {
            // A line of the receiver's own stands still while the oscillator takes the beacon along.
            let still: Vec<C64> = z
                .iter()
                .enumerate()
                .map(|(i, z)| {
                    let t = i as f64 / s.rate_hz - axis.mid_s;
                    z * C64::from_polar(1.0, PI * drift * t * t)
                })
                .collect();
            [look(z, *nearest), look(&still, *nearest)]
        })
        .flatten()
        .max_by(|a, b| a.snr.total_cmp(&b.snr))
}

/// The tallest line between two distances from the middle, on either side. It is one of two mirrored ones.
fn stray(b: &Block, nearest_hz: f64, half: f64) -> Option<SecondLine> {
    let (lo, hi) = (b.nearest(nearest_hz).max(4), b.nearest(half));
    let power = |k: i64| b.density(k) * b.bin_hz();
    let top = (lo..=hi)
        .flat_map(|k| [-k, k])
        .max_by(|x, y| power(*x).total_cmp(&power(*y)))?;
    let mut around: Vec<f64> = (top - 60..=top + 60)
        .filter(|k| (k - top).abs() > 4 && k.abs() > 1)
        .map(power)
        .collect();
    if around.len() < 20 {
        return None;
    }
    around.sort_by(f64::total_cmp);
    let median = around[around.len() / 2];
    let floor = median / std::f64::consts::LN_2;
    let line: f64 = (top - 3..=top + 3).map(power).sum::<f64>() - 7.0 * floor;
    Some(SecondLine {
        power: 4.0 * line.max(0.0),
        offset_hz: top.abs() as f64 * b.bin_hz(),
        snr: power(top) / floor,
    })
}

/// Mean of the line along a phase that neighbouring pieces tell: each piece is projected on the direction of the two
/// before and the two after it, so that its own noise adds nothing.
fn coherent_mean(pieces: &[(f64, C64)]) -> Option<f64> {
    let n = pieces.len();
    if n < 8 {
        return None;
    }
    let mut sum = 0.0;
    for i in 2..n - 2 {
        let d = pieces[i - 2].1 + pieces[i - 1].1 + pieces[i + 1].1 + pieces[i + 2].1;
        sum += (pieces[i].1 * d.conj()).re / d.norm().max(1e-300);
    }
    Some(sum / (n - 4) as f64)
}

/// Steps of the phase by more than 0.8 rad of the carrier's phase (seen `multiple` times as large) that stay: lost samples.
fn steps(pieces: &[(f64, C64)], multiple: f64) -> Vec<(f64, f64)> {
    const SPAN: usize = 4;
    let n = pieces.len();
    let peak = pieces.iter().map(|p| p.1.norm()).fold(0.0, f64::max);
    let t0 = pieces.first().map_or(0.0, |p| p.0);
    let mut out: Vec<(f64, f64)> = Vec::new();
    for i in SPAN..n.saturating_sub(SPAN) {
        let before: C64 = pieces[i - SPAN..i].iter().map(|p| p.1).sum();
        let after: C64 = pieces[i..i + SPAN].iter().map(|p| p.1).sum();
        let steady = |c: &C64| c.norm() > 0.6 * SPAN as f64 * peak;
        let step = (after * before.conj()).arg();
        if steady(&before) && steady(&after) && step.abs() > 0.8 * multiple {
            let t = pieces[i].0 - t0;
            match out.last_mut() {
                Some(last) if t - last.0 < 0.1 => {
                    if step.abs() / multiple > last.1.abs() {
                        *last = (t, step / multiple);
                    }
                }
                _ => out.push((t, step / multiple)),
            }
        }
    }
    out
}
