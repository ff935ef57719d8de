//! Far field of segment currents.

use crate::error::WireError;
use crate::lanes::sin_cos;
use crate::mesh::{Mesh, Segment};
use crate::vector::{V3, cdot, norm, sub};
use num_complex::Complex64;
use rayon::prelude::*;
use slantpath_antenna::pattern::{Field, GridPattern};
use slantpath_antenna::quadrature::gauss_legendre;
use slantpath_quantity::constants::ETA0_OHM;
use std::f64::consts::PI;

/// Unit vectors of r, theta and phi.
pub(crate) fn unit_vectors(theta: f64, phi: f64) -> (V3, V3, V3) {
    let ((st, ct), (sp, cp)) = (theta.sin_cos(), phi.sin_cos());
    (
        [st * cp, st * sp, ct],
        [ct * cp, ct * sp, -st],
        [-sp, cp, 0.0],
    )
}

/// Segments treated at once.
const WIDTH: usize = 16;
type Lane = [f64; WIDTH];

/// Currents laid out for fast summation; over the plane the images are among them.
#[derive(Debug, Clone)]
pub(crate) struct Radiator {
    bundles: Vec<Bundle>,
    k: f64,
    plane: bool,
    /// Greatest distance from the middle of the structure in radians: how fine the pattern can be.
    size: f64,
}

#[derive(Debug, Clone, Default)]
struct Bundle {
    mid: [Lane; 3],
    t: [Lane; 3],
    /// `k len/2` and `(k a/2)^2`.
    half: Lane,
    ring: Lane,
    /// Length times mean current, length times half the rise of the current.
    mean: [Lane; 2],
    slope: [Lane; 2],
}

impl Bundle {
    fn set(&mut self, i: usize, s: &Segment, [i0, i1]: [Complex64; 2], k: f64) {
        for c in 0..3 {
            self.mid[c][i] = s.mid[c];
            self.t[c][i] = s.t[c];
        }
        self.half[i] = 0.5 * k * s.len;
        self.ring[i] = (0.5 * k * s.radius).powi(2);
        let (mean, slope) = ((i0 + i1) * (0.5 * s.len), (i1 - i0) * (0.5 * s.len));
        (self.mean[0][i], self.mean[1][i]) = (mean.re, mean.im);
        (self.slope[0][i], self.slope[1][i]) = (slope.re, slope.im);
    }

    /// Adds `int I t exp(jk r.n) ds` times the ring factor `J0(ka sin psi)`, closed form for a linear current.
    #[inline(always)]
    fn add(&self, n: V3, k: f64, sum: &mut [[f64; 2]; 3]) {
        let (mut re, mut im) = ([0.0; WIDTH], [0.0; WIDTH]);
        for i in 0..WIDTH {
            let c = self.t[0][i] * n[0] + self.t[1][i] * n[1] + self.t[2][i] * n[2];
            let x = self.half[i] * c;
            let x2 = x * x;
            // sinc x and (sin x - x cos x)/x^2; series to x^6, segments being short
            let even = 1.0 - x2 / 6.0 * (1.0 - x2 / 20.0 * (1.0 - x2 / 42.0));
            let odd = x / 3.0 * (1.0 - x2 / 10.0 * (1.0 - x2 / 28.0));
            let y2 = self.ring[i] * (1.0 - c * c);
            let ring = 1.0 - y2 * (1.0 - 0.25 * y2);
            let (sin, cos) = sin_cos(
                k * (self.mid[0][i] * n[0] + self.mid[1][i] * n[1] + self.mid[2][i] * n[2]),
            );
            let a = (self.mean[0][i] * even - self.slope[1][i] * odd) * ring;
            let b = (self.mean[1][i] * even + self.slope[0][i] * odd) * ring;
            re[i] = a * cos - b * sin;
            im[i] = a * sin + b * cos;
        }
        for (sum, t) in sum.iter_mut().zip(&self.t) {
            sum[0] += t.iter().zip(&re).map(|(t, x)| t * x).sum::<f64>();
            sum[1] += t.iter().zip(&im).map(|(t, x)| t * x).sum::<f64>();
        }
    }
}

