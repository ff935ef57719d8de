//! The satellite: what is published, and wide priors for what is not.

use super::Polarisation;
use slantpath_quantity::{Angle, Contributor, Frequency};

/// A geostationary satellite with its amateur passbands.
#[derive(Debug, Clone, PartialEq)]
pub struct Satellite {
    /// Name.
    pub name: String,
    /// Where it is.
    pub orbit: Orbit,
    /// Turn of its polarisation against the equatorial plane, rad, positive clockwise looking at the satellite.
    /// Id `sat.polarisation_tilt`.
    pub polarisation_tilt: Contributor,
    /// Passbands in the order of the file.
    pub passbands: Vec<Passband>,
}

impl Satellite {
    /// The passband of that name.
    pub fn passband(&self, name: &str) -> Option<&Passband> {
        self.passbands.iter().find(|p| p.name == name)
    }
}

/// Where the satellite is.
#[derive(Debug, Clone, PartialEq)]
pub enum Orbit {
    /// A slot on the geostationary arc.
    Slot {
        /// Longitude, east positive.
        longitude: Angle,
        /// Inclination, if written.
        inclination: Option<Angle>,
        /// Eccentricity, if written.
        eccentricity: Option<f64>,
    },
    /// Two-line elements, and the slot if it was written as well.
    Tle {
        /// First line.
        line1: String,
        /// Second line.
        line2: String,
        /// Longitude of the slot.
        longitude: Option<Angle>,
    },
    /// Orbit Mean-elements Message (CCSDS 502.0-B), its text (JSON, KVN or XML), and the slot if it was written.
    Omm {
        /// The message.
        text: String,
        /// Longitude of the slot.
        longitude: Option<Angle>,
    },
}

impl Orbit {
    /// Longitude of the slot, if written.
    pub fn longitude(&self) -> Option<Angle> {
        match self {
            Self::Slot { longitude, .. } => Some(*longitude),
            Self::Tle { longitude, .. } | Self::Omm { longitude, .. } => *longitude,
        }
    }
}

/// A range of frequencies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Lower end.
    pub lo: Frequency,
    /// Upper end, above `lo`.
    pub hi: Frequency,
}

impl Band {
    /// Middle.
    pub fn centre(&self) -> Frequency {
        Frequency::hz(0.5 * (self.lo.as_hz() + self.hi.as_hz()))
    }
    /// Width.
    pub fn width(&self) -> Frequency {
        self.hi - self.lo
    }
    /// Whether `f` lies inside, ends included.
    pub fn contains(&self, f: Frequency) -> bool {
        self.lo <= f && f <= self.hi
    }
    /// Whether all of `other` lies inside.
    pub fn covers(&self, other: &Band) -> bool {
        self.lo <= other.lo && other.hi <= self.hi
    }
}

/// One transponder. Ids `sat.<passband>.<field>`.
#[derive(Debug, Clone, PartialEq)]
pub struct Passband {
    /// Its name in the file.
    pub name: String,
    /// What it is for.
    pub usage: PassbandUse,
    /// Uplink.
    pub uplink: Band,
    /// Downlink.
    pub downlink: Band,
    /// True when the spectrum is mirrored between uplink and downlink.
    pub inverted: bool,
    /// Downlink minus uplink frequency for a passband that is not inverted; sum of both when inverted.
    pub translation: Frequency,
    /// Polarisation of the uplink as it arrives at the satellite.
    pub uplink_polarisation: Polarisation,
    /// Polarisation of the downlink.
    pub downlink_polarisation: Polarisation,
    /// Saturated EIRP, dBW.
    pub saturated_eirp: Contributor,
    /// G/T of the satellite's receiver, dB/K.
    pub g_over_t: Contributor,
    /// EIRP density of the noise that it sends when nobody transmits, dBW/Hz.
    pub noise_density: Contributor,
    /// What is allowed relative to a beacon.
    pub rule: Option<OperatingRule>,
    /// Symbol rates in use, Bd; empty when not stated.
    pub symbol_rates: Vec<f64>,
    /// Beacons in the order of the file.
    pub beacons: Vec<Beacon>,
}

impl Passband {
    /// The beacon of that name.
    pub fn beacon(&self, name: &str) -> Option<&Beacon> {
        self.beacons.iter().find(|b| b.name == name)
    }
    /// Downlink frequency of an uplink frequency.
    pub fn down(&self, up: Frequency) -> Frequency {
        if self.inverted {
            self.translation - up
        } else {
            up + self.translation
        }
    }
    /// Uplink frequency of a downlink frequency.
    pub fn up(&self, down: Frequency) -> Frequency {
        if self.inverted {
            self.translation - down
        } else {
            down - self.translation
        }
    }
    /// The beacon that the operating rule refers to, else the first.
    pub fn reference_beacon(&self) -> Option<&Beacon> {
        let named = self.rule.as_ref().and_then(|r| self.beacon(&r.beacon));
        named.or_else(|| self.beacons.first())
    }
}

/// What a passband is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PassbandUse {
    /// Voice and telegraphy.
    Narrow,
    /// Digital television.
    Wide,
}

/// What is allowed relative to a beacon.
#[derive(Debug, Clone, PartialEq)]
pub struct OperatingRule {
    /// The beacon that it refers to.
    pub beacon: String,
    /// Highest allowed level relative to the beacon, dB: narrow: peak envelope power in the same bandwidth; wide: power
    /// spectral density.
    pub limit_db: f64,
}

/// A beacon.
#[derive(Debug, Clone, PartialEq)]
pub struct Beacon {
    /// Its name.
    pub name: String,
    /// Downlink frequency (centre).
    pub frequency: Frequency,
    /// What it sends.
    pub kind: BeaconKind,
    /// EIRP, dBW (keyed carrier: key down; others: mean). Id `sat.<passband>.<beacon>.eirp`.
    pub eirp: Contributor,
}

/// What a beacon sends.
#[derive(Debug, Clone, PartialEq)]
pub enum BeaconKind {
    /// A plain carrier.
    Carrier,
    /// A carrier keyed on and off.
    KeyedCarrier,
    /// BPSK.
    Bpsk {
        /// Symbol rate, Bd.
        symbol_rate: f64,
        /// Whether the data are differentially coded.
        differential: bool,
        /// Roll-off of the root-raised-cosine pulse; `None`: rectangular pulses.
        rolloff: Option<f64>,
        /// Whether each bit is sent as a Manchester pair (no carrier line, two humps).
        manchester: bool,
    },
    /// DVB-S2 (EN 302 307-1).
    DvbS2 {
        /// MODCOD as written, for example `8PSK 3/5`; one of the 28 of table 12.
        modcod: String,
        /// Symbol rate, Bd.
        symbol_rate: f64,
        /// Roll-off: 0.20, 0.25 or 0.35.
        rolloff: f64,
        /// Whether pilots are sent, if known.
        pilots: Option<bool>,
        /// Whether frames are short, if known.
        short_frames: Option<bool>,
    },
}

impl BeaconKind {
    /// As written in a file.
    pub fn name(&self) -> &'static str {
        match self {
            Self::Carrier => "carrier",
            Self::KeyedCarrier => "keyed-carrier",
            Self::Bpsk { .. } => "bpsk",
            Self::DvbS2 { .. } => "dvb-s2",
        }
    }
    /// Symbol rate, Bd, of the modulated kinds.
    pub fn symbol_rate(&self) -> Option<f64> {
        match self {
            Self::Bpsk { symbol_rate, .. } | Self::DvbS2 { symbol_rate, .. } => Some(*symbol_rate),
            _ => None,
        }
    }
}
