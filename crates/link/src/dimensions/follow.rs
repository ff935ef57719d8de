//! A computed figure as a function of the coil's uncertain dimensions.

use super::best;
use crate::LinkError;
use crate::inputs::{Inputs, Slot};
use slantpath_quantity::{Contributor, Distribution};
use slantpath_station::checked::CoilFeed;

/// Change of a figure with one dimension: a parabola through three points.
#[derive(Debug, Clone, Copy)]
pub(super) struct Follows {
    slot: Slot,
    best: f64,
    /// Per unit, and per unit squared.
    slope: f64,
    curve: f64,
}

pub(super) fn moved(follows: &[Follows], x: &[f64]) -> f64 {
    follows
        .iter()
        .map(|p| {
            let d = p.slot.of(x) - p.best;
            d * (p.slope + p.curve * d)
        })
        .sum()
}

pub(super) fn around_zero(u: f64) -> Distribution {
    if u.abs() > 1e-6 {
        Distribution::Normal {
            mean: 0.0,
            u: u.abs(),
        }
    } else {
        Distribution::Exact(0.0)
    }
}

/// Parabolas of a figure in the coil's uncertain dimensions; and by how much it differs from their sum when all change by one
/// standard uncertainty together.
pub(super) fn follow(
    inputs: &mut Inputs,
    c: &CoilFeed,
    figure: impl Fn(&dyn Fn(&Contributor) -> f64) -> Result<f64, LinkError> + Sync,
    base: f64,
) -> Result<(Vec<Follows>, f64), LinkError> {
    use rayon::prelude::*;
    let uncertain: Vec<&Contributor> = c
        .contributors()
        .into_iter()
        .filter(|c| c.distribution.u() > 0.0)
        .collect();
    let sides: Vec<[Option<f64>; 2]> = uncertain
        .par_iter()
        .map(|c| {
            let h = c.distribution.u();
            [1.0, -1.0].map(|sign| {
                figure(&|k: &Contributor| best(k) + if k.id == c.id { sign * h } else { 0.0 }).ok()
            })
        })
        .collect();
    let mut together = 0.0;
    let mut out = Vec::with_capacity(uncertain.len());
    for (c, [up, down]) in uncertain.iter().zip(sides) {
        let h = c.distribution.u();
        // a dimension that cannot be built one way (thinner than nothing, thicker than the model) is followed the other
        let (up, down) = match (up, down) {
            (Some(u), Some(d)) => (u - base, d - base),
            (Some(u), None) => (u - base, base - u),
            (None, Some(d)) => (base - d, d - base),
            (None, None) => figure(&|k: &Contributor| best(k) + if k.id == c.id { h } else { 0.0 })
                .map(|u| (u - base, base - u))?,
        };
        together += up;
        out.push(Follows {
            slot: inputs.slot(c),
            best: best(c),
            slope: 0.5 * (up - down) / h,
            curve: 0.5 * (up + down) / (h * h),
        });
    }
    if out.len() < 2 {
        return Ok((out, 0.0));
    }
    let corner = figure(&|k: &Contributor| {
        let moves = uncertain.iter().any(|c| c.id == k.id);
        best(k) + if moves { k.distribution.u() } else { 0.0 }
    });
    Ok((out, corner.map_or(0.0, |v| v - base - together)))
}