impl Radiator {
    pub fn new(mesh: &Mesh, currents: &[[Complex64; 2]]) -> Self {
        let k = 2.0 * PI / mesh.lambda;
        let direct = mesh.segments.iter().copied().zip(currents.iter().copied());
        // the image: mirrored place, current against the mirrored tangent
        let image = direct
            .clone()
            .filter(|_| mesh.plane)
            .map(|(s, i)| (s.mirrored(), i.map(|x| -x)));
        let all: Vec<_> = direct.chain(image).collect();
        let bundles = all
            .chunks(WIDTH)
            .map(|chunk| {
                let mut b = Bundle::default();
                for (i, (s, current)) in chunk.iter().enumerate() {
                    b.set(i, s, *current, k);
                }
                b
            })
            .collect();
        let centre = centre(mesh);
        let size = mesh
            .segments
            .iter()
            .map(|s| k * (norm(sub(s.mid, centre)) + 0.5 * s.len))
            .fold(0.0, f64::max);
        Self {
            bundles,
            k,
            plane: mesh.plane,
            size,
        }
    }

    /// `r E exp(jkr)` in a direction, V; phases from the origin of the structure's coordinates.
    pub fn field(&self, theta: f64, phi: f64) -> Field {
        if self.plane && theta > 0.5 * PI + 1e-12 {
            return Field::default();
        }
        let (n, t, p) = unit_vectors(theta, phi);
        let mut sum = [[0.0; 2]; 3];
        let arch = pulp::Arch::new();
        arch.dispatch(|| {
            for b in &self.bundles {
                b.add(n, self.k, &mut sum);
            }
        });
        let moment = sum.map(|[re, im]| Complex64::new(re, im));
        let front = Complex64::new(0.0, -ETA0_OHM * self.k / (4.0 * PI));
        Field {
            theta: cdot(t, moment) * front,
            phi: cdot(p, moment) * front,
        }
    }

    /// Radiated power, W (peak phasors): Gauss in cos theta, trapezoid in phi, with enough nodes for the structure's size.
    pub fn power(&self, parallel: bool) -> f64 {
        // intensity has harmonics up to about 2 (kr + some)
        let nt = (self.size.ceil() as usize + 8).min(400);
        let np = 2 * nt;
        let lo = if self.plane { 0.0 } else { -1.0 };
        let row = |(c, w): (f64, f64)| {
            let theta = c.clamp(-1.0, 1.0).acos();
            let ring: f64 = (0..np)
                .map(|j| {
                    self.field(theta, 2.0 * PI * j as f64 / np as f64)
                        .intensity()
                })
                .sum();
            w * ring * 2.0 * PI / np as f64
        };
        let nodes = gauss_legendre(nt, lo, 1.0);
        // one value per row, added in order: the same at any number of threads
        let rows: Vec<f64> = if parallel {
            nodes.into_par_iter().map(row).collect()
        } else {
            nodes.into_iter().map(row).collect()
        };
        rows.iter().sum::<f64>() / (2.0 * ETA0_OHM)
    }

    /// Pattern on a regular grid of `nt` by `np` directions.
    pub fn grid(&self, nt: usize, np: usize, parallel: bool) -> Result<GridPattern, WireError> {
        let count = nt.checked_mul(np).filter(|&n| n <= 10_000_000).unwrap_or(0);
        let at = |n: usize| {
            let (i, j) = (n / np.max(1), n % np.max(1));
            let theta = PI * i as f64 / (nt.max(2) - 1) as f64;
            self.field(theta, 2.0 * PI * j as f64 / np as f64)
        };
        let fields: Vec<Field> = if parallel {
            (0..count).into_par_iter().map(at).collect()
        } else {
            (0..count).map(at).collect()
        };
        Ok(GridPattern::new(nt, np, &fields)?)
    }
}

fn centre(mesh: &Mesh) -> V3 {
    if mesh.plane {
        return [0.0; 3];
    }
    let (mut lo, mut hi) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
    for s in &mesh.segments {
        for i in 0..3 {
            lo[i] = lo[i].min(s.mid[i]);
            hi[i] = hi[i].max(s.mid[i]);
        }
    }
    std::array::from_fn(|i| 0.5 * (lo[i] + hi[i]))
}
