//! Exposure and wind: where people must not be, and what the gust does to the dish.

use super::DriveOptions;
use super::plan::Planned;
use crate::WorkflowError;
use crate::predict::Predicted;
use slantpath_antenna::wind::{CODE_AIR_KG_M3, WindLoad};
use slantpath_link::transmit_pattern;
use slantpath_plan::PlanError;
use slantpath_plan::exposure::{Exposure, Limits, Radiating, exposure, offered};
use slantpath_quantity::{Angle, Length, Power, Speed};
use slantpath_station::Station;

/// Exposure of the strongest use, with the geometry for a drawing.
#[derive(Debug)]
pub(super) struct Surroundings {
    pub exposure: Exposure,
    pub radiating: Radiating,
    pub passband: String,
    pub offered: Vec<Limits>,
}

/// The strongest mean power of all passbands, stated or advised, at the feed.
pub(super) fn surroundings(
    station: &Station,
    p: &Predicted,
    planned: &Planned,
    o: &DriveOptions,
) -> Result<Option<Surroundings>, WorkflowError> {
    let (Some(transmit), Some(feed)) = (&station.transmit, &station.feed.transmit) else {
        return Ok(None);
    };
    let strongest = planned
        .segments
        .iter()
        .map(|s| {
            let advised = s
                .advice
                .as_ref()
                .ok()
                .map(|a| (a.probe.feed_dbm, s.u_out_db));
            let stated = (
                s.stated_dbm.value - s.chain.loss_to_feed_db(),
                s.stated_dbm.u,
            );
            let (dbm, u) = match advised {
                Some(a) if a.0 > stated.0 => a,
                _ => stated,
            };
            (Power::dbm(dbm).as_w() * s.duty, dbm, u, s)
        })
        .max_by(|a, b| a.0.total_cmp(&b.0));
    let Some((_, dbm, u_db, s)) = strongest else {
        return Ok(None);
    };
    let Some(passband) = station.satellite.passband(&s.passband) else {
        return Ok(None);
    };
    let f = transmit
        .segment(&s.passband)
        .and_then(|t| t.frequency)
        .unwrap_or_else(|| passband.uplink.centre());
    let best = |c: &slantpath_quantity::Contributor| c.distribution.mean();
    let (dish, _) =
        slantpath_link::reflector(&station.reflector.shape, &best).map_err(PlanError::from)?;
    let pattern = transmit_pattern(station, f).transpose()?;
    let ohmic = feed.ohmic_loss.distribution.mean();
    let toward = |angle: Angle| {
        pattern
            .as_ref()
            .map_or(0.0, |p| p.directivity(angle, Angle::rad(0.0)).0)
            - ohmic
    };
    let Some(gain_dbi) = p
        .prediction
        .answer(&format!("{}.up.gain", s.passband))
        .and_then(|a| a.estimate())
        .map(|e| e.value)
    else {
        return Ok(None);
    };
    let (near_rim, far_rim) = dish.edge_distances();
    let radiating = Radiating {
        f,
        diameter: dish.diameter(),
        gain_dbi,
        feed_dbi: toward(Angle::rad(0.0)),
        rim_dbi: toward(dish.half_angle()),
        to_dish: dish.centre_distance(),
        to_rim: Length::m(near_rim.as_m().min(far_rim.as_m())),
        peak_w: Power::dbm(dbm).as_w(),
        u_db,
        duty: s.duty,
    };
    let offered = offered(f);
    let written = station.limits.as_ref();
    let given = o.limits.map(|l| (l, "limits as given")).or_else(|| {
        written.map(|l| {
            (
                (l.public_w_m2, l.occupational_w_m2),
                "limits of the station file",
            )
        })
    });
    let reflection = o
        .reflection
        .or_else(|| written.and_then(|l| l.reflection))
        .unwrap_or(1.0);
    let limits = match (given, offered.first()) {
        (Some(((public, occupational), name)), _) => Limits {
            name: name.into(),
            public_w_m2: public,
            occupational_w_m2: occupational,
            averaging_min: 30.0,
        },
        (None, Some(l)) => l.clone(),
        (None, None) => {
            return Err(WorkflowError::argument(
                "no exposure limits are offered at this frequency",
                "write those of your country as `[limits]`, or give --limit-public and --limit-occupational in W/m2",
            ));
        }
    };
    Ok(Some(Surroundings {
        exposure: exposure(&radiating, &limits, reflection)?,
        radiating,
        passband: s.passband.clone(),
        offered,
    }))
}

/// The wind's load, when the local code's gust and coefficient are given; with the pull on a bolt.
pub(super) fn wind(
    station: &Station,
    o: &DriveOptions,
) -> Result<Option<(WindLoad, Option<f64>)>, WorkflowError> {
    let written = station.wind.as_ref();
    let Some((gust, c)) = o
        .wind
        .or_else(|| written.map(|w| (w.gust_m_s, w.force_coefficient)))
    else {
        return Ok(None);
    };
    let lever_m = o.lever_m.or_else(|| written.and_then(|w| w.lever_m));
    let bolts = o.bolts.or_else(|| {
        let w = written?;
        Some((w.bolts_apart_m?, w.bolt_pairs))
    });
    let best = |c: &slantpath_quantity::Contributor| c.distribution.mean();
    let (dish, _) =
        slantpath_link::reflector(&station.reflector.shape, &best).map_err(PlanError::from)?;
    let load = WindLoad::on_face(
        dish.diameter(),
        dish.height(),
        Speed::from_si(gust),
        c,
        Length::m(lever_m.unwrap_or(0.0)),
        CODE_AIR_KG_M3,
    )
    .map_err(PlanError::from)?;
    let bolt = match bolts {
        Some((apart, pairs)) => Some(
            load.bolt_n(Length::m(apart), pairs)
                .map_err(PlanError::from)?,
        ),
        None => None,
    };
    Ok(Some((load, bolt)))
}
