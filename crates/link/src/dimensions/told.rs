//! What was computed, for a person to read.

use super::shadow::{SHADOW_MODEL_DB, shadow};
use super::uplink::{model_u, uplink};
use super::{best, rounded, sense};
use crate::LinkError;
use slantpath_quantity::{Angle, Frequency, Validity};
use slantpath_station::checked::{FeedPattern, Radiator, Station};
use slantpath_wire::feed::patch::PatchMode;
use slantpath_wire::feed::uplink::IMPEDANCE_U;
use slantpath_wire::feed::{after_the_dish, phasing, winding};

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
    /// Impedance at the foot of the coil, or of a patch's post as driven, ohm: real, imaginary, standard uncertainty of its
    /// size.
    pub impedance_ohm: (f64, f64, f64),
    /// How to bend the wire of a coil, or to drive the posts of a patch, for the sense.
    pub making: &'static str,
    /// Where a patch resonates.
    pub resonance: Option<ComputedResonance>,
    /// What the dish makes of the sense.
    pub after_the_dish: &'static str,
}

/// The resonance of a patch by the cavity model, which takes its disc as infinite.
#[derive(Debug, Clone, PartialEq)]
pub struct ComputedResonance {
    /// Where.
    pub frequency: Frequency,
    /// Standard uncertainty.
    pub u: Frequency,
    /// Quality of the resonance.
    pub q: f64,
    /// Inside the cavity model's range, or why not.
    pub validity: Validity,
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
    let (Some(radiator), Some(p)) = (&station.feed.radiator, passband) else {
        return Ok(None);
    };
    let mut out = ComputedFeed {
        transmit: None,
        receive: None,
    };
    if let Some(t) = &station.feed.transmit
        && t.pattern == FeedPattern::FromDimensions
    {
        let f = p.uplink.centre();
        let (coarse, u) = (
            uplink(station, f, &best, false)?,
            uplink(station, f, &best, true)?,
        );
        let model = model_u(radiator);
        let sense = sense(station);
        out.transmit = Some(ComputedTransmit {
            frequency: rounded(f),
            gain_dbi: (u.gain_dbi, model.gain.hypot(u.gain_dbi - coarse.gain_dbi)),
            axial_ratio_db: (
                u.axial_ratio_db,
                model
                    .axial_ratio
                    .hypot(u.axial_ratio_db - coarse.axial_ratio_db),
            ),
            cone_axial_ratio_db: u.cone_axial_ratio_db,
            phase_centre_m: u.phase_centre.as_m(),
            front_to_back_db: u.front_to_back_db,
            impedance_ohm: (
                u.impedance.re,
                u.impedance.im,
                (IMPEDANCE_U * u.impedance.norm()).hypot((u.impedance - coarse.impedance).norm()),
            ),
            making: match radiator {
                Radiator::Coil(_) => winding(sense),
                Radiator::Patch(_) => phasing(sense),
            },
            resonance: match radiator {
                Radiator::Coil(_) => None,
                Radiator::Patch(r) => {
                    let c = r.patch(sense, &best).ring.cavity(PatchMode::Tm11)?;
                    Some(ComputedResonance {
                        frequency: c.frequency,
                        u: c.frequency_u,
                        q: c.q(),
                        validity: c.validity.clone(),
                    })
                }
            },
            after_the_dish: after_the_dish(sense),
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
