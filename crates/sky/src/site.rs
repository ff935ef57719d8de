//! A site on the WGS-84 ellipsoid.

use slantpath_quantity::{Angle, Length};

use crate::error::{SkyError, within};
use crate::vector::{V3, dot};

/// WGS-84 equatorial radius, m (NGA.STND.0036, table 3.1).
pub const WGS84_A_M: f64 = 6_378_137.0;
/// WGS-84 flattening (NGA.STND.0036, table 3.1).
pub const WGS84_F: f64 = 1.0 / 298.257_223_563;
/// Mean rotation rate of the Earth, rad/s (NGA.STND.0036, table 3.1).
pub const EARTH_ROTATION_RAD_PER_S: f64 = 7.292_115e-5;

/// A point in the Earth-centred, Earth-fixed frame, m: x to (0, 0), y to (0, 90 E), z to the north pole.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ecef {
    /// Coordinates, m.
    pub m: [f64; 3],
}

/// A place on the Earth: geodetic latitude and longitude, height above the WGS-84 *ellipsoid*.
///
/// A height above sea level differs by the geoid's undulation (within about 105 m); 100 m move a geostationary
/// look angle by at most 1e-4 deg and the range by up to 100 m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Site {
    lat_rad: f64,
    lon_rad: f64,
    h_m: f64,
    ecef: V3,
    east: V3,
    north: V3,
    up: V3,
}

impl Site {
    /// From geodetic latitude (north +), longitude (east +) in degrees and ellipsoidal height in metres.
    ///
    /// # Errors
    /// [`SkyError::Range`] for a latitude outside -90..90, a longitude outside -180..360, or a height outside
    /// -1000..100 000 m.
    pub fn new(lat_deg: f64, lon_deg: f64, height_m: f64) -> Result<Self, SkyError> {
        within("latitude", lat_deg, -90.0, 90.0, "deg")?;
        within("longitude", lon_deg, -180.0, 360.0, "deg")?;
        within("height", height_m, -1000.0, 100_000.0, "m")?;
        let (lat, lon) = (lat_deg.to_radians(), lon_deg.to_radians());
        let (sp, cp) = lat.sin_cos();
        let (sl, cl) = lon.sin_cos();
        // Geodetic to Cartesian: n is the prime vertical radius of curvature (NGA.STND.0036, eq. 4-14, 4-15).
        let e2 = WGS84_F * (2.0 - WGS84_F);
        let n = WGS84_A_M / (1.0 - e2 * sp * sp).sqrt();
        Ok(Self {
            lat_rad: lat,
            lon_rad: lon,
            h_m: height_m,
            ecef: [
                (n + height_m) * cp * cl,
                (n + height_m) * cp * sl,
                (n * (1.0 - e2) + height_m) * sp,
            ],
            east: [-sl, cl, 0.0],
            north: [-sp * cl, -sp * sl, cp],
            up: [cp * cl, cp * sl, sp],
        })
    }
    /// Geodetic latitude, north +.
    pub fn latitude(&self) -> Angle {
        Angle::rad(self.lat_rad)
    }
    /// Longitude as given, east +.
    pub fn longitude(&self) -> Angle {
        Angle::rad(self.lon_rad)
    }
    /// Height above the ellipsoid.
    pub fn height(&self) -> Length {
        Length::m(self.h_m)
    }
    /// The site in the Earth-fixed frame.
    pub fn ecef(&self) -> Ecef {
        Ecef { m: self.ecef }
    }
    /// Radius of curvature of the ellipsoid in the vertical plane of an azimuth (Euler's theorem):
    /// `1/R = cos^2(az)/M + sin^2(az)/N`.
    pub fn radius_of_curvature(&self, azimuth: Angle) -> Length {
        let e2 = WGS84_F * (2.0 - WGS84_F);
        let w2 = 1.0 - e2 * self.lat_rad.sin().powi(2);
        let n = WGS84_A_M / w2.sqrt();
        let m = n * (1.0 - e2) / w2;
        let (s, c) = azimuth.as_rad().sin_cos();
        Length::m(1.0 / (c * c / m + s * s / n))
    }
    pub(crate) fn up(&self) -> V3 {
        self.up
    }
    /// Velocity with the Earth's rotation, m/s, Earth-fixed axes.
    pub(crate) fn rotation_velocity(&self) -> V3 {
        [
            -EARTH_ROTATION_RAD_PER_S * self.ecef[1],
            EARTH_ROTATION_RAD_PER_S * self.ecef[0],
            0.0,
        ]
    }
    /// Components (east, north, up) of an Earth-fixed vector.
    pub(crate) fn enu(&self, v: V3) -> V3 {
        [dot(v, self.east), dot(v, self.north), dot(v, self.up)]
    }
    /// The Earth-fixed unit vector of a direction.
    pub fn unit_of(&self, d: Direction) -> [f64; 3] {
        let (sa, ca) = d.azimuth.as_rad().sin_cos();
        let (se, ce) = d.elevation.as_rad().sin_cos();
        let mut v = [0.0; 3];
        for (i, x) in v.iter_mut().enumerate() {
            *x = ce * sa * self.east[i] + ce * ca * self.north[i] + se * self.up[i];
        }
        v
    }
}

