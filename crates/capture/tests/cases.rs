//! The measurement against every made case, and the figures it states against the truth.

mod corpus;

use corpus::{Case, Expect, cases};
use rayon::prelude::*;
use slantpath_capture::source::synthetic::{Kind, SyntheticSource, Truth};
use slantpath_capture::{
    BeaconKind, BeaconPlan, CentreMeaning, FlagKind, Measurement, PassbandPlan, SearchPlan,
    Settings, Severity, measure,
};
use slantpath_stats::{Progress, Stop};

fn plan(case: &Case) -> SearchPlan {
    // What the satellite sends is known; where the case changed the beacon, the plan says so.
    let bpsk = case.scene.signals.iter().find_map(|s| match s.kind {
        Kind::Bpsk {
            baud,
            rolloff,
            manchester,
        } => Some(BeaconKind::Bpsk {
            symbol_rate: baud,
            rolloff,
            manchester,
        }),
        _ => None,
    });
    let mut meanings = vec![
        CentreMeaning::TrueRf,
        CentreMeaning::Intermediate { lo_hz: 9_750e6 },
    ];
    if case.scene.inverted {
        meanings.push(CentreMeaning::Inverted {
            lo_hz: 2.0 * 10_472.35e6,
        });
    }
    SearchPlan::new(
        meanings,
        vec![PassbandPlan {
            name: "narrow".into(),
            lo_hz: 10_472.15e6,
            hi_hz: 10_472.55e6,
        }],
        vec![
            BeaconPlan {
                name: "psk".into(),
                passband: "narrow".into(),
                rf_hz: 10_472.175e6,
                kind: bpsk.unwrap_or(BeaconKind::Bpsk {
                    symbol_rate: 1200.0,
                    rolloff: 0.5,
                    manchester: false,
                }),
            },
            BeaconPlan {
                name: "cw".into(),
                passband: "narrow".into(),
                rf_hz: 10_472.525e6,
                kind: BeaconKind::KeyedCarrier,
            },
        ],
    )
}

/// Error over uncertainty of one figure, or why it cannot be compared.
fn compare(m: &Measurement, id: &str, truth: f64, limit: f64, problems: &mut Vec<String>) {
    match m.answer(id).map(|a| &a.outcome) {
        Some(Ok(e)) => {
            let d = e.value - truth;
            // Figures of a second or less: a tenth of a decibel, or what their own uncertainty allows.
            if d.abs() > 5.0 * e.u.max(0.02 * limit) {
                problems.push(format!("{id} far off: {d:+.3} (u {:.3})", e.u));
            } else if d.abs() > limit.max(3.5 * e.u) {
                problems.push(format!("{id} off by {d:+.3} (u {:.3})", e.u));
            }
        }
        Some(Err(u)) => problems.push(format!("{id} not given: {}", u.reason)),
        None => problems.push(format!("{id} missing")),
    }
}

fn beacons(
    case: &Case,
    m: &Measurement,
    t: &Truth,
    skip: Option<&str>,
    problems: &mut Vec<String>,
) {
    for (name, id) in [("beacon_bpsk", "psk"), ("beacon_carrier", "cw")] {
        let Some(s) = t.signals.iter().find(|s| s.name == name) else {
            continue;
        };
        if case.scene.sample_rate_hz < 100e3 && id == "cw" || skip == Some(id) {
            continue;
        }
        compare(
            m,
            &format!("narrow.{id}.cn0"),
            s.cn0_with_steps_dbhz,
            0.1,
            problems,
        );
        compare(
            m,
            &format!("narrow.{id}.offset"),
            s.middle_hz,
            1.0,
            problems,
        );
    }
}

