//! A smaller round of `benches/honesty.rs`: coverage under drifts and orders that the analysis does not assume.

mod common;

use common::simulator::{Drift, Order, repeated, trial_of, with_control};
use rayon::prelude::*;
use slantpath_verdict::trial::{TrialOptions, trial};

#[test]
fn intervals_hold_whatever_the_air_does() {
    const TRIALS: u64 = 240;
    let all: Vec<(bool, f64)> = (0..TRIALS)
        .into_par_iter()
        .map(|k| {
            let drift = Drift::ALL[k as usize % 5];
            let s = match k / 5 % 8 {
                5 => with_control(k, drift),
                // Several recordings a mounting.
                o @ 6.. => repeated(k, drift, Order::ALL[(o as usize + k as usize) % 5]),
                o => trial_of(k, drift, Order::ALL[o as usize]),
            };
            let i = trial(&s.observations, &TrialOptions::default())
                .unwrap()
                .difference
                .interval;
            (i.contains(s.truth), i.half_width() / (1.96 * s.bound))
        })
        .collect();
    let covered = all.iter().filter(|x| x.0).count();
    let ratio: Vec<f64> = all.iter().map(|x| x.1).collect();
    // Three standard errors of 240 trials are 4.2 %.
    let share = covered as f64 / TRIALS as f64;
    assert!((0.908..=0.992).contains(&share), "covered {share}");
    let median = slantpath_stats::robust::median(&ratio).unwrap();
    assert!(median < 1.5, "half width {median} times the bound");
}
