//! The receive side: the coil's shadow, solved, kept, and as a function of the model's inputs.

use super::follow::{Follows, around_zero, follow, moved};
use super::{best, coil_of, damaged, key, of_coil, of_horn, rounded, sense};
use crate::LinkError;
use crate::inputs::{Inputs, Slot};
use crate::shape::{arm, reflector};
use slantpath_antenna::budget::Aim;
use slantpath_antenna::dish::Stand;
use slantpath_quantity::{Angle, Contributor, Distribution, Frequency, Length, Validity};
use slantpath_station::checked::Station;
use slantpath_wire::feed::shadow::{Bench, Dish, Surroundings, shadow_density};

/// Model of the shadow: horn body, disc, cap, joints left out; tight coils of thick wire are less certain. Own judgement after
/// comparing surface and wire models.
pub(super) const SHADOW_MODEL_DB: f64 = 0.4;
pub(super) const SHADOW_MODEL_TIGHT_DB: f64 = 0.6;
/// Of the share of the lost rays that ends on the ground. Own judgement.
const GROUND_SHARE_U: f64 = 0.1;
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
    all.extend(of_coil(&coil));
    all.extend(of_horn(&horn));
    let kept = station.feed.memo.figures(&key("shadow", &all), || {
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

/// Where the common disc stands when the receive feed is in focus, towards the dish from the focus: seen through the coil, or
/// through a patch's hole as if it were bare.
pub(crate) fn disc_in_focus(
    station: &Station,
    f: Frequency,
    elevation: Angle,
) -> Result<Length, LinkError> {
    if station.feed.coil().is_some() {
        let s = shadow(station, f, elevation, &best, false)?;
        return Ok(Length::m(s.disc_at_m));
    }
    let f = rounded(f);
    let (dish, _) = reflector(&station.reflector.shape, &best)?;
    let horn = crate::shape::receive_horn(station)?;
    let mut all = vec![
        f.as_hz(),
        dish.focal_length().as_m(),
        dish.diameter().as_m(),
        dish.centre_offset().as_m(),
    ];
    all.extend(of_horn(&horn));
    let kept = station.feed.memo.figures(&key("focus", &all), || {
        // where the power goes that misses the dish moves no focus
        let stand = Stand {
            elevation: Angle::deg(0.0),
            arm: arm(station.reflector.feed_arm),
        };
        let bench = Bench::new(&horn, &Dish::new(&dish, Aim::Bisector, stand), f)?;
        Ok::<_, LinkError>(vec![bench.best_axial().as_m()])
    })?;
    match kept[..] {
        [at] => Ok(Length::m(at)),
        _ => Err(damaged()),
    }
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
