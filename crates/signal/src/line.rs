//! A line that may drift: frequency, drift and strength from the phase of the whole stretch.

use crate::{C64, plans};
use std::f64::consts::{PI, TAU};

/// The strongest line of a stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChirpPeak {
    /// Frequency at the middle of the stretch, Hz from the stretch's zero.
    pub f_mid_hz: f64,
    /// Drift, Hz/s.
    pub drift_hz_per_s: f64,
    /// Power of the line (square of its coherent mean), in the samples' unit.
    pub power: f64,
    /// Line over the mean of the other bins of the same transform, power ratio.
    pub snr: f64,
}

/// Power over the best one's from which another frequency and drift stays in the search.
const RIVAL: f64 = 0.6;
/// How many do at most.
const RIVALS: usize = 8;

/// Finds the drifting line between `lo_hz` and `hi_hz` whose coherent sum is largest (maximum likelihood for one
/// chirp in white noise; D. C. Rife and R. R. Boorstyn, IEEE Trans. IT-20, 1974, for the line without drift).
///
/// Drifts up to `drift_max` are tried on the middle second; the stretch is then doubled about its middle, each time
/// narrowing frequency and drift, until it is whole. At the end both are refined by parabolas through the peak.
/// `None` for fewer than 16 samples.
pub fn chirp_line(
    z: &[C64],
    rate_hz: f64,
    lo_hz: f64,
    hi_hz: f64,
    drift_max: f64,
) -> Option<ChirpPeak> {
    let n = z.len();
    if n < 16 || rate_hz.is_nan() || rate_hz <= 0.0 {
        return None;
    }
    let mid = 0.5 * (n as f64 - 1.0);
    let mut length = n;
    while length as f64 / rate_hz > 2.0 && length >= 64 {
        length = length.div_ceil(2);
    }
    // Places to look at: lowest and highest frequency, drift and how far around it.
    let mut places = vec![(lo_hz, hi_hz, 0.0, drift_max.abs())];
    let (mut f, mut drift, mut df, mut step);
    let others;
    loop {
        let t_s = length as f64 / rate_hz;
        // Drifts in steps that cost at most 0.1 dB.
        step = 0.6 / (t_s * t_s);
        let first = (n - length) / 2;
        let piece = z.get(first..first + length)?;
        let pad = (2 * length).next_power_of_two();
        df = rate_hz / pad as f64;
        let fft = plans::forward(pad);
        let mut buffer = vec![C64::default(); pad];
        let mut scratch = vec![C64::default(); fft.get_inplace_scratch_len()];
        let mut tops: Vec<(f64, f64, i64)> = Vec::new();
        for (lo, hi, centre, reach) in &places {
            let steps = (reach / step).ceil() as i64;
            let (a, b) = ((lo / df).ceil() as i64, (hi / df).floor() as i64);
            for s in -steps..=steps {
                let d = centre + s as f64 * step;
                buffer.fill(C64::default());
                chirped(piece, first as f64 - mid, rate_hz, d, &mut buffer);
                fft.process_with_scratch(&mut buffer, &mut scratch);
                let mut top = (0.0, a);
                for k in a..=b {
                    let p = buffer[k.rem_euclid(pad as i64) as usize].norm_sqr();
                    if p > top.0 {
                        top = (p, k);
                    }
                }
                tops.push((top.0, d, top.1));
            }
        }
        tops.sort_by(|x, y| y.0.total_cmp(&x.0));
        let best = *tops.first()?;
        f = best.2 as f64 * df;
        drift = best.1;
        if length == n {
            // What else there is, over all of the range asked about.
            let (a, b) = ((lo_hz / df).ceil() as i64, (hi_hz / df).floor() as i64);
            buffer.fill(C64::default());
            chirped(piece, first as f64 - mid, rate_hz, drift, &mut buffer);
            fft.process_with_scratch(&mut buffer, &mut scratch);
            let sum: f64 = (a..=b)
                .filter(|k| (k - best.2).abs() > 4)
                .map(|k| buffer[k.rem_euclid(pad as i64) as usize].norm_sqr())
                .sum();
            others = (sum / ((b - a - 8).max(1) as f64)).max(best.0 * 1e-12);
            break;
        }
        // A keyed line may be up for most of this piece and say little of its drift: rivals go on to the next.
        let mut chosen: Vec<(f64, f64)> = Vec::new();
        for (p, d, k) in &tops {
            let f = *k as f64 * df;
            if *p < RIVAL * best.0 || chosen.len() >= RIVALS {
                break;
            }
            let near = |c: &(f64, f64)| (c.1 - d).abs() < 2.5 * step && (c.0 - f).abs() < 3.0 / t_s;
            if !chosen.iter().any(near) {
                chosen.push((f, *d));
            }
        }
        places = chosen
            .iter()
            .map(|(f, d)| {
                let (lo, hi) = ((f - 3.0 / t_s).max(lo_hz), (f + 3.0 / t_s).min(hi_hz));
                (lo, hi, *d, 1.5 * step)
            })
            .collect();
        length = (2 * length).min(n);
    }
    // Refinement on the exact sum rather than on the grid.
    let exact = |f: f64, d: f64| -> f64 {
        // Phase by recurrence: the second difference of a quadratic phase is constant.
        let (t0, dt) = (-mid / rate_hz, 1.0 / rate_hz);
        let mut turn = C64::from_polar(1.0, -(TAU * f * t0 + PI * d * t0 * t0));
        let mut rate = C64::from_polar(1.0, -(TAU * f * dt + PI * d * (2.0 * t0 * dt + dt * dt)));
        let bend = C64::from_polar(1.0, -TAU * d * dt * dt);
        let mut acc = C64::default();
        for z in z {
            acc += z * turn;
            turn *= rate;
            rate *= bend;
        }
        acc.norm_sqr()
    };
    // Newton's method on the logarithm of the power, both unknowns at once: with gaps in a keyed line they are not
    // independent.
    let start = (f, drift);
    for _ in 0..6 {
        let Some((by_f, by_d)) = newton(z, rate_hz, f, drift) else {
            break;
        };
        f += by_f.clamp(-0.5 * df, 0.5 * df);
        drift += by_d.clamp(-0.5 * step, 0.5 * step);
    }
    let strayed = (f - start.0).abs() > 2.0 * df || (drift - start.1).abs() > 2.0 * step;
    if strayed || exact(f, drift) < exact(start.0, start.1) {
        // Not near enough to the top: parabolas in turn.
        (f, drift) = start;
        let (mut hf, mut hd) = (0.5 * df, 0.5 * step);
        for _ in 0..10 {
            f = parabola(f, hf, |x| exact(x, drift));
            drift = parabola(drift, hd, |x| exact(f, x));
            hf *= 0.7;
            hd *= 0.7;
        }
    }
    let p = exact(f, drift);
    let n2 = (n as f64) * (n as f64);
    Some(ChirpPeak {
        f_mid_hz: f,
        drift_hz_per_s: drift,
        power: p / n2,
        snr: p / others.max(1e-300),
    })
}

