//! The tube kernel: one segment with itself, and segments that share a node.
//!
//! Averaged over both azimuths, two rings of radii `a1`, `a2` on a common axis, `D` apart, have
//! `R^2 = D^2 + (a1 - a2)^2 + 4 a1 a2 sin^2(phi/2)`. A bend at the node is taken as if the wires were collinear at the
//! distance `D` of the axis points.

use super::{G4, G6, Moments, exchange, flip_first, flip_second, line, rest};
use crate::mesh::Segment;
use crate::vector::dot;
use num_complex::Complex64;
use std::f64::consts::PI;

/// Mean of `1/R` and of `R` over azimuth for equal radii, `D` apart.
///
/// `<1/R> = 2 K(m)/(pi q) = 1/agm(q, D)` with `q^2 = D^2 + 4 a^2`, and `<R> = 2 q E(m)/pi` from the same iteration
/// (Abramowitz & Stegun 17.6.3, 17.6.4).
pub(super) fn ring_means(d: f64, a: f64) -> (f64, f64) {
    let q = (d * d + 4.0 * a * a).sqrt();
    let (mut x, mut y) = (1.0, d / q);
    let (mut sum, mut power) = (2.0 * a * a / (q * q), 1.0);
    for _ in 0..12 {
        let c = 0.5 * (x - y);
        (x, y) = (0.5 * (x + y), (x * y).sqrt());
        sum += power * c * c;
        power *= 2.0;
        if c < 1e-9 {
            break;
        }
    }
    (1.0 / (q * x), q * (1.0 - sum) / x)
}

/// A segment with itself: one integral over the distance of the two points, panels graded to the logarithm at 0.
pub(super) fn same(len: f64, a: f64, k: f64) -> Moments {
    let kernel = |x: f64| {
        let (inverse, mean) = ring_means(x, a);
        let rms = (x * x + 2.0 * a * a).sqrt();
        // exp(-jkR)/R = 1/R - jk - k^2 R/2 + ..: the first and third terms by their own means, the others at the rms
        let mut g = rest(rms, k);
        g.re += inverse + 0.5 * k * k * (rms - mean);
        g
    };
    let (mut i00, mut i11) = (Complex64::default(), Complex64::default());
    let mut add = |x: f64, w: f64| {
        let (g, y) = (kernel(x) * w, len - x);
        i00 += g * (2.0 * y);
        i11 += g * (2.0 * (y * y * y / 3.0 + 0.5 * x * y * y));
    };
    let mut hi = len;
    while hi > 0.5 * a {
        let lo = 0.25 * hi;
        for (u, w) in G6 {
            add(lo + (hi - lo) * u, (hi - lo) * w);
        }
        hi = lo;
    }
    // the logarithm at the end: x = hi t^3
    for (t, w) in G6 {
        add(hi * t * t * t, w * 3.0 * hi * t * t);
    }
    i11 /= len * len;
    [i00, i00 * 0.5, i00 * 0.5, i11]
}

/// Azimuth rule for the logarithm at `phi = 0`: `phi = pi t^3`, six nodes: `sin^2(phi/2)` and weight.
fn azimuth_graded() -> &'static [(f64, f64); 6] {
    static RULE: std::sync::OnceLock<[(f64, f64); 6]> = std::sync::OnceLock::new();
    RULE.get_or_init(|| G6.map(|(t, w)| ((0.5 * PI * t * t * t).sin().powi(2), 3.0 * t * t * w)))
}
/// Midpoint rule of four nodes over half the circle: `sin^2(phi/2)` at 22.5, 67.5, 112.5, 157.5 deg.
const AZIMUTH_EVEN: [(f64, f64); 4] = [
    (0.038_060_233_744_356_62, 0.25),
    (0.308_658_283_817_455_1, 0.25),
    (0.691_341_716_182_544_9, 0.25),
    (0.961_939_766_255_643_4, 0.25),
];

/// Segments sharing a node, end `i` of the first and end `j` of the second.
pub(super) fn touching(p: &Segment, q: &Segment, i: usize, j: usize, k: f64) -> Moments {
    // closed form along the longer one
    if p.len > q.len {
        return exchange(touching(q, p, j, i, k));
    }
    let away = |end: usize| if end == 0 { 1.0 } else { -1.0 };
    let cos = dot(p.t, q.t) * away(i) * away(j);
    let (a1, a2) = (p.radius, q.radius);
    let (b0, b4) = ((a1 - a2) * (a1 - a2), 4.0 * a1 * a2);
    let mut m = [Complex64::default(); 4];
    let a = a1.max(a2);
    let mut add = |s: f64, w: f64| {
        let z = s * cos;
        let rho2 = s * s * (1.0 - cos * cos).max(0.0) + b0;
        let (mut j0, mut j1) = (0.0, 0.0);
        let mut azimuth = |rule: &[(f64, f64)]| {
            for &(sin2, wa) in rule {
                let (c0, c1) = line(q.len, z, rho2 + b4 * sin2);
                j0 += wa * c0;
                j1 += wa * c1;
            }
        };
        if s > 2.0 * a {
            azimuth(&AZIMUTH_EVEN);
        } else {
            azimuth(azimuth_graded());
        }
        let (u, v0, v1) = (s / p.len, j0, (j1 + z * j0) / q.len);
        for (m, x) in m.iter_mut().zip([v0, u * v0, v1, u * v1]) {
            m.re += w * x;
        }
    };
    let mut hi = p.len;
    while hi > 0.7 * a {
        let lo = 0.25 * hi;
        for (u, w) in G4 {
            add(lo + (hi - lo) * u, (hi - lo) * w);
        }
        hi = lo;
    }
    for (t, w) in G4 {
        add(hi * t * t, w * 2.0 * hi * t);
    }
    // what is left of the Green function, smooth
    for (u, wu) in G4 {
        for (v, wv) in G4 {
            let (s, t) = (u * p.len, v * q.len);
            let r2 = s * s + t * t - 2.0 * s * t * cos + a1 * a1 + a2 * a2;
            let r = r2.sqrt();
            let mut g = rest(r, k);
            // -k^2 R/2 by the mean of R, not its rms: sqrt(1 - e cos phi) averaged to e^4
            let e2 = (2.0 * a1 * a2 / r2).powi(2);
            g.re += 0.5 * k * k * r * e2 * (1.0 / 16.0 + 15.0 / 1024.0 * e2);
            g *= wu * wv * p.len * q.len;
            m[0] += g;
            m[1] += g * u;
            m[2] += g * v;
            m[3] += g * (u * v);
        }
    }
    if i == 1 {
        m = flip_first(m);
    }
    if j == 1 {
        m = flip_second(m);
    }
    m
}
