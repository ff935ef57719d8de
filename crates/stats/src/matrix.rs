//! Small dense matrices and the two factorisations least squares needs, in sequential arithmetic.
//!
//! Householder QR with column pivoting and Cholesky as in Golub and Van Loan, Matrix Computations, 4th ed.,
//! algorithms 5.4.1 and 4.2.1 (numbers from memory). Meant for up to some hundred rows and columns: results must not
//! depend on the number of threads, so nothing here runs in parallel.

use crate::StatsError;
use std::ops::{Index, IndexMut};

/// A dense matrix of `f64`, rows stored one after another.
#[derive(Debug, Clone, PartialEq)]
pub struct Matrix {
    rows: usize,
    cols: usize,
    data: Vec<f64>,
}

impl Matrix {
    /// All zero.
    pub fn zeros(rows: usize, cols: usize) -> Self {
        Self {
            rows,
            cols,
            data: vec![0.0; rows * cols],
        }
    }
    /// Element `(i, j)` is `f(i, j)`.
    pub fn from_fn(rows: usize, cols: usize, f: impl Fn(usize, usize) -> f64) -> Self {
        let mut m = Self::zeros(rows, cols);
        for i in 0..rows {
            for j in 0..cols {
                m[(i, j)] = f(i, j);
            }
        }
        m
    }
    /// Square with `d` on the diagonal.
    pub fn diagonal(d: &[f64]) -> Self {
        Self::from_fn(d.len(), d.len(), |i, j| if i == j { d[i] } else { 0.0 })
    }
    /// Number of rows.
    pub fn rows(&self) -> usize {
        self.rows
    }
    /// Number of columns.
    pub fn cols(&self) -> usize {
        self.cols
    }
    /// One row.
    pub fn row(&self, i: usize) -> &[f64] {
        &self.data[i * self.cols..(i + 1) * self.cols]
    }
    /// One column, copied.
    pub fn col(&self, j: usize) -> Vec<f64> {
        (0..self.rows).map(|i| self[(i, j)]).collect()
    }
    /// Transposed copy.
    pub fn transposed(&self) -> Self {
        Self::from_fn(self.cols, self.rows, |i, j| self[(j, i)])
    }
    /// `self * v`. The length of `v` must be the number of columns.
    pub fn times(&self, v: &[f64]) -> Vec<f64> {
        (0..self.rows).map(|i| dot(self.row(i), v)).collect()
    }
    /// `v^T self v`.
    pub fn quadratic(&self, v: &[f64]) -> f64 {
        dot(v, &self.times(v))
    }
}

impl Index<(usize, usize)> for Matrix {
    type Output = f64;
    fn index(&self, (i, j): (usize, usize)) -> &f64 {
        &self.data[i * self.cols + j]
    }
}
impl IndexMut<(usize, usize)> for Matrix {
    fn index_mut(&mut self, (i, j): (usize, usize)) -> &mut f64 {
        &mut self.data[i * self.cols + j]
    }
}

/// Scalar product, summed in order.
pub fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

/// Euclidean norm.
pub fn norm(a: &[f64]) -> f64 {
    dot(a, a).sqrt()
}

/// Lower triangular `L` with `L L^T = V`.
#[derive(Debug, Clone)]
pub struct Cholesky {
    l: Matrix,
}

