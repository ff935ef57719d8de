//! The beam fitted to holds.

use crate::PlanError;
use slantpath_quantity::{Estimate, Interval, Validity, from_db, to_db};
use slantpath_stats::least_squares::{Nonlinear, Prior};
use slantpath_stats::matrix::{Cholesky, Matrix};
use slantpath_stats::stream::{named_stream, normal, uniform};

/// Loss down to which the main beam is a parabola in dB: `L = 12 (r/theta_3)^2` (common practice; ITU-R S.465 uses the
/// same form as 2.5e-3 (D/lambda phi)^2). Holds below that are kept, with an uncertainty that grows with the loss.
pub const LARGEST_LOSS_DB: f64 = 12.0;
/// Where the parabola flattens, dB below the peak: sidelobes hold the level up there, and it tells only that the beam is
/// more than a width away.
const FLOOR_DB: f64 = 19.0;

/// Standard uncertainty of the beam's shape at a loss, dB: a uniform and a strongly tapered aperture's main beams depart
/// from the parabola by 0.05 dB at 3 dB and by 1 dB at 12 dB; near and beyond the first null hardly anything is known.
fn shape_u_db(loss_db: f64) -> f64 {
    0.02 * loss_db + 5.0 * (loss_db / FLOOR_DB).powi(4)
}

/// Weighted draws of the posterior.
const DRAWS: usize = 2000;
/// Effective draws below which a fit says so.
const FEW: f64 = 100.0;
/// Unknowns: error in azimuth and elevation now (deg on the sky), ln of degrees per turn of both bolts, level now (dB),
/// ln of the beam's width. The level now is known well whatever the errors are; the peak's would bend with them.
const N: usize = 6;

/// A level read while nothing moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hold {
    /// Turns of the azimuth bolt since the start; positive turns move the beam to the right.
    pub turns_az: f64,
    /// Turns of the elevation bolt since the start; positive turns move the beam up.
    pub turns_el: f64,
    /// Level, dB.
    pub level_db: f64,
    /// Its standard uncertainty, with scintillation and wind.
    pub u_db: f64,
}

/// What is known before the first hold: value and standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Before {
    /// Beam width between half-power points, deg.
    pub beamwidth_deg: (f64, f64),
    /// Level at the peak, dB.
    pub peak_db: (f64, f64),
    /// How far off azimuth may be, deg on the sky.
    pub u_az_deg: f64,
    /// How far off elevation may be, deg.
    pub u_el_deg: f64,
    /// Degrees on the sky per turn of the azimuth bolt, with its relative standard uncertainty.
    pub per_turn_az: (f64, f64),
    /// Degrees per turn of the elevation bolt, with its relative standard uncertainty.
    pub per_turn_el: (f64, f64),
    /// How far a turn misses what was asked for, turns: hand and backlash.
    pub u_turn: f64,
}

/// What the holds say.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// How far right of the satellite the beam points now, deg on the sky.
    pub error_az: Estimate,
    /// How far above the satellite the beam points now, deg.
    pub error_el: Estimate,
    /// Loss by pointing now, dB.
    pub loss: Estimate,
    /// Level at the peak, dB.
    pub peak: Estimate,
    /// What a turn does, deg on the sky.
    pub per_turn_az: Estimate,
    /// What a turn does, deg.
    pub per_turn_el: Estimate,
    /// Probability that the beam is right of the satellite, and that it is above.
    pub p_right: f64,
    /// See [`Fit::p_right`].
    pub p_above: f64,
    /// The posterior.
    pub learned: Learned,
    /// Inside the model's range, or why not.
    pub validity: Validity,
}

/// Weighted draws of everything unknown, at the bolts' present turns.
#[derive(Debug, Clone, PartialEq)]
pub struct Learned {
    pub(super) draws: Vec<Draw>,
}

/// One draw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Draw {
    pub az: f64,
    pub el: f64,
    pub turn_az: f64,
    pub turn_el: f64,
    pub width: f64,
    pub peak: f64,
    pub weight: f64,
}

impl Draw {
    pub fn loss_at(&self, az: f64, el: f64) -> f64 {
        12.0 * (az * az + el * el) / (self.width * self.width)
    }
}

/// A hold seen from where the bolts stand now.
struct Seen {
    back_az: f64,
    back_el: f64,
    /// Turns made between this hold and now, each of which may have missed.
    moves_az: f64,
    moves_el: f64,
    level_db: f64,
    u_db: f64,
}

