//! The oscillator of a branch against the temperature.

use super::super::rows::{OSCILLATOR, Row};
use super::super::sky::{Doppler, doppler_of};
use super::{Basis, DAY_S, Judged, Oscillator};
use crate::WorkflowError;
use slantpath_station::reach::{lnb_of, oscillator};
use slantpath_stats::robust::median;
use slantpath_verdict::health::drift::{Sample, learn};
use std::collections::BTreeMap;

pub(super) fn oscillator_of(
    b: &Basis<'_>,
    rows: &[&Row],
    passband: Option<&str>,
    out: &mut Judged,
) -> Result<(), WorkflowError> {
    let mut samples: Vec<Sample> = rows
        .iter()
        .filter_map(|r| {
            let (offset_hz, u_hz) = r.get(OSCILLATOR)?;
            Some(Sample {
                t_s: r.t_s,
                offset_hz,
                u_hz,
            })
        })
        .collect();
    if samples.is_empty() {
        return Ok(());
    }
    let Some(branch) = b
        .station
        .receive
        .branch(b.branch)
        .or_else(|| b.station.receive.branches.first())
    else {
        return Ok(());
    };
    let Some((_, lnb)) = lnb_of(&b.station.receive, branch) else {
        return Ok(());
    };
    let lo_hz = oscillator(lnb, branch.tone).as_hz();
    // Satellite above the oscillator: it going up brings the intermediate frequency down; `lo.error` is what is received
    // above the nominal, so that the oscillator's own error is the negative of it.
    let p = passband.and_then(|p| b.station.satellite.passband(p));
    let doppler = match p {
        Some(p) => doppler_of(b.station, p, out.span_s.1)?,
        None => Doppler::Unknown,
    };
    let (bound, by_elements) = match &doppler {
        Doppler::Known(f) => {
            for s in &mut samples {
                s.offset_hz -= f(s.t_s).unwrap_or(0.0);
            }
            (0.0, true)
        }
        Doppler::Bound(x) => (*x, false),
        // A satellite kept in its slot, inclination below 0.1 deg: some 100 Hz at 3 cm (common practice, no source).
        Doppler::Unknown => (100.0, false),
    };
    let drift = learn(&samples, &b.weather.temperature, lo_hz, bound)?;
    out.oscillator = Some(Oscillator {
        lo_hz,
        drift,
        by_elements,
        daily_k: daily_swing(&b.weather.temperature),
    });
    Ok(())
}

/// Median over days of the day's highest less its lowest temperature, K.
pub(super) fn daily_swing(log: &[(f64, f64)]) -> Option<f64> {
    let mut days: BTreeMap<i64, (f64, f64, usize)> = BTreeMap::new();
    for (t, c) in log {
        let d = days
            .entry((t / DAY_S).floor() as i64)
            .or_insert((*c, *c, 0));
        *d = (d.0.min(*c), d.1.max(*c), d.2 + 1);
    }
    let most = days.values().map(|d| d.2).max()?;
    let swings: Vec<f64> = days
        .values()
        .filter(|d| 2 * d.2 >= most && d.2 >= 4)
        .map(|d| d.1 - d.0)
        .collect();
    median(&swings)
}
