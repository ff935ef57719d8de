//! The station model with what faults move.

use super::SYMPTOMS;
use slantpath_link::{Conditions, Group, LinkError, Memory, Model};
use slantpath_quantity::{ContributorId, to_db};
use slantpath_station::checked::{PartKind, Station, TransmitLevel};

/// Sizes at which a consequence is computed.
const NODES: usize = 7;

/// The model with what faults move.
pub(super) struct Bench<'a> {
    pub model: &'a Model,
    pub station: &'a Station,
    pub x0: Vec<f64>,
    pub y0: Vec<f64>,
    /// Positions of the measurands among the model's outputs.
    pub measurands: Vec<usize>,
    /// For each branch and passband with a receiver: outputs of system temperature and of the receiver's own noise.
    drops: Vec<(String, usize, Vec<usize>)>,
    /// Position of a system temperature among the measurands: the noise level follows it.
    floor: Option<usize>,
    pub ids: Vec<String>,
}

impl<'a> Bench<'a> {
    pub fn new(station: &'a Station, model: &'a Model) -> Self {
        let outputs = model.outputs();
        let measurands: Vec<usize> = (0..outputs.len())
            .filter(|k| outputs[*k].group == Group::Measurand)
            .collect();
        let mut ids: Vec<String> = measurands.iter().map(|k| outputs[*k].id.clone()).collect();
        let mut drops = Vec::new();
        for b in &station.receive.branches {
            let Some(last) = station.receive.stages(b).last() else {
                continue;
            };
            for p in &station.satellite.passbands {
                let find = |id: String| outputs.iter().position(|o| o.id == id);
                let t = find(format!("{}.t_sys@{}", p.name, b.name));
                let own: Vec<usize> = [
                    format!("{}.ledger.rx.{}@{}", p.name, last.part.name, b.name),
                    format!("{}.ledger.quantisation@{}", p.name, b.name),
                ]
                .into_iter()
                .filter_map(find)
                .collect();
                if let Some(t) = t
                    && !own.is_empty()
                {
                    drops.push((format!("{}.lnb_off_drop@{}", p.name, b.name), t, own));
                }
            }
        }
        let floor = ids.iter().position(|id| id.contains(".t_sys@"));
        ids.extend(drops.iter().map(|d| d.0.clone()));
        ids.extend(SYMPTOMS.iter().map(|s| s.0.to_string()));
        let x0 = model.inputs().best();
        let mut bench = Self {
            model,
            station,
            x0,
            y0: Vec::new(),
            measurands,
            drops,
            floor,
            ids,
        };
        bench.y0 = bench.see(model, &bench.x0);
        bench
    }

    /// Every observable: measurands, drops with the converter off, symptoms of a sound station.
    pub fn see(&self, model: &Model, x: &[f64]) -> Vec<f64> {
        let mut all = vec![0.0; model.outputs().len()];
        model.evaluate(x, &mut all);
        let at = |k: usize| all.get(k).copied().unwrap_or(f64::NAN);
        let mut y: Vec<f64> = self.measurands.iter().map(|k| at(*k)).collect();
        y.extend(self.drops.iter().map(|(_, t, own)| {
            let rest: f64 = own.iter().map(|k| at(*k)).sum();
            // The converter's noise goes, the receiver's stays (cable terminated).
            to_db(at(*t) / rest)
        }));
        y.extend(SYMPTOMS.iter().map(|s| s.3));
        y
    }

    fn id(&self, k: usize) -> &str {
        self.ids.get(k).map_or("", String::as_str)
    }

    /// Change of every observable when inputs move to `x` and symptoms by what is listed.
    pub fn shift(&self, x: &[f64], symptoms: &[(&str, f64)]) -> Vec<f64> {
        self.difference(&self.see(self.model, x), symptoms)
    }

    fn difference(&self, y: &[f64], symptoms: &[(&str, f64)]) -> Vec<f64> {
        // The noise level beside the passband moves with the system temperature; gain behind it is told.
        let warmer = self
            .floor
            .and_then(|k| Some(to_db(y.get(k)? / self.y0.get(k)?)))
            .filter(|d| d.is_finite())
            .unwrap_or(0.0);
        y.iter()
            .zip(&self.y0)
            .enumerate()
            .map(|(k, (a, b))| {
                let told = symptoms
                    .iter()
                    .find(|(id, _)| *id == self.id(k))
                    .map_or(0.0, |s| s.1)
                    + if self.id(k) == "symptom.floor" {
                        warmer
                    } else {
                        0.0
                    };
                // Where the model ends (a carrier below any noise) the consequence is unknown, not none.
                if (a - b).is_finite() {
                    a - b + told
                } else {
                    told
                }
            })
            .collect()
    }

