//! Far field of segment currents.

use crate::error::WireError;
use crate::mesh::{Mesh, Segment};
use crate::vector::{V3, dot, mirror, scale};
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

/// `int I(s) exp(jk r.n) ds` over one segment for a linear current, times the ring factor `J0(ka sin psi)`.
fn segment(s: &Segment, [i0, i1]: [Complex64; 2], n: V3, k: f64) -> Complex64 {
    let c = dot(s.t, n);
    let x = 0.5 * k * s.len * c;
    let x2 = x * x;
    // sinc x and (sin x - x cos x)/x^2; series to x^6, segments being short
    let even = 1.0 - x2 / 6.0 * (1.0 - x2 / 20.0 * (1.0 - x2 / 42.0));
    let odd = x / 3.0 * (1.0 - x2 / 10.0 * (1.0 - x2 / 28.0));
    let y2 = (0.5 * k * s.radius).powi(2) * (1.0 - c * c);
    let ring = 1.0 - y2 * (1.0 - 0.25 * y2);
    let (sin, cos) = (k * dot(s.mid, n)).sin_cos();
    let mean = (i0 + i1) * 0.5;
    let slope = (i1 - i0) * 0.5;
    let sum = mean * even + Complex64::new(-slope.im, slope.re) * odd;
    sum * Complex64::new(cos, sin) * (s.len * ring)
}

/// `r E exp(jkr)` in a direction, V; phases from the origin of the structure's coordinates.
pub(crate) fn field(mesh: &Mesh, currents: &[[Complex64; 2]], theta: f64, phi: f64) -> Field {
    let k = 2.0 * PI / mesh.lambda;
    if mesh.plane && theta > 0.5 * PI + 1e-12 {
        return Field::default();
    }
    let (n, t, p) = unit_vectors(theta, phi);
    let mut out = Field::default();
    for (s, &i) in mesh.segments.iter().zip(currents) {
        let w = segment(s, i, n, k);
        out.theta += w * dot(s.t, t);
        out.phi += w * dot(s.t, p);
        if mesh.plane {
            // the image: mirrored place, current against the mirrored tangent
            let w = segment(&s.mirrored(), i, n, k);
            let d = scale(mirror(s.t), -1.0);
            out.theta += w * dot(d, t);
            out.phi += w * dot(d, p);
        }
    }
    let front = Complex64::new(0.0, -ETA0_OHM * k / (4.0 * PI));
    Field {
        theta: out.theta * front,
        phi: out.phi * front,
    }
}

/// Radiated power, W (peak phasors): Gauss in cos theta, trapezoid in phi, with enough nodes for the structure's size.
pub(crate) fn power(mesh: &Mesh, currents: &[[Complex64; 2]], parallel: bool) -> f64 {
    let k = 2.0 * PI / mesh.lambda;
    let centre = centre(mesh);
    let size = mesh
        .segments
        .iter()
        .map(|s| k * (crate::vector::norm(crate::vector::sub(s.mid, centre)) + 0.5 * s.len))
        .fold(0.0, f64::max);
    // intensity has harmonics up to about 2 (kr + some)
    let nt = (size.ceil() as usize + 8).min(400);
    let np = 2 * nt;
    let lo = if mesh.plane { 0.0 } else { -1.0 };
    let row = |(c, w): (f64, f64)| {
        let theta = c.clamp(-1.0, 1.0).acos();
        let ring: f64 = (0..np)
            .map(|j| field(mesh, currents, theta, 2.0 * PI * j as f64 / np as f64).intensity())
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

/// Pattern on a regular grid of `nt` by `np` directions.
pub(crate) fn grid(
    mesh: &Mesh,
    currents: &[[Complex64; 2]],
    nt: usize,
    np: usize,
    parallel: bool,
) -> Result<GridPattern, WireError> {
    let at = |n: usize| {
        let (i, j) = (n / np.max(1), n % np.max(1));
        let theta = PI * i as f64 / (nt.max(2) - 1) as f64;
        field(mesh, currents, theta, 2.0 * PI * j as f64 / np as f64)
    };
    let fields: Vec<Field> = if parallel {
        (0..nt * np).into_par_iter().map(at).collect()
    } else {
        (0..nt * np).map(at).collect()
    };
    Ok(GridPattern::new(nt, np, &fields)?)
}
