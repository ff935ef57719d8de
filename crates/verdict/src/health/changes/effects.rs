//! What logged beside the series moves it.

use super::Covariate;
use crate::health::noise::{Scatter, WINSOR};

/// How the series is when nothing changes.
pub(super) struct Calm {
    pub(super) effects: Effects,
    pub(super) scatter: Scatter,
}

/// Effects of covariates, each about its mean.
pub(super) struct Effects(pub(super) Vec<(f64, f64)>);

impl Effects {
    /// What the covariates do to value `k`.
    pub(super) fn at(&self, covariates: &[Covariate], k: usize) -> f64 {
        self.0
            .iter()
            .zip(covariates)
            .filter_map(|((beta, mean), c)| {
                let x = c.values.get(k).copied().filter(|x| x.is_finite())?;
                Some(beta * (x - mean))
            })
            .sum()
    }
}

/// Effects by least squares with their priors, one covariate after the other until they stand still (Gauss and Seidel),
/// values drawn in to three scaled median deviations.
pub(super) fn effects(covariates: &[Covariate], from: usize, residual: &[f64]) -> Effects {
    let mut out = Effects(vec![(0.0, 0.0); covariates.len()]);
    if covariates.is_empty() || residual.len() < 15 {
        return out;
    }
    let sigma = slantpath_stats::robust::scaled_mad(residual)
        .unwrap_or(0.0)
        .max(1e-9);
    for (c, o) in covariates.iter().zip(&mut out.0) {
        let x: Vec<f64> = (0..residual.len())
            .filter_map(|k| c.values.get(from + k).copied().filter(|x| x.is_finite()))
            .collect();
        o.1 = x.iter().sum::<f64>() / x.len().max(1) as f64;
    }
    let drawn: Vec<f64> = residual
        .iter()
        .map(|r| r.clamp(-WINSOR * sigma, WINSOR * sigma))
        .collect();
    let middle = drawn.iter().sum::<f64>() / drawn.len() as f64;
    for _ in 0..4 {
        for (j, c) in covariates.iter().enumerate() {
            let Some((own, mean)) = out.0.get(j).copied() else {
                continue;
            };
            let (mut xx, mut xy) = ((sigma / c.u).powi(2), 0.0);
            for (k, r) in drawn.iter().enumerate() {
                let Some(x) = c.values.get(from + k).copied().filter(|x| x.is_finite()) else {
                    continue;
                };
                let x = x - mean;
                let others = out.at(covariates, from + k) - own * x;
                xx += x * x;
                xy += x * (r - middle - others);
            }
            if let Some(o) = out.0.get_mut(j) {
                o.0 = xy / xx;
            }
        }
    }
    out
}
