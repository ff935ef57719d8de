//! The model as a whole, on the demo stations (invented): what must hold whatever the numbers are.

mod common;

use common::{CAMP, CLUB, station};
use slantpath_link::{
    Air, Conditions, Drawing, Group, Model, Prediction, difference, differences, quick,
};

fn model(text: &str, variant: Option<&str>, conditions: &Conditions) -> Model {
    let file = station(text);
    Model::new(file.variant(variant).unwrap(), conditions).unwrap()
}

const FEW: Drawing = Drawing {
    seed: 7,
    trials: 4000,
};

fn drawn(m: &Model) -> Prediction {
    quick(m, FEW).unwrap()
}

fn best(m: &Model, id: &str) -> f64 {
    let mut y = vec![0.0; m.outputs().len()];
    m.evaluate(&m.inputs().best(), &mut y);
    y[m.outputs()
        .iter()
        .position(|o| o.id == id)
        .unwrap_or_else(|| panic!("no {id}"))]
}

#[test]
fn the_ledger_sums_to_the_system_temperature() {
    for (text, branch) in [(CLUB, "sdr"), (CAMP, "sdr")] {
        let m = model(text, None, &Conditions::default());
        let mut y = vec![0.0; m.outputs().len()];
        m.evaluate(&m.inputs().best(), &mut y);
        let branch = if m
            .outputs()
            .iter()
            .any(|o| o.branch.as_deref() == Some(branch))
        {
            branch.to_string()
        } else {
            m.outputs().iter().find_map(|o| o.branch.clone()).unwrap()
        };
        let sum: f64 = m
            .outputs()
            .iter()
            .zip(&y)
            .filter(|(o, _)| {
                o.group == Group::Ledger
                    && o.passband.as_deref() == Some("narrow")
                    && o.branch.as_deref() == Some(branch.as_str())
                    && !o.id.contains("satellite")
            })
            .map(|(_, v)| v)
            .sum();
        let t_sys = best(&m, &format!("narrow.t_sys@{branch}"));
        assert!((sum - t_sys).abs() < 1e-9 * t_sys, "{sum} {t_sys}");
    }
}

#[test]
fn a_cable_cut_in_two_is_the_same_cable() {
    let whole = model(CLUB, None, &Conditions::default());
    let name = "[part.cable-down]";
    assert!(CLUB.contains(name) && CLUB.contains("\"cable-down\""));
    let start = CLUB.find(name).unwrap();
    let end = CLUB[start + 1..]
        .find("\n[")
        .map_or(CLUB.len(), |i| start + 1 + i);
    let part = &CLUB[start..end];
    let length = part
        .lines()
        .find(|l| l.trim_start().starts_with("length"))
        .unwrap();
    let metres: f64 = length
        .split('"')
        .nth(1)
        .unwrap()
        .split(' ')
        .next()
        .unwrap()
        .parse()
        .unwrap();
    let half = part.replace(length, &format!("length = \"{} m\"", metres / 2.0));
    let second = half.replace(name, "[part.cable-down-2]");
    let cut = CLUB
        .replace(part, &format!("{half}\n{second}"))
        .replace("\"cable-down\"", "\"cable-down\", \"cable-down-2\"");
    let two = model(&cut, None, &Conditions::default());
    for id in [
        "narrow.t_sys@sdr",
        "narrow.g_over_t@sdr",
        "narrow.noise_step@sdr",
        "narrow.chain_gain@sdr",
    ] {
        let (a, b) = (best(&whole, id), best(&two, id));
        assert!((a - b).abs() < 1e-9 * a.abs(), "{id}: {a} {b}");
    }
}

#[test]
fn the_noise_step_separates_satellite_and_station() {
    let m = model(CLUB, None, &Conditions::default());
    // 10 log10(1 + T_sat/T_sys), and both C/N0 differ by the same figure.
    let step = best(&m, "narrow.noise_step@sdr");
    let (t_sat, t_sys) = (
        best(&m, "narrow.ledger.satellite@sdr"),
        best(&m, "narrow.t_sys@sdr"),
    );
    assert!((step - slantpath_quantity::to_db(1.0 + t_sat / t_sys)).abs() < 1e-9);
    let beacon = m
        .outputs()
        .iter()
        .find(|o| o.id.ends_with(".cn0@sdr") && !o.id.contains("own"))
        .unwrap()
        .id
        .clone();
    let station_only = beacon.replace(".cn0@", ".cn0_station@");
    assert!((best(&m, &station_only) - best(&m, &beacon) - step).abs() < 1e-9);
}

