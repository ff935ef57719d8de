//! Peak of an envelope under noise.
//!
//! A level that the envelope passes for a small share of the time is read too high when noise stands under the signal:
//! the highest samples are those where noise helped. The noise is therefore taken out of the distribution of powers, not
//! off the reading: `|s + n|^2` of a signal of power `x` in circular Gaussian noise of mean power `N` is distributed as
//! `(N/2)` times a noncentral chi squared with two degrees of freedom (Rice's law), and the distribution of `x` is found
//! from that of the readings by Richardson's and Lucy's iteration (W. H. Richardson, J. Opt. Soc. Am. 62, 1972, p. 55;
//! L. B. Lucy, Astron. J. 79, 1974, p. 745).

use crate::C64;
use slantpath_quantity::{from_db, to_db};

/// Steps of the grid of powers, dB.
const STEP_DB: f64 = 0.25;
/// Lowest power on the grid against the highest reading, dB.
const DEPTH_DB: f64 = 45.0;
/// Rounds of the iteration: sharp enough for a steady carrier at 15 dB (checked by the tests), few enough not to raise
/// single readings to peaks.
const ROUNDS: usize = 150;

/// Power at the crest of an envelope.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crest {
    /// Power that the envelope passes for the stated share of the time, without the noise.
    pub power: f64,
    /// Relative standard uncertainty: scatter over twelve parts of the recording.
    pub relative_u: f64,
    /// The same reading with the noise left in it.
    pub with_noise: f64,
}

/// Power that the envelope of `z` passes for a share `passed` of the time, with noise of mean power `noise` taken out.
/// `None` with fewer than thirty samples above that level, a share outside 0..1, or no power.
///
/// The uncertainty comes from leaving out one twelfth of the time in turn (jackknife by groups: H. R. Kuensch, Ann.
/// Statist. 17, 1989, p. 1217), so that it holds how the signal itself varies.
pub fn crest(z: &[C64], noise: f64, passed: f64) -> Option<Crest> {
    const GROUPS: usize = 12;
    let usable = passed > 0.0 && passed < 1.0 && noise.is_finite() && noise >= 0.0;
    if !usable {
        return None;
    }
    if (z.len() as f64) * passed < 30.0 {
        return None;
    }
    let power: Vec<f64> = z.iter().map(|v| v.norm_sqr()).collect();
    let top = power.iter().copied().fold(0.0, f64::max);
    if !(top.is_finite() && top > 0.0) {
        return None;
    }
    let grid = Grid::new(top, noise);
    let group = |g: usize| g * power.len() / GROUPS..(g + 1) * power.len() / GROUPS;
    let parts: Vec<Vec<f64>> = (0..GROUPS)
        .map(|g| grid.histogram(power.get(group(g)).unwrap_or(&[])))
        .collect();
    let sum = |without: Option<usize>| -> Vec<f64> {
        let mut out = vec![0.0; grid.x.len()];
        for (g, part) in parts.iter().enumerate() {
            if Some(g) != without {
                for (o, v) in out.iter_mut().zip(part) {
                    *o += v;
                }
            }
        }
        out
    };
    let all = sum(None);
    let at = |h: &[f64]| grid.passed(&grid.cleared(h), passed);
    let value = at(&all);
    let some: Vec<f64> = (0..GROUPS).map(|g| to_db(at(&sum(Some(g))))).collect();
    let n = GROUPS as f64;
    let mean = some.iter().sum::<f64>() / n;
    let var = some.iter().map(|v| (v - mean).powi(2)).sum::<f64>() * (n - 1.0) / n;
    // The grid's own step, as a rectangle.
    let u_db = var.sqrt().hypot(STEP_DB / 12f64.sqrt());
    Some(Crest {
        power: value,
        relative_u: u_db * std::f64::consts::LN_10 / 10.0,
        with_noise: grid.passed(&all, passed),
    })
}

