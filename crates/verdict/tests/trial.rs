//! The swap trial's answers on single cases.

mod common;

use common::{Dice, obs, sides};
use slantpath_verdict::trial::{
    Caution, Control, Observation, Remounted, Scope, Side, TrialError, TrialOptions, Verdict, trial,
};

/// Ten files A, B, A, B ..., 8 s apart; true values of C/N0 on a fade of 0.5 dB amplitude and 180 s period; the true
/// difference is -0.70 dB and plain means give -0.76.
const FADING: [f64; 10] = [
    49.4168, 48.7764, 49.4992, 48.7833, 49.4300, 48.6434, 49.2301, 48.3991, 48.9603, 48.1246,
];

fn fading(noise_db: f64, k: u64) -> Vec<Observation> {
    let mut dice = Dice::new("fading", k);
    sides("ABABABABAB")
        .into_iter()
        .zip(FADING)
        .enumerate()
        .map(|(i, (s, v))| obs(s, 8.0 * i as f64, v + noise_db * dice.normal(), 0.03))
        .collect()
}

#[test]
fn a_slow_fade_does_not_bias_files_in_turn() {
    let options = TrialOptions::default();
    let clean = trial(&fading(0.0, 0), &options).unwrap();
    assert!(
        (clean.difference.value + 0.70).abs() < 0.01,
        "{:?}",
        clean.difference
    );
    assert!((clean.naive.value + 0.7619).abs() < 1e-3);
    let mut inside = 0;
    for k in 0..20 {
        let r = trial(&fading(0.03, k), &options).unwrap();
        inside += usize::from(r.difference.interval.contains(-0.70));
        assert!(r.interval_999.contains(-0.70), "{k}: {:?}", r.difference);
        assert!(
            r.difference.interval.half_width() < 0.065,
            "{k}: {:?}",
            r.difference
        );
        assert_eq!(r.verdict, Verdict::Worse);
        assert!(r.drift_probability > 0.99);
        assert_eq!(r.pairs.more_for_observed, Some(0));
    }
    assert!(inside >= 18, "{inside} of 20");
    let r = trial(&fading(0.03, 1), &options).unwrap();
    assert!(r.cautions.contains(&Caution::RemountNotTested));
    assert!(
        r.cautions
            .iter()
            .any(|c| matches!(c, Caution::DriftFound { .. }))
    );
}

#[test]
fn order_of_the_list_does_not_matter() {
    let mut list = fading(0.03, 3);
    let a = trial(&list, &TrialOptions::default()).unwrap();
    list.reverse();
    list.swap(2, 7);
    assert_eq!(a, trial(&list, &TrialOptions::default()).unwrap());
}

/// One file a side on different days: sqrt(2 (0.2^2 + 0.15^2 + 0.15^2) + 2 x 0.05^2) = 0.4183 dB.
#[test]
fn different_days_give_a_difference_with_the_declared_contributors() {
    let list = [
        obs(Side::A, 0.0, 50.0, 0.05),
        obs(Side::B, 4.0 * 86_400.0, 50.4, 0.05),
    ];
    let r = trial(&list, &TrialOptions::default()).unwrap();
    assert!((r.difference.value - 0.4).abs() < 1e-9);
    assert!(
        (r.difference.u - 0.418_3).abs() < 1e-3,
        "{}",
        r.difference.u
    );
    assert!((r.difference.interval.half_width() - 1.96 * 0.4183).abs() < 2e-3);
    assert_eq!(r.verdict, Verdict::NotResolved);
    assert!(r.pairs.more_for_observed.is_some_and(|n| n > 0));
    for wanted in [
        Caution::DifferentDays {
            gap_s: 4.0 * 86_400.0,
        },
        Caution::FadeNotSeparable {
            gap_s: 4.0 * 86_400.0,
        },
        Caution::RemountScatterDeclared { u_db: 0.15 },
    ] {
        assert!(
            r.cautions.contains(&wanted),
            "{wanted:?} in {:?}",
            r.cautions
        );
    }
    let sum: f64 = r.shares.iter().map(|s| s.u * s.u).sum();
    assert!(
        (sum.sqrt() - r.difference.u).abs() < 1e-9,
        "the shares make up the whole"
    );
    let answer = r.to_answer("narrow.beacon-psk.cn0@main", "beacon C/N0");
    assert_eq!(answer.measurand, "narrow.beacon-psk.cn0@main.swap");
    assert_eq!(answer.shares[0].id.as_str(), "sat.level.day");
    assert!(answer.because[0].contains("Not resolved") && answer.next_measurement.is_some());
    // A decibel and a half is resolved even so.
    let big = [list[0].clone(), obs(Side::B, 4.0 * 86_400.0, 51.5, 0.05)];
    assert_eq!(
        trial(&big, &TrialOptions::default()).unwrap().verdict,
        Verdict::Better
    );
}

