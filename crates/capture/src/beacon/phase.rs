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
}

/// What the phase adds to the frequency and drift of the tallest coherent sum, and how well both are then known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spread {
    /// To be added to the frequency, Hz.
    pub by_f: f64,
    /// Standard uncertainty of the frequency, Hz.
    pub u_f: f64,
    /// To be added to the drift, Hz/s.
    pub by_drift: f64,
    /// Standard uncertainty of the drift, Hz/s.
    pub u_drift: f64,
}

/// Looks at a line whose pieces (time and mean, frequency and drift taken out) span `t_s` seconds.
pub(super) fn spread(pieces: &[(f64, C64)], t_s: f64) -> Spread {
    // What cannot be told better than by the resolution of the stretch.
    let coarse = Spread {
        by_f: 0.0,
        u_f: 1.0 / t_s,
        by_drift: 0.0,
        u_drift: 4.0 / (t_s * t_s),
    };
    // x counts half stretches: phase = slope x + bend x^2.
    let half = 0.5 * t_s;
    let (to_f, to_drift) = (1.0 / (TAU * half), 2.0 / (TAU * half * half));
    parts(pieces, t_s)
        .filter(|p| p.len() >= 6)
        .and_then(|p| averaged(&p))
        .map(|[slope, bend]| Spread {
            by_f: slope.0 * to_f,
            u_f: slope.1 * to_f,
            by_drift: bend.0 * to_drift,
            u_drift: bend.1 * to_drift,
        })
        // The tallest sum is never further off than the resolution.
        .filter(|s| s.by_f.abs() < coarse.u_f && s.by_drift.abs() < coarse.u_drift)
        .unwrap_or(coarse)
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
    let used = keyed_down(pieces, amplitude, across);
    let mut last = 0.0;
    let mut out = Vec::with_capacity(PARTS);
    for k in 0..PARTS {
        let r = n * k / PARTS..n * (k + 1) / PARTS;
        let all = r.len() as f64;
        let kept = || {
            pieces[r.clone()]
                .iter()
                .zip(&used[r.clone()])
                .filter(|(_, used)| **used)
                .map(|(p, _)| p)
        };
        let count = kept().count() as f64;
        let z: C64 = kept().map(|p| p.1).sum();
        let weight = z.norm() / amplitude.max(1e-300);
        let variance = across * count / z.norm_sqr().max(1e-300);
        // Key up, or a phase that might be a turn off.
        if variance > 0.3 || weight < 0.12 * all {
            continue;
        }
        let t = kept().map(|p| p.0).sum::<f64>() / count;
        let turn = ((z.arg() - last) / TAU).round();
        last = z.arg() - turn * TAU;
        out.push(Part {
            x: 2.0 * t / t_s,
            phase: last,
            variance,
        });
    }
    Some(out)
}

