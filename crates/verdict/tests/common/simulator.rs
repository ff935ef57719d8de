//! Swap trials as they happen on a roof: remounts by the quarter of an hour, air that does what it likes. Nothing here is
//! drawn from what the analysis assumes: its drift is a smooth Gaussian process, these are a line, a piece of a day's
//! wave, a random walk and a shower.

use super::{Dice, obs};
use slantpath_verdict::trial::{Control, Observation, Side};
use std::f64::consts::TAU;

/// What the air and the satellite do during a trial.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Drift {
    /// Nothing.
    Still,
    /// A straight line, up to 0.3 dB an hour.
    Line,
    /// A piece of a sine of 24 hours, amplitude up to 0.6 dB.
    Day,
    /// A random walk, 0.05 to 0.25 dB after an hour.
    Walk,
    /// A shower: down within minutes, up again more slowly, 0.3 to 1.5 dB deep, over part of the trial.
    Shower,
}

impl Drift {
    pub const ALL: [Self; 5] = [Self::Still, Self::Line, Self::Day, Self::Walk, Self::Shower];
}

/// In which order the sides come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// A B B A, over and over.
    Mirrored,
    /// A B A B.
    InTurn,
    /// A coin for each pair.
    Coin,
    /// Half as many of one side, placed at random among the others.
    Unbalanced,
    /// Mirrored, with one in six recordings lost.
    Missing,
}

impl Order {
    pub const ALL: [Self; 5] = [
        Self::Mirrored,
        Self::InTurn,
        Self::Coin,
        Self::Unbalanced,
        Self::Missing,
    ];
}

/// A trial with its truth.
pub struct Simulated {
    pub observations: Vec<Observation>,
    /// True difference B - A, dB.
    pub truth: f64,
    /// Least standard uncertainty there can be: scatter and noise known, nothing drifts.
    pub bound: f64,
}

/// Trial `k` of a kind: three to eight pairs, remount scatter 0.1 to 0.2 dB, 15 to 30 minutes from one to the next, one
/// recording a mounting.
pub fn trial_of(k: u64, drift: Drift, order: Order) -> Simulated {
    simulate(k, drift, order, false)
}

/// The same with one to four recordings a mounting, one to five minutes apart; in every other trial they scatter by 0.02
/// to 0.1 dB beyond their own noise.
pub fn repeated(k: u64, drift: Drift, order: Order) -> Simulated {
    simulate(k, drift, order, true)
}

fn simulate(k: u64, drift: Drift, order: Order, repeats: bool) -> Simulated {
    let mut dice = Dice::new(if repeats { "roof, repeated" } else { "roof" }, k);
    let truth = dice.between(-1.0, 1.0);
    let pairs = 3 + (6.0 * dice.between(0.0, 1.0)) as usize;
    let letters = letters(&mut dice, order, pairs.min(8));
    let tau = dice.between(0.1, 0.2);
    let noise = dice.between(0.02, 0.06);
    let rho = if repeats && k % 2 == 1 {
        dice.between(0.02, 0.1)
    } else {
        0.0
    };
    let mut t = 0.0;
    // The mounting that each recording belongs to, and when it is made.
    let mut recordings: Vec<(usize, f64)> = Vec::new();
    for i in 0..letters.len() {
        t += dice.between(900.0, 1800.0);
        recordings.push((i, t));
        if repeats {
            for _ in 0..(4.0 * dice.between(0.0, 1.0)) as usize {
                t += dice.between(60.0, 300.0);
                recordings.push((i, t));
            }
        }
    }
    let times: Vec<f64> = recordings.iter().map(|r| r.1).collect();
    let fade = fade(&mut dice, drift, &times);
    let kept: Vec<bool> = letters
        .iter()
        .map(|_| order != Order::Missing || dice.between(0.0, 1.0) > 1.0 / 6.0)
        .collect();
    // Two of each side at least: less is another kind of trial.
    let enough = |s: Side| {
        let n = letters.iter().zip(&kept).filter(|(l, k)| **l == s && **k);
        n.count() >= 2
    };
    let whole = !(enough(Side::A) && enough(Side::B));
    let mut observations = Vec::new();
    let mut weight = [0.0f64; 2];
    for (i, side) in letters.iter().enumerate() {
        if !(kept[i] || whole) {
            continue;
        }
        let step = if *side == Side::B { truth } else { 0.0 };
        let level = 55.0 + step + tau * scatter(&mut dice, k);
        let mut n = 0.0;
        for (r, (_, t)) in recordings.iter().enumerate().filter(|(_, r)| r.0 == i) {
            let beyond = if rho > 0.0 { rho * dice.normal() } else { 0.0 };
            let y = level + fade[r] + beyond + noise * dice.normal();
            let mut o = obs(*side, *t, y, noise);
            o.mounting = Some(format!("m{i}"));
            observations.push(o);
            n += 1.0;
        }
        weight[*side as usize] += 1.0 / (tau * tau + (noise * noise + rho * rho) / n);
    }
    let bound = (1.0 / weight[0] + 1.0 / weight[1]).sqrt();
    Simulated {
        observations,
        truth,
        bound,
    }
}

