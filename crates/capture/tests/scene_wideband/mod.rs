//! Wideband recordings of known truth, made in memory: the standard's PLFRAMEs, shaped, impaired and sampled.
#![allow(dead_code)]

use num_complex::Complex;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::StandardNormal;
use rustfft::FftPlanner;
use slantpath_capture::CaptureError;
use slantpath_capture::source::{About, Component, SampleFormat, Source};
use slantpath_quantity::from_db;
use slantpath_waveform::{FecFrame, Frame, Modulator, Pulse, modcod};
use std::f64::consts::TAU;

pub type C32 = Complex<f32>;

/// A recording in memory.
pub struct Memory {
    about: About,
    samples: Vec<C32>,
    at: usize,
}

impl Memory {
    pub fn new(name: &str, fs: f64, samples: Vec<C32>, component: Component) -> Self {
        let mut about = About::new(name, SampleFormat::little(component));
        about.sample_rate_hz = Some(fs);
        about.center_hz = Some(10_480e6);
        about.total_samples = Some(samples.len() as u64);
        Self {
            about,
            samples,
            at: 0,
        }
    }
}

impl Memory {
    /// As behind an oscillator above the downlink.
    pub fn turned(mut self) -> Self {
        for z in &mut self.samples {
            *z = z.conj();
        }
        self
    }
}

impl Source for Memory {
    fn about(&self) -> &About {
        &self.about
    }
    fn read(&mut self, out: &mut [C32]) -> Result<usize, CaptureError> {
        let n = out.len().min(self.samples.len() - self.at);
        out[..n].copy_from_slice(&self.samples[self.at..self.at + n]);
        self.at += n;
        Ok(n)
    }
}

/// A carrier of a scene.
#[derive(Debug, Clone)]
pub struct Sent {
    pub modcod: &'static str,
    pub fecframe: FecFrame,
    pub pilots: bool,
    /// Symbol rate, Bd, clock error included.
    pub rate: f64,
    pub rolloff: f64,
    /// Hz from the recording's centre, oscillator error not included.
    pub offset_hz: f64,
    /// Es/N0, dB.
    pub es_n0: f64,
    pub code: u32,
    /// Framed as DVB-S2; else bare random symbols of the constellation.
    pub framed: bool,
    /// PLFRAMEs in turn instead of one kind alone (VCM, dummy frames).
    pub turns: Vec<Frame>,
    /// Part of the recording in which it is on the air, 0 to 1.
    pub on: (f64, f64),
}

impl Sent {
    pub fn new(
        modcod: &'static str,
        fecframe: FecFrame,
        pilots: bool,
        rate: f64,
        es_n0: f64,
    ) -> Self {
        Self {
            modcod,
            fecframe,
            pilots,
            rate,
            rolloff: 0.2,
            offset_hz: 0.0,
            es_n0,
            code: 0,
            framed: true,
            turns: Vec::new(),
            on: (0.0, 1.0),
        }
    }
    pub fn turns(self, turns: Vec<Frame>) -> Self {
        Self { turns, ..self }
    }
    pub fn on(self, from: f64, to: f64) -> Self {
        Self {
            on: (from, to),
            ..self
        }
    }
    pub fn at(self, offset_hz: f64) -> Self {
        Self { offset_hz, ..self }
    }
    pub fn rolloff(self, rolloff: f64) -> Self {
        Self { rolloff, ..self }
    }
    pub fn unframed(self) -> Self {
        Self {
            framed: false,
            ..self
        }
    }
    pub fn frame(&self) -> Frame {
        Frame {
            modcod: modcod(self.modcod).unwrap().number,
            fecframe: self.fecframe,
            pilots: self.pilots,
        }
    }
}

