//! Explanations against closed forms and searches.

use super::solve::{ln_normal_cdf, mills};
use super::*;
use slantpath_quantity::{ContributorId, Distribution};

fn c(id: &str, u: f64) -> Contributor {
    Contributor {
        id: ContributorId::new(id),
        label: id.into(),
        distribution: Distribution::Normal { mean: 0.0, u },
        unit: "dB",
        source: "test".into(),
    }
}
fn m(id: &str, d: f64, u: f64, s: &[f64], contributors: &[Contributor]) -> Comparand {
    let up = s
        .iter()
        .zip(contributors)
        .map(|(s, c)| (s * c.distribution.u()).powi(2))
        .sum::<f64>()
        .sqrt();
    Comparand {
        measurand: id.into(),
        label: id.into(),
        unit: Unit::Db,
        predicted: 10.0,
        u_predicted: up,
        measured: 10.0 + d,
        u_measured: u,
        at_least: false,
        sensitivity: s.to_vec(),
    }
}

#[test]
fn one_measurement_is_shared_by_variance() {
    // Closed form: shift_i = u_i^2 r / (u_1^2 + u_2^2 + u_m^2).
    let cs = [c("a", 1.0), c("b", 2.0)];
    let e = explain(&cs, &[m("x", -3.0, 0.5, &[1.0, 1.0], &cs)]).unwrap();
    let total = 1.0 + 4.0 + 0.25;
    let b = &e.suspects[0];
    assert_eq!(b.contributor.id.as_str(), "b");
    assert!((b.shift + 3.0 * 4.0 / total).abs() < 1e-12);
    assert!((b.pulls[0].part - b.shift).abs() < 1e-12);
    assert!((e.chi2 - 9.0 / total).abs() < 1e-12);
    assert!((e.disagreements[0].left_over + 3.0 * 0.25 / total).abs() < 1e-12);
    assert!(e.agrees());
}

#[test]
fn two_measurements_single_out_the_culprit() {
    // Both see a; only the second sees b. A loss in both indicts a.
    let cs = [c("a", 1.0), c("b", 1.0)];
    let e = explain(
        &cs,
        &[
            m("x", -3.0, 0.1, &[1.0, 0.0], &cs),
            m("y", -3.0, 0.1, &[1.0, 1.0], &cs),
        ],
    )
    .unwrap();
    assert_eq!(e.suspects[0].contributor.id.as_str(), "a");
    assert!((e.suspects[0].shift + 3.0).abs() < 0.1 && e.suspects[1].shift.abs() < 0.1);
    assert!(!e.agrees());
}

#[test]
fn a_ceiling_below_the_prediction_says_nothing() {
    let cs = [c("a", 1.0)];
    let mut x = m("x", -4.0, 0.1, &[1.0], &cs);
    x.at_least = true;
    let e = explain(&cs, &[x]).unwrap();
    assert!(e.disagreements[0].silent && e.agrees() && e.dof == 0);
}

#[test]
fn the_next_measurement_separates_the_leading_two() {
    let cs = [c("a", 1.0), c("b", 1.0)];
    let e = explain(&cs, &[m("x", -3.0, 0.1, &[1.0, 1.0], &cs)]).unwrap();
    let candidate = |s: &[f64]| Candidate {
        measurand: "m".into(),
        how: "h".into(),
        minutes: 10.0,
        u: 0.1,
        sensitivity: s.to_vec(),
    };
    // Measuring the sum again tells nothing new; the difference does.
    let (k, bits) = next_measurement(
        &e,
        &cs,
        &[candidate(&[1.0, 1.0]), candidate(&[1.0, -1.0])],
        2,
    )
    .unwrap();
    assert_eq!(k, 1);
    assert!(bits > 2.0);
}

