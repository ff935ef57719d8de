//! The transmit side: solved, kept, and its errors as inputs.

use super::follow::around_zero;
use super::{best, damaged, key, of_coil, of_horn, of_patch, radiator_of, rounded, sense};
use crate::LinkError;
use crate::inputs::{Inputs, Slot};
use crate::shape::reflector;
use num_complex::Complex64;
use slantpath_antenna::pattern::{Field, GridPattern, Pattern};
use slantpath_antenna::polarisation::Polarisation as State;
use slantpath_quantity::{Contributor, ContributorId, Distribution, Frequency, Length, Validity};
use slantpath_station::checked::{Matching, Radiator, Station};
use slantpath_wire::Density;
use slantpath_wire::feed::patch;
use slantpath_wire::feed::uplink::{Ground, HelixFeed, IMPEDANCE_U, Tube, Uplink, UplinkFeed};
use std::f64::consts::PI;

/// Standard uncertainties of what a model leaves out, dB.
#[derive(Debug, Clone, Copy)]
pub(super) struct ModelU {
    pub gain: f64,
    pub axial_ratio: f64,
    /// What they come from.
    source: &'static str,
}

pub(super) fn model_u(r: &Radiator) -> ModelU {
    match r {
        // the disc as a grid is 0.1 dB of it
        Radiator::Coil(_) => ModelU {
            gain: 0.25,
            axial_ratio: 0.5,
            source: "judgement: disc as a grid; horn's inside, plastic and matching strip left out",
        },
        Radiator::Patch(_) => ModelU {
            gain: patch::GAIN_MODEL_DB,
            axial_ratio: patch::AXIAL_RATIO_MODEL_DB,
            source: "judgement: spread between wires and the cavity model; no measured plate stands behind it",
        },
    }
}

/// How far the receive feed's metal is followed behind the disc.
const TUBE_BEHIND: Length = Length::mm(20.0);
/// Directions kept of a transmit pattern.
const NT: usize = 46;
const NP: usize = 20;

/// What is kept of a solved transmit feed.
#[derive(Debug, Clone)]
pub(crate) struct UplinkFigures {
    /// Pattern with phases from the middle of the disc.
    pub pattern: Pattern,
    pub gain_dbi: f64,
    pub axial_ratio_db: f64,
    pub phase_centre: Length,
    pub front_to_back_db: f64,
    pub cone_axial_ratio_db: f64,
    pub impedance: Complex64,
    pub validity: Validity,
}

/// The transmit feed at a frequency for the values that `get` gives; `finer` solves at 1.5 times the density.
pub(crate) fn uplink(
    station: &Station,
    f: Frequency,
    get: &dyn Fn(&Contributor) -> f64,
    finer: bool,
) -> Result<UplinkFigures, LinkError> {
    let f = rounded(f);
    let (dish, _) = reflector(&station.reflector.shape, &best)?;
    let cone = dish.half_angle();
    let asked = asked(station, f, get)?;
    let mut all = vec![
        f.as_hz(),
        cone.as_rad(),
        radiator_of(station)?.disc().as_m(),
        f64::from(u8::from(finer)),
    ];
    all.extend(&asked.follows_from);
    let density = if finer {
        Density::default().finer(slantpath_wire::REFINEMENT)
    } else {
        Density::default()
    };
    let kept = station.feed.memo.figures(&key(asked.what, &all), || {
        flat(&asked.feed.solve_like(&asked.like, f, cone, density)?)
    })?;
    let circular = State::circular(sense(station));
    let [
        gain_dbi,
        axial_ratio_db,
        phase_centre,
        front_to_back_db,
        cone_axial_ratio_db,
        re,
        im,
        rest @ ..,
    ] = &kept[..]
    else {
        return Err(damaged());
    };
    let fields: Vec<Field> = rest
        .chunks_exact(4)
        .map(|v| Field {
            theta: Complex64::new(v[0], v[1]),
            phi: Complex64::new(v[2], v[3]),
        })
        .collect();
    Ok(UplinkFigures {
        pattern: Pattern::grid(GridPattern::new(NT, NP, &fields)?, circular),
        gain_dbi: *gain_dbi,
        axial_ratio_db: *axial_ratio_db,
        phase_centre: Length::m(*phase_centre),
        front_to_back_db: *front_to_back_db,
        cone_axial_ratio_db: *cone_axial_ratio_db,
        impedance: Complex64::new(*re, *im),
        validity: asked.validity,
    })
}

