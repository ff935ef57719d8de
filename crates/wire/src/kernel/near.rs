//! Segments close together that share no node.

use super::{G4, G6, Moments, exchange, line, rest};
use crate::mesh::Segment;
use crate::vector::{V3, add, dot, gap, scale, sub};
use num_complex::Complex64;
use std::f64::consts::PI;

/// Four filaments on each surface (eight within three radii), the second set turned by half a step so that no two coincide;
/// axes alone from ten radii on.
pub(crate) fn between(p: &Segment, q: &Segment, k: f64) -> Moments {
    if p.len > q.len {
        return exchange(between(q, p, k));
    }
    let (a1, a2) = (p.radius, q.radius);
    let distance = gap(p.a, p.b(), q.a, q.b()).0;
    let one = distance > 10.0 * a1.max(a2);
    let mut m = [Complex64::default(); 4];
    let mut filament = |shift1: V3, shift2: V3, weight: f64| {
        let from = add(q.a, shift2);
        let mut node = |u: f64, w: f64| {
            let d = sub(add(p.point(u), shift1), from);
            let z = dot(d, q.t);
            let b2 = (dot(d, d) - z * z).max(1e-4 * a2 * a2);
            let (j0, j1) = line(q.len, z, b2);
            let (v0, v1) = (j0, (j1 + z * j0) / q.len);
            let w = w * weight * p.len;
            for (m, x) in m.iter_mut().zip([v0, u * v0, v1, u * v1]) {
                m.re += w * x;
            }
        };
        if distance < 0.5 * p.len {
            // steep towards the near end, wherever it is
            for (u, w) in G6 {
                node(0.5 * u, 0.5 * w);
                node(0.5 + 0.5 * u, 0.5 * w);
            }
        } else {
            G4.iter().for_each(|&(u, w)| node(u, w));
        }
    };
    if one {
        filament([0.0; 3], [0.0; 3], super::far::radii(p, q, k).re);
    } else {
        // more of them where the surfaces see each other's curvature
        let n = if distance < 3.0 * a1.max(a2) { 8 } else { 4 };
        let ring = |across: [V3; 2], a: f64, turn: f64| {
            let (s, c) = (2.0 * PI * turn / n as f64).sin_cos();
            scale(add(scale(across[0], c), scale(across[1], s)), a)
        };
        for i in 0..n {
            for j in 0..n {
                let (first, second) = (
                    ring(p.across, a1, i as f64),
                    ring(q.across, a2, j as f64 + 0.5),
                );
                filament(first, second, 1.0 / (n * n) as f64);
            }
        }
    }
    for (u, wu) in G4 {
        let at = p.point(u);
        for (v, wv) in G4 {
            let d = sub(at, q.point(v));
            let g = mean_rest(d, p, q, k) * (wu * wv * p.len * q.len);
            m[0] += g;
            m[1] += g * u;
            m[2] += g * v;
            m[3] += g * (u * v);
        }
    }
    m
}

/// Mean of `(exp(-jkR) - 1)/R` over both circles: at the rms distance while that is small, by the second-order expansion of
/// [`super::far`] less its static part beyond.
fn mean_rest(d: V3, p: &Segment, q: &Segment, k: f64) -> Complex64 {
    let r2 = dot(d, d);
    let extra = p.radius * p.radius + q.radius * q.radius;
    if r2 < 12.0 * extra {
        return rest((r2 + extra).sqrt(), k);
    }
    let r = r2.sqrt();
    let mut sum = rest(r, k);
    // exp(-jkR)
    let wave = sum * r + 1.0;
    for s in [p, q] {
        let c2 = dot(d, s.t).powi(2) / r2;
        let w = 0.25 * s.radius * s.radius;
        let (across, twist) = (w * k * k * (1.0 - c2) / r, w * (3.0 * c2 - 1.0) / r2);
        // G [k^2 (1 - c^2) + (3c^2 - 1)(jk/R + 1/R^2)] less (3c^2 - 1)/R^3
        sum -= wave * across + (Complex64::new(0.0, k) * wave + rest(r, k)) * twist;
    }
    sum
}
