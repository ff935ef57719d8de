//! The feed's coil by its dimensions: transmit pattern and receive shadow as the wire room computes them, remembered by
//! what they follow from.
//!
//! Frequencies are rounded to a hundredth of their decade (2.4005 GHz is solved at 2.40, 10.4725 at 10.5) and the elevation
//! that sorts the spilled power to whole degrees, so that passbands and moments share what takes long: 0.5 % in frequency is
//! within the stated uncertainty many times over.

use crate::LinkError;
use crate::inputs::{Inputs, Slot};
use crate::shape::{arm, reflector};
use num_complex::Complex64;
use slantpath_antenna::budget::Aim;
use slantpath_antenna::dish::Stand;
use slantpath_antenna::pattern::{Field, GridPattern, Pattern};
use slantpath_antenna::polarisation::{Polarisation as State, Sense};
use slantpath_quantity::{
    Angle, Contributor, ContributorId, Distribution, Frequency, Length, Validity,
};
use slantpath_station::checked::{CoilFeed, FeedPattern, Polarisation, Station};
use slantpath_wire::Density;
use slantpath_wire::feed::shadow::{Bench, Dish, Surroundings, shadow_density};
use slantpath_wire::feed::uplink::{Ground, HelixFeed, IMPEDANCE_U, Tube, Uplink, UplinkFeed};
use slantpath_wire::feed::{Coil, Horn, after_the_dish, winding};
use std::f64::consts::PI;

/// Model of the transmit gain: the disc as a grid (0.1 dB), the horn's inside, plastic and the matching strip left out. Own
/// judgement.
const GAIN_MODEL_DB: f64 = 0.25;
/// The same of the axial ratio.
const AXIAL_RATIO_MODEL_DB: f64 = 0.5;
/// Model of the shadow: horn body, disc, cap, joints left out; tight coils of thick wire are less certain. Own judgement after
/// comparing surface and wire models.
const SHADOW_MODEL_DB: f64 = 0.4;
const SHADOW_MODEL_TIGHT_DB: f64 = 0.6;
/// Of the share of the lost rays that ends on the ground. Own judgement.
const GROUND_SHARE_U: f64 = 0.1;
/// How far the receive feed's metal is followed behind the disc.
const TUBE_BEHIND: Length = Length::mm(20.0);

/// Directions kept of a transmit pattern.
const NT: usize = 46;
const NP: usize = 20;

fn best(c: &Contributor) -> f64 {
    c.distribution.mean()
}

/// To a hundredth of the decade.
fn rounded(f: Frequency) -> Frequency {
    let hz = f.as_hz();
    let step = 10_f64.powi(hz.log10().floor() as i32 - 2);
    Frequency::hz((hz / step).round() * step)
}

/// A key from everything that a figure follows from, bit for bit. The leading number is raised whenever the computing
/// changes.
fn key(what: &str, values: &[f64]) -> String {
    let mut k = format!("1 {} {what}", env!("CARGO_PKG_VERSION"));
    for v in values {
        k.push_str(&format!(" {:016x}", v.to_bits()));
    }
    k
}

fn dimensions(c: &Coil) -> [f64; 8] {
    [
        c.turns,
        c.diameter.as_m(),
        c.end_diameter.as_m(),
        c.pitch.as_m(),
        c.wire.as_m(),
        c.stub.as_m(),
        c.start.as_rad(),
        if c.sense == Sense::Right { 1.0 } else { -1.0 },
    ]
}

fn of_horn(h: &Horn) -> [f64; 4] {
    let kind = match h.aperture {
        slantpath_wire::feed::Aperture::Te11 => 11.0,
        slantpath_wire::feed::Aperture::He11 => 12.0,
        slantpath_wire::feed::Aperture::Measured(_) => f64::NAN,
    };
    [kind, h.radius.as_m(), h.outer_radius.as_m(), h.front.as_m()]
}

/// Sense at the feed; the coil of a feed that only receives is taken as right-handed, which its shadow hardly feels.
fn sense(station: &Station) -> Sense {
    match station.feed.transmit.as_ref().map(|t| t.sense_at_feed) {
        Some(Polarisation::Lhcp) => Sense::Left,
        _ => Sense::Right,
    }
}

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

