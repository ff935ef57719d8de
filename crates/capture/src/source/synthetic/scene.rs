//! What the synthetic receiver is to hear, and what is wrong with it.

use jiff::Timestamp;

use crate::error::CaptureError;
use crate::source::about::{Component, Mount, SampleFormat};

/// A recording to be made. Densities are relative to the receiver's own noise in the reference state ("1");
/// every C/N0 is that of the reference state (receiver noise 1, nothing gained or lost), and what the other
/// fields change is accounted for in [`super::Truth`].
#[derive(Debug, Clone, PartialEq)]
pub struct Scene {
    /// What the recording is called.
    pub name: String,
    /// The same scene with the same seed is the same recording bit for bit.
    pub seed: u64,
    /// Complex samples per second.
    pub sample_rate_hz: f64,
    /// How many samples; `None` never ends.
    pub samples: Option<u64>,
    /// Stated frequency at the middle of the band.
    pub center_hz: Option<f64>,
    /// Stated time of the first sample.
    pub start: Option<Timestamp>,
    /// Stated set-up.
    pub mount: Mount,
    /// Density of the receiver's noise.
    pub receiver_noise: f64,
    /// Density of the noise that the satellite sends.
    pub satellite_noise: SatelliteNoise,
    /// What antenna and path add to everything that comes from the satellite, in dB.
    pub received_db: f64,
    /// The receiver's local oscillator.
    pub oscillator: Oscillator,
    /// What the satellite sends.
    pub signals: Vec<Signal>,
    /// What the receiver makes itself: these do not follow the oscillator.
    pub spurs: Vec<Spur>,
    /// A slow change of what comes from the satellite.
    pub fade: Option<Fade>,
    /// The receiver's filter.
    pub filter: Option<Filter>,
    /// Gain that follows the level.
    pub agc: Option<Agc>,
    /// The own transmitter.
    pub transmit: Option<Transmit>,
    /// Level of the reference receiver noise over the whole sampled band, in dB to full scale.
    pub noise_dbfs: f64,
    /// Constant added to I and Q, in full scales.
    pub dc: (f64, f64),
    /// Q against I: gain in dB and phase error in degrees.
    pub imbalance: (f64, f64),
    /// Spectrum upside down, as behind an oscillator above the band.
    pub inverted: bool,
    /// How samples are stored; sets the converter's step and rails.
    pub format: SampleFormat,
}

/// Noise that the satellite sends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SatelliteNoise {
    /// None.
    None,
    /// The same density over all of the recorded band, in dB to the reference receiver noise.
    Flat(f64),
    /// A passband with steep sides.
    Passband(Passband),
}

/// Shape of a transponder's noise: `level / (1 + |2 f / width|^order)` with tilt and ripple on the plateau.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Passband {
    /// Middle, in Hz from the middle of the recording (at an oscillator without error).
    pub centre_hz: f64,
    /// Full width at half the plateau's density.
    pub width_hz: f64,
    /// Plateau, in dB to the reference receiver noise.
    pub level_db: f64,
    /// Steepness of the sides.
    pub order: i32,
    /// Slope over the width, in dB.
    pub tilt_db: f64,
    /// Ripple, in dB, three half-waves a side.
    pub ripple_db: f64,
}

/// A local oscillator.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Oscillator {
    /// Where everything from the satellite is moved at the first sample.
    pub offset_hz: f64,
    /// How fast that changes.
    pub drift_hz_per_s: f64,
    /// Single-sideband phase noise at 100 Hz in dBc/Hz, with a 1/f^2 slope down to 1 Hz; none when not given.
    pub phase_noise_100hz_dbc: Option<f64>,
}

/// A signal from the satellite.
#[derive(Debug, Clone, PartialEq)]
pub struct Signal {
    /// What it is called.
    pub name: String,
    /// Carrier, in Hz from the middle of the recording (at an oscillator without error).
    pub offset_hz: f64,
    /// C/N0 in the reference state, in dBHz: mean power, of a keyed carrier key-down.
    pub cn0_dbhz: f64,
    /// What it carries.
    pub kind: Kind,
}

/// What a signal carries.
#[derive(Debug, Clone, PartialEq)]
pub enum Kind {
    /// Nothing.
    Carrier,
    /// Morse text with 5 ms raised-cosine edges, a long dash after each round.
    Keyed {
        /// Letters A to Z, digits and spaces.
        text: String,
        /// Speed: a dot lasts 1.2 s over this.
        words_per_minute: f64,
        /// Length of the dash after the text.
        dash_s: f64,
        /// Where in its round the recording begins.
        phase_s: f64,
    },
    /// Random bits, differentially coded, root-raised-cosine pulses.
    Bpsk {
        /// Bits a second.
        baud: f64,
        /// Roll-off, above 0 up to 1.
        rolloff: f64,
        /// Each bit as two opposite halves.
        manchester: bool,
    },
    /// Harmonics of a wandering pitch between 300 and 2700 Hz above (or below) the suppressed carrier, in
    /// syllables: as wide, peaky and unsteady as speech.
    Voice {
        /// Below the carrier instead of above it.
        lower: bool,
    },
}

