//! What is taken of a passband, what is free, and which carriers would fit.

use super::{BeaconNow, LivePlan};
use crate::locate::Location;
use crate::measure::PlacedBand;
use crate::plan::BeaconKind;
use crate::signals::{describe, occupied};
use slantpath_quantity::to_db;
use slantpath_signal::Spectrum;

/// Roll-offs of EN 302 307-1 table 1, from the widest to the narrowest.
pub const ROLLOFFS: [f64; 3] = [0.35, 0.25, 0.20];

/// What is allowed in a passband.
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    /// Passband.
    pub passband: String,
    /// Beacon that the limit refers to, and the highest density over the beacon's, dB.
    pub limit: Option<(String, f64)>,
    /// Symbol rates in use, Bd.
    pub symbol_rates: Vec<f64>,
}

/// An occupied stretch.
#[derive(Debug, Clone, PartialEq)]
pub struct Slot {
    /// Middle of its power, Hz in the picture's axis.
    pub at_hz: f64,
    /// Bandwidth that holds 99 % of its power, Hz.
    pub width_hz: f64,
    /// Its power over the noise in its own bandwidth, dB.
    pub c_n_db: f64,
    /// The beacon that it is.
    pub beacon: Option<String>,
    /// Its mean density over the reference beacon's, dB.
    pub over_beacon_db: Option<f64>,
    /// Whether that is more than the rule allows, by more than its uncertainty.
    pub above_rule: bool,
}

/// A symbol rate in a gap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RateFit {
    /// Symbol rate, Bd.
    pub symbol_rate: f64,
    /// Widest roll-off with which it fits.
    pub rolloff: f64,
}

/// A free stretch.
#[derive(Debug, Clone, PartialEq)]
pub struct Gap {
    /// Lower edge, Hz in the picture's axis.
    pub lo_hz: f64,
    /// Upper edge, Hz.
    pub hi_hz: f64,
    /// Symbol rates of the passband that fit, highest first.
    pub fits: Vec<RateFit>,
}

/// A passband's use.
#[derive(Debug, Clone, PartialEq)]
pub struct Slots {
    /// Passband.
    pub passband: String,
    /// Taken, in order of frequency.
    pub taken: Vec<Slot>,
    /// Free, in order of frequency.
    pub free: Vec<Gap>,
    /// Es/N0 of a carrier at the rule's limit in the noise of this receiver, dB: whatever its symbol rate, since the
    /// rule limits the density.
    pub es_n0_at_limit_db: Option<f64>,
}

/// Guard kept to a neighbour on each side: a tenth of the symbol rate (common practice, no source).
const GUARD: f64 = 0.1;
/// Departure from the rule that is within what a density over a second shows, dB.
const RULE_MARGIN_DB: f64 = 0.5;

/// Mean density over the middle half of a beacon's Nyquist band.
fn beacon_density(b: &BeaconNow, kind: BeaconKind) -> Option<f64> {
    let c = slantpath_quantity::from_db(b.level_dbfs.0);
    b.seen.then_some(match kind {
        BeaconKind::Bpsk { symbol_rate, .. } | BeaconKind::Modulated { symbol_rate, .. } => {
            c / symbol_rate
        }
        // A bare carrier has no density of its own: the rule compares in one bandwidth, here that of a beacon's window.
        k => c / (2.0 * k.half_width_hz()),
    })
}

