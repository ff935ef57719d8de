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
    raised(s, floor, join_hz, &[1, 3, 9, 27])
}

/// Each occupied stretch as far as windows of a few bins show it: the widest windows mark their own half width beside a
/// signal. A stretch that only they show stays as it is.
pub fn trimmed(s: &Spectrum, floor: &[f64], runs: Vec<Range<usize>>) -> Vec<Range<usize>> {
    let sharp = raised(s, floor, 0.0, &[1, 3, 9]);
    runs.into_iter()
        .map(|r| {
            let within = || sharp.iter().filter(|x| x.start < r.end && x.end > r.start);
            match (within().next(), within().next_back()) {
                (Some(a), Some(b)) => a.start.max(r.start)..b.end.min(r.end),
                _ => r,
            }
        })
        .collect()
}

/// Bins whose mean over any of these numbers of them stands above `floor`.
fn raised(s: &Spectrum, floor: &[f64], join_hz: f64, widths: &[usize]) -> Vec<Range<usize>> {
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
    for &width in widths {
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

/// Depth, below the weaker of two signals, and width of a gap that parts them.
const PARTED: f64 = 0.03;
const PARTED_HZ: f64 = 700.0;

/// An occupied stretch in its signals: what spills over between two of them, and what averaging over a wide window
/// marked beside one, belongs to neither.
pub fn parted(s: &Spectrum, floor: &[f64], r: &Range<usize>) -> Vec<Range<usize>> {
    let df = s.bin_hz();
    let h = ((0.25 * PARTED_HZ / df).round() as usize).max(1);
    let excess = |i: usize| -> f64 {
        let (a, e) = (i.saturating_sub(h).max(r.start), (i + h + 1).min(r.end));
        (a..e)
            .map(|k| s.psd[k] - floor.get(k).copied().unwrap_or(0.0))
            .sum::<f64>()
            / (e - a).max(1) as f64
    };
    let x: Vec<f64> = r.clone().map(excess).collect();
    let least = ((PARTED_HZ / df).ceil() as usize).max(2);
    let mut cuts: Vec<Range<usize>> = Vec::new();
    // Highest value so far, and from here on.
    let mut after = x.clone();
    for i in (0..x.len().saturating_sub(1)).rev() {
        after[i] = after[i].max(after[i + 1]);
    }
    let mut before = 0.0f64;
    let mut low: Option<usize> = None;
    for (i, v) in x.iter().enumerate() {
        let deep = *v < PARTED * before.min(after[i]);
        match (deep, low) {
            (true, None) => low = Some(i),
            (false, Some(a)) => {
                if i - a >= least {
                    cuts.push(a..i);
                    // The next signal is measured against its own height.
                    before = 0.0;
                }
                low = None;
            }
            _ => {}
        }
        before = before.max(*v);
    }
    let mut out = Vec::new();
    let mut from = r.start;
    for c in cuts {
        out.push(from..r.start + c.start);
        from = r.start + c.end;
    }
    out.push(from..r.end);
    if out.len() < 2 {
        return out;
    }
    // What is left beside the others has to stand above the floor by itself.
    out.retain(|p| {
        let (mut sum, mut n) = (0.0, 0.0);
        for i in p.clone() {
            let f = floor.get(i).copied().unwrap_or(0.0);
            if f > 0.0 && i.abs_diff(s.len() / 2) > 3 {
                sum += s.psd[i] / f - 1.0;
                n += 1.0;
            }
        }
        n > 0.0 && sum / n > 5.0 * s.relative_variance(n).sqrt() + 0.02
    });
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

#[cfg(test)]
mod tests {
    use super::*;

    /// Two signals 3 kHz wide, the second 6 dB weaker, 4 kHz apart; between and beside them what they spill, 22 dB and more down.
    #[test]
    fn spill_belongs_to_no_signal() {
        let mut s = Spectrum::of(
            &vec![slantpath_signal::C32::new(1.0, 0.0); 102_400],
            51_200.0,
            512,
        );
        for i in 0..512 {
            let f = s.freq(i);
            s.psd[i] = match f {
                f if (2_000.0..5_000.0).contains(&f) => 101.0,
                f if (9_000.0..12_000.0).contains(&f) => 26.0,
                f if (-1_000.0..15_000.0).contains(&f) => 1.15,
                _ => 1.0,
            };
        }
        let floor = vec![1.0; 512];
        let runs = occupied(&s, &floor, 350.0);
        assert_eq!(runs.len(), 1, "{runs:?}");
        let parts: Vec<Signal> = parted(&s, &floor, &runs[0])
            .iter()
            .map(|r| describe(&s, &floor, r, None, 1.0))
            .collect();
        assert_eq!(parts.len(), 2, "{parts:?}");
        for (p, at) in parts.iter().zip([3_500.0, 10_500.0]) {
            assert!((p.centre_hz - at).abs() < 200.0, "{p:?}");
            assert!((p.bandwidth_hz - 3_000.0).abs() < 600.0, "{p:?}");
        }
    }

    /// A line is as wide as the analysis shows it, not as the widest window that took it in.
    #[test]
    fn wide_windows_do_not_widen_a_line() {
        let mut s = Spectrum::of(
            &vec![slantpath_signal::C32::new(1.0, 0.0); 102_400],
            51_200.0,
            512,
        );
        s.psd = vec![1.0; 512];
        s.psd[400] = 40.0;
        let floor = vec![1.0; 512];
        let wide = occupied(&s, &floor, 0.0);
        assert!(wide[0].len() >= 50, "{wide:?}");
        let trimmed = trimmed(&s, &floor, wide);
        assert_eq!(trimmed.len(), 1);
        assert!(trimmed[0].len() <= 17, "{trimmed:?}");
        assert!(trimmed[0].contains(&400));
    }
}
