//! `y = A x + e` with known or unknown noise level.

use super::Prior;
use crate::StatsError;
use crate::matrix::{Cholesky, Matrix, Qr, dot};

/// What is known of the noise in the observations.
#[derive(Debug, Clone, Copy)]
pub enum Noise<'a> {
    /// Independent with standard uncertainty 1.
    Unit,
    /// Independent, each with its own standard uncertainty (> 0).
    Each(&'a [f64]),
    /// Full covariance matrix.
    Covariance(&'a Matrix),
}

/// Whether the stated noise is taken as it is or only up to a common factor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// Uncertainties as stated.
    Known,
    /// Covariance multiplied by chi2/dof (GUM H.3: s^2 from the residuals).
    FromResiduals,
}

/// A linear fit.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearFit {
    /// Estimated unknowns.
    pub x: Vec<f64>,
    /// Their covariance matrix.
    pub covariance: Matrix,
    /// Sum of squared whitened residuals, priors included.
    pub chi2: f64,
    /// Observations and priors minus unknowns.
    pub dof: usize,
    /// `y - A x`, in the unit of `y`.
    pub residuals: Vec<f64>,
    /// Lower bound of the condition number of the scaled, whitened matrix.
    pub condition: f64,
}

impl LinearFit {
    /// Standard uncertainty of unknown `j`.
    pub fn u(&self, j: usize) -> f64 {
        self.covariance[(j, j)].max(0.0).sqrt()
    }
    /// Correlation of unknowns `i` and `j`.
    pub fn correlation(&self, i: usize, j: usize) -> f64 {
        self.covariance[(i, j)] / (self.u(i) * self.u(j))
    }
    /// `c^T x` and its standard uncertainty.
    pub fn combination(&self, c: &[f64]) -> (f64, f64) {
        (
            dot(c, &self.x),
            self.covariance.quadratic(c).max(0.0).sqrt(),
        )
    }
}

/// Fits `y = A x` by generalised least squares: rows are whitened with the Cholesky factor of the noise covariance,
/// priors are added as rows, and the whole is solved by QR.
///
/// # Errors
/// Shapes that do not fit, uncertainties that are not positive, a covariance that is not positive definite, an unknown
/// that is not determined; `Scale::FromResiduals` together with priors or without degrees of freedom.
pub fn linear(
    a: &Matrix,
    y: &[f64],
    noise: Noise<'_>,
    priors: &[Prior],
    scale: Scale,
) -> Result<LinearFit, StatsError> {
    let (m, n) = (a.rows(), a.cols());
    if y.len() != m {
        return Err(StatsError::Shape {
            what: "observations",
            expected: m,
            found: y.len(),
        });
    }
    for p in priors {
        p.check(n)?;
    }
    if scale == Scale::FromResiduals && !priors.is_empty() {
        return Err(StatsError::OutOfRange {
            name: "number of priors",
            value: priors.len() as f64,
            range: "0 when the noise level comes from the residuals",
        });
    }
    let (mut wa, mut wy) = whitened(a, y, noise)?;
    if !priors.is_empty() {
        let top = wa;
        wa = Matrix::from_fn(m + priors.len(), n, |i, j| match i.checked_sub(m) {
            None => top[(i, j)],
            Some(k) if priors[k].index == j => 1.0 / priors[k].u,
            Some(_) => 0.0,
        });
        wy.extend(priors.iter().map(|p| p.mean / p.u));
    }
    let total = wa.rows();
    let qr = Qr::new(wa.clone())?;
    let mut x = qr.solve(&wy);
    // One step of refinement.
    let rest: Vec<f64> = wa.times(&x).iter().zip(&wy).map(|(f, y)| y - f).collect();
    for (x, d) in x.iter_mut().zip(qr.solve(&rest)) {
        *x += d;
    }
    let white: Vec<f64> = wa.times(&x).iter().zip(&wy).map(|(f, y)| y - f).collect();
    let chi2 = dot(&white, &white);
    let dof = total - n;
    let mut covariance = qr.inverse_gram();
    if scale == Scale::FromResiduals {
        if dof == 0 {
            return Err(StatsError::TooFew {
                have: total,
                need: n + 1,
            });
        }
        let s2 = chi2 / dof as f64;
        covariance = Matrix::from_fn(n, n, |i, j| s2 * covariance[(i, j)]);
    }
    let residuals = a.times(&x).iter().zip(y).map(|(f, y)| y - f).collect();
    Ok(LinearFit {
        x,
        covariance,
        chi2,
        dof,
        residuals,
        condition: qr.condition(),
    })
}

