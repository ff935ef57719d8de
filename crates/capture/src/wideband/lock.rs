//! Physical-layer synchronisation: where PLFRAMEs begin, how long they are, and what their headers say.
//!
//! Neighbouring symbols of a header differ by a known quarter turn within the start of frame, and within each pair of
//! the PLS code by a known quarter turn up to one common sign, which is the pilots' bit. Products of neighbours do not
//! feel the carrier's phase, and its frequency turns all of them alike, so that they add up over headers that stand one
//! PLFRAME apart (differential detection; F.-W. Sun, Y. Jiang and L.-N. Lee, Int. J. Satell. Commun. Network. 22, 2004).
//! All sixteen frame lengths of the standard compete.

use super::clock::median;
use slantpath_signal::{C32, C64};
use slantpath_waveform::pls::{HEADER, PlsDecision, SOF};
use slantpath_waveform::{Frame, PlHeader, PlsDecoder};
use std::f64::consts::{PI, TAU};

/// Metric over its mean in noise that makes a lock. Candidates: positions times lengths, at most 6e5, so that noise
/// passes with a probability below `6e5 exp(-26)` = 3e-6.
const PROOF: f64 = 26.0;
/// The same where the products of neighbours all lie on one line, as those of two-valued symbols do: the metric's powers
/// then have one degree of freedom instead of two (`6e5 erfc(sqrt(47/2))` = 4e-6).
const PROOF_ON_A_LINE: f64 = 47.0;

/// Frames found.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Sync {
    /// Symbol number of the first header in the stretch.
    pub first: usize,
    /// Distance of headers in symbols.
    pub length: usize,
    /// Whole headers in the stretch.
    pub headers: usize,
    /// Carrier, turns a symbol.
    pub turns: f64,
    /// Metric over its mean in noise.
    pub significance: f64,
    /// What the headers say, all 128 codes competing.
    pub decision: PlsDecision,
    /// The frame kind adopted.
    pub frame: Frame,
    /// Whether the length found by repetition is the length that the header announces (`None` with one header).
    pub length_agrees: Option<bool>,
}

/// Why there is no lock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum NoSync {
    /// No header repeats: highest metric seen.
    NoHeaders { best: f64 },
    /// Headers were found, but what they say is not a frame of the standard, or contradicts their distance.
    Unclear { best: f64, confidence: f64 },
}

/// Finds the frames. `z` may turn by a quarter of the symbol rate.
pub(super) fn synchronise(z: &[C32]) -> Result<Sync, NoSync> {
    let m = metrics(z);
    let Some(m) = m else {
        return Err(NoSync::NoHeaders { best: 0.0 });
    };
    let n = m.plus.len();
    let mut best: Option<(f64, usize, usize, bool, C64)> = None;
    let mut lengths = Frame::lengths();
    // Alone: one header somewhere, of unknown distance.
    lengths.push(usize::MAX);
    for &length in &lengths {
        let period = length.min(n);
        if length != usize::MAX && length >= n {
            continue;
        }
        let with_pilots = Frame::all()
            .find(|f| f.symbols() == length)
            .map(|f| f.pilot_blocks() > 0);
        for (pilots, v, mean) in [
            (false, &m.plus, m.mean_plus),
            (true, &m.minus, m.mean_minus),
        ] {
            if with_pilots.is_some_and(|p| p != pilots) {
                continue;
            }
            // Headers one PLFRAME apart add up, all places at once.
            let mut sums = v.get(..period).unwrap_or(&[]).to_vec();
            if length != usize::MAX {
                for part in v.chunks(length).skip(1) {
                    for (s, x) in sums.iter_mut().zip(part) {
                        *s += x;
                    }
                }
            }
            for (k, sum) in sums.iter().enumerate() {
                let count = if length == usize::MAX {
                    1
                } else {
                    (n - k).div_ceil(length)
                };
                let score = f64::from(sum.norm_sqr() / count as f32) / mean;
                if best.as_ref().is_none_or(|b| score > b.0) {
                    best = Some((
                        score,
                        length,
                        k,
                        pilots,
                        C64::new(f64::from(sum.re), f64::from(sum.im)),
                    ));
                }
            }
        }
    }
    let Some((score, length, first, _, sum)) = best else {
        return Err(NoSync::NoHeaders { best: 0.0 });
    };
    if score < m.proof {
        return Err(NoSync::NoHeaders { best: score });
    }
    let coarse = sum.im.atan2(sum.re) / TAU;
    // The header's mirror image is the header half a symbol rate away: so far off stands only a spectrum turned round.
    if coarse.abs() > 0.25 {
        return Err(NoSync::NoHeaders { best: score });
    }
    let starts: Vec<usize> = if length == usize::MAX {
        vec![first]
    } else {
        (first..)
            .step_by(length)
            .take_while(|s| s + HEADER <= z.len())
            .collect()
    };
    let (turns, decision) = read_headers(z, &starts, coarse);
    let unclear = NoSync::Unclear {
        best: score,
        confidence: decision.confidence,
    };
    let announced = Frame::of_pls(decision.pls);
    let (frame, length_agrees) = if starts.len() < 2 {
        (announced.ok_or(unclear)?, None)
    } else {
        match announced {
            Some(f) if f.symbols() == length => (f, Some(true)),
            // The dummy frame, or a reading at odds with the distance of the headers.
            _ => return Err(unclear),
        }
    };
    if decision.confidence < 0.5 {
        return Err(unclear);
    }
    Ok(Sync {
        first,
        length: frame.symbols(),
        headers: starts.len(),
        turns,
        significance: score,
        decision,
        frame,
        length_agrees,
    })
}

