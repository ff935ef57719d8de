//! The transmit side of the model: from the transmitter to the satellite and back.

use crate::LinkError;
use crate::air::PathModel;
use crate::dish::DishModel;
use crate::inputs::{Inputs, Slot};
use crate::stages::{StageKind, StageModel};
use slantpath_antenna::AntennaError;
use slantpath_chain::ChainError;
use slantpath_chain::amplifier::{Curve, Rapp, Table, TableRow};
use slantpath_chain::level::TransmitStage;
use slantpath_quantity::constants::BOLTZMANN;
use slantpath_quantity::{Validity, to_db};
use slantpath_station::checked::{
    AmAmRow, PartKind, Passband, Segment, Station, Transmit, TransmitLevel,
};

/// One passband's uplink.
#[derive(Debug, Clone)]
pub(crate) struct UpModel {
    pub passband: String,
    pub stages: Vec<StageModel>,
    compression: Vec<Option<Compression>>,
    /// What each part survives: peak input and reflected power, dBW.
    survives: Vec<(Option<Slot>, Option<Slot>)>,
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
    /// Index of the passband's downlink in the model.
    pub down: usize,
    /// Symbol rate of a digital mode, Bd.
    pub symbol_rate: Option<f64>,
    /// The mode as written and the Es/N0 it needs, dB, when it is a MODCOD.
    pub need: Option<(String, f64)>,
}

/// What bends an amplifier.
#[derive(Debug, Clone)]
enum Compression {
    /// Its 1 dB point, and what else is known.
    Figures {
        p1db: Slot,
        psat: Option<Slot>,
        smoothness: Option<Slot>,
    },
    /// A measured table: its shape is kept, its level follows the gain.
    Measured(Table),
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
        down: usize,
        dish: DishModel,
        path: PathModel,
    ) -> Result<Self, LinkError> {
        let f = segment
            .frequency
            .unwrap_or_else(|| passband.uplink.centre());
        let mut validity = Validity::Inside;
        let mut stages = Vec::new();
        let mut compression = Vec::new();
        let mut survives = Vec::new();
        for p in &transmit.chain {
            stages.push(crate::stages::stage("tx", p, f, inputs, &mut validity)?);
            compression.push(match &p.kind {
                PartKind::Amplifier(a) if !a.am_am.is_empty() => Some(Compression::Measured(
                    measured(&p.label, &a.am_am, &mut validity)?,
                )),
                PartKind::Amplifier(a) => a.p1db.as_ref().map(|c| Compression::Figures {
                    p1db: inputs.slot(c),
                    psat: a.psat.as_ref().map(|c| inputs.slot(c)),
                    smoothness: a.smoothness.as_ref().map(|c| inputs.slot(c)),
                }),
                _ => None,
            });
            let mut held =
                |c: &Option<slantpath_quantity::Contributor>| c.as_ref().map(|c| inputs.slot(c));
            survives.push(match &p.kind {
                PartKind::Amplifier(a) => (held(&a.max_input), held(&a.max_reflected)),
                PartKind::Attenuator(a) => (held(&a.max_input), None),
                PartKind::Filter(k) => (held(&k.max_input), None),
                PartKind::Transmitter(t) => (None, held(&t.max_reflected)),
                _ => (None, None),
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
            survives,
            level,
            level_after,
            dish,
            path,
            footprint: inputs.slot(&station.site.footprint_up),
            g_over_t: inputs.slot(&passband.g_over_t),
            noise_density: inputs.slot(&passband.noise_density),
            saturated: inputs.slot(&passband.saturated_eirp),
            validity,
            down,
            symbol_rate: segment.symbol_rate.filter(|r| *r > 0.0),
            need: segment
                .mode
                .as_ref()
                .and_then(|m| Some((m.clone(), slantpath_waveform::threshold_es_n0_db(m)?))),
        })
    }

    /// `pointed_rad`: where the beam stands with which the dish was pointed, rad beside the paraboloid's axis.
    pub fn figures(&self, x: &[f64], pointed_rad: [f64; 2]) -> Result<UpFigures, AntennaError> {
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
        let gain_dbi = self.dish.gain_dbi(x, pointed_rad)?;
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
        match self.curve(i, s, x) {
            Some(Ok(Curve::Linear(_))) | None => linear,
            Some(curve) => curve
                .and_then(|c| c.output_dbm(input_dbw + 30.0))
                .map_or(f64::NAN, |(dbm, _)| dbm - 30.0),
        }
    }

    /// How a part's output follows its input; `None` for the source.
    fn curve(&self, i: usize, s: &StageModel, x: &[f64]) -> Option<Result<Curve, ChainError>> {
        let gain_db = s.gain_db(x);
        Some(Ok(match (&s.kind, self.compression.get(i)?) {
            (StageKind::Source, _) => return None,
            (
                StageKind::Active { .. },
                Some(Compression::Figures {
                    p1db,
                    psat,
                    smoothness,
                }),
            ) => {
                let p1db = p1db.of(x);
                let saturation = psat.map(|s| s.of(x));
                let rapp = match (smoothness, saturation) {
                    (Some(p), Some(sat)) => Rapp::new(gain_db, sat + 30.0, p.of(x).max(0.1)),
                    // Without a saturation figure: 1.5 dB above the 1 dB point (common practice, no source).
                    (_, sat) => Rapp::from_p1db(
                        gain_db,
                        p1db + 30.0,
                        sat.unwrap_or(p1db + 1.5).max(p1db + 0.2) + 30.0,
                    ),
                };
                return Some(rapp.map(Curve::Rapp));
            }
            (StageKind::Active { .. }, Some(Compression::Measured(t))) => Curve::Table(t.clone()),
            _ => Curve::Linear(gain_db),
        }))
    }

    /// The parts behind the transmitter's output, for [`Model::transmit_line`](crate::Model::transmit_line).
    pub fn line(&self, x: &[f64]) -> Result<Vec<TransmitStage>, ChainError> {
        let dbm = |slot: Option<Slot>| slot.map(|s| s.of(x) + 30.0);
        let mut out = Vec::with_capacity(self.stages.len());
        for (i, s) in self.stages.iter().enumerate() {
            let (input, reflected) = self.survives.get(i).copied().unwrap_or((None, None));
            out.push(TransmitStage {
                id: s.id.clone(),
                label: s.label.clone(),
                curve: self.curve(i, s, x).unwrap_or(Ok(Curve::Linear(0.0)))?,
                max_input_dbm: dbm(input),
                max_reflected_dbm: dbm(reflected),
            });
        }
        Ok(out)
    }
}

