//! The Earth's shadow on a satellite: eclipses, when its beacon or its power may change.

use jiff::Timestamp;
use slantpath_quantity::Angle;

use crate::body::{Body, SUN_RADIUS_M, geocentric};
use crate::error::SkyError;
use crate::site::{Ecef, WGS84_A_M};
use crate::time::{EarthOrientation, plus_seconds};
use crate::vector::{angle_between, norm, scale, sub, unit};

/// How much of the Sun a satellite sees.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Light {
    /// All of it.
    Sunlit,
    /// A part: penumbra.
    Partial,
    /// Nothing: umbra.
    Dark,
}

/// Light on a satellite, from the angular sizes of Earth and Sun seen there (spherical Earth of the equatorial
/// radius, no atmosphere: instants good to about 10 s). `sun` as from [`geocentric`].
pub fn light(satellite: Ecef, sun: Ecef) -> Light {
    let to_sun = sub(sun.m, satellite.m);
    let to_earth = scale(satellite.m, -1.0);
    let apart = angle_between(unit(to_sun), unit(to_earth));
    let sun_radius = (SUN_RADIUS_M / norm(to_sun)).min(1.0).asin();
    let earth_radius = (WGS84_A_M / norm(to_earth)).min(1.0).asin();
    if apart >= earth_radius + sun_radius {
        Light::Sunlit
    } else if apart > earth_radius - sun_radius {
        Light::Partial
    } else {
        Light::Dark
    }
}

/// One eclipse of a satellite standing still: from first to last contact with the penumbra.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Eclipse {
    /// First contact.
    pub begins: Timestamp,
    /// Last contact.
    pub ends: Timestamp,
}

/// The eclipse of a geostationary satellite nearest to its local midnight on or after `from`, if there is one in
/// the following 24 h; they fall around the equinoxes and last up to about 70 min. Contacts to 1 s.
///
/// # Errors
/// As [`geocentric`].
pub fn eclipse_within_a_day(
    satellite_longitude: Angle,
    from: Timestamp,
    eop: EarthOrientation,
) -> Result<Option<Eclipse>, SkyError> {
    let satellite = crate::geostationary(satellite_longitude)?;
    let sun = geocentric(Body::Sun, from, eop)?;
    // Midnight at the satellite: the Sun on the opposite meridian. The Sun's longitude falls 15.04 deg an hour less
    // its own 0.04.
    let turn = std::f64::consts::TAU;
    let lead = sun.m[1].atan2(sun.m[0]) - satellite_longitude.as_rad() - std::f64::consts::PI;
    let midnight = plus_seconds(from, lead.rem_euclid(turn) / turn * 86_400.0)?;
    let shaded = |dt: f64| -> Result<bool, SkyError> {
        let at = plus_seconds(midnight, dt)?;
        Ok(light(satellite, geocentric(Body::Sun, at, eop)?) != Light::Sunlit)
    };
    if !shaded(0.0)? {
        return Ok(None);
    }
    let contact = |outside: f64| -> Result<f64, SkyError> {
        let (mut i, mut o) = (0.0f64, outside);
        while (o - i).abs() > 1.0 {
            let x = 0.5 * (i + o);
            if shaded(x)? { i = x } else { o = x }
        }
        Ok(0.5 * (i + o))
    };
    Ok(Some(Eclipse {
        begins: plus_seconds(midnight, contact(-3600.0)?)?,
        ends: plus_seconds(midnight, contact(3600.0)?)?,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::seconds_between;

    #[test]
    fn a_geostationary_satellite_is_eclipsed_for_seventy_minutes_at_the_equinox_and_never_at_the_solstice()
     {
        let eop = EarthOrientation::default();
        let slot = Angle::deg(19.3);
        let minutes = |day: &str| {
            eclipse_within_a_day(slot, format!("{day}T12:00:00Z").parse().unwrap(), eop)
                .unwrap()
                .map(|e| seconds_between(e.begins, e.ends) / 60.0)
        };
        // Closed form at zero declination, penumbra included: 2 (8.70 + 0.27) deg at the Sun's 15 deg/h = 71.8 min.
        let equinox = minutes("2026-09-23").unwrap();
        assert!((equinox - 71.8).abs() < 0.6, "{equinox}");
        assert_eq!(minutes("2026-06-21"), None);
        assert_eq!(minutes("2026-12-21"), None);
        // The season begins when the declination falls below about 8.97 deg: 22 to 24 days before the equinox.
        assert_eq!(minutes("2026-08-28"), None);
        assert!(minutes("2026-09-01").is_some());
    }

    #[test]
    fn light_follows_the_cone() {
        let sun = Ecef {
            m: [1.496e11, 0.0, 0.0],
        };
        let at = |deg: f64| {
            let (s, c) = deg.to_radians().sin_cos();
            light(
                Ecef {
                    m: [4.2164e7 * c, 4.2164e7 * s, 0.0],
                },
                sun,
            )
        };
        assert_eq!(at(0.0), Light::Sunlit);
        assert_eq!(at(180.0), Light::Dark);
        assert_eq!(at(180.0 + 8.7), Light::Partial);
        assert_eq!(at(180.0 - 9.1), Light::Sunlit);
    }
}