/// A quick switch on a steady path: the declared contributors stay out.
#[test]
fn two_files_in_a_minute_are_as_certain_as_their_noise() {
    let list = [
        obs(Side::A, 0.0, 50.0, 0.03),
        obs(Side::B, 45.0, 49.0, 0.03),
    ];
    let r = trial(&list, &TrialOptions::default()).unwrap();
    assert!(
        (r.difference.u - 0.03 * 2f64.sqrt()).abs() < 0.002,
        "{}",
        r.difference.u
    );
    assert!(r.cautions.contains(&Caution::RemountNotTested));
    // Saying that it was a remount brings the declared scatter back.
    let yes = TrialOptions {
        remounted: Remounted::Yes,
        ..TrialOptions::default()
    };
    let u = trial(&list, &yes).unwrap().difference.u;
    assert!(
        (u - (2.0f64 * (0.15f64.powi(2) + 0.03f64.powi(2))).sqrt()).abs() < 0.002,
        "{u}"
    );
}

/// Twenty blocks in one mounting a side must not look like twenty pairs.
#[test]
fn blocks_never_stand_in_for_remounts() {
    let mut dice = Dice::new("blocks", 0);
    let mut list = Vec::new();
    for k in 0..20 {
        for (side, t0, m) in [(Side::A, 0.0, "first"), (Side::B, 1800.0, "second")] {
            let mut o = obs(
                side,
                t0 + 30.0 * f64::from(k),
                50.0 + 0.03 * dice.normal(),
                0.03,
            );
            o.mounting = Some(m.to_string());
            list.push(o);
        }
    }
    let r = trial(&list, &TrialOptions::default()).unwrap();
    assert!(r.difference.u > 0.2, "{}", r.difference.u);
    assert!(r.naive.u < 0.01);
    assert!(r.cautions.contains(&Caution::BlocksAreNoRepeats {
        observations: 40,
        mountings: 2
    }));
    assert_eq!(r.pairs.have, 0);
}

/// The scatter seen between mountings carries the interval, however many blocks each has.
#[test]
fn remount_scatter_drives_the_interval() {
    let shift = [0.15, -0.2, 0.1, 0.2, -0.15, -0.1, 0.05, -0.05];
    let make = |blocks: usize, size: f64| -> Vec<Observation> {
        let mut all = Vec::new();
        for (i, side) in sides("ABBAABBA").into_iter().enumerate() {
            for b in 0..blocks {
                let t = 1500.0 * i as f64 + 30.0 * b as f64;
                let mut o = obs(side, t, 50.0 + size * shift[i], 0.02);
                o.mounting = Some(i.to_string());
                all.push(o);
            }
        }
        all
    };
    let half = |blocks, size| {
        let r = trial(&make(blocks, size), &TrialOptions::default()).unwrap();
        r.difference.interval.half_width()
    };
    let (one, five, double) = (half(1, 1.0), half(5, 1.0), half(1, 2.0));
    assert!((five / one - 1.0).abs() < 0.15, "{one} {five}");
    assert!(double > 1.6 * one, "{one} {double}");
    let r = trial(&make(3, 1.0), &TrialOptions::default()).unwrap();
    assert_eq!((r.pairs.have, r.design.mountings), (4, [4, 4]));
    assert!(
        (0.08..0.25).contains(&r.remount_scatter_db),
        "{}",
        r.remount_scatter_db
    );
}

