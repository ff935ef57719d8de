//! A receiver that does not exist: recordings with known truth for tests, for learning, and for a station that
//! is only simulated. Deterministic: the same [`Scene`] is the same recording bit for bit, read in any portions.
//!
//! Signals are continuous-time pulses and key lines evaluated at the sample instants; noise is white Gaussian
//! noise through linear-phase filters; everything from the satellite is turned by one oscillator. Each part of
//! the scene draws from its own ChaCha stream of the seed, so that adding one leaves the others as they are.

mod aimed;
mod keyed;
mod pulse;
mod receiver;
mod scene;
mod shaper;
mod sky;
mod truth;
mod voice;

use std::io::Write;

use num_complex::Complex;

pub use aimed::{Aim, Aimed};
pub use scene::{
    Agc, Fade, Filter, Kind, Oscillator, Passband, SatelliteNoise, Scene, Signal, Spur, Transmit,
};
pub use truth::{SignalTruth, Truth};

use super::Source;
use super::about::About;
use super::convert::{convert, store};
use crate::error::CaptureError;
use receiver::Receiver;
use sky::Sky;

/// Samples that are made at once.
const BLOCK: usize = 4096;

/// A recording that is made while it is read.
pub struct SyntheticSource {
    about: About,
    truth: Truth,
    sky: Sky,
    receiver: Receiver,
    left: Option<u64>,
    bytes: Vec<u8>,
    used: usize,
    clipped: u64,
}

impl SyntheticSource {
    /// Sets up the receiver.
    ///
    /// # Errors
    /// The scene cannot be made: a rate of zero, a signal wider than the band, a letter without Morse code.
    pub fn new(scene: &Scene) -> Result<Self, CaptureError> {
        scene.check()?;
        let mut about = About::new(&scene.name, scene.format);
        about.sample_rate_hz = Some(scene.sample_rate_hz);
        about.center_hz = scene.center_hz;
        about.start = scene.start;
        about.total_samples = scene.samples;
        about.mount = scene.mount.clone();
        about.recorder = Some("synthetic".into());
        about.hardware = Some("synthetic receive chain".into());
        if let Some(s) = about.segments.first_mut() {
            s.center_hz = scene.center_hz;
            s.datetime = scene.start;
        }
        let mut sky = Sky::new(scene);
        let receiver = Receiver::new(scene, &mut sky);
        Ok(Self {
            about,
            truth: truth::truth(scene),
            sky,
            receiver,
            left: scene.samples,
            bytes: Vec::new(),
            used: 0,
            clipped: 0,
        })
    }

    /// What a measurement ought to find.
    pub fn truth(&self) -> &Truth {
        &self.truth
    }

    /// Components that lay beyond a rail so far.
    pub fn clipped(&self) -> u64 {
        self.clipped
    }

    /// Makes the next block of stored bytes. False at the end.
    fn make(&mut self) -> bool {
        self.bytes.clear();
        self.used = 0;
        let n = self.left.map_or(BLOCK, |left| {
            BLOCK.min(usize::try_from(left).unwrap_or(BLOCK))
        });
        if n == 0 {
            return false;
        }
        self.left = self.left.map(|left| left - n as u64);
        let mut block = vec![Complex::default(); n];
        self.sky.next(&mut block);
        self.receiver.apply(&mut block);
        self.clipped += store(self.about.format, &block, &mut self.bytes);
        true
    }

    /// Writes what is left as stored samples; returns how many bytes.
    ///
    /// # Errors
    /// The scene has no end, or writing fails.
    pub fn write_to(&mut self, out: &mut impl Write) -> Result<u64, CaptureError> {
        if self.left.is_none() {
            return Err(CaptureError::Argument {
                what: format!("scene \"{}\" has no end", self.about.name),
                help: "say how many samples it has before writing it".into(),
            });
        }
        let mut written = 0;
        loop {
            let rest = self.bytes.get(self.used..).unwrap_or_default();
            out.write_all(rest)
                .map_err(|e| CaptureError::io(&self.about.name, e))?;
            written += rest.len() as u64;
            if !self.make() {
                return Ok(written);
            }
        }
    }
}

impl Source for SyntheticSource {
    fn about(&self) -> &About {
        &self.about
    }

    fn read(&mut self, out: &mut [Complex<f32>]) -> Result<usize, CaptureError> {
        let frame = self.about.format.bytes_per_sample();
        let mut done = 0;
        while done < out.len() {
            if self.used >= self.bytes.len() && !self.make() {
                break;
            }
            let bytes = self.bytes.get(self.used..).unwrap_or_default();
            let rest = out.get_mut(done..).unwrap_or_default();
            let n = rest.len().min(bytes.len() / frame);
            convert(
                self.about.format,
                bytes,
                rest.get_mut(..n).unwrap_or_default(),
            );
            self.used += n * frame;
            done += n;
        }
        Ok(done)
    }
}

#[cfg(test)]
mod tests;
