//! How sure the volts at a load are: every figure of the DC side moved by its standard uncertainty in turn (GUM 5.1.3).

use super::{network, volts_set};
use crate::checked::{LnbPolarisation, PartKind, Polarisation, Station};
use slantpath_chain::ChainError;
use slantpath_chain::dc::Report;
use slantpath_quantity::{Contributor, Distribution};

/// Volts at a load, and what the way there costs.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadVolts {
    /// Name of the load as in [`super::network`].
    pub name: String,
    /// Volts at the load and their standard uncertainty.
    pub volts: (f64, f64),
    /// Volts lost between the receiver that feeds it and the load, with their standard uncertainty; `None` when no
    /// receiver feeds it.
    pub lost: Option<(f64, f64)>,
    /// False when the LNB's switching region lies within two standard uncertainties of the volts: either polarisation may
    /// come out. True for what does not switch.
    pub polarisation_sure: bool,
}

/// Volts at every load with their uncertainty, the far ends set for `receiving`.
///
/// # Errors
/// As [`network`].
pub fn spread(
    station: &Station,
    receiving: Option<Polarisation>,
) -> Result<Vec<LoadVolts>, ChainError> {
    let best = figures(station, receiving)?;
    let mut squares = vec![(0.0, 0.0); best.len()];
    let mut moved = station.clone();
    let count = dc_contributors(&mut moved).len();
    for j in 0..count {
        let mut moved = station.clone();
        let mut all = dc_contributors(&mut moved);
        let Some(c) = all.get_mut(j) else { continue };
        let u = c.distribution.u();
        if u <= 0.0 {
            continue;
        }
        c.distribution = Distribution::Exact(c.distribution.mean() + u);
        // A figure that cannot be moved so far (a network that no longer solves) has no share.
        let Ok(there) = figures(&moved, receiving) else {
            continue;
        };
        for ((s, a), b) in squares.iter_mut().zip(&there).zip(&best) {
            s.0 += (a.volts - b.volts).powi(2);
            s.1 += (a.lost.unwrap_or(0.0) - b.lost.unwrap_or(0.0)).powi(2);
        }
    }
    let report = network(station, receiving)?.solve()?;
    Ok(best
        .into_iter()
        .zip(squares)
        .map(|(b, s)| {
            let u = s.0.sqrt();
            LoadVolts {
                polarisation_sure: is_sure(station, &report, &b.name, b.volts, u),
                name: b.name,
                volts: (b.volts, u),
                lost: b.lost.map(|l| (l, s.1.sqrt())),
            }
        })
        .collect())
}

struct AtLoad {
    name: String,
    volts: f64,
    lost: Option<f64>,
}

fn figures(station: &Station, receiving: Option<Polarisation>) -> Result<Vec<AtLoad>, ChainError> {
    let report = network(station, receiving)?.solve()?;
    Ok(report
        .loads
        .iter()
        .map(|l| {
            let volts = l.volts.as_v();
            let fed = l
                .fed_by
                .iter()
                .filter_map(|n| station.receive.branch(n))
                .filter_map(|b| volts_set(b, station, receiving))
                .map(|c| c.distribution.mean())
                .fold(None, |m: Option<f64>, v| Some(m.map_or(v, |m| m.max(v))));
            AtLoad {
                name: l.name.clone(),
                volts,
                lost: fed.map(|v| v - volts),
            }
        })
        .collect())
}

/// Whether two standard uncertainties keep clear of the region where the LNB may be in either state.
fn is_sure(station: &Station, report: &Report, name: &str, volts: f64, u: f64) -> bool {
    if report.load(name).is_none_or(|l| l.state.is_none()) {
        return true;
    }
    let threshold = station
        .receive
        .nodes
        .iter()
        .find_map(|n| match &n.part.kind {
            PartKind::Lnb(l)
                if name == n.part.name || name.starts_with(&format!("{}.", n.part.name)) =>
            {
                match &l.polarisation {
                    LnbPolarisation::Switched { threshold } => Some(threshold.distribution),
                    LnbPolarisation::Fixed(_) => None,
                }
            }
            _ => None,
        });
    let Some(d) = threshold else { return true };
    let region = super::switching(d);
    volts + 2.0 * u < region.low_below.as_v() || volts - 2.0 * u > region.high_above.as_v()
}

/// What the DC side depends on.
fn dc_contributors(station: &mut Station) -> Vec<&mut Contributor> {
    let mut out = Vec::new();
    for n in &mut station.receive.nodes {
        match &mut n.part.kind {
            PartKind::Lnb(l) => out.push(&mut l.current),
            PartKind::Cable(c) => out.extend([&mut c.length, &mut c.resistance_per_m]),
            PartKind::BiasTee(t) => {
                out.push(&mut t.resistance);
                out.extend(t.volts.as_mut());
            }
            PartKind::Amplifier(a) => out.extend(a.current.as_mut()),
            _ => {}
        }
    }
    for b in &mut station.receive.branches {
        match &mut b.switched {
            Some(s) => out.extend([&mut s.vertical, &mut s.horizontal]),
            None => out.extend(b.volts.as_mut()),
        }
    }
    out
}
