//! A carrier keyed on and off: the power of its plateau.

use slantpath_signal::Block;

/// Bandwidth in which the envelope is followed, Hz. Edges ring for some inverse bandwidths: what is left of that behind
/// the guard is below a thousandth. Twice the noise costs a hundredth of the uncertainty at 43 dBHz.
const BAND_HZ: f64 = 560.0;
/// Time left out on either side of a change of the key: raised edges (5 ms, common practice, no source), the filter's
/// settling and the smoothing of the decision.
const GUARD_S: f64 = 0.012;
/// Smoothing of the decision.
const SMOOTH_S: f64 = 0.010;

/// The plateau.
pub(super) struct KeyDown {
    pub power: f64,
    pub noise_band_hz: f64,
    pub down_s: f64,
    /// Power in the gaps above the noise over the plateau, and its standard uncertainty.
    pub gap_excess: Option<(f64, f64)>,
}

/// Mean power of the samples whose key is down, at least [`GUARD_S`] away from any change, less the noise in band.
pub(super) fn key_down(b: &Block, f: f64, n0: f64) -> Option<KeyDown> {
    let s = b.sub_band(f, BAND_HZ);
    let p: Vec<f64> = s.z.iter().map(|z| z.norm_sqr()).collect();
    let n = p.len();
    let noise = n0 * s.enbw_hz;
    // The band was cut circularly: the ends of the stretch meet.
    let edge = (GUARD_S * s.rate_hz).ceil() as usize;
    let h = ((0.5 * SMOOTH_S * s.rate_hz).round() as usize).max(1);
    if n < 4 * (edge + h) {
        return None;
    }
    let mut sum = vec![0.0; n + 1];
    for i in 0..n {
        sum[i + 1] = sum[i] + p[i];
    }
    let smooth: Vec<f64> = (0..n)
        .map(|i| {
            let (a, e) = (i.saturating_sub(h), (i + h + 1).min(n));
            (sum[e] - sum[a]) / (e - a) as f64
        })
        .collect();
    // Two levels: start at quantiles, then alternate between assigning and averaging (in amplitude, so that the
    // noise of the upper level does not pull the threshold).
    let amplitude: Vec<f64> = smooth.iter().map(|v| v.sqrt()).collect();
    let mut sorted = amplitude.clone();
    sorted.sort_by(f64::total_cmp);
    let (mut low, mut high) = (sorted[n / 20], sorted[n - 1 - n / 20]);
    for _ in 0..30 {
        let cut = 0.5 * (low + high);
        let k = sorted.partition_point(|v| *v < cut);
        if k == 0 || k == n {
            break;
        }
        low = sorted[..k].iter().sum::<f64>() / k as f64;
        high = sorted[k..].iter().sum::<f64>() / (n - k) as f64;
    }
    // Scatter of the smoothed amplitude of a steady carrier: sqrt(noise / 2) less the averaging.
    let averaged = (2.0 * h as f64 + 1.0) / s.rate_hz * s.enbw_hz;
    let scatter = (0.5 * noise / averaged.max(1.0)).sqrt();
    let keyed = high - low > 6.0 * scatter && high > 1.6 * low;
    let down: Vec<bool> = if keyed {
        let cut = 0.5 * (low + high);
        amplitude.iter().map(|a| *a > cut).collect()
    } else {
        vec![true; n]
    };
    let (mut sum_down, mut n_down, mut sum_up, mut n_up) = (0.0, 0usize, 0.0, 0usize);
    let mut run = 0;
    while run < n {
        let state = down[run];
        let mut end = run;
        while end < n && down[end] == state {
            end += 1;
        }
        // Key edges have a guard on both sides; so have the ends of the stretch.
        let (a, e) = (run + edge, end.saturating_sub(edge));
        if e > a {
            let add: f64 = p[a..e].iter().sum();
            if state {
                sum_down += add;
                n_down += e - a;
            } else {
                sum_up += add;
                n_up += e - a;
            }
        }
        run = end;
    }
    if n_down < 8 {
        return None;
    }
    let power = sum_down / n_down as f64 - noise;
    let gap_s = n_up as f64 / s.rate_hz;
    let gap_excess = (gap_s > 0.1 && power > 0.0).then(|| {
        let up = sum_up / n_up as f64;
        // Relative scatter of the mean power of noise over the gaps.
        let u = noise / (s.enbw_hz * gap_s).sqrt();
        ((up - noise) / power, u / power)
    });
    Some(KeyDown {
        power,
        noise_band_hz: s.enbw_hz,
        down_s: n_down as f64 / s.rate_hz,
        gap_excess,
    })
}
