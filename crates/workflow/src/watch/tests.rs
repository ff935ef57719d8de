//! The watch over simulated years, without files.

use super::judge::{Basis, Judged, Of, judge};
use super::rows::{Mark, Row};
use super::weather::{Overs, Weather};
use super::*;
use slantpath_stats::stream::{named_stream, normal, uniform};
use slantpath_verdict::health::changes::Course;

const DAY: f64 = 86_400.0;
const BEGIN: f64 = 1_700_000_000.0;

/// What happens at the station at a time: signal over noise (dB), noise level (dB), first beacon alone (dB).
type Story<'a> = &'a dyn Fn(f64) -> (f64, f64, f64);

/// Entries at 9 and 15 o'clock, with showers that a gauge logs.
fn years(days: u32, seed: u64, story: Story<'_>) -> (Vec<Row>, Weather) {
    let mut rng = named_stream(seed, "watch", 0);
    let mut w = Weather::default();
    let mut rows = Vec::new();
    for day in 0..days {
        let wet = uniform(&mut rng) < 0.3;
        for hour in 0..24 {
            let t = BEGIN + f64::from(day) * DAY + 3600.0 * f64::from(hour);
            let shower = wet && hour > 12 && uniform(&mut rng) < 0.3;
            w.rain.push((t, if shower { 3.0 } else { 0.0 }));
            w.temperature.push((t, 10.0 + 6.0 * (t / DAY / 58.0).sin()));
        }
        for hour in [9.0, 15.0] {
            let t = BEGIN + f64::from(day) * DAY + 3600.0 * hour;
            let (g, n, alone) = story(f64::from(day) + hour / 24.0);
            let raining = w.raining(t) == Some(true);
            let (fall, rise) = if raining { (2.0, 1.2) } else { (0.0, 0.0) };
            let g = g - fall + 0.05 * normal(&mut rng);
            let step = |r: f64| slantpath_quantity::to_db(1.0 + slantpath_quantity::from_db(r));
            let h = step(-2.0 + g);
            let mut row = Row {
                t_s: t,
                branch: "sdr".into(),
                ..Row::default()
            };
            let mut put = |id: &str, v: f64, u: f64| {
                row.figures.insert(id.into(), (v, u));
            };
            put(
                "narrow.beacon-psk.cn0",
                57.0 + g + alone - h + 0.06 * normal(&mut rng),
                0.05,
            );
            put(
                "narrow.beacon-keyed.cn0",
                57.0 + g - h + 0.06 * normal(&mut rng),
                0.05,
            );
            put("narrow.noise_step", h, 0.02);
            put(
                "narrow.noise_outside",
                -120.0 + n + rise + 0.03 * normal(&mut rng),
                0.02,
            );
            put("lo.error", 1000.0 + 20.0 * normal(&mut rng), 2.0);
            rows.push(row);
        }
    }
    (rows, w)
}

fn look(rows: &[Row], weather: &Weather, marks: &[Mark], new_from_s: f64) -> Judged {
    let loaded = crate::demo::station().unwrap();
    let station = loaded.station(None).unwrap();
    let model = Model::new(station, &Conditions::default()).unwrap();
    judge(&Basis {
        station,
        model: &model,
        branch: "sdr",
        rows,
        marks,
        weather,
        overs: &Overs::default(),
        wind_limit: 10.0,
        new_from_s,
    })
    .unwrap()
}