/// What is to be solved.
struct Asked {
    feed: UplinkFeed,
    /// Whose division of wires it has: that of the best estimates.
    like: UplinkFeed,
    /// Kind of it, for the memory.
    what: &'static str,
    follows_from: Vec<f64>,
    validity: Validity,
}

fn asked(
    station: &Station,
    f: Frequency,
    get: &dyn Fn(&Contributor) -> f64,
) -> Result<Asked, LinkError> {
    let sense = sense(station);
    Ok(match radiator_of(station)? {
        Radiator::Coil(c) => {
            let coil = c.coil(sense, get);
            let horn = c.receive_feed(get);
            let mut follows_from = of_coil(&coil).to_vec();
            follows_from.extend(horn.iter().flat_map(of_horn));
            let feed = UplinkFeed::Helix(HelixFeed {
                coil,
                ground: Ground::Disc(c.disc),
                tube: horn.as_ref().map(|h| Tube {
                    radius: h.outer_radius,
                    front: h.front,
                    behind: TUBE_BEHIND,
                }),
            });
            Asked {
                like: feed,
                feed,
                what: "uplink",
                follows_from,
                validity: coil.validity(f)?,
            }
        }
        Radiator::Patch(p) => {
            let (patch, like) = (p.patch(sense, get), p.patch(sense, &best));
            let mut follows_from = of_patch(&patch).to_vec();
            follows_from.extend(of_patch(&like));
            Asked {
                feed: UplinkFeed::Patch(patch),
                like: UplinkFeed::Patch(like),
                what: "patch",
                follows_from,
                validity: patch.validity_at(f)?,
            }
        }
    })
}

fn flat(u: &Uplink) -> Result<Vec<f64>, LinkError> {
    let z = u.impedance.first().copied().unwrap_or_default();
    let mut out = vec![
        u.gain.0,
        u.axial_ratio.0,
        u.phase_centre.z.as_m(),
        u.front_to_back.0,
        u.cone.worst_axial_ratio.0,
        z.re,
        z.im,
    ];
    for i in 0..NT {
        for j in 0..NP {
            let e = u.pattern.field(
                PI * i as f64 / (NT - 1) as f64,
                2.0 * PI * j as f64 / NP as f64,
            );
            out.extend([e.theta.re, e.theta.im, e.phi.re, e.phi.im]);
        }
    }
    Ok(out)
}

/// Inputs of the transmit side that only a computed feed has: errors of its gain around 0, dB.
pub(crate) fn gain_errors(
    inputs: &mut Inputs,
    station: &Station,
    f: Frequency,
    surrogate_db: f64,
) -> Result<Vec<Slot>, LinkError> {
    let (coarse, fine) = (
        uplink(station, f, &best, false)?,
        uplink(station, f, &best, true)?,
    );
    let name = &station.feed.name;
    let radiator = radiator_of(station)?;
    let (what, model) = (radiator.name(), model_u(radiator));
    let mut error = |key: &str, label: &str, u: f64, source: &str| {
        inputs.own(
            format!("feed.{name}.{what}.gain_{key}"),
            format!("feed {name}: {label}"),
            around_zero(u),
            "dB",
            source,
        )
    };
    Ok(vec![
        error(
            "model",
            &format!("model of the computed {what}"),
            model.gain,
            model.source,
        ),
        error(
            "division",
            &format!("division of the wire in the computed {what}"),
            fine.gain_dbi - coarse.gain_dbi,
            "wire solver at two densities",
        ),
        error(
            "surrogate",
            &format!("parabolas in the {what}'s dimensions, transmit"),
            surrogate_db,
            "all dimensions changed together against one at a time",
        ),
    ])
}

