//! Everything in front of the receiver's filter: signals and noise from the satellite, turned by the oscillator,
//! and the receiver's own noise.

use std::f64::consts::TAU;

use num_complex::Complex;
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use slantpath_quantity::{amplitude_from_db, from_db};

use super::keyed::Key;
use super::pulse::BpskStream;
use super::scene::{Fade, Kind, Oscillator, SatelliteNoise, Scene};
use super::shaper::{DELAY, Shaper};
use super::truth::noise_offset;
use super::voice::Voice;

/// Streams of the seed.
const SATELLITE_NOISE: u64 = 1;
const RECEIVER_NOISE: u64 = 2;
const PHASE_NOISE: u64 = 3;
pub(super) const TRANSMIT_NOISE: u64 = 4;
const SIGNALS: u64 = 100;

/// A stream of the scene's seed.
pub(super) fn stream(seed: u64, number: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(number);
    rng
}

/// A complex Gaussian number of unit power.
pub(super) fn gaussian(rng: &mut ChaCha8Rng) -> Complex<f64> {
    let re: f64 = StandardNormal.sample(rng);
    let im: f64 = StandardNormal.sample(rng);
    Complex::new(re, im) * std::f64::consts::FRAC_1_SQRT_2
}

enum Wave {
    Carrier,
    Keyed(Key, f64),
    Bpsk(Box<BpskStream>),
    Voice(Voice),
}

struct Part {
    wave: Wave,
    offset_hz: f64,
    amplitude: Complex<f64>,
}

/// The part of the scene in front of the receiver. Its unit of power is the reference receiver noise over the
/// whole sampled band.
pub(super) struct Sky {
    sample_rate_hz: f64,
    /// Index of the next sample; negative while a filter behind is filled.
    now: i64,
    parts: Vec<Part>,
    fade: Option<Fade>,
    satellite: Option<(Option<Shaper>, f64, ChaCha8Rng)>,
    receiver: (f64, ChaCha8Rng),
    oscillator: Oscillator,
    wander: Option<Wander>,
    work: Vec<Complex<f64>>,
}

impl Sky {
    pub(super) fn new(scene: &Scene) -> Self {
        let fs = scene.sample_rate_hz;
        let got = from_db(scene.received_db);
        let parts = scene.signals.iter().enumerate().map(|(k, s)| {
            let mut rng = stream(scene.seed, SIGNALS + k as u64);
            let phase = TAU * f64::from(rng.next_u32()) / 4_294_967_296.0;
            let there = scene.satellite_density(noise_offset(s.offset_hz, &s.kind));
            let power = from_db(s.cn0_dbhz) * (1.0 + there) * got / fs;
            let wave = match &s.kind {
                Kind::Carrier => Wave::Carrier,
                Kind::Keyed {
                    text,
                    words_per_minute,
                    dash_s,
                    phase_s,
                } => Wave::Keyed(Key::new(text, *words_per_minute, *dash_s), *phase_s),
                Kind::Bpsk {
                    baud,
                    rolloff,
                    manchester,
                } => Wave::Bpsk(Box::new(BpskStream::new(
                    *baud,
                    *rolloff,
                    *manchester,
                    fs,
                    rng,
                ))),
                Kind::Voice { lower } => Wave::Voice(Voice::new(*lower, rng)),
            };
            Part {
                wave,
                offset_hz: s.offset_hz,
                amplitude: Complex::from_polar(power.sqrt(), phase),
            }
        });
        let parts = parts.collect();
        let noise_rng = || stream(scene.seed, SATELLITE_NOISE);
        let satellite = match scene.satellite_noise {
            SatelliteNoise::None => None,
            SatelliteNoise::Flat(db) => {
                Some((None, amplitude_from_db(db + scene.received_db), noise_rng()))
            }
            SatelliteNoise::Passband(p) => {
                let mut shaper = Shaper::new(fs, |f| p.density(f) * got);
                let mut rng = noise_rng();
                let before: Vec<_> = (0..2 * DELAY).map(|_| gaussian(&mut rng)).collect();
                shaper.prime(&before);
                Some((Some(shaper), 1.0, rng))
            }
        };
        Self {
            sample_rate_hz: fs,
            now: 0,
            parts,
            fade: scene.fade,
            satellite,
            receiver: (
                scene.receiver_noise.sqrt(),
                stream(scene.seed, RECEIVER_NOISE),
            ),
            oscillator: scene.oscillator,
            wander: scene
                .oscillator
                .phase_noise_100hz_dbc
                .map(|level| Wander::new(level, fs, stream(scene.seed, PHASE_NOISE))),
            work: Vec::new(),
        }
    }

