//! Where the satellite stands, seen from the site.

use crate::LinkError;
use crate::conditions::Conditions;
use slantpath_propagation::p834::{self, Apparent};
use slantpath_quantity::{Angle, Length, Validity};
use slantpath_sky::{
    Direction, EarthOrientation, Ecef, MeanElements, NearGeostationary, Orbit, Site, daily_motion,
    geostationary, look, polarisation_skew,
};
use slantpath_station::checked::{self, Station};

/// Where the satellite stands, seen from the site.
#[derive(Debug, Clone)]
pub struct Geometry {
    /// Where the site stands.
    pub site: Site,
    /// True azimuth and geometric elevation.
    pub direction: Direction,
    /// Elevation at which the ray arrives (ITU-R P.834).
    pub apparent: Apparent,
    /// Slant range.
    pub range: Length,
    /// Skew of the satellite's vertical against the local vertical, its own tilt included; positive clockwise looking
    /// at the satellite. `None` at the zenith.
    pub skew: Option<Angle>,
    /// How far the satellite strays from its mean direction over a day, as seen from here (0 when only the slot is
    /// known).
    pub daily_excursion: Angle,
    /// What the geometry leaves out.
    pub validity: Validity,
}

/// Works out the geometry of a station at a moment.
///
/// # Errors
/// The satellite is below the radio horizon; elements that cannot be propagated; elements without a moment.
pub fn geometry(station: &Station, conditions: &Conditions) -> Result<Geometry, LinkError> {
    let s = &station.site;
    let site = Site::new(
        s.latitude.as_deg(),
        s.longitude.as_deg(),
        s.height.distribution.mean(),
    )?;
    let mut validity = Validity::Inside;
    let mut daily_excursion = Angle::deg(0.0);
    let (direction, range, position) = match &station.satellite.orbit {
        checked::Orbit::Slot {
            longitude,
            inclination,
            eccentricity,
        } => {
            let position = geostationary(*longitude)?;
            let l = look(&site, position);
            if inclination.is_some() || eccentricity.is_some() {
                let motion = daily_motion(
                    &site,
                    NearGeostationary {
                        longitude: *longitude,
                        inclination: inclination.unwrap_or(Angle::deg(0.0)),
                        eccentricity: eccentricity.unwrap_or(0.0),
                    },
                )?;
                daily_excursion = Angle::rad(
                    motion
                        .elevation
                        .as_rad()
                        .hypot(motion.cross_elevation.as_rad()),
                );
                validity = validity.and(motion.validity.clone());
            }
            (l.direction, l.range, position)
        }
        checked::Orbit::Tle { line1, line2, .. } => {
            moving(&site, conditions, MeanElements::from_tle(line1, line2)?)?
        }
        checked::Orbit::Omm { text, .. } => {
            moving(&site, conditions, MeanElements::from_omm_kvn(text)?)?
        }
    };
    let h_km = s.height.distribution.mean() / 1e3;
    let apparent = p834::apparent_elevation(h_km.clamp(-0.5, 10.0), direction.elevation.as_deg())?;
    if !apparent.visible {
        return Err(LinkError::BelowHorizon {
            below_deg: -direction.elevation.as_deg(),
        });
    }
    validity = validity.and(if direction.elevation.as_deg() < 10.0 {
        apparent.validity.clone()
    } else {
        // Above 10 deg the bending is below 0.1 deg whatever the air; the fit's range is of no interest there.
        Validity::Inside
    });
    let tilt = Angle::rad(station.satellite.polarisation_tilt.distribution.mean());
    Ok(Geometry {
        skew: polarisation_skew(&site, position, tilt),
        site,
        direction,
        apparent,
        range,
        daily_excursion,
        validity,
    })
}

/// Direction, range and position of a satellite with elements, at the moment asked for or at their epoch.
fn moving(
    site: &Site,
    conditions: &Conditions,
    mean: MeanElements,
) -> Result<(Direction, Length, Ecef), LinkError> {
    let orbit = Orbit::new(&mean)?;
    let at = conditions.time.unwrap_or_else(|| orbit.epoch());
    let eop = EarthOrientation::default();
    let l = orbit.look(site, at, eop)?.look;
    Ok((l.direction, l.range, orbit.state(at, eop)?.position))
}
