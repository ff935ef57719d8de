//! Integrals of the Green function `exp(-jkR)/R` over pairs of segments.
//!
//! Current and charge sit on the wire's surface, alike all around (the "exact kernel" of a tube); both sides of a pair are
//! averaged over azimuth, which keeps the matrix symmetric and the power balance exact.
//!
//! - same segment, and segments that share a node: the static tube kernel, integrated along one segment in closed form
//!   ([`tube`]), the rest by quadrature;
//! - near: filaments on both surfaces, `1/R` in closed form along one of them ([`near`]);
//! - beyond: Gauss rules on the axes, times the second-order effect of the radii, [`far`].

pub(crate) mod batch;
mod far;
mod near;
mod tube;

#[cfg(test)]
mod tests;

use crate::mesh::Segment;
use crate::vector::{norm, sub};
use num_complex::Complex64;

/// `int int u^i v^j <exp(-jkR)/R> ds ds'` in the order 00, 10, 01, 11; `u`, `v` from 0 to 1 along the first and second
/// segment.
pub(crate) type Moments = [Complex64; 4];

/// How two segments lie to each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Relation {
    Same,
    /// They share a node: end 0 or 1 of each.
    Touching(usize, usize),
    Apart,
}

/// By node numbers; `image` when the second is a mirror image (then only nodes on the plane are shared).
pub(crate) fn relation(p: &Segment, q: &Segment, same: bool) -> Relation {
    if same {
        return Relation::Same;
    }
    for (i, n) in p.nodes.iter().enumerate() {
        if let Some(j) = q.nodes.iter().position(|m| m == n) {
            return Relation::Touching(i, j);
        }
    }
    Relation::Apart
}

/// Moments of a pair in whatever way its distance asks for.
pub(crate) fn moments(p: &Segment, q: &Segment, relation: Relation, k: f64) -> Moments {
    match relation {
        Relation::Same => tube::same(p.len, p.radius, k),
        Relation::Touching(i, j) => tube::touching(p, q, i, j, k),
        Relation::Apart => {
            let sep = norm(sub(p.mid, q.mid));
            let longer = p.len.max(q.len);
            if sep < 2.5 * longer || sep < 0.5 * (p.len + q.len) + 10.0 * p.radius.max(q.radius) {
                near::between(p, q, k)
            } else if sep < FAR * longer {
                far::gauss3(p, q, k)
            } else {
                far::gauss2(p, q, k)
            }
        }
    }
}

/// From so many lengths of the longer segment on, two nodes on each suffice: the rule's error falls as `(L/R)^4/180` and is
/// `(kL)^4/4320`.
pub(crate) const FAR: f64 = 4.0;

/// `(exp(-jkR) - 1)/R`, smooth through `R = 0`.
pub(crate) fn rest(r: f64, k: f64) -> Complex64 {
    let x = k * r;
    if x < 0.02 {
        // series to x^4
        let x2 = x * x;
        return Complex64::new(
            -k * x * (0.5 - x2 / 24.0),
            -k * (1.0 - x2 / 6.0 + x2 * x2 / 120.0),
        );
    }
    let (s, c) = x.sin_cos();
    Complex64::new((c - 1.0) / r, -s / r)
}

/// Turns a moment set to `1 - u` on the first side.
pub(crate) fn flip_first([m00, m10, m01, m11]: Moments) -> Moments {
    [m00, m00 - m10, m01, m01 - m11]
}
/// Turns a moment set to `1 - v` on the second side.
pub(crate) fn flip_second([m00, m10, m01, m11]: Moments) -> Moments {
    [m00, m10, m00 - m01, m10 - m11]
}
/// Exchanges the sides.
pub(crate) fn exchange([m00, m10, m01, m11]: Moments) -> Moments {
    [m00, m01, m10, m11]
}

/// Gauss-Legendre nodes and weights on 0..1.
pub(crate) const G2: [(f64, f64); 2] = [
    (0.211_324_865_405_187_1, 0.5),
    (0.788_675_134_594_812_9, 0.5),
];
/// Three nodes.
pub(crate) const G3: [(f64, f64); 3] = [
    (0.112_701_665_379_258_3, 5.0 / 18.0),
    (0.5, 4.0 / 9.0),
    (0.887_298_334_620_741_7, 5.0 / 18.0),
];
/// Four nodes.
pub(crate) const G4: [(f64, f64); 4] = [
    (0.069_431_844_202_973_7, 0.173_927_422_568_726_9),
    (0.330_009_478_207_571_9, 0.326_072_577_431_273_1),
    (0.669_990_521_792_428_1, 0.326_072_577_431_273_1),
    (0.930_568_155_797_026_3, 0.173_927_422_568_726_9),
];
/// Six nodes.
pub(crate) const G6: [(f64, f64); 6] = [
    (0.033_765_242_898_423_98, 0.085_662_246_189_585_18),
    (0.169_395_306_766_867_7, 0.180_380_786_524_069_3),
    (0.380_690_406_958_401_5, 0.233_956_967_286_345_5),
    (0.619_309_593_041_598_5, 0.233_956_967_286_345_5),
    (0.830_604_693_233_132_3, 0.180_380_786_524_069_3),
    (0.966_234_757_101_576, 0.085_662_246_189_585_18),
];

/// `int ds'/R` and `int (s' - z) ds'/R` over `s'` from 0 to `len`, `R^2 = (s' - z)^2 + b2`.
#[inline]
pub(crate) fn line(len: f64, z: f64, b2: f64) -> (f64, f64) {
    let (x1, x2) = (-z, len - z);
    let (r1, r2) = ((x1 * x1 + b2).sqrt(), (x2 * x2 + b2).sqrt());
    // asinh differences without cancellation, whichever side the foot lies on
    let log = if x1 >= 0.0 {
        ((x2 + r2) / (x1 + r1)).ln()
    } else if x2 <= 0.0 {
        ((r1 - x1) / (r2 - x2)).ln()
    } else {
        ((x2 + r2) * (r1 - x1) / b2).ln()
    };
    (log, r2 - r1)
}
