//! The noise density at a beacon's own frequency, from the quiet spectrum on both sides of it.

use super::View;
use crate::floor::{Cells, FloorRule, find_floor};
use slantpath_signal::Block;

/// Noise beside a beacon.
pub(super) struct Noise {
    pub n0: f64,
    pub relative_variance: f64,
    pub order: usize,
    pub band_hz: f64,
}

/// Fits a curve through the quiet cells beside the beacon and reads it at the beacon.
///
/// A straight line is fitted in the logarithm of the density (a curve when chi-square asks for one): the receiver's
/// slope and the transponder's tilt act on beacon and noise alike and drop out where the two are read at one place.
pub(super) fn noise_beside(b: &Block, f: f64, half: f64, v: &View) -> Option<Noise> {
    let df = b.bin_hz();
    let bins = ((80.0 / df).ceil() as i64).max(24);
    let width = bins as f64 * df;
    let mut c = Cells {
        inflation: 1.0,
        ..Cells::default()
    };
    // Room for the beacon's own skirts: phase noise, keying.
    let gap = half + 0.15 * half + 60.0;
    let mut side = |lo: f64, hi: f64| {
        let (mut a, end) = (b.nearest(lo), b.nearest(hi));
        while a + bins <= end {
            let mean = (a..a + bins).map(|k| b.density(k)).sum::<f64>() / bins as f64;
            let mid = (a as f64 + 0.5 * (bins - 1) as f64) * df;
            if mean > 0.0 {
                c.f.push(mid);
                c.y.push(mean.ln() + 0.5 / bins as f64);
                c.sigma.push((1.0 / bins as f64).sqrt());
                c.barred.push((mid - v.dc_hz).abs() < 0.5 * width + 20.0);
            }
            a += bins;
        }
    };
    side(v.noise_lo_hz, f - gap);
    side(f + gap, v.noise_hi_hz);
    let span = (v.noise_hi_hz - v.noise_lo_hz).max(1.0);
    let two_sided = c.f.iter().any(|x| *x < f) && c.f.iter().any(|x| *x > f);
    let rule = FloorRule {
        // With noise on one side alone a curve could not be told from a level.
        min_order: 1,
        widest_hz: 3_000.0,
        max_order: if two_sided { 2 } else { 1 },
        centre_hz: f,
        scale_hz: 0.5 * span,
        // A receiver's slope over such a narrow band: within half a decibel over its half width.
        priors: vec![(1, 0.0, 0.12)],
        tolerance: 0.01,
    };
    let floor = find_floor(&c, &rule)?;
    let quiet = floor.quiet.iter().filter(|q| **q).count() as f64;
    Some(Noise {
        n0: floor.density(f),
        relative_variance: floor.poly.variance_at(f),
        order: floor.poly.coefficients.len() - 1,
        band_hz: quiet * width,
    })
}
