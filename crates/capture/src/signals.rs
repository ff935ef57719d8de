//! Every occupied stretch of the spectrum.

use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::to_db;
use slantpath_signal::Spectrum;
use std::ops::Range;

/// Relative standard uncertainty of the floor under a signal (own estimate: quiet neighbours, a smooth curve).
const U_FLOOR: f64 = 0.01;

/// Something that stands above the floor.
#[derive(Debug, Clone, PartialEq)]
pub struct Signal {
    /// Centre of its power, Hz from the recording's centre.
    pub centre_hz: f64,
    /// Bandwidth that holds 99 % of its power, Hz.
    pub bandwidth_hz: f64,
    /// Power above the floor, dBFS.
    pub level_dbfs: f64,
    /// Standard uncertainty of the level, dB.
    pub u_level_db: f64,
    /// Its power over the noise in its own bandwidth, dB (signal-to-noise ratio of speech, C/N of a carrier), with
    /// standard uncertainty.
    pub c_n_db: (f64, f64),
    /// Its strongest density in a beacon's bandwidth over the beacon's, dB; with standard uncertainty.
    pub over_beacon_db: Option<(f64, f64)>,
    /// Scatter of its power from row to row over what noise would show: near 1 steady, large keyed or spoken.
    pub restlessness: f64,
    /// What it is, when known: a beacon's name, "spur or carrier", "image of ...", "own transmission".
    pub identity: Option<String>,
}

/// Bins above `floor` (per bin), joined over gaps up to `join_hz`.
pub fn occupied(s: &Spectrum, floor: &[f64], join_hz: f64) -> Vec<Range<usize>> {
    let n = s.len();
    let sigma = 1.0 / s.averages().sqrt();
    let dc = n / 2;
    let mut mark = vec![false; n];
    let mut sum = vec![0.0; n + 1];
    for i in 0..n {
        let near_dc = i.abs_diff(dc) <= 3;
        let f = floor.get(i).copied().unwrap_or(0.0);
        let x = if f > 0.0 && !near_dc {
            s.psd[i] / f - 1.0
        } else {
            0.0
        };
        sum[i + 1] = sum[i] + x;
    }
    for width in [1usize, 3, 9, 27] {
        let h = width / 2;
        if n < 4 * width {
            break;
        }
        let spread = if width == 1 {
            sigma
        } else {
            s.relative_variance(width as f64).sqrt()
        };
        for i in h..n - h {
            if (sum[i + h + 1] - sum[i - h]) / width as f64 > 5.0 * spread + 0.02 {
                for m in &mut mark[i - h..=i + h] {
                    *m = true;
                }
            }
        }
    }
    let join = (join_hz / s.bin_hz()).round() as usize;
    let mut out: Vec<Range<usize>> = Vec::new();
    let mut i = 0;
    while i < n {
        if !mark[i] {
            i += 1;
            continue;
        }
        let mut e = i;
        while e < n && mark[e] {
            e += 1;
        }
        match out.last_mut() {
            Some(l) if i - l.end <= join => l.end = e,
            _ => out.push(i..e),
        }
        i = e;
    }
    out
}

/// Measures one occupied stretch.
pub fn describe(
    s: &Spectrum,
    floor: &[f64],
    r: &Range<usize>,
    scatter: Option<&[f64]>,
    row_sigma: f64,
) -> Signal {
    let df = s.bin_hz();
    let x: Vec<f64> = r
        .clone()
        .map(|i| s.psd[i] - floor.get(i).copied().unwrap_or(0.0))
        .collect();
    let total: f64 = x.iter().sum::<f64>().max(1e-300);
    let centre = r.clone().zip(&x).map(|(i, v)| s.freq(i) * v).sum::<f64>() / total;
    // 99 % of the power lies between its 0.5 % and 99.5 % points.
    let (mut acc, mut lo, mut hi) = (0.0, r.start, r.end);
    for (i, v) in r.clone().zip(&x) {
        if acc < 0.005 * total {
            lo = i;
        }
        acc += v;
        if acc >= 0.995 * total {
            hi = i + 1;
            break;
        }
    }
    let c = total * df;
    let n0 = r
        .clone()
        .map(|i| floor.get(i).copied().unwrap_or(0.0))
        .sum::<f64>()
        / r.len().max(1) as f64;
    let t = s.duration_s();
    let var = (2.0 * c * n0 + n0 * n0 * r.len() as f64 * df) / t;
    let bandwidth_hz = (hi.saturating_sub(lo)).max(1) as f64 * df;
    let noise = (n0 * bandwidth_hz).max(1e-300);
    // The floor under a signal is read from beside it: an error of it raises one part of the ratio and lowers the other.
    let u_floor = U_FLOOR * (1.0 + n0 * r.len() as f64 * df / c);
    let u_c_n = (var.sqrt() / c).hypot(u_floor);
    // Power-weighted scatter over rows.
    let restlessness = scatter.map_or(1.0, |sc| {
        r.clone()
            .zip(&x)
            .map(|(i, v)| sc.get(i).copied().unwrap_or(0.0) * v)
            .sum::<f64>()
            / total
            / row_sigma
    });
    Signal {
        centre_hz: centre,
        bandwidth_hz,
        c_n_db: (to_db(c / noise), db_of_relative_u(u_c_n)),
        level_dbfs: to_db(c),
        u_level_db: db_of_relative_u(var.sqrt() / c),
        over_beacon_db: None,
        restlessness,
        identity: None,
    }
}

/// Strongest power in any window of `bandwidth_hz` within the stretch.
pub fn strongest_window(s: &Spectrum, floor: &[f64], r: &Range<usize>, bandwidth_hz: f64) -> f64 {
    let w = ((bandwidth_hz / s.bin_hz()).round() as usize).max(1);
    let mut best = 0.0f64;
    let mut run = 0.0;
    let excess =
        |i: usize| s.psd.get(i).copied().unwrap_or(0.0) - floor.get(i).copied().unwrap_or(0.0);
    let (a, b) = (r.start.saturating_sub(w), r.end + w);
    for i in a..b.min(s.len()) {
        run += excess(i);
        if i >= a + w {
            run -= excess(i - w);
        }
        best = best.max(run);
    }
    best * s.bin_hz()
}
