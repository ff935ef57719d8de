//! From the checked shape of dish and feed to a solved antenna.

use crate::LinkError;
use crate::dish::Side;
use slantpath_antenna::AntennaError;
use slantpath_antenna::budget::{Blockage, Placement, budget};
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
    if *pattern == FeedPattern::FromDimensions {
        out.extend(station.feed.radiator.iter().flat_map(|r| r.contributors()));
    }
    // A transmit feed on the receive feed's disc has that one's focus error.
    let shared = side == Side::Transmit
        && station
            .feed
            .transmit
            .as_ref()
            .is_some_and(|t| t.focus_from_receive);
    out.push(if shared {
        &station.feed.receive.phase_centre.focus_error
    } else {
        &centre.focus_error
    });
    out.push(&centre.lateral_error);
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

/// Pattern of the bare transmit feed at a frequency, at the best estimates; `None` when the feed only receives.
pub fn transmit_pattern(station: &Station, f: Frequency) -> Option<Result<Pattern, LinkError>> {
    let (feed, _) = feed_side(station, Side::Transmit)?;
    Some(pattern(station, feed, f, &|c: &Contributor| {
        c.distribution.mean()
    }))
}

fn pattern(
    station: &Station,
    p: &FeedPattern,
    f: Frequency,
    get: &dyn Fn(&Contributor) -> f64,
) -> Result<Pattern, LinkError> {
    match p {
        FeedPattern::FromDimensions => {
            Ok(crate::dimensions::uplink(station, f, get, false)?.pattern)
        }
        FeedPattern::FromHorn { error } => of_horn(station, f, get(error)),
        p => Ok(of_figures(p, get)?),
    }
}

/// The receive feed's pattern from its aperture; its error grows with the level down to -10 dB and stays from there on.
fn of_horn(station: &Station, f: Frequency, error_db: f64) -> Result<Pattern, LinkError> {
    let horn = receive_horn(station)?;
    let planes = horn.planes(f)?.map(|plane| {
        plane
            .into_iter()
            .map(|p| TablePoint {
                level: Decibel(p.level.0 + error_db * (-p.level.0 / 10.0).clamp(0.0, 1.0)),
                ..p
            })
            .collect::<Vec<_>>()
    });
    let [e, h] = &planes;
    Ok(Pattern::planes(e, h, Beyond::LastLevel, State::VERTICAL)?)
}

/// The receive feed as described, at the best estimates.
pub(crate) fn receive_horn(station: &Station) -> Result<slantpath_wire::feed::Horn, LinkError> {
    let best = |c: &Contributor| c.distribution.mean();
    let name = &station.feed.name;
    station
        .feed
        .horn
        .as_ref()
        .and_then(|h| h.horn(&best))
        .ok_or_else(|| LinkError::Missing {
            what: format!("the receive feed of feed `{name}`"),
            remedy: format!("give [feed.{name}.horn] in the station file"),
        })
}