fn seen(holds: &[Hold]) -> Vec<Seen> {
    let Some(last) = holds.last() else {
        return Vec::new();
    };
    let moved = |a: f64, b: f64| if a == b { 0.0 } else { 1.0 };
    let mut out = Vec::with_capacity(holds.len());
    let (mut moves_az, mut moves_el) = (0.0, 0.0);
    let mut after = last;
    for h in holds.iter().rev() {
        moves_az += moved(h.turns_az, after.turns_az);
        moves_el += moved(h.turns_el, after.turns_el);
        after = h;
        out.push(Seen {
            back_az: h.turns_az - last.turns_az,
            back_el: h.turns_el - last.turns_el,
            moves_az,
            moves_el,
            level_db: h.level_db,
            u_db: h.u_db,
        });
    }
    out
}

/// Loss at a hold, and its variance by the beam's shape and by turns that missed.
fn model(p: &[f64], h: &Seen, u_turn: f64) -> (f64, f64) {
    let (sa, se) = (p[2].exp(), p[3].exp());
    let x = p[0] + sa * h.back_az;
    let y = p[1] + se * h.back_el;
    let per = 12.0 * (-2.0 * p[5]).exp();
    let parabola = per * (x * x + y * y);
    let held = from_db(-parabola) + from_db(-FLOOR_DB);
    let loss = -to_db(held);
    // The floor takes the slope away with the parabola.
    let slope = 2.0 * per * from_db(-parabola) / held;
    let missed =
        (slope * u_turn).powi(2) * ((x * sa).powi(2) * h.moves_az + (y * se).powi(2) * h.moves_el);
    (loss, shape_u_db(loss).powi(2) + missed)
}

struct Prep<'a> {
    seen: &'a [Seen],
    /// Turns back to the first hold, where the search began.
    back: [f64; 2],
    mean: [f64; N],
    u: [f64; N],
    u_turn: f64,
}

impl Prep<'_> {
    /// Errors at the first hold.
    fn first(&self, p: &[f64]) -> [f64; 2] {
        [
            p[0] + p[2].exp() * self.back[0],
            p[1] + p[3].exp() * self.back[1],
        ]
    }
    /// Level at the peak.
    fn peak(&self, p: &[f64]) -> f64 {
        p[4] + self.seen.first().map_or(0.0, |now| model(p, now, 0.0).0)
    }
    /// Logarithm of the posterior density up to a constant.
    fn log_density(&self, p: &[f64]) -> f64 {
        let peak = self.peak(p);
        let mut s = -0.5 * ((peak - self.mean[4]) / self.u[4]).powi(2);
        for h in self.seen {
            let (loss, more) = model(p, h, self.u_turn);
            let v = h.u_db.powi(2) + more;
            s -= 0.5 * ((h.level_db - peak + loss).powi(2) / v + v.ln());
        }
        for (k, e) in self.first(p).iter().enumerate() {
            s -= 0.5 * (e / self.u[k]).powi(2);
        }
        for k in [2, 3, 5] {
            s -= 0.5 * ((p[k] - self.mean[k]) / self.u[k]).powi(2);
        }
        s
    }
}

