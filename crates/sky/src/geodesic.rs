//! Distance and bearing on the WGS-84 ellipsoid (Karney 2013, J. Geodesy 87:43, by `geographiclib-rs`).

use geographiclib_rs::{DirectGeodesic, Geodesic, InverseGeodesic};
use slantpath_quantity::{Angle, Length};

use crate::error::{SkyError, within};

/// The shortest way from one point to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Way {
    /// Length along the ellipsoid.
    pub distance: Length,
    /// True azimuth at the first point, 0..360 deg.
    pub azimuth: Angle,
    /// True azimuth at the second point, going on in the same sense; the way back starts opposite to it.
    pub arrival_azimuth: Angle,
}

/// Distance (to better than 1 mm) and bearings from (lat, lon) to (lat, lon), all in degrees. Between exactly
/// antipodal points, or at a pole, the azimuth is one of several.
///
/// # Errors
/// [`SkyError::Range`] for a latitude outside -90..90 or a longitude outside -360..360 deg.
pub fn distance_bearing(
    (lat1, lon1): (f64, f64),
    (lat2, lon2): (f64, f64),
) -> Result<Way, SkyError> {
    for (lat, lon) in [(lat1, lon1), (lat2, lon2)] {
        within("latitude", lat, -90.0, 90.0, "deg")?;
        within("longitude", lon, -360.0, 360.0, "deg")?;
    }
    let (s12, azi1, azi2, _) = Geodesic::wgs84().inverse(lat1, lon1, lat2, lon2);
    Ok(Way {
        distance: Length::m(s12),
        azimuth: Angle::deg(azi1.rem_euclid(360.0)),
        arrival_azimuth: Angle::deg(azi2.rem_euclid(360.0)),
    })
}

/// The point (lat, lon in degrees) reached from (lat, lon) along a true azimuth after a distance.
///
/// # Errors
/// [`SkyError::Range`] as [`distance_bearing`], and for a distance outside 0..40 000 km.
pub fn destination(
    (lat, lon): (f64, f64),
    azimuth: Angle,
    distance: Length,
) -> Result<(f64, f64), SkyError> {
    within("latitude", lat, -90.0, 90.0, "deg")?;
    within("longitude", lon, -360.0, 360.0, "deg")?;
    within("azimuth", azimuth.as_deg(), -720.0, 720.0, "deg")?;
    within("distance", distance.as_m(), 0.0, 4e7, "m")?;
    Ok(Geodesic::wgs84().direct(lat, lon, azimuth.as_deg(), distance.as_m()))
}