/// A pattern from what is written of it.
fn of_figures(p: &FeedPattern, get: &dyn Fn(&Contributor) -> f64) -> Result<Pattern, AntennaError> {
    let vertical = State::VERTICAL;
    match p {
        FeedPattern::FromDimensions | FeedPattern::FromHorn { .. } => {
            Err(AntennaError::Table("a computed pattern is no table".into()))
        }
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

/// One side of the feed as it stands on its dish.
#[derive(Debug, Clone)]
pub struct Mounted {
    /// Frequency.
    pub frequency: Frequency,
    /// The reflector.
    pub reflector: Reflector,
    /// Pattern of the feed.
    pub pattern: Pattern,
    /// Where it stands.
    pub placement: Placement,
    /// What it and its struts shade.
    pub blockage: Blockage,
    /// How the dish stands.
    pub stand: Stand,
}

impl Mounted {
    /// The antenna.
    ///
    /// # Errors
    /// As [`DishAntenna::solve`].
    pub fn solve(&self) -> Result<DishAntenna, AntennaError> {
        DishAntenna::solve(
            &self.reflector,
            &MountedFeed {
                pattern: &self.pattern,
                placement: self.placement,
                blockage: &self.blockage,
            },
            self.frequency,
            &self.stand,
        )
    }
}

/// The receive feed at the best estimates, as it stands on the dish.
///
/// # Errors
/// As [`crate::Model::new`].
pub fn mounted_receive(
    station: &Station,
    f: Frequency,
    elevation: Angle,
) -> Result<Mounted, LinkError> {
    mount(station, Side::Receive, f, elevation, &|c: &Contributor| {
        c.distribution.mean()
    })
}

/// The same of the transmit feed; `None` when the feed only receives.
///
/// # Errors
/// As [`crate::Model::new`].
pub fn mounted_transmit(
    station: &Station,
    f: Frequency,
    elevation: Angle,
) -> Result<Option<Mounted>, LinkError> {
    station
        .feed
        .transmit
        .as_ref()
        .map(|_| {
            mount(station, Side::Transmit, f, elevation, &|c: &Contributor| {
                c.distribution.mean()
            })
        })
        .transpose()
}

/// The antenna of one side of the feed, solved for the values that `get` gives.
pub(crate) fn solve(
    station: &Station,
    side: Side,
    f: Frequency,
    elevation: Angle,
    get: &dyn Fn(&Contributor) -> f64,
) -> Result<DishAntenna, LinkError> {
    Ok(mount(station, side, f, elevation, get)?.solve()?)
}

fn mount(
    station: &Station,
    side: Side,
    f: Frequency,
    elevation: Angle,
    get: &dyn Fn(&Contributor) -> f64,
) -> Result<Mounted, LinkError> {
    let (feed_pattern, centre) =
        feed_side(station, side).ok_or_else(|| no_transmit_feed(&station.feed.name))?;
    let (dish, _) = reflector(&station.reflector.shape, get)?;
    let pattern = pattern(station, feed_pattern, f, get)?;
    // The station counts the focus error positive away from the dish, the antenna room towards it.
    let mut axial = Length::m(-get(&centre.focus_error));
    if *feed_pattern == FeedPattern::FromDimensions {
        axial = disc_axial(station, f, elevation, axial, get)?;
    }
    if matches!(feed_pattern, FeedPattern::FromHorn { .. }) {
        // its phases are from the disc: in focus but for the focus error
        let best = budget(
            &dish,
            &pattern,
            &Placement::default(),
            &Blockage::default(),
            Length::m(0.0),
            f,
        )?
        .best_axial;
        axial = best + axial;
    }
    let placement = Placement {
        axial,
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
    Ok(Mounted {
        frequency: f,
        reflector: dish,
        pattern,
        placement,
        blockage,
        stand: Stand {
            elevation,
            arm: arm(station.reflector.feed_arm),
        },
    })
}

/// Where the disc stands along the feed's axis, towards the dish from its focus. A computed pattern has its phases from there.
///
/// With a receive feed on the same disc the disc is where that one, seen through the coil or the patch's hole, is in focus, but
/// for its focus error; else, or with a written transmit focus error, where the uplink feed's own phase centre is in focus but
/// for that.
fn disc_axial(
    station: &Station,
    f: Frequency,
    elevation: Angle,
    axial: Length,
    get: &dyn Fn(&Contributor) -> f64,
) -> Result<Length, LinkError> {
    let follows = station
        .feed
        .transmit
        .as_ref()
        .is_some_and(|t| t.focus_from_receive);
    match station.satellite.passbands.first() {
        Some(p) if follows => {
            let at = crate::dimensions::disc_in_focus(station, p.downlink.centre(), elevation)?;
            let error = get(&station.feed.receive.phase_centre.focus_error);
            Ok(at - Length::m(error))
        }
        _ => Ok(axial - crate::dimensions::uplink(station, f, get, false)?.phase_centre),
    }
}

/// The station has no transmit side of its feed.
pub(crate) fn no_transmit_feed(name: &str) -> LinkError {
    LinkError::Missing {
        what: format!("the transmit side of feed `{name}`"),
        remedy: format!("give [feed.{name}.transmit] in the station file"),
    }
}