/// Powers in equal steps of dB, and how noise spreads each of them.
struct Grid {
    /// Powers, lowest first.
    x: Vec<f64>,
    /// `spread[j][i]`: share of the readings in step `i` when the signal's power is `x[j]`; empty without noise.
    spread: Vec<Vec<f64>>,
}

impl Grid {
    fn new(top: f64, noise: f64) -> Self {
        let n = (DEPTH_DB / STEP_DB) as usize + 2;
        let x: Vec<f64> = (0..n)
            .map(|k| top * from_db(STEP_DB * (k as f64 + 1.5 - n as f64)))
            .collect();
        // Noise far below the grid moves nothing.
        let spread = if noise > x.first().copied().unwrap_or(0.0) * 1e-3 {
            x.iter().map(|&s| row(&x, s, noise)).collect()
        } else {
            Vec::new()
        };
        Self { x, spread }
    }

    fn histogram(&self, power: &[f64]) -> Vec<f64> {
        let mut h = vec![0.0; self.x.len()];
        let Some(&low) = self.x.first() else { return h };
        for &p in power {
            let k = if p > 0.0 {
                (to_db(p / low) / STEP_DB).round().max(0.0) as usize
            } else {
                0
            };
            let last = h.len() - 1;
            if let Some(v) = h.get_mut(k.min(last)) {
                *v += 1.0;
            }
        }
        h
    }

    /// The distribution without the noise.
    fn cleared(&self, readings: &[f64]) -> Vec<f64> {
        if self.spread.is_empty() {
            return readings.to_vec();
        }
        let total: f64 = readings.iter().sum();
        let mut f = vec![total / self.x.len() as f64; self.x.len()];
        for _ in 0..ROUNDS {
            let mut foreseen = vec![0.0; self.x.len()];
            for (row, v) in self.spread.iter().zip(&f) {
                for (o, s) in foreseen.iter_mut().zip(row) {
                    *o += s * v;
                }
            }
            let ratio: Vec<f64> = readings
                .iter()
                .zip(&foreseen)
                .map(|(h, e)| if *e > 1e-12 { h / e } else { 0.0 })
                .collect();
            for (v, row) in f.iter_mut().zip(&self.spread) {
                *v *= row.iter().zip(&ratio).map(|(s, r)| s * r).sum::<f64>();
            }
        }
        f
    }

    /// Power passed for a share of the time, between the steps.
    fn passed(&self, h: &[f64], share: f64) -> f64 {
        let want = share * h.iter().sum::<f64>();
        let mut above = 0.0;
        for (x, v) in self.x.iter().zip(h).rev() {
            if above + v >= want && *v > 0.0 {
                // Within the step, from its upper edge down.
                let part = (want - above) / v;
                return x * from_db(STEP_DB * (0.5 - part));
            }
            above += v;
        }
        self.x.first().copied().unwrap_or(0.0)
    }
}

/// Share of the readings in each step for a signal of power `s` in noise of mean power `n`: the density of Rice's law
/// `exp(-(r + s)/n) I0(2 sqrt(r s)/n) / n` at four points of each step.
fn row(x: &[f64], s: f64, n: f64) -> Vec<f64> {
    let mut out: Vec<f64> = x
        .iter()
        .map(|c| {
            (0..4)
                .map(|k| {
                    let r = c * from_db(STEP_DB * (f64::from(k) - 1.5) / 4.0);
                    let arg = 2.0 * (r * s).sqrt() / n;
                    let apart = r.sqrt() - s.sqrt();
                    // A step of ln(power): dr = r dln(r).
                    r / n * (-apart * apart / n).exp() * scaled_i0(arg)
                })
                .sum::<f64>()
        })
        .collect();
    let total: f64 = out.iter().sum();
    if total > 0.0 {
        for v in &mut out {
            *v /= total;
        }
    } else if let Some(k) = x.iter().position(|c| *c >= s)
        && let Some(v) = out.get_mut(k)
    {
        // Narrower than a step.
        *v = 1.0;
    }
    out
}

