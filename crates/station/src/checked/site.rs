//! Where the station stands and what air is above it.

use slantpath_quantity::{Angle, Contributor, Length};

/// The site.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// Geodetic latitude (WGS-84), north positive.
    pub latitude: Angle,
    /// Longitude, east positive.
    pub longitude: Angle,
    /// How far the true position may be from the one written (a locator names a square): half the square's diagonal,
    /// or zero for coordinates.
    pub position_radius: Length,
    /// Locator as written, if the position was given that way.
    pub locator: Option<String>,
    /// Height of the dish above mean sea level, m. Id `site.height`.
    pub height: Contributor,
    /// Height of the dish centre above the ground in front of it, m; for clearance. Id `site.height_above_ground`.
    pub height_above_ground: Contributor,
    /// Horizon mask, sorted by azimuth; empty: a free horizon at 0 degrees. Between points: linear.
    pub horizon: Vec<HorizonPoint>,
    /// Single obstacles.
    pub obstacles: Vec<Obstacle>,
    /// Values that replace the built-in climate.
    pub climate: Climate,
    /// Temperature of the ground as seen by spillover, K. Id `site.ground_temperature`.
    pub ground_temperature: Contributor,
    /// Downlink level here relative to the satellite file's EIRP, dB (negative: weaker). Id `site.footprint_down`.
    pub footprint_down: Contributor,
    /// Satellite's G/T towards here relative to the satellite file's, dB (negative: worse). Id `site.footprint_up`.
    pub footprint_up: Contributor,
}

/// One point of the horizon mask.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HorizonPoint {
    /// Azimuth from true north, clockwise, 0 to 360 degrees.
    pub azimuth: Angle,
    /// Elevation of the skyline there, -10 to 90 degrees.
    pub elevation: Angle,
}

/// One thing in the way: a tree, a mast, a roof edge.
#[derive(Debug, Clone, PartialEq)]
pub struct Obstacle {
    /// What it is.
    pub name: String,
    /// Horizontal distance from the dish.
    pub distance: Length,
    /// Height of its top above the dish centre (negative: below).
    pub height: Length,
    /// Azimuth from true north.
    pub azimuth: Angle,
}

/// Climate values that the station file gives; `None` means: take the built-in grid.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Climate {
    /// Rain rate exceeded 0.01 % of an average year, mm/h (ITU-R P.837). Id `site.climate.rain_rate_001`.
    pub rain_rate_001: Option<Contributor>,
    /// Rain height above mean sea level, m (ITU-R P.839). Id `site.climate.rain_height`.
    pub rain_height: Option<Contributor>,
    /// Surface air temperature, K. Id `site.climate.temperature`.
    pub temperature: Option<Contributor>,
    /// Surface total air pressure, hPa. Id `site.climate.pressure`.
    pub pressure: Option<Contributor>,
    /// Surface water vapour density, g/m3. Id `site.climate.vapour_density`.
    pub vapour_density: Option<Contributor>,
    /// Total columnar water vapour content, kg/m2 (ITU-R P.836). Id `site.climate.vapour_column`.
    pub vapour_column: Option<Contributor>,
    /// Reduced columnar cloud liquid water exceeded 1 % of the time, kg/m2 (ITU-R P.840).
    /// Id `site.climate.cloud_liquid`.
    pub cloud_liquid: Option<Contributor>,
    /// Wet term of the surface refractivity, N-units (ITU-R P.453), plain. Id `site.climate.wet_refractivity`.
    pub wet_refractivity: Option<Contributor>,
}
