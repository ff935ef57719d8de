//! The delay between what was sent and what came back, when the way back may shift frequency and colour the sound.
//!
//! Generalised cross-correlation (C. H. Knapp and G. C. Carter, IEEE Trans. ASSP-24, 1976) of short pieces of the sent
//! sound against the heard one, over delay and frequency offset at once (the cross-ambiguity function, S. Stein, IEEE
//! Trans. ASSP-29, 1981). Powers of the pieces' correlations are added, so that the phase need only hold during one
//! piece: a single-sideband receiver some tens of hertz off tune does not hide the echo.

use crate::{C64, plans};
use std::f64::consts::TAU;

/// Length of a piece, s: short against the coherence of a slightly mistuned receiver, long against a syllable's edges.
const PIECE_S: f64 = 0.25;
/// Upper end of the band compared, Hz: speech and tones of a voice channel.
const BAND_HZ: f64 = 4000.0;
/// Pieces compared over the whole grid of offsets; the strongest ones.
const LOUDEST: usize = 12;
/// Peak over the scatter of the surface below which it may be chance: of some 1e6 cells one exceeds 5 scatters often.
const LEAST_STANDING: f64 = 12.0;

/// A delay as estimated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Delay {
    /// Delay of the heard against the sent sound, s.
    pub delay_s: f64,
    /// Standard uncertainty, s: scatter of the pieces' own peaks over the square root of their number, and one sample
    /// of the compared band as limits.
    pub u_s: f64,
    /// Frequency of the heard against the sent sound, Hz, on a grid of about half a hertz.
    pub offset_hz: f64,
    /// Height of the peak above the median of the surface, in robust standard deviations of it.
    pub standing: f64,
    /// Pieces that agree with it.
    pub pieces: usize,
}

/// Why there is no delay.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoDelay {
    /// Rate, lengths or limits that cannot be used.
    Unusable,
    /// One of the two is silent.
    Silent,
    /// No peak stands out: the height of the highest, in standard deviations.
    NotFound(f64),
    /// Two delays fit alike: the best and the other one, s.
    Ambiguous(f64, f64),
}