impl Cholesky {
    /// Factors a symmetric positive definite matrix (only its lower triangle is read).
    ///
    /// # Errors
    /// [`StatsError::NotPositiveDefinite`], [`StatsError::Shape`] when not square.
    pub fn new(v: &Matrix) -> Result<Self, StatsError> {
        let n = v.rows();
        if v.cols() != n {
            return Err(StatsError::Shape {
                what: "columns of a covariance matrix",
                expected: n,
                found: v.cols(),
            });
        }
        let mut l = Matrix::zeros(n, n);
        for i in 0..n {
            for j in 0..=i {
                let s = v[(i, j)] - dot(&l.row(i)[..j], &l.row(j)[..j]);
                if i == j {
                    if !(s > 0.0 && s.is_finite()) {
                        return Err(StatsError::NotPositiveDefinite { row: i });
                    }
                    l[(i, i)] = s.sqrt();
                } else {
                    l[(i, j)] = s / l[(j, j)];
                }
            }
        }
        Ok(Self { l })
    }
    /// `L^-1 b`: turns values with covariance `V` into independent ones of unit variance.
    pub fn whiten(&self, b: &[f64]) -> Vec<f64> {
        let mut x = b.to_vec();
        for i in 0..self.l.rows() {
            let s = dot(&self.l.row(i)[..i], &x[..i]);
            x[i] = (x[i] - s) / self.l[(i, i)];
        }
        x
    }
    /// `V^-1 b`.
    pub fn solve(&self, b: &[f64]) -> Vec<f64> {
        let mut x = self.whiten(b);
        for i in (0..x.len()).rev() {
            let mut s = x[i];
            for (k, xk) in x.iter().enumerate().skip(i + 1) {
                s -= self.l[(k, i)] * xk;
            }
            x[i] = s / self.l[(i, i)];
        }
        x
    }
    /// Natural logarithm of the determinant of `V`.
    pub fn ln_det(&self) -> f64 {
        2.0 * (0..self.l.rows()).map(|i| self.l[(i, i)].ln()).sum::<f64>()
    }
    /// The factor `L`.
    pub fn factor(&self) -> &Matrix {
        &self.l
    }
}

/// Householder QR of a tall matrix whose columns were first scaled to unit length, with column pivoting.
#[derive(Debug, Clone)]
pub struct Qr {
    /// R above the diagonal and on it; below it the Householder vectors.
    packed: Matrix,
    beta: Vec<f64>,
    head: Vec<f64>,
    order: Vec<usize>,
    scale: Vec<f64>,
}

impl Qr {
    /// Factors `a`.
    ///
    /// # Errors
    /// [`StatsError::TooFew`] with fewer rows than columns; [`StatsError::Undetermined`] when a column is zero or,
    /// to working precision, a combination of the others.
    pub fn new(mut a: Matrix) -> Result<Self, StatsError> {
        let (m, n) = (a.rows(), a.cols());
        if m < n {
            return Err(StatsError::TooFew { have: m, need: n });
        }
        let mut scale = vec![1.0; n];
        for (j, s) in scale.iter_mut().enumerate() {
            let length = norm(&a.col(j));
            if !(length > 0.0 && length.is_finite()) {
                return Err(StatsError::Undetermined { column: j });
            }
            *s = length;
            for i in 0..m {
                a[(i, j)] /= length;
            }
        }
        let mut order: Vec<usize> = (0..n).collect();
        let mut beta = vec![0.0; n];
        let mut head = vec![0.0; n];
        let below = |a: &Matrix, j: usize, k: usize| -> f64 {
            (k..m).map(|i| a[(i, j)] * a[(i, j)]).sum::<f64>().sqrt()
        };
        for k in 0..n {
            let mut best = k;
            let mut longest = -1.0;
            for j in k..n {
                let length = below(&a, j, k);
                if length > longest {
                    (best, longest) = (j, length);
                }
            }
            if longest <= f64::EPSILON * m as f64 {
                return Err(StatsError::Undetermined {
                    column: order[best],
                });
            }
            if best != k {
                order.swap(best, k);
                for i in 0..m {
                    let t = a[(i, k)];
                    a[(i, k)] = a[(i, best)];
                    a[(i, best)] = t;
                }
            }
            let alpha = if a[(k, k)] > 0.0 { -longest } else { longest };
            head[k] = a[(k, k)] - alpha;
            let mut vv = head[k] * head[k];
            for i in k + 1..m {
                vv += a[(i, k)] * a[(i, k)];
            }
            beta[k] = 2.0 / vv;
            for j in k + 1..n {
                let mut s = head[k] * a[(k, j)];
                for i in k + 1..m {
                    s += a[(i, k)] * a[(i, j)];
                }
                s *= beta[k];
                a[(k, j)] -= s * head[k];
                for i in k + 1..m {
                    let v = a[(i, k)];
                    a[(i, j)] -= s * v;
                }
            }
            a[(k, k)] = alpha;
        }
        Ok(Self {
            packed: a,
            beta,
            head,
            order,
            scale,
        })
    }

