//! Where the satellite stands and how well that is known.

use jiff::Timestamp;
use slantpath_link::{Conditions, Geometry, LinkError, geometry};
use slantpath_propagation::p834;
use slantpath_quantity::{Angle, ContributorId, Estimate, Share, Unit};
use slantpath_sky::site::WGS84_A_M;
use slantpath_sky::{
    DailyMotion, EarthOrientation, Ecef, MeanElements, NearGeostationary, Orbit, Site,
    daily_motion, geostationary, look, polarisation_skew,
};
use slantpath_station::checked::{self, Station};

/// Half-width of the box in longitude in which operators keep a satellite, deg; common practice, no source.
const STATION_KEEPING_DEG: f64 = 0.1;
/// What sea level differs from the ellipsoid, rms, m (the geoid undulates within -106..+85 m); common practice, no
/// source.
const U_GEOID_M: f64 = 30.0;
/// Error of a position by SGP4 at its epoch and its growth in a day, km; common practice, no source.
const U_SGP4_KM: (f64, f64) = (1.0, 1.0);

/// One contributor's change of azimuth (deg), elevation (deg), range (m) and skew (deg).
struct Move {
    id: &'static str,
    label: String,
    change: [f64; 4],
}

/// The satellite seen from the site, with everything that moves it.
pub(crate) struct Place {
    /// Geometry; below the horizon too.
    pub geometry: Geometry,
    /// The satellite, Earth-fixed.
    pub position: Ecef,
    /// Orbit when elements are given.
    pub orbit: Option<Orbit>,
    /// Daily motion when the slot comes with inclination or eccentricity.
    pub motion: Option<DailyMotion>,
    moves: Vec<Move>,
}

/// Which figure of the geometry.
#[derive(Clone, Copy)]
pub(super) enum Of {
    Azimuth,
    Elevation,
    Range,
    Skew,
}

impl Place {
    pub(crate) fn new(station: &Station, now: Timestamp) -> Result<Self, LinkError> {
        let s = &station.site;
        let site = Site::new(
            s.latitude.as_deg(),
            s.longitude.as_deg(),
            s.height.distribution.mean(),
        )?;
        let mut motion = None;
        let (position, orbit, along_deg, along) = match &station.satellite.orbit {
            checked::Orbit::Slot {
                longitude,
                inclination,
                eccentricity,
            } => {
                if inclination.is_some() || eccentricity.is_some() {
                    motion = Some(daily_motion(
                        &site,
                        NearGeostationary {
                            longitude: *longitude,
                            inclination: inclination.unwrap_or(Angle::deg(0.0)),
                            eccentricity: eccentricity.unwrap_or(0.0),
                        },
                    )?);
                }
                (
                    geostationary(*longitude)?,
                    None,
                    STATION_KEEPING_DEG / 3f64.sqrt(),
                    format!("station keeping within {STATION_KEEPING_DEG} deg of the slot"),
                )
            }
            checked::Orbit::Tle { line1, line2, .. } => {
                moving(MeanElements::from_tle(line1, line2)?, now)?
            }
            checked::Orbit::Omm { text, .. } => moving(MeanElements::from_omm_kvn(text)?, now)?,
        };
        let conditions = Conditions {
            time: Some(now),
            ..Conditions::default()
        };
        let tilt = Angle::rad(station.satellite.polarisation_tilt.distribution.mean());
        let geometry = match geometry(station, &conditions) {
            Err(LinkError::BelowHorizon { .. }) => {
                let l = look(&site, position);
                let apparent = p834::apparent_elevation(
                    s.height.distribution.mean() / 1e3,
                    l.direction.elevation.as_deg(),
                )?;
                Geometry {
                    site,
                    direction: l.direction,
                    range: l.range,
                    skew: polarisation_skew(&site, position, tilt),
                    daily_excursion: Angle::deg(0.0),
                    validity: apparent.validity.clone(),
                    apparent,
                }
            }
            other => other?,
        };
        let moves = Self::moves(
            station,
            &site,
            position,
            tilt,
            along_deg,
            along,
            motion.as_ref(),
        )?;
        let mut place = Self {
            geometry,
            position,
            orbit,
            motion,
            moves,
        };
        if let Some(o) = &place.orbit {
            place.geometry.validity = place.geometry.validity.clone().and(o.validity_at(now));
        }
        Ok(place)
    }

