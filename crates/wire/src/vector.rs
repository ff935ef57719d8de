//! Three-vectors, real and complex, as plain arrays.

use num_complex::Complex64;

/// A point or a vector, metres where it is a place.
pub type V3 = [f64; 3];
/// A complex vector.
pub type C3 = [Complex64; 3];

pub(crate) fn dot(a: V3, b: V3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}
pub(crate) fn cross(a: V3, b: V3) -> V3 {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}
pub(crate) fn add(a: V3, b: V3) -> V3 {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}
pub(crate) fn sub(a: V3, b: V3) -> V3 {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}
pub(crate) fn scale(a: V3, k: f64) -> V3 {
    [a[0] * k, a[1] * k, a[2] * k]
}
/// `a + k b`.
pub(crate) fn along(a: V3, b: V3, k: f64) -> V3 {
    [a[0] + k * b[0], a[1] + k * b[1], a[2] + k * b[2]]
}
pub(crate) fn norm(a: V3) -> f64 {
    dot(a, a).sqrt()
}
pub(crate) fn cdot(a: V3, b: C3) -> Complex64 {
    b[0] * a[0] + b[1] * a[1] + b[2] * a[2]
}
/// Mirror image in the plane `z = 0`.
pub(crate) fn mirror(a: V3) -> V3 {
    [a[0], a[1], -a[2]]
}
/// Two unit vectors across a unit vector, each a right angle from the other.
pub(crate) fn across(t: V3) -> [V3; 2] {
    let helper = if t[2].abs() < 0.9 {
        [0.0, 0.0, 1.0]
    } else {
        [1.0, 0.0, 0.0]
    };
    let e = cross(t, helper);
    let e1 = scale(e, 1.0 / norm(e));
    [e1, cross(t, e1)]
}
/// Least distance between two straight pieces `a0 a1` and `b0 b1`, and the place of the nearest point on the first.
pub(crate) fn gap(a0: V3, a1: V3, b0: V3, b1: V3) -> (f64, V3) {
    // C. Ericson, Real-Time Collision Detection (2005), 5.1.9: clamp the two parameters in turn.
    let (d1, d2, r) = (sub(a1, a0), sub(b1, b0), sub(a0, b0));
    let (a, e, f) = (dot(d1, d1), dot(d2, d2), dot(d2, r));
    let (c, b) = (dot(d1, r), dot(d1, d2));
    let den = a * e - b * b;
    let mut s = if den > 1e-12 * a * e {
        ((b * f - c * e) / den).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let mut t = (b * s + f) / e;
    if t < 0.0 {
        t = 0.0;
        s = (-c / a).clamp(0.0, 1.0);
    } else if t > 1.0 {
        t = 1.0;
        s = ((b - c) / a).clamp(0.0, 1.0);
    }
    let (p, q) = (along(a0, d1, s), along(b0, d2, t));
    (norm(sub(p, q)), p)
}
