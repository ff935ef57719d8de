//! The difference between the sides, with everything the data leave open averaged over.
//!
//! Model, for observation i at time t_i on branch b and mounting m:
//!
//! ```text
//! y_i = level_b + side_i D + mounting_m + day(t_i) + fade(t_i) + repeat_i + noise_i
//! ```
//!
//! `noise` has the stated random uncertainty; `repeat` is what recordings of one mounting scatter beyond it, with standard
//! deviation rho (zero where no mounting was recorded twice). `mounting` is independent from mounting to mounting with standard deviation
//! tau. `day` is the declared day-to-day process of known size. `fade` is a slow common drift of unknown size a and unknown
//! time scale l. Both processes are Gaussian with Matern covariance of order 3/2 (`day`) and 5/2 (`fade`), so they are
//! smooth over times short against their scale.
//!
//! For *given* (tau, rho, a, l) this is generalised least squares: D has a normal distribution. What is not given is averaged
//! over: each setting of a grid ([`super::grid`]) is weighted by its restricted likelihood (the probability of what is left
//! of the data after levels and D have been fitted freely) times its prior, and the distribution of D is the weighted
//! mixture. That is where Student's t comes from when only tau is open: a mixture of normals over the unknown scatter.
//! Here the mixture also covers the drift, so that no order of a drift polynomial has to be chosen and the interval
//! includes not knowing it.

use super::design::{Design, Point};
use super::grid::{Grid, SESSION_GAP_S, Setting, grid};
use super::input::{Scope, Side, TrialOptions};
use slantpath_quantity::Interval;
use slantpath_stats::intervals::{normal_cdf, normal_factor, normal_pdf};
use slantpath_stats::matrix::{Cholesky, Matrix, dot};
use std::collections::BTreeMap;

/// Variance of the difference by origin, dB^2.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Parts {
    /// Random part of the station's own observations.
    pub own: f64,
    /// Random part of the control.
    pub control: f64,
    /// Mountings.
    pub mounting: f64,
    /// Recordings of one mounting beyond their stated uncertainty.
    pub repeat: f64,
    /// Each declared contributor of a day or a side, in the order of the options (others zero).
    pub declared: Vec<f64>,
    /// Drift: the fade, and the spread of the difference over what the drift may have been.
    pub fade: f64,
}

/// The distribution of the difference B - A.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fit {
    /// Weight, mean, standard deviation of each component.
    components: Vec<(f64, f64, f64)>,
    /// Mean, dB.
    pub mean: f64,
    /// Standard deviation, dB.
    pub u: f64,
    pub parts: Parts,
    /// Root mean square of tau, dB.
    pub tau: f64,
    /// Root mean square of rho, dB.
    pub repeat: f64,
    /// Probability of a fade.
    pub fade_probability: f64,
    /// Root mean square size of the fade, dB.
    pub fade_db: f64,
}

