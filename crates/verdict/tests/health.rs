//! Change-points over years of simulated days.

#[path = "common/years.rs"]
mod years;

use rayon::prelude::*;
use slantpath_verdict::health::changes::{Change, Covariate, Settings, changes};
use slantpath_verdict::health::separate::{Mover, attribute, separate};
use slantpath_verdict::health::trend::trend;
use slantpath_verdict::health::{Entry, binned};
use years::{Dice, Story, Years, years};

const DAYS: u32 = 400;

fn watch(y: &Years) -> Vec<Change> {
    let e = binned(&separate(&y.sights).common, 1.0);
    let of = |list: &[f64], u: f64| Covariate {
        values: e.iter().map(|e| list[e.t as usize]).collect(),
        u,
    };
    let covariates = [of(&y.kelvin, 0.01), of(&y.wet, 0.15)];
    changes(&e, &covariates, &[], &Settings::default())
}

/// Steps of 0.3 dB and quiet stations, 200 of each: delay and false alarms.
#[test]
fn three_tenths_of_a_decibel_are_found_within_ten_days_without_crying_wolf() {
    let quiet: usize = (0..200u64)
        .into_par_iter()
        .map(|k| watch(&years(20_000 + k, DAYS, Story::QUIET)).len())
        .sum();
    let per_year = quiet as f64 / (200.0 * f64::from(DAYS) / 365.25);
    let results: Vec<(Option<f64>, usize, f64)> = (0..200u64)
        .into_par_iter()
        .map(|k| {
            let mut d = Dice(k + 40_031);
            let at = d.uniform(100.0, 370.0);
            let size = if k % 2 == 0 { -0.3 } else { 0.3 };
            let story = Story {
                step: Some((at, size)),
                ..Story::QUIET
            };
            let c = watch(&years(30_000 + k, DAYS, story));
            // The first alarm at or after the step, if its interval is anywhere near.
            let hit = c
                .iter()
                .find(|c| c.raised >= at && (c.began - at).abs() < 15.0);
            let false_ones = c.iter().filter(|c| c.raised < at).count();
            (
                hit.map(|h| h.raised - at),
                false_ones,
                hit.map_or(0.0, |h| h.size - size),
            )
        })
        .collect();
    let mut delays: Vec<f64> = results.iter().filter_map(|r| r.0).collect();
    delays.sort_by(f64::total_cmp);
    let within = delays.iter().filter(|d| **d <= 10.0).count();
    let rms = (results
        .iter()
        .filter(|r| r.0.is_some())
        .map(|r| r.2 * r.2)
        .sum::<f64>()
        / delays.len().max(1) as f64)
        .sqrt();
    println!(
        "quiet: {quiet} false alarms in 200 x {DAYS} days, {per_year:.3} a year; step of 0.3 dB: {within} of 200 within ten days, {} found, median delay {:.1} d, 95 % {:.1} d, rms error of the size {rms:.3} dB, {} false before it",
        delays.len(),
        delays.get(delays.len() / 2).copied().unwrap_or(f64::NAN),
        delays
            .get(delays.len() * 95 / 100)
            .copied()
            .unwrap_or(f64::NAN),
        results.iter().map(|r| r.1).sum::<usize>()
    );
    assert!(per_year <= 1.0 / 3.0, "{per_year}");
    assert!(within >= 176, "{within}");
}

#[test]
fn what_the_satellite_does_alone_is_not_the_station() {
    let mut right = 0;
    for k in 0..20 {
        let story = Story {
            beacon: Some((200.0, -1.0)),
            ..Story::QUIET
        };
        let y = years(5000 + k, 300, story);
        let sights = &y.sights;
        let c = watch(&y);
        let sources: Vec<Vec<Entry>> = (0..3)
            .map(|i| {
                let all: Vec<Entry> = sights
                    .iter()
                    .filter_map(|x| {
                        let (value, u) = x.values[i]?;
                        Some(Entry { t: x.t, value, u })
                    })
                    .collect();
                binned(&all, 1.0)
            })
            .collect();
        for c in &c {
            let a = attribute(&sources, c, f64::NEG_INFINITY, f64::INFINITY);
            if (c.began - 200.0).abs() < 10.0 {
                right += i32::from(a.mover == Mover::Satellite(vec![0]));
                assert_ne!(a.mover, Mover::Station, "{k}: {a:?}");
            }
        }
    }
    println!("satellite named in {right} of 20");
    assert!(right >= 17, "{right}");
}

#[test]
fn a_slow_loss_shows_as_a_trend() {
    let mut found = 0;
    for k in 0..20 {
        let story = Story {
            ageing: 0.8,
            ..Story::QUIET
        };
        let s = separate(&years(7000 + k, 730, story).sights);
        let e = binned(&s.common, 1.0);
        let steps: Vec<f64> = Vec::new();
        let t = trend(&e, &steps).unwrap().unwrap();
        assert!((t.per_year.0 + 0.8).abs() < 0.25, "{t:?}");
        found += i32::from(t.strength() < -4.0);
    }
    assert!(found >= 18, "{found}");
}

#[test]
fn ten_years_of_days_stay_quick() {
    let y = years(1, 3653, Story::QUIET);
    let begin = std::time::Instant::now();
    let n = watch(&y).len();
    let took = begin.elapsed().as_secs_f64();
    println!(
        "ten years, {} sights: {took:.3} s, {n} changes",
        y.sights.len()
    );
    // Unoptimised and on a busy machine: see the bench for the figure.
    assert!(took < 10.0, "{took}");
}
