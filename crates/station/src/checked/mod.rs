//! A station as checked: every figure present, in base units, known to be possible.
//!
//! Units of every [`Contributor`] here (its `unit` field repeats them): lengths m, angles rad, frequencies Hz,
//! durations s, temperatures K, losses and gains and ratios of levels dB, powers and EIRP dBW, antenna gains dBi,
//! G/T dB/K, power densities dBW/Hz, volts V, currents A, resistances ohm, thermal resistances K/W, rain mm/h,
//! pressure hPa, vapour density g/m3, column contents kg/m2, shares and factors 1 (plain), oscillator errors Hz.
//! Losses are positive when they lose.
//!
//! The *identity* of a contributor is the dotted path of the thing, for example `rx.lnb.noise_figure`. A variant that
//! replaces a value gives it a new identity, suffixed with its name (`rx.lnb.noise_figure@better-lnb`); what it leaves
//! alone keeps its identity, so that both sides of a swap share that draw. A figure that the file does not give stands
//! here all the same, with `source` starting with `default` or `guess (wide prior)`.
//!
//! What is exact by nature (names, counts, nominal frequencies, the position on a map) is a plain newtype.

mod chain;
mod coil;
mod contributors;
mod feed;
mod log;
mod memo;
mod network;
mod part;
mod plant;
mod radiator;
mod reading;
mod reflector;
mod satellite;
mod set;
mod site;

pub use chain::{
    Branch, Node, NodeIndex, PortRef, ReceiveTree, Segment, Stage, SwitchedVolts, Transmit,
    TransmitLevel,
};
pub use coil::{CoilFeed, HornFeed, HornKind};
pub use feed::{
    Cover, Feed, FeedPattern, PatternRow, PhaseCentre, ReceiveFeed, Shadow, TransmitFeed,
};
pub use log::{LogEntry, RampEntry};
pub use memo::{FigureStore, Memo};
pub use network::{Gap, Matching, Reflection, ReflectionRow};
pub use part::{
    AmAmRow, Amplifier, Attenuator, BiasTee, Cable, Connector, EfficiencyPoint, Filter, Lnb,
    LnbPolarisation, LossPoint, Part, PartKind, Receiver, ReceiverOutput, Rejection, Splitter,
    Transmitter,
};
pub use plant::{Cooling, ExposureLimits, Supply, SupplySource, Wind};
pub use radiator::{PatchRingFeed, Radiator};
pub use reading::{Reading, ReadingQuantity, TrialDefaults};
pub use reflector::{Blockage, FeedArm, Reflector, ReflectorShape, Surface};
pub use satellite::{
    Band, Beacon, BeaconKind, OperatingRule, Orbit, Passband, PassbandUse, Satellite,
};
pub use set::SetEntry;
pub use site::{Climate, HorizonPoint, Obstacle, Site};

#[allow(unused_imports)] // named in the documentation above
use slantpath_quantity::Contributor;

/// A polarisation. Linear ones are named as the satellite's operator names them; circular senses follow IEEE Std 145
/// (looking along the direction of travel, RHCP turns clockwise).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Polarisation {
    /// Linear, horizontal.
    Horizontal,
    /// Linear, vertical.
    Vertical,
    /// Circular, right hand.
    Rhcp,
    /// Circular, left hand.
    Lhcp,
}

impl Polarisation {
    /// As written in a file.
    pub fn name(self) -> &'static str {
        match self {
            Self::Horizontal => "horizontal",
            Self::Vertical => "vertical",
            Self::Rhcp => "RHCP",
            Self::Lhcp => "LHCP",
        }
    }
    /// RHCP or LHCP.
    pub fn is_circular(self) -> bool {
        matches!(self, Self::Rhcp | Self::Lhcp)
    }
    /// The orthogonal one. A reflection turns a circular sense into it.
    pub fn opposite(self) -> Self {
        match self {
            Self::Horizontal => Self::Vertical,
            Self::Vertical => Self::Horizontal,
            Self::Rhcp => Self::Lhcp,
            Self::Lhcp => Self::Rhcp,
        }
    }
}

/// Everything one station file says, every variant checked.
#[derive(Debug, Clone, PartialEq)]
pub struct StationFile {
    /// The station without any variant.
    pub base: Station,
    /// Variants in the order of the file: each a whole station, named by [`Station::variant`].
    pub variants: Vec<Station>,
}

impl StationFile {
    /// The base (`None`) or the variant of that name.
    pub fn variant(&self, name: Option<&str>) -> Option<&Station> {
        match name {
            None => Some(&self.base),
            Some(n) => self
                .variants
                .iter()
                .find(|v| v.variant.as_deref() == Some(n)),
        }
    }
    /// Names of the variants, in the order of the file.
    pub fn variant_names(&self) -> Vec<&str> {
        self.variants
            .iter()
            .filter_map(|v| v.variant.as_deref())
            .collect()
    }
}

/// One station, whole, in one variant.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// What its people call it.
    pub name: String,
    /// Callsign, if written.
    pub callsign: Option<String>,
    /// The variant that this is; `None` for the base.
    pub variant: Option<String>,
    /// Path of the satellite file as written (relative to the station file).
    pub satellite_path: String,
    /// The satellite.
    pub satellite: Satellite,
    /// Where it stands.
    pub site: Site,
    /// The dish.
    pub reflector: Reflector,
    /// The feed in use.
    pub feed: Feed,
    /// Receive parts as a tree with its named branches.
    pub receive: ReceiveTree,
    /// Transmit parts in order; `None` for a station that only receives.
    pub transmit: Option<Transmit>,
    /// Supply of the transmit side.
    pub supply: Option<Supply>,
    /// Cooling of the power amplifier.
    pub cooling: Option<Cooling>,
    /// Exposure limits that bind the station.
    pub limits: Option<ExposureLimits>,
    /// Wind by the local code.
    pub wind: Option<Wind>,
    /// Typed readings written in the station file itself.
    pub readings: Vec<Reading>,
    /// What a swap trial cannot show, where the file says it.
    pub trial: TrialDefaults,
}

impl Station {
    /// Every contributor of the station and its satellite, once each, in a fixed order (the order in which the types
    /// list them): the inputs of a Monte Carlo run.
    pub fn contributors(&self) -> Vec<&Contributor> {
        contributors::of_station(self)
    }
}

impl Satellite {
    /// Every contributor of the satellite, in a fixed order.
    pub fn contributors(&self) -> Vec<&Contributor> {
        contributors::of_satellite(self)
    }
}
