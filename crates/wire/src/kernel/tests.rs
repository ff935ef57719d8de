use super::tube::ring_means;
use super::*;
use crate::mesh::Segment;
use std::f64::consts::PI;

const K: f64 = 2.0 * PI;

fn ring_kernel(d: f64, a: f64) -> Complex64 {
    let (inverse, mean) = ring_means(d, a);
    let rms = (d * d + 2.0 * a * a).sqrt();
    rest(rms, K) + inverse + 0.5 * K * K * (rms - mean)
}

/// Moments of two collinear pieces by brute force: midpoints, `n` on each.
fn slow(p: &Segment, q: &Segment, n: usize) -> Moments {
    let mut m = [Complex64::default(); 4];
    for i in 0..n {
        let u = (i as f64 + 0.5) / n as f64;
        for j in 0..n {
            // a coinciding pair stands for its cell and the midpoint errors of its neighbours: ln h - 3/2 - 0.28
            let v = (j as f64 + 0.5) / n as f64;
            let d = norm(sub(p.point(u), q.point(v)));
            let g = ring_kernel(d.max(0.168 * p.len / n as f64), p.radius);
            for (m, w) in m.iter_mut().zip([1.0, u, v, u * v]) {
                *m += g * (w * p.len * q.len / (n * n) as f64);
            }
        }
    }
    m
}

fn worst(a: Moments, b: Moments) -> f64 {
    a.iter()
        .zip(b)
        .map(|(x, y)| (x - y).norm())
        .fold(0.0, f64::max)
        / b[0].norm()
}

/// `<1/R>` and `<R>` on a circle by a fine midpoint rule, and the tabled K(m = 1/2) = 1.854 074 677 (Abramowitz & Stegun
/// table 17.1).
#[test]
fn ring_means_are_elliptic_integrals() {
    let a = 0.02;
    for d in [0.004, 0.02, 0.1, 1.0] {
        let n = 20_000;
        let (mut inverse, mut mean) = (0.0, 0.0);
        for i in 0..n {
            let s = (PI * (i as f64 + 0.5) / n as f64 * 0.5).sin();
            let r = (d * d + 4.0 * a * a * s * s).sqrt();
            inverse += 1.0 / (r * n as f64);
            mean += r / n as f64;
        }
        let (x, y) = ring_means(d, a);
        assert!(
            (x / inverse - 1.0).abs() < 1e-9 && (y / mean - 1.0).abs() < 1e-9,
            "{d}"
        );
    }
    // m = 4a^2/(d^2 + 4a^2) = 1/2 at d = 2a
    let (inverse, _) = ring_means(2.0 * a, a);
    let k = inverse * PI / 2.0 * (8.0 * a * a).sqrt();
    assert!((k - 1.854_074_677).abs() < 1e-9, "{k}");
}

#[test]
fn fast_moments_equal_brute_force() {
    for (len, a, within) in [
        (0.05, 0.001, 3e-4),
        (0.05, 0.01, 5e-4),
        (0.05, 0.03, 1e-3),
        (0.04, 0.035, 1e-3),
    ] {
        let at = |x: f64, l: f64| Segment::new([0.0, 0.0, x], [0.0, 0.0, x + l], a);
        let p = at(0.0, len);
        for (q, r) in [
            (p, Relation::Same),
            (at(len, len), Relation::Touching(1, 0)),
            (at(len, 1.7 * len), Relation::Touching(1, 0)),
            (at(-0.6 * len, 0.6 * len), Relation::Touching(0, 1)),
            (at(2.0 * len, len), Relation::Apart),
            (at(3.3 * len, 1.5 * len), Relation::Apart),
            (at(8.0 * len, len), Relation::Apart),
        ] {
            let e = worst(moments(&p, &q, r, K), slow(&p, &q, 500));
            assert!(e < within, "len {len} a {a} {r:?} at {}: {e}", q.mid[2]);
        }
    }
}

/// Fourier transform of the tube kernel along an infinite wire: `-j pi J0(qa) H0(2)(qa)`, `q^2 = k^2 - b^2`, from the addition
/// theorem (Abramowitz & Stegun 9.1.79; Harrington 1961, 5-9). This is the m = 0 term of the series of scattering by a
/// cylinder.
#[test]
fn tube_kernel_is_the_m0_cylinder_term() {
    for a in [0.005, 0.035, 0.06] {
        // attenuated beyond by beta > k: q = -j g, -j pi J0 H0(2) = 2 I0(ga) K0(ga)
        let beta = 1.5 * K;
        let g = (beta * beta - K * K).sqrt();
        let mut sum = 0.0;
        let mut hi = 30.0;
        // fine panels for the oscillation, geometric ones for the logarithm
        let mut panel = |lo: f64, hi: f64| {
            for (u, w) in G6 {
                let x = lo + (hi - lo) * u;
                sum += 2.0 * w * (hi - lo) * ring_kernel(x, a).re * (beta * x).cos();
            }
        };
        while hi > 0.05 {
            panel(hi - 0.05, hi);
            hi -= 0.05;
        }
        for _ in 0..40 {
            panel(0.5 * hi, hi);
            hi *= 0.5;
        }
        let (i0, k0) = modified_bessel(g * a);
        let exact = 2.0 * i0 * k0;
        assert!((sum / exact - 1.0).abs() < 3e-3, "a {a}: {sum} {exact}");
    }
}

/// I0 and K0 by their series (Abramowitz & Stegun 9.6.12, 9.6.13), small arguments.
fn modified_bessel(x: f64) -> (f64, f64) {
    let y = 0.25 * x * x;
    let (mut term, mut i0, mut sum, mut harmonic) = (1.0, 1.0, 0.0, 0.0);
    for n in 1..30 {
        let n = f64::from(n);
        term *= y / (n * n);
        harmonic += 1.0 / n;
        i0 += term;
        sum += term * harmonic;
    }
    (i0, -((0.5 * x).ln() + 0.577_215_664_901_532_9) * i0 + sum)
}

/// Source and observer exchanged, at any angle, thin and thick, near and far.
#[test]
fn exchange_of_sides_changes_nothing() {
    for a in [0.0005, 0.01, 0.02] {
        let p = Segment::new([0.0; 3], [0.05, 0.0, 0.0], a);
        for d in [[0.04, 0.03, 0.0], [-0.01, 0.045, 0.02], [0.0, 0.0, 0.05]] {
            let q = Segment::new([0.05, 0.0, 0.0], [0.05 + d[0], d[1], d[2]], a);
            let (x, y) = (
                moments(&p, &q, Relation::Touching(1, 0), K),
                exchange(moments(&q, &p, Relation::Touching(0, 1), K)),
            );
            assert!(worst(x, y) < 2e-3, "a {a} {d:?}: {}", worst(x, y));
            for off in [0.05, 0.1, 0.3] {
                let from = [0.03, off, 0.01];
                let q = Segment::new(from, crate::vector::add(from, d), a);
                let (x, y) = (
                    moments(&p, &q, Relation::Apart, K),
                    exchange(moments(&q, &p, Relation::Apart, K)),
                );
                // four filaments see each other's gaps at 2.5 radii
                let within = if off < 3.0 * a { 5e-3 } else { 1e-3 };
                assert!(
                    worst(x, y) < within,
                    "a {a} {d:?} off {off}: {}",
                    worst(x, y)
                );
            }
        }
    }
}
