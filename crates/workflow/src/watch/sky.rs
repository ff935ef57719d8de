//! What Sun, rain and orbit do to a station's readings.

use crate::WorkflowError;
use crate::survey::place::Place;
use jiff::Timestamp;
use slantpath_link::{Air, Conditions, LinkError, Model};
use slantpath_quantity::{Angle, Frequency, from_db, to_db};
use slantpath_sky::{EarthOrientation, Target, doppler, sun_transits};
use slantpath_station::Station;
use slantpath_station::checked::Passband;
use slantpath_verdict::health::rain::WetPath;

/// Distance of the Sun from the beam's axis, in half-power beamwidths, within which readings are set aside.
const SUN_WITHIN: f64 = 2.0;
/// Percent of the year whose rain shows the ratio of loss and noise.
const RAINY_PERCENT: f64 = 0.1;
/// Rain's mean radiating temperature and a clear sky at 3 cm, K; only their difference times the coupling counts, and that
/// is taken from the model.
const T_RAIN_K: f64 = 275.0;
const T_CLEAR_K: f64 = 8.0;

fn at(t_s: f64) -> Option<Timestamp> {
    Timestamp::from_millisecond((1e3 * t_s) as i64).ok()
}

/// Times in which the Sun stands near the satellite, between two moments.
///
/// # Errors
/// Moments outside 1972 to 2099, a satellite without a place.
pub(super) fn sun_windows(
    station: &Station,
    beam: Angle,
    from_s: f64,
    to_s: f64,
) -> Result<Vec<(f64, f64)>, WorkflowError> {
    let (Some(from), Some(to)) = (at(from_s - 86_400.0), at(to_s + 86_400.0)) else {
        return Ok(Vec::new());
    };
    let place = Place::new(station, to)?;
    let longitude = station
        .satellite
        .orbit
        .longitude()
        .unwrap_or_else(|| slantpath_sky::look::subpoint_geocentric(place.position).0);
    let within = Angle::deg(SUN_WITHIN * beam.as_deg() + 0.27);
    let transits = sun_transits(
        &place.geometry.site,
        Target::slot(longitude).map_err(LinkError::from)?,
        from,
        to,
        &[within],
        EarthOrientation::default(),
    )
    .map_err(LinkError::from)?;
    Ok(transits
        .iter()
        .filter_map(|t| t.crossings.first().and_then(Option::as_ref))
        .map(|c| (seconds(c.enters), seconds(c.leaves)))
        .collect())
}

fn seconds(t: Timestamp) -> f64 {
    t.as_millisecond() as f64 / 1e3
}

/// The path as the noise of a branch sees it: how much the noise rises for an attenuation follows from the model in rain
/// and without.
pub(super) fn wet_path(
    station: &Station,
    clear: &Model,
    passband: &str,
    branch: &str,
) -> Option<WetPath> {
    let rainy = Model::new(
        station,
        &Conditions {
            air: Air::Exceeded {
                percent: RAINY_PERCENT,
            },
            ..Conditions::default()
        },
    )
    .ok()?;
    let beacon = clear.outputs().iter().find(|o| {
        o.id.starts_with(&format!("{passband}."))
            && o.id.ends_with(&format!(".cn0_station@{branch}"))
    })?;
    let read = |m: &Model, id: &str| -> Option<f64> {
        let k = m.outputs().iter().position(|o| o.id == id)?;
        let mut all = vec![0.0; m.outputs().len()];
        m.evaluate(&m.inputs().best(), &mut all);
        all.get(k).copied().filter(|x| x.is_finite())
    };
    let t_id = format!("{passband}.t_sys@{branch}");
    let (t0, t1) = (read(clear, &t_id)?, read(&rainy, &t_id)?);
    let fall = read(clear, &beacon.id)? - read(&rainy, &beacon.id)?;
    let a_db = fall - to_db(t1 / t0);
    if a_db < 0.05 || t1 <= t0 {
        return None;
    }
    Some(WetPath {
        t_sys_k: t0,
        t_clear_k: T_CLEAR_K,
        t_mr_k: T_RAIN_K,
        coupling: (t1 - t0) / ((T_RAIN_K - T_CLEAR_K) * (1.0 - from_db(-a_db))),
    })
}

/// Doppler of a passband: by elements, or the largest that inclination and eccentricity allow.
pub(super) enum Doppler {
    /// By elements.
    Known(Box<dyn Fn(f64) -> Option<f64>>),
    /// At most, Hz.
    Bound(f64),
    /// Nothing is written of the orbit.
    Unknown,
}

/// # Errors
/// Elements that cannot be propagated.
pub(super) fn doppler_of(
    station: &Station,
    p: &Passband,
    about_s: f64,
) -> Result<Doppler, WorkflowError> {
    let f: Frequency = p.downlink.centre();
    let now = at(about_s).unwrap_or(Timestamp::UNIX_EPOCH);
    let place = Place::new(station, now)?;
    if let Some(m) = &place.motion {
        return Ok(Doppler::Bound(m.doppler_bound(f).as_hz()));
    }
    let Some(orbit) = place.orbit else {
        return Ok(Doppler::Unknown);
    };
    let site = place.geometry.site;
    Ok(Doppler::Known(Box::new(move |t_s| {
        let look = orbit
            .look(&site, at(t_s)?, EarthOrientation::default())
            .ok()?;
        Some(doppler(look.range_rate, f).as_hz())
    })))
}