/// Samples with a frequency and a drift taken out, both about the middle of the stretch.
pub fn despun(z: &[C64], rate_hz: f64, f_hz: f64, drift: f64) -> Vec<C64> {
    let dt = 1.0 / rate_hz;
    let t0 = -0.5 * (z.len() as f64 - 1.0) * dt;
    let mut turn = C64::from_polar(1.0, -(TAU * f_hz * t0 + PI * drift * t0 * t0));
    let mut rate = C64::from_polar(
        1.0,
        -(TAU * f_hz * dt + PI * drift * (2.0 * t0 * dt + dt * dt)),
    );
    let bend = C64::from_polar(1.0, -TAU * drift * dt * dt);
    z.iter()
        .map(|z| {
            let v = z * turn;
            turn *= rate;
            rate *= bend;
            v
        })
        .collect()
}

/// Samples with a drift taken out, at positions from `start` (in samples from the middle).
fn chirped(z: &[C64], start: f64, rate_hz: f64, drift: f64, out: &mut [C64]) {
    let (t0, dt) = (start / rate_hz, 1.0 / rate_hz);
    let mut turn = C64::from_polar(1.0, -PI * drift * t0 * t0);
    let mut rate = C64::from_polar(1.0, -PI * drift * (2.0 * t0 * dt + dt * dt));
    let bend = C64::from_polar(1.0, -TAU * drift * dt * dt);
    for (o, z) in out.iter_mut().zip(z) {
        *o = z * turn;
        turn *= rate;
        rate *= bend;
    }
}

