//! From the checked shape of dish and feed to a solved antenna.

use crate::LinkError;
use crate::dish::Side;
use slantpath_antenna::AntennaError;
use slantpath_antenna::budget::{Blockage, Placement};
use slantpath_antenna::degradation::Strut;
use slantpath_antenna::dish::{DishAntenna, Feed as MountedFeed, Stand};
use slantpath_antenna::pattern::{Beyond, Pattern, TablePoint};
use slantpath_antenna::polarisation::Polarisation as State;
use slantpath_antenna::reflector::{Arm, Reflector, TapeOffset};
use slantpath_quantity::{Angle, Contributor, Decibel, Frequency, Length, Validity, from_db};
use slantpath_station::checked::{FeedArm, FeedPattern, PhaseCentre, ReflectorShape, Station};

/// Inputs that act through the reflector integrals.
pub(crate) fn shape_inputs(station: &Station, side: Side) -> Vec<&Contributor> {
    let mut out = station.reflector.shape.contributors();
    let Some((pattern, centre)) = feed_side(station, side) else {
        return out;
    };
    out.extend(pattern.contributors());
    out.extend([&centre.focus_error, &centre.lateral_error]);
    out.extend([
        &station.reflector.blockage.disc,
        &station.reflector.blockage.strut_width,
    ]);
    out
}

fn feed_side(station: &Station, side: Side) -> Option<(&FeedPattern, &PhaseCentre)> {
    match side {
        Side::Receive => Some((
            &station.feed.receive.pattern,
            &station.feed.receive.phase_centre,
        )),
        Side::Transmit => station
            .feed
            .transmit
            .as_ref()
            .map(|t| (&t.pattern, &t.phase_centre)),
    }
}

/// The reflector for the values that `get` gives, and whether what the tape read hangs together.
///
/// # Errors
/// Dimensions that no feed can light, or readings that are no cut paraboloid.
pub fn reflector(
    shape: &ReflectorShape,
    get: &dyn Fn(&Contributor) -> f64,
) -> Result<(Reflector, Validity), AntennaError> {
    let m = |c: &Contributor| Length::m(get(c));
    let reflector = match shape {
        ReflectorShape::PrimeFocus {
            diameter,
            focal_length,
        } => Reflector::prime_focus(m(diameter), m(focal_length)),
        ReflectorShape::PrimeFocusByTape { diameter, depth } => {
            Reflector::prime_focus_from_depth(m(diameter), m(depth))
        }
        ReflectorShape::Offset {
            diameter,
            focal_length,
            clearance,
        } => Reflector::offset(m(diameter), m(focal_length), m(clearance)),
        ReflectorShape::OffsetByTape {
            width,
            height,
            depth,
        } => {
            let read = TapeOffset {
                width: m(width),
                height: m(height),
                depth: m(depth),
                deepest_from_near_edge: None,
            }
            .read()?;
            return Ok((read.reflector, read.validity));
        }
    }?;
    Ok((reflector, Validity::Inside))
}

/// The side of the feed arm in the antenna room's terms.
pub fn arm(side: FeedArm) -> Arm {
    match side {
        FeedArm::Bottom => Arm::Bottom,
        FeedArm::Top => Arm::Top,
    }
}

/// Co-polar pattern of the bare transmit feed at the best estimates; `None` when the feed only receives.
pub fn transmit_pattern(station: &Station) -> Option<Result<Pattern, AntennaError>> {
    let (feed, _) = feed_side(station, Side::Transmit)?;
    Some(pattern(feed, &|c: &Contributor| c.distribution.mean()))
}

fn pattern(p: &FeedPattern, get: &dyn Fn(&Contributor) -> f64) -> Result<Pattern, AntennaError> {
    let vertical = State::VERTICAL;
    match p {
        FeedPattern::EdgeTaper { angle, taper } => {
            Pattern::edge_taper(Decibel(-get(taper)), Angle::rad(get(angle)), vertical)
        }
        FeedPattern::CosPower { exponent } => Pattern::cos_n(get(exponent), vertical),
        // G = 2 (n + 1)
        FeedPattern::BareGain { gain } => {
            Pattern::cos_n((0.5 * from_db(get(gain)) - 1.0).max(0.0), vertical)
        }
        FeedPattern::Table { rows, error } => {
            let e = get(error);
            let points: Vec<TablePoint> = rows
                .iter()
                .map(|r| {
                    // The table's error grows with the level down to -10 dB and stays from there on.
                    let level = r.level_db + e * (-r.level_db / 10.0).clamp(0.0, 1.0);
                    let mut p = TablePoint::level(r.angle, Decibel(level));
                    if let Some(phase) = r.phase {
                        p.phase = phase;
                    }
                    p
                })
                .collect();
            Pattern::rotational(&points, Beyond::LastLevel, vertical)
        }
    }
}

/// The antenna of one side of the feed, solved for the values that `get` gives.
pub(crate) fn solve(
    station: &Station,
    side: Side,
    f: Frequency,
    elevation: Angle,
    get: &dyn Fn(&Contributor) -> f64,
) -> Result<DishAntenna, LinkError> {
    let (feed_pattern, centre) =
        feed_side(station, side).ok_or_else(|| no_transmit_feed(&station.feed.name))?;
    let (dish, _) = reflector(&station.reflector.shape, get)?;
    let pattern = pattern(feed_pattern, get)?;
    let placement = Placement {
        // The station counts the focus error positive away from the dish, the antenna room towards it.
        axial: Length::m(-get(&centre.focus_error)),
        lateral: [Length::m(get(&centre.lateral_error)), Length::m(0.0)],
        ..Placement::default()
    };
    let b = &station.reflector.blockage;
    let strut = Strut {
        width: Length::m(get(&b.strut_width).max(0.0)),
        length: dish.diameter() * 0.5,
    };
    let blockage = Blockage {
        feed: Length::m(get(&b.disc).max(0.0)),
        struts: (0..b.struts)
            .map(|i| {
                (
                    strut,
                    Angle::deg(90.0 + 360.0 * f64::from(i) / f64::from(b.struts.max(1))),
                )
            })
            .collect(),
    };
    let stand = Stand {
        elevation,
        arm: arm(station.reflector.feed_arm),
    };
    Ok(DishAntenna::solve(
        &dish,
        &MountedFeed {
            pattern: &pattern,
            placement,
            blockage: &blockage,
        },
        f,
        &stand,
    )?)
}

/// The station has no transmit side of its feed.
pub(crate) fn no_transmit_feed(name: &str) -> LinkError {
    LinkError::Missing {
        what: format!("the transmit side of feed `{name}`"),
        remedy: format!("give [feed.{name}.transmit] in the station file"),
    }
}