/// Estimates the delay of `heard` against `sent` (same start, same `rate_hz`) between 0 and `longest_s`, with the heard
/// frequency off by at most `offset_hz` either way.
///
/// # Errors
/// [`NoDelay`], with what was seen.
pub fn delay(
    sent: &[f64],
    heard: &[f64],
    rate_hz: f64,
    longest_s: f64,
    offset_hz: f64,
) -> Result<Delay, NoDelay> {
    let usable = rate_hz.is_finite()
        && (500.0..=1e7).contains(&rate_hz)
        && (0.0..=10.0).contains(&longest_s)
        && (0.0..=2000.0).contains(&offset_hz);
    if !usable {
        return Err(NoDelay::Unusable);
    }
    let piece = (PIECE_S * rate_hz) as usize;
    let window = piece + (longest_s * rate_hz).ceil() as usize + 1;
    let n = window.next_power_of_two();
    let len = sent.len().min(heard.len());
    if len < window {
        return Err(NoDelay::Unusable);
    }
    // Only the band is taken back to time: m bins of it, so that the grid of delays is no finer than the band needs.
    let bins = ((BAND_HZ.min(0.45 * rate_hz) / rate_hz) * n as f64) as usize;
    let m = (2 * bins).next_power_of_two().min(n);
    let step_s = n as f64 / rate_hz / m as f64;
    let mut starts: Vec<(f64, usize)> = (0..=(len - window) / piece)
        .map(|k| k * piece)
        .filter_map(|at| {
            let p = sent.get(at..at + piece)?;
            Some((p.iter().map(|x| x * x).sum::<f64>(), at))
        })
        .filter(|(e, _)| e.is_finite() && *e > 0.0)
        .collect();
    if starts.is_empty() {
        return Err(NoDelay::Silent);
    }
    starts.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    // Pauses between words carry nothing.
    let loudest = starts.first().map_or(0.0, |s| s.0);
    starts.retain(|s| s.0 > 1e-4 * loudest);
    starts.truncate(4 * LOUDEST);
    let spectra: Vec<(Vec<C64>, Vec<C64>)> = starts
        .iter()
        .filter_map(|(_, at)| {
            let a = spectrum(sent.get(*at..at + piece)?, n, true);
            let b = spectrum(heard.get(*at..at + window)?, n, false);
            let power: f64 = b.iter().take(bins).map(C64::norm_sqr).sum();
            (power > 0.0).then_some((a, b))
        })
        .collect();
    if spectra.is_empty() {
        return Err(NoDelay::Silent);
    }
    // A piece of 0.25 s resolves 4 Hz; steps of a third of that lose little of its peak.
    let bin_hz = rate_hz / n as f64;
    let stride = ((1.0 / PIECE_S / 3.0 / bin_hz).round() as i64).max(1);
    let reach = (offset_hz / bin_hz).floor() as i64;
    let lags = ((longest_s / step_s) as usize + 1).min(m);
    let few = spectra
        .get(..LOUDEST.min(spectra.len()))
        .unwrap_or(&spectra);
    let coarse = (-reach / stride..=reach / stride).map(|k| k * stride);
    let (best_shift, _) = best_of(coarse, few, bins, m, lags).ok_or(NoDelay::Silent)?;
    let fine = (best_shift - stride).max(-reach)..=(best_shift + stride).min(reach);
    let (shift, surface) = best_of(fine, &spectra, bins, m, lags).ok_or(NoDelay::Silent)?;
    let (peak, height) = surface
        .iter()
        .copied()
        .enumerate()
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .ok_or(NoDelay::Silent)?;
    let standing = standing(&surface, height);
    if standing < LEAST_STANDING {
        return Err(NoDelay::NotFound(standing));
    }
    // Another way in (direct sound, a second receiver) shows as a second peak outside the first one's foot.
    let foot = (0.01 / step_s) as usize;
    let other = surface
        .iter()
        .copied()
        .enumerate()
        .filter(|(i, _)| i.abs_diff(peak) > foot)
        .max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((i, h)) = other
        && h > 0.8 * height
    {
        return Err(NoDelay::Ambiguous(peak as f64 * step_s, i as f64 * step_s));
    }
    // Each piece's own peak near the common one says how well they agree.
    let near = (0.003 / step_s).ceil() as usize;
    let mut own: Vec<f64> = spectra
        .iter()
        .filter_map(|s| {
            let c = correlation(s, shift, bins, m, lags);
            let lo = peak.saturating_sub(near);
            let hi = (peak + near).min(lags.saturating_sub(1));
            let at = (lo..=hi).max_by(|a, b| value(&c, *a).total_cmp(&value(&c, *b)))?;
            // Its highest anywhere, or it says nothing of this delay.
            let top = c.iter().copied().fold(0.0, f64::max);
            (value(&c, at) > 0.8 * top).then(|| refined(&c, at))
        })
        .collect();
    if own.len() < 3 {
        return Err(NoDelay::NotFound(standing));
    }
    own.sort_by(f64::total_cmp);
    let middle = median(&own);
    let mut off: Vec<f64> = own.iter().map(|x| (x - middle).abs()).collect();
    off.sort_by(f64::total_cmp);
    // 1.4826 median absolute deviations estimate a normal standard deviation; the median's own is sqrt(pi/2) larger
    // than the mean's.
    let scatter = 1.4826 * median(&off) * (std::f64::consts::PI / 2.0 / own.len() as f64).sqrt();
    // The grid's step as limits of what interpolation leaves (GUM 4.3.7).
    let grid = 0.5 / 3f64.sqrt();
    Ok(Delay {
        delay_s: middle * step_s,
        u_s: scatter.hypot(grid) * step_s,
        offset_hz: shift as f64 * bin_hz,
        standing,
        pieces: own.len(),
    })
}

fn value(c: &[f64], i: usize) -> f64 {
    c.get(i).copied().unwrap_or(0.0)
}

fn median(sorted: &[f64]) -> f64 {
    let n = sorted.len();
    if n == 0 {
        return f64::NAN;
    }
    0.5 * (value(sorted, (n - 1) / 2) + value(sorted, n / 2))
}

