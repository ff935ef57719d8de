//! How the satellite moves over a day, and what that does to frequencies.

use super::DAY_S;
use super::place::{Place, answer, share};
use jiff::Timestamp;
use slantpath_link::LinkError;
use slantpath_quantity::constants::SPEED_OF_LIGHT;
use slantpath_quantity::{Answer, Estimate, Interval, Unit};
use slantpath_report::Section;
use slantpath_sky::orbit::motion as orbit_motion;
use slantpath_sky::{EarthOrientation, doppler};
use slantpath_station::Station;

/// Half an extent about its middle, as an amplitude.
fn amplitude(id: &str, label: &str, unit: Unit, value: f64, relative_u: f64, why: &str) -> Answer {
    answer(
        id,
        label,
        unit,
        value,
        vec![share("sat.orbit", "orbit", relative_u * value)],
    )
    .because(why)
}

/// Motion from elements, or its bounds from inclination and eccentricity.
pub(super) fn motion(
    station: &Station,
    place: &Place,
    now: Timestamp,
) -> Result<Section, LinkError> {
    let mut section = Section::new("motion", "Motion of the satellite", Vec::new());
    let bands = &station.satellite.passbands;
    if let Some(orbit) = &place.orbit {
        let eop = EarthOrientation::default();
        let seen = orbit.look(&place.geometry.site, now, eop)?;
        let day = orbit_motion(orbit, &place.geometry.site, now, DAY_S, 288, eop)?;
        let why = "SGP4, over the next 24 hours";
        // 1 km a day of error turns at the Earth's rate: some 0.1 m/s.
        let u_rate = 0.1;
        section.answers.push(answer(
            "sat.range_rate",
            "range rate now, receding positive",
            Unit::MPerS,
            seen.range_rate.si(),
            vec![share("sat.orbit", "orbit", u_rate)],
        ));
        let half = |lo: f64, hi: f64| 0.5 * (hi - lo);
        let (el, az) = (day.elevation, day.azimuth);
        section.answers.push(amplitude(
            "sat.motion.elevation",
            "daily motion in elevation, each way",
            Unit::Deg,
            half(el.lo.as_deg(), el.hi.as_deg()),
            0.02,
            why,
        ));
        section.answers.push(amplitude(
            "sat.motion.azimuth",
            "daily motion in azimuth, each way",
            Unit::Deg,
            half(az.lo.as_deg(), az.hi.as_deg()),
            0.02,
            why,
        ));
        for p in bands {
            let f = p.downlink.centre();
            section.answers.push(
                answer(
                    &format!("{}.doppler", p.name),
                    &format!("Doppler shift now, downlink of {}", p.name),
                    Unit::Hz,
                    doppler(seen.range_rate, f).as_hz(),
                    vec![share(
                        "sat.orbit",
                        "orbit",
                        u_rate / SPEED_OF_LIGHT * f.as_hz(),
                    )],
                )
                .with_validity(orbit.validity_at(now)),
            );
        }
        return Ok(section);
    }
    let Some(m) = &place.motion else {
        return Ok(section.say(
            "Doppler and daily motion are not known: write the satellite's inclination and eccentricity, or its \
             elements, into the satellite file.",
        ));
    };
    let why = "from inclination and eccentricity; the phases are not known";
    // The expansion is good to 1 %: limits, so u is that over sqrt(3).
    let u = 0.01 / 3f64.sqrt();
    let rows = [
        (
            "sat.motion.elevation",
            "daily motion in elevation, at most",
            Unit::Deg,
            m.elevation.as_deg(),
        ),
        (
            "sat.motion.cross_elevation",
            "daily motion across, at most",
            Unit::Deg,
            m.cross_elevation.as_deg(),
        ),
        (
            "sat.motion.range",
            "daily motion in range, at most",
            Unit::Km,
            m.range.as_km(),
        ),
    ];
    for (id, label, unit, value) in rows {
        section
            .answers
            .push(amplitude(id, label, unit, value, u, why).with_validity(m.validity.clone()));
    }
    for p in bands {
        let bound = m.doppler_bound(p.downlink.centre()).as_hz();
        let estimate = Estimate {
            value: 0.0,
            u: bound * std::f64::consts::FRAC_1_SQRT_2,
            interval: Interval {
                lo: -bound,
                hi: bound,
                level: 1.0,
            },
        };
        let (id, label) = (
            format!("{}.doppler", p.name),
            format!("Doppler shift, downlink of {}", p.name),
        );
        section.answers.push(
            Answer::known(id, label, Unit::Hz, estimate)
                .with_validity(m.validity.clone())
                .because("a daily swing whose phase is not known: the interval holds all of it"),
        );
    }
    Ok(section)
}
