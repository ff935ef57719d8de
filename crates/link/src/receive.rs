//! The receive side of the model: antenna and path for each passband, chain for each branch.

use crate::LinkError;
use crate::air::{PathFigures, PathModel};
use crate::dish::{DishModel, ReceiveFigures};
use crate::inputs::{Inputs, Slot};
use crate::stages::{StageKind, StageModel};
use slantpath_antenna::AntennaError;
use slantpath_antenna::noise::NoisePart;
use slantpath_chain::adc::Adc;
use slantpath_chain::noise::Linear;
use slantpath_propagation::p618::sky_noise;
use slantpath_quantity::constants::BOLTZMANN;
use slantpath_quantity::{
    Angle, Distribution, Frequency, Power, Temperature, Validity, from_db, to_db,
};
use slantpath_station::checked::{Branch, PartKind, Passband, Receiver, ReceiverOutput, Station};
use slantpath_station::reach;

/// Effective bits of a converter in use lie up to this far below its word (common practice, no source).
const MOST_BITS_LOST: f64 = 2.0;

/// Clear-sky brightness by elevation, for what the spilled rays see.
#[derive(Debug, Clone)]
pub(crate) struct SkyTable {
    /// (elevation rad, K), rising.
    pub rows: Vec<(f64, f64)>,
}

impl SkyTable {
    fn at(&self, el_rad: f64) -> f64 {
        let i = self.rows.partition_point(|r| r.0 < el_rad);
        match (
            i.checked_sub(1).and_then(|k| self.rows.get(k)),
            self.rows.get(i),
        ) {
            (Some(a), Some(b)) => a.1 + (b.1 - a.1) * (el_rad - a.0) / (b.0 - a.0),
            (Some(a), None) | (None, Some(a)) => a.1,
            (None, None) => 0.0,
        }
    }
}

/// Antenna and path for one passband's downlink.
#[derive(Debug, Clone)]
pub(crate) struct DownModel {
    pub passband: String,
    pub f: Frequency,
    pub dish: DishModel,
    pub path: PathModel,
    pub sky: SkyTable,
    pub elevation: Angle,
    pub footprint: Slot,
    pub noise_density: Slot,
    pub ground: Slot,
    pub air_temperature: Slot,
}

/// One evaluation of [`DownModel`].
#[derive(Debug, Clone, Copy)]
pub(crate) struct DownFigures {
    pub antenna: ReceiveFigures,
    pub path: PathFigures,
    /// From EIRP to the power at the feed's port, dB (a gain; negative).
    pub transfer_db: f64,
    /// Noise of the satellite at the feed's port, W/Hz.
    pub n0_satellite: f64,
    pub air_k: f64,
    /// See [`DishModel::cross_polar_db`].
    pub cross_polar_db: Option<f64>,
}

impl DownModel {
    pub fn figures(&self, x: &[f64]) -> Result<DownFigures, AntennaError> {
        let path = self.path.figures(x);
        let beam = self.elevation.as_rad();
        // Rain and cloud of the main beam lie in every other direction too, with the cosecant of its elevation.
        let wet_zenith = self.path.absorbing_db(x) * beam.sin();
        let sky_at = |el: Angle| {
            let e = el.as_rad();
            if (e - beam).abs() < 1e-6 {
                return Temperature::k(path.sky_k);
            }
            let clear = self.sky.at(e);
            Temperature::k(if wet_zenith > 0.0 {
                sky_noise::behind_k(clear, wet_zenith / e.sin().max(0.05), self.path.wet_k())
            } else {
                clear
            })
        };
        let air_k = self.air_temperature.of(x);
        let antenna = self.dish.receive(x, &sky_at, self.ground.of(x), air_k)?;
        let transfer_db =
            self.footprint.of(x) - self.path.free_space_db - path.gas_db - path.weather_db
                + antenna.gain_dbi;
        Ok(DownFigures {
            n0_satellite: from_db(self.noise_density.of(x) + transfer_db),
            antenna,
            path,
            transfer_db,
            air_k,
            cross_polar_db: self.dish.cross_polar_db(x),
        })
    }
}

