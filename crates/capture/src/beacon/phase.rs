//! How well a line's frequency is known: what its phase does about the fitted parabola.
//!
//! The phase left in parts of the stretch is receiver noise and, with a poor oscillator, a wandering. The noise shows in
//! neighbouring pieces, at right angles to the line. The wandering is taken to be an Ornstein-Uhlenbeck process: a random
//! walk (white frequency noise) that may turn back after some time. Its strength and its time are not known; every pair
//! on a grid counts by its restricted likelihood (H. D. Patterson and R. Thompson, Biometrika 58, 1971: the likelihood
//! of what the parabola leaves), and the standard uncertainties of frequency and drift under each are averaged with that weight. With
//! a steady oscillator this leads back to the Cramer-Rao bound.

use slantpath_signal::C64;
use slantpath_stats::matrix::{Cholesky, Matrix};
use std::f64::consts::TAU;

/// Parts of a stretch.
const PARTS: usize = 32;
/// Strength of the wandering over a part, as multiples of the noise on a part.
const STRENGTHS: [f64; 13] = [
    0.0, 1e-3, 3e-3, 1e-2, 3e-2, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 300.0, 3000.0,
];
/// Rates at which it turns back, in stretches.
const TURNS: [f64; 4] = [0.0, 3.0, 12.0, 40.0];

/// One part: time of its middle in half stretches from the middle, phase, and variance from receiver noise.
struct Part {
    x: f64,
    phase: f64,
    variance: f64,
    /// Weight in the coherent sum that told frequency and drift.
    weight: f64,
}

/// Standard uncertainties of frequency, Hz, and drift, Hz/s, of a line whose pieces (time and mean, frequency and drift
/// taken out) span `t_s` seconds.
pub(super) fn spread(pieces: &[(f64, C64)], t_s: f64) -> (f64, f64) {
    // What cannot be told better than by the resolution of the stretch.
    let coarse = (1.0 / t_s, 4.0 / (t_s * t_s));
    parts(pieces, t_s)
        .filter(|p| p.len() >= 6)
        .and_then(|p| averaged(&p))
        .map_or(coarse, |(slope, bend)| {
            // x counts half stretches: phase = slope x + bend x^2.
            let half = 0.5 * t_s;
            (slope / (TAU * half), 2.0 * bend / (TAU * half * half))
        })
}

fn parts(pieces: &[(f64, C64)], t_s: f64) -> Option<Vec<Part>> {
    let n = pieces.len();
    if n < 2 * PARTS {
        return None;
    }
    let mut sizes: Vec<f64> = pieces.iter().map(|p| p.1.norm()).collect();
    sizes.sort_by(f64::total_cmp);
    // Amplitude with the key down: the mean of the pieces about the tallest tenth's.
    let tall = sizes[n - 1 - n / 10];
    let down: Vec<f64> = sizes.into_iter().filter(|s| *s > 0.7 * tall).collect();
    let amplitude = down.iter().sum::<f64>() / down.len().max(1) as f64;
    // Noise at right angles to the line: keying moves the amplitude alone.
    let across: f64 = pieces
        .windows(4)
        .map(|w| {
            let direction = w[0].1 + w[1].1 + w[2].1 + w[3].1;
            let d = (w[2].1 - w[1].1) * direction.conj();
            d.im * d.im / direction.norm_sqr().max(1e-300)
        })
        .sum::<f64>()
        / (2.0 * (n - 3) as f64);
    let mut last = 0.0;
    let mut out = Vec::with_capacity(PARTS);
    for k in 0..PARTS {
        let r = n * k / PARTS..n * (k + 1) / PARTS;
        let count = r.len() as f64;
        let z: C64 = pieces[r.clone()].iter().map(|p| p.1).sum();
        let weight = z.norm() / amplitude.max(1e-300);
        let variance = across * count / z.norm_sqr().max(1e-300);
        // Key up, or a phase that might be a turn off.
        if variance > 0.3 || weight < 0.12 * count {
            continue;
        }
        let t = pieces[r].iter().map(|p| p.0).sum::<f64>() / count;
        let turn = ((z.arg() - last) / TAU).round();
        last = z.arg() - turn * TAU;
        out.push(Part {
            x: 2.0 * t / t_s,
            phase: last,
            variance,
            weight,
        });
    }
    Some(out)
}

/// Covariance of the wandering's means over two parts `d` stretches apart, each `w` long, at unit diffusion per stretch;
/// `a` is the rate of turning back. Without one a covariance up to constants: those belong to the parabola.
fn wandering(d: f64, w: f64, a: f64) -> f64 {
    let same = d < 0.5 * w;
    if a == 0.0 {
        return -0.5 * if same { w / 3.0 } else { d };
    }
    let b = a * w;
    let shape = if same {
        2.0 * (b - 1.0 + (-b).exp()) / (b * b)
    } else {
        2.0 * (b.cosh() - 1.0) / (b * b) * (-a * d).exp()
    };
    shape / (2.0 * a)
}

