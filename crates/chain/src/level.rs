//! Levels along a chain: noise density, carriers, head-room, and what a drive could break.

use crate::amplifier::Curve;
use crate::error::{Result, finite, fraction, not_negative, positive};
use crate::noise::Linear;
use slantpath_quantity::constants::BOLTZMANN;
use slantpath_quantity::{ContributorId, Frequency, Power, Validity, from_db, to_db};
use std::fmt;

/// A part of the receive chain for its level plan.
#[derive(Debug, Clone, PartialEq)]
pub struct ReceiveStage {
    /// Identity of the part.
    pub id: ContributorId,
    /// What a person calls it.
    pub label: String,
    /// Gain and noise.
    pub linear: Linear,
    /// Output 1 dB point or a converter's full scale, dBm; `None` for what does not compress.
    pub limit_out_dbm: Option<f64>,
}

/// Levels behind a part of the receive chain.
#[derive(Debug, Clone, PartialEq)]
pub struct ReceivePoint {
    /// Identity of the part.
    pub id: ContributorId,
    /// What a person calls it.
    pub label: String,
    /// Noise density, dBm/Hz.
    pub noise_dbm_per_hz: f64,
    /// Carriers in the order given, dBm.
    pub carriers_dbm: Vec<f64>,
    /// Everything in the chain's bandwidth, dBm.
    pub total_dbm: f64,
    /// Limit less total, dB.
    pub headroom_db: Option<f64>,
}

/// Level plan of a receive chain: incoming noise `t_in_k` and carriers (dBm) at its input, noise over `bandwidth`.
///
/// # Errors
/// Negative temperature, bandwidth not above zero, carrier not finite.
pub fn receive_plan(
    stages: &[ReceiveStage],
    t_in_k: f64,
    carriers_dbm: &[f64],
    bandwidth: Frequency,
) -> Result<Vec<ReceivePoint>> {
    let part = "receive level plan";
    let mut t = not_negative(part, "t_in_k", t_in_k)?;
    let b_hz = positive(part, "bandwidth_hz", bandwidth.as_hz())?;
    for &c in carriers_dbm {
        finite(part, "carrier_dbm", c)?;
    }
    let mut gain_db = 0.0;
    let mut plan = Vec::with_capacity(stages.len());
    for s in stages {
        t = (t + s.linear.te_k) * s.linear.gain;
        gain_db += to_db(s.linear.gain);
        let noise_w = BOLTZMANN * t;
        let carriers: Vec<f64> = carriers_dbm.iter().map(|c| c + gain_db).collect();
        let total =
            Power::w(noise_w * b_hz + carriers.iter().map(|&c| Power::dbm(c).as_w()).sum::<f64>());
        plan.push(ReceivePoint {
            id: s.id.clone(),
            label: s.label.clone(),
            noise_dbm_per_hz: Power::w(noise_w).as_dbm(),
            carriers_dbm: carriers,
            total_dbm: total.as_dbm(),
            headroom_db: s.limit_out_dbm.map(|l| l - total.as_dbm()),
        });
    }
    Ok(plan)
}

/// A part of the transmit chain.
#[derive(Debug, Clone, PartialEq)]
pub struct TransmitStage {
    /// Identity of the part.
    pub id: ContributorId,
    /// What a person calls it.
    pub label: String,
    /// Output against input.
    pub curve: Curve,
    /// Largest input that it survives, dBm (peak).
    pub max_input_dbm: Option<f64>,
    /// Largest power that may come back into its output, dBm.
    pub max_reflected_dbm: Option<f64>,
}

/// Levels behind a part of the transmit chain.
#[derive(Debug, Clone, PartialEq)]
pub struct TransmitPoint {
    /// Identity of the part.
    pub id: ContributorId,
    /// What a person calls it.
    pub label: String,
    /// Input level, dBm, of a steady carrier with the signal's mean power.
    pub in_dbm: f64,
    /// Output level of it, dBm.
    pub out_dbm: f64,
    /// Output at the signal's peak, dBm.
    pub peak_out_dbm: f64,
    /// Compression at the mean, dB.
    pub compression_db: f64,
    /// Compression at the peak, dB.
    pub peak_compression_db: f64,
    /// Survivable input less peak input, dB.
    pub input_margin_db: Option<f64>,
    /// Whether the curve says anything at these levels.
    pub validity: Validity,
}

