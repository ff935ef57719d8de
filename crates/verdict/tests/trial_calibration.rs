//! Honesty of the swap trial's intervals: simulated trials whose truth is known, conditions drawn afresh for each. A smaller
//! round of what `benches/honesty.rs` asks of 2000 trials a design.

mod common;

use common::calibrate;
use common::designs::{effect, in_turn, one_a_side, remounts};
use slantpath_verdict::trial::{Remounted, Side, TrialOptions};

const TRIALS: u64 = 250;

/// 95 % intervals of 250 trials: three standard errors are 4.1 %.
fn assert_honest(covered: f64) {
    assert!((0.908..=0.992).contains(&covered), "covered {covered}");
}

#[test]
fn files_in_turn_on_a_fade() {
    let c = calibrate(TRIALS, &TrialOptions::default(), in_turn);
    println!("in turn: {c:?}");
    assert_honest(c.covered_95);
    assert!(c.covered_999 >= 0.99);
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
        assert!(c.covered_999 >= 0.99);
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
    let c = calibrate(TRIALS, &TrialOptions::default(), make);
    println!("one after the other: {c:?}");
    assert!(c.covered_95 >= 0.90, "{}", c.covered_95);
    assert!(c.covered_999 >= 0.99);
}