/// Newton's step of frequency and drift towards the top of `ln |sum z exp(-i(2 pi f t + pi d t^2))|^2`; `None` where the
/// surface does not curve downwards.
fn newton(z: &[C64], rate_hz: f64, f_hz: f64, drift: f64) -> Option<(f64, f64)> {
    let dt = 1.0 / rate_hz;
    let t0 = -0.5 * (z.len() as f64 - 1.0) * dt;
    let mut s = [C64::default(); 5];
    for (i, z) in despun(z, rate_hz, f_hz, drift).into_iter().enumerate() {
        let t = t0 + i as f64 * dt;
        let mut v = z;
        for s in &mut s {
            *s += v;
            v *= t;
        }
    }
    let m: Vec<C64> = s.iter().map(|v| v / s[0]).collect();
    // Derivatives of the complex logarithm of the sum; the power's is twice the real part.
    let (a, b) = (C64::new(0.0, -TAU), C64::new(0.0, -PI));
    let (gf, gd) = ((a * m[1]).re, (b * m[2]).re);
    let hff = (a * a * (m[2] - m[1] * m[1])).re;
    let hdd = (b * b * (m[4] - m[2] * m[2])).re;
    let hfd = (a * b * (m[3] - m[1] * m[2])).re;
    let det = hff * hdd - hfd * hfd;
    (hff < 0.0 && det > 0.0).then(|| ((hfd * gd - hdd * gf) / det, (hfd * gf - hff * gd) / det))
}

/// Abscissa of the top of a parabola through three points `h` apart around `x`, at most `h` away from it.
fn parabola(x: f64, h: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (a, b, c) = (f(x - h), f(x), f(x + h));
    let curve = a - 2.0 * b + c;
    if curve < 0.0 {
        x + (0.5 * (a - c) / curve).clamp(-1.0, 1.0) * h
    } else if a > c {
        x - h
    } else {
        x + h
    }
}

/// Variance bound of a line's frequency, Hz^2, for a carrier-to-noise-density ratio `c_n0` in hertz over `t_s`
/// seconds, phase unknown and drift known (Rife and Boorstyn 1974, eq. 17 in the limit of many samples):
/// `6 / ((2 pi)^2 (C/N0) T^3)`. It holds at the middle of the stretch also when a drift is fitted.
pub fn frequency_bound(c_n0: f64, t_s: f64) -> f64 {
    6.0 / (TAU * TAU * c_n0 * t_s.powi(3))
}

/// Variance bound of the drift, (Hz/s)^2: `90 / (pi^2 (C/N0) T^5)` (Fisher information of a quadratic phase).
pub fn drift_bound(c_n0: f64, t_s: f64) -> f64 {
    90.0 / (PI * PI * c_n0 * t_s.powi(5))
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha12Rng;
    use rand_distr::StandardNormal;

    #[test]
    fn frequency_and_drift_scatter_as_the_bound_says() {
        let (rate, n, f0, d0) = (500.0, 1000, 41.37, -2.3);
        let t_s = n as f64 / rate;
        let c_n0 = 60.0; // line of power 1 in noise of density 1/60
        let sigma = (0.5 * rate / c_n0).sqrt();
        let mut r = ChaCha12Rng::seed_from_u64(5);
        let (mut vf, mut vd) = (0.0, 0.0);
        let trials = 40;
        for _ in 0..trials {
            let ph: f64 = r.random::<f64>() * TAU;
            let z: Vec<C64> = (0..n)
                .map(|i| {
                    let t = (i as f64 - 0.5 * (n as f64 - 1.0)) / rate;
                    let a: f64 = r.sample(StandardNormal);
                    let b: f64 = r.sample(StandardNormal);
                    C64::from_polar(1.0, ph + TAU * f0 * t + PI * d0 * t * t)
                        + C64::new(sigma * a, sigma * b)
                })
                .collect();
            let p = chirp_line(&z, rate, -200.0, 200.0, 5.0).unwrap();
            vf += (p.f_mid_hz - f0).powi(2);
            vd += (p.drift_hz_per_s - d0).powi(2);
        }
        let (vf, vd) = (vf / trials as f64, vd / trials as f64);
        let (rf, rd) = (vf / frequency_bound(c_n0, t_s), vd / drift_bound(c_n0, t_s));
        // Chi-square with 40 degrees of freedom: 99.9 % lies within 0.45..1.85 of its mean.
        assert!((0.45..1.9).contains(&rf), "{rf}");
        assert!((0.45..1.9).contains(&rd), "{rd}");
    }
}