/// A direction from a site: true azimuth (from north through east) and geometric elevation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Direction {
    /// True azimuth, 0..360 deg.
    pub azimuth: Angle,
    /// Elevation without refraction.
    pub elevation: Angle,
}

impl Direction {
    /// From degrees.
    pub const fn deg(azimuth_deg: f64, elevation_deg: f64) -> Self {
        Self {
            azimuth: Angle::deg(azimuth_deg),
            elevation: Angle::deg(elevation_deg),
        }
    }
    pub(crate) fn of_enu(v: V3) -> Self {
        let az = v[0].atan2(v[1]).rem_euclid(std::f64::consts::TAU);
        Self {
            // rem_euclid of a tiny negative angle can round to a full turn.
            azimuth: Angle::rad(if az >= std::f64::consts::TAU { 0.0 } else { az }),
            elevation: Angle::rad(v[2].atan2(v[0].hypot(v[1]))),
        }
    }
    /// Angle on the sky between two directions (haversine form, exact for small angles).
    pub fn separation(self, other: Direction) -> Angle {
        let de = 0.5 * (other.elevation - self.elevation).as_rad();
        let da = 0.5 * (other.azimuth - self.azimuth).as_rad();
        let h = de.sin().powi(2)
            + self.elevation.as_rad().cos() * other.elevation.as_rad().cos() * da.sin().powi(2);
        Angle::rad(2.0 * h.min(1.0).sqrt().asin())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ecef_on_the_axes() {
        // Closed form: equator at a, pole at b = a(1 - f).
        let equator = Site::new(0.0, 90.0, 100.0).unwrap().ecef().m;
        assert!(equator[0].abs() < 1e-6 && (equator[1] - (WGS84_A_M + 100.0)).abs() < 1e-6);
        let pole = Site::new(-90.0, 0.0, 0.0).unwrap().ecef().m;
        assert!((pole[2] + WGS84_A_M * (1.0 - WGS84_F)).abs() < 1e-6);
    }

    #[test]
    fn ecef_agrees_with_the_standard_routine() {
        for (lat, lon, h) in [
            (51.5, -0.14, 31.0),
            (-33.93, 18.42, 10.0),
            (27.988, 86.925, 8849.0),
        ] {
            let ours = Site::new(lat, lon, h).unwrap().ecef().m;
            // iauGd2gc with the WGS-84 ellipsoid.
            let theirs = sofars::coords::gd2gc(1, lon.to_radians(), lat.to_radians(), h).unwrap();
            for i in 0..3 {
                assert!((ours[i] - theirs[i]).abs() < 1e-6, "{ours:?} {theirs:?}");
            }
        }
    }

    #[test]
    fn impossible_places_are_errors() {
        assert!(Site::new(90.1, 0.0, 0.0).is_err());
        assert!(Site::new(f64::NAN, 0.0, 0.0).is_err());
        assert!(Site::new(0.0, 400.0, 0.0).is_err());
        assert!(Site::new(0.0, 0.0, f64::INFINITY).is_err());
    }

    #[test]
    fn direction_survives_the_turn_to_ecef_and_back() {
        let site = Site::new(51.5, -0.14, 31.0).unwrap();
        for (az, el) in [(0.0, 10.0), (155.7, 28.3), (359.99, -5.0)] {
            let d = Direction::deg(az, el);
            let back = Direction::of_enu(site.enu(site.unit_of(d)));
            assert!(d.separation(back).as_deg() < 1e-12);
        }
    }
}
