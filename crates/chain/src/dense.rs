//! Small dense symmetric systems (a handful of nodes): Cholesky solution and Jacobi eigenvalues.
//!
//! Sizes here are below twenty, where plain loops are quicker than a library's set-up and the order of every sum
//! is fixed. Textbook methods (Golub and Van Loan, Matrix Computations, algorithms 4.2.2 and 8.4.3; from memory).

/// A square symmetric matrix, row by row.
#[derive(Debug, Clone)]
pub(crate) struct Symmetric {
    n: usize,
    a: Vec<f64>,
}

impl Symmetric {
    pub fn zero(n: usize) -> Self {
        Self {
            n,
            a: vec![0.0; n * n],
        }
    }
    pub fn get(&self, i: usize, j: usize) -> f64 {
        self.a[i * self.n + j]
    }
    /// Adds to (i, j) and, off the diagonal, to (j, i).
    pub fn add(&mut self, i: usize, j: usize, x: f64) {
        self.a[i * self.n + j] += x;
        if i != j {
            self.a[j * self.n + i] += x;
        }
    }
    /// Adds the stamp of a conductance `g` between nodes `i` and `j`.
    pub fn stamp(&mut self, i: usize, j: usize, g: f64) {
        if i != j {
            self.add(i, i, g);
            self.add(j, j, g);
            self.add(i, j, -g);
        }
    }
    /// Solves `A x = b`; `None` when A is not positive definite.
    pub fn solve(&self, b: &[f64]) -> Option<Vec<f64>> {
        let n = self.n;
        let mut l = vec![0.0; n * n];
        for j in 0..n {
            for i in j..n {
                let dot: f64 = (0..j).map(|k| l[i * n + k] * l[j * n + k]).sum();
                let rest = self.get(i, j) - dot;
                if i == j {
                    if rest.is_nan() || rest <= 0.0 {
                        return None;
                    }
                    l[j * n + j] = rest.sqrt();
                } else {
                    l[i * n + j] = rest / l[j * n + j];
                }
            }
        }
        let mut x = b.to_vec();
        for i in 0..n {
            let dot: f64 = (0..i).map(|k| l[i * n + k] * x[k]).sum();
            x[i] = (x[i] - dot) / l[i * n + i];
        }
        for i in (0..n).rev() {
            let dot: f64 = (i + 1..n).map(|k| l[k * n + i] * x[k]).sum();
            x[i] = (x[i] - dot) / l[i * n + i];
        }
        Some(x)
    }
    /// Eigenvalues and eigenvectors (`vectors[k]` belongs to `values[k]`, unit length), by cyclic Jacobi rotations.
    pub fn eigen(&self) -> (Vec<f64>, Vec<Vec<f64>>) {
        let n = self.n;
        let mut a = self.a.clone();
        let mut v = vec![0.0; n * n];
        for i in 0..n {
            v[i * n + i] = 1.0;
        }
        let scale: f64 = a.iter().map(|x| x * x).sum();
        // Convergence is quadratic; a dozen sweeps are ample for any size used here.
        for _ in 0..60 {
            let off: f64 = (0..n)
                .flat_map(|i| (0..i).map(move |j| (i, j)))
                .map(|(i, j)| a[i * n + j] * a[i * n + j])
                .sum();
            if off <= 1e-34 * scale {
                break;
            }
            for p in 0..n {
                for q in p + 1..n {
                    let apq = a[p * n + q];
                    if apq == 0.0 {
                        continue;
                    }
                    let theta = (a[q * n + q] - a[p * n + p]) / (2.0 * apq);
                    let t = if theta == 0.0 {
                        1.0
                    } else {
                        theta.signum() / (theta.abs() + (theta * theta + 1.0).sqrt())
                    };
                    let c = 1.0 / (t * t + 1.0).sqrt();
                    let s = t * c;
                    for k in 0..n {
                        let (x, y) = (a[k * n + p], a[k * n + q]);
                        a[k * n + p] = c * x - s * y;
                        a[k * n + q] = s * x + c * y;
                    }
                    for k in 0..n {
                        let (x, y) = (a[p * n + k], a[q * n + k]);
                        a[p * n + k] = c * x - s * y;
                        a[q * n + k] = s * x + c * y;
                    }
                    for k in 0..n {
                        let (x, y) = (v[k * n + p], v[k * n + q]);
                        v[k * n + p] = c * x - s * y;
                        v[k * n + q] = s * x + c * y;
                    }
                }
            }
        }
        let values = (0..n).map(|i| a[i * n + i]).collect();
        let vectors = (0..n)
            .map(|k| (0..n).map(|i| v[i * n + k]).collect())
            .collect();
        (values, vectors)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn solves_and_decomposes(n in 1usize..7, entries in prop::collection::vec(-1.0..1.0f64, 49), b in prop::collection::vec(-1.0..1.0f64, 7)) {
            // A = M M' + I is positive definite.
            let mut a = Symmetric::zero(n);
            for i in 0..n { for j in 0..=i {
                let x: f64 = (0..n).map(|k| entries[i * 7 + k] * entries[j * 7 + k]).sum();
                a.add(i, j, x + if i == j { 1.0 } else { 0.0 });
            } }
            let x = a.solve(&b[..n]).unwrap();
            for (i, b) in b.iter().enumerate().take(n) {
                let ax: f64 = (0..n).map(|j| a.get(i, j) * x[j]).sum();
                prop_assert!((ax - b).abs() < 1e-12);
            }
            let (w, v) = a.eigen();
            for k in 0..n { for i in 0..n {
                let av: f64 = (0..n).map(|j| a.get(i, j) * v[k][j]).sum();
                prop_assert!((av - w[k] * v[k][i]).abs() < 1e-12);
            } }
        }
    }
    #[test]
    fn indefinite_is_refused() {
        let mut a = Symmetric::zero(1);
        a.add(0, 0, -1.0);
        assert!(a.solve(&[1.0]).is_none());
    }
}