/// A step of the satellite's level between the sides is seen by the control and goes away; so do the day-to-day
/// contributors that the control sees.
#[test]
fn a_control_receiver_is_subtracted() {
    let mut list = [
        obs(Side::A, 0.0, 50.0, 0.03),
        obs(Side::B, 2.0 * 86_400.0, 49.2, 0.03),
    ];
    for (o, level) in list.iter_mut().zip([40.0, 39.0]) {
        o.control = Some(Control {
            value_db: level,
            u_random_db: 0.04,
        });
    }
    let r = trial(&list, &TrialOptions::default()).unwrap();
    assert!((r.difference.value - 0.2).abs() < 1e-9);
    let u = (2.0f64 * (0.15f64.powi(2) + 0.03f64.powi(2) + 0.04f64.powi(2))).sqrt();
    assert!((r.difference.u - u).abs() < 1e-3, "{}", r.difference.u);
    // One missing control value: not used, and said.
    list[1].control = None;
    let r = trial(&list, &TrialOptions::default()).unwrap();
    assert!(
        r.cautions
            .contains(&Caution::ControlIncomplete { with: 1, of: 2 })
    );
    assert!((r.difference.value + 0.8).abs() < 1e-9);
}

#[test]
fn equivalence_needs_the_whole_interval() {
    let list: Vec<_> = sides("ABBAABBA")
        .into_iter()
        .enumerate()
        .map(|(i, s)| {
            obs(
                s,
                30.0 * i as f64,
                50.0 + 0.01 * f64::from((i % 3) as i32 - 1),
                0.02,
            )
        })
        .collect();
    let ask = |x| {
        let o = TrialOptions {
            equivalence_db: Some(x),
            ..TrialOptions::default()
        };
        trial(&list, &o).unwrap().verdict
    };
    assert_eq!(ask(0.1), Verdict::NoDifferenceAbove(0.1));
    assert_eq!(ask(0.005), Verdict::NotResolved);
}

#[test]
fn the_same_thing_twice_returns_zero() {
    let aa = TrialOptions {
        same_part: true,
        ..TrialOptions::default()
    };
    let mut list = fading(0.03, 5);
    for o in list.iter_mut().filter(|o| o.side == Side::B) {
        o.value_db += 0.70;
    }
    let r = trial(&list, &aa).unwrap();
    assert_eq!(r.same_part_consistent, Some(true));
    assert!(r.sentence().contains("zero"));
    let r = trial(&fading(0.03, 5), &aa).unwrap();
    assert_eq!(r.same_part_consistent, Some(false));
    assert_eq!(r.cautions[0], Caution::SameThingDiffers);
}

/// Branches have their own levels: 10 dB between them is no difference of sides.
#[test]
fn branches_are_compared_with_themselves() {
    let mut list = Vec::new();
    for (i, side) in sides("ABAB").into_iter().enumerate() {
        for (branch, level) in [("main", 50.0), ("second", 40.0)] {
            let d = if side == Side::B { 0.5 } else { 0.0 };
            let mut o = obs(side, 30.0 * i as f64, level + d, 0.02);
            o.branch = branch.to_string();
            list.push(o);
        }
    }
    let mut alone = obs(Side::B, 200.0, 70.0, 0.02);
    alone.branch = "spare".to_string();
    list.push(alone);
    let r = trial(&list, &TrialOptions::default()).unwrap();
    assert!(
        (r.difference.value - 0.5).abs() < 1e-3,
        "{:?}",
        r.difference
    );
    assert!(r.cautions.contains(&Caution::BranchLeftOut {
        branch: "spare".into()
    }));
    list.iter_mut()
        .for_each(|o| o.branch = format!("{:?}", o.side));
    assert_eq!(
        trial(&list, &TrialOptions::default()).unwrap_err(),
        TrialError::NoCommonBranch
    );
}