/// A measured table in the form of the chain's physics. Where the output falls by no more than a meter's scatter (a
/// larger fall is refused with the file) neighbours are averaged until it does not (pool adjacent violators), and it is
/// said.
fn measured(label: &str, rows: &[AmAmRow], validity: &mut Validity) -> Result<Table, ChainError> {
    let mut rows: Vec<TableRow> = rows
        .iter()
        .map(|r| TableRow {
            in_dbm: r.input_dbw + 30.0,
            out_dbm: r.output_dbw + 30.0,
            phase_deg: r.phase.map_or(0.0, |p| p.as_deg()),
        })
        .collect();
    let mut pools: Vec<(f64, usize)> = Vec::with_capacity(rows.len());
    for r in &rows {
        let mut pool = (r.out_dbm, 1);
        while let Some(&(mean, n)) = pools.last()
            && mean > pool.0
        {
            pools.pop();
            let all = n + pool.1;
            pool = ((mean * n as f64 + pool.0 * pool.1 as f64) / all as f64, all);
        }
        pools.push(pool);
    }
    if pools.len() < rows.len() {
        *validity = std::mem::take(validity).and(Validity::outside(format!(
            "{label}: its measured output falls by a meter's scatter in places; neighbouring rows were averaged"
        )));
    }
    let level = pools
        .iter()
        .flat_map(|&(mean, n)| std::iter::repeat_n(mean, n));
    for (r, out) in rows.iter_mut().zip(level) {
        r.out_dbm = out;
    }
    Table::new(&rows)
}
