//! The made cases are what they say: each can be made, has the level it states, and the same name is never used twice.

mod corpus;

use corpus::{Expect, cases, trial};
use num_complex::Complex;
use slantpath_capture::source::Source;
use slantpath_capture::source::synthetic::SyntheticSource;
use slantpath_quantity::{from_db, to_db};

#[test]
fn there_are_more_than_forty_and_each_can_be_made() {
    let list = cases();
    assert!(list.len() >= 40, "{}", list.len());
    let mut names: Vec<&str> = list.iter().map(|c| c.scene.name.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), list.len());
    for case in &list {
        let mut source = SyntheticSource::new(&case.scene).unwrap();
        let mut part = vec![Complex::default(); 20_000];
        let n = source.read(&mut part).unwrap();
        assert_eq!(n, part.len(), "{}", case.scene.name);
        let clips = source.clipped() > 0;
        assert_eq!(clips, case.expect == Expect::Clipped, "{}", case.scene.name);
        // The level is not below that of the receiver's noise behind its filter, and not far above it.
        let power = part.iter().map(|z| f64::from(z.norm_sqr())).sum::<f64>() / n as f64;
        let floor = from_db(case.scene.noise_dbfs) * case.scene.receiver_noise;
        assert!(
            (0.5..60.0).contains(&(power / floor)),
            "{} {}",
            case.scene.name,
            to_db(power / floor)
        );
    }
}

#[test]
fn beacons_lie_inside_the_band_unless_there_are_none() {
    for case in cases() {
        let source = SyntheticSource::new(&case.scene).unwrap();
        for s in &source.truth().signals {
            let edge = 0.49 * case.scene.sample_rate_hz;
            assert!(
                s.middle_hz.abs() < edge,
                "{} {}",
                case.scene.name,
                s.middle_hz
            );
        }
    }
}

#[test]
fn a_trial_has_the_change_it_states() {
    let list = trial(77, 8, 0.7, 0.15, 0.5, 1200.0);
    let mean = |b: bool| {
        let v: Vec<f64> = list
            .iter()
            .filter(|m| m.is_b == b)
            .map(|m| {
                let t = SyntheticSource::new(&m.scene).unwrap().truth().clone();
                let fade = m.scene.fade.unwrap().level_db(3.0);
                t.signals[0].cn0_dbhz - m.remount_db - fade
            })
            .collect();
        v.iter().sum::<f64>() / v.len() as f64
    };
    assert!(
        (mean(true) - mean(false) - 0.7).abs() < 2e-3,
        "{}",
        mean(true) - mean(false)
    );
    let rms = (list.iter().map(|m| m.remount_db.powi(2)).sum::<f64>() / 16.0).sqrt();
    assert!((0.07..0.25).contains(&rms), "{rms}");
}
