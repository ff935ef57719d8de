//! The two-node far rule for one segment against a run of others, written so that the compiler works on several at once.
//!
//! The same formulas as [`super::far`]; `pulp` picks the processor's vector instructions at run time.

use super::{FAR, G2};
use crate::lanes::sin_cos;
use crate::mesh::Segment;
use num_complex::Complex64;
use slantpath_quantity::constants::ETA0_OHM;
use std::f64::consts::PI;
use std::ops::Range;

/// Segments treated at once.
pub(crate) const WIDTH: usize = 64;

/// Segments as columns of numbers.
#[derive(Debug, Default)]
pub(crate) struct Columns {
    /// Middle, tangent: three columns each.
    mid: [Vec<f64>; 3],
    t: [Vec<f64>; 3],
    len: Vec<f64>,
    radius: Vec<f64>,
}

impl Columns {
    pub fn new(segments: &[Segment]) -> Self {
        let column = |f: &dyn Fn(&Segment) -> f64| segments.iter().map(f).collect::<Vec<_>>();
        Self {
            mid: std::array::from_fn(|i| column(&|s| s.mid[i])),
            t: std::array::from_fn(|i| column(&|s| s.t[i])),
            len: column(&|s| s.len),
            radius: column(&|s| s.radius),
        }
    }
}

type Lane = [f64; WIDTH];

/// Ramp pairs `[e][f]` of one segment with a run of others, ohm.
#[derive(Debug)]
pub(crate) struct Ramps {
    re: [[Lane; 2]; 2],
    im: [[Lane; 2]; 2],
    /// Distance of the middles, less that from which the far rule holds.
    margin: Lane,
}

impl Default for Ramps {
    fn default() -> Self {
        Self {
            re: [[[0.0; WIDTH]; 2]; 2],
            im: [[[0.0; WIDTH]; 2]; 2],
            margin: [0.0; WIDTH],
        }
    }
}

impl Ramps {
    pub fn is_far(&self, i: usize) -> bool {
        self.margin[i] >= 0.0
    }
    pub fn get(&self, i: usize) -> [[Complex64; 2]; 2] {
        std::array::from_fn(|e| {
            std::array::from_fn(|f| Complex64::new(self.re[e][f][i], self.im[e][f][i]))
        })
    }
}

/// Fills `out` for segments `range` (at most [`WIDTH`]); entries whose margin is negative are not to be used.
pub(crate) fn ramps(p: &Segment, q: &Columns, range: Range<usize>, k: f64, out: &mut Ramps) {
    pulp::Arch::new().dispatch(|| lanes(p, q, range, k, out));
}