/// Places where a single header stands out of the noise, the loudest first, with the carrier's turns a symbol there.
pub(super) fn loudest_headers(z: &[C32]) -> Vec<(usize, f64)> {
    const MOST: usize = 400;
    let Some(m) = metrics(z) else {
        return Vec::new();
    };
    let mut all: Vec<(f64, usize, f64)> = Vec::new();
    for (v, mean) in [(&m.plus, m.mean_plus), (&m.minus, m.mean_minus)] {
        for (k, x) in v.iter().enumerate() {
            let score = f64::from(x.norm_sqr()) / mean;
            let coarse = f64::from(x.im).atan2(f64::from(x.re)) / TAU;
            if score > m.proof && coarse.abs() < 0.25 {
                all.push((score, k, coarse));
            }
        }
    }
    all.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut out: Vec<(usize, f64)> = Vec::new();
    for (_, k, coarse) in all {
        if out.len() == MOST {
            break;
        }
        if out.iter().all(|(o, _)| o.abs_diff(k) > HEADER) {
            out.push((k, coarse));
        }
    }
    out
}

struct Metrics {
    plus: Vec<C32>,
    minus: Vec<C32>,
    mean_plus: f64,
    mean_minus: f64,
    /// What a metric must reach, over its mean.
    proof: f64,
}

/// Sums of products of neighbours at every place where a header may start.
fn metrics(z: &[C32]) -> Option<Metrics> {
    if z.len() < HEADER + 64 {
        return None;
    }
    // Products of neighbours, their size limited to twice the mean so that the rings of APSK weigh alike.
    let mut d: Vec<C32> = z.windows(2).map(|w| w[1] * w[0].conj()).collect();
    let mean = d.iter().map(|v| f64::from(v.norm())).sum::<f64>() / d.len() as f64;
    if !(mean > 0.0 && mean.is_finite()) {
        return None;
    }
    let cap = 2.0 * mean as f32;
    for v in &mut d {
        let r = v.norm();
        if r > cap {
            *v *= cap / r;
        }
    }
    let s = PlHeader::of_pls(0).symbols();
    // Known turns are quarter turns: each product is turned back by -j or +j.
    let turned_up = |i: usize| (s[i + 1] * s[i].conj()).im > 0.0;
    let sof: Vec<(usize, bool)> = (0..SOF - 1).map(|i| (i, turned_up(i))).collect();
    let pls: Vec<(usize, bool)> = (SOF..HEADER - 1)
        .step_by(2)
        .map(|i| (i, turned_up(i)))
        .collect();
    let places = d.len() - (HEADER - 1) + 1;
    let sum = |k: usize, terms: &[(usize, bool)]| {
        let mut a = C32::default();
        for (i, up) in terms {
            let v = d[k + i];
            if *up {
                a += v;
            } else {
                a -= v;
            }
        }
        // Divided by j.
        C32::new(a.im, -a.re)
    };
    let (mut plus, mut minus) = (Vec::with_capacity(places), Vec::with_capacity(places));
    for k in 0..places {
        let (a, b) = (sum(k, &sof), sum(k, &pls));
        plus.push(a + b);
        minus.push(a - b);
    }
    // Products of two-valued symbols lie on a line, and so do sums of them.
    let square: C64 = d
        .iter()
        .map(|v| C64::new(f64::from(v.re), f64::from(v.im)).powu(2))
        .sum();
    let power: f64 = d.iter().map(|v| f64::from(v.norm_sqr())).sum();
    let line = square.norm() > 0.3 * power;
    // Medians of powers of two degrees of freedom and of one: headers and their repetition do not raise them.
    let (median_over_mean, proof) = if line {
        (0.4549, PROOF_ON_A_LINE)
    } else {
        (std::f64::consts::LN_2, PROOF)
    };
    let scale = |v: &[C32]| {
        let mut p: Vec<f32> = v.iter().step_by(7).map(|x| x.norm_sqr()).collect();
        f64::from(median(&mut p).unwrap_or(1.0)) / median_over_mean
    };
    let (mean_plus, mean_minus) = (scale(&plus), scale(&minus));
    Some(Metrics {
        plus,
        minus,
        mean_plus,
        mean_minus,
        proof,
    })
}

