//! Daily motion of a near-geostationary satellite of which only slot, inclination and eccentricity are known.
//!
//! To lowest order in eccentricity e and inclination i (rad), with M the mean anomaly and u the argument of latitude
//! (Kepler's equation and spherical trigonometry, expanded; e.g. Soop, Handbook of Geostationary Orbits, chapter 2,
//! cited from memory):
//! longitude `2e sin M - (i^2/4) sin 2u`, latitude `i sin u`, radius `-a e cos M`.
//! The second longitude term with the latitude draws the figure of eight. The phases of M and u are unknown, so
//! what is given are amplitudes that no choice of phases exceeds, not a position at an instant. Drift and
//! station keeping (typically +-0.1 deg of longitude, common practice, no source) are not modelled.

use slantpath_quantity::{Angle, Frequency, Length, Speed, Validity, constants::SPEED_OF_LIGHT};

use crate::error::{SkyError, within};
use crate::look::{GEOSTATIONARY_RADIUS_M, geostationary, look};
use crate::site::{EARTH_ROTATION_RAD_PER_S, Ecef, Site};

/// What is published of a satellite in a slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NearGeostationary {
    /// Declared longitude, east +.
    pub longitude: Angle,
    /// Inclination of the orbit to the equator.
    pub inclination: Angle,
    /// Eccentricity.
    pub eccentricity: f64,
}

/// Amplitudes (half of peak to peak) of the daily motion.
#[derive(Debug, Clone, PartialEq)]
pub struct DailyMotion {
    /// Latitude, of the satellite: the inclination.
    pub latitude: Angle,
    /// Longitude by eccentricity, once a day: 2e.
    pub longitude: Angle,
    /// Longitude by inclination, twice a day: i^2/4, the half-width of the figure of eight.
    pub figure_eight: Angle,
    /// Radius: a e.
    pub radius: Length,
    /// Elevation from the site: no phases make it wander further from its mean.
    pub elevation: Angle,
    /// Across the elevation (azimuth times cos elevation): likewise.
    pub cross_elevation: Angle,
    /// Range: likewise.
    pub range: Length,
    /// Range rate: likewise, in magnitude.
    pub range_rate: Speed,
    /// Outside when e or i is too large for the lowest order.
    pub validity: Validity,
}

impl DailyMotion {
    /// Largest one-way Doppler shift in magnitude at a frequency.
    pub fn doppler_bound(&self, f: Frequency) -> Frequency {
        Frequency::hz(self.range_rate.si() / SPEED_OF_LIGHT * f.as_hz())
    }
}

/// Phases tried in each of the two angles: the largest deviation is missed by at most 0.2 %.
const PHASES: u32 = 72;

