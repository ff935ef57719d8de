//! Level, noise and roll-off of carriers from the averaged spectrum: raised-cosine shapes on a sloping floor, by
//! weighted least squares in linear power, neighbours taken off.

use slantpath_signal::Spectrum;
use slantpath_signal::pulse::raised_cosine;
use slantpath_signal::spectrum::HANN_BIN_FACTOR;
use slantpath_stats::matrix::{Cholesky, Matrix};
use slantpath_waveform::ROLLOFFS;

/// A carrier's shape in the spectrum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shape {
    /// Centre, Hz from the recording's centre.
    pub centre_hz: f64,
    /// Standard uncertainty of it.
    pub u_centre_hz: f64,
    /// Symbol rate, Bd.
    pub rate: f64,
    /// Roll-off, the class that fits best.
    pub rolloff: f64,
    /// Probability of that class against the others.
    pub rolloff_confidence: f64,
    /// Whether the excess bandwidth told it, which noise and what stands beside the carrier do not touch.
    pub rolloff_by_excess: bool,
    /// Density in the flat middle without the noise, full scale squared per hertz.
    pub density: f64,
    /// Relative standard uncertainty.
    pub u_density: f64,
    /// Noise density at the centre and its relative standard uncertainty; `None` when no noise shows beside it.
    pub noise: Option<(f64, f64)>,
    /// Misfit: chi-square per degree of freedom.
    pub misfit: f64,
}

impl Shape {
    /// Density of the carrier at a frequency.
    pub fn at(&self, f_hz: f64) -> f64 {
        self.density * raised_cosine(f_hz - self.centre_hz, self.rate, self.rolloff)
    }
    /// Lower and upper end of the occupied band.
    pub fn band(&self) -> (f64, f64) {
        let h = 0.5 * (1.0 + self.rolloff) * self.rate;
        (self.centre_hz - h, self.centre_hz + h)
    }
    /// Power, full scale squared.
    pub fn power(&self) -> f64 {
        self.density * self.rate
    }
}

/// Fits all carriers (centre, symbol rate, step of density) in turn, three times round, each with the others taken off;
/// `excess` is what their excess bandwidths told of the roll-off.
pub(super) fn shapes(
    s: &Spectrum,
    carriers: &[(f64, f64, f64)],
    excess: &[Option<[f64; 6]>],
) -> Vec<Option<Shape>> {
    let mut out: Vec<Option<Shape>> = carriers
        .iter()
        .map(|(c, rate, step)| {
            Some(Shape {
                centre_hz: *c,
                u_centre_hz: 0.02 * rate,
                rate: *rate,
                rolloff: 0.25,
                rolloff_confidence: 0.0,
                rolloff_by_excess: false,
                density: step.max(0.0),
                u_density: 0.3,
                noise: None,
                misfit: 1.0,
            })
        })
        .collect();
    for _ in 0..3 {
        for i in 0..carriers.len() {
            let others: Vec<Shape> = out
                .iter()
                .enumerate()
                .filter(|(k, _)| *k != i)
                .filter_map(|(_, x)| *x)
                .collect();
            let now = out[i].unwrap_or(Shape {
                centre_hz: carriers[i].0,
                u_centre_hz: 0.0,
                rate: carriers[i].1,
                rolloff: 0.25,
                rolloff_confidence: 0.0,
                rolloff_by_excess: false,
                density: carriers[i].2.max(0.0),
                u_density: 0.3,
                noise: None,
                misfit: 1.0,
            });
            let told = excess.get(i).copied().flatten();
            let fit = fit(s, &now, &others, told.as_ref());
            if fit.is_some() {
                out[i] = fit;
            }
        }
    }
    out
}

struct Fitted {
    chi2: f64,
    used: f64,
    density: f64,
    shift: f64,
    noise: f64,
    cov: [f64; 3],
}

/// Probability with which the excess bandwidth alone decides the roll-off: edges in the spectrum may be a pedestal's or a
/// neighbour's.
const DECIDED: f64 = 0.95;

/// Probabilities of classes by their log-likelihoods.
fn posterior(l: &[f64]) -> Vec<f64> {
    let top = l.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = l.iter().map(|x| (x - top).exp()).sum();
    l.iter().map(|x| (x - top).exp() / total).collect()
}

