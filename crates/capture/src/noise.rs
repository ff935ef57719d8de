//! The noise step: how far the transponder's noise stands above the receiver's own.
//!
//! Mean density over the central 60 % of the passband over the density beyond its skirt, the receiver's slope taken
//! out. Occupied bins are left out; a smooth curve through the quiet ones stands for the whole stretch.

use crate::floor::{Cells, Floor, FloorRule, find_floor};
use slantpath_signal::Spectrum;

/// Fraction of the passband over which the density inside is averaged.
pub const CENTRAL_FRACTION: f64 = 0.6;
/// Distance from the passband's middle, in widths, where its skirt has ended.
pub const SKIRT_END: f64 = 0.58;
/// Slope of a receiver over its sampled band that is thought usual: within a decibel (one standard deviation;
/// common practice, no source). Speaks only where noise on both sides does not.
const SLOPE_PRIOR_DB: f64 = 1.0;
/// Tilt of a transponder over its passband that is thought usual, dB (one standard deviation; common practice, no
/// source).
const TILT_PRIOR_DB: f64 = 0.3;

/// Ripple of a transponder over its passband that is thought usual, dB (one standard deviation; common practice, no
/// source). Speaks only where signals leave too little noise to show it.
const RIPPLE_PRIOR_DB: f64 = 0.1;
/// By how much the bends of a floor may raise the uncertainty of its mean over that of a parabola.
const MOST_PAID: f64 = 4.0;

/// Part of a passband over which its floor is fitted, widths either side of its middle.
pub const REACH: f64 = 0.37;
/// Widest signal told apart from the floor by its width, Hz: a voice channel.
const WIDEST_HZ: f64 = 4_500.0;

/// Densities on both sides of a passband's edge.
#[derive(Debug, Clone)]
pub struct NoiseStep {
    /// Density inside over density outside, power ratio.
    pub ratio: f64,
    /// Relative standard uncertainty of the ratio from averaging.
    pub u_random: f64,
    /// Relative standard uncertainty because noise was seen on one side of the passband alone; 0 with both.
    pub u_slope: f64,
    /// Relative standard uncertainty because the receiver's response ripples, as far as the noise outside shows it.
    pub u_ripple: f64,
    /// Mean density over the central part, slope removed to the recording's centre, per hertz.
    pub inside: f64,
    /// Its relative standard uncertainty.
    pub u_inside: f64,
    /// Density outside at the recording's centre, per hertz.
    pub outside: f64,
    /// Its relative standard uncertainty.
    pub u_outside: f64,
    /// Receiver slope, natural logarithm per hertz.
    pub slope: f64,
    /// Windows used outside, Hz from the recording's centre.
    pub windows: Vec<(f64, f64)>,
    /// Window inside.
    pub central: (f64, f64),
    /// Bandwidths of quiet noise used inside and outside, Hz.
    pub quiet_hz: (f64, f64),
    /// Fit inside, for drawing and for listing signals.
    pub floor_inside: Floor,
    /// Fit outside.
    pub floor_outside: Floor,
    /// Departure of parts of the outside windows from their common line over what noise allows (chi-square per
    /// degree of freedom of eight parts a side).
    pub outside_chi2: f64,
}

/// Why there is no noise step.
#[derive(Debug, Clone, PartialEq)]
pub enum NoStep {
    /// The central part of the passband is not in the recording.
    CentreCut {
        /// Fraction of it that is.
        shown: f64,
        /// How far the passband's middle stands from the recording's centre, Hz.
        middle_hz: f64,
        /// Sample rate that would do around the passband's middle, Hz.
        sample_rate_hz: f64,
    },
    /// No flat noise beyond the skirt. The sample rate that would show it, Hz, with the centre as it is.
    NoOutside {
        /// Sample rate that would do.
        sample_rate_hz: f64,
    },
    /// Signals leave no quiet bin.
    NoQuiet,
}

