//! For drawing, and where to tune.

use super::{BeaconMeasured, PlacedBand};
use crate::locate::{BAND_SHOWN, Location};
use crate::noise::{NoStep, NoiseStep, REACH, SKIRT_END, inside_floor};
use crate::plan::SearchPlan;
use slantpath_quantity::to_db;
use slantpath_signal::Spectrum;

/// A spectrum ready to be drawn.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Picture {
    /// Frequency in Hz from the centre, density in dBFS/Hz.
    pub spectrum: Vec<(f64, f64)>,
    /// Noise floor in the same axes.
    pub floor: Vec<(f64, f64)>,
    /// Named windows: what for, lower and upper frequency.
    pub windows: Vec<(String, f64, f64)>,
    /// Named places: beacons.
    pub marks: Vec<(String, f64)>,
}

/// Where to tune so that everything planned lies within the recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Tune {
    /// Centre, in the recording's own scale, Hz.
    pub centre_hz: f64,
    /// Sample rate that would do, Hz.
    pub sample_rate_hz: f64,
    /// What lies outside now.
    pub outside: Vec<String>,
}

/// The floor at every bin: the fitted curve inside a passband, elsewhere a low quantile of the neighbourhood.
pub(crate) fn floor_line(s: &Spectrum, bands: &[PlacedBand]) -> Vec<f64> {
    let n = s.len();
    let half = ((7_000.0 / s.bin_hz()).round() as usize).clamp(16, (n / 6).max(16));
    let sigma = 1.0 / s.averages().sqrt();
    let step = (half / 8).max(1);
    let knots: Vec<(usize, f64)> = (0..n)
        .step_by(step)
        .chain([n.saturating_sub(1)])
        .map(|i| {
            let mut v: Vec<f64> = s.psd[i.saturating_sub(half)..(i + half + 1).min(n)].to_vec();
            let k = (v.len() as f64 * 0.35) as usize;
            let (_, q, _) = v.select_nth_unstable_by(k, f64::total_cmp);
            (i, *q * (1.0 + 0.385 * sigma))
        })
        .collect();
    let mut line = vec![0.0; n];
    for w in knots.windows(2) {
        let ((a, pa), (b, pb)) = (w[0], w[1]);
        for (i, f) in line.iter_mut().enumerate().take(b + 1).skip(a) {
            let t = if b > a {
                (i - a) as f64 / (b - a) as f64
            } else {
                0.0
            };
            *f = pa + t * (pb - pa);
        }
    }
    for b in bands {
        let (mid, width) = (0.5 * (b.lo_hz + b.hi_hz), b.hi_hz - b.lo_hz);
        let limit = 0.45 * s.sample_rate_hz;
        if mid - REACH * width < -limit || mid + REACH * width > limit {
            continue;
        }
        if let Some(f) = inside_floor(s, mid, width) {
            for i in s.range(mid - REACH * width, mid + REACH * width) {
                line[i] = f.density(s.freq(i));
            }
            // On the sides of the passband only what exceeds the noise inside can be a signal.
            for (lo, hi, at) in [
                (mid - 0.56 * width, mid - REACH * width, mid - REACH * width),
                (mid + REACH * width, mid + 0.56 * width, mid + REACH * width),
            ] {
                let inside = f.density(at);
                for i in s.range(lo, hi) {
                    line[i] = if (s.freq(i) - mid).abs() < 0.47 * width {
                        line[i].max(0.97 * inside)
                    } else {
                        inside
                    };
                }
            }
        }
    }
    line
}

pub(super) fn draw(
    s: &Spectrum,
    line: &[f64],
    bands: &[PlacedBand],
    steps: &[(String, Result<NoiseStep, NoStep>)],
    beacons: &[BeaconMeasured],
    points: usize,
) -> Picture {
    let factor = s.len().div_ceil(points.max(16));
    let floor = Spectrum {
        psd: line.to_vec(),
        ..s.clone()
    };
    let db = |v: Vec<(f64, f64)>| {
        v.into_iter()
            .map(|(f, p)| (f, to_db(p.max(1e-300))))
            .collect()
    };
    let mut windows: Vec<(String, f64, f64)> = bands
        .iter()
        .map(|b| (format!("passband {}", b.name), b.lo_hz, b.hi_hz))
        .collect();
    for (name, step) in steps {
        if let Ok(step) = step {
            windows.push((
                format!("noise inside {name}"),
                step.central.0,
                step.central.1,
            ));
            windows.extend(
                step.windows
                    .iter()
                    .map(|w| (format!("noise outside {name}"), w.0, w.1)),
            );
        }
    }
    Picture {
        spectrum: db(s.coarser(factor)),
        floor: db(floor.coarser(factor)),
        windows,
        marks: beacons
            .iter()
            .filter_map(|b| {
                Some((
                    format!("{}.{}", b.plan.passband, b.plan.name),
                    b.found.as_ref()?.f_hz,
                ))
            })
            .collect(),
    }
}

/// Centre and rate that would hold the beacons and passbands nearest to the recording, when some lie outside it.
pub(super) fn where_to_tune(
    plan: &SearchPlan,
    location: Option<&Location>,
    centre_hz: f64,
    fs: f64,
) -> Option<Tune> {
    let meaning = location.map(|l| l.meaning).or_else(|| {
        // The meaning that puts the plan nearest to what was recorded.
        plan.meanings.iter().copied().min_by(|a, b| {
            let d = |m: &crate::plan::CentreMeaning| {
                plan.beacons
                    .iter()
                    .map(|p| m.offset_hz(p.rf_hz, centre_hz).abs())
                    .fold(f64::INFINITY, f64::min)
            };
            d(a).total_cmp(&d(b))
        })
    })?;
    let shift = location.map_or(0.0, |l| l.shift_hz);
    let uncertain = if location.is_some() {
        0.0
    } else {
        plan.lo_tolerance_hz
    };
    let mut outside = Vec::new();
    let (mut lo, mut hi) = (f64::INFINITY, f64::NEG_INFINITY);
    // The passband nearest to the centre is the one meant.
    let near = plan.passbands.iter().min_by(|a, b| {
        let d = |p: &crate::plan::PassbandPlan| {
            (meaning.offset_hz(p.centre_hz(), centre_hz) + shift).abs()
        };
        d(a).total_cmp(&d(b))
    });
    for b in plan
        .beacons
        .iter()
        .filter(|b| near.is_none_or(|p| p.name == b.passband))
    {
        let f = meaning.offset_hz(b.rf_hz, centre_hz) + shift;
        let h = b.kind.half_width_hz();
        lo = lo.min(f - h);
        hi = hi.max(f + h);
        if f.abs() + h > BAND_SHOWN * fs {
            outside.push(format!("beacon {}.{}", b.passband, b.name));
        }
    }
    if let Some(p) = near {
        let (a, b) = (
            meaning.offset_hz(p.lo_hz, centre_hz) + shift,
            meaning.offset_hz(p.hi_hz, centre_hz) + shift,
        );
        let (a, b) = (a.min(b), a.max(b));
        let (mid, w) = (0.5 * (a + b), b - a);
        lo = lo.min(mid - (SKIRT_END + 0.05) * w);
        hi = hi.max(mid + (SKIRT_END + 0.05) * w);
    }
    if outside.is_empty() || hi < lo {
        return None;
    }
    Some(Tune {
        centre_hz: centre_hz + 0.5 * (lo + hi),
        sample_rate_hz: (hi - lo + 2.0 * uncertain) / 0.9,
        outside,
    })
}