#[test]
fn the_same_at_any_number_of_threads() {
    let m = model(CLUB, None, &Conditions::default());
    let run = |threads: usize| {
        rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .unwrap()
            .install(|| drawn(&m))
    };
    let (one, three) = (run(1), run(3));
    for (a, b) in one.answers.iter().zip(&three.answers) {
        let (a, b) = (a.estimate().unwrap(), b.estimate().unwrap());
        assert_eq!(a.value.to_bits(), b.value.to_bits());
        assert_eq!(a.interval.lo.to_bits(), b.interval.lo.to_bits());
    }
}

#[test]
fn what_both_sides_share_cancels_in_the_difference() {
    let (a, b) = (
        model(CLUB, None, &Conditions::default()),
        model(CLUB, Some("new-feed"), &Conditions::default()),
    );
    let id = "narrow.beacon-psk.cn0@sdr";
    let d = difference(&a, &b, id, FEW).unwrap();
    let u = |m: &Model| drawn(m).answer(id).unwrap().estimate().unwrap().u;
    let apart = u(&a).hypot(u(&b));
    assert!(
        d.u < 0.6 * apart,
        "shared draws: {} against {apart} without",
        d.u
    );
    // Variant against itself: exactly zero.
    let zero = difference(&a, &a, id, FEW).unwrap();
    assert_eq!((zero.value, zero.u), (0.0, 0.0));
}

#[test]
fn first_order_and_draws_agree() {
    let m = model(CLUB, None, &Conditions::default());
    let p = drawn(&m);
    for (k, (meta, a)) in p.measurands.iter().zip(&p.answers).enumerate() {
        if meta.group != Group::Measurand {
            continue;
        }
        let linear: f64 = p.sensitivity[k]
            .iter()
            .zip(&p.contributors)
            .map(|(s, c)| (s * c.distribution.u()).powi(2))
            .sum::<f64>()
            .sqrt();
        let e = a.estimate().unwrap();
        assert!(
            (linear / e.u - 1.0).abs() < 0.15,
            "{}: {linear} {}",
            meta.id,
            e.u
        );
    }
}

#[test]
fn rain_takes_signal_and_adds_noise_together() {
    let clear = model(CLUB, None, &Conditions::default());
    let rain = model(
        CLUB,
        None,
        &Conditions {
            air: Air::Exceeded { percent: 0.1 },
            ..Conditions::default()
        },
    );
    let loss = -(best(&rain, "narrow.budget.weather") - best(&clear, "narrow.budget.weather"));
    let hotter = best(&rain, "narrow.t_sys@sdr") - best(&clear, "narrow.t_sys@sdr");
    assert!(loss > 0.5 && hotter > 20.0, "{loss} {hotter}");
    // The absorbed share radiates: the rise stays below that of a black body at air temperature.
    assert!(hotter < 290.0 * (1.0 - slantpath_quantity::from_db(-loss)));
    let too_rare = Conditions {
        air: Air::Exceeded { percent: 99.0 },
        ..Conditions::default()
    };
    let file = station(CLUB);
    assert!(Model::new(&file.base, &too_rare).is_err());
}

#[test]
fn two_stations_share_the_satellite_and_nothing_else() {
    let (club, twin) = (
        model(CLUB, None, &Conditions::default()),
        // The same file under another callsign: the same figures, other parts.
        model(
            &CLUB.replace("callsign = \"QQ0AAA\"", "callsign = \"QQ9ZZZ\""),
            None,
            &Conditions::default(),
        ),
    );
    let all = differences(&club, &twin, FEW).unwrap();
    let u = |id: &str| all.iter().find(|(i, _)| i == id).unwrap().1.u;
    let alone = |id: &str| drawn(&club).answer(id).unwrap().estimate().unwrap().u;
    // System noise is the station's own: both draw apart. The scatter of 4000 draws is 1.6 %.
    let id = "narrow.t_sys@sdr";
    assert!((u(id) / (alone(id) * 2f64.sqrt()) - 1.0).abs() < 0.06);
    // The beacon's EIRP cancels.
    let id = "narrow.beacon-psk.cn0@sdr";
    assert!(
        u(id) < alone(id) * 2f64.sqrt() * 0.97,
        "{} {}",
        u(id),
        alone(id)
    );
}

#[test]
fn a_stated_bandwidth_gives_c_over_n() {
    let c = Conditions {
        bandwidth_hz: Some(2500.0),
        ..Conditions::default()
    };
    let m = model(CLUB, None, &c);
    let (cn0, cn) = (
        best(&m, "narrow.beacon-psk.cn0@sdr"),
        best(&m, "narrow.beacon-psk.cn@sdr"),
    );
    // 10 log10(2500)
    assert!((cn0 - cn - 33.979_400_086_720_37).abs() < 1e-9);
    let wrong = Conditions {
        bandwidth_hz: Some(0.0),
        ..Conditions::default()
    };
    assert!(Model::new(&station(CLUB).base, &wrong).is_err());
}