fn damaged() -> LinkError {
    LinkError::Missing {
        what: "the computed feed".into(),
        remedy: "what was kept of an earlier run is damaged: empty the folder in which computed feeds are kept".into(),
    }
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

fn coil_of(station: &Station) -> Result<&CoilFeed, LinkError> {
    station
        .feed
        .coil
        .as_ref()
        .ok_or_else(|| LinkError::Missing {
            what: format!("the coil of feed `{}`", station.feed.name),
            remedy: format!("give [feed.{}.coil] in the station file", station.feed.name),
        })
}

/// What is kept of a solved shadow: means of both linear polarisations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ShadowFigures {
    /// Loss in best focus, dB; negative where the coil helps.
    pub loss_db: f64,
    pub unfocused_db: f64,
    pub on_axis_db: f64,
    pub cross_polar_db: f64,
    /// How far the feed is to be moved towards the dish, m.
    pub refocus_m: f64,
    /// Position of the disc's middle before the focus at which the receive feed, coil and all, is in best focus, m.
    pub disc_at_m: f64,
    /// Share of the lost rays that ends on the ground.
    pub to_ground: f64,
    /// Half the difference between the two polarisations, dB.
    pub spread_db: f64,
}

/// The shadow at a frequency and elevation for the values that `get` gives.
pub(crate) fn shadow(
    station: &Station,
    f: Frequency,
    elevation: Angle,
    get: &dyn Fn(&Contributor) -> f64,
    finer: bool,
) -> Result<ShadowFigures, LinkError> {
    let c = coil_of(station)?;
    let f = rounded(f);
    let elevation = Angle::deg(elevation.as_deg().round().clamp(0.0, 90.0));
    let (dish, _) = reflector(&station.reflector.shape, &best)?;
    let side = arm(station.reflector.feed_arm);
    let coil = c.coil(sense(station), get);
    let horn = c.receive_feed(get).ok_or_else(|| LinkError::Missing {
        what: "the receive feed inside the coil".into(),
        remedy: format!("give [feed.{}.horn] in the station file", station.feed.name),
    })?;
    let mut all = vec![
        f.as_hz(),
        elevation.as_rad(),
        dish.focal_length().as_m(),
        dish.diameter().as_m(),
        dish.centre_offset().as_m(),
        side.roll().as_rad(),
        f64::from(u8::from(finer)),
    ];
    all.extend(dimensions(&coil));
    all.extend(of_horn(&horn));
    let kept = c.memo.figures(&key("shadow", &all), || {
        let stand = Stand {
            elevation,
            arm: side,
        };
        let bench = Bench::new(&horn, &Dish::new(&dish, Aim::Bisector, stand), f)?;
        let mut density = shadow_density();
        if finer {
            density = density.finer(slantpath_wire::REFINEMENT);
        }
        let s = bench.shadow(&coil, density, Surroundings::Free)?;
        let [x, y] = &s.each;
        let g = 0.5 * (x.spill_ground[0] + y.spill_ground[0]);
        Ok::<_, LinkError>(vec![
            s.loss().0,
            s.unfocused().0,
            s.on_axis().0,
            s.cross_polar().0,
            s.refocus().as_m(),
            bench.best_axial().as_m() + s.refocus().as_m(),
            s.lost_to_ground().unwrap_or(g),
            0.5 * (x.loss.0 - y.loss.0).abs(),
        ])
    })?;
    match kept[..] {
        [
            loss_db,
            unfocused_db,
            on_axis_db,
            cross_polar_db,
            refocus_m,
            disc_at_m,
            to_ground,
            spread_db,
        ] => Ok(ShadowFigures {
            loss_db,
            unfocused_db,
            on_axis_db,
            cross_polar_db,
            refocus_m,
            disc_at_m,
            to_ground,
            spread_db,
        }),
        _ => Err(damaged()),
    }
}

/// Change of a figure with one dimension: a parabola through three points.
#[derive(Debug, Clone, Copy)]
struct Follows {
    slot: Slot,
    best: f64,
    /// Per unit, and per unit squared.
    slope: f64,
    curve: f64,
}

/// The shadow as a function of the model's inputs.
#[derive(Debug, Clone)]
pub(crate) struct ShadowModel {
    base_db: f64,
    follows: Vec<Follows>,
    /// Model, division and surrogate: errors around 0, dB.
    errors: Vec<Slot>,
    pub ground: Slot,
    pub validity: Validity,
}

