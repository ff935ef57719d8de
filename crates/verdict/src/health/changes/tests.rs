//! Steps, decays and what is none.

use super::*;
use slantpath_stats::stream::{named_stream, normal};

fn series(seed: u64, n: u32, shape: impl Fn(f64) -> f64) -> Vec<Entry> {
    let mut rng = named_stream(seed, "changes", 0);
    let mut x = 0.0;
    (0..n)
        .map(|k| {
            x = 0.3 * x + 0.08 * normal(&mut rng);
            let t = f64::from(k);
            Entry {
                t,
                value: shape(t) + x,
                u: 0.05,
            }
        })
        .collect()
}

#[test]
fn a_step_is_found_with_date_and_size() {
    let e = series(1, 200, |t| if t < 120.0 { 1.0 } else { 0.6 });
    let c = changes(&e, &[], &[], &Settings::default());
    assert_eq!(c.len(), 1, "{c:?}");
    assert!(
        (c[0].size + 0.4).abs() < 3.0 * c[0].u && c[0].u < 0.05,
        "{c:?}"
    );
    assert!(
        c[0].interval.0 <= 120.0 && c[0].interval.1 >= 120.0 && (c[0].began - 120.0).abs() <= 2.0
    );
    assert!(c[0].raised < 130.0);
    assert_eq!(c[0].course, Course::Stays);
}

#[test]
fn a_known_swap_is_no_change() {
    let e = series(2, 200, |t| if t < 120.0 { 1.0 } else { 2.6 });
    assert!(changes(&e, &[], &[119.5], &Settings::default()).is_empty());
}

#[test]
fn one_wild_day_and_a_slow_season_raise_nothing() {
    let e = series(3, 700, |t| {
        let wild = if (t as i64) % 97 == 11 { -4.0 } else { 0.0 };
        0.1 * (t / 58.1).sin() + wild
    });
    assert!(changes(&e, &[], &[], &Settings::default()).is_empty());
}

#[test]
fn what_dries_is_told_from_what_stays() {
    let e = series(4, 200, |t| {
        if t < 100.0 {
            0.0
        } else {
            -1.5 * (-(t - 100.0) / 8.0).exp()
        }
    });
    let c = changes(&e, &[], &[], &Settings::default());
    assert_eq!(c.len(), 1, "{c:?}");
    let Course::Decays { constant } = c[0].course else {
        panic!("{c:?}")
    };
    assert!(
        (constant - 8.0).abs() < 3.0 && (c[0].size + 1.5).abs() < 0.3,
        "{c:?}"
    );
    let e = series(5, 200, |t| {
        if (100.0..125.0).contains(&t) {
            -1.0
        } else {
            0.0
        }
    });
    let c = changes(&e, &[], &[], &Settings::default());
    assert_eq!(c.len(), 1, "{c:?}");
    assert!(
        matches!(c[0].course, Course::Returned { at } if (at - 125.0).abs() < 2.0),
        "{c:?}"
    );
}

#[test]
fn nothing_later_changes_what_was_raised() {
    let e = series(6, 200, |t| if t < 120.0 { 1.0 } else { 0.6 });
    let all = changes(&e, &[], &[], &Settings::default());
    let raised = all[0].raised;
    let upto: Vec<Entry> = e.iter().copied().filter(|x| x.t <= raised).collect();
    let now = changes(&upto, &[], &[], &Settings::default());
    assert_eq!(now[0].raised, raised);
    assert!((now[0].began - all[0].began).abs() <= 3.0);
    let before: Vec<Entry> = e.iter().copied().filter(|x| x.t < raised).collect();
    assert!(changes(&before, &[], &[], &Settings::default()).is_empty());
}

#[test]
fn short_and_empty_series_say_nothing() {
    assert!(changes(&[], &[], &[], &Settings::default()).is_empty());
    assert!(changes(&series(7, 20, |_| 0.0), &[], &[3.0], &Settings::default()).is_empty());
}
