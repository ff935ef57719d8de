//! Everything occupied in the recording, named where it can be.

use super::super::flat_band;
use super::Facts;
use crate::signals::{Signal, describe, occupied, parted, strongest_window, trimmed};
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::to_db;
use slantpath_signal::spectrum::HANN_VARIANCE_FACTOR;
use std::ops::Range;

/// Everything occupied, strongest first, named where it can be.
pub(crate) fn list_signals(
    x: &Facts<'_>,
    scatter: Option<&[f64]>,
    row_frames: usize,
) -> Vec<Signal> {
    let (below, hi) = flat_band(x.s, x.bands);
    let lo = -below;
    let far = 0.42 * x.s.sample_rate_hz;
    let runs: Vec<Range<usize>> = occupied(x.s, x.floor, 350.0)
        .into_iter()
        // The receiver's own edge is no signal.
        .filter(|r| {
            let (a, b) = (x.s.freq(r.start), x.s.freq(r.end));
            b > lo.min(-far) && a < hi.max(far)
        })
        .collect();
    let runs: Vec<Range<usize>> = trimmed(x.s, x.floor, runs)
        .iter()
        .flat_map(|r| parted(x.s, x.floor, r))
        .collect();
    let r = row_frames as f64;
    let row_sigma = ((1.0 + (HANN_VARIANCE_FACTOR - 1.0) * (r - 1.0) / r) / r).sqrt();
    let reference = x
        .beacons
        .iter()
        .filter_map(|b| Some((b, b.found.as_ref()?)))
        .max_by(|a, b| a.1.c.total_cmp(&b.1.c));
    let df = x.s.bin_hz();
    let mut out: Vec<Signal> = runs
        .iter()
        .map(|r| {
            let mut g = describe(x.s, x.floor, r, scatter, row_sigma);
            if let Some((b, f)) = reference {
                let p = strongest_window(x.s, x.floor, r, 2.0 * b.plan.kind.half_width_hz());
                let u = g.u_level_db.hypot(db_of_relative_u(f.u_carrier));
                g.over_beacon_db = Some((to_db(p.max(1e-300) / f.c), u));
            }
            for b in x.beacons {
                if let Some(f) = &b.found
                    && (g.centre_hz - f.f_hz).abs() < b.plan.kind.half_width_hz() + 2.0 * df
                {
                    g.identity = Some(format!("beacon {}.{}", b.plan.passband, b.plan.name));
                }
            }
            if g.identity.is_none()
                && let Some(own) = x.own_offset()
                && (g.centre_hz - own).abs() < 0.5 * g.bandwidth_hz + 1_500.0
            {
                g.identity = Some("own transmission".into());
            }
            g
        })
        .collect();
    out.sort_by(|a, b| b.level_dbfs.total_cmp(&a.level_dbfs));
    // Images stand at the mirrored frequency, well below what they mirror.
    for i in 0..out.len() {
        let (f, level) = (out[i].centre_hz, out[i].level_dbfs);
        if out[i].identity.is_some() {
            continue;
        }
        let source = out.iter().find(|s| {
            (s.centre_hz + f).abs() < 3.0 * df + 50.0
                && s.level_dbfs > level + 15.0
                && f.abs() > 10.0 * df
        });
        if let Some(s) = source {
            out[i].identity = Some(format!(
                "image of the signal at {:+.1} kHz",
                s.centre_hz * 1e-3
            ));
        } else if out[i].bandwidth_hz <= 4.0 * df && out[i].restlessness < 1.6 {
            out[i].identity = Some(
                if x.in_passband(f) {
                    "steady carrier"
                } else {
                    "spur: a line outside every passband"
                }
                .into(),
            );
        }
    }
    out
}
