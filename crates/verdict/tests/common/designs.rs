//! Trials of known layout, conditions drawn afresh for each.

use super::{Dice, obs, sides};
use slantpath_verdict::trial::{Observation, Side};
use std::f64::consts::TAU;

pub fn effect(side: Side, d: f64) -> f64 {
    if side == Side::B { d } else { 0.0 }
}

/// A mounting for each letter every 15 to 30 minutes, remount scatter 0.1 to 0.2 dB, a sinusoidal fade of up to `fade_db`
/// with a period of half an hour to six hours.
pub fn remounts(k: u64, order: &str, fade_db: f64) -> (Vec<Observation>, f64) {
    let mut dice = Dice::new("remounts", k);
    let truth = dice.between(-1.0, 1.0);
    let tau = dice.between(0.1, 0.2);
    let amplitude = dice.between(0.0, fade_db);
    let period = dice.between_log(1800.0, 6.0 * 3600.0);
    let phase = dice.between(0.0, TAU);
    let mut t = 0.0;
    let mut all = Vec::new();
    for (i, side) in sides(order).into_iter().enumerate() {
        let fade = amplitude * (TAU * t / period + phase).sin();
        let y = 50.0 + effect(side, truth) + fade + tau * dice.normal() + 0.03 * dice.normal();
        let mut o = obs(side, t, y, 0.03);
        o.mounting = Some(format!("m{i}"));
        all.push(o);
        t += dice.between(900.0, 1800.0);
    }
    (all, truth)
}

/// Files in turn, 8 s apart, on a sinusoidal fade; nothing is remounted.
pub fn in_turn(k: u64) -> (Vec<Observation>, f64) {
    let mut dice = Dice::new("in turn", k);
    let truth = dice.between(-1.0, 1.0);
    let amplitude = dice.between(0.0, 0.5);
    let period = dice.between_log(120.0, 1200.0);
    let phase = dice.between(0.0, TAU);
    let mut all = Vec::new();
    for (i, side) in sides("ABABABABAB").into_iter().enumerate() {
        let t = 8.0 * i as f64;
        let fade = amplitude * (TAU * t / period + phase).sin();
        let y = 49.0 + effect(side, truth) + fade + 0.03 * dice.normal();
        all.push(obs(side, t, y, 0.03));
    }
    (all, truth)
}

/// One recording of `blocks` blocks a side, three days apart; the declared contributors drawn from what is declared.
pub fn one_a_side(k: u64, blocks: usize) -> (Vec<Observation>, f64) {
    let mut dice = Dice::new("one a side", k);
    let truth = dice.between(-1.0, 1.0);
    let mut all = Vec::new();
    for (side, t) in [(Side::A, 0.0), (Side::B, 3.0 * 86_400.0)] {
        let day = 0.20 * dice.normal() + 0.15 * dice.normal() + 0.15 * dice.normal();
        for b in 0..blocks {
            let y = 50.0 + effect(side, truth) + day + 0.05 * dice.normal();
            all.push(obs(side, t + 30.0 * b as f64, y, 0.05));
        }
    }
    (all, truth)
}
