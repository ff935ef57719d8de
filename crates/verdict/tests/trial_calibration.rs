mod common;
use common::{Calibration, Dice, calibrate, obs, sides};
use slantpath_verdict::trial::{Observation, Remounted, Side, TrialOptions};
use std::f64::consts::TAU;

fn effect(side: Side, d: f64) -> f64 {
    if side == Side::B { d } else { 0.0 }
}

fn remounts(
    name: &str,
    k: u64,
    order: &str,
    scatter: (f64, f64),
    fade: (f64, f64),
    blocks: usize,
) -> (Vec<Observation>, f64) {
    let mut dice = Dice::new(name, k);
    let truth = dice.between(-1.0, 1.0);
    let tau = dice.between(scatter.0, scatter.1);
    let amp = dice.between(fade.0, fade.1);
    let period = dice.between_log(1800.0, 6.0 * 3600.0);
    let phase = dice.between(0.0, TAU);
    let mut t = 0.0;
    let mut all = Vec::new();
    for (i, s) in sides(order).into_iter().enumerate() {
        let m = tau * dice.normal();
        for b in 0..blocks {
            let tb = t + 40.0 * b as f64;
            let y = 50.0
                + effect(s, truth)
                + m
                + amp * (TAU * tb / period + phase).sin()
                + 0.03 * dice.normal();
            let mut o = obs(s, tb, y, 0.03);
            o.mounting = Some(format!("m{i}"));
            all.push(o);
        }
        t += dice.between(900.0, 1800.0);
    }
    (all, truth)
}

fn interleaved(
    name: &str,
    k: u64,
    order: &str,
    step: f64,
    u: f64,
    amp: (f64, f64),
    period: (f64, f64),
) -> (Vec<Observation>, f64) {
    let mut dice = Dice::new(name, k);
    let truth = dice.between(-1.0, 1.0);
    let a = dice.between(amp.0, amp.1);
    let p = dice.between_log(period.0, period.1);
    let phase = dice.between(0.0, TAU);
    let all = sides(order)
        .into_iter()
        .enumerate()
        .map(|(i, s)| {
            let t = i as f64 * step;
            obs(
                s,
                t,
                49.0 + effect(s, truth) + a * (TAU * t / p + phase).sin() + u * dice.normal(),
                u,
            )
        })
        .collect();
    (all, truth)
}

fn show(what: &str, c: Calibration) {
    println!("{what:40} {c:.4?}");
}

#[test]
fn explore() {
    let n = 1000;
    let yes = TrialOptions {
        remounted: Remounted::Yes,
        ..TrialOptions::default()
    };
    for order in ["ABBA", "ABABAB", "ABBAABBA", "ABBABAABABBA"] {
        show(
            &format!("remount {order} .1-.2 no fade"),
            calibrate(n, &yes, |k| {
                remounts("z", k, order, (0.1, 0.2), (0.0, 0.0), 1)
            }),
        );
        show(
            &format!("remount {order} .1-.2 fade 0-.2"),
            calibrate(n, &yes, |k| {
                remounts("s", k, order, (0.1, 0.2), (0.0, 0.2), 1)
            }),
        );
    }
    show(
        "ABBAABBA .4",
        calibrate(n, &yes, |k| {
            remounts("z", k, "ABBAABBA", (0.4, 0.4), (0.0, 0.0), 1)
        }),
    );
    show(
        "ABBA .4",
        calibrate(n, &yes, |k| {
            remounts("z", k, "ABBA", (0.4, 0.4), (0.0, 0.0), 1)
        }),
    );
    show(
        "ABBAABBA .03",
        calibrate(n, &yes, |k| {
            remounts("z", k, "ABBAABBA", (0.03, 0.03), (0.0, 0.0), 1)
        }),
    );
    show(
        "ABBAABBA .1-.2 fade .3 3 blocks",
        calibrate(n, &yes, |k| {
            remounts("z", k, "ABBAABBA", (0.1, 0.2), (0.3, 0.3), 3)
        }),
    );
}
