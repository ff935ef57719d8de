//! What must hold whatever the numbers: monotony, limits, no panic and no silence outside a range.

use proptest::prelude::*;
use slantpath_propagation::climate::{self, Gridded};
use slantpath_propagation::p618::RainPath;
use slantpath_propagation::p676::LayeredPath;
use slantpath_propagation::p834::{self, Refractivity};
use slantpath_propagation::p835::Atmosphere;
use slantpath_propagation::{PathInput, SlantPath, p838, p840};
use slantpath_quantity::{Angle, Frequency, Length};

fn input(lat: f64, el: f64, f: f64, tau: f64) -> PathInput {
    PathInput {
        latitude: Angle::deg(lat),
        elevation: Angle::deg(el),
        frequency: Frequency::ghz(f),
        polarisation_tilt: Angle::deg(tau),
        diameter: Length::m(1.2),
        efficiency: 0.6,
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// More rain attenuates more; so does rarer weather, at any temperate site and any elevation.
    #[test]
    fn rain_grows_with_rate_and_rarity(
        f in 2.0..30.0f64, el in 5.0..85.0f64, tau in 0.0..90.0f64, lat in -60.0..60.0f64,
        r in 5.0..60.0f64, h in 0.0..1.5f64,
    ) {
        let path = |r: f64| RainPath::new(f, el, tau, lat, h, 3.2, r);
        prop_assert!(path(r * 1.2).a_001_db > path(r).a_001_db);
        let mut last = f64::INFINITY;
        for p in [0.005, 0.01, 0.03, 0.1, 0.3, 1.0, 3.0] {
            let a = path(r).attenuation_db(p);
            prop_assert!(a >= 0.0 && a < last, "p {} a {} last {}", p, a, last);
            last = a;
        }
    }

    /// The inverse of the losses gives the percentage back.
    #[test]
    fn percentage_comes_back(
        lat in -55.0..65.0f64, lon in -180.0..180.0f64, el in 6.0..80.0f64, p in 0.005..20.0f64,
    ) {
        let c = climate::at(lat, lon, Some(0.1)).unwrap();
        // A low station amid the highest mountains does not exist; scaled down there, vapour leaves what can be.
        prop_assume!(c.vapour_density_gm3.0.iter().all(|g| g.value <= 60.0));
        let path = SlantPath::new(&input(lat, el, 10.475, 0.0), &c).unwrap();
        let l = path.losses(p).unwrap();
        prop_assert!(l.total_db >= l.gas_db && l.total_db.is_finite());
        prop_assert!(l.sky.as_k() > 2.7 && l.sky.as_k() < 300.0);
        if let Some(back) = path.percent_exceeding(l.total_db) {
            // Where the curve is flat the percentage is ill-determined, the loss is not.
            let again = path.losses(back).unwrap().total_db;
            prop_assert!((again - l.total_db).abs() < 1e-6, "{} {}", back, p);
        }
    }

    /// Lower paths lose more and look warmer, without a jump at the seams between methods.
    #[test]
    fn elevation_sweep_is_monotone(lat in -50.0..65.0f64, lon in -180.0..180.0f64, f in 2.0..12.0f64) {
        let c = climate::at(lat, lon, Some(0.2)).unwrap();
        // A low station amid the highest mountains does not exist; scaled down there, vapour leaves what can be.
        prop_assume!(c.vapour_density_gm3.0.iter().all(|g| g.value <= 60.0));
        let mut last: Option<f64> = None;
        for i in 0..30 {
            let el = 1.0 + 0.25 * f64::from(i);
            let path = SlantPath::new(&input(lat, el, f, 45.0), &c).unwrap();
            let (o, w) = path.gas_db(50.0);
            if let Some(l) = last {
                prop_assert!(o + w < l, "el {}: {} after {}", el, o + w, l);
                prop_assert!(o + w > 0.7 * l, "a jump at el {}", el);
            }
            last = Some(o + w);
        }
    }

    /// Any numbers at all: an answer or an error, never a panic, and never NaN in an answer.
    #[test]
    fn no_numbers_break_it(
        lat in proptest::num::f64::ANY, lon in proptest::num::f64::ANY, el in -6.0..91.0f64,
        f in proptest::num::f64::ANY, p in proptest::num::f64::ANY, h in -1.0..11.0f64,
    ) {
        let c = climate::at(lat, lon, Some(h)).or_else(|_| climate::at(45.0, 7.0, Some(0.3))).unwrap();
        for (lat, f) in [(lat, f), (45.0, 10.475), (45.0, 0.2), (45.0, 900.0)] {
            if let Ok(path) = SlantPath::new(&input(lat, el, f, 30.0), &c) {
                for p in [p, 0.001, 50.0] {
                    if let Ok(l) = path.losses(p) {
                        prop_assert!(!l.total_db.is_nan() && !l.u_db.is_nan(), "{:?}", l);
                    }
                }
            }
        }
        if let Ok(a) = p834::apparent_elevation(h, el) {
            prop_assert!(a.bending_deg.is_finite() && a.elevation_deg.is_finite());
        }
    }

    /// Bending: the higher the ray or the station, the less; it never changes sign.
    #[test]
    fn bending_falls(h in 0.0..4.0f64, el in 0.0..80.0f64) {
        let a = Refractivity::AVERAGE.bending_deg(h, el).unwrap();
        let b = Refractivity::AVERAGE.bending_deg(h, el + 1.0).unwrap();
        let c = Refractivity::AVERAGE.bending_deg(h + 0.5, el).unwrap();
        prop_assert!(a > b && a > c && b > 0.0);
    }

    /// Cloud and rain are proportional to what they should be.
    #[test]
    fn scaling_laws(f in 1.0..50.0f64, el in 5.0..90.0f64, l in 0.0..4.0f64) {
        let one = p840::slant_attenuation_db(f, el, 1.0);
        prop_assert!((p840::slant_attenuation_db(f, el, l) - l * one).abs() < 1e-12 * one.max(1.0));
        let (k, alpha) = p838::k_alpha(f, el, 45.0);
        prop_assert!(k > 0.0 && (0.5..1.8).contains(&alpha));
    }
}

/// A path that leaves a range says which, on every count, and still answers.
#[test]
fn ranges_are_named() {
    let c = climate::at(50.0, 10.0, Some(0.3)).unwrap();
    let good = SlantPath::new(&input(50.0, 30.0, 10.475, 0.0), &c).unwrap();
    assert!(good.losses(0.1).unwrap().validity.is_inside());
    let low = SlantPath::new(&input(50.0, 2.0, 10.475, 0.0), &c).unwrap();
    let why = low.losses(0.1).unwrap().validity;
    assert!(
        why.reasons()
            .iter()
            .any(|r| r.contains("P.676-12") && r.contains("elevation")),
        "{why:?}"
    );
    let slow = SlantPath::new(&input(50.0, 30.0, 2.4, 0.0), &c).unwrap();
    let why = slow.losses(0.1).unwrap().validity;
    assert!(
        why.reasons()
            .iter()
            .any(|r| r.contains("scintillation") && r.contains("2.4"))
    );
    assert!(good.losses(-1.0).is_err() && good.losses(f64::NAN).is_err());
}

/// A user's value replaces the grid's, and only that.
#[test]
fn an_override_counts() {
    let grid = climate::at(50.0, 10.0, Some(0.3)).unwrap();
    let mut wet = grid;
    wet.rain_rate_001_mmh = Gridded::given(2.0 * grid.rain_rate_001_mmh.value, 1.0);
    let i = input(50.0, 30.0, 10.475, 0.0);
    let (a, b) = (
        slantpath_propagation::slant_path(&i, &grid, 0.01).unwrap(),
        slantpath_propagation::slant_path(&i, &wet, 0.01).unwrap(),
    );
    assert!(
        b.rain_db > 1.5 * a.rain_db && b.gas_db == a.gas_db && b.u_climate_db != a.u_climate_db
    );
    wet.rain_rate_001_mmh = Gridded::given(f64::NAN, 0.0);
    assert!(slantpath_propagation::slant_path(&i, &wet, 0.01).is_err());
}

/// Clear zenith sky near 10 GHz: some 3 to 5 K above the background over temperate land; near the horizon
/// it tends to the temperature of the air. Rain of 1 dB before it adds about 55 K (common practice:
/// T0 (1 - 1/1.26), no source).
#[test]
fn sky_temperature_by_elevation() {
    let c = climate::at(50.0, 10.0, Some(0.3)).unwrap();
    let at = |el: f64| SlantPath::new(&input(50.0, el, 10.475, 0.0), &c).unwrap();
    let t = |el: f64| at(el).clear_sky(50.0).unwrap().brightness.as_k();
    println!(
        "10.475 GHz: zenith {:.2} K, 30 deg {:.2} K, 10 deg {:.2} K, 1 deg {:.1} K",
        t(90.0),
        t(30.0),
        t(10.0),
        t(1.0)
    );
    assert!((5.0..9.0).contains(&t(90.0)), "{}", t(90.0));
    assert!((15.0..35.0).contains(&t(10.0)), "{}", t(10.0));
    let mut last = 0.0;
    for el in [90.0, 60.0, 30.0, 15.0, 8.0, 4.0, 2.0, 1.0, 0.0] {
        assert!(t(el) > last);
        last = t(el);
    }
    let path = at(30.0);
    let clear = path.clear_sky(50.0).unwrap();
    let (wet, rise) = path.noise_rise(&clear, 1.0);
    assert!((50.0..60.0).contains(&rise.as_k()), "{rise:?}");
    assert!((wet.as_k() - clear.brightness.as_k() - rise.as_k()).abs() < 1e-9);
}

/// From a hill a ray may start downward; the path through the thick air below counts twice, and below the
/// horizon there is none.
#[test]
fn below_the_horizontal_from_a_hill() {
    let path = LayeredPath::new(10.475, &Atmosphere::reference(0.5));
    let level = path.trace(0.0).unwrap();
    let down = path.trace(-0.4).unwrap();
    assert!(down.total_db() > level.total_db() && down.length_km > level.length_km);
    assert!(down.total_db() < 2.0 * level.total_db());
    assert!(path.trace(-1.5).is_err());
    assert!(
        LayeredPath::new(10.475, &Atmosphere::reference(0.0))
            .trace(-0.1)
            .is_err()
    );
    // Apparent elevation from the hill: the horizon lies below the horizontal, bending over 0.76 deg.
    let a = p834::apparent_elevation(0.5, -1.3).unwrap();
    assert!(
        a.visible && a.elevation_deg < 0.0 && a.bending_deg > 0.7,
        "{a:?}"
    );
}
