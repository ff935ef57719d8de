//! Values that a person typed: what only a meter or a receiver's screen shows.

use slantpath_quantity::Contributor;

/// One typed reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// What was read.
    pub quantity: ReadingQuantity,
    /// Value with its uncertainty in the quantity's unit. Id `reading.<n>` (or the file's name and row).
    pub value: Contributor,
    /// True when the value stands at the instrument's ceiling: the truth is this or more.
    pub at_ceiling: bool,
    /// The instrument's ceiling, in the quantity's unit.
    pub ceiling: Option<f64>,
    /// When, as written: RFC 3339, for example `2026-05-03T14:20:00Z`.
    pub time: Option<String>,
    /// Branch on which it was read.
    pub branch: Option<String>,
    /// Instrument.
    pub instrument: Option<String>,
    /// Passband, for quantities that belong to one.
    pub passband: Option<String>,
    /// Beacon, for quantities that belong to one.
    pub beacon: Option<String>,
    /// Side of a trial (`A`, `B`), if any.
    pub set: Option<String>,
    /// Name of the mounting: readings with the same one were taken without touching anything between.
    pub mounting: Option<String>,
}

/// What a typed reading can be, with the unit of its value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum ReadingQuantity {
    /// Modulation error ratio, dB.
    Mer,
    /// Carrier-to-noise-density ratio, dBHz.
    Cn0,
    /// Noise step at the passband's edge, dB.
    NoiseStep,
    /// Y factor (sun over cold sky, absorber over sky), dB.
    YFactor,
    /// Margin shown by a receiver, dB.
    Margin,
    /// Level shown by a meter or a receiver, dB against whatever it uses as reference: only changes of it mean something.
    Level,
    /// Volts at the LNB, V.
    LnbVolts,
    /// LNB current, A.
    LnbCurrent,
    /// Forward power, dBW.
    ForwardPower,
    /// Reflected power, dBW.
    ReflectedPower,
    /// Sink temperature, K.
    SinkTemperature,
    /// Supply current of the amplifier, A.
    SupplyCurrent,
    /// Supply volts at the amplifier, V.
    SupplyVolts,
    /// Frequency of a beacon as received, Hz.
    BeaconFrequency,
    /// A beacon's level on its own polarisation over that with the converter switched to the other one, dB.
    CrossPolar,
}

impl ReadingQuantity {
    /// Whether it is kept in dB, so that two sides of a swap can be compared by it.
    pub fn is_decibel(self) -> bool {
        matches!(
            self,
            Self::Mer
                | Self::Cn0
                | Self::NoiseStep
                | Self::YFactor
                | Self::Margin
                | Self::Level
                | Self::ForwardPower
                | Self::ReflectedPower
                | Self::CrossPolar
        )
    }
    /// Every one.
    pub const ALL: &'static [ReadingQuantity] = &[
        Self::Mer,
        Self::Cn0,
        Self::NoiseStep,
        Self::YFactor,
        Self::Margin,
        Self::Level,
        Self::LnbVolts,
        Self::LnbCurrent,
        Self::ForwardPower,
        Self::ReflectedPower,
        Self::SinkTemperature,
        Self::SupplyCurrent,
        Self::SupplyVolts,
        Self::BeaconFrequency,
        Self::CrossPolar,
    ];
    /// As written in a file.
    pub fn name(self) -> &'static str {
        match self {
            Self::Mer => "mer",
            Self::Cn0 => "cn0",
            Self::NoiseStep => "noise_step",
            Self::YFactor => "y_factor",
            Self::Margin => "margin",
            Self::Level => "level",
            Self::LnbVolts => "lnb_volts",
            Self::LnbCurrent => "lnb_current",
            Self::ForwardPower => "forward_power",
            Self::ReflectedPower => "reflected_power",
            Self::SinkTemperature => "sink_temperature",
            Self::SupplyCurrent => "supply_current",
            Self::SupplyVolts => "supply_volts",
            Self::BeaconFrequency => "beacon_frequency",
            Self::CrossPolar => "cross_polar",
        }
    }
}

/// How much things change from one occasion to the next, as standard uncertainties in dB; `None` where the file is silent.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct TrialDefaults {
    /// The satellite's level from day to day, dB.
    pub satellite_level_db: Option<f64>,
    /// The path through the air from day to day, dB.
    pub air_db: Option<f64>,
    /// One mounting of the part, dB.
    pub remount_db: Option<f64>,
    /// How long a day-to-day value lasts, s.
    pub correlation_s: Option<f64>,
}