fn whitened(a: &Matrix, y: &[f64], noise: Noise<'_>) -> Result<(Matrix, Vec<f64>), StatsError> {
    let (m, n) = (a.rows(), a.cols());
    match noise {
        Noise::Unit => Ok((a.clone(), y.to_vec())),
        Noise::Each(u) => {
            if u.len() != m {
                return Err(StatsError::Shape {
                    what: "uncertainties",
                    expected: m,
                    found: u.len(),
                });
            }
            if let Some(&bad) = u.iter().find(|u| !(**u > 0.0 && u.is_finite())) {
                return Err(StatsError::OutOfRange {
                    name: "standard uncertainty",
                    value: bad,
                    range: "finite values > 0",
                });
            }
            Ok((
                Matrix::from_fn(m, n, |i, j| a[(i, j)] / u[i]),
                y.iter().zip(u).map(|(y, u)| y / u).collect(),
            ))
        }
        Noise::Covariance(v) => {
            if v.rows() != m {
                return Err(StatsError::Shape {
                    what: "rows of the covariance",
                    expected: m,
                    found: v.rows(),
                });
            }
            let chol = Cholesky::new(v)?;
            let columns: Vec<Vec<f64>> = (0..n).map(|j| chol.whiten(&a.col(j))).collect();
            Ok((Matrix::from_fn(m, n, |i, j| columns[j][i]), chol.whiten(y)))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Weighted mean of 10 ± 1 and 14 ± 2 is 10.8 ± sqrt(0.8); a prior of 14 ± 2 on one value of 10 ± 1 is the same.
    #[test]
    fn a_prior_is_one_more_observation() {
        let two = Matrix::from_fn(2, 1, |_, _| 1.0);
        let both = linear(
            &two,
            &[10.0, 14.0],
            Noise::Each(&[1.0, 2.0]),
            &[],
            Scale::Known,
        )
        .unwrap();
        let one = Matrix::from_fn(1, 1, |_, _| 1.0);
        let prior = Prior {
            index: 0,
            mean: 14.0,
            u: 2.0,
        };
        let with = linear(&one, &[10.0], Noise::Unit, &[prior], Scale::Known).unwrap();
        for fit in [&both, &with] {
            assert!((fit.x[0] - 10.8).abs() < 1e-14);
            assert!((fit.u(0) - 0.8f64.sqrt()).abs() < 1e-14);
            assert!((fit.chi2 - 16.0 / 5.0).abs() < 1e-13 && fit.dof == 1);
        }
    }

    /// A common error of variance c in both observations leaves the difference untouched and adds c to the mean.
    #[test]
    fn covariance_is_used() {
        let a = Matrix::from_fn(2, 1, |_, _| 1.0);
        let v = Matrix::from_fn(2, 2, |i, j| if i == j { 1.25 } else { 0.25 });
        let fit = linear(&a, &[1.0, 3.0], Noise::Covariance(&v), &[], Scale::Known).unwrap();
        assert!((fit.x[0] - 2.0).abs() < 1e-14 && (fit.u(0) - 0.75f64.sqrt()).abs() < 1e-14);
    }

    #[test]
    fn bad_arguments_are_named() {
        let a = Matrix::from_fn(2, 1, |_, _| 1.0);
        assert!(linear(&a, &[1.0], Noise::Unit, &[], Scale::Known).is_err());
        assert!(linear(&a, &[1.0, 2.0], Noise::Each(&[1.0, 0.0]), &[], Scale::Known).is_err());
        let p = Prior {
            index: 1,
            mean: 0.0,
            u: 1.0,
        };
        assert!(linear(&a, &[1.0, 2.0], Noise::Unit, &[p], Scale::Known).is_err());
    }
}
