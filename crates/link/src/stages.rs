//! The parts of a chain reduced to what one evaluation needs, at one frequency.

use crate::LinkError;
use crate::inputs::{Inputs, Slot};
use slantpath_chain::cable::LossPerMetre;
use slantpath_chain::noise::Linear;
use slantpath_chain::passive::Filter as FilterTable;
use slantpath_quantity::{Contributor, ContributorId, Frequency, Validity};
use slantpath_station::checked::{Cable, Filter, Part, PartKind};

/// What an evaluation needs of one part.
#[derive(Debug, Clone)]
pub(crate) struct StageModel {
    /// Identity of the part: `rx.<part>` or `tx.<part>`.
    pub id: ContributorId,
    /// What a person calls it.
    pub label: String,
    /// How it acts.
    pub kind: StageKind,
}

/// How a part acts on signal and noise.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum StageKind {
    /// A matched loss in dB at air temperature.
    Passive(Loss),
    /// Gain and noise figure.
    Active { gain: Slot, nf: Slot },
    /// The receiver: noise figure at its input, no gain of its own.
    End { nf: Slot },
    /// The source of a transmit chain.
    Source,
}

/// A loss in dB as a function of the inputs.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Loss {
    /// As written.
    Slot(Slot),
    /// Cable: dB per metre at this frequency, times length, times the factor that carries the table's uncertainty.
    Cable {
        db_per_m: f64,
        factor: Slot,
        length: Slot,
    },
    /// A filter: loss in the passband plus its rejection at this frequency.
    Filter { loss: Slot, rejection_db: f64 },
}

impl Loss {
    #[inline]
    pub fn db(&self, x: &[f64]) -> f64 {
        match *self {
            Self::Slot(s) => s.of(x),
            Self::Cable {
                db_per_m,
                factor,
                length,
            } => db_per_m * factor.of(x) * length.of(x),
            Self::Filter { loss, rejection_db } => loss.of(x) + rejection_db,
        }
    }
}

impl StageModel {
    /// Gain in dB for small signals.
    #[inline]
    pub fn gain_db(&self, x: &[f64]) -> f64 {
        match &self.kind {
            StageKind::Passive(l) => -l.db(x),
            StageKind::Active { gain, .. } => gain.of(x),
            StageKind::End { .. } | StageKind::Source => 0.0,
        }
    }
}

impl StageKind {
    /// Gain and equivalent noise temperature, with losses at `t_air_k`.
    #[inline]
    pub fn linear(&self, x: &[f64], t_air_k: f64) -> Linear {
        match self {
            // A draw may push a small loss below zero; a passive part never amplifies.
            Self::Passive(l) => Linear::passive(l.db(x).max(0.0), t_air_k),
            Self::Active { gain, nf } => Linear::active(gain.of(x), nf.of(x).max(0.0)),
            Self::End { nf } => Linear::active(0.0, nf.of(x).max(0.0)),
            Self::Source => Linear {
                gain: 1.0,
                te_k: 0.0,
            },
        }
    }
}

/// Builds the stage of a part at frequency `f` (the frequency at which the signal passes through it).
pub(crate) fn stage(
    side: &str,
    part: &Part,
    f: Frequency,
    inputs: &mut Inputs,
    validity: &mut Validity,
) -> Result<StageModel, LinkError> {
    let kind = match &part.kind {
        PartKind::Lnb(l) => active(inputs, &l.gain, &l.noise_figure),
        PartKind::Amplifier(a) => active(inputs, &a.gain, &a.noise_figure),
        PartKind::Cable(c) => StageKind::Passive(cable(part, c, f, inputs, validity)?),
        PartKind::Splitter(s) => StageKind::Passive(Loss::Slot(inputs.slot(&s.loss))),
        PartKind::Connector(c) => StageKind::Passive(Loss::Slot(inputs.slot(&c.loss))),
        PartKind::Attenuator(a) => StageKind::Passive(Loss::Slot(inputs.slot(&a.loss))),
        PartKind::BiasTee(b) => StageKind::Passive(Loss::Slot(inputs.slot(&b.loss))),
        PartKind::Filter(k) => StageKind::Passive(filter(part, k, f, inputs, validity)?),
        PartKind::Receiver(r) => StageKind::End {
            nf: inputs.slot(&r.noise_figure),
        },
        PartKind::Transmitter(_) => StageKind::Source,
    };
    Ok(StageModel {
        id: ContributorId::new(format!("{side}.{}", part.name)),
        label: part.label.clone(),
        kind,
    })
}

fn active(inputs: &mut Inputs, gain: &Contributor, nf: &Contributor) -> StageKind {
    StageKind::Active {
        gain: inputs.slot(gain),
        nf: inputs.slot(nf),
    }
}

fn cable(
    part: &Part,
    c: &Cable,
    f: Frequency,
    inputs: &mut Inputs,
    validity: &mut Validity,
) -> Result<Loss, LinkError> {
    let table: Vec<(Frequency, f64)> = c.loss.iter().map(|p| (p.frequency, p.db_per_m)).collect();
    let (db_per_m, inside) = LossPerMetre::fit(&table)?.at(f)?;
    *validity = std::mem::take(validity).and(named(&part.label, inside));
    Ok(Loss::Cable {
        db_per_m,
        factor: inputs.slot(&c.loss_factor),
        length: inputs.slot(&c.length),
    })
}

fn filter(
    part: &Part,
    k: &Filter,
    f: Frequency,
    inputs: &mut Inputs,
    validity: &mut Validity,
) -> Result<Loss, LinkError> {
    let loss = inputs.slot(&k.loss);
    if k.passband.contains(f) {
        return Ok(Loss::Filter {
            loss,
            rejection_db: 0.0,
        });
    }
    let mut table: Vec<(Frequency, f64)> = k
        .rejection
        .iter()
        .map(|r| (r.frequency, r.attenuation_db))
        .collect();
    table.push((k.passband.lo, 0.0));
    table.push((k.passband.hi, 0.0));
    table.sort_by(|a, b| a.0.as_hz().total_cmp(&b.0.as_hz()));
    table.dedup_by(|a, b| a.0.as_hz() == b.0.as_hz());
    let (rejection_db, inside) = FilterTable::new(&part.label, &table)?.loss_db(f)?;
    *validity = std::mem::take(validity).and(named(&part.label, inside));
    Ok(Loss::Filter { loss, rejection_db })
}

fn named(label: &str, v: Validity) -> Validity {
    match v {
        Validity::Inside => Validity::Inside,
        Validity::Outside(reasons) => Validity::Outside(
            reasons
                .into_iter()
                .map(|r| format!("{label}: {r}"))
                .collect(),
        ),
    }
}
