//! Field of Hertzian dipoles: an aperture's Huygens sources, near and far.

use crate::excite::GivenField;
use crate::lanes::sin_cos;
use crate::vector::{C3, V3};
use num_complex::Complex64;
use slantpath_quantity::constants::ETA0_OHM;
use std::f64::consts::PI;

/// Electric and magnetic current moment in one place: one quadrature point of an aperture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DipolePair {
    /// Place, m.
    pub at: V3,
    /// Electric current moment `J dA`, A m.
    pub electric: C3,
    /// Magnetic current moment `M dA`, V m.
    pub magnetic: C3,
}

/// Sources treated at once.
const WIDTH: usize = 16;
type Lane = [f64; WIDTH];

/// [`WIDTH`] places with the moments of `N` cases: components x, y, z, real and imaginary part.
#[derive(Debug, Clone, PartialEq)]
struct Bundle<const N: usize> {
    at: [Lane; 3],
    electric: [[[Lane; 2]; 3]; N],
    magnetic: [[[Lane; 2]; 3]; N],
}

/// Fields of `N` sets of dipole pairs in the same places: both polarisations of one feed share all but the moments.
#[derive(Debug, Clone, PartialEq)]
pub struct DipoleFields<const N: usize> {
    bundles: Vec<Bundle<N>>,
    k: f64,
}

/// One set of dipole pairs.
pub type DipoleField = DipoleFields<1>;

impl DipoleFields<1> {
    /// Field of these sources at a wavenumber (rad/m).
    pub fn new(sources: &[DipolePair], k: f64) -> Self {
        let places: Vec<V3> = sources.iter().map(|s| s.at).collect();
        let moments: Vec<_> = sources.iter().map(|s| [[s.electric, s.magnetic]]).collect();
        Self::joint(&places, &moments, k)
    }
}

impl<const N: usize> DipoleFields<N> {
    /// Fields of `N` cases: for each place the electric and magnetic moment of each case. Places without moments (or moments
    /// without place) are left out. `k` in rad/m.
    pub fn joint(places: &[V3], moments: &[[[C3; 2]; N]], k: f64) -> Self {
        let pairs: Vec<_> = places.iter().zip(moments).collect();
        let bundles = pairs
            .chunks(WIDTH)
            .map(|chunk| {
                let lane = |f: &dyn Fn(&V3, &[[C3; 2]; N]) -> f64| {
                    // lanes without source stand at the origin and have no moment
                    std::array::from_fn(|i| chunk.get(i).map_or(0.0, |(p, m)| f(p, m)))
                };
                let moment = |kind: usize| {
                    std::array::from_fn(|n: usize| {
                        std::array::from_fn(|c: usize| {
                            [
                                lane(&|_, m| m[n][kind][c].re),
                                lane(&|_, m| m[n][kind][c].im),
                            ]
                        })
                    })
                };
                Bundle {
                    at: std::array::from_fn(|c| lane(&|p, _| p[c])),
                    electric: moment(0),
                    magnetic: moment(1),
                }
            })
            .collect();
        Self { bundles, k }
    }

    /// The `N` electric fields at a place, V/m.
    ///
    /// R. F. Harrington, Time-Harmonic Electromagnetic Fields (1961), 2-10 and duality (from memory):
    /// `E = -j eta k g [J (1 - j/x - 1/x^2) - R (R.J)(1 - 3j/x - 3/x^2)] + jk g (1 - j/x) R x M`, `g = exp(-jx)/(4 pi r)`,
    /// `x = k r`, `R` the unit vector from the source. A source in the very place counts nothing.
    pub fn electric_all(&self, at: V3) -> [C3; N] {
        let mut sum = [[[0.0; 2]; 3]; N];
        let arch = pulp::Arch::new();
        for b in &self.bundles {
            arch.dispatch(|| b.add(at, self.k, &mut sum));
        }
        sum.map(|e| e.map(|[re, im]| Complex64::new(re, im)))
    }
}

impl<const N: usize> Bundle<N> {
    #[inline(always)]
    fn add(&self, at: V3, k: f64, sum: &mut [[[f64; 2]; 3]; N]) {
        let mut n = [[0.0; WIDTH]; 3];
        // factors of J, of R (R.J) and of R x M
        let (mut a, mut b, mut c) = ([[0.0; WIDTH]; 2], [[0.0; WIDTH]; 2], [[0.0; WIDTH]; 2]);
        for i in 0..WIDTH {
            let (x, y, z) = (
                at[0] - self.at[0][i],
                at[1] - self.at[1][i],
                at[2] - self.at[2][i],
            );
            let r2 = x * x + y * y + z * z;
            let here = r2 < 1e-24;
            let ir = if here { 0.0 } else { 1.0 / r2.sqrt() };
            (n[0][i], n[1][i], n[2][i]) = (x * ir, y * ir, z * ir);
            let kr = k * r2 * ir;
            let (sin, cos) = sin_cos(kr);
            let w = ir * (0.25 / PI);
            let (gr, gi) = (cos * w, -sin * w);
            let ix = if here { 0.0 } else { 1.0 / kr };
            let (er, ei) = (ETA0_OHM * k * gi, -ETA0_OHM * k * gr);
            let near = 1.0 - ix * ix;
            a[0][i] = er * near + ei * ix;
            a[1][i] = ei * near - er * ix;
            let radial = 1.0 - 3.0 * ix * ix;
            b[0][i] = -(er * radial + 3.0 * ei * ix);
            b[1][i] = -(ei * radial - 3.0 * er * ix);
            c[0][i] = k * (ix * gr - gi);
            c[1][i] = k * (ix * gi + gr);
        }
        for ((sum, j), m) in sum.iter_mut().zip(&self.electric).zip(&self.magnetic) {
            let mut along = [[0.0; WIDTH]; 2];
            for part in 0..2 {
                for i in 0..WIDTH {
                    along[part][i] =
                        n[0][i] * j[0][part][i] + n[1][i] * j[1][part][i] + n[2][i] * j[2][part][i];
                }
            }
            for axis in 0..3 {
                let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
                let (mut re, mut im) = ([0.0; WIDTH], [0.0; WIDTH]);
                for i in 0..WIDTH {
                    let (jr, ji) = (j[axis][0][i], j[axis][1][i]);
                    let (lr, li) = (n[axis][i] * along[0][i], n[axis][i] * along[1][i]);
                    let mr = n[u][i] * m[v][0][i] - n[v][i] * m[u][0][i];
                    let mi = n[u][i] * m[v][1][i] - n[v][i] * m[u][1][i];
                    re[i] = a[0][i] * jr - a[1][i] * ji + b[0][i] * lr - b[1][i] * li
                        + c[0][i] * mr
                        - c[1][i] * mi;
                    im[i] = a[0][i] * ji
                        + a[1][i] * jr
                        + b[0][i] * li
                        + b[1][i] * lr
                        + c[0][i] * mi
                        + c[1][i] * mr;
                }
                sum[axis][0] += re.iter().sum::<f64>();
                sum[axis][1] += im.iter().sum::<f64>();
            }
        }
    }
}

impl GivenField for DipoleFields<1> {
    fn electric(&self, at: V3) -> C3 {
        let [e] = self.electric_all(at);
        e
    }
}
