//! What stands in the way of the beam.

use super::apparent_shares;
use super::place::{Place, answer, share};
use slantpath_link::LinkError;
use slantpath_quantity::{Angle, Answer, Frequency, Length, Unit};
use slantpath_report::Section;
use slantpath_sky::fresnel::obstacle_clearance;
use slantpath_station::Station;

/// An obstacle further than this in azimuth from the path is not taken to reach into it, degrees; common practice, no
/// source.
const ASIDE_DEG: f64 = 30.0;

/// Clearance of every obstacle of the station file.
pub(super) fn obstacles(station: &Station, place: &Place) -> Result<Section, LinkError> {
    let mut section = Section::new("obstacles", "Room for the beam", Vec::new());
    let g = &place.geometry;
    let bands = station.satellite.passbands.iter();
    let lowest = bands
        .flat_map(|p| {
            let up = station.transmit.as_ref().map(|_| p.uplink.lo);
            [Some(p.downlink.lo), up]
        })
        .flatten()
        .fold(f64::INFINITY, |a, f| a.min(f.as_hz()));
    if !lowest.is_finite() || station.site.obstacles.is_empty() {
        return Ok(section);
    }
    let wavelength = Frequency::hz(lowest).wavelength();
    let radius = Length::m(
        0.5 * station
            .reflector
            .shape
            .aperture_diameter()
            .distribution
            .mean(),
    );
    let el = if g.apparent.visible {
        Angle::deg(g.apparent.elevation_deg)
    } else {
        g.direction.elevation
    };
    for (k, o) in station.site.obstacles.iter().enumerate() {
        let off = o.azimuth.as_deg() - g.direction.azimuth.as_deg();
        let off = off - 360.0 * (off / 360.0).round();
        if off.abs() > ASIDE_DEG {
            section = section.say(format!(
                "{}: {:.0} deg beside the path, not in the way.",
                o.name,
                off.abs()
            ));
            continue;
        }
        let (id, label) = (
            format!("site.obstacle_{}.clearance", k + 1),
            format!("beam's axis above {}", o.name),
        );
        // An obstacle that the formula cannot place gets its reason instead of a figure.
        let c = match obstacle_clearance(el, o.distance, o.height, wavelength, radius) {
            Ok(c) => c,
            Err(e) => {
                section.answers.push(Answer::unknown(
                    id,
                    label,
                    Unit::M,
                    e.to_string(),
                    "check its distance and height in the station file",
                ));
                continue;
            }
        };
        let lever = c.along.as_m();
        let shares = apparent_shares(place)
            .into_iter()
            .map(|s| share(s.id.as_str(), &s.label, lever * s.effect.to_radians()))
            .collect();
        let aside = o.distance.as_m() * off.to_radians().sin().abs();
        section.answers.push(
            answer(&id, &label, Unit::M, c.clearance.as_m(), shares).because(format!(
                "wanted {:.2} m (first Fresnel zone {:.2} m at {:.3} GHz, dish radius {:.2} m): {}; taken to reach \
                 into the path, {aside:.1} m beside which it was noted",
                c.wanted.as_m(),
                c.fresnel_radius.as_m(),
                lowest / 1e9,
                radius.as_m(),
                if c.is_clear() { "clear" } else { "in the way" }
            )),
        );
    }
    Ok(section)
}