/// The band where the receiver's filter is flat, Hz either side of the centre: from the outside inwards, parts that
/// fall below their inner neighbours are the filter's edge. `from` is where a passband's skirt ends on that side.
pub fn flat_edge(s: &Spectrum, from_hz: f64, sign: f64) -> f64 {
    flat_edge_to(s, from_hz, sign, 0.5 * s.sample_rate_hz)
}

/// The same, looked for up to `to_hz`: where a passband falls, a filter's edge could not be told from its side.
pub fn flat_edge_to(s: &Spectrum, from_hz: f64, sign: f64, to_hz: f64) -> f64 {
    let fs = s.sample_rate_hz;
    let to = to_hz.min(0.5 * fs);
    let part = (0.005 * fs).max(4.0 * s.bin_hz());
    // Compared with what lies within; the fall is looked for from a third of the band on.
    let start = from_hz.max(0.25 * fs);
    let count = ((to - start) / part).floor().max(0.0) as usize;
    let level = |i: usize| -> Option<f64> {
        let (a, b) = (start + i as f64 * part, start + (i + 1) as f64 * part);
        let r = if sign > 0.0 {
            s.range(a, b)
        } else {
            s.range(-b, -a)
        };
        let mut v: Vec<f64> = s.psd.get(r)?.to_vec();
        v.sort_by(f64::total_cmp);
        // Low quartile: signals do not lift it, the filter's edge lowers it.
        v.get(v.len() / 4)
            .copied()
            .filter(|x| *x > 0.0)
            .map(f64::ln)
    };
    let levels: Vec<f64> = (0..count).map_while(level).collect();
    if levels.len() < 5 {
        return to.min((0.44 * fs).max(from_hz));
    }
    let bins = part / s.bin_hz();
    let u = (2.0 * s.relative_variance(bins)).sqrt();
    for (i, l) in levels.iter().enumerate().skip(3) {
        if start + i as f64 * part < 0.33 * fs {
            continue;
        }
        // A signal that fills some parts does not lift the median of a dozen; a slope hardly moves over them.
        let mut near = levels[i.saturating_sub(12)..i].to_vec();
        near.sort_by(f64::total_cmp);
        if *l < near[near.len() / 2] - 4.0 * u - 0.03 {
            // The fall begins earlier than it shows.
            return (start + (i as f64 - 3.0) * part).max(from_hz);
        }
    }
    to.min(0.495 * fs)
}

