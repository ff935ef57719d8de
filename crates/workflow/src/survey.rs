//! The survey: where to point, what is in the way, when the Sun is, how the satellite moves.

mod chart;
mod motion;
mod obstacles;
pub(crate) mod place;
mod sun;

use chart::{Chart, SunPath};
use jiff::Timestamp;
use motion::motion;
use obstacles::obstacles;
use place::{Of, Place, answer, share};
use slantpath_antenna::reflector::Reflector;
use slantpath_link::{LinkError, reflector};
use slantpath_quantity::constants::SPEED_OF_LIGHT;
use slantpath_quantity::{Angle, Answer, Contributor, Length, Unit};
use slantpath_report::{Figure, Section, Sheet};
use slantpath_sky::body::path;
use slantpath_sky::edge::{
    Coverage, EdgeVerdict, MODELLED, NOT_MODELLED, surface_horizon, verdict,
};
use slantpath_sky::{Body, EarthOrientation, HorizonMask, Locator, magnetic};
use slantpath_station::Station;

/// Below this elevation the verdict on the edge of coverage is spelled out, degrees.
const LOW_DEG: f64 = 5.0;
const DAY_S: f64 = 86_400.0;

/// Surveys a station's site at a moment: directions, delays, horizon, obstacles, the satellite's motion and the Sun.
///
/// A satellite below the horizon is an answer, not an error: the sheet is then marked as refused when no signal can be
/// expected, and says why.
///
/// # Errors
/// Elements that cannot be propagated, heights, dates or shapes outside every model.
pub fn survey(station: &Station, now: Timestamp) -> Result<Sheet, LinkError> {
    let place = Place::new(station, now)?;
    let mask = mask(station)?;
    let beam = sun::beamwidth(station, now)?;
    let edge = edge(station, &place, mask.as_ref())?;
    let refused = hopeless(&place, &edge, beam.map(|b| b.0));
    let (sun_section, transit) = sun::outages(station, &place, beam, now)?;
    let day = |from| {
        path(
            Body::Sun,
            &place.geometry.site,
            from,
            DAY_S,
            144,
            EarthOrientation::default(),
        )
    };
    // Whole days, so that the marks fall on whole hours.
    let midnight = |at: Timestamp| {
        Timestamp::from_second(at.as_second() - at.as_second().rem_euclid(86_400)).unwrap_or(at)
    };
    let today = day(midnight(now))?;
    let behind = transit
        .map(|t| day(midnight(t)).map(|p| (t, p)))
        .transpose()?;
    let next = next_measurement(station, &place, &day(now)?);

    let mut sections = vec![
        pointing(station, &place, now)?,
        feed_and_face(station, &place)?,
        way(&place),
        horizon(&place, &edge, mask.as_ref()),
        obstacles(station, &place)?,
        motion(station, &place, now)?,
        sun_section,
    ];
    sections.retain(|s| !(s.answers.is_empty() && s.text.is_empty()));

    let mut suns = vec![SunPath {
        name: format!("{} (hours marked)", now.strftime("%Y-%m-%d")),
        dash: "",
        points: &today,
    }];
    if let Some((t, points)) = &behind {
        suns.push(SunPath {
            name: format!("{}, behind the satellite", t.strftime("%Y-%m-%d")),
            dash: "5 4",
            points,
        });
    }
    let g = &place.geometry;
    let chart = Chart {
        satellite: (&station.satellite.name, g.direction),
        mask: mask.as_ref(),
        suns: &suns,
    };
    let mut because = vec![edge.because.clone()];
    if refused {
        because.push(
            "No signal can be expected at this site: the satellite stands behind the horizon."
                .into(),
        );
    }
    Ok(Sheet {
        verb: "survey".into(),
        title: format!(
            "{} to {}: azimuth {:.1} deg, elevation {:.1} deg",
            station.name,
            station.satellite.name,
            g.direction.azimuth.as_deg(),
            g.direction.elevation.as_deg()
        ),
        sections,
        because,
        next_measurement: Some(next),
        cautions: cautions(),
        figures: vec![Figure {
            key: "sky_chart".into(),
            caption: "The sky from the dish: satellite, skyline and the Sun's path today and on a day when it passes \
                      behind the satellite."
                .into(),
            svg: chart.svg(),
        }],
        refused,
    })
}

