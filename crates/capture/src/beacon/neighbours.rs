//! The noise density at a beacon's own frequency, from the quiet spectrum on both sides of it.

use super::View;
use crate::floor::{Cells, FloorRule, find_floor};
use slantpath_signal::Block;
use slantpath_signal::fit::columns;
use std::f64::consts::PI;

/// Noise beside a beacon.
pub(super) struct Noise {
    pub n0: f64,
    pub relative_variance: f64,
    pub order: usize,
    pub band_hz: f64,
}

/// Phase noise of a poor oscillator at 100 Hz over its carrier, per hertz (-58 dBc/Hz; common practice, no source).
const POOR_OSCILLATOR: f64 = 1.6e-6;

/// Fits a curve through the quiet cells beside the beacon and reads it at the beacon.
///
/// A straight line is fitted in the logarithm of the density (a curve when chi-square asks for one): the receiver's
/// slope and the transponder's tilt act on beacon and noise alike and drop out where the two are read at one place.
///
/// The beacon's own skirt is fitted with them. It falls with the square of the distance, both where the stretch's sharp
/// ends cut the carrier and where its phase walks at random, and in stretches of a second or two it would lift the mean
/// density by as much as averaging leaves uncertain. What it may be follows from the beacon's power: a carrier cut
/// anywhere in its turn has `C / (pi^2 T d^2)` at most at the distance d.
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
    let skirt: Vec<f64> = c.f.iter().map(|x| (gap / (x - f)).powi(2)).collect();
    let plain = c.y.clone();
    let mut best = None;
    let mut rise = 0.0;
    for _ in 0..3 {
        for ((y, own), s) in c.y.iter_mut().zip(&plain).zip(&skirt) {
            *y = own - f64::ln_1p(rise * s);
        }
        let floor = find_floor(&c, &rule)?;
        let order = floor.poly.coefficients.len() - 1;
        let (energy, band) = b.power(f - half, f + half);
        let c_n0 = (energy / floor.density(f) - band).max(0.0);
        let cut = 1.0 / (PI * PI * b.duration_s() * gap * gap);
        let wander = POOR_OSCILLATOR * (100.0 / gap).powi(2);
        let mut priors = rule.priors.clone();
        priors.push((order + 1, 0.0, (c_n0 * (cut + wander)).max(1e-4)));
        // The logarithm about the skirt found before.
        let rows = (0..c.len()).filter(|&i| floor.quiet[i]).map(|i| {
            let t = (c.f[i] - rule.centre_hz) / rule.scale_hz;
            let slope = skirt[i] / (1.0 + rise * skirt[i]);
            let mut row: Vec<f64> = (0..=order).map(|k| t.powi(k as i32)).collect();
            row.push(slope);
            (row, c.y[i] + rise * slope, c.sigma[i].powi(-2))
        });
        let (found, covariance) = columns(order + 2, rows, &priors)?;
        rise = found.last().copied().unwrap_or(0.0).max(0.0);
        let n0 = found.first().copied()?.exp();
        let variance = covariance.first().and_then(|r| r.first()).copied()?;
        let quiet = floor.quiet.iter().filter(|q| **q).count() as f64;
        best = Some(Noise {
            n0,
            relative_variance: variance,
            order,
            band_hz: quiet * width,
        });
    }
    best
}
