//! The transmit side: solved, kept, and its errors as inputs.

use super::follow::around_zero;
use super::{best, coil_of, damaged, dimensions, key, of_horn, rounded, sense};
use crate::LinkError;
use crate::inputs::{Inputs, Slot};
use crate::shape::reflector;
use num_complex::Complex64;
use slantpath_antenna::pattern::{Field, GridPattern, Pattern};
use slantpath_antenna::polarisation::Polarisation as State;
use slantpath_quantity::{Contributor, ContributorId, Distribution, Frequency, Length, Validity};
use slantpath_station::checked::{FeedPattern, Matching, Station};
use slantpath_wire::Density;
use slantpath_wire::feed::uplink::{Ground, HelixFeed, IMPEDANCE_U, Tube, Uplink, UplinkFeed};
use std::f64::consts::PI;

/// Model of the transmit gain: the disc as a grid (0.1 dB), the horn's inside, plastic and the matching strip left out. Own
/// judgement.
pub(super) const GAIN_MODEL_DB: f64 = 0.25;
/// The same of the axial ratio.
pub(super) const AXIAL_RATIO_MODEL_DB: f64 = 0.5;
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
    let c = coil_of(station)?;
    let f = rounded(f);
    let (dish, _) = reflector(&station.reflector.shape, &best)?;
    let cone = dish.half_angle();
    let coil = c.coil(sense(station), get);
    let horn = c.receive_feed(get);
    let mut all = vec![
        f.as_hz(),
        cone.as_rad(),
        c.disc.as_m(),
        f64::from(u8::from(finer)),
    ];
    all.extend(dimensions(&coil));
    all.extend(horn.iter().flat_map(of_horn));
    let feed = UplinkFeed::Helix(HelixFeed {
        coil,
        ground: Ground::Disc(c.disc),
        tube: horn.as_ref().map(|h| Tube {
            radius: h.outer_radius,
            front: h.front,
            behind: TUBE_BEHIND,
        }),
    });
    let density = if finer {
        Density::default().finer(slantpath_wire::REFINEMENT)
    } else {
        Density::default()
    };
    let kept = c.memo.figures(&key("uplink", &all), || {
        flat(&feed.solve(f, cone, density)?)
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
        validity: coil.validity(f)?,
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
    let mut error = |key: &str, label: &str, u: f64, source: &str| {
        inputs.own(
            format!("feed.{name}.coil.gain_{key}"),
            format!("feed {name}: {label}"),
            around_zero(u),
            "dB",
            source,
        )
    };
    Ok(vec![
        error(
            "model",
            "model of the computed coil",
            GAIN_MODEL_DB,
            "judgement: disc as a grid; horn's inside, plastic and matching strip left out",
        ),
        error(
            "division",
            "division of the wire in the computed coil",
            fine.gain_dbi - coarse.gain_dbi,
            "wire solver at two densities",
        ),
        error(
            "surrogate",
            "parabolas in the coil's dimensions, transmit",
            surrogate_db,
            "all dimensions changed together against one at a time",
        ),
    ])
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
        .filter(|t| t.axial_ratio_from_coil)
    else {
        return Ok(None);
    };
    let c = coil_of(station)?;
    let (base, fine) = (
        uplink(station, f, &best, false)?,
        uplink(station, f, &best, true)?,
    );
    let mut u2 = AXIAL_RATIO_MODEL_DB.powi(2) + (fine.axial_ratio_db - base.axial_ratio_db).powi(2);
    if t.pattern == FeedPattern::FromCoil {
        // solved for the gain already
        for d in c.contributors().iter().filter(|d| d.distribution.u() > 0.0) {
            let h = d.distribution.u();
            let at = |sign: f64| {
                uplink(
                    station,
                    f,
                    &|k: &Contributor| best(k) + if k.id == d.id { sign * h } else { 0.0 },
                    false,
                )
                .map(|u| u.axial_ratio_db)
            };
            if let (Ok(up), Ok(down)) = (at(1.0), at(-1.0)) {
                u2 += (0.5 * (up - down)).powi(2);
            }
        }
    }
    Ok(Some(Contributor {
        id: ContributorId::new(t.axial_ratio.id.as_str()),
        label: t.axial_ratio.label.clone(),
        distribution: Distribution::Normal {
            mean: fine.axial_ratio_db,
            u: u2.sqrt(),
        },
        unit: "dB",
        source: "computed from the coil's dimensions".into(),
    }))
}

/// The return loss of the coil connected to its line as it is, with the uncertainty of its impedance; `None` when it is written
/// or measured.
pub(crate) fn return_loss(
    station: &Station,
    f: Frequency,
) -> Result<Option<Contributor>, LinkError> {
    let Some(t) = station
        .feed
        .transmit
        .as_ref()
        .filter(|t| t.matching == Matching::FromCoil)
    else {
        return Ok(None);
    };
    let (coarse, fine) = (
        uplink(station, f, &best, false)?,
        uplink(station, f, &best, true)?,
    );
    let z = fine.impedance;
    let u = (IMPEDANCE_U * z.norm()).hypot((z - coarse.impedance).norm());
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
            "computed from the coil's dimensions against {} ohm, without a matching strip",
            t.line_ohm
        ),
    }))
}
