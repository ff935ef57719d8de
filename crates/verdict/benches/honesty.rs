//! Whether the stated 95 % intervals of swap trials contain the truth 95 % of the time, and what they cost in width.
//!
//! Reference: the truth of 2000 simulated trials (and 400 of every kind of drift and order), drawn by a simulator that does
//! not share the analysis' assumptions. Width is set against the bound for known scatter and no drift,
//! `1.96 sqrt((tau^2 + u^2)(1/n_A + 1/n_B))`. Ends with a code other than zero when the coverage of all, or of 2000
//! trials of a single layout, lies outside 93.5 to 96.5 %: `cargo bench -p slantpath-verdict --bench honesty`.

#[path = "../tests/common/mod.rs"]
mod common;

use common::calibrate;
use common::designs::{in_turn, one_a_side, remounts};
use common::simulator::{Drift, Order, Simulated, repeated, trial_of, with_control};
use rayon::prelude::*;
use slantpath_verdict::trial::{Observation, Remounted, TrialOptions, trial};
use std::process::ExitCode;

struct Tally {
    covered: Vec<bool>,
    covered_999: Vec<bool>,
    ratio: Vec<f64>,
}

fn tally(count: u64, make: impl Fn(u64) -> Simulated + Sync) -> Tally {
    let all: Vec<(bool, bool, f64)> = (0..count)
        .into_par_iter()
        .filter_map(|k| {
            let s = make(k);
            let r = trial(&s.observations, &TrialOptions::default()).ok()?;
            let i = r.difference.interval;
            Some((
                i.contains(s.truth),
                r.interval_999.contains(s.truth),
                i.half_width() / (1.959_964 * s.bound),
            ))
        })
        .collect();
    assert_eq!(all.len() as u64, count, "every trial has a result");
    Tally {
        covered: all.iter().map(|x| x.0).collect(),
        covered_999: all.iter().map(|x| x.1).collect(),
        ratio: all.iter().map(|x| x.2).collect(),
    }
}

fn percent(x: &[bool]) -> f64 {
    100.0 * x.iter().filter(|c| **c).count() as f64 / x.len() as f64
}

fn show(name: &str, t: &Tally) {
    let ratio = slantpath_stats::robust::median(&t.ratio).unwrap_or(f64::NAN);
    println!(
        "{name:<28} {:>5} trials   95 %: {:>5.1}   99.9 %: {:>5.1}   half width / bound: {ratio:.2}",
        t.covered.len(),
        percent(&t.covered),
        percent(&t.covered_999),
    );
}

fn main() -> ExitCode {
    let kinds: Vec<(Drift, Order)> = Drift::ALL
        .iter()
        .flat_map(|d| Order::ALL.iter().map(move |o| (*d, *o)))
        .collect();
    let mixed = tally(2000, |k| {
        let (d, o) = kinds[k as usize % kinds.len()];
        // Every other round through the kinds with several recordings a mounting.
        if (k as usize / kinds.len()).is_multiple_of(2) {
            trial_of(k, d, o)
        } else {
            repeated(k, d, o)
        }
    });
    show("all kinds", &mixed);
    for d in Drift::ALL {
        let t = tally(400, |k| {
            trial_of(10_000 + k, d, Order::ALL[k as usize % Order::ALL.len()])
        });
        show(&format!("drift {d:?}"), &t);
    }
    for o in Order::ALL {
        let t = tally(400, |k| {
            trial_of(20_000 + k, Drift::ALL[k as usize % Drift::ALL.len()], o)
        });
        show(&format!("order {o:?}"), &t);
    }
    for d in Drift::ALL {
        let t = tally(400, |k| {
            repeated(40_000 + k, d, Order::ALL[k as usize % Order::ALL.len()])
        });
        show(&format!("repeated, drift {d:?}"), &t);
    }
    let c = tally(400, |k| {
        with_control(30_000 + k, Drift::ALL[k as usize % Drift::ALL.len()])
    });
    show("with a control receiver", &c);
    let mut shares = vec![percent(&mixed.covered)];
    shares.extend(designs());
    if shares.iter().all(|c| (93.5..=96.5).contains(c)) {
        ExitCode::SUCCESS
    } else {
        println!("outside 93.5 to 96.5 %");
        ExitCode::FAILURE
    }
}

/// Coverage of 2000 trials of single layouts, percent.
fn designs() -> Vec<f64> {
    type Make = fn(u64) -> (Vec<Observation>, f64);
    let layouts: [(&str, Remounted, Make); 5] = [
        ("remounts", Remounted::Unknown, |k| {
            remounts(k, "ABBAABBA", 0.0)
        }),
        ("remounts on a fade", Remounted::Unknown, |k| {
            remounts(k, "ABBAABBA", 0.2)
        }),
        ("files in turn on a fade", Remounted::Unknown, in_turn),
        ("one a side", Remounted::Yes, |k| one_a_side(k, 1)),
        ("one a side, four blocks", Remounted::Yes, |k| {
            one_a_side(k, 4)
        }),
    ];
    layouts
        .iter()
        .map(|(name, remounted, make)| {
            let options = TrialOptions {
                remounted: *remounted,
                ..TrialOptions::default()
            };
            let c = calibrate(2000, &options, make);
            println!(
                "{name:<28}  2000 trials   95 %: {:>5.1}   99.9 %: {:>5.1}   half width {:.3} dB",
                100.0 * c.covered_95,
                100.0 * c.covered_999,
                c.median_half_width
            );
            100.0 * c.covered_95
        })
        .collect()
}