impl ShadowModel {
    /// Solves the shadow at the best estimates, at a finer division, up and down for every uncertain dimension, and with all
    /// of them up together: the difference there from the sum of the parabolas is the surrogate's error.
    pub fn new(
        inputs: &mut Inputs,
        station: &Station,
        f: Frequency,
        elevation: Angle,
    ) -> Result<Self, LinkError> {
        let c = coil_of(station)?;
        let name = &station.feed.name;
        let at = |get: &dyn Fn(&Contributor) -> f64| shadow(station, f, elevation, get, false);
        let base = at(&best)?;
        let fine = shadow(station, f, elevation, &best, true)?;
        let (follows, beyond) = follow(inputs, c, |get| Ok(at(get)?.loss_db), base.loss_db)?;
        let coil = c.coil(sense(station), &best);
        let lambda = rounded(f).wavelength();
        // the study's tight coils: circumference at 2.4 GHz below 0.95 wavelength is a radius of 0.65 at 10.45
        let tight = coil.diameter < lambda * 1.3 && coil.wire > lambda * 0.07;
        let stated = if tight {
            SHADOW_MODEL_TIGHT_DB
        } else {
            SHADOW_MODEL_DB
        };
        let mut error = |key: &str, label: &str, u: f64, source: &str| {
            inputs.own(
                format!("feed.{name}.coil.shadow_{key}"),
                format!("feed {name}: {label}"),
                around_zero(u),
                "dB",
                source,
            )
        };
        let errors = vec![
            error(
                "model",
                "model of the computed shadow",
                stated.hypot(base.spread_db),
                "judgement: horn body, disc and plastic are left out; half the difference of both polarisations",
            ),
            error(
                "division",
                "division of the wire in the computed shadow",
                fine.loss_db - base.loss_db,
                "wire solver at two densities",
            ),
            error(
                "surrogate",
                "parabolas in the coil's dimensions",
                beyond,
                "all dimensions changed together against one at a time",
            ),
        ];
        let share = base.to_ground.clamp(0.0, 1.0);
        let ground = inputs.own(
            format!("feed.{name}.receive.shadow_sees.ground"),
            format!("feed {name} receive shadow sees: ground"),
            Distribution::Normal {
                mean: share,
                u: GROUND_SHARE_U,
            },
            "1",
            "computed: change of the spilled power that sees the ground",
        );
        let mut validity = coil.validity(rounded(f))?;
        if base.loss_db < 0.0 {
            validity = validity.and(Validity::outside(format!(
                "receive shadow: the coil is computed to help by {:.2} dB, which is counted as no loss",
                -base.loss_db
            )));
        }
        Ok(Self {
            base_db: base.loss_db,
            follows,
            errors,
            ground,
            validity,
        })
    }

    /// Loss, dB, never below 0.
    pub fn loss_db(&self, x: &[f64]) -> f64 {
        let error: f64 = self.errors.iter().map(|s| s.of(x)).sum();
        (self.base_db + moved(&self.follows, x) + error).max(0.0)
    }
}

fn moved(follows: &[Follows], x: &[f64]) -> f64 {
    follows
        .iter()
        .map(|p| {
            let d = p.slot.of(x) - p.best;
            d * (p.slope + p.curve * d)
        })
        .sum()
}

fn around_zero(u: f64) -> Distribution {
    if u.abs() > 1e-6 {
        Distribution::Normal {
            mean: 0.0,
            u: u.abs(),
        }
    } else {
        Distribution::Exact(0.0)
    }
}

