//! The impedance matrix.
//!
//! Every pair of segments is integrated once (four moments) and shared among the up to four pairs of halves on it; pairs
//! `p < q` only, since the matrix is its own transpose.

use crate::kernel::batch::{self, Columns, Ramps};
use crate::kernel::{Moments, Relation, moments, relation};
use crate::mesh::{Mesh, Segment};
use crate::vector::dot;
use faer::Mat;
use num_complex::Complex64;
use rayon::prelude::*;
use slantpath_quantity::constants::ETA0_OHM;
use std::f64::consts::PI;

/// Segments whose strips are held at once, for bounded memory.
const BATCH: usize = 128;
/// Below this many unknowns everything runs on the caller's thread: cases in parallel, not one case.
pub(crate) const PARALLEL_FROM: usize = 500;

/// Contribution of the pair `p`, `q` between ramps on end `e` of `p` and end `f` of `q`, without signs; ohm.
fn pair_ohm(p: &Segment, q: &Segment, m: Moments, k: f64) -> [[Complex64; 2]; 2] {
    let [m00, m10, m01, m11] = m;
    // ramps: end 0 is 1 - u, end 1 is u
    let ramps = [[m00 - m10 - m01 + m11, m01 - m11], [m10 - m11, m11]];
    let charge = m00 * (1.0 / (k * k * p.len * q.len));
    let cos = dot(p.t, q.t);
    let front = Complex64::new(0.0, ETA0_OHM * k / (4.0 * PI));
    std::array::from_fn(|e| {
        std::array::from_fn(|f| {
            let slope = if e == f { charge } else { -charge };
            front * (ramps[e][f] * cos - slope)
        })
    })
}

/// Ramps of a pair, one being the other's neighbour, itself or anything.
fn direct(mesh: &Mesh, i: usize, j: usize, k: f64) -> [[Complex64; 2]; 2] {
    let (p, q) = (&mesh.segments[i], &mesh.segments[j]);
    pair_ohm(p, q, moments(p, q, relation(p, q, i == j), k), k)
}

/// Ramps of a segment and the image of another in the plane (current and charge reversed, so to be subtracted).
fn image(mesh: &Mesh, i: usize, j: usize, k: f64) -> [[Complex64; 2]; 2] {
    let (p, q) = (&mesh.segments[i], &mesh.segments[j]);
    let mirrored = q.mirrored();
    let on_plane = |end: usize| mesh.on_plane(q.nodes[end]);
    let relation = match relation(p, q, false) {
        Relation::Touching(a, b) if i != j && on_plane(b) => Relation::Touching(a, b),
        _ => match (0..2).find(|&e| i == j && on_plane(e)) {
            Some(e) => Relation::Touching(e, e),
            None => Relation::Apart,
        },
    };
    pair_ohm(p, &mirrored, moments(p, &mirrored, relation, k), k)
}

/// Both the direct pair and, over the plane, the image of `j`.
pub(crate) fn block(mesh: &Mesh, i: usize, j: usize, k: f64) -> [[Complex64; 2]; 2] {
    let mut z = direct(mesh, i, j, k);
    if mesh.plane {
        let w = image(mesh, i, j, k);
        for e in 0..2 {
            for f in 0..2 {
                z[e][f] -= w[e][f];
            }
        }
    }
    z
}

/// Rows of one segment's two ramps against every function, from pairs with later segments and half of the pair with itself.
///
/// Runs of distant segments go through [`batch`]; the few near ones are done again one by one.
fn strip(mesh: &Mesh, columns: &Columns, i: usize, k: f64, out: &mut [Vec<Complex64>; 2]) {
    for row in out.iter_mut() {
        row.clear();
        row.resize(mesh.unknowns(), Complex64::default());
    }
    let p = &mesh.segments[i];
    let mirrored = p.mirrored();
    let mut far = Ramps::default();
    let mut far_image = Ramps::default();
    for from in (i..mesh.segments.len()).step_by(batch::WIDTH) {
        let to = (from + batch::WIDTH).min(mesh.segments.len());
        batch::ramps(p, columns, from..to, k, &mut far);
        if mesh.plane {
            batch::ramps(&mirrored, columns, from..to, k, &mut far_image);
        }
        for j in from..to {
            let mut z = if far.is_far(j - from) {
                far.get(j - from)
            } else {
                direct(mesh, i, j, k)
            };
            if mesh.plane {
                let w = if far_image.is_far(j - from) {
                    far_image.get(j - from)
                } else {
                    image(mesh, i, j, k)
                };
                for e in 0..2 {
                    for f in 0..2 {
                        z[e][f] -= w[e][f];
                    }
                }
            }
            let share = if i == j { 0.5 } else { 1.0 };
            for h in mesh.halves_on(j) {
                for e in 0..2 {
                    out[e][h.basis] += z[e][h.end] * (h.sign * share);
                }
            }
        }
    }
}