#[test]
fn a_quiet_year_is_quiet_and_a_moved_dish_is_not() {
    let (rows, w) = years(300, 1, &|_| (0.0, 0.0, 0.0));
    let j = look(&rows, &w, &[], f64::INFINITY);
    assert_eq!(j.alarms(), 0, "{:?}", j.findings);
    assert!(j.aside.contains_key("rain"), "{:?}", j.aside);
    let (rows, w) = years(300, 2, &|t| (if t > 200.0 { -0.5 } else { 0.0 }, 0.0, 0.0));
    let j = look(&rows, &w, &[], f64::INFINITY);
    assert_eq!(j.alarms(), 1, "{:?}", j.findings);
    let f = &j.findings[0];
    assert!(
        (f.change.began - BEGIN - 200.0 * DAY).abs() < 3.0 * DAY
            && f.change.course == Course::Stays
    );
    // Signals fall, the noise does not: what moved is in front of the feed, and no rain.
    let loaded = crate::demo::station().unwrap();
    let station = loaded.station(None).unwrap();
    let model = Model::new(station, &Conditions::default()).unwrap();
    let case = cause::hypotheses(station, &model).unwrap();
    let c = cause::cause(&case, &j, f, &w).unwrap().unwrap();
    let first = c.diagnosis.groups.first().unwrap();
    let names: Vec<String> = first
        .members
        .iter()
        .map(|m| crate::diagnosis::words(&c.case, &c.diagnosis.ranked[*m]).0)
        .collect();
    assert!(
        names.iter().any(|n| n == "moved_dish" || n == "defocus"),
        "{names:?}"
    );
    assert!(
        !names
            .iter()
            .any(|n| n == "ageing_lnb" || n == "water_down" || n == "rain"),
        "{names:?}"
    );
}

#[test]
fn swaps_faults_and_the_satellite_raise_no_alarm() {
    let step = |t: f64| if t > 200.0 { -0.6 } else { 0.0 };
    let (rows, w) = years(300, 3, &|t| (step(t), 0.0, 0.0));
    let mark = |day: f64, parts: bool| Mark {
        t_s: BEGIN + day * DAY,
        parts,
        title: "feed".into(),
    };
    assert_eq!(
        look(&rows, &w, &[mark(199.8, true)], f64::INFINITY).alarms(),
        0
    );
    let j = look(&rows, &w, &[mark(215.0, false)], f64::INFINITY);
    assert!(
        j.alarms() == 0 && j.findings[0].known.is_some(),
        "{:?}",
        j.findings
    );
    let (rows, w) = years(300, 4, &|t| (0.0, 0.0, 3.0 * step(t)));
    let j = look(&rows, &w, &[], f64::INFINITY);
    assert_eq!(j.alarms(), 0, "{:?}", j.findings);
    assert!(!j.findings.is_empty());
}

#[test]
fn noise_alone_and_a_lost_satellite_are_told() {
    let (mut rows, w) = years(300, 5, &|t| (0.0, if t > 250.0 { -1.5 } else { 0.0 }, 0.0));
    let j = look(&rows, &w, &[], f64::INFINITY);
    assert_eq!(j.findings.len(), 1, "{:?}", j.findings);
    assert_eq!(j.findings[0].of, Of::Noise);
    for r in rows.iter_mut().rev().take(4) {
        r.missing = r.figures.keys().cloned().collect();
        r.figures.clear();
    }
    let j = look(&rows, &w, &[], f64::INFINITY);
    assert!(j.lost_since_s.is_some());
    assert!(j.told.iter().any(|t| t.contains("no beacon")));
    // A hole in the entries.
    rows.drain(100..140);
    let j = look(&rows, &w, &[], f64::INFINITY);
    assert!(
        j.told.iter().any(|t| t.starts_with("No entries from")),
        "{:?}",
        j.told
    );
}

#[test]
fn ten_years_of_entries_are_looked_at_quickly() {
    let (rows, w) = years(3653, 6, &|_| (0.0, 0.0, 0.0));
    let begin = std::time::Instant::now();
    let j = look(&rows, &w, &[], f64::INFINITY);
    println!(
        "{} entries of ten years: {:.2} s, {} alarms",
        j.entries,
        begin.elapsed().as_secs_f64(),
        j.alarms()
    );
    assert!(j.alarms() <= 3, "{:?}", j.findings);
    assert_eq!(j.days.len(), 1);
}