/// Measures the step for a passband that stands between `lo_hz` and `hi_hz` in the recording. `others` are passbands
/// whose noise must not be taken for the receiver's.
pub fn noise_step(
    s: &Spectrum,
    lo_hz: f64,
    hi_hz: f64,
    others: &[(f64, f64)],
) -> Result<NoiseStep, NoStep> {
    let fs = s.sample_rate_hz;
    let (mid, width) = (0.5 * (lo_hz + hi_hz), hi_hz - lo_hz);
    let central = (
        mid - 0.5 * CENTRAL_FRACTION * width,
        mid + 0.5 * CENTRAL_FRACTION * width,
    );
    let shown = 0.45 * fs;
    let part = (central.1.min(shown) - central.0.max(-shown)).max(0.0) / (central.1 - central.0);
    if part < 0.999 {
        return Err(NoStep::CentreCut {
            shown: part,
            middle_hz: mid,
            sample_rate_hz: 2.0 * 0.63 * width / 0.88,
        });
    }
    // Outside, both sides.
    let reach = SKIRT_END * width;
    let top = flat_edge(s, (mid + reach).max(0.0), 1.0);
    let bottom = flat_edge(s, (reach - mid).max(0.0), -1.0);
    let mut windows: Vec<(f64, f64)> = Vec::new();
    for (a, b) in [(-bottom, mid - reach), (mid + reach, top)] {
        let mut pieces = vec![(a, b)];
        for (ol, oh) in others {
            let (om, ow) = (0.5 * (ol + oh), oh - ol);
            let (ol, oh) = (om - SKIRT_END * ow, om + SKIRT_END * ow);
            pieces = pieces
                .into_iter()
                .flat_map(|(a, b)| [(a, b.min(ol)), (a.max(oh), b)])
                .filter(|(a, b)| b > a)
                .collect();
        }
        windows.extend(
            pieces
                .into_iter()
                .filter(|(a, b)| b - a > (4e-3 * fs).max(16.0 * s.bin_hz())),
        );
    }
    let wide: f64 = windows.iter().map(|(a, b)| b - a).sum();
    if wide < 0.015 * fs {
        // Room for a twentieth of the width of flat noise on both sides, within the flat nine tenths.
        let want = 2.0 * (mid.abs() + 0.63 * width) / 0.88;
        return Err(NoStep::NoOutside {
            sample_rate_hz: want,
        });
    }
    let inside = inside_floor(s, mid, width).ok_or(NoStep::NoQuiet)?;
    // Slope of the inside is receiver slope plus transponder tilt: a weak witness where only one side shows.
    let tilt = inside.poly.slope_at(mid);
    let ranges: Vec<_> = windows.iter().map(|(a, b)| s.range(*a, *b)).collect();
    let cells = Cells::of(s, &ranges);
    let scale = 0.5 * fs;
    let ln_db = std::f64::consts::LN_10 / 10.0;
    let slope_u = TILT_PRIOR_DB * ln_db / width;
    let rx_u = SLOPE_PRIOR_DB * ln_db / fs;
    // Two witnesses of one slope, combined by their inverse variances.
    let (w1, w2) = (1.0 / (slope_u * slope_u), 1.0 / (rx_u * rx_u));
    let prior = (
        1,
        tilt * w1 / (w1 + w2) * scale,
        (w1 + w2).powf(-0.5) * scale,
    );
    let rule = FloorRule {
        min_order: 1,
        max_order: 1,
        widest_hz: WIDEST_HZ,
        centre_hz: mid,
        scale_hz: scale,
        priors: vec![prior],
        tolerance: 0.004,
    };
    let outside = find_floor(&cells, &rule).ok_or(NoStep::NoQuiet)?;
    let slope = outside.poly.slope_at(mid);
    // Slope taken out about the passband's middle.
    let steps = 240;
    let mean_inside = (0..steps)
        .map(|i| {
            let f = central.0 + (i as f64 + 0.5) / steps as f64 * (central.1 - central.0);
            (inside.poly.at(f) - slope * (f - mid)).exp()
        })
        .sum::<f64>()
        / steps as f64;
    let out_mid = outside.poly.at(mid).exp();
    let u_in = inside
        .poly
        .variance_of(&inside.poly.mean_row(central.0, central.1))
        .sqrt();
    // The prior's part of the variance is systematic: what is left when it is taken as known.
    let fixed = FloorRule {
        priors: vec![(
            1,
            outside.poly.coefficients.get(1).copied().unwrap_or(0.0),
            1e-9,
        )],
        ..rule
    };
    let u_out_total = outside.poly.variance_at(mid).sqrt();
    let two_sided = windows.iter().any(|w| w.1 < mid) && windows.iter().any(|w| w.0 > mid);
    let u_out = if two_sided {
        u_out_total
    } else {
        find_floor(&cells, &fixed).map_or(u_out_total, |f| f.poly.variance_at(mid).sqrt())
    };
    let u_slope = (u_out_total * u_out_total - u_out * u_out).max(0.0).sqrt();
    let quiet = |f: &Floor, c: f64| f.quiet_fraction * c;
    let to_centre = (-slope * mid).exp();
    let (outside_chi2, part_variance) = parts_chi2(&cells, &outside);
    // Ten degrees of freedom: noise alone reaches 2.3 in one recording of a hundred.
    let u_ripple = if outside_chi2 > 2.3 {
        ((outside_chi2 - 1.0) * part_variance).sqrt()
    } else {
        0.0
    };
    Ok(NoiseStep {
        ratio: mean_inside / out_mid,
        u_random: u_in.hypot(u_out),
        u_slope,
        u_ripple,
        inside: mean_inside * to_centre,
        u_inside: u_in.hypot(
            outside
                .poly
                .covariance
                .get(1)
                .and_then(|r| r.get(1))
                .copied()
                .unwrap_or(0.0)
                .max(0.0)
                .sqrt()
                * mid
                / scale,
        ),
        outside: outside.poly.at(0.0).exp(),
        u_outside: outside.poly.variance_at(0.0).sqrt(),
        slope,
        quiet_hz: (quiet(&inside, 2.0 * REACH * width), quiet(&outside, wide)),
        windows,
        central,
        floor_inside: inside,
        floor_outside: outside,
        outside_chi2,
    })
}

