//! Many coils before one feed: maps and tolerances.

use super::{Bench, Shadow, Surroundings, shadow_density};
use crate::error::WireError;
use crate::feed::{Coil, CoilDimension, Horn};
use crate::mesh::Density;
use rayon::prelude::*;
use slantpath_quantity::show::fixed;
use slantpath_quantity::{Decibel, Length};

/// One coil of a map.
#[derive(Debug, Clone)]
pub struct MapPoint {
    /// The coil.
    pub coil: Coil,
    /// Its shadow, or why there is none.
    pub shadow: Result<Shadow, WireError>,
}

/// The shadows of many coils, side by side, in the order given. `go_on` is asked before each coil (with how many are done);
/// `false` ends the work, and what is not done is left out.
pub fn map(
    bench: &Bench,
    coils: &[Coil],
    density: Density,
    around: Surroundings,
    go_on: &(dyn Fn() -> bool + Sync),
) -> Vec<MapPoint> {
    let all: Vec<Option<MapPoint>> = coils
        .par_iter()
        .map(|coil| {
            go_on().then(|| MapPoint {
                coil: *coil,
                shadow: bench.shadow(coil, density, around),
            })
        })
        .collect();
    all.into_iter().flatten().collect()
}

/// What a map teaches against common opinion, where it does: that wider is not always better, that thinner is.
pub fn map_remarks(points: &[MapPoint]) -> Vec<String> {
    let mut out = Vec::new();
    let known: Vec<(&Coil, f64)> = points
        .iter()
        .filter_map(|p| Some((&p.coil, p.shadow.as_ref().ok()?.loss().0)))
        .collect();
    let same = |a: &Coil, b: &Coil, but: CoilDimension| {
        CoilDimension::ALL
            .iter()
            .filter(|d| **d != but)
            .all(|d| (a.get(*d) - b.get(*d)).abs() <= 1e-9)
    };
    // the largest step in the direction that opinion calls better, at which the loss rises
    let worst = |d: CoilDimension, better: f64| {
        let mut worst: Option<(f64, &Coil, f64, &Coil, f64)> = None;
        for (a, la) in &known {
            for (b, lb) in &known {
                if better * (b.get(d) - a.get(d)) > 1e-9 && same(a, b, d) {
                    let rise = lb - la;
                    if rise > 0.1 && worst.as_ref().is_none_or(|w| rise > w.0) {
                        worst = Some((rise, a, *la, b, *lb));
                    }
                }
            }
        }
        worst
    };
    let mm = |x: f64| x * 1e3;
    if let Some((_, a, la, b, lb)) = worst(CoilDimension::Diameter, 1.0) {
        out.push(format!(
            "wider is not always better: {:.0} mm loses {} dB, {:.0} mm {} dB with the same wire, pitch and turns",
            mm(a.diameter.as_m()),
            fixed(la, 1),
            mm(b.diameter.as_m()),
            fixed(lb, 1)
        ));
    }
    if let Some((_, a, la, b, lb)) = worst(CoilDimension::Wire, -1.0) {
        out.push(format!(
            "thinner is not always better here: wire of {:.1} mm loses {} dB, of {:.1} mm {} dB",
            mm(a.wire.as_m()),
            fixed(la, 1),
            mm(b.wire.as_m()),
            fixed(lb, 1)
        ));
    }
    out
}

/// How the loss follows one dimension of the coil or the position of the feed.
#[derive(Debug, Clone, PartialEq)]
pub struct Tolerance {
    /// What is varied: a coil dimension's name, or the feed's position.
    pub what: &'static str,
    /// By how much, m (turns: a number).
    pub step: f64,
    /// Change of the loss for one step less, and one step more.
    pub change: [Decibel; 2],
}

impl Tolerance {
    /// Standard deviation of the loss for a standard deviation of one step, to second order:
    /// `sqrt(slope^2 + curvature^2/2)`.
    pub fn u(&self) -> Decibel {
        let [down, up] = self.change.map(|d| d.0);
        let (slope, curve) = (0.5 * (up - down), up + down);
        Decibel((slope * slope + 0.5 * curve * curve).sqrt())
    }
}

/// Sensitivity of the loss to how exactly the coil is built: each dimension with its standard uncertainty (m, turns as a
/// number), and the feed's position along the axis.
///
/// # Errors
/// As [`Bench::shadow`], when the coil itself cannot be solved. A side on which it cannot (thicker than the model holds, say)
/// is taken as the mirror of the other.
pub fn tolerance(
    bench: &Bench,
    coil: &Coil,
    steps: &[(CoilDimension, f64)],
    front: Option<Length>,
) -> Result<Vec<Tolerance>, WireError> {
    let density = shadow_density();
    let around = Surroundings::default();
    let base = bench.shadow(coil, density, around)?.loss().0;
    let sides = |low: Result<Shadow, WireError>, high: Result<Shadow, WireError>| {
        let change = |s: &Shadow| s.loss().0 - base;
        match (&low, &high) {
            (Ok(a), Ok(b)) => Ok([change(a), change(b)]),
            (Ok(a), Err(_)) => Ok([change(a), -change(a)]),
            (Err(_), Ok(b)) => Ok([-change(b), change(b)]),
            (Err(e), Err(_)) => Err(e.clone()),
        }
    };
    let mut out: Vec<Tolerance> = steps
        .par_iter()
        .filter(|(_, h)| *h > 0.0)
        .map(|&(d, step)| {
            let at = |h: f64| bench.shadow(&coil.with(d, coil.get(d) + h), density, around);
            Ok(Tolerance {
                what: d.name(),
                step,
                change: sides(at(-step), at(step))?.map(Decibel),
            })
        })
        .collect::<Result<_, WireError>>()?;
    if let Some(h) = front.filter(|h| h.as_m() > 0.0) {
        let at = |h: Length| {
            let horn = Horn {
                front: bench.horn().front + h,
                ..bench.horn().clone()
            };
            Bench::new(&horn, bench.dish(), bench.frequency())?.shadow(coil, density, around)
        };
        out.push(Tolerance {
            what: "position of the receive feed",
            step: h.as_m(),
            change: sides(at(-h), at(h))?.map(Decibel),
        });
    }
    Ok(out)
}
