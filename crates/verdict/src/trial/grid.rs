//! What a trial's data leave open, as a grid of settings with prior weights.
//!
//! - tau, the scatter from mounting to mounting. With three mountings or more it is open; prior half-Cauchy with 1.5
//!   declared standard uncertainties as scale (the declared one may well be too small). When nothing is remounted, zero
//!   with probability 3/4, else half-Cauchy with a scale of 0.01 dB. With one mounting a side the data cannot show it:
//!   tau is the declared uncertainty, or zero when nothing is remounted.
//! - The fade's size a and time scale l. Half of the prior is "none" (a quarter where the sides do not alternate and a
//!   fade would pass for the swap); the rest is spread evenly over ln l from half the step between mountings (a faster
//!   fade is scatter) to the longest session, and half-Cauchy over a with a scale of 0.2 dB (common practice, no source).
//! - rho, the scatter of one recording against the next *within* a mounting beyond their stated uncertainty: a gain that
//!   creeps, scintillation, a beacon's own level. Open where some mounting holds two recordings or more; zero with
//!   probability 1/2, else half-Cauchy with a scale of 0.04 dB (common practice, no source). Without it two recordings of
//!   one mounting that disagree can only be a steep drift, and the drift is carried on into the next mounting. With one
//!   recording a mounting it is part of tau.
//!
//! The priors were chosen by simulation so that 95 % intervals cover 95 % with six or more mountings that scatter by 0.1
//! to 0.2 dB; with four they are wider than needed, yet narrower than Student's interval with two degrees of freedom.

use super::design::{Design, Point};
use super::input::{Scope, TrialOptions};

const REMOUNT_PRIOR: f64 = 1.5;
const SWITCH_SCATTER_DB: f64 = 0.01;
const CLEAN_SWITCH: f64 = 0.75;
const FADE_SCALE_DB: f64 = 0.2;
const REPEAT_SCALE_DB: f64 = 0.04;
const CLEAN_REPEAT: f64 = 0.5;
const NO_FADE: f64 = 0.5;
const NO_FADE_UNSEPARATED: f64 = 0.25;

/// A longer pause begins another session, s.
pub(super) const SESSION_GAP_S: f64 = 6.0 * 3600.0;

/// One setting of what the data leave open.
pub(super) struct Setting {
    /// Natural logarithm of its prior probability.
    pub ln_prior: f64,
    /// Scatter from mounting to mounting, dB.
    pub tau: f64,
    /// Scatter of recordings within a mounting beyond their stated uncertainty, dB.
    pub repeat: f64,
    /// Size of the fade as standard deviation, dB; zero for none.
    pub fade: f64,
    /// Index of the fade's time scale.
    pub scale: usize,
}

/// The settings, and the time scales they refer to.
pub(super) struct Grid {
    pub settings: Vec<Setting>,
    pub scales_s: Vec<f64>,
}

pub(super) fn grid(design: &Design, points: &[Point], options: &TrialOptions) -> Grid {
    let taus = remount_scatter(design, points, options);
    let repeats = repeatability(points);
    let no_fade = if design.is_interleaved() {
        NO_FADE
    } else {
        NO_FADE_UNSEPARATED
    };
    let mut fades = vec![(no_fade, 0.0, 0)];
    let mut scales_s = Vec::new();
    // Two observations say nothing about a fade beside the difference.
    if points.len() > 2 {
        const SCALES: usize = 6;
        let (shortest, longest) = time_scales(design, points);
        let most = (6.0 * FADE_SCALE_DB).max(2.0 * spread(points));
        let sizes = spaced(0.02, most, 8, half_cauchy(FADE_SCALE_DB));
        for k in 0..SCALES {
            scales_s.push(shortest * (longest / shortest).powf(k as f64 / (SCALES - 1) as f64));
            for &(w, a) in &sizes {
                fades.push(((1.0 - no_fade) * w / SCALES as f64, a, k));
            }
        }
    }
    let mut settings = Vec::with_capacity(taus.len() * repeats.len() * fades.len());
    for &(wt, tau) in &taus {
        for &(wr, repeat) in &repeats {
            for &(wf, fade, scale) in &fades {
                settings.push(Setting {
                    ln_prior: (wt * wr * wf).ln(),
                    tau,
                    repeat,
                    fade,
                    scale,
                });
            }
        }
    }
    Grid { settings, scales_s }
}

