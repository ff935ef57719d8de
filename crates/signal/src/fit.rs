//! Small linear least squares: polynomials with weights and priors, and the covariance of the result.
#![allow(clippy::needless_range_loop)] // matrix algebra reads best with its own indices

/// A polynomial in `(x - centre)/scale` with the covariance of its coefficients.
#[derive(Debug, Clone, PartialEq)]
pub struct Polynomial {
    /// Where the variable is zero.
    pub centre: f64,
    /// Unit of the variable.
    pub scale: f64,
    /// Coefficients, constant first.
    pub coefficients: Vec<f64>,
    /// Covariance of the coefficients for the weights given (weights are inverse variances).
    pub covariance: Vec<Vec<f64>>,
    /// Weighted sum of squared residuals.
    pub chi2: f64,
}

impl Polynomial {
    /// Value at `x`.
    pub fn at(&self, x: f64) -> f64 {
        let t = (x - self.centre) / self.scale;
        self.coefficients.iter().rev().fold(0.0, |a, c| a * t + c)
    }
    /// Slope at `x` per unit of `x`.
    pub fn slope_at(&self, x: f64) -> f64 {
        let t = (x - self.centre) / self.scale;
        let mut p = 1.0;
        let mut s = 0.0;
        for (k, c) in self.coefficients.iter().enumerate().skip(1) {
            s += k as f64 * c * p;
            p *= t;
        }
        s / self.scale
    }
    /// Variance of the value at `x`.
    pub fn variance_at(&self, x: f64) -> f64 {
        let t = (x - self.centre) / self.scale;
        let row: Vec<f64> = (0..self.coefficients.len())
            .map(|k| t.powi(k as i32))
            .collect();
        self.variance_of(&row)
    }
    /// Variance of a linear combination of the coefficients.
    pub fn variance_of(&self, row: &[f64]) -> f64 {
        let mut v = 0.0;
        for (a, line) in row.iter().zip(&self.covariance) {
            for (b, c) in row.iter().zip(line) {
                v += a * b * c;
            }
        }
        v.max(0.0)
    }
    /// Row of the combination "mean of the polynomial over `lo..hi`".
    pub fn mean_row(&self, lo: f64, hi: f64) -> Vec<f64> {
        let (a, b) = (
            (lo - self.centre) / self.scale,
            (hi - self.centre) / self.scale,
        );
        (0..self.coefficients.len() as i32)
            .map(|k| (b.powi(k + 1) - a.powi(k + 1)) / ((k + 1) as f64 * (b - a)))
            .collect()
    }
}

/// Knowledge of one coefficient from elsewhere: index, value, standard uncertainty (in scaled units).
pub type Prior = (usize, f64, f64);

/// Weighted fit of order `order`; weights are inverse variances, points of weight zero are ignored. `None` when the
/// points cannot determine it.
pub fn polynomial(
    x: &[f64],
    y: &[f64],
    w: &[f64],
    order: usize,
    centre: f64,
    scale: f64,
    priors: &[Prior],
) -> Option<Polynomial> {
    let m = order + 1;
    let rows = x.iter().zip(y).zip(w).map(|((x, y), w)| {
        let t = (x - centre) / scale;
        let mut row = vec![1.0; m];
        for k in 1..m {
            row[k] = row[k - 1] * t;
        }
        (row, *y, *w)
    });
    let (coefficients, covariance) = columns(m, rows, priors)?;
    let mut p = Polynomial {
        centre,
        scale,
        coefficients,
        covariance,
        chi2: 0.0,
    };
    p.chi2 = x
        .iter()
        .zip(y)
        .zip(w)
        .filter(|(_, w)| **w > 0.0)
        .map(|((x, y), w)| w * (y - p.at(*x)).powi(2))
        .sum();
    p.coefficients.iter().all(|c| c.is_finite()).then_some(p)
}