fn fit(s: &Spectrum, start: &Shape, others: &[Shape], excess: Option<&[f64; 6]>) -> Option<Shape> {
    let reach = (0.5 * 1.35 + 0.3) * start.rate;
    let limit = 0.46 * s.sample_rate_hz;
    let r = s.range(
        (start.centre_hz - reach).max(-limit),
        (start.centre_hz + reach).min(limit),
    );
    let dc = s.len() / 2;
    // Bins, density, and what others put there.
    let bins: Vec<(f64, f64, f64)> = r
        .filter(|i| i.abs_diff(dc) > 3)
        .filter_map(|i| {
            let f = s.freq(i);
            Some((f, *s.psd.get(i)?, others.iter().map(|o| o.at(f)).sum()))
        })
        .collect();
    // Some 600 points tell as much as thousands.
    let join = (bins.len() / 600).max(1);
    let bins: Vec<(f64, f64, f64)> = bins
        .chunks_exact(join)
        .map(|c| {
            let n = c.len() as f64;
            let mean = |f: fn(&(f64, f64, f64)) -> f64| c.iter().map(f).sum::<f64>() / n;
            (mean(|b| b.0), mean(|b| b.1), mean(|b| b.2))
        })
        .collect();
    if bins.len() < 24 {
        return None;
    }
    let mut all: Vec<(f64, Fitted, f64)> = Vec::new();
    for a in ROLLOFFS {
        let mut c = start.centre_hz;
        let mut last = None;
        for _ in 0..4 {
            let f = one(s.averages() * join as f64, &bins, c, start.rate, a)?;
            let shift = f.shift.clamp(-0.05 * start.rate, 0.05 * start.rate);
            c += shift;
            let done = shift.abs() < 1e-4 * start.rate;
            last = Some(f);
            if done {
                break;
            }
        }
        all.push((a, last?, c));
    }
    // Joined bins scatter more than independent ones by the factor of neighbours' correlation.
    let joined = if join >= 4 { HANN_BIN_FACTOR } else { 1.0 };
    let misfit_of = |f: &Fitted| f.chi2 / (f.used - 4.0).max(1.0) / joined;
    let scale = all
        .iter()
        .map(|x| misfit_of(&x.1))
        .fold(f64::INFINITY, f64::min)
        .max(1.0);
    let told = excess
        .map(|e| posterior(e))
        .filter(|p| p.iter().any(|p| *p > DECIDED));
    let by_excess = told.is_some();
    let p = match told {
        Some(p) => p,
        None => {
            let sum: Vec<f64> = all
                .iter()
                .enumerate()
                .map(|(i, (_, f, _))| {
                    let other = excess.and_then(|e| e.get(i)).copied().unwrap_or(0.0);
                    other - 0.5 * f.chi2 / HANN_BIN_FACTOR / scale
                })
                .collect();
            posterior(&sum)
        }
    };
    let ((a, f, c), confidence) = all.into_iter().zip(p).max_by(|x, y| x.1.total_cmp(&y.1))?;
    if f.density <= 0.0 {
        return None;
    }
    let misfit = f.chi2 / (f.used - 4.0).max(1.0) / joined;
    let scale = misfit.max(1.0);
    // Noise shows where neither this carrier nor another stands.
    let half = 0.5 * (1.0 + a) * start.rate;
    let free = bins
        .iter()
        .filter(|(x, p, o)| (x - c).abs() > half && *o < 0.05 * p)
        .count();
    let extra = HANN_BIN_FACTOR * scale;
    Some(Shape {
        centre_hz: c,
        u_centre_hz: (f.cov[1] * extra).sqrt(),
        rate: start.rate,
        rolloff: a,
        rolloff_confidence: confidence,
        rolloff_by_excess: by_excess,
        density: f.density,
        u_density: (f.cov[0] * extra).sqrt() / f.density,
        noise: (free >= 12 && f.noise > 0.0)
            .then(|| (f.noise, (f.cov[2] * extra).sqrt() / f.noise)),
        misfit,
    })
}