/// Which pieces carry the line. A gap of a keyed carrier holds noise alone, which a part had better not take in; told by
/// the size of a piece with its neighbours, where a piece stands clear of its noise. Sizes say nothing of phases.
fn keyed_down(pieces: &[(f64, C64)], amplitude: f64, across: f64) -> Vec<bool> {
    let n = pieces.len();
    // Three pieces of noise alone reach half the plateau by chance once in a thousand times at this level.
    if across * 20.0 > amplitude * amplitude {
        return vec![true; n];
    }
    let used: Vec<bool> = (0..n)
        .map(|i| {
            let (a, e) = (i.saturating_sub(1), (i + 2).min(n));
            let z: C64 = pieces[a..e].iter().map(|p| p.1).sum();
            z.norm() > 0.5 * amplitude * (e - a) as f64
        })
        .collect();
    let share = used.iter().filter(|u| **u).count() as f64 / n as f64;
    // A steady line in a bad moment is no keying.
    if share > 0.95 { vec![true; n] } else { used }
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

/// Coefficients of x and x^2 with their standard uncertainties, averaged over the wanderings that may be.
fn averaged(parts: &[Part]) -> Option<[(f64, f64); 2]> {
    let n = parts.len();
    let width = 1.0 / PARTS as f64;
    let typical = parts.iter().map(|p| p.variance).sum::<f64>() / n as f64;
    let basis: [Vec<f64>; 3] = [
        vec![1.0; n],
        parts.iter().map(|p| p.x).collect(),
        parts.iter().map(|p| p.x * p.x).collect(),
    ];
    let phase: Vec<f64> = parts.iter().map(|p| p.phase).collect();
    let mut found: Vec<Fit> = Vec::new();
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
            let Some(mut fit) = restricted(&l, &basis, &phase) else {
                continue;
            };
            // A steady oscillator is as likely beforehand as all wanderings together.
            if i > 0 {
                fit.ln_likelihood -= ((TURNS.len() * (STRENGTHS.len() - 1)) as f64).ln();
            }
            found.push(fit);
        }
    }
    let best = found
        .iter()
        .map(|f| f.ln_likelihood)
        .fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = found
        .iter()
        .map(|f| (f.ln_likelihood - best).exp())
        .collect();
    let total: f64 = weights.iter().sum();
    let over = |value: &dyn Fn(&Fit) -> f64| -> f64 {
        let sum: f64 = found.iter().zip(&weights).map(|(f, w)| w * value(f)).sum();
        sum / total
    };
    (total > 0.0).then(|| {
        [1, 2].map(|k| {
            let mean = over(&|f| f.value[k]);
            // Mean of the standard uncertainties, not of the variances: an unlikely strong wandering, whose variance is a
            // hundred times larger, would speak for all.
            let u = over(&|f| (f.variance[k] + (f.value[k] - mean).powi(2)).sqrt());
            (mean, u)
        })
    })
}

/// Generalised least squares of a parabola under one covariance.
struct Fit {
    /// Restricted log likelihood, up to a constant.
    ln_likelihood: f64,
    /// Coefficients of 1, x and x^2.
    value: [f64; 3],
    /// Their variances.
    variance: [f64; 3],
}

fn restricted(l: &Cholesky, basis: &[Vec<f64>; 3], phase: &[f64]) -> Option<Fit> {
    let y = l.whiten(phase);
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    // Gram-Schmidt over the three columns, twice for its rounding: X = Q R.
    let mut q: Vec<Vec<f64>> = Vec::new();
    let mut r = [[0.0; 3]; 3];
    for (j, column) in basis.iter().enumerate() {
        let mut c = l.whiten(column);
        for _ in 0..2 {
            for (i, done) in q.iter().enumerate() {
                let k = dot(&c, done);
                r[i][j] += k;
                for (c, d) in c.iter_mut().zip(done) {
                    *c -= k * d;
                }
            }
        }
        let size = dot(&c, &c).sqrt();
        if size.is_nan() || size <= 0.0 {
            return None;
        }
        r[j][j] = size;
        q.push(c.iter().map(|v| v / size).collect());
    }
    let along: Vec<f64> = q.iter().map(|q| dot(&y, q)).collect();
    let left = dot(&y, &y) - along.iter().map(|a| a * a).sum::<f64>();
    // Back substitution: values from Q^T y, variances from the rows of the inverse of R.
    let solve = |b: &[f64]| -> [f64; 3] {
        let mut x = [0.0; 3];
        for i in (0..3).rev() {
            let rest: f64 = (i + 1..3).map(|j| r[i][j] * x[j]).sum();
            x[i] = (b[i] - rest) / r[i][i];
        }
        x
    };
    let mut variance = [0.0; 3];
    for k in 0..3 {
        let mut unit = [0.0; 3];
        unit[k] = 1.0;
        for (v, x) in variance.iter_mut().zip(solve(&unit)) {
            *v += x * x;
        }
    }
    let log_volume: f64 = (0..3).map(|i| r[i][i].ln()).sum();
    Some(Fit {
        ln_likelihood: -0.5 * l.ln_det() - log_volume - 0.5 * left,
        value: solve(&along),
        variance,
    })
}