    /// Displaces site and satellite by one standard uncertainty of each contributor.
    fn moves(
        station: &Station,
        site: &Site,
        position: Ecef,
        tilt: Angle,
        along_deg: f64,
        along: String,
        motion: Option<&DailyMotion>,
    ) -> Result<Vec<Move>, LinkError> {
        let s = &station.site;
        let nominal = seen(site, position, tilt);
        let (lat, lon) = (s.latitude.as_deg(), s.longitude.as_deg());
        let h = s.height.distribution.mean();
        let mut moves = Vec::new();
        // Anywhere within a circle: u = R/2 along each axis. One degree of the equator's circle is near enough here.
        let u_deg = 0.5 * s.position_radius.as_m() / WGS84_A_M * 57.295_779_513;
        if u_deg > 0.0 {
            let north = if lat + u_deg > 90.0 {
                lat - u_deg
            } else {
                lat + u_deg
            };
            let wide = (u_deg / s.latitude.as_rad().cos().abs().max(1e-3)).min(90.0);
            let east = if lon + wide > 180.0 {
                lon - wide
            } else {
                lon + wide
            };
            let a = minus(seen(&Site::new(north, lon, h)?, position, tilt), nominal);
            let b = minus(seen(&Site::new(lat, east, h)?, position, tilt), nominal);
            let mut change = [0.0; 4];
            for (c, (x, y)) in change.iter_mut().zip(a.iter().zip(&b)) {
                *c = x.hypot(*y);
            }
            moves.push(Move {
                id: "site.position",
                label: "where the site is".into(),
                change,
            });
        }
        let higher = Site::new(lat, lon, h + s.height.distribution.u().hypot(U_GEOID_M))?;
        moves.push(Move {
            id: "site.height",
            label: "height above the ellipsoid".into(),
            change: minus(seen(&higher, position, tilt), nominal),
        });
        let (sin, cos) = along_deg.to_radians().sin_cos();
        let [x, y, z] = position.m;
        let shifted = Ecef {
            m: [x * cos - y * sin, x * sin + y * cos, z],
        };
        moves.push(Move {
            id: "sat.position",
            label: along,
            change: minus(seen(site, shifted, tilt), nominal),
        });
        if let Some(m) = motion {
            // A sine's rms is its amplitude over sqrt(2).
            let r = std::f64::consts::FRAC_1_SQRT_2;
            let [_, el, _, _] = nominal;
            let az = m.cross_elevation.as_deg() / el.to_radians().cos().max(1e-6);
            let change = [
                (r * az).min(104.0),
                r * m.elevation.as_deg(),
                r * m.range.as_m(),
                r * m.latitude.as_deg(),
            ];
            moves.push(Move {
                id: "sat.daily_motion",
                label: "daily motion of the satellite".into(),
                change,
            });
        }
        let tilt_u = station
            .satellite
            .polarisation_tilt
            .distribution
            .u()
            .to_degrees();
        moves.push(Move {
            id: "sat.polarisation_tilt",
            label: "tilt of the satellite's polarisation".into(),
            change: [0.0, 0.0, 0.0, tilt_u],
        });
        Ok(moves)
    }

    /// Contributors to one figure's uncertainty, times `scale`.
    pub(super) fn shares(&self, of: Of, scale: f64) -> Vec<Share> {
        self.moves
            .iter()
            .map(|m| {
                let [az, el, range, skew] = m.change;
                let x = scale
                    * match of {
                        Of::Azimuth => az,
                        Of::Elevation => el,
                        Of::Range => range,
                        Of::Skew => skew,
                    };
                share(m.id, &m.label, x)
            })
            .filter(|s| s.u > 0.0)
            .collect()
    }

    /// Geometric azimuth, elevation, range or skew in its own unit (deg or m).
    pub(super) fn value(&self, of: Of) -> Option<f64> {
        let g = &self.geometry;
        match of {
            Of::Azimuth => Some(g.direction.azimuth.as_deg()),
            Of::Elevation => Some(g.direction.elevation.as_deg()),
            Of::Range => Some(g.range.as_m()),
            Of::Skew => g.skew.map(Angle::as_deg),
        }
    }
}

type Found = (Ecef, Option<Orbit>, f64, String);

fn moving(mean: MeanElements, now: Timestamp) -> Result<Found, LinkError> {
    let orbit = Orbit::new(&mean)?;
    let position = orbit.state(now, EarthOrientation::default())?.position;
    let age_d = (now.as_second() - orbit.epoch().as_second()).unsigned_abs() as f64 / 86_400.0;
    let u_km = U_SGP4_KM.0 + U_SGP4_KM.1 * age_d;
    let [x, y, z] = position.m;
    let r_km = x.hypot(y).hypot(z) / 1e3;
    let along = (u_km / r_km).to_degrees();
    Ok((
        position,
        Some(orbit),
        along,
        format!("elements {age_d:.1} days from their epoch"),
    ))
}

fn seen(site: &Site, position: Ecef, tilt: Angle) -> [f64; 4] {
    let l = look(site, position);
    [
        l.direction.azimuth.as_deg(),
        l.direction.elevation.as_deg(),
        l.range.as_m(),
        polarisation_skew(site, position, tilt).map_or(0.0, Angle::as_deg),
    ]
}

/// Difference, angles the short way round.
fn minus(a: [f64; 4], b: [f64; 4]) -> [f64; 4] {
    let mut out = [0.0; 4];
    for (k, (o, (x, y))) in out.iter_mut().zip(a.iter().zip(&b)).enumerate() {
        let d = x - y;
        *o = if k == 0 || k == 3 {
            d - 360.0 * (d / 360.0).round()
        } else {
            d
        };
    }
    out
}

/// A share whose effect is known.
pub(super) fn share(id: &str, label: &str, effect: f64) -> Share {
    Share {
        id: ContributorId::new(id),
        label: label.to_string(),
        u: effect.abs(),
        effect,
        systematic: true,
    }
}

/// An answer from a value and its contributors.
pub(super) fn answer(
    id: &str,
    label: &str,
    unit: Unit,
    value: f64,
    shares: Vec<Share>,
) -> slantpath_quantity::Answer {
    let u = shares.iter().fold(0.0, |a: f64, s| a.hypot(s.u));
    slantpath_quantity::Answer::known(id, label, unit, Estimate::normal(value, u))
        .with_shares(shares)
}