/// The converter at the end of a branch.
#[derive(Debug, Clone, Copy)]
pub(crate) struct AdcModel {
    pub bits: Slot,
    /// Bits of which noise and distortion of the converter itself make nothing.
    pub lost: Slot,
    pub full_scale: Slot,
    pub sampled: Frequency,
}

impl AdcModel {
    /// The converter for one set of inputs.
    pub fn adc(&self, x: &[f64]) -> Option<Adc> {
        let bits = self.bits.of(x).clamp(1.0, 32.0);
        let word = bits.ceil() as u32;
        let effective = (bits - self.lost.of(x)).max(1.0);
        // Without a name nothing is put on the heap for it.
        Adc::new(String::new(), word, self.full_scale.of(x) + 30.0)
            .and_then(|a| a.with_effective_bits(effective))
            .ok()
    }
}

/// One branch for one passband.
#[derive(Debug, Clone)]
pub(crate) struct BranchModel {
    /// Index into the model's downlinks.
    pub down: usize,
    pub branch: String,
    pub intermediate: Frequency,
    pub inverted: bool,
    pub stages: Vec<StageModel>,
    /// Place of each stage's behaviour in the model's list, which branches and passbands share.
    pub places: Vec<usize>,
    pub adc: Option<AdcModel>,
    /// Noise wave that the first amplifier sends towards the feed, K.
    pub back_noise: Slot,
    pub mer_ceiling: Option<Slot>,
    pub validity: Validity,
}

/// One evaluation of a branch.
#[derive(Debug, Clone, Copy)]
pub(crate) struct BranchFigures {
    /// System temperature at the feed's port, K: everything but the satellite.
    pub t_sys_k: f64,
    /// Chain alone, at the feed's port, K.
    pub t_chain_k: f64,
    /// Noise sent back by the mismatch, K.
    pub t_back_k: f64,
    /// Quantisation, at the feed's port, K.
    pub t_quantisation_k: f64,
    /// Gain from the feed's port to the receiver's input, dB.
    pub gain_db: f64,
    pub g_over_t_db: f64,
    /// Station noise density at the feed's port, W/Hz.
    pub n0_station: f64,
    /// The same, dBW/Hz.
    pub n0_station_db: f64,
}

impl BranchModel {
    pub fn new(
        inputs: &mut Inputs,
        station: &Station,
        branch: &Branch,
        passband: &Passband,
        down: usize,
    ) -> Result<Option<Self>, LinkError> {
        let tree = &station.receive;
        // A branch that nothing of the passband reaches has no figures for it.
        if let Err((None, _)) = reach::reach(tree, branch, passband) {
            return Ok(None);
        }
        let mut validity = Validity::Inside;
        let mut f = passband.downlink.centre();
        let mut inverted = false;
        let mut stages = Vec::new();
        let mut back = None;
        for s in tree.stages(branch) {
            let part = s.part;
            if let PartKind::Lnb(l) = &part.kind {
                let (at, mirrored) = reach::intermediate(f, reach::oscillator(l, branch.tone));
                stages.push(crate::stages::stage("rx", part, f, inputs, &mut validity)?);
                back.get_or_insert_with(|| part.name.clone());
                f = at;
                inverted ^= mirrored;
                continue;
            }
            stages.push(crate::stages::stage("rx", part, f, inputs, &mut validity)?);
        }
        let receiver = tree.receiver(branch);
        let adc = receiver.and_then(|r| adc(inputs, r));
        let first = back.unwrap_or_else(|| "receiver".into());
        let back_noise = inputs.own(
            format!("rx.{first}.back_noise"),
            format!("{first}: noise sent towards the feed"),
            Distribution::Rectangular {
                lo: 20.0,
                hi: 290.0,
            },
            "K",
            "guess (wide prior)",
        );
        Ok(Some(Self {
            down,
            branch: branch.name.clone(),
            intermediate: f,
            inverted,
            stages,
            places: Vec::new(),
            adc,
            back_noise,
            mer_ceiling: receiver
                .and_then(|r| r.mer_ceiling.as_ref())
                .map(|c| inputs.slot(c)),
            validity,
        }))
    }

