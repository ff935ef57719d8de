//! Full attenuation statistics of one site: climate from the grid, path, gas, cloud, rain, scintillation.
//!
//! Reference: PyPI itur 0.4.0 (`itur.atmospheric_attenuation_slant_path`, the same case, first call left out),
//! timed by `authority/itur_speed.py` on the machine of these figures (2 cores, 2026-11): 3.1 ms for one site
//! and one percentage; 195 us a site when 2000 sites stand in one call.
//!
//! Here, same machine: 3.4 us for one site and one percentage (about 900 times itur called for one site, 57
//! times itur at its best), 0.42 us for a further percentage of the same path.
//!
//! Run: `cargo bench -p slantpath-propagation`.

use divan::{Bencher, black_box};
use slantpath_propagation::{PathInput, SlantPath, climate, p834, slant_path};
use slantpath_quantity::{Angle, Frequency, Length};

fn main() {
    divan::main();
}

fn case(lat_deg: f64, el_deg: f64) -> PathInput {
    PathInput {
        latitude: Angle::deg(lat_deg),
        elevation: Angle::deg(el_deg),
        frequency: Frequency::ghz(10.475),
        polarisation_tilt: Angle::deg(0.0),
        diameter: Length::m(1.2),
        efficiency: 0.6,
    }
}

/// The reference's case: everything from coordinates to one total.
#[divan::bench]
fn one_site_one_percentage(b: Bencher) {
    b.bench(|| {
        let (lat, lon) = (black_box(50.0), black_box(10.0));
        let c = climate::at(lat, lon, Some(0.3)).ok()?;
        slant_path(&case(lat, 30.0), &c, black_box(0.1)).ok()
    });
}

/// A further percentage on the same path.
#[divan::bench]
fn one_more_percentage(b: Bencher) {
    let path = climate::at(50.0, 10.0, Some(0.3))
        .and_then(|c| SlantPath::new(&case(50.0, 30.0), &c))
        .ok();
    b.bench(|| path.as_ref().and_then(|p| p.losses(black_box(0.3)).ok()));
}

/// Percentage of the year for which 2 dB is exceeded.
#[divan::bench]
fn inverse(b: Bencher) {
    let path = climate::at(50.0, 10.0, Some(0.3))
        .and_then(|c| SlantPath::new(&case(50.0, 30.0), &c))
        .ok();
    b.bench(|| {
        path.as_ref()
            .and_then(|p| p.percent_exceeding(black_box(2.0)))
    });
}

/// Clear air line by line through the layered atmosphere: attenuation and brightness.
#[divan::bench]
fn clear_sky_layered(b: Bencher) {
    let path = climate::at(50.0, 10.0, Some(0.3))
        .and_then(|c| SlantPath::new(&case(50.0, 30.0), &c))
        .ok();
    b.bench(|| {
        path.as_ref()
            .and_then(|p| p.clear_sky(black_box(50.0)).ok())
    });
}

/// Apparent elevation by integration (above the fit's 10 deg).
#[divan::bench]
fn apparent_elevation_integrated(b: Bencher) {
    b.bench(|| p834::apparent_elevation(black_box(0.3), black_box(25.0)).ok());
}