/// `exp(-x) I0(x)`: Abramowitz and Stegun 9.8.1 and 9.8.2, error below 2e-7.
fn scaled_i0(x: f64) -> f64 {
    let sum = |c: &[f64], t: f64| c.iter().rev().fold(0.0, |a, b| a * t + b);
    if x < 3.75 {
        let t = (x / 3.75).powi(2);
        (-x).exp()
            * sum(
                &[
                    1.0,
                    3.515_622_9,
                    3.089_942_4,
                    1.206_749_2,
                    0.265_973_2,
                    0.036_076_8,
                    0.004_581_3,
                ],
                t,
            )
    } else {
        let t = 3.75 / x;
        sum(
            &[
                0.398_942_28,
                0.013_285_92,
                0.002_253_19,
                -0.001_575_65,
                0.009_162_81,
                -0.020_577_06,
                0.026_355_37,
                -0.016_476_33,
                0.003_923_77,
            ],
            t,
        ) / x.sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};
    use rand_chacha::ChaCha12Rng;
    use rand_distr::StandardNormal;

    fn noisy(signal: impl Fn(usize) -> f64, n: usize, noise: f64, seed: u64) -> Vec<C64> {
        let mut r = ChaCha12Rng::seed_from_u64(seed);
        let sigma = (0.5 * noise).sqrt();
        (0..n)
            .map(|k| {
                let a: f64 = r.sample(StandardNormal);
                let b: f64 = r.sample(StandardNormal);
                C64::new(signal(k) + sigma * a, sigma * b)
            })
            .collect()
    }

    #[test]
    fn a_steady_carrier_has_its_own_power_at_the_crest() {
        for (db, seed) in [(30.0, 1), (20.0, 2), (15.0, 3), (10.0, 4)] {
            let z = noisy(|_| 1.0, 60_000, from_db(-db), seed);
            let c = crest(&z, from_db(-db), 1e-3).unwrap();
            let (got, raw) = (to_db(c.power), to_db(c.with_noise));
            assert!(
                got.abs() < 0.35 + 4.0 * from_db(-0.5 * db),
                "{got} dB at {db} dB, {raw} with noise"
            );
            assert!(got < 0.75 * raw || db > 25.0, "{got} of {raw} at {db} dB");
        }
    }

    #[test]
    fn two_tones_peak_three_decibels_above_their_mean() {
        // Envelope power 2 cos^2 of mean 1: passed for a thousandth of the time at 2 cos^2(pi/2 1e-3).
        let z = noisy(
            |k| 2f64.sqrt() * (0.37 * k as f64).cos(),
            60_000,
            from_db(-20.0),
            5,
        );
        let c = crest(&z, from_db(-20.0), 1e-3).unwrap();
        assert!((to_db(c.power) - to_db(2.0)).abs() < 0.6, "{c:?}");
        // Without noise the reading is the closed form.
        let z = noisy(|k| 2f64.sqrt() * (0.37 * k as f64).cos(), 60_000, 0.0, 5);
        let c = crest(&z, 0.0, 0.1).unwrap();
        let want = 2.0 * (std::f64::consts::FRAC_PI_2 * 0.1).cos().powi(2);
        assert!((to_db(c.power) - to_db(want)).abs() < 0.1, "{c:?} {want}");
    }

    #[test]
    fn what_cannot_be_told_is_not() {
        let z = noisy(|_| 1.0, 1000, 0.01, 1);
        assert!(crest(&z, 0.01, 1e-3).is_none());
        assert!(crest(&z, 0.01, 1.0).is_none() && crest(&z, -1.0, 0.1).is_none());
        assert!(crest(&vec![C64::default(); 1000], 0.0, 0.1).is_none());
    }

    #[test]
    fn bessel_function_at_table_values() {
        // Abramowitz and Stegun, table 9.8: exp(-x) I0(x)
        for (x, want) in [
            (0.0, 1.0),
            (1.0, 0.465_759_607_6),
            (5.0, 0.183_540_812_6),
            (10.0, 0.127_833_337_2),
        ] {
            assert!((scaled_i0(x) - want).abs() < 3e-7, "{x}");
        }
    }
}
