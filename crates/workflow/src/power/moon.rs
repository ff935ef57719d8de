//! The Moon as a source of known noise: absolute G/T from the Y factor of Moon over cold sky.

use super::sun::{air, share};
use crate::WorkflowError;
use jiff::Timestamp;
use slantpath_chain::source_noise::{
    beam_correction_gauss_disk, disk_flux, g_over_t_from_source, moon_brightness,
};
use slantpath_link::{LinkError, Model};
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{Angle, Answer, Estimate, Unit, from_db, show};
use slantpath_sky::{Body, EarthOrientation, Site, apparent};
use slantpath_station::Station;

/// G/T of a passband from a Y factor (dB and its standard uncertainty) with the Moon in the middle of the beam, at a moment.
/// The Moon's temperature follows its phase (Krotikov and Troitskii), its disk the moment; the clear air between is taken
/// off (ITU-R P.676).
///
/// # Errors
/// A passband that is not there, a moment outside the ephemeris, a Moon below the horizon, a Y factor that is none.
pub fn moon_g_over_t(
    station: &Station,
    model: &Model,
    passband: &str,
    y_db: (f64, f64),
    at: Timestamp,
) -> Result<Answer, WorkflowError> {
    let bad = |what: String, help: &str| WorkflowError::argument(what, help.to_string());
    let (y, u_y) = y_db;
    if !(y > 0.0 && y < 20.0 && u_y.is_finite() && u_y >= 0.0) {
        return Err(bad(
            format!("{y} dB with u = {u_y} dB is no Y factor of the Moon"),
            "give the rise of the noise in dB (some tenths on a small dish) and its standard uncertainty",
        ));
    }
    let p = station.satellite.passband(passband).ok_or_else(|| {
        bad(
            format!("there is no passband `{passband}`"),
            "name a passband of the satellite file",
        )
    })?;
    let f = p.downlink.centre();
    let s = &station.site;
    let site = Site::new(
        s.latitude.as_deg(),
        s.longitude.as_deg(),
        s.height.distribution.mean(),
    )
    .map_err(LinkError::from)?;
    let of = |body| apparent(body, &site, at, EarthOrientation::default()).map_err(LinkError::from);
    let (moon, sun) = (of(Body::Moon)?, of(Body::Sun)?);
    if moon.direction.elevation.as_deg() < 1.0 {
        return Err(bad(
            format!(
                "the Moon stood at {:.1} deg of elevation at {at}",
                moon.direction.elevation.as_deg()
            ),
            "give the moment of the measurement with --moon-at",
        ));
    }
    let beam = model.beamwidth(passband).ok_or_else(|| {
        bad(
            format!("the beam of `{passband}` is not known"),
            "name a passband that the station receives",
        )
    })?;
    // Full moon stands opposite the Sun in right ascension.
    let phase = Angle::rad(
        moon.right_ascension.as_rad() - sun.right_ascension.as_rad() - std::f64::consts::PI,
    );
    let wrong = |e: slantpath_chain::ChainError| bad(e.to_string(), "check frequency and Y factor");
    let (t, u_t, validity) = moon_brightness(f, phase).map_err(wrong)?;
    let air = air(station, &site, moon.direction, f)?;
    let flux = disk_flux(t, moon.angular_diameter, f) * from_db(-air.loss_db);
    let k = beam_correction_gauss_disk(moon.angular_diameter, beam).map_err(wrong)?;
    let gt = g_over_t_from_source(y, flux, f, k).map_err(wrong)?;
    // d(Y - 1)/(Y - 1) for a change of Y in dB.
    let slope = from_db(y) / (from_db(y) - 1.0);
    let shares = vec![
        share("moon.y", "reading of the Y factor", slope * u_y, false),
        share(
            "moon.temperature",
            "the Moon's brightness temperature",
            db_of_relative_u(u_t.as_k() / t.as_k()),
            true,
        ),
        share(
            "sun.beam",
            "beam correction for the disk",
            db_of_relative_u(0.3 * (k - 1.0) / k),
            true,
        ),
        share(
            "sun.air",
            "clear air between source and dish",
            air.u_db,
            true,
        ),
    ];
    let u = shares.iter().map(|s| s.u * s.u).sum::<f64>().sqrt();
    let mut a = Answer::known(
        "moon.g_over_t",
        "G/T from the Moon",
        Unit::DbPerK,
        Estimate::normal(gt, u),
    )
    .with_shares(shares)
    .because(format!(
        "The Moon shone at {} K, {} deg wide, {} deg high.",
        show::fixed(t.as_k(), 0),
        show::fixed(moon.angular_diameter.as_deg(), 3),
        show::fixed(moon.direction.elevation.as_deg(), 0)
    ));
    a.validity = validity.and(air.validity);
    Ok(a)
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_chain::source_noise::y_of_source;
    use slantpath_link::Conditions;

    #[test]
    fn the_moon_gives_back_the_g_over_t_that_made_its_rise() {
        let loaded = crate::demo::station().unwrap();
        let station = loaded.station(None).unwrap();
        let model = Model::new(station, &Conditions::default()).unwrap();
        let at: Timestamp = "2026-03-03T23:30:00Z".parse().unwrap();
        // About full: 3 March 2026 had a total lunar eclipse. Brightness from the form at its own phase, no air: the
        // answer may differ by the air's loss alone.
        let (t, _, _) = moon_brightness(
            station
                .satellite
                .passband("narrow")
                .unwrap()
                .downlink
                .centre(),
            Angle::deg(0.0),
        )
        .unwrap();
        let f = station
            .satellite
            .passband("narrow")
            .unwrap()
            .downlink
            .centre();
        let d = Angle::deg(0.52);
        let k = beam_correction_gauss_disk(d, model.beamwidth("narrow").unwrap()).unwrap();
        let y = y_of_source(19.0, disk_flux(t, d, f), f, k).unwrap();
        let a = moon_g_over_t(station, &model, "narrow", (y, 0.02), at).unwrap();
        let e = a.estimate().unwrap();
        assert!((e.value - 19.0).abs() < 0.6, "{e:?}");
        assert!(e.u > 0.2 && e.u < 0.6, "{e:?}");
        assert!(moon_g_over_t(station, &model, "narrow", (-1.0, 0.1), at).is_err());
        assert!(moon_g_over_t(station, &model, "none", (0.5, 0.1), at).is_err());
        let noon: Timestamp = "2026-03-03T12:30:00Z".parse().unwrap();
        assert!(moon_g_over_t(station, &model, "narrow", (0.5, 0.1), noon).is_err());
    }
}