/// Noise of two origins adds in power: far from a plane. The solution is that of a fine search of the same sum.
#[test]
fn large_shifts_are_found_on_the_curve_itself() {
    use slantpath_quantity::{from_db, to_db};
    let cs = [c("a", 6.0), c("b", 6.0)];
    let mut f = |x: &[f64]| {
        Some(vec![
            to_db(from_db(x[0]) + from_db(x[1] - 3.0)),
            x[0] - 0.2 * x[1],
        ])
    };
    let at = f(&[0.0, 0.0]).unwrap();
    let mut y = vec![
        m("sum", 0.0, 0.3, &[0.67, 0.33], &cs),
        m("other", 0.0, 0.5, &[1.0, -0.2], &cs),
    ];
    for (y, (f, d)) in y.iter_mut().zip(at.iter().zip([9.0, -2.0])) {
        (y.predicted, y.measured) = (*f, f + d);
    }
    let e = explain_with(&cs, &y, &mut f).unwrap();
    assert!(e.converged && e.steps > 1, "{e:?}");
    let sum = |a: f64, b: f64| {
        let g = f(&[a, b]).unwrap();
        (a / 6.0).powi(2)
            + (b / 6.0).powi(2)
            + ((y[0].measured - g[0]) / 0.3).powi(2)
            + ((y[1].measured - g[1]) / 0.5).powi(2)
    };
    let (mut best, mut centre, mut width) = ((f64::INFINITY, 0.0, 0.0), (0.0, 0.0), 24.0);
    for _ in 0..12 {
        for i in -20..=20 {
            for j in -20..=20 {
                let (a, b) = (
                    centre.0 + width * f64::from(i) / 20.0,
                    centre.1 + width * f64::from(j) / 20.0,
                );
                let s = sum(a, b);
                if s < best.0 {
                    best = (s, a, b);
                }
            }
        }
        centre = (best.1, best.2);
        width /= 4.0;
    }
    let shift = |id: &str| {
        e.suspects
            .iter()
            .find(|s| s.contributor.id.as_str() == id)
            .unwrap()
    };
    assert!(
        (shift("a").shift - best.1).abs() < 1e-3,
        "{} {}",
        shift("a").shift,
        best.1
    );
    assert!(
        (shift("b").shift - best.2).abs() < 1e-3,
        "{} {}",
        shift("b").shift,
        best.2
    );
    assert!((e.chi2 - best.0).abs() < 1e-6);
    // The plane at the start would have missed it by far.
    assert!(
        (shift("b").linear - best.2).abs() > 0.5,
        "{}",
        shift("b").linear
    );
    // What each measurement pulls sums to the shift.
    for s in &e.suspects {
        let parts: f64 = s.pulls.iter().map(|p| p.part).sum();
        assert!((parts - s.shift).abs() < 1e-3, "{parts} {}", s.shift);
    }
}

/// A reading at its ceiling above the prediction pulls up, less than an ordinary reading there would, and the result is
/// the maximum of the normal density times the probability of "this or more".
#[test]
fn a_ceiling_above_the_prediction_pulls_as_at_least() {
    let cs = [c("a", 1.0)];
    let mut x = m("x", 1.0, 0.5, &[1.0], &cs);
    let plain = explain(&cs, &[x.clone()]).unwrap().suspects[0].shift;
    x.at_least = true;
    let e = explain(&cs, &[x]).unwrap();
    let density = |a: f64| -0.5 * a * a + ln_normal_cdf((a - 1.0) / 0.5);
    let best = (0..40_000)
        .map(|k| f64::from(k) * 1e-4)
        .fold((f64::NEG_INFINITY, 0.0), |b, a| {
            if density(a) > b.0 { (density(a), a) } else { b }
        });
    assert!(
        (e.suspects[0].shift - best.1).abs() < 2e-4,
        "{} {}",
        e.suspects[0].shift,
        best.1
    );
    assert!(e.suspects[0].shift > 0.3 && plain > 0.3 && e.converged);
    // Twice as far above as can be believed: the tail is still a number.
    assert!((mills(-5.0 + 1e-9) - mills(-5.0 - 1e-9)).abs() < 1e-6);
    assert!(ln_normal_cdf(-40.0) < -800.0);
}

#[test]
fn a_model_that_ends_is_followed_to_its_edge() {
    let cs = [c("a", 1.0)];
    let mut f = |x: &[f64]| (x[0] > -1.0).then(|| vec![10.0 + x[0]]);
    let e = explain_with(&cs, &[m("x", -3.0, 0.1, &[1.0], &cs)], &mut f).unwrap();
    assert!(e.suspects[0].shift > -1.0 && e.suspects[0].shift < -0.5 && !e.converged);
}

/// A wave turned by a skew `s` leaves `tan(s)^2` on the other polarisation, a straight feed `10^(-i/10)`: even in `s`, so
/// that the slope at no skew is nothing. A ratio of 15.07 dB is a skew of 10 degrees (closed form), and one that the feed
/// can hardly make must indict the skew.
#[test]
fn what_acts_alike_either_way_is_found_as_well() {
    use slantpath_quantity::{from_db, to_db};
    let cs = [c("skew", 3.0), c("feed", 1.0)];
    let mut f = |x: &[f64]| {
        let skew = x[0].to_radians().tan().powi(2);
        Some(vec![-to_db(skew + from_db(-(40.0 + x[1])))])
    };
    let mut y = m("ratio", 0.0, 0.3, &[0.0, 1.0], &cs);
    (y.predicted, y.measured) = (40.0, 15.07);
    let e = explain_with(&cs, &[y], &mut f).unwrap();
    let s = &e.suspects[0];
    assert_eq!(s.contributor.id.as_str(), "skew");
    assert!(s.either_way && e.converged, "{e:?}");
    assert!((s.shift - 9.8).abs() < 0.3, "{}", s.shift);
    assert!(e.suspects[1].shift.abs() < 0.1 && !e.suspects[1].either_way);
}
