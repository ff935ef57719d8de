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

/// The strongest line near the prediction.
pub(super) fn carrier(b: &Block, v: &View, half: f64) -> Option<Found> {
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
            s.centre_hz,
            &p,
            &phase,
            v.drift_hz_per_s,
            1.0,
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
            zero,
            &p,
            &phase,
            2.0 * v.drift_hz_per_s,
            2.0,
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

/// Looks for a line in the component at right angles to the beacon's.
///
/// With the beacon's phase taken out, keying and binary modulation lie along one axis; the other holds noise, phase
/// noise (a smooth skirt) and whatever else stands in the band. A stray line of power S shows there as two lines of
/// S/4 each. `multiple` is the power to which the beacon was raised when its phase was found.
fn second_line(
    s: &slantpath_signal::channel::SubBand,
    zero_hz: f64,
    p: &ChirpPeak,
    phase: &[(f64, C64)],
    drift_before: f64,
    multiple: f64,
    half: f64,
) -> Option<SecondLine> {
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
    let n = s.z.len();
    let mid = 0.5 * (n as f64 - 1.0);
    let mut at = 0;
    let q: Vec<C64> =
        s.z.iter()
            .enumerate()
            .map(|(i, z)| {
                let t = (i as f64 - mid) / s.rate_hz;
                while at + 2 < track.len() && track[at + 1].0 < t {
                    at += 1;
                }
                let ((ta, pa), (tb, pb)) = (track[at], track[at + 1]);
                let slow = pa + (pb - pa) * ((t - ta) / (tb - ta)).clamp(0.0, 1.0);
                let fast = TAU * (zero_hz + p.f_mid_hz) * t
                    + PI * (p.drift_hz_per_s + drift_before) * t * t;
                let turned =
                    z * C64::from_polar(1.0, -((fast + slow) / multiple - TAU * s.centre_hz * t));
                C64::new(turned.im, 0.0)
            })
            .collect();
    let b = Block::of(&q, s.rate_hz);
    let (lo, hi) = (b.nearest(4.0).max(2), b.nearest(half));
    let power = |k: i64| b.density(k) * b.bin_hz();
    let top = (lo..=hi).max_by(|x, y| power(*x).total_cmp(&power(*y)))?;
    let mut around: Vec<f64> = (top - 60..=top + 60)
        .filter(|k| (k - top).abs() > 4 && *k > 1)
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
        offset_hz: top as f64 * b.bin_hz(),
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
