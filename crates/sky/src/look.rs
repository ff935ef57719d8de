//! Look angles: from a site to a satellite.

use slantpath_quantity::{Angle, Length, constants::SPEED_OF_LIGHT};

use crate::error::{SkyError, within};
use crate::site::{Direction, Ecef, Site};
use crate::vector::{cross, dot, norm, scale, sub, unit};

/// Radius of the geostationary orbit, m: mean motion equal to the Earth's rotation, J2 left out
/// (J2 adds about 0.5 km: 1e-4 deg at most in elevation).
pub const GEOSTATIONARY_RADIUS_M: f64 = 42_164_172.0;

/// A satellite standing still at its declared longitude (east +) over the equator.
///
/// # Errors
/// [`SkyError::Range`] for a longitude outside -180..360 deg.
pub fn geostationary(longitude: Angle) -> Result<Ecef, SkyError> {
    // Half an arcsecond of slack: a longitude of 360 deg converted to radians and back may exceed it in the last digit.
    within("orbit slot", longitude.as_deg(), -180.0001, 360.0001, "deg")?;
    let (s, c) = longitude.as_rad().sin_cos();
    Ok(Ecef {
        m: [GEOSTATIONARY_RADIUS_M * c, GEOSTATIONARY_RADIUS_M * s, 0.0],
    })
}

/// Where a satellite stands, seen from a site. Geometric: no refraction, no light-time shift
/// (a geostationary satellite is fixed in this frame; others move less than 1 km during the delay).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// True azimuth and geometric elevation. At the zenith the azimuth is meaningless.
    pub direction: Direction,
    /// Slant range.
    pub range: Length,
}

impl Look {
    /// One-way delay in vacuum, s. The troposphere adds about 8 ns at the zenith and 80 ns at 5 deg.
    pub fn delay_s(&self) -> f64 {
        self.range.as_m() / SPEED_OF_LIGHT
    }
    /// Up and down through the same satellite to the same site, s; the satellite's own group delay is not in it.
    pub fn round_trip_delay_s(&self) -> f64 {
        2.0 * self.delay_s()
    }
}

/// Look angles from a site to a point in the Earth-fixed frame.
pub fn look(site: &Site, target: Ecef) -> Look {
    let d = sub(target.m, site.ecef().m);
    Look {
        direction: Direction::of_enu(site.enu(d)),
        range: Length::m(norm(d)),
    }
}

/// Polarisation skew: how far the satellite's "vertical" appears turned from the site's local vertical,
/// positive clockwise when looking *at* the satellite.
///
/// The satellite's vertical is taken as the projection of the Earth's axis (orbit normal of a geostationary
/// satellite) on the plane across the line of sight; `satellite_tilt` is the satellite's own rotation from it,
/// positive clockwise as seen from the ground, as operators publish for slots whose polarisation is not aligned to
/// the equator. To match, turn the feed by the returned angle, clockwise for a person who looks at the satellite
/// (from behind the dish); a person in front of the dish, facing the feed, sees the same turn anticlockwise.
///
/// Matters for linear polarisation only: a circularly polarised wave has no tilt, and turning its feed changes
/// the carrier's phase alone.
///
/// `None` at the zenith or on the Earth's axis, where one of the two verticals has no direction. Normalised to
/// -180..180 deg; a linear feed repeats every 180 deg.
///
/// Source: vector geometry on the ellipsoid. The textbook `atan(sin(dlon)/tan(lat))` leaves out
/// `1/cos(nadir angle)` and is off by up to 0.33 deg.
pub fn polarisation_skew(site: &Site, satellite: Ecef, satellite_tilt: Angle) -> Option<Angle> {
    let k = unit(sub(satellite.m, site.ecef().m));
    // Local horizontal, to the right of an observer facing the satellite.
    let right = cross(k, site.up());
    let axis = [0.0, 0.0, 1.0];
    let north = sub(axis, scale(k, dot(axis, k)));
    if norm(right) < 1e-9 || norm(north) < 1e-9 {
        return None;
    }
    let right = unit(right);
    let above = cross(right, k);
    let skew = dot(north, right).atan2(dot(north, above)) + satellite_tilt.as_rad();
    let turn = std::f64::consts::TAU;
    let wrapped = skew - turn * (skew / turn).round();
    Some(Angle::rad(wrapped))
}

/// The point of a position's radial line on the sphere: longitude and *geocentric* latitude.
pub fn subpoint_geocentric(position: Ecef) -> (Angle, Angle) {
    let [x, y, z] = position.m;
    (Angle::rad(y.atan2(x)), Angle::rad(z.atan2(x.hypot(y))))
}