#[test]
fn the_air_of_another_moment_is_another_draw() {
    let at = |t: &str| Conditions {
        time: Some(t.parse().unwrap()),
        ..Conditions::default()
    };
    let ids = |t: &str| -> Vec<String> {
        let m = model(CLUB, None, &at(t));
        let air = |id: &&str| id.starts_with("air.");
        let all: Vec<String> = m
            .inputs()
            .contributors()
            .iter()
            .map(|c| c.id.to_string())
            .collect();
        all.iter()
            .map(String::as_str)
            .filter(air)
            .map(String::from)
            .collect()
    };
    let (a, again, later, next_day) = (
        ids("2026-03-01T10:00:00Z"),
        ids("2026-03-01T10:00:00Z"),
        ids("2026-03-01T10:05:00Z"),
        ids("2026-03-02T10:00:00Z"),
    );
    assert_eq!(a, again);
    let shared = |x: &[String], y: &[String], what: &str| {
        x.iter().filter(|i| i.contains(what)).all(|i| y.contains(i))
    };
    assert!(!shared(&a, &later, "scintillation") && shared(&a, &later, "vapour"));
    assert!(!shared(&a, &next_day, "vapour") && shared(&a, &next_day, "gas_model"));
}

mod cut {
    use super::*;
    use proptest::prelude::*;

    const WHOLE: &str = "length = \"22 m ± 0.5\"\nresistance = \"0.04 ohm/m ± 0.005\"";

    /// The club's receive cable cut at any place: two parts of the lengths given.
    fn cut(first_m: f64, second_m: f64) -> String {
        let name = "[part.cable-down]";
        let start = CLUB.find(name).unwrap();
        let end = start + 1 + CLUB[start + 1..].find("\n[").unwrap();
        let part = &CLUB[start..end];
        assert!(part.contains(WHOLE));
        let of = |name: &str, m: f64| {
            part.replace("[part.cable-down]", name).replace(
                WHOLE,
                &format!("length = \"{m} m\"\nresistance = \"0.04 ohm/m ± 0.005\""),
            )
        };
        let both = format!(
            "{}\n{}",
            of(name, first_m),
            of("[part.cable-down-2]", second_m)
        );
        CLUB.replace(part, &both)
            .replace("\"cable-down\"", "\"cable-down\", \"cable-down-2\"")
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 6, failure_persistence: None, ..ProptestConfig::default() })]
        #[test]
        fn anywhere_changes_nothing(share in 0.02..0.98f64) {
            let whole = model(CLUB, None, &Conditions::default());
            let two = model(&cut(22.0 * share, 22.0 * (1.0 - share)), None, &Conditions::default());
            for id in ["narrow.t_sys@sdr", "narrow.g_over_t@sdr", "wide.noise_step@sdr", "narrow.chain_gain@sdr"] {
                let (a, b) = (best(&whole, id), best(&two, id));
                prop_assert!((a - b).abs() < 1e-9 * a.abs().max(1.0), "{}: {} {}", id, a, b);
            }
        }
    }
}

/// A what-if uses what earlier models solved: it must be the same model, bit for bit, also after other questions.
#[test]
fn a_model_with_memory_is_the_model_without() {
    let file = station(CLUB);
    let mut memory = slantpath_link::Memory::default();
    for variant in [None, Some("new-feed"), None] {
        let s = file.variant(variant).unwrap();
        let with = Model::with_memory(s, &Conditions::default(), &mut memory).unwrap();
        let without = Model::new(s, &Conditions::default()).unwrap();
        let (a, b) = (drawn(&with), drawn(&without));
        assert_eq!(a.answers, b.answers);
    }
}

/// The closed form: a turn by 10 degrees leaves 15.07 dB (`-20 log10 tan`), a pure feed the skew alone, a straight feed
/// its own isolation; the powers of both add.
#[test]
fn the_other_polarisation_is_what_skew_and_feed_let_through() {
    let with = |skew: &str, isolation: &str| {
        let text = CLUB
            .replace(
                "skew_error = \"0 deg ± 2\"",
                &format!("skew_error = \"{skew}\""),
            )
            .replace(
                "cross_polar_isolation = \"20..28 dB\"",
                &format!("cross_polar_isolation = \"{isolation}\""),
            );
        assert_ne!(text, CLUB);
        best(
            &model(&text, None, &Conditions::default()),
            "narrow.cross_polar@sdr",
        )
    };
    assert!((with("0 deg", "24 dB") - 24.0).abs() < 1e-9);
    assert!((with("10 deg", "60 dB") - 15.07).abs() < 0.01);
    let both = with("10 deg", "15.07 dB");
    assert!((both - (15.07 - 3.01)).abs() < 0.01, "{both}");
    assert!((with("-10 deg", "15.07 dB") - both).abs() < 1e-9);
}
