//! What a small error in each dimension does to a design.

use super::{Fidelity, FrontPoint, Geometry, Pair, Variable, Workbench};
use crate::error::Result;
use rayon::prelude::*;
use slantpath_quantity::Length;
use slantpath_stats::progress::Stop;

/// A figure of a design.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Figure {
    /// Gain of the dish in the uplink band.
    Gain,
    /// Axial ratio of the beam.
    AxialRatio,
    /// Change of G/T.
    GOverT,
}

/// What one dimension does when it is built smaller and larger.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Effect {
    /// The dimension; `None` for the place of the whole assembly along the feed's axis.
    pub what: Option<Variable>,
    /// By how much, m (turns: a number).
    pub step: f64,
    /// Changes with one step less and one step more: uplink gain, axial ratio, G/T, dB. `None` where no such coil can be.
    pub change: [Option<[f64; 3]>; 2],
}

impl Effect {
    /// What it is called.
    pub fn name(&self) -> &'static str {
        self.what.map_or("place of the disc", Variable::name)
    }
    /// The larger change of a figure, either way, dB.
    pub fn worst(&self, f: Figure) -> f64 {
        self.change
            .iter()
            .flatten()
            .map(|c| c[f as usize])
            .fold(0.0, |a: f64, b| if b.abs() > a.abs() { b } else { a })
    }
}

/// Changes of the figures for `length` less and more in every length, and a part of a turn whose arc is as long on a coil of a
/// wavelength (1/250 for 0.5 mm at 2.4 GHz): each alone, with the disc where the design has it.
///
/// # Errors
/// The design itself cannot be solved; a request to stop.
pub fn tolerance(
    bench: &Workbench,
    point: &FrontPoint,
    length: Length,
    stop: &Stop,
) -> Result<Vec<Effect>> {
    let g = point.solved.geometry;
    let at = point.pair.disc;
    let figures = |g: &Geometry, disc: Length| -> Result<[f64; 3]> {
        stop.check()?;
        let s = bench.solve(g, Fidelity::Coarse, Some(disc))?;
        let of = |p: &Pair| [p.gain_dbi, p.axial_ratio_db, p.g_over_t_db];
        Ok(s.pairs.first().map_or([f64::NAN; 3], of))
    };
    let base = figures(&g, at)?;
    let turn = length.as_m() / bench.setting().uplink.wavelength().as_m();
    let mut cases: Vec<(Option<Variable>, f64)> = Variable::ALL
        .into_iter()
        .map(|v| {
            let step = if v == Variable::Turns {
                turn
            } else {
                length.as_m()
            };
            (Some(v), step)
        })
        .collect();
    cases.push((None, length.as_m()));
    let all: Vec<Effect> = cases
        .par_iter()
        .map(|&(what, step)| {
            let change = [-1.0, 1.0].map(|sign| {
                let moved = match what {
                    Some(v) => {
                        let h = g.with(v, g.get(v) + sign * step);
                        bench.fits(&h).then(|| figures(&h, at).ok()).flatten()
                    }
                    None => figures(&g, at + Length::m(sign * step)).ok(),
                };
                moved.map(|m| std::array::from_fn(|k| m[k] - base[k]))
            });
            Effect { what, step, change }
        })
        .collect();
    stop.check()?;
    Ok(all)
}
