//! Where to look. A plan says what may be in a recording and never how strong it is expected to be.

/// What a beacon looks like.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum BeaconKind {
    /// Unmodulated carrier.
    Carrier,
    /// Carrier keyed on and off; its level is the key-down power.
    KeyedCarrier,
    /// Binary phase shift keying with root-raised-cosine pulses; its level is the mean power.
    Bpsk {
        /// Symbol rate, Bd (data symbols; a Manchester symbol is a pair of opposite pulses).
        symbol_rate: f64,
        /// Roll-off.
        rolloff: f64,
        /// Manchester coded.
        manchester: bool,
    },
    /// Any other root-raised-cosine modulation, for example DVB-S2; its level is the mean power.
    Modulated {
        /// Symbol rate, Bd.
        symbol_rate: f64,
        /// Roll-off.
        rolloff: f64,
    },
}

impl BeaconKind {
    /// Half of the occupied bandwidth, Hz, with room for phase noise and keying sidebands.
    pub fn half_width_hz(self) -> f64 {
        match self {
            Self::Carrier => 150.0,
            Self::KeyedCarrier => 250.0,
            Self::Bpsk {
                symbol_rate,
                rolloff,
                manchester,
            } => {
                let pulses = if manchester { 2.0 } else { 1.0 };
                0.5 * (1.0 + rolloff) * symbol_rate * pulses + 50.0
            }
            Self::Modulated {
                symbol_rate,
                rolloff,
            } => 0.5 * (1.0 + rolloff) * symbol_rate * 1.02,
        }
    }
}

/// A beacon to look for.
#[derive(Debug, Clone, PartialEq)]
pub struct BeaconPlan {
    /// Name within its passband, used in measurand identities.
    pub name: String,
    /// Name of the passband it belongs to.
    pub passband: String,
    /// Downlink frequency, Hz.
    pub rf_hz: f64,
    /// What it looks like.
    pub kind: BeaconKind,
}

/// A transponder's downlink passband.
#[derive(Debug, Clone, PartialEq)]
pub struct PassbandPlan {
    /// Name, used in measurand identities.
    pub name: String,
    /// Lower edge, Hz downlink.
    pub lo_hz: f64,
    /// Upper edge, Hz downlink.
    pub hi_hz: f64,
}

impl PassbandPlan {
    /// Middle, Hz downlink.
    pub fn centre_hz(&self) -> f64 {
        0.5 * (self.lo_hz + self.hi_hz)
    }
    /// Width, Hz.
    pub fn width_hz(&self) -> f64 {
        self.hi_hz - self.lo_hz
    }
}

/// What a recording's centre frequency may mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CentreMeaning {
    /// The downlink frequency itself.
    TrueRf,
    /// An intermediate frequency behind an oscillator below the downlink: `rf = centre + lo`.
    Intermediate {
        /// Nominal oscillator, Hz.
        lo_hz: f64,
    },
    /// An intermediate frequency behind an oscillator above the downlink: `rf = lo - centre`, the spectrum is
    /// inverted.
    Inverted {
        /// Nominal oscillator, Hz.
        lo_hz: f64,
    },
}

impl CentreMeaning {
    /// Where a downlink frequency stands in a recording, Hz from its centre, with every oscillator at its nominal.
    pub fn offset_hz(self, rf_hz: f64, centre_hz: f64) -> f64 {
        match self {
            Self::TrueRf => rf_hz - centre_hz,
            Self::Intermediate { lo_hz } => rf_hz - lo_hz - centre_hz,
            Self::Inverted { lo_hz } => lo_hz - rf_hz - centre_hz,
        }
    }
    /// The downlink frequency at an offset from the centre.
    pub fn rf_hz(self, offset_hz: f64, centre_hz: f64) -> f64 {
        match self {
            Self::TrueRf => centre_hz + offset_hz,
            Self::Intermediate { lo_hz } => centre_hz + offset_hz + lo_hz,
            Self::Inverted { lo_hz } => lo_hz - centre_hz - offset_hz,
        }
    }
    /// True when frequencies run backwards.
    pub fn is_inverted(self) -> bool {
        matches!(self, Self::Inverted { .. })
    }
    /// In words.
    pub fn describe(self) -> String {
        match self {
            Self::TrueRf => "the centre is the true downlink frequency".into(),
            Self::Intermediate { lo_hz } => format!(
                "the centre is an intermediate frequency behind an oscillator at {:.3} MHz",
                lo_hz * 1e-6
            ),
            Self::Inverted { lo_hz } => format!(
                "the centre is an intermediate frequency behind an oscillator at {:.3} MHz above the downlink; the \
                 spectrum is inverted",
                lo_hz * 1e-6
            ),
        }
    }
}

/// Oscillator tolerance each way of a plain LNB, Hz (common practice, no source).
pub const PLAIN_LNB_TOLERANCE_HZ: f64 = 300e3;

/// Everything a measurement may know of the station and the satellite.
#[derive(Debug, Clone, PartialEq)]
pub struct SearchPlan {
    /// Centre frequency that overrides the recording's own, Hz.
    pub centre_hz: Option<f64>,
    /// What the centre may mean, in order of preference.
    pub meanings: Vec<CentreMeaning>,
    /// How far the oscillator may be off, Hz each way.
    pub lo_tolerance_hz: f64,
    /// How fast it may drift, Hz/s each way.
    pub drift_tolerance_hz_per_s: f64,
    /// Passbands.
    pub passbands: Vec<PassbandPlan>,
    /// Beacons.
    pub beacons: Vec<BeaconPlan>,
    /// Downlink frequency of the own transmission when the transmitter may be on, Hz.
    pub own_transmit_hz: Option<f64>,
}

impl SearchPlan {
    /// A plan with the usual tolerances: 300 kHz, 30 Hz/s.
    pub fn new(
        meanings: Vec<CentreMeaning>,
        passbands: Vec<PassbandPlan>,
        beacons: Vec<BeaconPlan>,
    ) -> Self {
        Self {
            centre_hz: None,
            meanings,
            lo_tolerance_hz: PLAIN_LNB_TOLERANCE_HZ,
            drift_tolerance_hz_per_s: 30.0,
            passbands,
            beacons,
            own_transmit_hz: None,
        }
    }
    /// Passband of that name.
    pub fn passband(&self, name: &str) -> Option<&PassbandPlan> {
        self.passbands.iter().find(|p| p.name == name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn meanings_round_trip() {
        let rf = 10_472.525e6;
        for (m, c) in [
            (CentreMeaning::TrueRf, 10_472.35e6),
            (CentreMeaning::Intermediate { lo_hz: 9_750e6 }, 722.35e6),
            (CentreMeaning::Inverted { lo_hz: 11_195e6 }, 722.65e6),
        ] {
            let o = m.offset_hz(rf, c);
            assert!((o.abs() - 175e3).abs() < 1e-3, "{m:?} {o}");
            assert!((m.rf_hz(o, c) - rf).abs() < 1e-5);
        }
    }
}