    /// What each stage does, in order, from what all stages of the model do.
    fn linear<'a>(&'a self, all: &'a [Linear]) -> impl Iterator<Item = Linear> + 'a {
        self.places.iter().filter_map(|&i| all.get(i).copied())
    }

    /// Evaluates the branch behind an antenna; `all`: what every stage of the model does.
    pub fn figures(&self, x: &[f64], down: &DownFigures, all: &[Linear]) -> BranchFigures {
        let mut before = 1.0;
        let mut t_chain_k = 0.0;
        for l in self.linear(all) {
            t_chain_k += l.te_k / before;
            before *= l.gain;
        }
        let t_quantisation_k = self.quantisation_k(x).map_or(0.0, |t| t / before);
        let t_back_k = down.antenna.reflection * self.back_noise.of(x);
        let t_sys_k = down.antenna.noise_total_k() + t_back_k + t_chain_k + t_quantisation_k;
        let t_sys_db = to_db(t_sys_k);
        BranchFigures {
            n0_station_db: t_sys_db + to_db(BOLTZMANN),
            t_sys_k,
            t_chain_k,
            t_back_k,
            t_quantisation_k,
            gain_db: to_db(before),
            g_over_t_db: down.antenna.gain_dbi - t_sys_db,
            n0_station: BOLTZMANN * t_sys_k,
        }
    }

    fn quantisation_k(&self, x: &[f64]) -> Option<f64> {
        let a = self.adc?;
        a.adc(x)?.noise_k(a.sampled).ok()
    }

    /// Each stage's share at the feed's port, K, in order.
    pub fn stage_shares(&self, all: &[Linear]) -> Vec<(usize, f64)> {
        let mut before = 1.0;
        self.linear(all)
            .enumerate()
            .map(|(i, Linear { gain, te_k })| {
                let share = te_k / before;
                before *= gain;
                (i, share)
            })
            .collect()
    }

    /// Total power at the receiver's input, dBW, of noise and of carriers whose powers at the feed's port are given in W.
    pub fn level_dbw(
        &self,
        f: &BranchFigures,
        n0_satellite: f64,
        in_band_hz: f64,
        bandwidth_hz: f64,
        carriers_w: f64,
    ) -> f64 {
        let noise = f.n0_station * bandwidth_hz + n0_satellite * in_band_hz.min(bandwidth_hz);
        Power::w(noise + carriers_w).as_dbw() + f.gain_db
    }
}

/// Names of the antenna's noise parts in ledger order.
pub(crate) fn antenna_parts() -> impl Iterator<Item = (usize, NoisePart)> {
    NoisePart::ALL.into_iter().enumerate()
}

/// Whether a stage is the receiver.
pub(crate) fn is_end(s: &StageModel) -> bool {
    matches!(s.kind, StageKind::End { .. })
}

fn adc(inputs: &mut Inputs, r: &Receiver) -> Option<AdcModel> {
    (r.output == ReceiverOutput::Samples).then(|| AdcModel {
        bits: inputs.slot(&r.bits),
        lost: inputs.own(
            r.bits.id.as_str().replace(".bits", ".bits_lost"),
            format!("{}: bits lost to its own noise", r.bits.label),
            Distribution::Rectangular {
                lo: 0.0,
                hi: MOST_BITS_LOST,
            },
            "",
            "guess: effective bits against the word's (common practice, no source)",
        ),
        full_scale: inputs.slot(&r.full_scale),
        sampled: r.sample_rate.unwrap_or(r.bandwidth),
    })
}
