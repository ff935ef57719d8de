//! The Sun: when it stands behind the satellite, and when its shadow shows the satellite's azimuth.

use super::place::{Place, answer, share};
use jiff::{SignedDuration, Timestamp};
use slantpath_antenna::aperture::hpbw_rule;
use slantpath_link::{Conditions, LinkError, Model};
use slantpath_quantity::{Angle, Answer, Length, Unit, Validity};
use slantpath_report::Section;
use slantpath_sky::body::PathPoint;
use slantpath_sky::look::subpoint_geocentric;
use slantpath_sky::transit::{Season, outage_threshold, seasons};
use slantpath_sky::{EarthOrientation, Target, sun_transits};
use slantpath_station::checked::{Passband, PassbandUse, Station};

/// Relative standard uncertainty of a beamwidth: by the model, and by the rule of 70 lambda/D; common practice, no
/// source.
const U_BEAM: (f64, f64) = (0.03, 0.10);

/// The first narrow passband, or the first of all.
pub(super) fn first_narrow(station: &Station) -> Option<&Passband> {
    let all = &station.satellite.passbands;
    all.iter()
        .find(|p| p.usage == PassbandUse::Narrow)
        .or_else(|| all.first())
}

/// Half-power beamwidth on receive, its standard uncertainty and where it comes from.
pub(super) fn beamwidth(
    station: &Station,
    now: Timestamp,
) -> Result<Option<(Angle, Angle, &'static str)>, LinkError> {
    let Some(p) = first_narrow(station) else {
        return Ok(None);
    };
    let conditions = Conditions {
        time: Some(now),
        ..Conditions::default()
    };
    if let Ok(m) = Model::new(station, &conditions)
        && let Some(b) = m.beamwidth(&p.name)
    {
        return Ok(Some((
            b,
            b * U_BEAM.0,
            "from the feed's pattern on this reflector",
        )));
    }
    let d = Length::m(
        station
            .reflector
            .shape
            .aperture_diameter()
            .distribution
            .mean(),
    );
    let b = hpbw_rule(d, p.downlink.centre())?;
    Ok(Some((
        b,
        b * U_BEAM.1,
        "by the rule for an ordinary taper, 70 wavelengths over the diameter",
    )))
}

/// The Sun outages of the next two seasons, and the middle of the first.
pub(super) fn outages(
    station: &Station,
    place: &Place,
    beam: Option<(Angle, Angle, &'static str)>,
    now: Timestamp,
) -> Result<(Section, Option<Timestamp>), LinkError> {
    let mut section = Section::new("sun_transits", "Sun behind the satellite", Vec::new());
    let Some((beam, u_beam, source)) = beam else {
        return Ok((
            section.say("The satellite file names no passband, so there is no beam to speak of."),
            None,
        ));
    };
    section.answers.push(
        answer(
            "site.beamwidth",
            "half-power beamwidth on receive",
            Unit::Deg,
            beam.as_deg(),
            vec![share("reflector.beamwidth", "beamwidth", u_beam.as_deg())],
        )
        .because(source),
    );
    // Elements do not reach a year ahead; the longitude that the operator keeps does.
    let longitude = station
        .satellite
        .orbit
        .longitude()
        .unwrap_or_else(|| subpoint_geocentric(place.position).0);
    let (threshold, wider) = (outage_threshold(beam), outage_threshold(beam + u_beam));
    let from = now - SignedDuration::from_hours(24);
    let to = now + SignedDuration::from_hours(24 * 380);
    let transits = sun_transits(
        &place.geometry.site,
        Target::slot(longitude)?,
        from,
        to,
        &[threshold, wider],
        EarthOrientation::default(),
    )?;
    let wide = seasons(&transits, 1);
    let mut first_middle = None;
    let ahead = seasons(&transits, 0)
        .into_iter()
        .filter(|s| s.last.leaves >= now)
        .take(2);
    for (k, s) in ahead.enumerate() {
        first_middle = first_middle.or(Some(s.longest.enters));
        section = section.say(sentence(&s));
        section.answers.push(longest(k, &s, &wide));
    }
    if place.geometry.direction.elevation.as_deg() < 0.0 {
        section = section
            .say("The satellite is below the horizontal here: the Sun may have set by then.");
    }
    section = section.say(format!(
        "An outage is counted while the Sun's edge is inside the half-power contour: centres nearer than {:.2} deg. \
         The satellite is taken to stand in its slot.",
        threshold.as_deg()
    ));
    Ok((section, first_middle))
}

fn sentence(s: &Season) -> String {
    format!(
        "{} to {}: {} days, longest on {} from {} to {} UTC.",
        s.first.enters.strftime("%Y-%m-%d"),
        s.last.enters.strftime("%Y-%m-%d"),
        s.days,
        s.longest.enters.strftime("%Y-%m-%d"),
        s.longest.enters.strftime("%H:%M:%S"),
        s.longest.leaves.strftime("%H:%M:%S"),
    )
}

fn longest(k: usize, s: &Season, wide: &[Season]) -> Answer {
    let near = |w: &&Season| {
        (w.longest.enters.as_second() - s.longest.enters.as_second()).abs() < 30 * 86_400
    };
    let grown = wide.iter().find(near).map_or(0.0, |w| {
        (w.longest.duration_s - s.longest.duration_s) / 60.0
    });
    let label = format!("longest Sun outage, {}", s.longest.enters.strftime("%B %Y"));
    answer(
        &format!("site.sun_outage_{}.longest", k + 1),
        &label,
        Unit::Min,
        s.longest.duration_s / 60.0,
        vec![share("reflector.beamwidth", "beamwidth", grown)],
    )
    .with_validity(Validity::Inside)
    .because(sentence(s))
}

/// The moment on a path at which the Sun stands in an azimuth, well up, and whether it stands opposite instead.
pub(super) fn shadow(path: &[PathPoint], azimuth: Angle) -> Option<(Timestamp, bool)> {
    let off = |p: &PathPoint, turn: f64| {
        let d = p.direction.azimuth.as_deg() - azimuth.as_deg() - turn;
        d - 360.0 * (d / 360.0).round()
    };
    for turn in [0.0, 180.0] {
        for pair in path.windows(2) {
            let [a, b] = pair else { continue };
            let (x, y) = (off(a, turn), off(b, turn));
            let low = a
                .direction
                .elevation
                .as_deg()
                .min(b.direction.elevation.as_deg());
            // Low Suns throw shadows too faint, high ones too short; a jump through the back is no crossing.
            if x * y <= 0.0 && (x - y).abs() < 90.0 && x != y && (5.0..70.0).contains(&low) {
                let span_ms = (b.at.as_millisecond() - a.at.as_millisecond()) as f64;
                let at = a.at + SignedDuration::from_millis((span_ms * x / (x - y)) as i64);
                return Some((at, turn != 0.0));
            }
        }
    }
    None
}