/// Level plan of a transmit chain driven with `drive_dbm` mean and a peak `crest_db` above it.
///
/// # Errors
/// Drive not finite or a negative crest factor.
pub fn transmit_plan(
    stages: &[TransmitStage],
    drive_dbm: f64,
    crest_db: f64,
) -> Result<Vec<TransmitPoint>> {
    let part = "transmit level plan";
    let mut mean = finite(part, "drive_dbm", drive_dbm)?;
    let mut peak = mean + not_negative(part, "crest_db", crest_db)?;
    let mut plan = Vec::with_capacity(stages.len());
    for s in stages {
        let (out, v) = s.curve.output_dbm(mean)?;
        let (peak_out, vp) = s.curve.output_dbm(peak)?;
        plan.push(TransmitPoint {
            id: s.id.clone(),
            label: s.label.clone(),
            in_dbm: mean,
            out_dbm: out,
            peak_out_dbm: peak_out,
            compression_db: s.curve.compression_db(mean)?,
            peak_compression_db: s.curve.compression_db(peak)?,
            input_margin_db: s.max_input_dbm.map(|m| m - peak),
            validity: v.and(vp),
        });
        (mean, peak) = (out, peak_out);
    }
    Ok(plan)
}

/// A way in which the chain can break a part. `Display` gives a sentence.
#[derive(Debug, Clone, PartialEq)]
pub enum Danger {
    /// What stands before a part can drive it beyond what it survives.
    Input {
        /// The part.
        part: String,
        /// Level that can be reached, dBm.
        reach_dbm: f64,
        /// Level that it survives, dBm.
        limit_dbm: f64,
    },
    /// More can come back than a part survives.
    Reflected {
        /// The part.
        part: String,
        /// Power that can come back, dBm.
        reach_dbm: f64,
        /// Power that it survives, dBm.
        limit_dbm: f64,
    },
}

impl fmt::Display for Danger {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input {
                part,
                reach_dbm,
                limit_dbm,
            } => write!(
                f,
                "what drives {part} can reach {reach_dbm:.1} dBm, {:.1} dB above the {limit_dbm:.1} dBm that it \
                 survives; put a fixed attenuator of at least that before it",
                reach_dbm - limit_dbm
            ),
            Self::Reflected {
                part,
                reach_dbm,
                limit_dbm,
            } => write!(
                f,
                "{reach_dbm:.1} dBm can come back into {part}, which survives {limit_dbm:.1} dBm"
            ),
        }
    }
}

/// What the chain can break when its source is turned to its highest output `max_source_dbm` (peak), into a load
/// of reflection magnitude `load_gamma`. Parts count with their small-signal gain up to their saturation: an
/// amplifier is not protected by another's compression at the level used, only by its saturation.
///
/// # Errors
/// Source not finite or a reflection outside 0..1.
pub fn dangers(
    stages: &[TransmitStage],
    max_source_dbm: f64,
    load_gamma: f64,
) -> Result<Vec<Danger>> {
    let mut level = finite("transmit chain", "max_source_dbm", max_source_dbm)?;
    fraction("transmit chain", "load_gamma", load_gamma)?;
    let mut out = Vec::new();
    for s in stages {
        if let Some(limit_dbm) = s.max_input_dbm
            && level > limit_dbm
        {
            out.push(Danger::Input {
                part: s.label.clone(),
                reach_dbm: level,
                limit_dbm,
            });
        }
        level = (level + s.curve.gain_db()).min(s.curve.saturation_dbm());
    }
    // What comes back passes the parts behind a part the other way; amplifiers do not let it through.
    let mut back = level + to_db(load_gamma * load_gamma);
    for s in stages.iter().rev() {
        if let Some(limit_dbm) = s.max_reflected_dbm
            && back > limit_dbm
        {
            out.push(Danger::Reflected {
                part: s.label.clone(),
                reach_dbm: back,
                limit_dbm,
            });
        }
        back = match s.curve {
            Curve::Linear(g) if g <= 0.0 => back + g,
            _ => f64::NEG_INFINITY,
        };
    }
    Ok(out)
}