/// A carrier that the receiver makes itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spur {
    /// Offset from the middle of the recording.
    pub offset_hz: f64,
    /// Power over the density of the reference receiver noise, in dBHz.
    pub cn0_dbhz: f64,
}

/// A slow sine of the level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fade {
    /// Peak, in dB.
    pub amplitude_db: f64,
    /// Length of a round.
    pub period_s: f64,
    /// Phase at the first sample, in radians.
    pub phase_rad: f64,
    /// Whether the satellite's noise fades with its signals (a loss on the path does that).
    pub moves_noise: bool,
}

/// The receiver's filter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Filter {
    /// Slope over the sampled band, in dB.
    pub slope_db: f64,
    /// Where the edges begin to fall, as a fraction of the sample rate, up to 0.5.
    pub edge: f64,
}

/// Automatic gain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Agc {
    /// Time constant of the level it follows.
    pub tau_s: f64,
    /// 0 does nothing, 1 holds the level constant.
    pub strength: f64,
}

/// The own transmitter, keyed on and off: it raises the receiver's noise and takes gain from it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Transmit {
    /// Length of a round.
    pub period_s: f64,
    /// Part of it that is on.
    pub on_s: f64,
    /// Receiver noise while on, in dB to the reference.
    pub noise_db: f64,
    /// Gain lost while on, in dB.
    pub desense_db: f64,
}

impl Scene {
    /// A quiet receiver: noise only, 16-bit samples, nothing wrong with it.
    pub fn new(name: impl Into<String>, sample_rate_hz: f64, seconds: f64, seed: u64) -> Self {
        Self {
            name: name.into(),
            seed,
            sample_rate_hz,
            samples: Some((sample_rate_hz * seconds).round() as u64),
            center_hz: None,
            start: None,
            mount: Mount::default(),
            receiver_noise: 1.0,
            satellite_noise: SatelliteNoise::None,
            received_db: 0.0,
            oscillator: Oscillator::default(),
            signals: Vec::new(),
            spurs: Vec::new(),
            fade: None,
            filter: None,
            agc: None,
            transmit: None,
            noise_dbfs: -28.0,
            dc: (0.0, 0.0),
            imbalance: (0.0, 0.0),
            inverted: false,
            format: SampleFormat::little(Component::I16),
        }
    }

    /// A whole narrow passband of an invented satellite at 640 kS/s: 400 kHz of noise 4 dB above the receiver's,
    /// a BPSK beacon 175 kHz below the middle and a keyed one as far above it.
    pub fn narrow_passband(name: impl Into<String>, seconds: f64, seed: u64) -> Self {
        let mut scene = Self::new(name, 640e3, seconds, seed);
        scene.center_hz = Some(10_472.35e6);
        scene.satellite_noise = SatelliteNoise::Passband(Passband {
            centre_hz: 0.0,
            width_hz: 400e3,
            level_db: 4.0,
            order: 60,
            tilt_db: -0.2,
            ripple_db: 0.1,
        });
        scene.filter = Some(Filter {
            slope_db: 0.6,
            edge: 0.47,
        });
        scene.oscillator.phase_noise_100hz_dbc = Some(-62.0);
        scene.signals = vec![
            Signal {
                name: "beacon_bpsk".into(),
                offset_hz: -175e3,
                cn0_dbhz: 49.0,
                kind: Kind::Bpsk {
                    baud: 1200.0,
                    rolloff: 0.5,
                    manchester: false,
                },
            },
            Signal {
                name: "beacon_carrier".into(),
                offset_hz: 175e3,
                cn0_dbhz: 48.0,
                kind: Kind::Keyed {
                    text: "QQ0AAA".into(),
                    words_per_minute: 20.0,
                    dash_s: 1.5,
                    phase_s: 5.2,
                },
            },
        ];
        scene
    }

