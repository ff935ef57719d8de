//! Sun transits against astropy.

mod common;
use common::{Row, Worst, widest_table};
use jiff::Timestamp;
use slantpath_quantity::Angle;
use slantpath_sky::{EarthOrientation, MeanElements, Orbit, Site, Target, Transit, sun_transits};

const THRESHOLDS: [f64; 3] = [0.5, 1.0, 2.0];

/// UT1 - UTC that the table was made with, at the middle of each season (read from the position table's column).
fn ut1(date: &str) -> f64 {
    match &date[..7] {
        "2026-02" | "2026-03" | "2026-04" => 0.056,
        "2026-08" | "2026-09" | "2026-10" => -0.02,
        "2027-02" | "2027-03" | "2027-04" => -0.20,
        _ => -0.20,
    }
}

fn instant(row: &Row, column: &str) -> Timestamp {
    format!("{}T{}", row.text("date"), row.text(column))
        .parse()
        .unwrap()
}

fn seconds(a: Timestamp, b: Timestamp) -> f64 {
    (a.as_nanosecond() - b.as_nanosecond()) as f64 * 1e-9
}

#[test]
fn closest_approaches_and_crossings() {
    let rows = widest_table("sun_transits.csv");
    let (mut time, mut sep, mut edge, mut duration) = (
        Worst::default(),
        Worst::default(),
        Worst::default(),
        Worst::default(),
    );
    let mut checked = 0;
    for r in &rows {
        let site = Site::new(r.number("lat"), r.number("lon"), r.number("h_m")).unwrap();
        let target = Target::slot(Angle::deg(r.number("sat_lon"))).unwrap();
        let t = instant(r, "t_min_utc");
        let day = |h: f64| Timestamp::from_second(t.as_second() + (h * 3600.0) as i64).unwrap();
        let thresholds = [THRESHOLDS[0], THRESHOLDS[1], THRESHOLDS[2], 2.4].map(Angle::deg);
        let eop = EarthOrientation::ut1(ut1(r.text("date")));
        let found = sun_transits(&site, target, day(-2.0), day(2.0), &thresholds, eop).unwrap();
        assert_eq!(found.len(), 1, "{t}");
        let Transit {
            closest,
            separation,
            crossings,
            ..
        } = &found[0];
        let min_sep = r.number("min_sep_deg");
        time.see(seconds(*closest, t));
        sep.see(separation.as_deg() - min_sep);
        for (k, th) in THRESHOLDS.iter().enumerate() {
            // A grazing crossing is ill-conditioned.
            if (min_sep - th).abs() < 0.03 {
                continue;
            }
            let column = format!("in_lt{th:.1}deg");
            match (crossings[k], r.optional(&column)) {
                (None, None) => {}
                (Some(c), Some(_)) => {
                    edge.see(seconds(c.enters, instant(r, &column)));
                    edge.see(seconds(c.leaves, instant(r, &format!("out_lt{th:.1}deg"))));
                    duration.see(c.duration_s - r.number(&format!("dur_s_lt{th:.1}deg")));
                    checked += 1;
                }
                (ours, theirs) => panic!("{t} {th}: {ours:?} {theirs:?}"),
            }
        }
    }
    println!(
        "worst of {} days, {checked} crossings: closest {:.2} s, separation {:.1e} deg, in/out {:.2} s, duration {:.2} s",
        rows.len(),
        time.0,
        sep.0,
        edge.0,
        duration.0
    );
    assert!(checked > 100);
    assert!(time.0 < 2.0 && sep.0 < 0.002 && edge.0 < 2.0);
}

#[test]
fn a_whole_search_finds_the_days_of_the_table_and_no_others() {
    let rows = widest_table("sun_transits.csv");
    let mine: Vec<_> = rows
        .iter()
        .filter(|r| r.text("site") == "Lowland51")
        .collect();
    let site = Site::new(51.5, -0.14, 31.0).unwrap();
    let target = Target::slot(Angle::deg(19.3)).unwrap();
    let found = sun_transits(
        &site,
        target,
        "2026-01-01T00:00:00Z".parse().unwrap(),
        "2027-12-31T00:00:00Z".parse().unwrap(),
        &[Angle::deg(2.3)],
        EarthOrientation::default(),
    )
    .unwrap();
    let days: Vec<_> = found
        .iter()
        .map(|t| t.closest.to_string()[..10].to_owned())
        .collect();
    let expected: Vec<_> = mine.iter().map(|r| r.text("date").to_owned()).collect();
    assert_eq!(days, expected);
}

#[test]
fn a_moving_satellite_shifts_its_transits() {
    // An invented, almost still element set must give nearly the slot's transits; an inclined one must not.
    let site = Site::new(51.5, -0.14, 31.0).unwrap();
    let l1 = "1 99901U 26999A   26258.00000000  .00000000  00000-0  00000-0 0  9996";
    let l2 = "2 99901   0.0500  85.0000 0002000 120.0000 168.2722  1.00271000    13";
    let orbit = Orbit::new(&MeanElements::from_tle(l1, l2).unwrap()).unwrap();
    let run = |target| {
        sun_transits(
            &site,
            target,
            "2026-10-01T00:00:00Z".parse().unwrap(),
            "2026-10-20T00:00:00Z".parse().unwrap(),
            &[Angle::deg(2.0)],
            EarthOrientation::default(),
        )
        .unwrap()
    };
    let (moving, still) = (
        run(Target::Moving(&orbit)),
        run(Target::slot(Angle::deg(19.3)).unwrap()),
    );
    assert!(moving.len() >= 9 && moving.len().abs_diff(still.len()) <= 1);
    for m in &moving {
        let s = still
            .iter()
            .find(|s| seconds(s.closest, m.closest).abs() < 43_200.0)
            .unwrap();
        // Five weeks after its epoch it has drifted by some half a degree: two minutes of the Sun's motion.
        let dt = seconds(m.closest, s.closest).abs();
        assert!(dt > 0.0 && dt < 180.0, "{dt}");
        // The satellite's own direction at that instant is the one the separation is taken to.
        let own = orbit
            .look(&site, m.closest, EarthOrientation::default())
            .unwrap();
        assert!(own.look.direction.separation(m.satellite).as_deg() < 1e-9);
        let sun = slantpath_sky::apparent(
            slantpath_sky::Body::Sun,
            &site,
            m.closest,
            EarthOrientation::default(),
        )
        .unwrap();
        assert!(
            (sun.direction.separation(m.satellite) - m.separation)
                .as_deg()
                .abs()
                < 1e-6
        );
    }
}
