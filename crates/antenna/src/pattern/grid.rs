//! A computed pattern on a regular theta-phi grid.

use super::Field;
use crate::error::AntennaError;
use num_complex::Complex64;
use std::f64::consts::PI;

/// Field on `theta = pi i/(nt-1)`, `phi = 2 pi j/np`; between the nodes four-point Lagrange interpolation of the Ludwig-3
/// components, which run smoothly through the pole in front.
#[derive(Debug, Clone, PartialEq)]
pub struct GridPattern {
    nt: usize,
    np: usize,
    /// Ludwig-3 components, row by row in theta.
    x3y3: Vec<[Complex64; 2]>,
    power: f64,
}

impl GridPattern {
    /// From field values, row by row: index `i np + j` for `theta_i = pi i/(nt-1)`, `phi_j = 2 pi j/np`.
    ///
    /// Steps of 3 deg in theta and 10 deg in phi hold a feed of a few wavelengths to about 0.01 dB.
    ///
    /// # Errors
    /// [`AntennaError::Table`] for `nt < 5`, `np < 4` or odd, a wrong number of values, values not finite, or no power.
    pub fn new(nt: usize, np: usize, fields: &[Field]) -> Result<Self, AntennaError> {
        if nt < 5 || np < 4 || np % 2 == 1 {
            return Err(AntennaError::Table(format!(
                "a grid of {nt} x {np} is too small or odd in phi; at least 5 in theta and an even number from 4 in phi"
            )));
        }
        if nt.checked_mul(np) != Some(fields.len()) {
            return Err(AntennaError::Table(format!(
                "{} values for a grid of {nt} x {np}",
                fields.len()
            )));
        }
        if let Some(k) = fields.iter().position(|f| !f.intensity().is_finite()) {
            return Err(AntennaError::Table(format!(
                "value {k} of the grid is not finite"
            )));
        }
        let x3y3: Vec<_> = fields
            .iter()
            .enumerate()
            .map(|(k, f)| f.ludwig3(2.0 * PI * (k % np) as f64 / np as f64))
            .collect();
        let mut g = Self {
            nt,
            np,
            x3y3,
            power: 0.0,
        };
        g.power = g.integrate();
        if g.power > 0.0 {
            Ok(g)
        } else {
            Err(AntennaError::Table("the grid radiates nothing".into()))
        }
    }

    /// Samples a function of `(theta, phi)` onto a grid.
    ///
    /// # Errors
    /// As [`GridPattern::new`].
    pub fn sample(
        nt: usize,
        np: usize,
        mut field: impl FnMut(f64, f64) -> Field,
    ) -> Result<Self, AntennaError> {
        if nt < 2 || np == 0 {
            return Self::new(nt, np, &[]);
        }
        let mut all = Vec::with_capacity(nt * np);
        for i in 0..nt {
            for j in 0..np {
                all.push(field(
                    PI * i as f64 / (nt - 1) as f64,
                    2.0 * PI * j as f64 / np as f64,
                ));
            }
        }
        Self::new(nt, np, &all)
    }

    /// Nodes in theta and phi.
    pub fn size(&self) -> (usize, usize) {
        (self.nt, self.np)
    }

    pub(super) fn power(&self) -> f64 {
        self.power
    }

    /// `int |E|^2 dOmega`: trapezoid in phi, Clenshaw-Curtis in cos theta (exact for band-limited patterns).
    fn integrate(&self) -> f64 {
        let n = (self.nt - 1) as f64;
        (0..self.nt)
            .map(|i| {
                let t = PI * i as f64 / n;
                let last = (self.nt - 1) / 2;
                let mut s = 1.0;
                for k in 1..=last {
                    let b = if 2 * k == self.nt - 1 { 1.0 } else { 2.0 };
                    let k = k as f64;
                    s -= b * (2.0 * k * t).cos() / (4.0 * k * k - 1.0);
                }
                let c = if i == 0 || i == self.nt - 1 { 1.0 } else { 2.0 };
                let ring: f64 = (0..self.np)
                    .map(|j| self.node(i, j))
                    .map(|[x, y]| x.norm_sqr() + y.norm_sqr())
                    .sum();
                c / n * s * ring * 2.0 * PI / self.np as f64
            })
            .sum()
    }