/// Symbols of a header turned back by a carrier of `turns` a symbol.
pub(super) fn header_at(z: &[C32], start: usize, turns: f64) -> Option<[C64; HEADER]> {
    let part = z.get(start..start + HEADER)?;
    let step = C64::cis(-TAU * turns);
    let mut r = C64::new(1.0, 0.0);
    let mut out = [C64::default(); HEADER];
    for (o, x) in out.iter_mut().zip(part) {
        *o = C64::new(f64::from(x.re), f64::from(x.im)) * r;
        r *= step;
    }
    Some(out)
}

/// Headers that the carrier is sounded out with.
const SOUNDED: usize = 20;

/// The code all headers agree on best, and the carrier: both by maximum likelihood, headers of unknown phase each.
fn read_headers(z: &[C32], starts: &[usize], coarse: f64) -> (f64, PlsDecision) {
    let decoder = PlsDecoder::new();
    // Sixty headers tell all there is to tell.
    let used: Vec<usize> = starts.iter().copied().take(60).collect();
    let power: f64 = {
        let all: Vec<f64> = used
            .iter()
            .filter_map(|s| z.get(*s..s + HEADER))
            .flatten()
            .map(|x| f64::from(x.norm_sqr()))
            .collect();
        all.iter().sum::<f64>() / all.len().max(1) as f64
    };
    // Fewer of them tell the carrier well enough for a reading; it is refined afterwards.
    let score = |turns: f64| -> ([f64; 128], f64) {
        let mut sum = [0.0; 128];
        for s in used.iter().take(SOUNDED) {
            if let Some(h) = header_at(z, *s, turns) {
                for (a, c) in sum.iter_mut().zip(decoder.correlations(&h)) {
                    *a += c.norm_sqr();
                }
            }
        }
        let top = sum.iter().copied().fold(0.0, f64::max);
        (sum, top)
    };
    // Products of neighbours leave an error of up to some 3 % of a turn; 90 symbols resolve a hundredth.
    let (mut turns, mut top) = (coarse, 0.0);
    for k in -16..=16i32 {
        let t = coarse + f64::from(k) * 0.0025;
        let p = score(t).1;
        if p > top {
            (turns, top) = (t, p);
        }
    }
    let mut h = 0.00125;
    while h > 1e-6 {
        let (a, b) = (score(turns - h).1, score(turns + h).1);
        if a > top && a >= b {
            (turns, top) = (turns - h, a);
        } else if b > top {
            (turns, top) = (turns + h, b);
        } else {
            let curve = a - 2.0 * top + b;
            if curve < 0.0 {
                turns += (0.5 * (a - b) / curve).clamp(-1.0, 1.0) * h;
                top = score(turns).1;
            }
            h *= 0.3;
        }
    }
    // Amplitude and noise from the best code, then likelihoods.
    let m = (top / used.len().clamp(1, SOUNDED) as f64 / (HEADER * HEADER) as f64).max(1e-30);
    let n0 = (power - m).max(0.002 * power);
    let amplitude = (m - n0 / HEADER as f64).max(0.05 * m).sqrt();
    let mut d = PlsDecoder::new();
    for s in &used {
        if let Some(h) = header_at(z, *s, turns) {
            d.add(&h, amplitude, n0);
        }
    }
    let decision = d.decide().unwrap_or(PlsDecision {
        pls: 0,
        runner_up: 0,
        confidence: 0.0,
        headers: 0,
    });
    (turns, decision)
}

/// Phase difference reduced to half a turn either way.
pub(super) fn wrapped(x: f64) -> f64 {
    let y = (x + PI).rem_euclid(TAU) - PI;
    if y < -PI { y + TAU } else { y }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_stats::stream::{named_stream, normal, uniform};

    #[test]
    fn two_valued_symbols_a_quarter_of_their_rate_off_are_no_headers() {
        // Plain BPSK looks like pi/2-BPSK there: the products of neighbours lie on the line that a header's lie on.
        for seed in 0..4 {
            let mut rng = named_stream(seed, "two-valued", 0);
            let s = 0.2;
            let z: Vec<C32> = (0..60_000)
                .map(|k| {
                    let b = if uniform(&mut rng) < 0.5 { -1.0 } else { 1.0 };
                    let z = C64::cis(TAU * 0.2495 * f64::from(k)) * b
                        + C64::new(s * normal(&mut rng), s * normal(&mut rng));
                    C32::new(z.re as f32, z.im as f32)
                })
                .collect();
            assert!(
                matches!(synchronise(&z), Err(NoSync::NoHeaders { .. })),
                "{seed}"
            );
            assert!(loudest_headers(&z).is_empty(), "{seed}");
        }
    }
}
