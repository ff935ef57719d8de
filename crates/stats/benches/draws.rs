//! Budget draws: 10^6 trials of 25 contributors through a budget-like model must take less than 1 s on 2 cores.
//! Run by hand: `cargo bench -p slantpath-stats`.

use slantpath_quantity::{Contributor, ContributorId, Distribution, from_db, to_db};
use slantpath_stats::{Settings, monte_carlo};

fn main() {
    divan::main();
}

fn contributors() -> Vec<Contributor> {
    (0..25)
        .map(|i| Contributor {
            id: ContributorId::new(format!("part.{i}")),
            label: format!("part {i}"),
            distribution: if i % 3 == 0 {
                Distribution::Rectangular { lo: 0.1, hi: 0.5 }
            } else {
                Distribution::Normal { mean: 0.3, u: 0.1 }
            },
            unit: "dB",
            source: "bench".to_string(),
        })
        .collect()
}

/// Losses in dB, a noise sum in linear power, one ratio in dB.
fn budget(x: &[f64], y: &mut [f64]) {
    let loss: f64 = x[..20].iter().sum();
    let noise: f64 = x[20..].iter().map(|d| from_db(*d)).sum();
    y[0] = 50.0 - loss - to_db(noise);
}

#[divan::bench(sample_count = 5)]
fn million_budget_draws() -> Option<f64> {
    let c = contributors();
    monte_carlo(&c, 1, &Settings::new(1, 1_000_000), budget)
        .ok()
        .and_then(|d| d.mean(0))
}

#[divan::bench(sample_count = 5)]
fn million_budget_draws_with_interval() -> Option<f64> {
    let c = contributors();
    let d = monte_carlo(&c, 1, &Settings::new(1, 1_000_000), budget).ok()?;
    d.estimate(0, 0.95).ok().map(|e| e.interval.lo)
}