    fn node(&self, i: usize, j: usize) -> [Complex64; 2] {
        self.x3y3.get(i * self.np + j).copied().unwrap_or_default()
    }

    /// Field between the nodes.
    pub fn field(&self, theta: f64, phi: f64) -> Field {
        let (nt, np) = (self.nt as isize, self.np as isize);
        let u = (theta / PI * (nt - 1) as f64).clamp(0.0, (nt - 1) as f64);
        let v = (phi / (2.0 * PI)).rem_euclid(1.0) * np as f64;
        // Through the front pole a stencil may reach to theta < 0, which is (-theta, phi + pi); behind, it stays inside.
        let i0 = (u.floor() as isize).min(nt - 3);
        let j0 = v.floor() as isize;
        let (wu, wv) = (lagrange4(u - i0 as f64), lagrange4(v - j0 as f64));
        let mut sum = [Complex64::default(); 2];
        for (a, wu) in wu.into_iter().enumerate() {
            let i = i0 + a as isize - 1;
            let (row, turn) = if i < 0 { (-i, np / 2) } else { (i, 0) };
            for (b, wv) in wv.into_iter().enumerate() {
                let j = (j0 + b as isize - 1 + turn).rem_euclid(np);
                let [x, y] = self.node(row as usize, j as usize);
                sum[0] += x * (wu * wv);
                sum[1] += y * (wu * wv);
            }
        }
        Field::of_ludwig3(sum[0], sum[1], phi)
    }
}

/// Cubic Lagrange weights at `s` for nodes -1, 0, 1, 2.
fn lagrange4(s: f64) -> [f64; 4] {
    [
        -s * (s - 1.0) * (s - 2.0) / 6.0,
        (s + 1.0) * (s - 1.0) * (s - 2.0) / 2.0,
        -(s + 1.0) * s * (s - 2.0) / 2.0,
        (s + 1.0) * s * (s - 1.0) / 6.0,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Crossed dipoles a third of a wavelength before the origin: has a back lobe, phase and cross-polar.
    fn turnstile(theta: f64, phi: f64) -> Field {
        let j = Complex64::i();
        let shift = Complex64::from_polar(1.0, 2.0 * PI / 3.0 * theta.cos());
        let (s, c) = phi.sin_cos();
        let (px, py) = (Complex64::new(1.0, 0.0), -j);
        Field {
            theta: (px * c + py * s) * theta.cos() * shift,
            phi: (py * c - px * s) * shift,
        }
    }

    #[test]
    fn power_and_field_between_nodes() {
        let g = GridPattern::sample(61, 36, turnstile).unwrap();
        // int (cos^2 + 1) dOmega with |p.rho|^2 = |p.phi|^2 = 1
        assert!(
            (g.power() - 2.0 * PI * (2.0 / 3.0 + 2.0)).abs() < 1e-9,
            "{}",
            g.power()
        );
        for k in 0..400 {
            let (t, p) = (
                2.9 * (f64::from(k) * 0.618_034).fract(),
                f64::from(k) * 0.37 - 20.0,
            );
            let (a, b) = (turnstile(t, p), g.field(t, p));
            let e = (a.theta - b.theta).norm() + (a.phi - b.phi).norm();
            assert!(e < 3e-3, "theta {t} phi {p}: {e}");
        }
    }

    #[test]
    fn malformed_grids_are_refused() {
        assert!(GridPattern::new(61, 35, &[]).is_err());
        assert!(GridPattern::new(5, 4, &[Field::default(); 19]).is_err());
        assert!(GridPattern::new(5, 4, &[Field::default(); 20]).is_err());
        assert!(GridPattern::sample(1, 0, turnstile).is_err());
    }
}
