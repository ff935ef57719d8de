//! How the feed's polarisation meets the wave's.

use crate::LinkError;
use crate::dish::Side;
use crate::inputs::{Inputs, Slot};
use slantpath_antenna::polarisation::{Polarisation as State, Sense, skew_isolation};
use slantpath_quantity::{Angle, Contributor, Decibel, Frequency, Validity, from_db, to_db};
use slantpath_station::checked::{FeedPattern, Polarisation, Station, TransmitFeed};

/// What is left of a linear wave by a feed set across it, dB below (common practice, no source).
const CROSSED_LOSS_DB: f64 = 30.0;

/// No feed and no satellite is purer than this, dB (common practice, no source): a loss ends here, so that a perfect
/// formula does not say minus infinity.
const MOST_LOSS_DB: f64 = 60.0;

/// How the feed's polarisation meets the wave's.
#[derive(Debug, Clone, Copy)]
pub(crate) enum PolarisationModel {
    /// Linear to linear, turned by a skew error; how pure the receive feed itself is, dB.
    Linear {
        skew_error: Slot,
        isolation: Option<Slot>,
    },
    /// Elliptical feed against the satellite's circular sense, after the reflector turned it round.
    Circular {
        axial_ratio: Slot,
        feed: Sense,
        satellite: Sense,
        /// A computed pattern's gain is that of its right sense alone: what the other takes is counted there.
        counted: bool,
    },
    /// Circular to linear or the other way: 3 dB.
    Mixed,
    /// Linear to the orthogonal linear.
    Crossed,
}

fn sense_of(p: Polarisation) -> Option<Sense> {
    match p {
        Polarisation::Rhcp => Some(Sense::Right),
        Polarisation::Lhcp => Some(Sense::Left),
        Polarisation::Horizontal | Polarisation::Vertical => None,
    }
}

pub(crate) fn polarisation(
    inputs: &mut Inputs,
    station: &Station,
    side: Side,
    wave: Polarisation,
    f: Frequency,
) -> Result<(PolarisationModel, Validity), LinkError> {
    let model = model(inputs, station, side, wave, f)?;
    let validity = match model {
        PolarisationModel::Crossed => Validity::outside(format!(
            "polarisation: the feed stands across the wave; what is left of it is taken as {CROSSED_LOSS_DB} dB down, and only a \
             measurement can tell"
        )),
        PolarisationModel::Circular {
            feed, satellite, ..
        } if feed != satellite => Validity::outside(format!(
            "polarisation: the feed's sense is opposite to the satellite's; the loss hangs on the axial ratio alone and ends \
                 at {MOST_LOSS_DB} dB in this model"
        )),
        _ => Validity::Inside,
    };
    Ok((model, validity))
}

fn model(
    inputs: &mut Inputs,
    station: &Station,
    side: Side,
    wave: Polarisation,
    f: Frequency,
) -> Result<PolarisationModel, LinkError> {
    Ok(match (side, &station.feed.transmit) {
        (Side::Transmit, Some(t)) => {
            let computed = crate::dimensions::axial_ratio(station, f)?;
            let axial_ratio = computed.as_ref().unwrap_or(&t.axial_ratio);
            transmit_polarisation(inputs, station, t, axial_ratio, wave)
        }
        _ if wave.is_circular() => PolarisationModel::Mixed,
        // On receive the LNB is told to take the passband's polarisation; whether it does is the DC graph's matter.
        _ => PolarisationModel::Linear {
            skew_error: inputs.slot(&station.feed.skew_error),
            isolation: Some(inputs.slot(&station.feed.receive.cross_polar_isolation)),
        },
    })
}

fn transmit_polarisation(
    inputs: &mut Inputs,
    station: &Station,
    t: &TransmitFeed,
    axial_ratio: &Contributor,
    wave: Polarisation,
) -> PolarisationModel {
    let sent = t.sense_after_dish();
    match (sense_of(sent), sense_of(wave)) {
        (Some(_), Some(satellite)) => PolarisationModel::Circular {
            axial_ratio: inputs.slot(axial_ratio),
            feed: if sent == wave {
                satellite
            } else {
                satellite.reversed()
            },
            satellite,
            counted: t.pattern == FeedPattern::FromDimensions && sent == wave,
        },
        (None, None) if sent == wave => PolarisationModel::Linear {
            skew_error: inputs.slot(&station.feed.skew_error),
            isolation: None,
        },
        (None, None) => PolarisationModel::Crossed,
        _ => PolarisationModel::Mixed,
    }
}

impl PolarisationModel {
    /// Mismatch loss, dB.
    pub fn loss_db(&self, x: &[f64]) -> f64 {
        match *self {
            Self::Linear { skew_error, .. } => {
                let turned = State::linear(Angle::rad(skew_error.of(x)));
                turned
                    .mismatch_loss(State::linear(Angle::rad(0.0)))
                    .0
                    .max(0.0)
            }
            Self::Circular { counted: true, .. } => 0.0,
            Self::Circular {
                axial_ratio,
                feed,
                satellite,
                counted: false,
            } => {
                match State::elliptical(Decibel(axial_ratio.of(x).max(0.0)), Angle::rad(0.0), feed)
                {
                    // The satellite's own axial ratio is not published; it is taken as circular.
                    Ok(state) => state
                        .mismatch_loss(State::circular(satellite))
                        .0
                        .clamp(0.0, MOST_LOSS_DB),
                    Err(_) => 0.0,
                }
            }
            Self::Mixed => to_db(2.0),
            Self::Crossed => CROSSED_LOSS_DB,
        }
    }

    /// How much stronger a linear wave stands on its own polarisation than on the other one of the same feed, dB; `None`
    /// where the receive feed is not a linear one.
    ///
    /// The feed turned by its skew error couples `tan(skew)` into the other polarisation and its own impurity
    /// `10^(-isolation/20)`; nobody knows the phase between the two, so their powers add. The wave is taken as purely
    /// linear: the satellite's own purity is not published, and rain turns some of it over (P.618-13, 4), both of which
    /// only lower the figure.
    pub fn cross_polar_db(&self, x: &[f64]) -> Option<f64> {
        let Self::Linear {
            skew_error,
            isolation: Some(isolation),
        } = *self
        else {
            return None;
        };
        let turned = from_db(-skew_isolation(Angle::rad(skew_error.of(x))).0);
        Some((-to_db(turned + from_db(-isolation.of(x)))).min(MOST_LOSS_DB))
    }
}
