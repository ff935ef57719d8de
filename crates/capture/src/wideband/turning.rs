//! Frequency and drift of the carrier from its phase over the whole stretch.

use super::lock::wrapped;
use slantpath_signal::C64;
use std::f64::consts::TAU;

/// Carrier frequency over the stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Turning {
    /// Turns a symbol in the middle of the stretch.
    pub turns: f64,
    pub u_turns: f64,
    /// Change of it, turns a symbol each symbol; `None` when the phase could not be followed.
    pub drift: Option<(f64, f64)>,
}

/// Straight line and bend through the phase, in stretches whose scatter tells the uncertainty.
pub(super) fn fit_turning(series: &[(f64, f64)], turns: f64, length: f64) -> Option<Turning> {
    const PARTS: usize = 16;
    let size = series.len() / PARTS;
    if size < 1 {
        return None;
    }
    let mid = 0.5 * length;
    let points: Vec<(f64, f64)> = series
        .chunks_exact(size)
        .map(|c| {
            let n = c.len() as f64;
            (
                (c.iter().map(|p| p.0).sum::<f64>() / n - mid) / length,
                c.iter().map(|p| p.1).sum::<f64>() / n,
            )
        })
        .collect();
    let (x, y): (Vec<f64>, Vec<f64>) = points.into_iter().unzip();
    let w = vec![1.0; x.len()];
    let p = slantpath_signal::fit::polynomial(&x, &y, &w, 2, 0.0, 1.0, &[])?;
    let free = (x.len() as f64 - 3.0).max(1.0);
    // Wandering phase is correlated between stretches: twice the white-noise uncertainty.
    let scale = 2.0 * (p.chi2 / free).sqrt();
    let slope = p.slope_at(0.0);
    let bend = p.slope_at(0.5) - p.slope_at(-0.5);
    let bend = 0.5 * bend;
    let u = |i: usize| {
        p.covariance
            .get(i)
            .and_then(|r| r.get(i))
            .map_or(0.0, |v| v.max(0.0).sqrt() * scale)
    };
    Some(Turning {
        turns: turns + slope / TAU / length,
        u_turns: u(1) / TAU / length,
        drift: Some((
            2.0 * bend / TAU / (length * length),
            2.0 * u(2) / TAU / (length * length),
        )),
    })
}

/// Frequency from the groups alone: their phases when pilots keep them together.
pub(super) fn by_groups(
    groups: &[(f64, Vec<C64>)],
    turns: f64,
    u_turns: f64,
    pilots: bool,
) -> Turning {
    let alone = Turning {
        turns,
        u_turns,
        drift: None,
    };
    if !pilots || groups.len() < 32 {
        return alone;
    }
    let mut series: Vec<(f64, f64)> = Vec::with_capacity(groups.len());
    for (middle, q) in groups {
        let m = q.iter().sum::<C64>();
        let phase = m.im.atan2(m.re);
        let last = series.last().map_or(phase, |(_, p)| *p);
        series.push((*middle, last + wrapped(phase - last)));
    }
    let length = groups.last().map_or(1.0, |g| g.0);
    fit_turning(&series, turns, length).unwrap_or(alone)
}