/// Amplitudes of the daily motion seen from a site: the largest over all phases, each phase looked at with exact
/// geometry. For i <= 5 deg and e <= 0.005 within 1 % of exact two-body motion; beyond these the validity says so
/// and elements with SGP4 are the right way.
///
/// # Errors
/// [`SkyError::Range`] for a longitude, inclination (0..90 deg) or eccentricity (0..0.5) that cannot be.
pub fn daily_motion(site: &Site, satellite: NearGeostationary) -> Result<DailyMotion, SkyError> {
    let lon = satellite.longitude.as_rad();
    within(
        "orbit slot",
        satellite.longitude.as_deg(),
        -180.0001,
        360.0001,
        "deg",
    )?;
    let i = within(
        "inclination",
        satellite.inclination.as_rad(),
        0.0,
        1.571,
        "rad",
    )?;
    let e = within("eccentricity", satellite.eccentricity, 0.0, 0.5, "")?;
    let a = GEOSTATIONARY_RADIUS_M;
    let eight = 0.25 * i * i;
    let seen = |mean: f64, u: f64| {
        let r = a * (1.0 - e * mean.cos());
        let (sl, cl) = (lon + 2.0 * e * mean.sin() - eight * (2.0 * u).sin()).sin_cos();
        let (sb, cb) = (i * u.sin()).sin_cos();
        look(
            site,
            Ecef {
                m: [r * cb * cl, r * cb * sl, r * sb],
            },
        )
    };
    let still = look(site, geostationary(satellite.longitude)?);
    let (mut elevation, mut cross, mut range, mut rate) = (0.0f64, 0.0f64, 0.0f64, 0.0f64);
    const DT_S: f64 = 60.0;
    let half_step = 0.5 * EARTH_ROTATION_RAD_PER_S * DT_S;
    for m in 0..PHASES {
        for k in 0..PHASES {
            let turn = |x: u32| f64::from(x) / f64::from(PHASES) * std::f64::consts::TAU;
            let (mean, u) = (turn(m), turn(k));
            // Range rate by a central difference: both phases advance together.
            let before = seen(mean - half_step, u - half_step);
            let l = seen(mean + half_step, u + half_step);
            rate = rate.max((l.range - before.range).as_m().abs() / DT_S);
            range = range.max((l.range - still.range).as_m().abs());
            elevation = elevation.max(
                (l.direction.elevation - still.direction.elevation)
                    .as_rad()
                    .abs(),
            );
            let daz = (l.direction.azimuth - still.direction.azimuth).as_rad();
            cross = cross.max(
                (l.direction.elevation.as_rad().cos() * daz.sin())
                    .abs()
                    .min(1.0)
                    .asin(),
            );
        }
    }
    let model = "near-geostationary daily motion";
    // A degree that went through radians gets its last digits back.
    let i_deg = (i.to_degrees() * 1e9).round() * 1e-9;
    Ok(DailyMotion {
        latitude: Angle::rad(i),
        longitude: Angle::rad(2.0 * e),
        figure_eight: Angle::rad(eight),
        radius: Length::m(a * e),
        elevation: Angle::rad(elevation),
        cross_elevation: Angle::rad(cross),
        range: Length::m(range),
        range_rate: Speed::from_si(rate),
        validity: Validity::check(model, "inclination", i_deg, 0.0..=5.0, "deg")
            .and(Validity::check(model, "eccentricity", e, 0.0..=0.005, "")),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two-body motion without expansion: mean anomaly, perigee and node given, Earth-fixed position.
    fn kepler(s: NearGeostationary, mean: f64, perigee: f64, node_lon: f64) -> Ecef {
        let e = s.eccentricity;
        let mut ea = mean;
        for _ in 0..50 {
            ea = mean + e * ea.sin();
        }
        let nu = 2.0 * (((1.0 + e) / (1.0 - e)).sqrt() * (0.5 * ea).tan()).atan();
        let r = GEOSTATIONARY_RADIUS_M * (1.0 - e * ea.cos());
        let (su, cu) = (nu + perigee).sin_cos();
        let (si, ci) = s.inclination.as_rad().sin_cos();
        // Node's inertial longitude less the Earth's turn since: the mean longitude stays at the slot.
        let lon = node_lon + s.longitude.as_rad() - (mean + perigee + node_lon);
        let (sl, cl) = lon.sin_cos();
        let p = [r * cu, r * su * ci, r * su * si];
        Ecef {
            m: [cl * p[0] - sl * p[1], sl * p[0] + cl * p[1], p[2]],
        }
    }

    #[test]
    fn bounds_hold_and_are_reached_over_all_phases() {
        // Against exact two-body motion, all phases on another grid.
        for (i, e) in [(0.06, 0.00025), (0.0, 0.0005), (5.0, 0.005)] {
            for (lat, lon) in [(51.5, -0.14), (-33.93, 18.42), (5.0, 19.0)] {
                let site = Site::new(lat, lon, 0.0).unwrap();
                let s = NearGeostationary {
                    longitude: Angle::deg(19.3),
                    inclination: Angle::deg(i),
                    eccentricity: e,
                };
                let m = daily_motion(&site, s).unwrap();
                assert!(m.validity.is_inside());
                let still = look(&site, geostationary(s.longitude).unwrap());
                let mut largest = [0.0f64; 4];
                for ip in 0..60 {
                    let perigee = f64::from(ip * 6).to_radians();
                    for im in 0..90 {
                        let mean = f64::from(im * 4).to_radians();
                        let dt = 20.0;
                        let l = look(&site, kepler(s, mean, perigee, 0.0));
                        let later = kepler(s, mean + EARTH_ROTATION_RAD_PER_S * dt, perigee, 0.0);
                        let daz = (l.direction.azimuth - still.direction.azimuth).as_rad();
                        let now = [
                            (l.direction.elevation - still.direction.elevation).as_rad(),
                            (l.direction.elevation.as_rad().cos() * daz.sin()).asin(),
                            (l.range - still.range).as_m(),
                            (look(&site, later).range - l.range).as_m() / dt,
                        ];
                        for (x, y) in largest.iter_mut().zip(now) {
                            *x = x.max(y.abs());
                        }
                    }
                }
                let bounds = [
                    m.elevation.as_rad(),
                    m.cross_elevation.as_rad(),
                    m.range.as_m(),
                    m.range_rate.si(),
                ];
                for (x, b) in largest.into_iter().zip(bounds) {
                    assert!((x / b - 1.0).abs() < 0.01, "{x} {b} at {lat} {i} {e}");
                }
            }
        }
    }

    #[test]
    fn the_figure_of_eight_is_a_quarter_of_i_squared_wide() {
        let s = NearGeostationary {
            longitude: Angle::deg(0.0),
            inclination: Angle::deg(3.0),
            eccentricity: 0.0,
        };
        let widest = (0..720)
            .map(|k| {
                let p = kepler(s, f64::from(k).to_radians() * 0.5, 0.0, 0.0).m;
                p[1].atan2(p[0]).abs()
            })
            .fold(0.0, f64::max);
        let site = Site::new(0.0, 0.0, 0.0).unwrap();
        let m = daily_motion(&site, s).unwrap();
        assert!((widest / m.figure_eight.as_rad() - 1.0).abs() < 1e-3);
        // Straight above the site an azimuth means nothing, but nothing panics either.
        assert!(m.elevation.as_rad().is_finite());
    }

    #[test]
    fn large_elements_are_outside_not_refused() {
        let site = Site::new(50.0, 0.0, 0.0).unwrap();
        let s = NearGeostationary {
            longitude: Angle::deg(10.0),
            inclination: Angle::deg(9.0),
            eccentricity: 0.02,
        };
        assert_eq!(daily_motion(&site, s).unwrap().validity.reasons().len(), 2);
        let bad = NearGeostationary {
            eccentricity: -0.1,
            ..s
        };
        assert!(daily_motion(&site, bad).is_err());
    }
}