/// One mounting's deviation in units of its standard deviation: by turns normal, evenly spread, and mostly small with now
/// and then a bad one (Laplace).
fn scatter(dice: &mut Dice, k: u64) -> f64 {
    match k % 3 {
        0 => dice.normal(),
        1 => dice.between(-(3f64.sqrt()), 3f64.sqrt()),
        _ => {
            let x = dice.between(-1.0, 1.0);
            -x.signum() * (1.0 - x.abs()).max(1e-12).ln() * -0.5f64.sqrt()
        }
    }
}

/// The same with an untouched receiver that sees the drift, too.
pub fn with_control(k: u64, drift: Drift) -> Simulated {
    let mut s = trial_of(k, Drift::Still, Order::Mirrored);
    let mut dice = Dice::new("control", k);
    let times: Vec<f64> = s.observations.iter().map(|o| o.time_s).collect();
    for (o, f) in s
        .observations
        .iter_mut()
        .zip(fade(&mut dice, drift, &times))
    {
        o.value_db += f;
        o.control = Some(Control {
            value_db: 48.0 + f + 0.04 * dice.normal(),
            u_random_db: 0.04,
        });
    }
    s
}

fn letters(dice: &mut Dice, order: Order, pairs: usize) -> Vec<Side> {
    let (a, b) = (Side::A, Side::B);
    match order {
        Order::Mirrored | Order::Missing => {
            [a, b, b, a].into_iter().cycle().take(2 * pairs).collect()
        }
        Order::InTurn => [a, b].into_iter().cycle().take(2 * pairs).collect(),
        Order::Coin => (0..pairs)
            .flat_map(|_| {
                if dice.between(0.0, 1.0) < 0.5 {
                    [a, b]
                } else {
                    [b, a]
                }
            })
            .collect(),
        Order::Unbalanced => {
            let mut all = vec![a; pairs + 1];
            for _ in 0..pairs.div_ceil(2).max(2) {
                let at = (dice.between(0.0, 1.0) * (all.len() + 1) as f64) as usize;
                all.insert(at.min(all.len()), b);
            }
            all
        }
    }
}

/// What the air does at these times, dB.
fn fade(dice: &mut Dice, drift: Drift, times: &[f64]) -> Vec<f64> {
    let first = times.first().copied().unwrap_or(0.0);
    let last = times.last().copied().unwrap_or(0.0);
    match drift {
        Drift::Still => vec![0.0; times.len()],
        Drift::Line => {
            let per_hour = dice.between(-0.3, 0.3);
            times.iter().map(|t| per_hour * t / 3600.0).collect()
        }
        Drift::Day => {
            let amplitude = dice.between(0.0, 0.6);
            let phase = dice.between(0.0, TAU);
            times
                .iter()
                .map(|t| amplitude * (TAU * t / 86_400.0 + phase).sin())
                .collect()
        }
        Drift::Walk => {
            let per_root_hour = dice.between(0.05, 0.25);
            let mut at = 0.0;
            let mut before = first;
            times
                .iter()
                .map(|t| {
                    at += per_root_hour * ((t - before) / 3600.0).sqrt() * dice.normal();
                    before = *t;
                    at
                })
                .collect()
        }
        Drift::Shower => {
            let depth = dice.between(0.3, 1.5);
            let begins = dice.between(first - 1800.0, last);
            let down = dice.between(180.0, 900.0);
            let up = dice.between(900.0, 3600.0);
            times
                .iter()
                .map(|t| {
                    let x = t - begins;
                    let shape = if x < 0.0 {
                        0.0
                    } else {
                        (1.0 - (-x / down).exp()) * (-x / up).exp()
                    };
                    -depth * shape
                })
                .collect()
        }
    }
}