/// `None` when no setting's covariance can be factored.
pub(super) fn fit(design: &Design, points: &[Point], options: &TrialOptions) -> Option<Fit> {
    let Grid { settings, scales_s } = grid(design, points, options);
    let fixed = Fixed::new(design, points, options, &scales_s);
    // A setting whose covariance cannot be factored is numerically degenerate and carries no weight.
    let mut solved: Vec<(Setting, Solved)> = settings
        .into_iter()
        .filter_map(|s| fixed.solve(&s).map(|x| (s, x)))
        .collect();
    let top = solved
        .iter()
        .map(|(s, x)| s.ln_prior + x.ln_likelihood)
        .fold(f64::NEG_INFINITY, f64::max);
    let weight = |s: &Setting, x: &Solved| (s.ln_prior + x.ln_likelihood - top).exp();
    // Settings of next to no weight are dropped before the rest is worked out.
    const LEAST: f64 = 1e-8;
    solved.retain(|(s, x)| weight(s, x) > LEAST);
    let total: f64 = solved.iter().map(|(s, x)| weight(s, x)).sum();
    if !(total > 0.0 && total.is_finite()) {
        return None;
    }
    let weights: Vec<f64> = solved.iter().map(|(s, x)| weight(s, x) / total).collect();
    let average = |f: &dyn Fn(&Setting, &Solved) -> f64| -> f64 {
        solved
            .iter()
            .zip(&weights)
            .map(|((s, x), w)| w * f(s, x))
            .sum()
    };
    let mean = average(&|_, x| x.d);
    let between = average(&|_, x| (x.d - mean).powi(2));
    let split: Vec<Parts> = solved.iter().map(|(s, x)| fixed.parts(s, &x.w)).collect();
    let part = |f: &dyn Fn(&Parts) -> f64| -> f64 {
        split.iter().zip(&weights).map(|(p, w)| w * f(p)).sum()
    };
    Some(Fit {
        mean,
        u: (average(&|_, x| x.variance) + between).sqrt(),
        tau: average(&|s, _| s.tau * s.tau).sqrt(),
        repeat: average(&|s, _| s.repeat * s.repeat).sqrt(),
        fade_probability: average(&|s, _| f64::from(u8::from(s.fade > 0.0))),
        fade_db: average(&|s, _| s.fade * s.fade).sqrt(),
        parts: Parts {
            own: part(&|p| p.own),
            control: part(&|p| p.control),
            mounting: part(&|p| p.mounting),
            repeat: part(&|p| p.repeat),
            declared: (0..options.declared.len())
                .map(|k| part(&|p| p.declared[k]))
                .collect(),
            fade: part(&|p| p.fade) + between,
        },
        components: solved
            .iter()
            .zip(&weights)
            .map(|((_, x), w)| (*w, x.d, x.variance.sqrt()))
            .collect(),
    })
}

impl Fit {
    /// Probabilistically symmetric interval of the mixture, by Newton's method on its distribution function.
    pub fn interval(&self, level: f64) -> Interval {
        let tail = 0.5 * (1.0 - level);
        Interval {
            lo: self.quantile(tail, -1.0),
            hi: self.quantile(tail, 1.0),
            level,
        }
    }

    /// The point beyond which (to the side of `sign`) lies the probability `tail`.
    fn quantile(&self, tail: f64, sign: f64) -> f64 {
        let beyond = |x: f64| -> f64 {
            self.components
                .iter()
                .map(|(w, d, u)| w * normal_cdf(sign * (d - x) / u))
                .sum()
        };
        let density = |x: f64| -> f64 {
            self.components
                .iter()
                .map(|(w, d, u)| w * normal_pdf((x - d) / u) / u)
                .sum()
        };
        // The components' own points bound the mixture's.
        let k = normal_factor(1.0 - 2.0 * tail);
        let ends = self.components.iter().map(|(_, d, u)| d + sign * k * u);
        let (mut a, mut b) = (
            ends.clone().fold(f64::INFINITY, f64::min) - 1e-9,
            ends.fold(f64::NEG_INFINITY, f64::max) + 1e-9,
        );
        // Newton's method, kept inside the bracket by bisection.
        let mut x = self.mean + sign * k * self.u;
        for _ in 0..60 {
            if !(a < x && x < b) {
                x = 0.5 * (a + b);
            }
            let excess = beyond(x) - tail;
            if (excess > 0.0) == (sign > 0.0) {
                a = x;
            } else {
                b = x;
            }
            let step = sign * excess / density(x);
            x += step;
            if step.abs() < 1e-10 || b - a < 1e-10 {
                break;
            }
        }
        if a <= x && x <= b { x } else { 0.5 * (a + b) }
    }
}

/// When each point samples the day-to-day process. Where the sides alternate, the process stands still within a session
/// (at the session's middle) and what moves within it is the fade's business: a drift of declared size that is not there
/// would otherwise take some of the scatter that belongs to the mountings. Where they do not alternate, the data cannot
/// show the drift, and the declared process is all there is.
fn day_moments(design: &Design, points: &[Point]) -> Vec<f64> {
    let times: Vec<f64> = points.iter().map(|p| p.time_s).collect();
    if !design.is_interleaved() {
        return times;
    }
    let mut moments = Vec::with_capacity(times.len());
    for session in times.chunk_by(|a, b| b - a <= SESSION_GAP_S) {
        let middle = session.iter().sum::<f64>() / session.len() as f64;
        moments.extend(session.iter().map(|_| middle));
    }
    moments
}

