//! Health of a recording: what would make its figures lie, with evidence.

mod company;
mod converter;
mod gain;
mod list;

use super::PlacedBand;
use super::beacons::BeaconMeasured;
use crate::locate::Location;
use crate::noise::{NoStep, NoiseStep};
use crate::plan::SearchPlan;
use crate::signals::Signal;
use crate::source::About;
use slantpath_quantity::Unit;
use slantpath_signal::{LevelStats, Row, Spectrum};
use std::ops::Range;

pub(crate) use converter::converter_flags;
pub(crate) use list::list_signals;

/// What a flag is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlagKind {
    /// The receiver's gain changes, by itself or by hand.
    GainChanges,
    /// The gain drifts slowly.
    GainDrift,
    /// The receiver's noise changes: own transmitter or ingress.
    NoiseChanges,
    /// Samples at the rails.
    Clipping,
    /// The quantiser is too coarse for the noise.
    FewBits,
    /// Direct current.
    DirectCurrent,
    /// I and Q differ.
    Imbalance,
    /// Lines outside every passband, or steady lines nobody planned.
    Spurs,
    /// Signals spill into a noise window.
    Splatter,
    /// The own transmission is in the recording.
    OwnTransmitter,
    /// Samples are missing.
    LostSamples,
    /// Something stands on a beacon.
    BeaconInterference,
    /// Another place in the recording explains it nearly as well.
    AmbiguousPlace,
}

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Figures are affected; the effect is part of their uncertainty where it can be stated.
    Warning,
    /// Some figures are refused.
    Refusal,
}

/// What a flag forbids or affects.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Consequence {
    /// Noise steps.
    NoiseStep,
    /// C/N0.
    CarrierToNoise,
    /// Absolute levels and densities.
    Level,
}

/// A number of the evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// What it is.
    pub label: String,
    /// Value.
    pub value: f64,
    /// Unit.
    pub unit: Unit,
}

/// One finding.
#[derive(Debug, Clone, PartialEq)]
pub struct Flag {
    /// About what.
    pub kind: FlagKind,
    /// How bad.
    pub severity: Severity,
    /// In a few words.
    pub title: String,
    /// What was seen.
    pub evidence: String,
    /// The same as numbers.
    pub figures: Vec<Figure>,
    /// What it means for the figures.
    pub consequence: String,
    /// What to do.
    pub remedy: String,
    /// What is refused because of it.
    pub refuses: Vec<Consequence>,
    /// What it makes less certain, by `added_u_db` each.
    pub affects: Vec<Consequence>,
    /// Standard uncertainty added, dB.
    pub added_u_db: f64,
}

impl Flag {
    fn new(kind: FlagKind, severity: Severity, title: &str, evidence: String) -> Self {
        Self {
            kind,
            severity,
            title: title.into(),
            evidence,
            figures: Vec::new(),
            consequence: String::new(),
            remedy: String::new(),
            refuses: Vec::new(),
            affects: Vec::new(),
            added_u_db: 0.0,
        }
    }
    fn figure(mut self, label: &str, value: f64, unit: Unit) -> Self {
        self.figures.push(Figure {
            label: label.into(),
            value,
            unit,
        });
        self
    }
    fn means(mut self, consequence: &str, remedy: &str) -> Self {
        self.consequence = consequence.into();
        self.remedy = remedy.into();
        self
    }
    fn refusing(mut self, what: &[Consequence]) -> Self {
        self.refuses = what.to_vec();
        self
    }
    fn adding(mut self, u_db: f64, what: &[Consequence]) -> Self {
        self.added_u_db = u_db;
        self.affects = what.to_vec();
        self
    }
}

const EVERYTHING: [Consequence; 3] = [
    Consequence::NoiseStep,
    Consequence::CarrierToNoise,
    Consequence::Level,
];

/// What the examination looks at.
pub(crate) struct Facts<'a> {
    pub plan: &'a SearchPlan,
    pub location: Option<&'a Location>,
    pub centre_hz: f64,
    pub about: &'a About,
    pub s: &'a Spectrum,
    pub floor: &'a [f64],
    pub bands: &'a [PlacedBand],
    pub rows: &'a [Row],
    pub zones: &'a [Vec<Range<usize>>],
    pub levels: &'a LevelStats,
    pub beacons: &'a [BeaconMeasured],
    pub steps: &'a [(String, Result<NoiseStep, NoStep>)],
}

impl Facts<'_> {
    fn own_offset(&self) -> Option<f64> {
        let l = self.location?;
        Some(
            l.meaning
                .offset_hz(self.plan.own_transmit_hz?, self.centre_hz)
                + l.shift_hz,
        )
    }
    fn in_passband(&self, f: f64) -> bool {
        let Some(l) = self.location else { return false };
        let rf = l.meaning.rf_hz(f - l.shift_hz, self.centre_hz);
        self.plan.passbands.iter().any(|p| {
            let m = 0.05 * p.width_hz();
            (p.lo_hz - m..=p.hi_hz + m).contains(&rf)
        })
    }
}

/// All flags, worst first.
pub(super) fn examine(x: &Facts<'_>, signals: &[Signal]) -> Vec<Flag> {
    let mut flags = Vec::new();
    gain::gain(x, &mut flags);
    let c = converter::Converter {
        about: x.about,
        s: x.s,
        floor: x.floor,
        levels: x.levels,
    };
    converter::clipping(&c, &mut flags);
    converter::bits(&c, &mut flags);
    converter::converter(&c, &mut flags);
    company::spurs(x, signals, &mut flags);
    company::splatter(x, signals, &mut flags);
    company::own_transmitter(x, signals, &mut flags);
    company::lost_samples(x, &mut flags);
    company::interference(x, &mut flags);
    company::place(x, &mut flags);
    flags.sort_by_key(|f| std::cmp::Reverse(f.severity));
    flags
}
