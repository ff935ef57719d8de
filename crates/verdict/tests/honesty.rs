//! A smaller round of `benches/honesty.rs`: coverage under drifts and orders that the analysis does not assume.

mod common;

use common::simulator::{Drift, Order, trial_of, with_control};
use slantpath_verdict::trial::{TrialOptions, trial};

#[test]
fn intervals_hold_whatever_the_air_does() {
    let mut covered = 0;
    let mut ratio = Vec::new();
    const TRIALS: u64 = 300;
    for k in 0..TRIALS {
        let drift = Drift::ALL[k as usize % 5];
        let s = match k / 5 % 6 {
            5 => with_control(k, drift),
            o => trial_of(k, drift, Order::ALL[o as usize]),
        };
        let r = trial(&s.observations, &TrialOptions::default()).unwrap();
        covered += u32::from(r.difference.interval.contains(s.truth));
        ratio.push(r.difference.interval.half_width() / (1.96 * s.bound));
    }
    // Three standard errors of 300 trials are 3.8 %.
    let share = f64::from(covered) / TRIALS as f64;
    assert!((0.912..=0.988).contains(&share), "covered {share}");
    let median = slantpath_stats::robust::median(&ratio).unwrap();
    assert!(median < 1.5, "half width {median} times the bound");
}