fn cautions() -> Vec<String> {
    [
        "Never look at the Sun, neither by eye nor along a feed arm or through any glass: use its shadow.",
        "A dish that points at the Sun gathers its heat at the feed; a shiny one burns plastic within minutes.",
        "Ladders, roofs and masts: do not work alone, secure yourself and the dish, keep away from power lines.",
        "Local rules on building, lightning protection and transmitting come before anything said here.",
    ]
    .map(String::from)
    .to_vec()
}

fn mask(station: &Station) -> Result<Option<HorizonMask>, LinkError> {
    let points: Vec<_> = station
        .site
        .horizon
        .iter()
        .map(|p| (p.azimuth, p.elevation))
        .collect();
    if points.is_empty() {
        return Ok(None);
    }
    Ok(Some(HorizonMask::new(&points)?))
}

fn pointing(station: &Station, place: &Place, now: Timestamp) -> Result<Section, LinkError> {
    let g = &place.geometry;
    let az = g.direction.azimuth.as_deg();
    let overhead = g.direction.elevation.as_deg() > 89.9;
    let mut answers = Vec::new();
    if overhead {
        answers.push(Answer::unknown(
            "site.azimuth_true",
            "azimuth from true north",
            Unit::Deg,
            "the satellite stands overhead, where an azimuth has no meaning",
            "point the dish straight up",
        ));
    } else {
        answers.push(
            answer(
                "site.azimuth_true",
                "azimuth from true north",
                Unit::Deg,
                az,
                place.shares(Of::Azimuth, 1.0),
            )
            .with_validity(g.validity.clone()),
        );
        let m = magnetic(&g.site, now)?;
        let mut shares = place.shares(Of::Azimuth, 1.0);
        shares.push(share(
            "magnetic.declination",
            "magnetic declination",
            m.sigma.as_deg(),
        ));
        answers.push(
            answer(
                "site.azimuth_magnetic",
                "azimuth by compass",
                Unit::Deg,
                (az - m.declination.as_deg()).rem_euclid(360.0),
                shares,
            )
            .with_validity(m.validity.clone()),
        );
        answers.push(
            answer(
                "site.declination",
                "magnetic declination, east positive",
                Unit::Deg,
                m.declination.as_deg(),
                vec![share(
                    "magnetic.declination",
                    "model and crust",
                    m.sigma.as_deg(),
                )],
            )
            .with_validity(m.validity)
            .because(format!(
                "{}, valid {} to {}; iron beside the compass is not in it",
                m.model, m.window.0, m.window.1
            )),
        );
    }
    answers.push(
        answer(
            "site.elevation",
            "elevation, geometric",
            Unit::Deg,
            g.direction.elevation.as_deg(),
            place.shares(Of::Elevation, 1.0),
        )
        .with_validity(g.validity.clone()),
    );
    answers.push(apparent(place));
    let s = &station.site;
    let (lat, lon) = (g.site.latitude().as_deg(), g.site.longitude().as_deg());
    let lon = lon - 360.0 * (lon / 360.0).round();
    let eight = Locator::of(lat, lon, 8)?;
    let mut section = Section::new("pointing", "Where to point", answers).say(format!(
        "Site {lat:.5} deg, {lon:.5} deg (north and east positive), Maidenhead locator {}, finer {eight}.",
        Locator::of(lat, lon, 6)?
    ));
    if let Some(l) = &s.locator {
        section = section.say(format!(
            "The position is the middle of the square {l}; the site may be {:.0} m from there.",
            s.position_radius.as_m()
        ));
    }
    Ok(section)
}

/// Shares of the apparent elevation: the geometric one's and the weather's.
fn apparent_shares(place: &Place) -> Vec<slantpath_quantity::Share> {
    let mut shares = place.shares(Of::Elevation, 1.0);
    shares.push(share(
        "air.refraction",
        "refraction",
        place.geometry.apparent.u_deg,
    ));
    shares
}

