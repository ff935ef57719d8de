//! Parts of the chains. Ids are `rx.<part>.<field>` or `tx.<part>.<field>` by where the part stands.

use super::{Band, Polarisation};
use slantpath_quantity::{Angle, Contributor, Frequency};

/// One part: one physical thing, standing in one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Its name in the file.
    pub name: String,
    /// What a person calls it (`label` in the file, else the name).
    pub label: String,
    /// What it is.
    pub kind: PartKind,
}

/// What a part is, with its figures.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)] // each variant is documented at its type
pub enum PartKind {
    Lnb(Lnb),
    Cable(Cable),
    Splitter(Splitter),
    Connector(Connector),
    Attenuator(Attenuator),
    Filter(Filter),
    BiasTee(BiasTee),
    Amplifier(Amplifier),
    Receiver(Receiver),
    Transmitter(Transmitter),
}

impl PartKind {
    /// As written in a file.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Lnb(_) => "lnb",
            Self::Cable(_) => "cable",
            Self::Splitter(_) => "splitter",
            Self::Connector(_) => "connector",
            Self::Attenuator(_) => "attenuator",
            Self::Filter(_) => "filter",
            Self::BiasTee(_) => "bias-tee",
            Self::Amplifier(_) => "amplifier",
            Self::Receiver(_) => "receiver",
            Self::Transmitter(_) => "transmitter",
        }
    }
    /// Number of output ports (numbered from 1).
    pub fn outputs(&self) -> u32 {
        match self {
            Self::Lnb(l) => l.ports,
            Self::Splitter(s) => s.ways,
            Self::Receiver(_) => 0,
            _ => 1,
        }
    }
}

/// Low-noise block converter.
#[derive(Debug, Clone, PartialEq)]
pub struct Lnb {
    /// Noise figure at T0 = 290 K, dB.
    pub noise_figure: Contributor,
    /// Conversion gain, dB.
    pub gain: Contributor,
    /// Nominal oscillator frequency.
    pub lo: Frequency,
    /// True oscillator frequency minus nominal, Hz. Id `rx.<part>.lo_error`.
    pub lo_error: Contributor,
    /// Change of the oscillator with temperature, ppm per kelvin.
    pub lo_ppm_per_kelvin: Contributor,
    /// How far it wanders over an ordinary day, Hz, peak to peak.
    pub lo_wander_per_day: Contributor,
    /// Second oscillator chosen by the 22 kHz tone.
    pub lo_with_tone: Option<Frequency>,
    /// True when the oscillator is above the signal (the spectrum is mirrored).
    pub inverted: bool,
    /// How the polarisation is chosen.
    pub polarisation: LnbPolarisation,
    /// Least volts at which it works, V.
    pub min_volts: Contributor,
    /// Most volts it stands, V.
    pub max_volts: Contributor,
    /// Supply current, A.
    pub current: Contributor,
    /// Frequencies it accepts.
    pub input_range: Band,
    /// Intermediate frequencies it delivers.
    pub output_range: Band,
    /// Output ports: 1, or 2 and more for a twin or quad.
    pub ports: u32,
    /// Output power at 1 dB compression, dBW.
    pub output_p1db: Contributor,
}

/// How an LNB chooses its polarisation.
#[derive(Debug, Clone, PartialEq)]
pub enum LnbPolarisation {
    /// By the volts on each port: below the threshold vertical, above horizontal.
    Switched {
        /// Threshold, V. Id `rx.<part>.switch_volts`.
        threshold: Contributor,
    },
    /// One for each port (port 1 first).
    Fixed(Vec<Polarisation>),
}

/// A length of coaxial cable.
#[derive(Debug, Clone, PartialEq)]
pub struct Cable {
    /// Generic kind, if the figures came from one.
    pub generic: Option<String>,
    /// Loss per length at some frequencies, rising; between them a law in f and sqrt f.
    pub loss: Vec<LossPoint>,
    /// Factor on the whole loss table, plain, mean 1: carries its uncertainty. Id `<side>.<part>.loss`.
    pub loss_factor: Contributor,
    /// Length, m. Id `<side>.<part>.length`.
    pub length: Contributor,
    /// DC resistance out and back, ohm per metre. Id `<side>.<part>.resistance`.
    pub resistance_per_m: Contributor,
}

/// Loss at a frequency.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LossPoint {
    /// Frequency.
    pub frequency: Frequency,
    /// Loss per metre, dB/m, >= 0.
    pub db_per_m: f64,
}

/// Splitter with one input and `ways` outputs.
#[derive(Debug, Clone, PartialEq)]
pub struct Splitter {
    /// Outputs.
    pub ways: u32,
    /// Loss from input to each output, splitting included, dB.
    pub loss: Contributor,
    /// Isolation between outputs, dB.
    pub isolation: Contributor,
    /// Output ports (from 1) that pass DC and tone towards the input.
    pub dc_ports: Vec<u32>,
}

/// Connector or adapter.
#[derive(Debug, Clone, PartialEq)]
pub struct Connector {
    /// Loss, dB.
    pub loss: Contributor,
    /// False for a DC block.
    pub dc_pass: bool,
}

/// Attenuator.
#[derive(Debug, Clone, PartialEq)]
pub struct Attenuator {
    /// Loss, dB.
    pub loss: Contributor,
    /// Greatest input that does no harm, dBW.
    pub max_input: Option<Contributor>,
    /// Whether DC passes.
    pub dc_pass: bool,
}

