//! Simulated swap trials.
#![allow(dead_code, missing_docs)] // each test file uses its part

pub mod designs;
pub mod simulator;

use slantpath_stats::stream::{named_stream, normal, uniform};
use slantpath_verdict::trial::{Observation, Side, TrialOptions, TrialResult, trial};

/// One observation without mounting or control.
pub fn obs(side: Side, time_s: f64, value_db: f64, u_random_db: f64) -> Observation {
    Observation {
        side,
        time_s,
        value_db,
        u_random_db,
        mounting: None,
        block: None,
        branch: "main".to_string(),
        source: "simulated".to_string(),
        control: None,
    }
}

/// The sides in order, from letters.
pub fn sides(order: &str) -> Vec<Side> {
    order
        .chars()
        .map(|c| if c == 'A' { Side::A } else { Side::B })
        .collect()
}

/// Random numbers of one simulated trial.
pub struct Dice(Box<dyn FnMut() -> (f64, f64)>);

impl Dice {
    pub fn new(name: &str, trial: u64) -> Self {
        let mut rng = named_stream(20_311, name, trial);
        Self(Box::new(move || (normal(&mut rng), uniform(&mut rng))))
    }
    /// Standard normal.
    pub fn normal(&mut self) -> f64 {
        (self.0)().0
    }
    /// Between the limits.
    pub fn between(&mut self, lo: f64, hi: f64) -> f64 {
        lo + (hi - lo) * (self.0)().1
    }
    /// Between the limits, evenly in logarithm.
    pub fn between_log(&mut self, lo: f64, hi: f64) -> f64 {
        self.between(lo.ln(), hi.ln()).exp()
    }
}

/// Coverage and width over many trials.
#[derive(Debug, Clone, Copy)]
pub struct Calibration {
    pub covered_95: f64,
    pub covered_999: f64,
    pub median_half_width: f64,
    pub rms_error: f64,
}

/// Runs `count` trials made by `make(trial)`, which returns observations and the true difference.
pub fn calibrate(
    count: u64,
    options: &TrialOptions,
    make: impl Fn(u64) -> (Vec<Observation>, f64) + Sync,
) -> Calibration {
    use rayon::prelude::*;
    let all: Vec<(TrialResult, f64)> = (0..count)
        .into_par_iter()
        .map(|k| {
            let (o, truth) = make(k);
            (trial(&o, options).expect("a result"), truth)
        })
        .collect();
    let n = count as f64;
    let part =
        |f: &dyn Fn(&(TrialResult, f64)) -> bool| all.iter().filter(|x| f(x)).count() as f64 / n;
    let widths: Vec<f64> = all
        .iter()
        .map(|r| r.0.difference.interval.half_width())
        .collect();
    Calibration {
        covered_95: part(&|(r, t)| r.difference.interval.contains(*t)),
        covered_999: part(&|(r, t)| r.interval_999.contains(*t)),
        median_half_width: slantpath_stats::robust::median(&widths).expect("trials"),
        rms_error: (all
            .iter()
            .map(|(r, t)| (r.difference.value - t).powi(2))
            .sum::<f64>()
            / n)
            .sqrt(),
    }
}