/// Fits the beam to the holds; the last hold is where the bolts stand now.
///
/// Every sign of the two errors is a start of its own, since a level alone does not tell left from right: the modes
/// found become a mixture of Student densities from which the posterior is drawn by importance (Geweke 1989; from
/// memory). Seeded.
///
/// # Errors
/// No hold, figures that are not finite or not positive.
pub fn fit(before: &Before, holds: &[Hold], seed: u64) -> Result<Fit, PlanError> {
    check(before, holds)?;
    let seen = seen(holds);
    let Some(start) = seen.last() else {
        return Err(pointing("no hold yet", "read a level while nothing moves"));
    };
    let prep = Prep {
        seen: &seen,
        back: [start.back_az, start.back_el],
        u_turn: before.u_turn,
        mean: [
            0.0,
            0.0,
            before.per_turn_az.0.ln(),
            before.per_turn_el.0.ln(),
            before.peak_db.0,
            before.beamwidth_deg.0.ln(),
        ],
        u: [
            before.u_az_deg,
            before.u_el_deg,
            before.per_turn_az.1,
            before.per_turn_el.1,
            before.peak_db.1,
            before.beamwidth_deg.1 / before.beamwidth_deg.0,
        ],
    };
    let modes = modes(&prep, before)?;
    let (draws, effective) = draw(&prep, &modes, seed);
    let draws: Vec<Draw> = draws
        .into_iter()
        .map(|(p, weight)| Draw {
            az: p[0],
            el: p[1],
            turn_az: p[2].exp(),
            turn_el: p[3].exp(),
            width: p[5].exp(),
            peak: prep.peak(&p),
            weight,
        })
        .collect();
    let mut validity = Validity::Inside;
    let deepest = holds
        .iter()
        .map(|h| before.peak_db.0.max(best(holds)) - h.level_db)
        .fold(0.0, f64::max);
    if deepest > LARGEST_LOSS_DB {
        validity = validity.and(Validity::outside(format!(
            "a hold lies {deepest:.0} dB below the peak: beyond {LARGEST_LOSS_DB:.0} dB it may be a sidelobe"
        )));
    }
    if effective < FEW {
        validity = validity.and(Validity::outside(
            "the holds allow so many answers that their spread is rough: turn each bolt once both ways",
        ));
    }
    let of = |f: &dyn Fn(&Draw) -> f64| summary(&draws, f);
    let p = |f: &dyn Fn(&Draw) -> bool| draws.iter().filter(|d| f(d)).map(|d| d.weight).sum();
    Ok(Fit {
        error_az: of(&|d| d.az),
        error_el: of(&|d| d.el),
        loss: of(&|d| d.loss_at(d.az, d.el)),
        peak: of(&|d| d.peak),
        per_turn_az: of(&|d| d.turn_az),
        per_turn_el: of(&|d| d.turn_el),
        p_right: p(&|d| d.az > 0.0),
        p_above: p(&|d| d.el > 0.0),
        learned: Learned { draws },
        validity,
    })
}

fn pointing(why: &str, remedy: &str) -> PlanError {
    PlanError::Nothing {
        why: format!("{why}: {remedy}"),
    }
}

fn best(holds: &[Hold]) -> f64 {
    holds
        .iter()
        .map(|h| h.level_db)
        .fold(f64::NEG_INFINITY, f64::max)
}

fn check(b: &Before, holds: &[Hold]) -> Result<(), PlanError> {
    let positive = [
        b.beamwidth_deg.0,
        b.beamwidth_deg.1,
        b.peak_db.1,
        b.u_az_deg,
        b.u_el_deg,
        b.per_turn_az.0,
        b.per_turn_az.1,
        b.per_turn_el.0,
        b.per_turn_el.1,
        b.u_turn,
    ];
    if !(positive.iter().all(|x| x.is_finite() && *x > 0.0) && b.peak_db.0.is_finite()) {
        return Err(pointing(
            "a beam width, search range or turn without a positive value and uncertainty",
            "give them all",
        ));
    }
    let good = |h: &Hold| {
        h.turns_az.is_finite()
            && h.turns_el.is_finite()
            && h.level_db.is_finite()
            && h.u_db.is_finite()
            && h.u_db > 0.0
    };
    if !holds.iter().all(good) {
        return Err(pointing(
            "a hold without a level, turns or an uncertainty",
            "read it again",
        ));
    }
    Ok(())
}