    /// 16 kS/s around the BPSK beacon of [`Scene::narrow_passband`], inside the passband.
    pub fn beacon_alone(name: impl Into<String>, seconds: f64, seed: u64) -> Self {
        let mut scene = Self::narrow_passband(name, seconds, seed);
        scene.sample_rate_hz = 16e3;
        scene.samples = Some((16e3 * seconds).round() as u64);
        scene.center_hz = Some(10_472.175e6);
        scene.satellite_noise = SatelliteNoise::Flat(4.0);
        scene.filter = None;
        scene.signals.truncate(1);
        if let Some(s) = scene.signals.first_mut() {
            s.offset_hz = 0.0;
        }
        scene
    }

    /// Adds a signal.
    pub fn with(
        mut self,
        name: impl Into<String>,
        offset_hz: f64,
        cn0_dbhz: f64,
        kind: Kind,
    ) -> Self {
        self.signals.push(Signal {
            name: name.into(),
            offset_hz,
            cn0_dbhz,
            kind,
        });
        self
    }

    /// The density of the satellite's noise at an offset from the middle, before antenna and path.
    pub fn satellite_density(&self, offset_hz: f64) -> f64 {
        match self.satellite_noise {
            SatelliteNoise::None => 0.0,
            SatelliteNoise::Flat(db) => slantpath_quantity::from_db(db),
            SatelliteNoise::Passband(p) => p.density(offset_hz),
        }
    }

    pub(super) fn check(&self) -> Result<(), CaptureError> {
        let wrong = |what: &str, help: &str| {
            Err(CaptureError::Argument {
                what: format!("scene \"{}\": {what}", self.name),
                help: help.into(),
            })
        };
        let fs = self.sample_rate_hz;
        if !(fs.is_finite() && fs > 0.0) {
            return wrong("no sample rate", "choose one above 0");
        }
        if !(self.receiver_noise.is_finite() && self.receiver_noise >= 0.0) {
            return wrong("the receiver's noise is no density", "choose 0 or more");
        }
        for s in &self.signals {
            let fine = match &s.kind {
                Kind::Carrier => true,
                Kind::Voice { .. } => fs >= 8e3,
                Kind::Keyed {
                    text,
                    words_per_minute,
                    dash_s,
                    phase_s,
                } => {
                    text.chars()
                        .all(|c| c == ' ' || super::keyed::code(c).is_some())
                        && (1.0..=60.0).contains(words_per_minute)
                        && *dash_s >= 0.0
                        && phase_s.is_finite()
                }
                Kind::Bpsk {
                    baud,
                    rolloff,
                    manchester,
                } => {
                    let chips = if *manchester { 2.0 } else { 1.0 } * baud;
                    *baud > 0.0 && chips * (1.0 + rolloff) < fs && *rolloff > 0.0 && *rolloff <= 1.0
                }
            };
            if !(fine && s.offset_hz.is_finite() && s.cn0_dbhz.is_finite()) {
                return wrong(
                    &format!("the signal \"{}\" cannot be made", s.name),
                    "letters, digits, 1 to 60 words a minute; roll-off above 0; symbols narrower than the band",
                );
            }
        }
        let agc = self.agc.is_none_or(|a| a.tau_s * fs >= 1.0);
        let fade = self.fade.is_none_or(|f| f.period_s > 0.0);
        let transmit = self
            .transmit
            .is_none_or(|t| t.period_s > 0.0 && t.noise_db >= 0.0);
        let filter = self.filter.is_none_or(|f| (0.0..0.5).contains(&f.edge));
        if !(agc && fade && transmit && filter) {
            return wrong(
                "a time constant, period or edge is out of range",
                "periods above 0, edge below 0.5",
            );
        }
        Ok(())
    }
}

impl Passband {
    /// Density at an offset from the middle of the recording.
    pub fn density(&self, offset_hz: f64) -> f64 {
        let x = (offset_hz - self.centre_hz) / (self.width_hz / 2.0);
        let ripple = (std::f64::consts::TAU * x * 1.5).cos();
        let db = self.level_db + self.tilt_db * x / 2.0 + self.ripple_db * ripple;
        slantpath_quantity::from_db(db) / (1.0 + x.abs().powi(self.order))
    }
}

impl Filter {
    /// Power response at an offset from the middle.
    pub fn response(&self, offset_hz: f64, sample_rate_hz: f64) -> f64 {
        let x = offset_hz / sample_rate_hz;
        let e = ((x.abs() - self.edge) / (0.5 - self.edge)).clamp(0.0, 1.0);
        let fall = (std::f64::consts::FRAC_PI_2 * e).sin().powi(2);
        slantpath_quantity::from_db(self.slope_db * x - 25.0 * fall)
    }
}

impl Fade {
    /// Level in dB at a time from the first sample.
    pub fn level_db(&self, t_s: f64) -> f64 {
        self.amplitude_db * (std::f64::consts::TAU * t_s / self.period_s + self.phase_rad).sin()
    }
}
