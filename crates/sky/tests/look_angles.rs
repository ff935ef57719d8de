//! Look angles against independent computations.

mod common;
use common::{Worst, turn_difference, widest_table};
use slantpath_quantity::Angle;
use slantpath_sky::{Site, geostationary, look, polarisation_skew};

#[test]
fn geostationary_look_angles_and_skew() {
    let (mut el, mut az, mut range, mut delay, mut skew) = Default::default();
    let (el, az, range, delay, skew): (&mut Worst, &mut Worst, &mut Worst, &mut Worst, &mut Worst) =
        (&mut el, &mut az, &mut range, &mut delay, &mut skew);
    for r in widest_table("geo_look_angles.csv") {
        let site = Site::new(r.number("lat"), r.number("lon"), r.number("h_m")).unwrap();
        let satellite = geostationary(Angle::deg(r.number("sat_lon"))).unwrap();
        let l = look(&site, satellite);
        let e = l.direction.elevation;
        el.see(e.as_deg() - r.number("el_deg"));
        az.see(
            turn_difference(l.direction.azimuth.as_deg(), r.number("az_deg")) * e.as_rad().cos(),
        );
        range.see(l.range.as_km() - r.number("range_km"));
        delay.see(l.delay_s() * 1e3 - r.number("delay_ms"));
        let s = polarisation_skew(&site, satellite, Angle::deg(0.0));
        match r.optional("skew_deg") {
            // The site under the satellite has no skew.
            None => assert!(s.is_none()),
            Some(_) => skew.see(turn_difference(s.unwrap().as_deg(), r.number("skew_deg"))),
        }
    }
    println!(
        "worst: el {:.1e} deg, az cos el {:.1e} deg, range {:.1e} km, delay {:.1e} ms, skew {:.1e} deg",
        el.0, az.0, range.0, delay.0, skew.0
    );
    assert!(el.0 < 1e-4 && az.0 < 1e-4 && skew.0 < 1e-3);
    assert!(range.0 < 1e-3 && delay.0 < 1e-5);
}

#[test]
fn satellite_tilt_adds_clockwise() {
    let site = Site::new(51.5, -0.14, 31.0).unwrap();
    let satellite = geostationary(Angle::deg(19.3)).unwrap();
    let skew = |tilt: f64| {
        polarisation_skew(&site, satellite, Angle::deg(tilt))
            .unwrap()
            .as_deg()
    };
    assert!((skew(3.5) - skew(0.0) - 3.5).abs() < 1e-12);
    // East of a northern site the satellite's north leans to the left (the orbit's arc rises to the south).
    assert!(skew(0.0) < 0.0);
    assert!((turn_difference(skew(170.0), skew(0.0) + 170.0)).abs() < 1e-9);
    assert!(skew(-170.0) <= 180.0 && skew(-170.0) >= -180.0);
}

#[test]
fn textbook_example_differs_only_by_the_ellipsoid() {
    // Pratt, Bostian, Allnutt, Satellite Communications 2nd ed., example 2.2.1 (from memory): 52 N 0 E to 66 E,
    // spherical Earth 5.847 deg and 109.333 deg; on WGS-84 5.8664 and 109.3057 deg.
    let site = Site::new(52.0, 0.0, 0.0).unwrap();
    let d = look(&site, geostationary(Angle::deg(66.0)).unwrap()).direction;
    assert!(
        (d.elevation.as_deg() - 5.847).abs() < 0.03 && (d.azimuth.as_deg() - 109.333).abs() < 0.03
    );
    assert!((d.elevation.as_deg() - 5.8664436).abs() < 1e-6);
    assert!((d.azimuth.as_deg() - 109.30567).abs() < 1e-5);
}