/// Minima found from every sign and three sizes of the errors, the same one once.
fn modes(prep: &Prep<'_>, before: &Before) -> Result<Vec<(Vec<f64>, Cholesky)>, PlanError> {
    // The level at each hold, then what was known of the errors when the search began.
    let n = prep.seen.len();
    let top = prep
        .seen
        .iter()
        .map(|h| h.level_db)
        .fold(f64::NEG_INFINITY, f64::max);
    let mut y: Vec<f64> = prep.seen.iter().map(|h| h.level_db).collect();
    let mut u: Vec<f64> = prep
        .seen
        .iter()
        .map(|h| h.u_db.hypot(shape_u_db((top - h.level_db).max(0.0))))
        .collect();
    y.extend([0.0, 0.0, prep.mean[4]]);
    u.extend([prep.u[0], prep.u[1], prep.u[4]]);
    let f = |p: &[f64], out: &mut [f64]| {
        let peak = prep.peak(p);
        for (o, h) in out.iter_mut().zip(prep.seen) {
            *o = peak - model(p, h, 0.0).0;
        }
        let [x, y] = prep.first(p);
        for (o, e) in out.iter_mut().skip(n).zip([x, y, peak]) {
            *o = e;
        }
    };
    let mut found: Vec<(Vec<f64>, Cholesky)> = Vec::new();
    let w = before.beamwidth_deg.0;
    for size in [0.15, 0.5, 1.0] {
        for (sx, sy) in [(1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)] {
            let mut start = prep.mean;
            start[4] = prep.seen.first().map_or(start[4], |now| now.level_db);
            start[0] = sx * size * w.min(2.0 * before.u_az_deg);
            start[1] = sy * size * w.min(2.0 * before.u_el_deg);
            let mut problem = Nonlinear::new(&y, &f).uncertainties(&u).max_iterations(100);
            for (k, u) in prep.u.iter().enumerate() {
                problem = problem.typical(k, *u);
            }
            for k in [2, 3, 5] {
                problem = problem.prior(Prior {
                    index: k,
                    mean: prep.mean[k],
                    u: prep.u[k],
                });
            }
            let Ok(fit) = problem.fit(&start) else {
                continue;
            };
            let near =
                |q: &[f64]| (0..N).all(|k| (fit.p[k] - q[k]).abs() <= 0.3 * fit.u(k).max(1e-6));
            if found.iter().any(|(q, _)| near(q)) {
                continue;
            }
            // Student draws spread wider than the quadratic form; 2 covers turns that missed and what the curvature
            // does not show.
            let wide = Matrix::from_fn(N, N, |i, j| 2.0 * fit.covariance[(i, j)]);
            if let Ok(c) = Cholesky::new(&wide) {
                found.push((fit.p.clone(), c));
            }
        }
    }
    if found.is_empty() {
        return Err(pointing(
            "the holds fit no beam",
            "read again while nothing moves",
        ));
    }
    Ok(found)
}

/// Degrees of freedom of the Student densities drawn from.
const NU: f64 = 5.0;

/// Weighted draws and their effective number.
fn draw(prep: &Prep<'_>, modes: &[(Vec<f64>, Cholesky)], seed: u64) -> (Vec<([f64; N], f64)>, f64) {
    let mut rng = named_stream(seed, "pointing", 0);
    let mut points = Vec::with_capacity(DRAWS);
    let mut logs = Vec::with_capacity(DRAWS);
    for i in 0..DRAWS {
        let (centre, c) = &modes[i % modes.len()];
        // chi-square of NU degrees of freedom as a sum of squares; NU is whole.
        let chi2: f64 = (0..NU as usize).map(|_| normal(&mut rng).powi(2)).sum();
        let scale = (NU / chi2.max(1e-12)).sqrt();
        let z: Vec<f64> = (0..N).map(|_| normal(&mut rng)).collect();
        let mut p = [0.0; N];
        for (k, slot) in p.iter_mut().enumerate() {
            let row: f64 = (0..=k).map(|j| c.factor()[(k, j)] * z[j]).sum();
            *slot = centre[k] + scale * row;
        }
        let mixture: f64 = modes
            .iter()
            .map(|(m, c)| {
                let d: Vec<f64> = (0..N).map(|k| p[k] - m[k]).collect();
                let q: f64 = c.whiten(&d).iter().map(|x| x * x).sum();
                (-0.5 * c.ln_det() - 0.5 * (NU + N as f64) * (q / NU).ln_1p()).exp()
            })
            .sum();
        logs.push(prep.log_density(&p) - mixture.max(f64::MIN_POSITIVE).ln());
        points.push(p);
    }
    // The stream is used up evenly whatever the draws were.
    let _ = uniform(&mut rng);
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let w: Vec<f64> = logs.iter().map(|l| (l - top).exp()).collect();
    let sum: f64 = w.iter().sum();
    let squares: f64 = w.iter().map(|x| x * x).sum();
    let points = points.into_iter().zip(w.iter().map(|x| x / sum)).collect();
    (points, sum * sum / squares)
}

fn summary(draws: &[Draw], f: &dyn Fn(&Draw) -> f64) -> Estimate {
    let mut v: Vec<(f64, f64)> = draws.iter().map(|d| (f(d), d.weight)).collect();
    let value: f64 = v.iter().map(|(x, w)| x * w).sum();
    let u = v
        .iter()
        .map(|(x, w)| w * (x - value).powi(2))
        .sum::<f64>()
        .sqrt();
    v.sort_by(|a, b| a.0.total_cmp(&b.0));
    let at = |p: f64| {
        let mut s = 0.0;
        v.iter()
            .find(|(_, w)| {
                s += w;
                s >= p
            })
            .or(v.last())
            .map_or(value, |x| x.0)
    };
    Estimate {
        value,
        u,
        interval: Interval {
            lo: at(0.025),
            hi: at(0.975),
            level: 0.95,
        },
    }
}