/// Matern covariance of unit variance, order 3/2.
fn matern_3_2(lag: f64, scale: f64) -> f64 {
    let x = 3f64.sqrt() * lag.abs() / scale;
    (1.0 + x) * (-x).exp()
}

/// Matern covariance of unit variance, order 5/2.
fn matern_5_2(lag: f64, scale: f64) -> f64 {
    let x = 5f64.sqrt() * lag.abs() / scale;
    (1.0 + x + x * x / 3.0) * (-x).exp()
}

/// What does not change from setting to setting.
struct Fixed<'a> {
    points: &'a [Point],
    y: Vec<f64>,
    /// Columns: level of each branch, then the side.
    columns: Vec<Vec<f64>>,
    /// Covariance of noise and day-to-day contributors.
    base: Matrix,
    /// Unit covariance of the day-to-day contributors, and each one's variance.
    day: Matrix,
    day_var: Vec<f64>,
    /// Variance of each contributor that a side has for itself.
    side_var: Vec<f64>,
    /// Unit covariance of a fade of each time scale.
    fades: Vec<Matrix>,
}

/// The fit under one setting.
struct Solved {
    ln_likelihood: f64,
    d: f64,
    variance: f64,
    /// Weights of the observations in the difference.
    w: Vec<f64>,
}

impl<'a> Fixed<'a> {
    fn new(design: &Design, points: &'a [Point], options: &TrialOptions, scales_s: &[f64]) -> Self {
        let n = points.len();
        let day_var: Vec<f64> = options
            .declared
            .iter()
            .map(|d| match d.scope {
                Scope::Mounting | Scope::Side => 0.0,
                Scope::Day { seen_by_control } if seen_by_control && design.control_used => 0.0,
                Scope::Day { .. } => d.contributor.distribution.u().powi(2),
            })
            .collect();
        let side_var: Vec<f64> = options
            .declared
            .iter()
            .map(|d| match d.scope {
                Scope::Side => d.contributor.distribution.u().powi(2),
                _ => 0.0,
            })
            .collect();
        let total: f64 = day_var.iter().sum();
        let of_side: f64 = side_var.iter().sum();
        let moments = day_moments(design, points);
        let day = Matrix::from_fn(n, n, |i, j| {
            matern_3_2(moments[i] - moments[j], options.correlation_s)
        });
        let base = Matrix::from_fn(n, n, |i, j| {
            let noise = if i == j {
                points[i].own_var + points[i].control_var
            } else {
                0.0
            };
            let side = if points[i].side == points[j].side {
                of_side
            } else {
                0.0
            };
            noise + side + total * day[(i, j)]
        });
        let indicator = |f: &dyn Fn(&Point) -> bool| -> Vec<f64> {
            points.iter().map(|p| f64::from(u8::from(f(p)))).collect()
        };
        let mut columns: Vec<Vec<f64>> = (0..design.branches.len())
            .map(|b| indicator(&|p| p.branch == b))
            .collect();
        columns.push(indicator(&|p| p.side == Side::B));
        // Levels are fitted anyway; taking one off first keeps the sums small.
        let level = points.first().map_or(0.0, |p| p.value_db);
        let fade = |l: &f64| {
            Matrix::from_fn(n, n, |i, j| {
                matern_5_2(points[i].time_s - points[j].time_s, *l)
            })
        };
        Self {
            points,
            y: points.iter().map(|p| p.value_db - level).collect(),
            columns,
            base,
            day,
            day_var,
            side_var,
            fades: scales_s.iter().map(fade).collect(),
        }
    }