/// The floor inside a passband, away from its edges.
pub fn inside_floor(s: &Spectrum, mid: f64, width: f64) -> Option<Floor> {
    let limit = 0.45 * s.sample_rate_hz;
    let r = s.range(
        (mid - 0.4 * width).max(-limit),
        (mid + 0.4 * width).min(limit),
    );
    let cells = Cells::of(s, &[r]);
    let of_order = |order| {
        find_floor(
            &cells,
            &FloorRule {
                min_order: order,
                max_order: order,
                widest_hz: WIDEST_HZ,
                centre_hz: mid,
                scale_hz: REACH * width,
                priors: Vec::new(),
                tolerance: 0.004,
            },
        )
    };
    let half = 0.5 * CENTRAL_FRACTION * width;
    let row = |f: &Floor| f.poly.mean_row(mid - half, mid + half);
    let u = |f: &Floor| f.poly.variance_of(&row(f)).sqrt();
    let mean = |f: &Floor| -> f64 {
        let row = row(f);
        row.iter()
            .zip(&f.poly.coefficients)
            .map(|(a, b)| a * b)
            .sum()
    };
    // Bends that are not asked for would hide in the mean: all that the quiet cells afford are fitted. The mean over the
    // central part hardly pays for them,
    let full = of_order(8)?;
    let Some(plain) = of_order(2) else {
        return Some(full);
    };
    let worth = MOST_PAID * u(&plain);
    if u(&full) <= worth {
        return Some(full);
    }
    // but for signals that leave one long gap: a curve of high order says anything there.
    let mut stiff = [6, 4, 3]
        .into_iter()
        .filter_map(of_order)
        .find(|f| u(f) <= worth)
        .unwrap_or_else(|| plain.clone());
    let other =
        of_order(1).filter(|_| stiff.poly.coefficients.len() <= plain.poly.coefficients.len());
    let bend = mean(&stiff) - mean(other.as_ref().unwrap_or(&plain));
    let ripple = RIPPLE_PRIOR_DB * std::f64::consts::LN_10 / 10.0;
    if let Some(v) = stiff
        .poly
        .covariance
        .first_mut()
        .and_then(|r| r.first_mut())
    {
        *v += bend * bend + ripple * ripple;
    }
    Some(stiff)
}

/// Chi-square per degree of freedom of the means of twelve parts of the cells about the curve, and the variance of a
/// part's mean by noise alone.
fn parts_chi2(c: &Cells, f: &Floor) -> (f64, f64) {
    let n = c.len();
    let parts = 12;
    let (mut chi2, mut dof, mut variance) = (0.0, 0.0, 0.0);
    for p in 0..parts {
        let (a, b) = (n * p / parts, n * (p + 1) / parts);
        let (mut sum, mut count, mut own) = (0.0, 0.0, 0.0);
        for i in a..b {
            if f.quiet[i] {
                sum += (c.y[i] - f.poly.at(c.f[i])) / c.sigma[i];
                own += c.sigma[i] * c.sigma[i];
                count += 1.0;
            }
        }
        if count > 3.0 {
            chi2 += sum * sum / (count * c.inflation);
            variance += own * c.inflation / (count * count);
            dof += 1.0;
        }
    }
    if dof > 2.0 {
        (chi2 / (dof - 2.0), variance / dof)
    } else {
        (0.0, 0.0)
    }
}