pub(super) fn slots(
    plan: &LivePlan,
    location: Option<&Location>,
    bands: &[PlacedBand],
    mean: &Spectrum,
    line: &[f64],
    beacons: &[BeaconNow],
) -> Vec<Slots> {
    let Some(l) = location else {
        return Vec::new();
    };
    let axis = |f: f64| l.meaning.rf_hz(f - l.shift_hz, plan.centre_hz);
    let edge = 0.47 * plan.sample_rate_hz;
    let all = occupied(mean, line, 3.0 * mean.bin_hz());
    bands
        .iter()
        .filter_map(|band| {
            let (lo, hi) = (band.lo_hz.max(-edge), band.hi_hz.min(edge));
            if hi - lo < 20.0 * mean.bin_hz() {
                return None;
            }
            let rule = plan.rules.iter().find(|r| r.passband == band.name);
            let limit = rule.and_then(|r| r.limit.as_ref());
            let reference = limit.and_then(|(name, db)| {
                let b = beacons
                    .iter()
                    .find(|b| b.passband == band.name && b.name == *name)?;
                let p = plan
                    .search
                    .beacons
                    .iter()
                    .find(|p| p.passband == band.name && p.name == *name)?;
                Some((beacon_density(b, p.kind)?, *db))
            });
            let mut taken = Vec::new();
            let mut edges = vec![(lo, lo)];
            for r in all.iter().filter(|r| {
                let mid = mean.freq((r.start + r.end) / 2);
                mid > lo && mid < hi
            }) {
                let s = describe(mean, line, r, None, 1.0);
                edges.push((mean.freq(r.start), mean.freq(r.end)));
                let beacon = beacons.iter().find(|b| {
                    let f = l.meaning.offset_hz(b.rf_hz, plan.centre_hz) + l.shift_hz;
                    b.seen && f >= mean.freq(r.start) && f <= mean.freq(r.end)
                });
                let density =
                    slantpath_quantity::from_db(s.level_dbfs) / s.bandwidth_hz.max(mean.bin_hz());
                let over = reference.map(|(d, _)| to_db(density / d));
                taken.push(Slot {
                    at_hz: axis(s.centre_hz),
                    width_hz: s.bandwidth_hz,
                    c_n_db: s.c_n_db.0,
                    beacon: beacon.map(BeaconNow::id),
                    over_beacon_db: over,
                    above_rule: beacon.is_none()
                        && over
                            .zip(reference)
                            .is_some_and(|(o, (_, limit))| o > limit + RULE_MARGIN_DB),
                });
            }
            edges.push((hi, hi));
            edges.sort_by(|a, b| a.0.total_cmp(&b.0));
            let rates = rule.map(|r| r.symbol_rates.as_slice()).unwrap_or_default();
            let free = edges
                .windows(2)
                .filter_map(|w| gap(w[0].1, w[1].0, rates, 6.0 * mean.bin_hz()))
                .map(|mut g| {
                    let (a, b) = (axis(g.lo_hz), axis(g.hi_hz));
                    (g.lo_hz, g.hi_hz) = (a.min(b), a.max(b));
                    g
                });
            let mut free: Vec<Gap> = free.collect();
            free.sort_by(|a, b| a.lo_hz.total_cmp(&b.lo_hz));
            taken.sort_by(|a: &Slot, b: &Slot| a.at_hz.total_cmp(&b.at_hz));
            let floor: Vec<f64> = mean
                .range(lo, hi)
                .filter_map(|i| line.get(i).copied())
                .collect();
            let n0 = floor.iter().sum::<f64>() / floor.len().max(1) as f64;
            Some(Slots {
                passband: band.name.clone(),
                taken,
                free,
                es_n0_at_limit_db: reference
                    .filter(|_| n0 > 0.0)
                    .map(|(d, limit)| to_db(d / n0) + limit),
            })
        })
        .collect()
}

/// A stretch without signals, if it is wider than `least`.
pub(super) fn gap(lo_hz: f64, hi_hz: f64, rates: &[f64], least: f64) -> Option<Gap> {
    let width = hi_hz - lo_hz;
    let mut fits: Vec<RateFit> = rates
        .iter()
        .filter_map(|&symbol_rate| {
            let rolloff = ROLLOFFS
                .into_iter()
                .find(|r| symbol_rate * (1.0 + r + 2.0 * GUARD) <= width)?;
            Some(RateFit {
                symbol_rate,
                rolloff,
            })
        })
        .collect();
    fits.sort_by(|a, b| b.symbol_rate.total_cmp(&a.symbol_rate));
    (width > least).then_some(Gap { lo_hz, hi_hz, fits })
}
