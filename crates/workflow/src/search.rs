//! What a measurement may know of the station: where to look, never how strong.

use slantpath_capture::plan::{BeaconKind, BeaconPlan, CentreMeaning, PassbandPlan, SearchPlan};
use slantpath_station::Station;
use slantpath_station::checked::{BeaconKind as Kind, Branch};
use slantpath_station::reach;

/// The search plan of a branch. Without a branch every oscillator of the station may have been in use.
pub fn search_plan(
    station: &Station,
    branch: Option<&str>,
    centre_hz: Option<f64>,
    lo_tolerance_hz: Option<f64>,
) -> SearchPlan {
    let mut meanings = vec![CentreMeaning::TrueRf];
    let mut tolerance: f64 = 0.0;
    let branches: Vec<&Branch> = station
        .receive
        .branches
        .iter()
        .filter(|b| branch.is_none_or(|n| n == b.name))
        .collect();
    for b in branches {
        let Some((_, lnb)) = reach::lnb_of(&station.receive, b) else {
            continue;
        };
        let lo_hz = reach::oscillator(lnb, b.tone).as_hz();
        let above = station
            .satellite
            .passbands
            .iter()
            .all(|p| p.downlink.hi.as_hz() < lo_hz);
        let m = if above {
            CentreMeaning::Inverted { lo_hz }
        } else {
            CentreMeaning::Intermediate { lo_hz }
        };
        if !meanings.contains(&m) {
            meanings.push(m);
        }
        // The whole stated range: limits, or four standard uncertainties, and a day's wander.
        let u = lnb.lo_error.distribution.u();
        let spread = match lnb.lo_error.distribution {
            slantpath_quantity::Distribution::Rectangular { lo, hi } => lo.abs().max(hi.abs()),
            d => d.mean().abs() + 4.0 * u,
        };
        tolerance = tolerance.max(spread + lnb.lo_wander_per_day.distribution.mean());
    }
    let passbands = station
        .satellite
        .passbands
        .iter()
        .map(|p| PassbandPlan {
            name: p.name.clone(),
            lo_hz: p.downlink.lo.as_hz(),
            hi_hz: p.downlink.hi.as_hz(),
        })
        .collect();
    let beacons = station
        .satellite
        .passbands
        .iter()
        .flat_map(|p| p.beacons.iter().map(move |b| (p, b)))
        .map(|(p, b)| BeaconPlan {
            name: b.name.clone(),
            passband: p.name.clone(),
            rf_hz: b.frequency.as_hz(),
            kind: match &b.kind {
                Kind::Carrier => BeaconKind::Carrier,
                Kind::KeyedCarrier => BeaconKind::KeyedCarrier,
                Kind::Bpsk {
                    symbol_rate,
                    rolloff,
                    manchester,
                    ..
                } => BeaconKind::Bpsk {
                    symbol_rate: *symbol_rate,
                    rolloff: rolloff.unwrap_or(1.0),
                    manchester: *manchester,
                },
                Kind::DvbS2 {
                    symbol_rate,
                    rolloff,
                    ..
                } => BeaconKind::Modulated {
                    symbol_rate: *symbol_rate,
                    rolloff: *rolloff,
                },
            },
        })
        .collect();
    let mut plan = SearchPlan::new(meanings, passbands, beacons);
    plan.centre_hz = centre_hz;
    // A TCXO's few kilohertz still deserve a search of some width: another LNB may have been in use.
    plan.lo_tolerance_hz = lo_tolerance_hz.unwrap_or(if tolerance > 0.0 {
        tolerance.max(100e3)
    } else {
        slantpath_capture::plan::PLAIN_LNB_TOLERANCE_HZ
    });
    plan
}