/// Standard uncertainties of the coefficients of x and x^2 as a coherent sum finds them, averaged over the wanderings that may be.
fn averaged(parts: &[Part]) -> Option<(f64, f64)> {
    let n = parts.len();
    let width = 1.0 / PARTS as f64;
    let typical = parts.iter().map(|p| p.variance).sum::<f64>() / n as f64;
    let basis: [Vec<f64>; 3] = [
        vec![1.0; n],
        parts.iter().map(|p| p.x).collect(),
        parts.iter().map(|p| p.x * p.x).collect(),
    ];
    let rows = estimator(parts, &basis)?;
    let phase: Vec<f64> = parts.iter().map(|p| p.phase).collect();
    let mut found: Vec<(f64, f64, f64)> = Vec::new();
    for (i, strength) in STRENGTHS.iter().enumerate() {
        for turn in &TURNS[..if i == 0 { 1 } else { TURNS.len() }] {
            let diffusion = strength * typical / width;
            // The constant makes the random walk's covariance positive; the parabola takes it out again.
            let constant = if *turn == 0.0 { diffusion } else { 0.0 };
            let v = Matrix::from_fn(n, n, |r, c| {
                let d = 0.5 * (parts[r].x - parts[c].x).abs();
                let own = if r == c { parts[r].variance } else { 0.0 };
                own + diffusion * wandering(d, width, *turn) + constant
            });
            let Ok(l) = Cholesky::new(&v) else { continue };
            let Some(likelihood) = restricted(&l, &basis, &phase) else {
                continue;
            };
            // A steady oscillator is as likely beforehand as all wanderings together.
            let prior = if i == 0 {
                1.0
            } else {
                1.0 / (TURNS.len() * (STRENGTHS.len() - 1)) as f64
            };
            found.push((
                likelihood + f64::ln(prior),
                v.quadratic(&rows[0]).sqrt(),
                v.quadratic(&rows[1]).sqrt(),
            ));
        }
    }
    let best = found.iter().map(|f| f.0).fold(f64::NEG_INFINITY, f64::max);
    let (mut w, mut slope, mut bend) = (0.0, 0.0, 0.0);
    for (l, s, b) in found {
        let k = (l - best).exp();
        w += k;
        slope += k * s;
        bend += k * b;
    }
    (w > 0.0).then(|| (slope / w, bend / w))
}

/// Rows that turn phases into the coefficients of x and x^2: least squares weighted as the coherent sum weighs.
fn estimator(parts: &[Part], basis: &[Vec<f64>; 3]) -> Option<[Vec<f64>; 2]> {
    let m: Vec<Vec<f64>> = (0..3)
        .map(|i| {
            (0..3)
                .map(|j| {
                    parts
                        .iter()
                        .enumerate()
                        .map(|(k, p)| p.weight * basis[i][k] * basis[j][k])
                        .sum()
                })
                .collect()
        })
        .collect();
    let inverse = slantpath_signal::fit::invert(&m)?;
    let row = |i: usize| -> Vec<f64> {
        parts
            .iter()
            .enumerate()
            .map(|(k, p)| p.weight * (0..3).map(|j| inverse[i][j] * basis[j][k]).sum::<f64>())
            .collect()
    };
    Some([row(1), row(2)])
}

/// Restricted log likelihood of the phases under a covariance, up to a constant.
fn restricted(l: &Cholesky, basis: &[Vec<f64>; 3], phase: &[f64]) -> Option<f64> {
    let y = l.whiten(phase);
    let x: Vec<Vec<f64>> = basis.iter().map(|b| l.whiten(b)).collect();
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    // Gram-Schmidt over the three columns: log of their volume, and what they leave of y.
    let (mut q, mut log_volume): (Vec<Vec<f64>>, f64) = (Vec::new(), 0.0);
    for column in x {
        let mut c = column;
        for _ in 0..2 {
            for done in &q {
                let k = dot(&c, done);
                for (c, d) in c.iter_mut().zip(done) {
                    *c -= k * d;
                }
            }
        }
        let size = dot(&c, &c).sqrt();
        if size.is_nan() || size <= 0.0 {
            return None;
        }
        log_volume += size.ln();
        q.push(c.iter().map(|v| v / size).collect());
    }
    let left = dot(&y, &y) - q.iter().map(|q| dot(&y, q).powi(2)).sum::<f64>();
    Some(-0.5 * l.ln_det() - log_volume - 0.5 * left)
}