/// A recording.
#[derive(Debug, Clone)]
pub struct Scene {
    pub fs: f64,
    pub samples: usize,
    pub seed: u64,
    pub carriers: Vec<Sent>,
    /// Oscillator error, Hz, and its drift, Hz/s.
    pub lo_hz: f64,
    pub drift: f64,
    /// Single-sideband phase noise, dBc/Hz at Hz.
    pub phase_noise: &'static [(f64, f64)],
    /// Root mean square of the samples, full scale.
    pub rms: f64,
    /// Stored as.
    pub component: Component,
    pub dc: (f32, f32),
    /// Noise density over the sampled band relative to its middle at offset/fs = x, linear: 1 + slope x.
    pub slope: f64,
    /// Hump of noise: centre, width, height over the floor (linear).
    pub hump: Option<(f64, f64, f64)>,
    /// Third-order distortion of all carriers together: `y = x - k |x|^2 x`.
    pub cubic: f64,
    /// A second path: delay in samples, amplitude, phase in turns.
    pub echo: Option<(usize, f32, f64)>,
    /// Receiver: gain of the quadrature branch (1 is none) and its error of angle in rad.
    pub imbalance: Option<(f32, f32)>,
    /// Gain from that part of the recording on, dB.
    pub step: Option<(f64, f64)>,
}

/// An ordinary low-noise block.
pub const PLAIN_LNB: &[(f64, f64)] = &[
    (1.0, -25.0),
    (10.0, -45.0),
    (100.0, -62.0),
    (1e3, -78.0),
    (1e4, -88.0),
    (1e5, -102.0),
    (1e6, -118.0),
];

impl Scene {
    pub fn new(fs: f64, samples: usize, seed: u64, carriers: Vec<Sent>) -> Self {
        Self {
            fs,
            samples,
            seed,
            carriers,
            lo_hz: 0.0,
            drift: 0.0,
            phase_noise: &[],
            rms: 0.1,
            component: Component::I16,
            dc: (0.0, 0.0),
            slope: 0.0,
            hump: None,
            cubic: 0.0,
            echo: None,
            imbalance: None,
            step: None,
        }
    }

    pub fn memory(&self, name: &str) -> Memory {
        let mut rng = ChaCha12Rng::seed_from_u64(self.seed);
        let n = self.samples;
        let mut x = vec![C32::default(); n];
        for (i, c) in self.carriers.iter().enumerate() {
            let power = from_db(c.es_n0) * c.rate / self.fs;
            let need = (n as f64 * c.rate / self.fs) as usize + 200;
            let m = Modulator::new(c.frame(), c.code, self.seed * 100 + i as u64).unwrap();
            let start = 60.0 + rng.random::<f64>() * (m.frame().symbols() as f64 - 60.0);
            let symbols = if !c.turns.is_empty() {
                let mut all = Vec::new();
                let mut k = 0;
                while all.len() < need + start as usize {
                    let f = c.turns[k % c.turns.len()];
                    let seed = self.seed * 100 + i as u64;
                    all.extend(
                        Modulator::new(f, c.code, seed)
                            .unwrap()
                            .frame_symbols(k as u64),
                    );
                    k += 1;
                }
                all
            } else if c.framed {
                m.symbols(need + start as usize)
            } else {
                let points = slantpath_waveform::Constellation::of(&c.frame())
                    .unwrap()
                    .points;
                (0..need + start as usize)
                    .map(|_| {
                        let p = points[rng.random_range(0..points.len())];
                        C32::new(p.re as f32, p.im as f32)
                    })
                    .collect()
            };
            let pulse = Pulse::new(c.rolloff, 40).unwrap();
            let mut y = vec![C32::default(); n];
            pulse.shape_into(
                &symbols,
                start,
                c.rate / self.fs,
                power.sqrt() as f32,
                &mut y,
            );
            let turn = rng.random::<f64>();
            let (from, to) = ((c.on.0 * n as f64) as usize, (c.on.1 * n as f64) as usize);
            for (k, y) in y.iter_mut().enumerate() {
                if k < from || k >= to {
                    *y = C32::default();
                }
            }
            for (k, (x, y)) in x.iter_mut().zip(y).enumerate() {
                let a = TAU * ((turn + c.offset_hz * k as f64 / self.fs) % 1.0);
                *x += y * C32::new(a.cos() as f32, a.sin() as f32);
            }
        }
        if self.cubic > 0.0 {
            let mean = x.iter().map(|z| z.norm_sqr()).sum::<f32>() / n as f32;
            for z in &mut x {
                *z -= *z * (self.cubic as f32 * z.norm_sqr() / mean);
            }
        }
        if let Some((delay, a, turns)) = self.echo {
            let g = C32::cis((TAU * turns) as f32) * a;
            for k in (delay..n).rev() {
                let d = x[k - delay];
                x[k] += d * g;
            }
        }
        let phase = self.phases(&mut rng);
        for (k, z) in x.iter_mut().enumerate() {
            let t = k as f64 / self.fs;
            let a = TAU * ((self.lo_hz + 0.5 * self.drift * t) * t % 1.0)
                + phase.get(k).copied().unwrap_or(0.0);
            *z *= C32::new(a.cos() as f32, a.sin() as f32);
        }
        let noise = self.noise(&mut rng);
        for (z, v) in x.iter_mut().zip(noise) {
            *z += v;
        }
        let now = (x.iter().map(|z| f64::from(z.norm_sqr())).sum::<f64>() / n as f64).sqrt();
        let gain = (self.rms / now) as f32;
        if let Some((at, db)) = self.step {
            let from = (at * n as f64) as usize;
            let g = from_db(0.5 * db) as f32;
            for z in x.iter_mut().skip(from) {
                *z *= g;
            }
        }
        if let Some((g, a)) = self.imbalance {
            for z in &mut x {
                *z = C32::new(z.re, g * (z.im * a.cos() + z.re * a.sin()));
            }
        }
        let step = SampleFormat::little(self.component).lsb().unwrap_or(0.0) as f32;
        for z in &mut x {
            *z = *z * gain + C32::new(self.dc.0, self.dc.1);
            if step > 0.0 {
                let half = if self.component == Component::U8 {
                    0.5
                } else {
                    0.0
                };
                let q = |v: f32| {
                    ((v / step - half).round() + half).clamp(-1.0 / step, 1.0 / step) * step
                };
                *z = C32::new(q(z.re), q(z.im));
            }
        }
        Memory::new(name, self.fs, x, self.component)
    }