/// Parabolas of a figure in the coil's uncertain dimensions; and by how much it differs from their sum when all change by one
/// standard uncertainty together.
fn follow(
    inputs: &mut Inputs,
    c: &CoilFeed,
    figure: impl Fn(&dyn Fn(&Contributor) -> f64) -> Result<f64, LinkError> + Sync,
    base: f64,
) -> Result<(Vec<Follows>, f64), LinkError> {
    use rayon::prelude::*;
    let uncertain: Vec<&Contributor> = c
        .contributors()
        .into_iter()
        .filter(|c| c.distribution.u() > 0.0)
        .collect();
    let sides: Vec<[Option<f64>; 2]> = uncertain
        .par_iter()
        .map(|c| {
            let h = c.distribution.u();
            [1.0, -1.0].map(|sign| {
                figure(&|k: &Contributor| best(k) + if k.id == c.id { sign * h } else { 0.0 }).ok()
            })
        })
        .collect();
    let mut together = 0.0;
    let mut out = Vec::with_capacity(uncertain.len());
    for (c, [up, down]) in uncertain.iter().zip(sides) {
        let h = c.distribution.u();
        // a dimension that cannot be built one way (thinner than nothing, thicker than the model) is followed the other
        let (up, down) = match (up, down) {
            (Some(u), Some(d)) => (u - base, d - base),
            (Some(u), None) => (u - base, base - u),
            (None, Some(d)) => (base - d, d - base),
            (None, None) => figure(&|k: &Contributor| best(k) + if k.id == c.id { h } else { 0.0 })
                .map(|u| (u - base, base - u))?,
        };
        together += up;
        out.push(Follows {
            slot: inputs.slot(c),
            best: best(c),
            slope: 0.5 * (up - down) / h,
            curve: 0.5 * (up + down) / (h * h),
        });
    }
    if out.len() < 2 {
        return Ok((out, 0.0));
    }
    let corner = figure(&|k: &Contributor| {
        let moves = uncertain.iter().any(|c| c.id == k.id);
        best(k) + if moves { k.distribution.u() } else { 0.0 }
    });
    Ok((out, corner.map_or(0.0, |v| v - base - together)))
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

/// What was computed of a feed described by its dimensions, for a person to read. Standard uncertainties of the model alone;
/// those of the dimensions are among the contributors of every answer.
#[derive(Debug, Clone, PartialEq)]
pub struct ComputedFeed {
    /// Transmit side, when its pattern is computed.
    pub transmit: Option<ComputedTransmit>,
    /// Receive side, when its shadow is computed.
    pub receive: Option<ComputedShadow>,
}

/// The computed transmit feed.
#[derive(Debug, Clone, PartialEq)]
pub struct ComputedTransmit {
    /// Frequency at which it was solved.
    pub frequency: Frequency,
    /// Gain of the bare feed on its axis, dBi, with the standard uncertainty of the model.
    pub gain_dbi: (f64, f64),
    /// Axial ratio on the axis, dB, with the same.
    pub axial_ratio_db: (f64, f64),
    /// Greatest axial ratio over the dish's cone, dB.
    pub cone_axial_ratio_db: f64,
    /// Phase centre before the disc, m.
    pub phase_centre_m: f64,
    /// Front to back, dB.
    pub front_to_back_db: f64,
    /// Impedance at the foot of the coil, ohm: real, imaginary, standard uncertainty of its size.
    pub impedance_ohm: (f64, f64, f64),
    /// How to bend the wire.
    pub winding: &'static str,
    /// What the dish makes of the sense.
    pub after_the_dish: &'static str,
}

/// The computed receive shadow.
#[derive(Debug, Clone, PartialEq)]
pub struct ComputedShadow {
    /// Frequency at which it was solved.
    pub frequency: Frequency,
    /// Loss of the dish's signal in best focus, dB, with the standard uncertainty of the model.
    pub loss_db: (f64, f64),
    /// The same when the feed is left in the focus it has without the coil, dB.
    pub unfocused_db: f64,
    /// Loss on the feed's own axis, dB: not what the dish loses.
    pub on_axis_db: f64,
    /// Move towards the dish that restores the focus, m.
    pub refocus_m: f64,
    /// Cross-polar on the beam's axis, dB relative to co-polar; below -30 the model cannot tell.
    pub cross_polar_db: f64,
    /// Share of the lost rays that ends on the ground.
    pub to_ground: f64,
}

/// What was computed, at the best estimates; `None` when nothing of the feed is.
///
/// # Errors
/// As [`crate::Model::new`].
pub fn computed_feed(
    station: &Station,
    elevation: Angle,
) -> Result<Option<ComputedFeed>, LinkError> {
    let passband = station.satellite.passbands.first();
    let (Some(_), Some(p)) = (&station.feed.coil, passband) else {
        return Ok(None);
    };
    let mut out = ComputedFeed {
        transmit: None,
        receive: None,
    };
    if let Some(t) = &station.feed.transmit
        && t.pattern == FeedPattern::FromCoil
    {
        let f = p.uplink.centre();
        let (coarse, u) = (
            uplink(station, f, &best, false)?,
            uplink(station, f, &best, true)?,
        );
        out.transmit = Some(ComputedTransmit {
            frequency: rounded(f),
            gain_dbi: (
                u.gain_dbi,
                GAIN_MODEL_DB.hypot(u.gain_dbi - coarse.gain_dbi),
            ),
            axial_ratio_db: (
                u.axial_ratio_db,
                AXIAL_RATIO_MODEL_DB.hypot(u.axial_ratio_db - coarse.axial_ratio_db),
            ),
            cone_axial_ratio_db: u.cone_axial_ratio_db,
            phase_centre_m: u.phase_centre.as_m(),
            front_to_back_db: u.front_to_back_db,
            impedance_ohm: (
                u.impedance.re,
                u.impedance.im,
                (IMPEDANCE_U * u.impedance.norm()).hypot((u.impedance - coarse.impedance).norm()),
            ),
            winding: winding(sense(station)),
            after_the_dish: after_the_dish(sense(station)),
        });
    }
    if station.feed.receive.shadow.from_coil {
        let f = p.downlink.centre();
        let s = shadow(station, f, elevation, &best, false)?;
        let fine = shadow(station, f, elevation, &best, true)?;
        out.receive = Some(ComputedShadow {
            frequency: rounded(f),
            loss_db: (
                s.loss_db,
                SHADOW_MODEL_DB
                    .hypot(s.spread_db)
                    .hypot(fine.loss_db - s.loss_db),
            ),
            unfocused_db: s.unfocused_db,
            on_axis_db: s.on_axis_db,
            refocus_m: s.refocus_m,
            cross_polar_db: s.cross_polar_db,
            to_ground: s.to_ground,
        });
    }
    Ok((out.transmit.is_some() || out.receive.is_some()).then_some(out))
}
