//! A series as a sum of known shapes, under autoregressive scatter and a few wild values.

use super::Entry;
use super::noise::{Scatter, WINSOR};
use slantpath_stats::StatsError;
use slantpath_stats::least_squares::{LinearFit, Noise, Prior, Scale, linear};
use slantpath_stats::matrix::Matrix;
use slantpath_stats::robust::median;

/// A fit.
#[derive(Debug, Clone)]
pub(super) struct Regression {
    /// Unknowns with their covariance.
    pub fit: LinearFit,
    /// What is left of each value.
    pub residual: Vec<f64>,
}

/// Fits `value = sum_j x_j shape(k, j)`, `p` shapes at each value `k`, by least squares on whitened rows (each less what its
/// forerunner foretells, over what is left then). Scatter is learned from what is left and values beyond three standard
/// deviations are drawn in, in turns (Huber's idea with a fixed number of turns). `None` for too few values.
///
/// # Errors
/// Shapes that do not determine the unknowns.
pub(super) fn regress(
    entries: &[Entry],
    p: usize,
    shape: &dyn Fn(usize, usize) -> f64,
    priors: &[Prior],
) -> Result<Option<Regression>, StatsError> {
    let n = entries.len();
    if n < 5.max(p + 3) {
        return Ok(None);
    }
    let gaps: Vec<f64> = entries
        .windows(2)
        .filter_map(|w| Some(w.get(1)?.t - w.first()?.t))
        .collect();
    let usual = median(&gaps).filter(|g| *g > 0.0).unwrap_or(1.0);
    let scaled: Vec<Entry> = entries
        .iter()
        .map(|e| Entry {
            t: e.t / usual,
            ..*e
        })
        .collect();
    let original: Vec<f64> = entries.iter().map(|e| e.value).collect();
    let level = median(&original).unwrap_or(0.0);
    let mut values = original.clone();
    // Before anything is fitted the scatter is that of the differences: shapes are slow.
    let rough: Vec<f64> = original.iter().map(|v| v - level).collect();
    let Some(mut scatter) = Scatter::of_residuals(&scaled, &rough) else {
        return Ok(None);
    };
    let mut out = None;
    for round in 0..4 {
        let row = |k: usize| -> (f64, f64) {
            let before = k.checked_sub(1).and_then(|b| scaled.get(b));
            match before.zip(scaled.get(k)) {
                None => (0.0, 1.0 / scatter.sigma),
                Some((b, e)) => {
                    let r = scatter.rho(e.t - b.t);
                    (r, 1.0 / (scatter.sigma * (1.0 - r * r).max(1e-6).sqrt()))
                }
            }
        };
        let a = Matrix::from_fn(n, p, |k, j| {
            let (r, w) = row(k);
            let before = if k > 0 { shape(k - 1, j) } else { 0.0 };
            (shape(k, j) - r * before) * w
        });
        let y: Vec<f64> = (0..n)
            .map(|k| {
                let (r, w) = row(k);
                let v = |k: usize| values.get(k).copied().unwrap_or(0.0);
                let before = if k > 0 { v(k - 1) } else { 0.0 };
                (v(k) - r * before) * w
            })
            .collect();
        let fit = linear(&a, &y, Noise::Unit, priors, Scale::Known)?;
        let fitted: Vec<f64> = (0..n)
            .map(|k| fit.x.iter().enumerate().map(|(j, x)| x * shape(k, j)).sum())
            .collect();
        let residual: Vec<f64> = original.iter().zip(&fitted).map(|(v, f)| v - f).collect();
        let Some(s) = Scatter::of_residuals(&scaled, &residual) else {
            return Ok(None);
        };
        scatter = s;
        for ((v, f), l) in values.iter_mut().zip(&fitted).zip(&residual) {
            *v = f + l.clamp(-WINSOR * s.sigma, WINSOR * s.sigma);
        }
        // The first rounds' scatter held the shapes themselves.
        if round == 3 {
            out = Some(Regression { fit, residual });
        }
    }
    Ok(out)
}
