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
///
/// Where the noise falls at the end of the passband no shape is assumed: curves of every order up to the fifth count by
/// Akaike's criterion (H. Akaike, IEEE Trans. AC-19, 1974), and what they differ by is part of the uncertainty.
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
        max_order: match (two_sided, v.falling) {
            (true, true) => HIGHEST_ORDER,
            (true, false) => 2,
            (false, _) => 1,
        },
        centre_hz: f,
        scale_hz: 0.5 * span,
        // A receiver's slope over such a narrow band: within half a decibel over its half width.
        priors: vec![(1, 0.0, if v.falling && two_sided { 1.0 } else { 0.12 })],
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
        let u_rise = (c_n0 * (cut + wander)).max(1e-4);
        let orders = if v.falling && two_sided {
            1..=HIGHEST_ORDER
        } else {
            order..=order
        };
        let curves: Vec<Curve> = orders
            .filter_map(|order| curve(&c, &floor.quiet, &rule, order, &skirt, rise, u_rise))
            .collect();
        let (ln_n0, variance, new_rise) = averaged(&curves)?;
        rise = new_rise.max(0.0);
        let quiet = floor.quiet.iter().filter(|q| **q).count() as f64;
        best = Some(Noise {
            n0: ln_n0.exp(),
            relative_variance: variance,
            order,
            band_hz: quiet * width,
        });
    }
    best
}

/// Highest order of a curve where the noise falls.
const HIGHEST_ORDER: usize = 5;

/// One curve through the quiet cells with the beacon's skirt on it.
struct Curve {
    /// Logarithm of the density at the beacon and its variance.
    ln_n0: f64,
    variance: f64,
    /// The skirt at its nearest, over the density.
    rise: f64,
    /// Akaike's criterion.
    criterion: f64,
}

/// The logarithm is taken about the skirt `rise` found before.
fn curve(
    c: &Cells,
    quiet: &[bool],
    rule: &FloorRule,
    order: usize,
    skirt: &[f64],
    rise: f64,
    u_rise: f64,
) -> Option<Curve> {
    let mut priors = rule.priors.clone();
    priors.push((order + 1, 0.0, u_rise));
    let rows: Vec<(Vec<f64>, f64, f64)> = (0..c.len())
        .filter(|&i| quiet[i])
        .map(|i| {
            let t = (c.f[i] - rule.centre_hz) / rule.scale_hz;
            let slope = skirt[i] / (1.0 + rise * skirt[i]);
            let mut row: Vec<f64> = (0..=order).map(|k| t.powi(k as i32)).collect();
            row.push(slope);
            (row, c.y[i] + rise * slope, c.sigma[i].powi(-2))
        })
        .collect();
    let (found, covariance) = columns(order + 2, rows.iter().cloned(), &priors)?;
    let chi2: f64 = rows
        .iter()
        .map(|(row, y, w)| {
            let fit: f64 = row.iter().zip(&found).map(|(r, p)| r * p).sum();
            w * (y - fit).powi(2)
        })
        .sum();
    Some(Curve {
        ln_n0: found.first().copied()?,
        variance: covariance.first().and_then(|r| r.first()).copied()?,
        rise: found.last().copied()?,
        criterion: chi2 + 2.0 * order as f64,
    })
}

/// Mean of the curves by their criterion: logarithm of the density, its variance, the skirt.
fn averaged(curves: &[Curve]) -> Option<(f64, f64, f64)> {
    let best = curves
        .iter()
        .map(|c| c.criterion)
        .fold(f64::INFINITY, f64::min);
    let weight = |c: &Curve| (0.5 * (best - c.criterion)).exp();
    let total: f64 = curves.iter().map(weight).sum();
    let mean = |value: &dyn Fn(&Curve) -> f64| -> f64 {
        curves.iter().map(|c| weight(c) * value(c)).sum::<f64>() / total
    };
    let ln_n0 = mean(&|c| c.ln_n0);
    (total > 0.0).then(|| {
        (
            ln_n0,
            mean(&|c| c.variance + (c.ln_n0 - ln_n0).powi(2)),
            mean(&|c| c.rise),
        )
    })
}
