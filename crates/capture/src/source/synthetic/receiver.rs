//! From the receiver's filter to the converter's input.

use num_complex::Complex;
use rand_chacha::ChaCha8Rng;
use slantpath_quantity::{amplitude_from_db, from_db};

use super::scene::{Agc, Scene, Spur, Transmit};
use super::shaper::{DELAY, Shaper};
use super::sky::{Sky, TRANSMIT_NOISE, gaussian, stream, turn};

pub(super) struct Receiver {
    sample_rate_hz: f64,
    /// Index of the next sample.
    now: u64,
    filter: Option<Shaper>,
    spurs: Vec<(Spur, f64)>,
    transmit: Option<(Transmit, ChaCha8Rng)>,
    agc: Option<(Agc, AgcState)>,
    gain: f64,
    dc: Complex<f64>,
    imbalance: Option<(f64, f64)>,
    inverted: bool,
}

/// The level that the gain follows, and the one that it aims at.
struct AgcState {
    level: Option<f64>,
    slow: f64,
}

impl Receiver {
    /// Takes the samples that fill the filter from `sky`.
    pub(super) fn new(scene: &Scene, sky: &mut Sky) -> Self {
        let fs = scene.sample_rate_hz;
        let filter = scene.filter.map(|f| {
            let mut shaper = Shaper::new(fs, |hz| f.response(hz, fs));
            // The output is DELAY samples late: begin as much earlier, and once more to fill the memory.
            sky.start_before(DELAY);
            let mut before = vec![Complex::default(); 2 * DELAY];
            sky.next(&mut before);
            shaper.prime(&before);
            shaper
        });
        let (gain_db, phase_deg) = scene.imbalance;
        let skew = phase_deg.to_radians();
        let imbalance = (scene.imbalance != (0.0, 0.0)).then(|| {
            let g = amplitude_from_db(gain_db);
            (g * skew.cos(), g * skew.sin())
        });
        Self {
            sample_rate_hz: fs,
            now: 0,
            filter,
            spurs: scene
                .spurs
                .iter()
                .map(|s| (*s, (from_db(s.cn0_dbhz) / fs).sqrt()))
                .collect(),
            transmit: scene
                .transmit
                .map(|t| (t, stream(scene.seed, TRANSMIT_NOISE))),
            agc: scene.agc.map(|a| {
                (
                    a,
                    AgcState {
                        level: None,
                        slow: 0.0,
                    },
                )
            }),
            gain: amplitude_from_db(scene.noise_dbfs),
            dc: Complex::new(scene.dc.0, scene.dc.1),
            imbalance,
            inverted: scene.inverted,
        }
    }

    pub(super) fn apply(&mut self, block: &mut [Complex<f64>]) {
        let dt = 1.0 / self.sample_rate_hz;
        let first = self.now;
        let time = |k: usize| (first + k as u64) as f64 * dt;
        if let Some(shaper) = &mut self.filter {
            shaper.apply(block);
        }
        if let Some((t, rng)) = &mut self.transmit {
            let extra = (from_db(t.noise_db) - 1.0).sqrt();
            let loss = amplitude_from_db(-t.desense_db);
            for (k, z) in block.iter_mut().enumerate() {
                if time(k).rem_euclid(t.period_s) < t.on_s {
                    *z = *z * loss + gaussian(rng) * extra;
                }
            }
        }
        for (spur, amplitude) in &self.spurs {
            for (k, z) in block.iter_mut().enumerate() {
                *z += turn(spur.offset_hz * time(k)) * *amplitude;
            }
        }
        if let Some((agc, state)) = &mut self.agc {
            let tau = agc.tau_s * self.sample_rate_hz;
            for z in block.iter_mut() {
                state.follow(z.norm_sqr(), tau);
                *z *= state.gain(agc.strength);
            }
        }
        for z in block.iter_mut() {
            *z *= self.gain;
            if let Some((cos, sin)) = self.imbalance {
                *z = Complex::new(z.re, z.im * cos + z.re * sin);
            }
            *z += self.dc;
            if self.inverted {
                *z = z.conj();
            }
        }
        self.now += block.len() as u64;
    }
}

impl AgcState {
    fn follow(&mut self, power: f64, tau: f64) {
        let level = self.level.unwrap_or(power.max(f64::MIN_POSITIVE));
        if self.slow == 0.0 {
            self.slow = level;
        }
        self.level = Some(level + (power - level) / tau);
        // The aim is the level over a hundred times as long: what a gain that was set right would have been.
        self.slow += (power - self.slow) / (100.0 * tau);
    }

    fn gain(&self, strength: f64) -> f64 {
        self.level
            .map_or(1.0, |l| (l / self.slow).max(1e-12).powf(-strength / 2.0))
    }
}