fn apparent(place: &Place) -> Answer {
    let a = &place.geometry.apparent;
    let (id, label) = ("site.elevation_apparent", "elevation, as the ray arrives");
    if !a.visible {
        return Answer::unknown(
            id,
            label,
            Unit::Deg,
            "no ray of a smooth Earth reaches this site: the satellite is below the radio horizon",
            "a higher site, or a satellite nearer to this longitude",
        );
    }
    answer(
        id,
        label,
        Unit::Deg,
        a.elevation_deg,
        apparent_shares(place),
    )
    .because(format!(
        "ITU-R P.834 lifts the ray by {:.3} deg",
        a.bending_deg
    ))
}

fn feed_and_face(station: &Station, place: &Place) -> Result<Section, LinkError> {
    let g = &place.geometry;
    let mut answers = Vec::new();
    answers.push(match place.value(Of::Skew) {
        Some(v) => answer(
            "site.skew",
            "skew, clockwise seen from behind the dish",
            Unit::Deg,
            // A linear feed turned by half a turn is the same feed: the smaller turn is given.
            v - 180.0 * (v / 180.0).round(),
            place.shares(Of::Skew, 1.0),
        )
        .because(format!(
            "the satellite's own tilt of {:.2} deg is in it",
            station
                .satellite
                .polarisation_tilt
                .distribution
                .mean()
                .to_degrees()
        )),
        None => Answer::unknown(
            "site.skew",
            "skew, clockwise seen from behind the dish",
            Unit::Deg,
            "overhead there is no local vertical to turn against",
            "turn the feed for the strongest beacon",
        ),
    });
    let arm = slantpath_link::arm(station.reflector.feed_arm);
    let el = Angle::deg(if g.apparent.visible {
        g.apparent.elevation_deg
    } else {
        g.direction.elevation.as_deg()
    });
    let s = &station.reflector.shape;
    let best = |c: &Contributor| c.distribution.mean();
    let (dish, validity) = reflector(s, &best)?;
    let face = |r: &Reflector| r.face_elevation(el, arm).as_deg();
    let (face_0, beta_0) = (face(&dish), dish.offset_angle().as_deg());
    let (mut face_shares, mut beta_shares) = (apparent_shares(place), Vec::new());
    for c in s.contributors() {
        let moved = |sign: f64| {
            let get = |d: &Contributor| {
                best(d)
                    + if d.id == c.id {
                        sign * d.distribution.u()
                    } else {
                        0.0
                    }
            };
            reflector(s, &get).ok().map(|r| r.0)
        };
        // Near a round rim one side may be no offset dish at all; the other side then tells.
        if let Some((r, sign)) = moved(1.0)
            .map(|r| (r, 1.0))
            .or_else(|| moved(-1.0).map(|r| (r, -1.0)))
        {
            face_shares.push(share(c.id.as_str(), &c.label, sign * (face(&r) - face_0)));
            beta_shares.push(share(
                c.id.as_str(),
                &c.label,
                sign * (r.offset_angle().as_deg() - beta_0),
            ));
        }
    }
    face_shares.retain(|x| x.u > 0.0);
    beta_shares.retain(|x| x.u > 0.0);
    let what = if dish.is_offset() {
        "the rim of an offset dish does not face the satellite: its offset angle is in it"
    } else {
        "the rim of a prime-focus dish faces the satellite"
    };
    answers.push(
        answer(
            "site.face_elevation",
            "face of the rim, back from upright",
            Unit::Deg,
            face_0,
            face_shares,
        )
        .with_validity(validity.clone())
        .because(what),
    );
    if dish.is_offset() {
        answers.push(
            answer(
                "reflector.offset_angle",
                "offset angle of the dish",
                Unit::Deg,
                beta_0,
                beta_shares,
            )
            .with_validity(validity),
        );
    }
    Ok(Section::new("setting", "How to set feed and dish", answers))
}

fn way(place: &Place) -> Section {
    let g = &place.geometry;
    let range = g.range.as_m();
    let delay = |id, label, ways: f64| {
        let k = 1e3 * ways / SPEED_OF_LIGHT;
        answer(id, label, Unit::Ms, range * k, place.shares(Of::Range, k))
    };
    Section::new(
        "way",
        "The way there",
        vec![
            answer(
                "site.range",
                "distance",
                Unit::Km,
                range / 1e3,
                place.shares(Of::Range, 1e-3),
            ),
            delay("site.delay_one_way", "delay, one way", 1.0),
            delay("site.delay_round_trip", "delay, up and down", 2.0)
                .because("without the delay inside the satellite and the equipment"),
        ],
    )
}