/// Weighted least squares on any `m` columns: each row with its value and weight (inverse variance; rows of weight zero
/// are ignored). Coefficients and their covariance; `None` when the rows cannot determine them.
pub fn columns(
    m: usize,
    rows: impl Iterator<Item = (Vec<f64>, f64, f64)>,
    priors: &[Prior],
) -> Option<(Vec<f64>, Vec<Vec<f64>>)> {
    let mut a = vec![vec![0.0; m]; m];
    let mut b = vec![0.0; m];
    for (row, y, w) in rows {
        if w.is_nan() || w <= 0.0 || row.len() != m {
            continue;
        }
        for i in 0..m {
            b[i] += w * row[i] * y;
            for j in 0..=i {
                a[i][j] += w * row[i] * row[j];
            }
        }
    }
    for &(k, value, u) in priors {
        if k < m && u > 0.0 {
            a[k][k] += 1.0 / (u * u);
            b[k] += value / (u * u);
        }
    }
    for i in 0..m {
        for j in i + 1..m {
            a[i][j] = a[j][i];
        }
    }
    let covariance = invert(&a)?;
    let coefficients: Vec<f64> = covariance
        .iter()
        .map(|r| r.iter().zip(&b).map(|(c, b)| c * b).sum())
        .collect();
    Some((coefficients, covariance))
}

/// Inverse of a symmetric positive definite matrix (Cholesky). `None` when it is singular.
pub fn invert(a: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    let m = a.len();
    // Scaled to a unit diagonal so that "singular" means the same for every unit.
    let d: Vec<f64> = (0..m).map(|i| a[i][i].sqrt()).collect();
    if d.iter().any(|x| !(x.is_finite() && *x > 0.0)) {
        return None;
    }
    let mut l = vec![vec![0.0; m]; m];
    for i in 0..m {
        for j in 0..=i {
            let mut s = a[i][j] / (d[i] * d[j]);
            for k in 0..j {
                s -= l[i][k] * l[j][k];
            }
            if i == j {
                if s < 1e-12 {
                    return None;
                }
                l[i][i] = s.sqrt();
            } else {
                l[i][j] = s / l[j][j];
            }
        }
    }
    let mut inv = vec![vec![0.0; m]; m];
    for c in 0..m {
        let mut y = vec![0.0; m];
        for i in 0..m {
            let mut s = if i == c { 1.0 } else { 0.0 };
            for k in 0..i {
                s -= l[i][k] * y[k];
            }
            y[i] = s / l[i][i];
        }
        for i in (0..m).rev() {
            let mut s = y[i];
            for k in i + 1..m {
                s -= l[k][i] * inv[k][c];
            }
            inv[i][c] = s / l[i][i];
        }
    }
    for i in 0..m {
        for j in 0..m {
            inv[i][j] /= d[i] * d[j];
        }
    }
    Some(inv)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn straight_line_and_its_covariance() {
        // Three points of unit weight at -1, 0, 1: var(a) = 1/3, var(b) = 1/2 (closed form).
        let p = polynomial(
            &[-1.0, 0.0, 1.0],
            &[1.0, 3.0, 5.0],
            &[1.0; 3],
            1,
            0.0,
            1.0,
            &[],
        )
        .unwrap();
        assert!((p.at(2.0) - 7.0).abs() < 1e-12 && (p.slope_at(0.3) - 2.0).abs() < 1e-12);
        assert!((p.covariance[0][0] - 1.0 / 3.0).abs() < 1e-12);
        assert!((p.variance_at(2.0) - (1.0 / 3.0 + 4.0 / 2.0)).abs() < 1e-12);
    }

    #[test]
    fn too_few_points_are_no_fit() {
        assert!(polynomial(&[1.0, 1.0], &[1.0, 1.0], &[1.0; 2], 1, 0.0, 1.0, &[]).is_none());
        assert!(
            polynomial(
                &[1.0, 1.0],
                &[1.0, 1.0],
                &[1.0; 2],
                1,
                0.0,
                1.0,
                &[(1, 0.0, 0.1)]
            )
            .is_some()
        );
    }
}