fn judge(case: &Case) -> Vec<String> {
    let mut s = SyntheticSource::new(&case.scene).unwrap();
    let m = measure(
        &mut s,
        &plan(case),
        &Settings::default(),
        &Progress::silent(),
        &Stop::new(),
    )
    .unwrap();
    let t = s.truth().clone();
    let mut bad = Vec::new();
    let refused = m.flags.iter().any(|f| f.severity == Severity::Refusal);
    let gain = m
        .flagged(FlagKind::GainChanges)
        .is_some_and(|f| f.severity == Severity::Refusal);
    match case.expect {
        Expect::Measured | Expect::NoStep => {
            beacons(case, &m, &t, None, &mut bad);
            if case.expect == Expect::Measured {
                compare(
                    &m,
                    "narrow.noise_step",
                    t.noise_step_with_steps_db.unwrap(),
                    0.1,
                    &mut bad,
                );
            } else if m
                .answer("narrow.noise_step")
                .is_some_and(|a| a.outcome.is_ok())
            {
                bad.push("a noise step without a flat window".into());
            }
            if refused {
                bad.push("refused".into());
            }
            if let Some(f) = m
                .flags
                .iter()
                .find(|f| matches!(f.kind, FlagKind::GainChanges | FlagKind::NoiseChanges))
            {
                bad.push(format!("healthy, yet {}: {}", f.title, f.evidence));
            }
        }
        Expect::RefusedGain => {
            if !gain {
                bad.push("changing gain not refused".into());
            }
            if m.answers
                .iter()
                .any(|a| a.measurand.ends_with("cn0") && a.outcome.is_ok())
            {
                bad.push("C/N0 given though the gain changes".into());
            }
        }
        Expect::Clipped => {
            if m.flagged(FlagKind::Clipping).is_none() {
                bad.push("clipping not seen".into());
            }
        }
        Expect::TooFewBits => {
            if m.flagged(FlagKind::FewBits)
                .is_none_or(|f| f.severity == Severity::Note)
            {
                bad.push("coarse steps not seen".into());
            }
        }
        Expect::Transmitting => {
            if !m.flags.iter().any(|f| {
                matches!(f.kind, FlagKind::NoiseChanges | FlagKind::GainChanges)
                    && f.severity >= Severity::Warning
            }) {
                bad.push("own transmitter not seen".into());
            }
        }
        Expect::NoBeacon => {
            if m.beacons.iter().any(|b| b.found.is_some()) {
                bad.push("found a beacon that is not there".into());
            }
        }
        Expect::SpurOnBeacon => {
            let skip = if case.scene.name.contains("bpsk") {
                "psk"
            } else {
                "cw"
            };
            beacons(case, &m, &t, Some(skip), &mut bad);
            let mut own = Vec::new();
            beacons(case, &m, &t, None, &mut own);
            if m.flagged(FlagKind::BeaconInterference).is_none() && !own.is_empty() {
                bad.push(format!("spur not seen: {own:?}"));
            }
        }
    }
    for f in &m.flags {
        println!("    {:?} {}: {}", f.severity, f.title, f.evidence);
    }
    if !bad.is_empty() {
        for s in m.signals.iter().take(10) {
            println!(
                "    signal {:+.2} kHz {:.0} Hz {:.1} dBFS {:?}",
                s.centre_hz * 1e-3,
                s.bandwidth_hz,
                s.level_dbfs,
                s.identity
            );
        }
        println!("    {:?}", m.location);
        for b in &m.beacons {
            if let Some(f) = &b.found {
                println!(
                    "    {} c {:.3} n0 {:.3} u {:.3} {:.3} order {} band {:.0} company {:?} {:?}",
                    b.plan.name,
                    slantpath_quantity::to_db(f.c),
                    slantpath_quantity::to_db(f.n0),
                    4.34 * f.u_carrier,
                    4.34 * f.u_noise,
                    b.blocks[0].1.n0_order,
                    f.n0_band_hz,
                    f.company,
                    f.second_line
                );
            }
            let s = if b.plan.name == "psk" { -175e3 } else { 175e3 };
            println!(
                "    truth n0 {:.3}",
                t.receiver_noise_dbfs_per_hz
                    + slantpath_quantity::to_db(
                        (1.0 + case.scene.satellite_density(s))
                            * case
                                .scene
                                .filter
                                .map_or(1.0, |f| f.response(s + 400.0, case.scene.sample_rate_hz))
                    )
            );
        }
    }
    bad
}

#[test]
fn every_made_case() {
    let only = std::env::var("CASE").ok();
    let mut failed = Vec::new();
    let list = cases();
    assert!(list.len() >= 40);
    let judged: Vec<(&Case, Vec<String>)> = list
        .par_iter()
        .filter(|case| {
            only.as_ref()
                .is_none_or(|o| case.scene.name.contains(o.as_str()))
        })
        .map(|case| (case, judge(case)))
        .collect();
    for (case, bad) in judged {
        println!("{} {:?}", case.scene.name, case.expect);
        if !bad.is_empty() {
            println!("  FAILED {bad:?}");
            failed.push(format!("{}: {bad:?}", case.scene.name));
        }
    }
    // Some hundred and fifty figures: one beyond 3.5 standard deviations is no failure (probability 7 %).
    let outliers = failed
        .iter()
        .filter(|f| f.matches("off by").count() == 1 && !f.contains(','))
        .count();
    assert!(
        failed.len() == outliers && outliers <= 1,
        "{} of {}:\n{}",
        failed.len(),
        list.len(),
        failed.join("\n")
    );
}