/// Transform of `x` padded to `n`; a Hann window keeps a piece's edges from ringing over all offsets.
fn spectrum(x: &[f64], n: usize, windowed: bool) -> Vec<C64> {
    let len = x.len() as f64;
    let mut z: Vec<C64> = x
        .iter()
        .enumerate()
        .map(|(i, v)| {
            let w = if windowed {
                0.5 - 0.5 * (TAU * (i as f64 + 0.5) / len).cos()
            } else {
                1.0
            };
            C64::new(v * w, 0.0)
        })
        .collect();
    z.resize(n, C64::new(0.0, 0.0));
    plans::forward(n).process(&mut z);
    z
}

/// Squared magnitude of the correlation of one piece at all delays, over the power of both in the band.
///
/// Only positive frequencies are taken, which makes it the correlation of analytic signals: its magnitude does not see
/// the carrier's phase, and a shift of `shift` bins undoes a frequency offset.
fn correlation(
    (a, b): &(Vec<C64>, Vec<C64>),
    shift: i64,
    bins: usize,
    m: usize,
    lags: usize,
) -> Vec<f64> {
    let mut z = vec![C64::new(0.0, 0.0); m];
    let (mut pa, mut pb) = (0.0, 0.0);
    for (k, out) in z.iter_mut().enumerate().take(bins.min(m)).skip(1) {
        let from = k as i64 - shift;
        let (Ok(from), Some(y)) = (usize::try_from(from), b.get(k)) else {
            continue;
        };
        if from == 0 || from >= bins {
            continue;
        }
        if let Some(x) = a.get(from) {
            pa += x.norm_sqr();
            pb += y.norm_sqr();
            *out = y * x.conj();
        }
    }
    if pa <= 0.0 || pb <= 0.0 {
        return vec![0.0; lags];
    }
    plans::inverse(m).process(&mut z);
    z.iter()
        .take(lags)
        .map(|c| c.norm_sqr() / (pa * pb))
        .collect()
}

/// The shift whose summed surface has the highest peak, and that surface.
fn best_of(
    shifts: impl Iterator<Item = i64>,
    spectra: &[(Vec<C64>, Vec<C64>)],
    bins: usize,
    m: usize,
    lags: usize,
) -> Option<(i64, Vec<f64>)> {
    let mut best: Option<(i64, f64, Vec<f64>)> = None;
    for shift in shifts {
        let mut sum = vec![0.0; lags];
        for s in spectra {
            for (to, x) in sum.iter_mut().zip(correlation(s, shift, bins, m, lags)) {
                *to += x;
            }
        }
        let top = sum.iter().copied().fold(0.0, f64::max);
        if best.as_ref().is_none_or(|b| top > b.1) {
            best = Some((shift, top, sum));
        }
    }
    best.map(|b| (b.0, b.2))
}

/// Height above the median in robust standard deviations.
fn standing(surface: &[f64], height: f64) -> f64 {
    let mut sorted = surface.to_vec();
    sorted.sort_by(f64::total_cmp);
    let middle = median(&sorted);
    let mut off: Vec<f64> = sorted.iter().map(|x| (x - middle).abs()).collect();
    off.sort_by(f64::total_cmp);
    (height - middle) / (1.4826 * median(&off)).max(f64::MIN_POSITIVE)
}