/// Least squares for density, shift, floor and its slope at a given roll-off; bins that stand out are dropped.
fn one(k: f64, bins: &[(f64, f64, f64)], c: f64, rate: f64, a: f64) -> Option<Fitted> {
    let h = 1e-3 * rate;
    let shape: Vec<(f64, f64, f64)> = bins
        .iter()
        .map(|(f, _, _)| {
            let d = f - c;
            (
                raised_cosine(d, rate, a),
                (raised_cosine(d - h, rate, a) - raised_cosine(d + h, rate, a)) / (2.0 * h),
                d / rate,
            )
        })
        .collect();
    let mut model: Vec<f64> = smooth(bins);
    let mut keep = vec![true; bins.len()];
    let mut out = None;
    let mut density = 0.0;
    for pass in 0..5 {
        let mut g = Matrix::zeros(4, 4);
        let mut b = [0.0; 4];
        for (i, (_, p, o)) in bins.iter().enumerate() {
            if !keep[i] {
                continue;
            }
            let w = k / (model[i] * model[i]).max(1e-300);
            let (rc, slope, x) = shape[i];
            // The shift enters through the density of the pass before.
            let row = [rc, slope * density, 1.0, x];
            let y = p - o;
            for m in 0..4 {
                b[m] += w * row[m] * y;
                for n in 0..4 {
                    g[(m, n)] += w * row[m] * row[n];
                }
            }
        }
        if density == 0.0 {
            // No shift in the first pass.
            g[(1, 1)] = 1.0;
        }
        // Unit diagonal, so that rates and densities of any size are solved alike.
        let d: Vec<f64> = (0..4).map(|m| g[(m, m)].max(1e-300).sqrt()).collect();
        let scaled = Matrix::from_fn(4, 4, |m, n| g[(m, n)] / (d[m] * d[n]));
        let chol = Cholesky::new(&scaled).ok()?;
        let rhs: Vec<f64> = (0..4).map(|m| b[m] / d[m]).collect();
        let x: Vec<f64> = chol
            .solve(&rhs)
            .iter()
            .zip(&d)
            .map(|(v, d)| v / d)
            .collect();
        let cov = |m: usize| {
            let mut e = vec![0.0; 4];
            e[m] = 1.0;
            chol.solve(&e)[m] / (d[m] * d[m])
        };
        let (mut chi2, mut used) = (0.0, 0.0);
        let mut next = keep.clone();
        for (i, (_, p, o)) in bins.iter().enumerate() {
            let (rc, slope, v) = shape[i];
            let fit = x[0] * rc + x[1] * density * slope + x[2] + x[3] * v + o;
            let positive = fit > 0.02 * smooth_at(&model, i);
            if positive {
                model[i] = fit;
            }
            let z = (p - fit) * k.sqrt() / model[i].max(1e-300);
            if keep[i] {
                chi2 += z * z;
                used += 1.0;
            }
            // What stands above the model by more than noise allows is no part of it.
            next[i] = z < 5.0;
        }
        let kept = next.iter().filter(|v| **v).count();
        if pass > 0 && kept * 3 > bins.len() * 2 {
            keep = next;
        }
        density = x[0].max(0.0);
        out = Some(Fitted {
            chi2,
            used,
            density: x[0],
            shift: if pass == 0 { 0.0 } else { x[1] },
            noise: x[2],
            cov: [cov(0), cov(1), cov(2)],
        });
    }
    // Dropped bins count as five standard deviations each, so that no roll-off wins by dropping.
    out.map(|mut f| {
        f.chi2 += 25.0 * (bins.len() as f64 - f.used);
        f
    })
}

fn smooth_at(m: &[f64], i: usize) -> f64 {
    m.get(i).copied().unwrap_or(0.0).abs()
}

/// Running mean of nine bins: weights for the first pass.
fn smooth(bins: &[(f64, f64, f64)]) -> Vec<f64> {
    (0..bins.len())
        .map(|i| {
            let part = &bins[i.saturating_sub(4)..(i + 5).min(bins.len())];
            part.iter().map(|b| b.1).sum::<f64>() / part.len() as f64
        })
        .collect()
}