/// The matrix of a mesh without loads, ohm.
pub(crate) fn matrix(mesh: &Mesh) -> Mat<Complex64> {
    let n = mesh.unknowns();
    let k = 2.0 * PI / mesh.lambda;
    let mut z = Mat::<Complex64>::zeros(n, n);
    let count = mesh.segments.len();
    let columns = Columns::new(&mesh.segments);
    // lowest function on this segment or a later one: a strip is nought before it
    let mut lowest = vec![n; count + 1];
    for p in (0..count).rev() {
        let here = mesh.halves_on(p).iter().map(|h| h.basis).min();
        lowest[p] = here.unwrap_or(n).min(lowest[p + 1]);
    }
    let mut strips: Vec<[Vec<Complex64>; 2]> = vec![[Vec::new(), Vec::new()]; BATCH.min(count)];
    for start in (0..count).step_by(BATCH) {
        let end = (start + BATCH).min(count);
        let batch = &mut strips[..end - start];
        if n >= PARALLEL_FROM {
            batch
                .par_iter_mut()
                .enumerate()
                .for_each(|(d, s)| strip(mesh, &columns, start + d, k, s));
        } else {
            for (d, s) in batch.iter_mut().enumerate() {
                strip(mesh, &columns, start + d, k, s);
            }
        }
        // Column m of the half-sum: contiguous, and the transpose is added below.
        let add = |m: usize, column: &mut [Complex64]| {
            for h in mesh.of_basis[m].iter().map(|&h| &mesh.halves[h]) {
                if (start..end).contains(&h.segment) {
                    let strip = &batch[h.segment - start][h.end];
                    let from = lowest[h.segment];
                    for (x, y) in column.iter_mut().zip(strip).skip(from) {
                        *x += y * h.sign;
                    }
                }
            }
        };
        if n >= PARALLEL_FROM {
            z.par_col_iter_mut().enumerate().for_each(|(m, c)| {
                if let Some(c) = c.try_as_col_major_mut() {
                    add(m, c.as_slice_mut());
                }
            });
        } else {
            (0..n).for_each(|m| add(m, z.col_as_slice_mut(m)));
        }
    }
    add_transpose(&mut z);
    add_surface_loss(mesh, &mut z, k);
    z
}

/// `Z = U + U^T` in place, by tiles that stay in the cache.
fn add_transpose(z: &mut Mat<Complex64>) {
    const TILE: usize = 32;
    let n = z.ncols();
    for jb in (0..n).step_by(TILE) {
        for ib in (0..=jb).step_by(TILE) {
            for j in jb..(jb + TILE).min(n) {
                for i in ib..(ib + TILE).min(j + 1) {
                    let sum = z[(i, j)] + z[(j, i)];
                    z[(i, j)] = sum;
                    z[(j, i)] = sum;
                }
            }
        }
    }
}

/// Series impedance of finite conductivity, per metre.
///
/// Skin effect in a round wire (S. A. Schelkunoff, 1934; from memory): `gamma/(2 pi a sigma) I0(gamma a)/I1(gamma a)` with
/// `gamma = (1 + j)/delta`, by the asymptotic `I0/I1 = 1 + 1/(2x) + 3/(8x^2)`, good to 0.5 % from `a = 2 delta`.
pub(crate) fn surface_ohm_per_m(radius: f64, sigma: f64, k: f64) -> Complex64 {
    let delta = (2.0 / (k * ETA0_OHM * sigma)).sqrt();
    let gamma = Complex64::new(1.0, 1.0) / delta;
    let x = gamma * radius;
    gamma / (2.0 * PI * radius * sigma) * (1.0 + 0.5 / x + 0.375 / (x * x))
}

fn add_surface_loss(mesh: &Mesh, z: &mut Mat<Complex64>, k: f64) {
    for (i, s) in mesh.segments.iter().enumerate() {
        let Some(sigma) = mesh.wires[s.wire].conductivity else {
            continue;
        };
        let zs = surface_ohm_per_m(s.radius, sigma, k) * s.len;
        for g in mesh.halves_on(i) {
            for h in mesh.halves_on(i) {
                let overlap = if g.end == h.end { 1.0 / 3.0 } else { 1.0 / 6.0 };
                z[(g.basis, h.basis)] += zs * (overlap * g.sign * h.sign);
            }
        }
    }
}