fn edge(
    station: &Station,
    place: &Place,
    mask: Option<&HorizonMask>,
) -> Result<EdgeVerdict, LinkError> {
    let g = &place.geometry;
    let az = g.direction.azimuth;
    let horizon = match mask {
        Some(m) => m.elevation_at(az),
        None => {
            let above = station.site.height.distribution.mean().max(0.0);
            surface_horizon(&g.site, az, Length::m(above), 4.0 / 3.0)?.elevation
        }
    };
    let u = apparent_shares(place)
        .iter()
        .fold(0.0, |a: f64, s| a.hypot(s.u));
    Ok(verdict(
        g.direction.elevation,
        Angle::deg(g.apparent.bending_deg),
        Angle::deg(u),
        horizon,
    )?)
}

/// Below the smooth Earth's radio horizon, or so deep behind the skyline that not even the beam's upper half clears it.
fn hopeless(place: &Place, edge: &EdgeVerdict, beam: Option<Angle>) -> bool {
    let half_beam = beam.map_or(0.5, |b| 0.5 * b.as_deg());
    edge.coverage == Coverage::Below
        && (!place.geometry.apparent.visible || edge.margin.as_deg() < -half_beam)
}

fn horizon(place: &Place, edge: &EdgeVerdict, mask: Option<&HorizonMask>) -> Section {
    let g = &place.geometry;
    let margin = answer(
        if mask.is_some() {
            "site.mask_clearance"
        } else {
            "site.horizon_clearance"
        },
        "satellite above the skyline",
        Unit::Deg,
        edge.margin.as_deg(),
        apparent_shares(place),
    )
    // Clear even without refraction: how well that is known does not matter.
    .with_validity(if edge.coverage == Coverage::Clear {
        g.validity.clone()
    } else {
        g.apparent.validity.clone().and(g.validity.clone())
    })
    .because(edge.because.clone());
    let mut section = Section::new("horizon", "Horizon and edge of coverage", vec![margin]);
    section = section.say(if mask.is_some() {
        "The skyline is the horizon mask of the station file."
    } else {
        "The station file has no horizon mask: the skyline is that of a sea at height 0 m, seen through a standard \
         atmosphere (effective Earth radius 4/3)."
    });
    section = section.say(match edge.coverage {
        Coverage::Clear => "Verdict: clear, even without refraction.",
        Coverage::ClearByRefraction => "Verdict: clear, thanks to refraction.",
        Coverage::Marginal => "Verdict: at the edge; the signal comes and goes with the weather.",
        Coverage::Below => "Verdict: below the skyline.",
    });
    if g.direction.elevation.as_deg() < LOW_DEG || edge.coverage != Coverage::Clear {
        section = section
            .say(format!("Taken into account: {}.", MODELLED.join("; ")))
            .say(format!(
                "Not taken into account: {}.",
                NOT_MODELLED.join("; ")
            ));
    }
    section
}

fn next_measurement(
    station: &Station,
    place: &Place,
    sun_day: &[slantpath_sky::body::PathPoint],
) -> String {
    let az = place.geometry.direction.azimuth;
    match sun::shadow(sun_day, az) {
        Some((at, opposite)) => format!(
            "Set the azimuth by the Sun's shadow: at {} UTC the shadow of a plumb line points {} the satellite \
             (azimuth {:.1} deg); 1 minute is about 0.25 to 0.5 deg. No compass error is in it.",
            at.strftime("%Y-%m-%d %H:%M:%S"),
            if opposite { "straight towards" } else { "straight away from" },
            az.as_deg()
        ),
        None if station.reflector.shape.is_offset() => {
            "Put a clinometer across the rim and set the face angle; then swing the azimuth for the strongest beacon."
                .into()
        }
        None => "Put a clinometer on the rim and set the elevation; then swing the azimuth for the strongest beacon."
            .into(),
    }
}

#[cfg(test)]
mod tests;