/// Place of the peak by a parabola through its neighbours, in steps.
fn refined(c: &[f64], at: usize) -> f64 {
    let (l, m, r) = (value(c, at.wrapping_sub(1)), value(c, at), value(c, at + 1));
    let bend = l - 2.0 * m + r;
    let off = if bend < 0.0 {
        0.5 * (l - r) / bend
    } else {
        0.0
    };
    at as f64 + off.clamp(-0.5, 0.5)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_chacha::ChaCha8Rng;
    use rand_distr::{Distribution, StandardNormal};

    const RATE: f64 = 8000.0;

    /// Noise shaped like speech: syllables of three a second, a spectrum that falls from 500 Hz.
    fn speech(n: usize, seed: u64) -> Vec<f64> {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let (mut low, mut out) = (0.0, Vec::with_capacity(n));
        for i in 0..n {
            let x: f64 = StandardNormal.sample(&mut rng);
            low += 0.35 * (x - low);
            let beat = (TAU * 3.0 * i as f64 / RATE).sin().max(0.0);
            out.push(low * beat);
        }
        out
    }

    /// The spectrum turned and moved: delay and frequency offset of the analytic signal, noise added.
    fn returned(sent: &[f64], delay_s: f64, offset_hz: f64, noise: f64, seed: u64) -> Vec<f64> {
        let n = (sent.len() * 2).next_power_of_two();
        let mut z: Vec<C64> = sent.iter().map(|x| C64::new(*x, 0.0)).collect();
        z.resize(n, C64::new(0.0, 0.0));
        plans::forward(n).process(&mut z);
        for (k, v) in z.iter_mut().enumerate() {
            let f = k as f64 / n as f64 * RATE;
            let keep = if k > 0 && k < n / 2 {
                2.0 / n as f64
            } else {
                0.0
            };
            *v *= C64::from_polar(keep, -TAU * f * delay_s);
        }
        plans::inverse(n).process(&mut z);
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        z.iter()
            .take(sent.len())
            .enumerate()
            .map(|(i, c)| {
                let t = i as f64 / RATE;
                let g: f64 = StandardNormal.sample(&mut rng);
                (c * C64::from_polar(1.0, TAU * offset_hz * t + 1.0)).re + noise * g
            })
            .collect()
    }

    #[test]
    fn an_echo_is_found_through_noise_and_mistuning() {
        let mut within = 0;
        for seed in 0..4 {
            let truth = 0.25 + 0.0371 * seed as f64 + 1.0 / 7.0 / RATE;
            let offset = [0.0, 37.0, -80.0, 5.5][seed as usize];
            let sent = speech(10 * RATE as usize, seed);
            let heard = returned(&sent, truth, offset, 0.2, 100 + seed);
            let d = delay(&sent, &heard, RATE, 1.0, 100.0).unwrap();
            assert!(
                (d.delay_s - truth).abs() < 4.0 * d.u_s,
                "{seed}: {d:?} {truth}"
            );
            assert!(d.u_s < 0.5e-3, "{d:?}");
            assert!((d.offset_hz - offset).abs() < 2.0, "{d:?} {offset}");
            within += u32::from((d.delay_s - truth).abs() < 2.0 * d.u_s);
        }
        assert!(
            within >= 4,
            "{within} of 6 within two standard uncertainties"
        );
    }

    #[test]
    fn what_is_no_echo_is_not_one() {
        let sent = speech(10 * RATE as usize, 1);
        let other = speech(10 * RATE as usize, 2);
        let e = delay(&sent, &other, RATE, 1.0, 50.0).unwrap_err();
        assert!(matches!(e, NoDelay::NotFound(_)), "{e:?}");
        let silent = vec![0.0; sent.len()];
        assert_eq!(delay(&silent, &sent, RATE, 1.0, 50.0), Err(NoDelay::Silent));
        assert_eq!(delay(&sent, &silent, RATE, 1.0, 50.0), Err(NoDelay::Silent));
        assert_eq!(
            delay(&sent[..100], &other, RATE, 1.0, 0.0),
            Err(NoDelay::Unusable)
        );
        assert_eq!(
            delay(&sent, &other, f64::NAN, 1.0, 0.0),
            Err(NoDelay::Unusable)
        );
    }

    #[test]
    fn two_echoes_alike_are_told() {
        let sent = speech(15 * RATE as usize, 3);
        let a = returned(&sent, 0.25, 0.0, 0.05, 4);
        let b = returned(&sent, 0.40, 0.0, 0.05, 5);
        let both: Vec<f64> = a.iter().zip(&b).map(|(x, y)| x + y).collect();
        let e = delay(&sent, &both, RATE, 1.0, 20.0).unwrap_err();
        assert!(matches!(e, NoDelay::Ambiguous(..)), "{e:?}");
    }
}