/// The total of several levels in dBm.
pub fn total_dbm(levels_dbm: &[f64]) -> f64 {
    to_db(levels_dbm.iter().map(|&l| from_db(l)).sum())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::amplifier::Rapp;

    fn stage(id: &str, linear: Linear, limit: Option<f64>) -> ReceiveStage {
        ReceiveStage {
            id: ContributorId::new(id),
            label: id.into(),
            linear,
            limit_out_dbm: limit,
        }
    }

    #[test]
    fn receive_levels_follow_the_ledger() {
        let stages = [
            stage("lnb", Linear::active(55.0, 0.7), Some(0.0)),
            stage("cable", Linear::passive(4.0, 290.0), None),
            stage("splitter", Linear::passive(7.5, 290.0), None),
            stage("receiver", Linear::active(0.0, 8.0), Some(-20.0)),
        ];
        let plan = receive_plan(&stages, 40.0, &[-120.0], Frequency::mhz(10.0)).unwrap();
        let last = plan.last().unwrap();
        assert!((last.carriers_dbm[0] - (-120.0 + 43.5)).abs() < 1e-9);
        // C/N0 at the end is what the cascade's noise temperature says
        let lin: Vec<Linear> = stages.iter().map(|s| s.linear).collect();
        let t = 40.0 + crate::noise::equivalent_te_k(&lin);
        let cn0 = -120.0 - (to_db(BOLTZMANN * t) + 30.0);
        assert!((last.carriers_dbm[0] - last.noise_dbm_per_hz - cn0).abs() < 1e-9);
        assert!((last.headroom_db.unwrap() - (-20.0 - last.total_dbm)).abs() < 1e-12);
        assert!((total_dbm(&[0.0, 0.0]) - to_db(2.0)).abs() < 1e-12);
        assert!(receive_plan(&stages, -1.0, &[], Frequency::mhz(1.0)).is_err());
    }

    fn transmit(max_in: f64) -> Vec<TransmitStage> {
        let part = |label: &str, curve, max_input_dbm, max_reflected_dbm| TransmitStage {
            id: ContributorId::new(label),
            label: label.into(),
            curve,
            max_input_dbm,
            max_reflected_dbm,
        };
        vec![
            part(
                "driver",
                Curve::Rapp(Rapp::new(30.0, 33.0, 2.0).unwrap()),
                None,
                None,
            ),
            part("pad", Curve::Linear(-3.0), None, None),
            part(
                "amplifier",
                Curve::Rapp(Rapp::new(20.0, 51.0, 1.5).unwrap()),
                Some(max_in),
                Some(40.0),
            ),
            part("cable", Curve::Linear(-2.0), None, None),
        ]
    }

    #[test]
    fn transmit_levels_and_margins() {
        let plan = transmit_plan(&transmit(27.0), -10.0, 6.0).unwrap();
        // at 13 dB below saturation the driver is all but linear
        assert!((plan[0].out_dbm - 20.0).abs() < 0.02);
        assert!(
            plan[2].peak_compression_db > plan[2].compression_db && plan[2].compression_db > 0.0
        );
        assert!((plan[3].out_dbm - (plan[2].out_dbm - 2.0)).abs() < 1e-9);
        let peak_in = plan[1].peak_out_dbm;
        assert!((plan[2].input_margin_db.unwrap() - (27.0 - peak_in)).abs() < 1e-12);
    }

    #[test]
    fn what_the_source_can_reach_counts_not_what_it_is_set_to() {
        // The driver saturates at 33 dBm, 30 behind the pad.
        assert!(dangers(&transmit(31.0), 10.0, 0.1).unwrap().is_empty());
        let d = dangers(&transmit(27.0), 10.0, 0.1).unwrap();
        assert!(
            matches!(d.as_slice(), [Danger::Input { reach_dbm, .. }] if (reach_dbm - 30.0).abs() < 1e-9)
        );
        assert!(d[0].to_string().contains("3.0 dB above"));
        // Everything comes back: amplifier 50 dBm - 2 - 2 dB of cable, above its 40.
        let d = dangers(&transmit(31.0), 10.0, 1.0).unwrap();
        assert!(
            matches!(d.as_slice(), [Danger::Reflected { reach_dbm, .. }] if (reach_dbm - 46.0).abs() < 1e-9),
            "{d:?}"
        );
        assert!(dangers(&transmit(31.0), 10.0, 1.1).is_err());
    }
}