#[inline(always)]
fn lanes(p: &Segment, q: &Columns, range: Range<usize>, k: f64, out: &mut Ramps) {
    let n = range.len().min(WIDTH);
    // padded to the full width, so that every loop below has a fixed length
    let take = |from: &[f64], pad: f64| {
        let mut lane = [pad; WIDTH];
        lane[..n].copy_from_slice(&from[range.start..range.start + n]);
        lane
    };
    let t: [Lane; 3] = std::array::from_fn(|c| take(&q.t[c], 0.0));
    let (len, radius) = (take(&q.len, 1.0), take(&q.radius, 0.0));
    // from the middle of p to that of q
    let mut d: [Lane; 3] = std::array::from_fn(|c| take(&q.mid[c], 1.0 + p.mid[c].abs()));
    for (lane, mid) in d.iter_mut().zip(p.mid) {
        lane.iter_mut().for_each(|x| *x -= mid);
    }
    let offset = 0.5 - G2[0].0;
    // Green function at the four node pairs (u, v) = 00, 01, 10, 11
    let mut g = [[[0.0; WIDTH]; 2]; 4];
    for (pair, g) in g.iter_mut().enumerate() {
        let (su, sv) = (
            if pair < 2 { -1.0 } else { 1.0 },
            if pair % 2 == 0 { -1.0 } else { 1.0 },
        );
        let shift: [f64; 3] = std::array::from_fn(|c| su * offset * p.len * p.t[c]);
        let [re, im] = g;
        for i in 0..WIDTH {
            let along = sv * offset * len[i];
            let x = d[0][i] + along * t[0][i] - shift[0];
            let y = d[1][i] + along * t[1][i] - shift[1];
            let z = d[2][i] + along * t[2][i] - shift[2];
            let r = (x * x + y * y + z * z).sqrt();
            let (s, c) = sin_cos(k * r);
            let w = 0.25 / r;
            re[i] = c * w;
            im[i] = -s * w;
        }
    }
    let (lo, hi) = (G2[0].0, G2[1].0);
    // value of ramp e (0 falls, 1 rises) at node 0 and 1
    let ramp = [[hi, lo], [lo, hi]];
    let w_p = 0.25 * p.radius * p.radius;
    let front = ETA0_OHM * k / (4.0 * PI);
    let mut factor = [[0.0; WIDTH]; 2];
    let mut cos = [0.0; WIDTH];
    let mut charge = [0.0; WIDTH];
    for i in 0..WIDTH {
        let r2 = d[0][i] * d[0][i] + d[1][i] * d[1][i] + d[2][i] * d[2][i];
        let r = r2.sqrt();
        let cp = d[0][i] * p.t[0] + d[1][i] * p.t[1] + d[2][i] * p.t[2];
        let cq = d[0][i] * t[0][i] + d[1][i] * t[1][i] + d[2][i] * t[2][i];
        let (c2p, c2q) = (cp * cp / r2, cq * cq / r2);
        let w_q = 0.25 * radius[i] * radius[i];
        let twist = w_p * (3.0 * c2p - 1.0) + w_q * (3.0 * c2q - 1.0);
        let across = w_p * (1.0 - c2p) + w_q * (1.0 - c2q);
        let size = p.len * len[i];
        factor[0][i] = front * size * (1.0 - k * k * across - twist / r2);
        factor[1][i] = -front * size * twist * k / r;
        cos[i] = p.t[0] * t[0][i] + p.t[1] * t[1][i] + p.t[2] * t[2][i];
        charge[i] = 1.0 / (k * k * size);
        let longer = if len[i] > p.len { len[i] } else { p.len };
        let thicker = if radius[i] > p.radius {
            radius[i]
        } else {
            p.radius
        };
        let (a, b) = (FAR * longer, 0.5 * (p.len + len[i]) + 10.0 * thicker);
        out.margin[i] = r - if a > b { a } else { b };
    }
    for e in 0..2 {
        for f in 0..2 {
            let w: [f64; 4] = std::array::from_fn(|n| ramp[e][n / 2] * ramp[f][n % 2]);
            let sign = if e == f { 1.0 } else { -1.0 };
            let (re, im) = (&mut out.re[e][f], &mut out.im[e][f]);
            for i in 0..WIDTH {
                let slope = sign * charge[i];
                let mut part = [0.0; 2];
                for c in 0..2 {
                    let all = g[0][c][i] + g[1][c][i] + g[2][c][i] + g[3][c][i];
                    let ramps = w[0] * g[0][c][i]
                        + w[1] * g[1][c][i]
                        + w[2] * g[2][c][i]
                        + w[3] * g[3][c][i];
                    part[c] = ramps * cos[i] - slope * all;
                }
                // j times factor times part
                re[i] = -(factor[0][i] * part[1] + factor[1][i] * part[0]);
                im[i] = factor[0][i] * part[0] - factor[1][i] * part[1];
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernel::far;
    use crate::vector::dot;

    /// The same as the plain far rule, for segments in all directions.
    #[test]
    fn runs_equal_single_pairs() {
        let k = 7.0;
        let p = Segment::new([0.1, -0.2, 0.05], [0.13, -0.18, 0.06], 0.004);
        let others: Vec<_> = (0..37)
            .map(|i| {
                let (s, c) = (f64::from(i) * 0.7).sin_cos();
                let a = [0.5 * c, 0.6 * s + 0.1, 0.02 * f64::from(i)];
                Segment::new(
                    a,
                    [a[0] + 0.02 * s, a[1] - 0.03 * c, a[2] + 0.01],
                    0.001 + 1e-4 * f64::from(i),
                )
            })
            .collect();
        let columns = Columns::new(&others);
        let mut out = Ramps::default();
        ramps(&p, &columns, 0..others.len(), k, &mut out);
        for (i, q) in others.iter().enumerate() {
            assert!(out.is_far(i));
            let [m00, m10, m01, m11] = far::gauss2(&p, q, k);
            let rising = Complex64::new(0.0, ETA0_OHM * k / (4.0 * PI))
                * (m11 * dot(p.t, q.t) - m00 / (k * k * p.len * q.len));
            let mixed = Complex64::new(0.0, ETA0_OHM * k / (4.0 * PI))
                * ((m01 - m11) * dot(p.t, q.t) + m00 / (k * k * p.len * q.len));
            let z = out.get(i);
            assert!((z[1][1] - rising).norm() < 1e-11 * rising.norm(), "{i}");
            assert!((z[0][1] - mixed).norm() < 1e-11 * mixed.norm(), "{i}");
            let _ = m10;
        }
    }
}