#[test]
fn what_cannot_be_used_is_refused() {
    let good = [
        obs(Side::A, 0.0, 50.0, 0.05),
        obs(Side::B, 60.0, 50.0, 0.05),
    ];
    let o = TrialOptions::default();
    assert_eq!(
        trial(&good[..1], &o).unwrap_err(),
        TrialError::NothingOnSide { side: Side::B }
    );
    assert!(trial(&[], &o).is_err());
    for bad in [f64::NAN, f64::INFINITY] {
        let mut list = good.clone();
        list[1].value_db = bad;
        assert!(matches!(
            trial(&list, &o),
            Err(TrialError::BadObservation { index: 1, .. })
        ));
    }
    let mut list = good.clone();
    list[0].u_random_db = -0.1;
    assert!(matches!(
        trial(&list, &o),
        Err(TrialError::BadObservation { index: 0, .. })
    ));
    let bad = TrialOptions {
        effect_db: 0.0,
        ..o.clone()
    };
    assert!(matches!(
        trial(&good, &bad),
        Err(TrialError::BadOption { .. })
    ));
    // No uncertainty stated, same moment, same value: still an answer.
    let list = [obs(Side::A, 0.0, 50.0, 0.0), obs(Side::B, 0.0, 50.0, 0.0)];
    assert!(trial(&list, &o).unwrap().difference.u > 0.0);
}

/// A lower value is the better one, and declared contributors can be replaced.
#[test]
fn options_are_used() {
    let list = [
        obs(Side::A, 0.0, 3.0, 0.01),
        obs(Side::B, 86_400.0 * 3.0, 2.0, 0.01),
    ];
    let mut o = TrialOptions {
        higher_is_better: false,
        ..TrialOptions::default()
    };
    o.declared.retain(|d| d.scope == Scope::Mounting);
    let r = trial(&list, &o).unwrap();
    assert_eq!(r.verdict, Verdict::Better);
    assert!((r.difference.u - (2.0f64 * (0.0225 + 0.0001)).sqrt()).abs() < 1e-4);
}

/// Hundreds of files are averaged with their neighbours first; the answer stays and so does its speed.
#[test]
fn many_observations() {
    let mut dice = Dice::new("many", 0);
    let mut list = Vec::new();
    for i in 0..600 {
        let side = if (i / 30) % 2 == 0 { Side::A } else { Side::B };
        let d = if side == Side::B { 0.4 } else { 0.0 };
        let t = 5.0 * f64::from(i);
        list.push(obs(
            side,
            t,
            50.0 + d + 0.2 * (t / 700.0).sin() + 0.05 * dice.normal(),
            0.05,
        ));
    }
    let r = trial(&list, &TrialOptions::default()).unwrap();
    assert!(
        r.difference.interval.contains(0.4) && r.difference.u < 0.05,
        "{:?}",
        r.difference
    );
    assert_eq!(r.design.observations, [300, 300]);
}

/// Twelve remounts on a fade of half a decibel, and two short files minutes after the first of their mountings that lie
/// 0.15 to 0.2 dB lower: a scatter, not a slope that goes on until the next mounting. True difference 1.498 dB.
#[test]
fn recordings_of_one_mounting_that_disagree_are_no_slope() {
    let twelve = [
        (0.0, 54.5564),
        (959.0, 56.0093),
        (1703.0, 55.9437),
        (2808.0, 54.3768),
        (3514.0, 54.2436),
        (4398.0, 55.6437),
        (5504.0, 55.5785),
        (6305.0, 53.9651),
        (7147.0, 54.2571),
        (8002.0, 55.8325),
        (8891.0, 56.0539),
        (9997.0, 54.3639),
    ];
    let mut list: Vec<Observation> = sides("ABBAABBAABBA")
        .into_iter()
        .zip(twelve)
        .enumerate()
        .map(|(i, (side, (t, y)))| Observation {
            mounting: Some(format!("{}", i + 1)),
            ..obs(side, t, y, 0.03)
        })
        .collect();
    let options = TrialOptions::default();
    let without = trial(&list, &options).unwrap();
    for (side, t, y, mounting) in [
        (Side::A, 180.0, 54.3634, "1"),
        (Side::B, 1080.0, 55.8615, "2"),
    ] {
        list.push(Observation {
            mounting: Some(mounting.to_string()),
            ..obs(side, t, y, 0.05)
        });
    }
    let with = trial(&list, &options).unwrap();
    println!("{:?} {:?}", without.difference, with.difference);
    assert!(with.difference.interval.contains(1.498));
    assert!((with.difference.value - without.difference.value).abs() < 0.1);
    assert!(with.difference.interval.half_width() < 1.5 * without.difference.interval.half_width());
    assert!(with.shares.iter().any(|s| s.id.as_str() == "trial.repeat"));
}