    /// Generalised least squares under one setting, with its restricted likelihood
    /// `-1/2 (ln|V| + ln|X^T V^-1 X| + r^T V^-1 r)`.
    fn solve(&self, s: &Setting) -> Option<Solved> {
        let p = self.points;
        let n = p.len();
        let fade = self.fades.get(s.scale).filter(|_| s.fade > 0.0);
        let v = Matrix::from_fn(n, n, |i, j| {
            if j > i {
                return 0.0; // only the lower triangle is read
            }
            let mut x = self.base[(i, j)];
            if i == j {
                x += s.repeat * s.repeat;
            }
            if p[i].mounting == p[j].mounting {
                x += s.tau * s.tau;
            }
            if let Some(fade) = fade {
                x += s.fade * s.fade * fade[(i, j)];
            }
            x
        });
        let chol = Cholesky::new(&v).ok()?;
        let k = self.columns.len();
        let white: Vec<Vec<f64>> = self.columns.iter().map(|c| chol.whiten(c)).collect();
        let wy = chol.whiten(&self.y);
        let gram = Cholesky::new(&Matrix::from_fn(k, k, |i, j| dot(&white[i], &white[j]))).ok()?;
        let right: Vec<f64> = white.iter().map(|c| dot(c, &wy)).collect();
        let beta = gram.solve(&right);
        let chi2 = dot(&wy, &wy) - dot(&beta, &right);
        let mut last = vec![0.0; k];
        last[k - 1] = 1.0;
        let row = gram.solve(&last);
        // D = w . y with w = V^-1 X row.
        let combined: Vec<f64> = (0..n)
            .map(|i| self.columns.iter().zip(&row).map(|(c, r)| c[i] * r).sum())
            .collect();
        Some(Solved {
            ln_likelihood: -0.5 * (chol.ln_det() + gram.ln_det() + chi2),
            d: beta[k - 1],
            variance: row[k - 1],
            w: chol.solve(&combined),
        })
    }

    /// Variance of the difference by origin for the weights `w`.
    fn parts(&self, s: &Setting, w: &[f64]) -> Parts {
        let points = self.points;
        let day = self.day.quadratic(w).max(0.0);
        let fade = self.fades.get(s.scale).filter(|_| s.fade > 0.0);
        let mut by_mounting: BTreeMap<usize, f64> = BTreeMap::new();
        for (p, w) in points.iter().zip(w) {
            *by_mounting.entry(p.mounting).or_default() += w;
        }
        let by_side: f64 = [Side::A, Side::B]
            .iter()
            .map(|s| {
                let of = points.iter().zip(w).filter(|(p, _)| p.side == *s);
                of.map(|(_, w)| w).sum::<f64>().powi(2)
            })
            .sum();
        let noise =
            |var: fn(&Point) -> f64| points.iter().zip(w).map(|(p, w)| w * w * var(p)).sum();
        Parts {
            own: noise(|p| p.own_var),
            control: noise(|p| p.control_var),
            repeat: s.repeat * s.repeat * dot(w, w),
            mounting: s.tau * s.tau * by_mounting.values().map(|w| w * w).sum::<f64>(),
            declared: self
                .day_var
                .iter()
                .zip(&self.side_var)
                .map(|(d, s)| d * day + s * by_side)
                .collect(),
            fade: fade.map_or(0.0, |f| s.fade * s.fade * f.quadratic(w).max(0.0)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn covariances_are_what_they_claim() {
        for f in [matern_3_2, matern_5_2] {
            assert_eq!(f(0.0, 3.0), 1.0);
            assert!(f(30.0, 3.0) < 1e-5 && f(-1.0, 3.0) == f(1.0, 3.0));
        }
    }

    /// Half and half of two normals far apart: the quartiles lie in the middle of each.
    #[test]
    fn mixture_quantiles() {
        let f = Fit {
            components: vec![(0.5, -10.0, 1.0), (0.5, 10.0, 1.0)],
            mean: 0.0,
            u: 101f64.sqrt(),
            parts: Parts::default(),
            tau: 0.0,
            repeat: 0.0,
            fade_probability: 0.0,
            fade_db: 0.0,
        };
        let i = f.interval(0.5);
        assert!((i.lo + 10.0).abs() < 1e-6 && (i.hi - 10.0).abs() < 1e-6);
    }
}
