//! Honesty of the swap trial's intervals: simulated trials whose truth is known, conditions drawn afresh for each.

mod common;

use common::{Dice, calibrate, obs, sides};
use slantpath_verdict::trial::{Observation, Remounted, Side, TrialOptions};
use std::f64::consts::TAU;

const TRIALS: u64 = 2000;

/// 95 % intervals of 2000 trials: 93.5 to 96.5 % is three standard errors each way.
fn assert_honest(covered: f64) {
    assert!((0.935..=0.965).contains(&covered), "covered {covered}");
}

fn effect(side: Side, d: f64) -> f64 {
    if side == Side::B { d } else { 0.0 }
}

/// A mounting for each letter every 15 to 30 minutes, remount scatter 0.1 to 0.2 dB, a sinusoidal fade of up to `fade_db`
/// with a period of half an hour to six hours.
fn remounts(k: u64, order: &str, fade_db: f64) -> (Vec<Observation>, f64) {
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
fn in_turn(k: u64) -> (Vec<Observation>, f64) {
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
fn one_a_side(k: u64, blocks: usize) -> (Vec<Observation>, f64) {
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

#[test]
fn files_in_turn_on_a_fade() {
    let c = calibrate(TRIALS, &TrialOptions::default(), in_turn);
    println!("in turn: {c:?}");
    assert_honest(c.covered_95);
    assert!(c.covered_999 >= 0.997);
    // Not bought by width: without any fade the least half width is 1.96 x 0.03 x sqrt(4/10) = 0.037 dB.
    assert!(
        c.median_half_width < 1.25 * 0.0372,
        "{}",
        c.median_half_width
    );
    assert!(c.rms_error < 0.022);
}

#[test]
fn remounted_pairs() {
    for fade_db in [0.0, 0.2] {
        let c = calibrate(TRIALS, &TrialOptions::default(), |k| {
            remounts(k, "ABBAABBA", fade_db)
        });
        println!("remounts, fade up to {fade_db}: {c:?}");
        assert_honest(c.covered_95);
        assert!(c.covered_999 >= 0.997);
        // Student's interval for four a side with scatter 0.15: 2.45 x 0.15 x sqrt(1/2) = 0.26 dB.
        assert!(c.median_half_width < 0.30, "{}", c.median_half_width);
    }
}

#[test]
fn one_file_a_side_on_different_days() {
    let yes = TrialOptions {
        remounted: Remounted::Yes,
        ..TrialOptions::default()
    };
    for blocks in [1, 4] {
        let c = calibrate(TRIALS, &yes, |k| one_a_side(k, blocks));
        println!("one a side, {blocks} blocks: {c:?}");
        assert_honest(c.covered_95);
    }
}

/// All of A before all of B on a fade: the naive difference is nonsense, and the interval must say so.
#[test]
fn one_side_after_the_other_on_a_fade_is_not_overstated() {
    let make = |k: u64| {
        let (mut all, truth) = in_turn(k);
        // The same ten moments, sides in blocks instead of in turn.
        for (i, o) in all.iter_mut().enumerate() {
            o.value_db -= effect(o.side, truth);
            o.side = if i < 5 { Side::A } else { Side::B };
            o.value_db += effect(o.side, truth);
        }
        (all, truth)
    };
    let c = calibrate(600, &TrialOptions::default(), make);
    println!("one after the other: {c:?}");
    assert!(c.covered_95 >= 0.90, "{}", c.covered_95);
    assert!(c.covered_999 >= 0.99);
}
