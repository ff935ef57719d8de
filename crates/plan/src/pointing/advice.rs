//! What to turn next, and when to stop.

use super::fit::{Draw, Fit};

/// Which bolt.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Axis {
    /// Azimuth.
    Azimuth,
    /// Elevation.
    Elevation,
}

impl Axis {
    /// Name of the bolt.
    pub fn name(self) -> &'static str {
        match self {
            Self::Azimuth => "azimuth",
            Self::Elevation => "elevation",
        }
    }
}

/// When it is good enough, and how finely a bolt can be turned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Loss below which nobody turns any more, dB.
    pub good_db: f64,
    /// Smallest part of a turn that hands can make.
    pub step_turns: f64,
    /// Largest turn asked for at once.
    pub most_turns: f64,
    /// Probability that a direction must have before it is said.
    pub sure: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            good_db: 0.1,
            step_turns: 0.125,
            most_turns: 2.0,
            sure: 0.8,
        }
    }
}

/// The next act.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Advice {
    /// Turn the bolt by so many turns (positive: right or up), to take away most of what is lost.
    Turn {
        /// Which bolt.
        axis: Axis,
        /// How far, in turns; positive is right or up.
        turns: f64,
        /// Standard uncertainty of the right amount, turns.
        u_turns: f64,
        /// Error that this takes away, deg on the sky, with its standard uncertainty.
        error_deg: (f64, f64),
        /// Probability that the direction is right.
        sure: f64,
    },
    /// Turn the bolt to learn which way is better: the level alone does not tell.
    Learn {
        /// Which bolt.
        axis: Axis,
        /// How far, in turns.
        turns: f64,
    },
    /// What is left is not worth a turn.
    Stop {
        /// Loss that is left with 95 % probability at most, dB.
        at_most_db: f64,
    },
}

/// The next act after a fit. The bolt is chosen whose best turn is expected to win most; a direction that is not sure
/// enough becomes a turn to learn from, long enough to be seen above the noise of a hold.
pub fn advise(fit: &Fit, u_level_db: f64, limits: &Limits) -> Advice {
    if fit.loss.interval.hi <= limits.good_db {
        return Advice::Stop {
            at_most_db: fit.loss.interval.hi,
        };
    }
    let draws = &fit.learned.draws;
    let az = best_turn(draws, Axis::Azimuth, limits);
    let el = best_turn(draws, Axis::Elevation, limits);
    let (axis, best) = if az.won >= el.won {
        (Axis::Azimuth, az)
    } else {
        (Axis::Elevation, el)
    };
    if best.turns == 0.0 {
        // No turn of a size that hands can make wins anything on average.
        let loss_hi = fit.loss.interval.hi;
        if loss_hi <= 3.0 * limits.good_db {
            return Advice::Stop {
                at_most_db: loss_hi,
            };
        }
        return learn(fit, u_level_db, limits);
    }
    if best.sure < limits.sure {
        return Advice::Learn {
            axis,
            turns: learning_turn(fit, axis, u_level_db, limits),
        };
    }
    let error = match axis {
        Axis::Azimuth => &fit.error_az,
        Axis::Elevation => &fit.error_el,
    };
    Advice::Turn {
        axis,
        turns: best.turns,
        u_turns: best.u_turns,
        error_deg: (error.value, error.u),
        sure: best.sure,
    }
}

/// The axis whose error is less known is turned.
fn learn(fit: &Fit, u_level_db: f64, limits: &Limits) -> Advice {
    let axis = if fit.error_az.u >= fit.error_el.u {
        Axis::Azimuth
    } else {
        Axis::Elevation
    };
    Advice::Learn {
        axis,
        turns: learning_turn(fit, axis, u_level_db, limits),
    }
}

struct Best {
    turns: f64,
    u_turns: f64,
    won: f64,
    sure: f64,
}

/// The turn that lowers the expected loss most. The loss is a parabola in the turn, so its best turn is the ratio of
/// two means over the draws.
fn best_turn(draws: &[Draw], axis: Axis, limits: &Limits) -> Best {
    let of = |d: &Draw| match axis {
        Axis::Azimuth => (d.az, d.turn_az),
        Axis::Elevation => (d.el, d.turn_el),
    };
    let (mut cross, mut square) = (0.0, 0.0);
    for d in draws {
        let (e, s) = of(d);
        let w = d.weight / (d.width * d.width);
        cross += w * e * s;
        square += w * s * s;
    }
    let exact = if square > 0.0 { -cross / square } else { 0.0 };
    let rounded = (exact / limits.step_turns).round() * limits.step_turns;
    let turns = rounded.clamp(-limits.most_turns, limits.most_turns);
    // Expected loss before less that after.
    let won = -12.0 * (2.0 * cross * turns + square * turns * turns);
    let (mut mean, mut spread, mut sure) = (0.0, 0.0, 0.0);
    for d in draws {
        let (e, s) = of(d);
        mean += d.weight * (-e / s);
        if (-e / s) * turns > 0.0 {
            sure += d.weight;
        }
    }
    for d in draws {
        let (e, s) = of(d);
        spread += d.weight * (-e / s - mean).powi(2);
    }
    Best {
        turns,
        u_turns: spread.sqrt(),
        won,
        sure,
    }
}

/// A turn after which the level has moved by three of its uncertainties, or half a beam, whichever is less.
fn learning_turn(fit: &Fit, axis: Axis, u_level_db: f64, limits: &Limits) -> f64 {
    let (error, per_turn) = match axis {
        Axis::Azimuth => (&fit.error_az, fit.per_turn_az.value),
        Axis::Elevation => (&fit.error_el, fit.per_turn_el.value),
    };
    let width: f64 = fit.learned.draws.iter().map(|d| d.weight * d.width).sum();
    // 12 ((e + x)^2 - e^2)/w^2 = 3 u, with e at its typical size.
    let e = error.value.abs().max(error.u);
    let x = (e * e + 3.0 * u_level_db * width * width / 12.0).sqrt() - e;
    let turns = (x.min(0.5 * width) / per_turn).max(limits.step_turns);
    let rounded = (turns / limits.step_turns).ceil() * limits.step_turns;
    // Towards the likelier side.
    let away = if error.value > 0.0 { -1.0 } else { 1.0 };
    away * rounded.min(limits.most_turns)
}
