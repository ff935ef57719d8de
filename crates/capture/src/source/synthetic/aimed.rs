//! A simulated station whose antenna can be turned away while it runs: what comes from the satellite and what the
//! receiver makes itself are made apart and added with a gain that may change at any time.

use super::super::{About, Source};
use super::{SatelliteNoise, Scene, SyntheticSource};
use crate::error::CaptureError;
use crate::source::{Component, SampleFormat};
use num_complex::Complex;
use slantpath_quantity::amplitude_from_db;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// Seconds made of either part; the lengths have no short common multiple, so that the sum takes a minute to repeat.
const SKY_S: f64 = 3.1;
const RECEIVER_S: f64 = 2.3;

/// The hand on the antenna of an [`Aimed`] source.
#[derive(Debug, Clone)]
pub struct Aim(Arc<AtomicU64>);

impl Aim {
    /// Gain of everything from the satellite against a perfect aim, dB (zero or less).
    pub fn set_db(&self, db: f64) {
        self.0.store(db.to_bits(), Ordering::Relaxed);
    }
    /// As set.
    pub fn db(&self) -> f64 {
        f64::from_bits(self.0.load(Ordering::Relaxed))
    }
}

/// An endless synthetic stream with an aim. After some seconds its parts repeat.
pub struct Aimed {
    about: About,
    sky: Vec<Complex<f32>>,
    receiver: Vec<Complex<f32>>,
    at: usize,
    aim: Aim,
}

impl Aimed {
    /// Makes the parts of a scene; its length is ignored.
    ///
    /// # Errors
    /// The scene cannot be made.
    pub fn new(scene: &Scene) -> Result<(Self, Aim), CaptureError> {
        let part = |scene: &Scene, seconds: f64| -> Result<Vec<Complex<f32>>, CaptureError> {
            let mut s = scene.clone();
            s.samples = Some((seconds * scene.sample_rate_hz) as u64);
            s.format = SampleFormat::little(Component::F32);
            let mut source = SyntheticSource::new(&s)?;
            let mut x = vec![Complex::default(); (seconds * scene.sample_rate_hz) as usize];
            let n = source.read(&mut x)?;
            x.truncate(n);
            Ok(x)
        };
        let mut sky = scene.clone();
        sky.receiver_noise = 0.0;
        sky.dc = (0.0, 0.0);
        sky.spurs.clear();
        let mut receiver = scene.clone();
        receiver.seed = scene.seed.wrapping_add(1);
        receiver.signals.clear();
        receiver.satellite_noise = SatelliteNoise::None;
        let aim = Aim(Arc::new(AtomicU64::new(0f64.to_bits())));
        let mut about = About::new(&scene.name, SampleFormat::little(Component::F32));
        about.sample_rate_hz = Some(scene.sample_rate_hz);
        about.center_hz = scene.center_hz;
        let out = Self {
            about,
            sky: part(&sky, SKY_S)?,
            receiver: part(&receiver, RECEIVER_S)?,
            at: 0,
            aim: aim.clone(),
        };
        if out.sky.is_empty() || out.receiver.is_empty() {
            return Err(CaptureError::Argument {
                what: format!("scene \"{}\" has no samples", scene.name),
                help: "choose a higher sample rate".into(),
            });
        }
        Ok((out, aim))
    }
}

impl Source for Aimed {
    fn about(&self) -> &About {
        &self.about
    }

    fn read(&mut self, out: &mut [Complex<f32>]) -> Result<usize, CaptureError> {
        let gain = amplitude_from_db(self.aim.db()) as f32;
        for x in out.iter_mut() {
            let a = self.sky.get(self.at % self.sky.len()).copied();
            let b = self.receiver.get(self.at % self.receiver.len()).copied();
            *x = a.unwrap_or_default() * gain + b.unwrap_or_default();
            self.at = self.at.wrapping_add(1);
        }
        Ok(out.len())
    }
}
