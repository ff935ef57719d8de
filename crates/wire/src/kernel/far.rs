//! Segments well apart: product Gauss rules between the axes, and the radii as a factor.

use super::{G2, G3, Moments};
use crate::mesh::Segment;
use crate::vector::{dot, sub};
use num_complex::Complex64;

/// Effect of azimuth averaging to second order in the radii.
///
/// Averaging a solution of the Helmholtz equation over a circle of radius `a` across `t` adds `a^2/4` of its transverse
/// Laplacian, `-k^2 G - d^2 G/dt^2`. With `c` the cosine between `t` and the line of centres,
/// `<G>/G = 1 - sum a^2/4 [k^2 (1 - c^2) + (3 c^2 - 1)(jk/R + 1/R^2)]`; the next order is `(a/R)^4` and `(ka)^4/64`.
pub(super) fn radii(p: &Segment, q: &Segment, k: f64) -> Complex64 {
    let d = sub(p.mid, q.mid);
    let r2 = dot(d, d);
    let r = r2.sqrt();
    let mut f = Complex64::new(1.0, 0.0);
    for s in [p, q] {
        let c2 = dot(d, s.t).powi(2) / r2;
        let w = 0.25 * s.radius * s.radius;
        f.re -= w * (k * k * (1.0 - c2) + (3.0 * c2 - 1.0) / r2);
        f.im -= w * (3.0 * c2 - 1.0) * k / r;
    }
    f
}

pub(super) fn gauss2(p: &Segment, q: &Segment, k: f64) -> Moments {
    product(p, q, k, &G2)
}
pub(super) fn gauss3(p: &Segment, q: &Segment, k: f64) -> Moments {
    product(p, q, k, &G3)
}

#[inline]
fn product<const N: usize>(p: &Segment, q: &Segment, k: f64, rule: &[(f64, f64); N]) -> Moments {
    let mut m = [Complex64::default(); 4];
    for &(u, wu) in rule {
        let at = p.point(u);
        let (mut row0, mut row1) = (Complex64::default(), Complex64::default());
        for &(v, wv) in rule {
            let d = sub(at, q.point(v));
            let r = dot(d, d).sqrt();
            let (s, c) = (k * r).sin_cos();
            let w = wv / r;
            let g = Complex64::new(c * w, -s * w);
            row0 += g;
            row1 += g * v;
        }
        m[0] += row0 * wu;
        m[1] += row0 * (wu * u);
        m[2] += row1 * wu;
        m[3] += row1 * (wu * u);
    }
    let f = radii(p, q, k) * (p.len * q.len);
    m.map(|x| x * f)
}
