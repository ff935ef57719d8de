//! The transmit side of the model: from the transmitter to the satellite and back.

use crate::LinkError;
use crate::air::PathModel;
use crate::dish::DishModel;
use crate::inputs::{Inputs, Slot};
use crate::stages::{StageKind, StageModel};
use slantpath_antenna::AntennaError;
use slantpath_chain::amplifier::{Curve, Rapp};
use slantpath_quantity::constants::BOLTZMANN;
use slantpath_quantity::{Validity, to_db};
use slantpath_station::checked::{PartKind, Passband, Segment, Station, Transmit, TransmitLevel};

/// One passband's uplink.
#[derive(Debug, Clone)]
pub(crate) struct UpModel {
    pub passband: String,
    pub stages: Vec<StageModel>,
    compression: Vec<Option<Compression>>,
    level: Slot,
    /// Index of the stage whose *output* the level states.
    level_after: usize,
    pub dish: DishModel,
    pub path: PathModel,
    pub footprint: Slot,
    pub g_over_t: Slot,
    pub noise_density: Slot,
    pub saturated: Slot,
    pub validity: Validity,
}

/// Large-signal limits of an amplifier.
#[derive(Debug, Clone, Copy)]
struct Compression {
    p1db: Slot,
    psat: Option<Slot>,
}

/// One evaluation.
#[derive(Debug, Clone)]
pub(crate) struct UpFigures {
    /// Power at the output of each stage, dBW.
    pub after_dbw: Vec<f64>,
    pub gain_dbi: f64,
    pub eirp_dbw: f64,
    pub gas_db: f64,
    pub weather_db: f64,
    /// Carrier to noise density at the satellite's receiver, dBHz.
    pub cn0_up_db: f64,
    /// EIRP of the own signal from the satellite, dBW, before saturation.
    pub own_eirp_dbw: f64,
}

impl UpModel {
    pub fn new(
        inputs: &mut Inputs,
        station: &Station,
        transmit: &Transmit,
        segment: &Segment,
        passband: &Passband,
        dish: DishModel,
        path: PathModel,
    ) -> Result<Self, LinkError> {
        let f = segment
            .frequency
            .unwrap_or_else(|| passband.uplink.centre());
        let mut validity = Validity::Inside;
        let mut stages = Vec::new();
        let mut compression = Vec::new();
        for p in &transmit.chain {
            stages.push(crate::stages::stage("tx", p, f, inputs, &mut validity)?);
            compression.push(match &p.kind {
                PartKind::Amplifier(a) => a.p1db.as_ref().map(|c| Compression {
                    p1db: inputs.slot(c),
                    psat: a.psat.as_ref().map(|c| inputs.slot(c)),
                }),
                _ => None,
            });
        }
        let (level, level_after) = match &segment.level {
            TransmitLevel::TransmitterOutput(c) => (inputs.slot(c), 0),
            TransmitLevel::AmplifierOutput(c) => {
                let pa = transmit.power_amplifier().map(|(i, _)| i).ok_or_else(|| {
                    LinkError::Missing {
                        what: "a power amplifier in the transmit chain".into(),
                        remedy: "state the level at the transmitter's output, or add the amplifier"
                            .into(),
                    }
                })?;
                (inputs.slot(c), pa)
            }
        };
        Ok(Self {
            passband: passband.name.clone(),
            stages,
            compression,
            level,
            level_after,
            dish,
            path,
            footprint: inputs.slot(&station.site.footprint_up),
            g_over_t: inputs.slot(&passband.g_over_t),
            noise_density: inputs.slot(&passband.noise_density),
            saturated: inputs.slot(&passband.saturated_eirp),
            validity,
        })
    }

    pub fn figures(&self, x: &[f64]) -> Result<UpFigures, AntennaError> {
        let mut after = vec![f64::NAN; self.stages.len()];
        let mut p = self.level.of(x);
        for (i, s) in self.stages.iter().enumerate() {
            if i < self.level_after {
                continue;
            }
            if i > self.level_after {
                p = self.through(i, s, p, x);
            }
            after[i] = p;
        }
        // Below the stage whose output is stated, small-signal gains lead back.
        let mut q = self.level.of(x);
        for i in (0..self.level_after).rev() {
            q -= self.stages[i + 1].gain_db(x);
            after[i] = q;
        }
        let gain_dbi = self.dish.gain_dbi(x)?;
        let eirp_dbw = p + gain_dbi;
        let path = self.path.figures(x);
        let cn0_up_db = eirp_dbw - self.path.free_space_db - path.gas_db - path.weather_db
            + self.footprint.of(x)
            + self.g_over_t.of(x)
            - to_db(BOLTZMANN);
        Ok(UpFigures {
            after_dbw: after,
            gain_dbi,
            eirp_dbw,
            gas_db: path.gas_db,
            weather_db: path.weather_db,
            cn0_up_db,
            // The noise that the satellite sends is what its receiver adds, through the same gain as the signal.
            own_eirp_dbw: self.noise_density.of(x) + cn0_up_db,
        })
    }

    fn through(&self, i: usize, s: &StageModel, input_dbw: f64, x: &[f64]) -> f64 {
        let linear = input_dbw + s.gain_db(x);
        match (&s.kind, self.compression.get(i).copied().flatten()) {
            (StageKind::Active { .. }, Some(c)) => {
                let p1db = c.p1db.of(x);
                // Without a saturation figure: 1.5 dB above the 1 dB point (common practice, no source).
                let psat = c.psat.map_or(p1db + 1.5, |s| s.of(x)).max(p1db + 0.2);
                Rapp::from_p1db(s.gain_db(x), p1db + 30.0, psat + 30.0)
                    .and_then(|r| Curve::Rapp(r).output_dbm(input_dbw + 30.0))
                    .map_or(linear.min(p1db), |(dbm, _)| dbm - 30.0)
            }
            _ => linear,
        }
    }
}