    /// The x that minimises `|a x - b|`.
    pub fn solve(&self, b: &[f64]) -> Vec<f64> {
        let (m, n) = (self.packed.rows(), self.packed.cols());
        let mut c = b.to_vec();
        for k in 0..n {
            let mut s = self.head[k] * c[k];
            for (i, ci) in c.iter().enumerate().take(m).skip(k + 1) {
                s += self.packed[(i, k)] * ci;
            }
            s *= self.beta[k];
            c[k] -= s * self.head[k];
            for (i, ci) in c.iter_mut().enumerate().take(m).skip(k + 1) {
                *ci -= s * self.packed[(i, k)];
            }
        }
        let mut z = c[..n].to_vec();
        for i in (0..n).rev() {
            let s = dot(&self.packed.row(i)[i + 1..], &z[i + 1..]);
            z[i] = (z[i] - s) / self.packed[(i, i)];
        }
        self.unscramble(&z)
    }

    /// `(a^T a)^-1`, by way of `R^-1`.
    pub fn inverse_gram(&self) -> Matrix {
        let n = self.packed.cols();
        // Columns of R^-1, then undone pivoting and scaling row by row.
        let mut w = Matrix::zeros(n, n);
        for j in 0..n {
            let mut z = vec![0.0; n];
            z[j] = 1.0;
            for i in (0..=j).rev() {
                let s = dot(&self.packed.row(i)[i + 1..=j.max(i)], &z[i + 1..=j.max(i)]);
                z[i] = (z[i] - s) / self.packed[(i, i)];
            }
            for (i, x) in self.unscramble(&z).into_iter().enumerate() {
                w[(i, j)] = x;
            }
        }
        Matrix::from_fn(n, n, |i, j| dot(w.row(i), w.row(j)))
    }

    /// Ratio of the largest to the smallest diagonal element of R of the scaled matrix: a lower bound of its
    /// condition number, usually close to it.
    pub fn condition(&self) -> f64 {
        let n = self.packed.cols();
        (self.packed[(0, 0)] / self.packed[(n - 1, n - 1)]).abs()
    }

    fn unscramble(&self, z: &[f64]) -> Vec<f64> {
        let mut x = vec![0.0; z.len()];
        for (k, &j) in self.order.iter().enumerate() {
            x[j] = z[k] / self.scale[j];
        }
        x
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn zero_and_dependent_columns_are_named() {
        let a = Matrix::from_fn(3, 2, |i, j| if j == 1 { 0.0 } else { i as f64 + 1.0 });
        assert_eq!(
            Qr::new(a).unwrap_err(),
            StatsError::Undetermined { column: 1 }
        );
        let a = Matrix::from_fn(4, 2, |i, j| (i as f64 + 1.0) * (j as f64 + 1.0));
        assert!(matches!(Qr::new(a), Err(StatsError::Undetermined { .. })));
        assert!(Cholesky::new(&Matrix::from_fn(2, 2, |_, _| 1.0)).is_err());
    }

    proptest! {
        #[test]
        fn qr_and_cholesky_agree_on_the_normal_equations(
            v in proptest::collection::vec(-3.0f64..3.0, 24), b in proptest::collection::vec(-3.0f64..3.0, 6),
        ) {
            let a = Matrix::from_fn(6, 3, |i, j| v[i * 3 + j] + if i == j { 10.0 } else { 0.0 });
            let qr = Qr::new(a.clone()).unwrap();
            let x = qr.solve(&b);
            let at = a.transposed();
            let gram = Matrix::from_fn(3, 3, |i, j| dot(at.row(i), at.row(j)));
            let by_chol = Cholesky::new(&gram).unwrap().solve(&at.times(&b));
            for k in 0..3 {
                prop_assert!((x[k] - by_chol[k]).abs() < 1e-11);
            }
            let g = qr.inverse_gram();
            for i in 0..3 {
                let e = gram.times(&g.col(i));
                for (j, ej) in e.iter().enumerate() {
                    let want = f64::from(u8::from(i == j));
                    prop_assert!((ej - want).abs() < 1e-11);
                }
            }
        }
    }
}