    fn noise(&self, rng: &mut ChaCha12Rng) -> Vec<C32> {
        let n = self.samples.next_power_of_two();
        let mut v: Vec<C32> = (0..n)
            .map(|_| {
                let (a, b): (f32, f32) = (rng.sample(StandardNormal), rng.sample(StandardNormal));
                C32::new(a, b) * 0.5f32.sqrt()
            })
            .collect();
        if self.slope != 0.0 || self.hump.is_some() {
            let mut p = FftPlanner::new();
            p.plan_fft_forward(n).process(&mut v);
            for (k, z) in v.iter_mut().enumerate() {
                let f = if k < n / 2 {
                    k as f64
                } else {
                    k as f64 - n as f64
                } * self.fs
                    / n as f64;
                let mut d = 1.0 + self.slope * f / self.fs;
                if let Some((c, w, h)) = self.hump {
                    d += h / (1.0 + ((f - c) / (0.5 * w)).abs().powi(24));
                }
                *z *= (d.sqrt() / n as f64) as f32;
            }
            p.plan_fft_inverse(n).process(&mut v);
        }
        v.truncate(self.samples);
        v
    }

    fn phases(&self, rng: &mut ChaCha12Rng) -> Vec<f64> {
        if self.phase_noise.is_empty() {
            return Vec::new();
        }
        let n = self.samples.next_power_of_two();
        let mask = self.phase_noise;
        let mut v: Vec<Complex<f64>> = (0..n)
            .map(|_| Complex::new(rng.sample::<f64, _>(StandardNormal), 0.0))
            .collect();
        let mut p = FftPlanner::new();
        p.plan_fft_forward(n).process(&mut v);
        for (k, z) in v.iter_mut().enumerate() {
            let f = (k.min(n - k) as f64 * self.fs / n as f64).max(mask[0].0);
            let l = mask
                .windows(2)
                .find(|w| f <= w[1].0)
                .map_or(mask[mask.len() - 1].1, |w| {
                    let x = (f / w[0].0).log10() / (w[1].0 / w[0].0).log10();
                    w[0].1 + x * (w[1].1 - w[0].1)
                });
            *z *= if k == 0 {
                0.0
            } else {
                (from_db(l) * self.fs).sqrt() / n as f64
            };
        }
        p.plan_fft_inverse(n).process(&mut v);
        v.iter().map(|z| z.re).collect()
    }
}