    /// Starts so many samples before the recording's first.
    pub(super) fn start_before(&mut self, samples: usize) {
        self.now = -(samples as i64);
    }

    /// Fills `out` with the next samples.
    pub(super) fn next(&mut self, out: &mut [Complex<f64>]) {
        let dt = 1.0 / self.sample_rate_hz;
        let first = self.now;
        let time = |k: usize| (first + k as i64) as f64 * dt;
        out.fill(Complex::default());
        for p in &mut self.parts {
            for (k, z) in out.iter_mut().enumerate() {
                let t = time(k);
                let x = match &mut p.wave {
                    Wave::Carrier => Complex::new(1.0, 0.0),
                    Wave::Keyed(key, phase) => Complex::new(key.at(t + *phase), 0.0),
                    Wave::Bpsk(stream) => Complex::new(stream.next(), 0.0),
                    Wave::Voice(voice) => voice.next(t, dt),
                };
                *z += x * p.amplitude * turn(p.offset_hz * t);
            }
        }
        if let Some(fade) = self.fade {
            for (k, z) in out.iter_mut().enumerate() {
                *z *= amplitude_from_db(fade.level_db(time(k)));
            }
        }
        if let Some((shaper, amplitude, rng)) = &mut self.satellite {
            self.work.clear();
            self.work
                .extend((0..out.len()).map(|_| gaussian(rng) * *amplitude));
            if let Some(shaper) = shaper {
                shaper.apply(&mut self.work);
            }
            let moved = self.fade.filter(|f| f.moves_noise);
            for (k, (z, w)) in out.iter_mut().zip(&self.work).enumerate() {
                *z += w * moved.map_or(1.0, |f| amplitude_from_db(f.level_db(time(k))));
            }
        }
        let Oscillator {
            offset_hz,
            drift_hz_per_s,
            ..
        } = self.oscillator;
        for (k, z) in out.iter_mut().enumerate() {
            let t = time(k);
            *z *= turn(offset_hz * t + 0.5 * drift_hz_per_s * t * t);
            if let Some(wander) = &mut self.wander {
                *z *= Complex::cis(wander.next());
            }
        }
        let (amplitude, rng) = &mut self.receiver;
        for z in out.iter_mut() {
            *z += gaussian(rng) * *amplitude;
        }
        self.now += out.len() as i64;
    }
}

/// A whole number of turns is taken away first, so that long recordings stay exact.
pub(super) fn turn(turns: f64) -> Complex<f64> {
    Complex::cis(TAU * (turns - turns.floor()))
}

/// Phase noise with a 1/f^2 slope above 1 Hz: an Ornstein-Uhlenbeck process, exact at any step.
struct Wander {
    keep: f64,
    kick: f64,
    phase: f64,
    rng: ChaCha8Rng,
}

impl Wander {
    /// `level` is L(100 Hz). A process of variance s^2 and corner fc has L(f) = s^2 / (pi fc (1 + (f/fc)^2)).
    fn new(level: f64, sample_rate_hz: f64, mut rng: ChaCha8Rng) -> Self {
        let corner_hz = 1.0;
        let variance = from_db(level)
            * std::f64::consts::PI
            * corner_hz
            * (1.0 + (100.0f64 / corner_hz).powi(2));
        let keep = (-TAU * corner_hz / sample_rate_hz).exp();
        let start: f64 = StandardNormal.sample(&mut rng);
        Self {
            keep,
            kick: (variance * (1.0 - keep * keep)).sqrt(),
            phase: start * variance.sqrt(),
            rng,
        }
    }

    fn next(&mut self) -> f64 {
        let x: f64 = StandardNormal.sample(&mut self.rng);
        self.phase = self.phase * self.keep + x * self.kick;
        self.phase
    }
}