/// Weights and values of tau.
fn remount_scatter(design: &Design, points: &[Point], options: &TrialOptions) -> Vec<(f64, f64)> {
    let declared = declared_remount(options);
    if !design.remount_scatter_shows() {
        return vec![(1.0, if design.remounted { declared } else { 0.0 })];
    }
    if design.remounted && declared > 0.0 {
        let scale = REMOUNT_PRIOR * declared;
        let most = (10.0 * declared).max(2.0 * spread(points));
        return spaced(0.07 * declared, most, 16, half_cauchy(scale));
    }
    let most = (10.0 * SWITCH_SCATTER_DB).max(2.0 * spread(points));
    let mut open = spaced(
        0.1 * SWITCH_SCATTER_DB,
        most,
        16,
        half_cauchy(SWITCH_SCATTER_DB),
    );
    for w in &mut open {
        w.0 *= 1.0 - CLEAN_SWITCH;
    }
    open.push((CLEAN_SWITCH, 0.0));
    open
}

/// Weights and values of rho.
fn repeatability(points: &[Point]) -> Vec<(f64, f64)> {
    let mut widest = 0.0f64;
    let mut repeated = false;
    for (i, p) in points.iter().enumerate() {
        for q in &points[..i] {
            if p.mounting == q.mounting && p.branch == q.branch {
                repeated = true;
                widest = widest.max((p.value_db - q.value_db).abs());
            }
        }
    }
    if !repeated {
        return vec![(1.0, 0.0)];
    }
    let most = (5.0 * REPEAT_SCALE_DB).max(1.5 * widest);
    let mut open = spaced(0.4 * REPEAT_SCALE_DB, most, 5, half_cauchy(REPEAT_SCALE_DB));
    for w in &mut open {
        w.0 *= 1.0 - CLEAN_REPEAT;
    }
    open.push((CLEAN_REPEAT, 0.0));
    open
}

/// Standard uncertainty of one mounting as declared.
fn declared_remount(options: &TrialOptions) -> f64 {
    options
        .declared
        .iter()
        .filter(|d| d.scope == Scope::Mounting)
        .map(|d| d.contributor.distribution.u().powi(2))
        .sum::<f64>()
        .sqrt()
}

/// `n` values from `lo` to `hi`, spaced evenly in logarithm, with weights that sum to 1 and go as `density`, the prior
/// density per unit of logarithm.
fn spaced(lo: f64, hi: f64, n: usize, density: impl Fn(f64) -> f64) -> Vec<(f64, f64)> {
    let values: Vec<f64> = (0..n)
        .map(|k| lo * (hi / lo).powf(k as f64 / (n - 1) as f64))
        .collect();
    let total: f64 = values.iter().map(|&x| density(x)).sum();
    values.iter().map(|&x| (density(x) / total, x)).collect()
}

/// Half-Cauchy density per unit of logarithm.
fn half_cauchy(scale: f64) -> impl Fn(f64) -> f64 {
    move |x| x * scale / (x * x + scale * scale)
}

/// Largest range of values within one side and branch, dB.
fn spread(points: &[Point]) -> f64 {
    let mut widest = 0.0f64;
    for p in points {
        for q in points {
            if p.side == q.side && p.branch == q.branch {
                widest = widest.max(p.value_db - q.value_db);
            }
        }
    }
    widest
}

/// Shortest and longest time scale of a fade that the data could show: half the median step between runs of one side (between
/// observations where the sides do not alternate) and the longest session.
fn time_scales(design: &Design, points: &[Point]) -> (f64, f64) {
    let times: Vec<f64> = points.iter().map(|p| p.time_s).collect();
    let longest = times
        .chunk_by(|a, b| b - a <= SESSION_GAP_S)
        .map(|session| session[session.len() - 1] - session[0])
        .fold(0.0, f64::max);
    let moments: Vec<f64> = if design.is_interleaved() {
        points
            .chunk_by(|a, b| a.run == b.run)
            .map(|run| run.iter().map(|p| p.time_s).sum::<f64>() / run.len() as f64)
            .collect()
    } else {
        times
    };
    let steps: Vec<f64> = moments
        .windows(2)
        .map(|w| w[1] - w[0])
        .filter(|dt| *dt > 0.0 && *dt <= SESSION_GAP_S)
        .collect();
    let step = slantpath_stats::robust::median(&steps).unwrap_or(1.0);
    (0.5 * step, longest.max(2.0 * step))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn weights_sum_to_one_over_the_range() {
        let h = spaced(0.01, 1.5, 16, half_cauchy(0.15));
        assert!((h.iter().map(|x| x.0).sum::<f64>() - 1.0).abs() < 1e-12);
        assert!((h[0].1 - 0.01).abs() < 1e-15 && (h[15].1 - 1.5).abs() < 1e-12);
        // Most likely (per unit of logarithm) at the scale itself.
        let top = h
            .iter()
            .fold((0.0, 0.0), |m, x| if x.0 > m.0 { *x } else { m });
        assert!((top.1 / 0.15f64).ln().abs() < 0.25);
    }
}
