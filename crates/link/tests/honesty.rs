//! Stated intervals of the station budget hold the truth as often as they say (short form of the bench `honesty`).

mod common;

use common::{CLUB, JUDGED, coverage, station};
use slantpath_link::{Conditions, Drawing, Model, quick};

#[test]
fn stated_intervals_hold_the_truth() {
    const TRIALS: u64 = 200;
    // Binomial with p = 0.95: outside 179..=198 of 200 with probability below 0.001.
    const ACCEPTED: std::ops::RangeInclusive<usize> = 179..=198;
    let s = station(CLUB).base;
    let m = Model::new(&s, &Conditions::default()).unwrap();
    let drawing = Drawing {
        seed: 3,
        trials: 20_000,
    };
    let p = quick(&m, drawing).unwrap();
    for (id, n, hits) in coverage(&s, &m, &p, TRIALS, &JUDGED) {
        assert_eq!(n, TRIALS as usize, "every truth could be built");
        assert!(ACCEPTED.contains(&hits), "{id}: {hits} of {n}");
    }
}