    pub fn moved(&self, moves: &[(&ContributorId, f64)]) -> Vec<f64> {
        let mut x = self.x0.clone();
        for (id, by) in moves {
            if let Some(s) = self.model.inputs().find(id.as_str())
                && let Some(v) = x.get_mut(s.index())
            {
                *v += by;
            }
        }
        x
    }
}

/// Sizes evenly spaced from `lo` to `hi`.
pub(super) fn even(lo: f64, hi: f64) -> impl Iterator<Item = f64> {
    (0..NODES).map(move |k| lo + (hi - lo) * k as f64 / (NODES - 1) as f64)
}

/// A station as a fault makes it, evaluated at its best estimates. Outputs are matched by identity.
pub(super) fn rebuilt(
    b: &Bench,
    station: &Station,
    conditions: &Conditions,
    symptoms: &[(&str, f64)],
) -> Result<Vec<f64>, LinkError> {
    rebuilt_with(b, station, conditions, symptoms, &mut Memory::default())
}

/// The same, what was solved of dish and site taken from `memory` and left there.
pub(super) fn rebuilt_with(
    b: &Bench,
    station: &Station,
    conditions: &Conditions,
    symptoms: &[(&str, f64)],
    memory: &mut Memory,
) -> Result<Vec<f64>, LinkError> {
    let model = Model::with_memory(station, conditions, memory)?;
    let y = b.see(&model, &model.inputs().best());
    Ok(b.difference(&y, symptoms))
}

/// Inputs of the model that faults move.
pub(super) struct Inputs<'a> {
    /// Noise figure of each receiver: a loss before it acts as much.
    pub receivers: Vec<&'a ContributorId>,
    pub ohmic_rx: &'a ContributorId,
    pub ohmic_tx: Option<&'a ContributorId>,
    pub levels: Vec<&'a ContributorId>,
    pub beacons: Vec<&'a ContributorId>,
    pub noise: Vec<&'a ContributorId>,
    pub pointing: &'a ContributorId,
}

impl<'a> Inputs<'a> {
    pub fn of(s: &'a Station) -> Self {
        let passbands = &s.satellite.passbands;
        Self {
            receivers: s
                .receive
                .nodes
                .iter()
                .filter_map(|n| match &n.part.kind {
                    PartKind::Receiver(r) => Some(&r.noise_figure.id),
                    _ => None,
                })
                .collect(),
            ohmic_rx: &s.feed.receive.ohmic_loss.id,
            ohmic_tx: s.feed.transmit.as_ref().map(|t| &t.ohmic_loss.id),
            levels: s
                .transmit
                .iter()
                .flat_map(|t| &t.segments)
                .map(|g| match &g.level {
                    TransmitLevel::AmplifierOutput(c) | TransmitLevel::TransmitterOutput(c) => {
                        &c.id
                    }
                })
                .collect(),
            beacons: passbands
                .iter()
                .flat_map(|p| &p.beacons)
                .map(|k| &k.eirp.id)
                .collect(),
            noise: passbands.iter().map(|p| &p.noise_density.id).collect(),
            pointing: &s.reflector.pointing_error.id,
        }
    }
    /// So many decibels of loss between converter and receivers.
    pub fn behind_lnb(&self, db: f64) -> Vec<(&'a ContributorId, f64)> {
        self.receivers.iter().map(|id| (*id, db)).collect()
    }
    /// So many decibels less of everything that the satellite sends.
    pub fn fall(&self, db: f64) -> Vec<(&'a ContributorId, f64)> {
        self.beacons
            .iter()
            .chain(&self.noise)
            .map(|id| (*id, -db))
            .collect()
    }
    /// So many decibels less output.
    pub fn eirp(&self, db: f64) -> Vec<(&'a ContributorId, f64)> {
        self.levels.iter().map(|id| (*id, -db)).collect()
    }
}

/// A fault of the list.
pub(super) fn fault(
    key: &'static str,
    label: &'static str,
    remedy: &'static str,
    weight: f64,
    nodes: Vec<Vec<f64>>,
) -> super::Fault {
    super::Fault {
        key,
        label,
        remedy,
        weight,
        nodes,
    }
}