/// Filter.
#[derive(Debug, Clone, PartialEq)]
pub struct Filter {
    /// What it passes.
    pub passband: Band,
    /// Loss in the passband, dB.
    pub loss: Contributor,
    /// Rejection at some frequencies outside.
    pub rejection: Vec<Rejection>,
    /// Greatest input that does no harm, dBW.
    pub max_input: Option<Contributor>,
    /// Whether DC passes.
    pub dc_pass: bool,
}

/// Rejection at a frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct Rejection {
    /// Frequency.
    pub frequency: Frequency,
    /// Attenuation there, dB.
    pub attenuation_db: f64,
}

/// Bias tee: feeds DC towards the dish and blocks it towards the receiver.
#[derive(Debug, Clone, PartialEq)]
pub struct BiasTee {
    /// Loss, dB.
    pub loss: Contributor,
    /// Volts it puts on the cable, V; `None`: nothing connected.
    pub volts: Option<Contributor>,
    /// Whether it sends the 22 kHz tone.
    pub tone: bool,
    /// Greatest current it delivers, A.
    pub max_current: Option<Contributor>,
    /// Series resistance, ohm.
    pub resistance: Contributor,
}

/// Amplifier: a line amplifier, a driver, a power amplifier.
#[derive(Debug, Clone, PartialEq)]
pub struct Amplifier {
    /// Small-signal gain, dB.
    pub gain: Contributor,
    /// Noise figure, dB.
    pub noise_figure: Contributor,
    /// Output power at 1 dB compression, dBW.
    pub p1db: Option<Contributor>,
    /// Saturated output power, dBW.
    pub psat: Option<Contributor>,
    /// Smoothness of the Rapp model, plain; `None`: from P1dB and saturation.
    pub smoothness: Option<Contributor>,
    /// Measured AM/AM (and AM/PM), rising; empty when not measured.
    pub am_am: Vec<AmAmRow>,
    /// Greatest input that does no harm, dBW.
    pub max_input: Option<Contributor>,
    /// Greatest reflected power that does no harm, dBW.
    pub max_reflected: Option<Contributor>,
    /// Greatest mean output that it stands for long, dBW.
    pub max_mean_power: Option<Contributor>,
    /// Efficiency at some output powers, rising.
    pub efficiency: Vec<EfficiencyPoint>,
    /// Supply volts, V.
    pub supply_volts: Option<Contributor>,
    /// Current it takes over the cable (line amplifier), A.
    pub current: Option<Contributor>,
    /// Frequencies for which the figures hold.
    pub frequency_range: Option<Band>,
    /// Whether DC passes from output to input (line amplifiers).
    pub dc_pass: bool,
}

/// One row of an AM/AM table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AmAmRow {
    /// Input power, dBW.
    pub input_dbw: f64,
    /// Output power, dBW.
    pub output_dbw: f64,
    /// Phase against the first row, if measured.
    pub phase: Option<Angle>,
}

/// Efficiency at one output power.
#[derive(Debug, Clone, PartialEq)]
pub struct EfficiencyPoint {
    /// Mean output power, dBW.
    pub output_dbw: f64,
    /// RF out over DC in, 0..1. Id `tx.<part>.efficiency.<n>`.
    pub efficiency: Contributor,
}

/// Receiver.
#[derive(Debug, Clone, PartialEq)]
pub struct Receiver {
    /// What it delivers.
    pub output: ReceiverOutput,
    /// Noise figure at the gain in use, dB.
    pub noise_figure: Contributor,
    /// Effective bits of its converter.
    pub bits: Contributor,
    /// Input power of a sine at full scale at the gain in use, dBW.
    pub full_scale: Contributor,
    /// Frequencies it tunes.
    pub frequency_range: Band,
    /// Widest bandwidth it delivers.
    pub bandwidth: Frequency,
    /// Sample rate in use.
    pub sample_rate: Option<Frequency>,
    /// Range of its gain setting, dB (lowest, highest), when it can be set.
    pub gain_range_db: Option<(f64, f64)>,
    /// Volts it puts on its input, V; `None`: it puts none.
    pub bias_volts: Option<Contributor>,
    /// Whether it sends the 22 kHz tone.
    pub tone: bool,
    /// Whether automatic gain is on.
    pub agc: bool,
    /// Highest MER that it can show, dB.
    pub mer_ceiling: Option<Contributor>,
}

/// What a receiver delivers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReceiverOutput {
    /// Samples.
    Samples,
    /// Only figures on a screen (typed readings).
    Readings,
}

/// Transmitter: the source of the transmit chain.
#[derive(Debug, Clone, PartialEq)]
pub struct Transmitter {
    /// Greatest output power, dBW.
    pub max_power: Contributor,
    /// Frequencies it covers.
    pub frequency_range: Band,
    /// True frequency minus set frequency at the transmit frequency, Hz. Id `tx.<part>.frequency_error`.
    pub frequency_error: Contributor,
    /// Bits of its converter, if it has one.
    pub bits: Option<Contributor>,
    /// MER of its own output, dB, if known.
    pub own_mer: Option<Contributor>,
    /// Greatest power that may come back into its output, dBW.
    pub max_reflected: Option<Contributor>,
}
