//! Three-vectors, real and complex, as plain arrays.

use num_complex::Complex64;

pub(crate) type V3 = [f64; 3];
pub(crate) type C3 = [Complex64; 3];

pub(crate) fn dot(a: V3, b: V3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}
#[cfg(test)]
pub(crate) fn cross(a: V3, b: V3) -> V3 {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}
pub(crate) fn sub(a: V3, b: V3) -> V3 {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}
pub(crate) fn scale(a: V3, k: f64) -> V3 {
    [a[0] * k, a[1] * k, a[2] * k]
}
pub(crate) fn norm(a: V3) -> f64 {
    dot(a, a).sqrt()
}
/// Linear combination of the rows of an orthonormal frame.
pub(crate) fn compose(frame: &[V3; 3], c: V3) -> V3 {
    std::array::from_fn(|i| frame[0][i] * c[0] + frame[1][i] * c[1] + frame[2][i] * c[2])
}
/// Coordinates of `v` in an orthonormal frame given by its rows.
pub(crate) fn resolve(frame: &[V3; 3], v: V3) -> V3 {
    [dot(frame[0], v), dot(frame[1], v), dot(frame[2], v)]
}
pub(crate) fn cdot(a: V3, b: C3) -> Complex64 {
    b[0] * a[0] + b[1] * a[1] + b[2] * a[2]
}
