//! Three-vectors, only what this room needs.

pub(crate) type V3 = [f64; 3];
pub(crate) type M3 = [[f64; 3]; 3];

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
pub(crate) fn norm(a: V3) -> f64 {
    dot(a, a).sqrt()
}
/// Unit vector; the zero vector stays zero.
pub(crate) fn unit(a: V3) -> V3 {
    let n = norm(a);
    if n > 0.0 { scale(a, 1.0 / n) } else { a }
}
/// `m a`.
pub(crate) fn rotate(m: &M3, a: V3) -> V3 {
    [dot(m[0], a), dot(m[1], a), dot(m[2], a)]
}
/// Transpose of `m` times `a`: the rotation backwards.
pub(crate) fn rotate_back(m: &M3, a: V3) -> V3 {
    add(scale(m[0], a[0]), add(scale(m[1], a[1]), scale(m[2], a[2])))
}
/// The frame turned by `angle` about z: a vector's coordinates in the turned frame.
pub(crate) fn frame_turned_z(angle: f64, a: V3) -> V3 {
    let (s, c) = angle.sin_cos();
    [c * a[0] + s * a[1], c * a[1] - s * a[0], a[2]]
}
/// Angle between two unit vectors, rad; the chord form keeps small angles exact.
pub(crate) fn angle_between(a: V3, b: V3) -> f64 {
    2.0 * (0.5 * norm(sub(a, b))).min(1.0).asin()
}