/// Standard uncertainty of a figure by the uncertain dimensions: half its change between up and down for each, their root sum
/// of squares. A dimension that cannot be built one way is followed the other.
fn by_dimensions(
    station: &Station,
    f: Frequency,
    change: impl Fn(&UplinkFigures, &UplinkFigures) -> f64,
) -> Result<f64, LinkError> {
    let base = uplink(station, f, &best, false)?;
    let mut sum = 0.0;
    for d in radiator_of(station)?.contributors() {
        let h = d.distribution.u();
        if h <= 0.0 {
            continue;
        }
        let at = |sign: f64| {
            let moved = |k: &Contributor| best(k) + if k.id == d.id { sign * h } else { 0.0 };
            uplink(station, f, &moved, false)
        };
        let half = match (at(1.0), at(-1.0)) {
            (Ok(up), Ok(down)) => 0.5 * change(&up, &down),
            (Ok(up), Err(_)) => change(&up, &base),
            (Err(_), Ok(down)) => change(&base, &down),
            (Err(why), Err(_)) => return Err(why),
        };
        sum += half * half;
    }
    Ok(sum.sqrt())
}

/// The axial ratio on the axis as computed; `None` when it is written in the file.
pub(crate) fn axial_ratio(
    station: &Station,
    f: Frequency,
) -> Result<Option<Contributor>, LinkError> {
    let Some(t) = station
        .feed
        .transmit
        .as_ref()
        .filter(|t| t.axial_ratio_from_dimensions)
    else {
        return Ok(None);
    };
    let radiator = radiator_of(station)?;
    let (base, fine) = (
        uplink(station, f, &best, false)?,
        uplink(station, f, &best, true)?,
    );
    let u = model_u(radiator)
        .axial_ratio
        .hypot(fine.axial_ratio_db - base.axial_ratio_db)
        .hypot(by_dimensions(station, f, |up, down| {
            up.axial_ratio_db - down.axial_ratio_db
        })?);
    Ok(Some(Contributor {
        id: ContributorId::new(t.axial_ratio.id.as_str()),
        label: t.axial_ratio.label.clone(),
        distribution: Distribution::Normal {
            mean: fine.axial_ratio_db,
            u,
        },
        unit: "dB",
        source: format!("computed from the {}'s dimensions", radiator.name()),
    }))
}

/// The return loss of the coil, or of a patch's post, connected to its line as it is, with the uncertainty of its impedance;
/// `None` when it is written or measured.
pub(crate) fn return_loss(
    station: &Station,
    f: Frequency,
) -> Result<Option<Contributor>, LinkError> {
    let Some(t) = station
        .feed
        .transmit
        .as_ref()
        .filter(|t| t.matching == Matching::FromDimensions)
    else {
        return Ok(None);
    };
    let (coarse, fine) = (
        uplink(station, f, &best, false)?,
        uplink(station, f, &best, true)?,
    );
    let z = fine.impedance;
    let u = (IMPEDANCE_U * z.norm())
        .hypot((z - coarse.impedance).norm())
        .hypot(by_dimensions(station, f, |up, down| {
            (up.impedance - down.impedance).norm()
        })?);
    let (mean, u) = slantpath_wire::feed::uplink::return_loss(z, u, t.line_ohm);
    Ok(Some(Contributor {
        id: ContributorId::new(t.return_loss.id.as_str()),
        label: t.return_loss.label.clone(),
        distribution: Distribution::Normal {
            mean: mean.0,
            u: u.0,
        },
        unit: "dB",
        source: format!(
            "computed from the {}'s dimensions against {} ohm, without a matching strip",
            radiator_of(station)?.name(),
            t.line_ohm
        ),
    }))
}
