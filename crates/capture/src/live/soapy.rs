//! A receiver reached through SoapySDR, of which this program knows no more than that library's interface (0.8).
//!
//! The gain is left as the arguments or the driver's defaults set it, automatic gain off: a level that a receiver moves by
//! itself measures nothing.

use crate::error::CaptureError;
use crate::source::{About, Component, SampleFormat, Source};
use num_complex::Complex;
use soapysdr::{Device, Direction, ErrorCode, RxStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

/// How long one reading may wait, microseconds.
const WAIT_US: i64 = 200_000;
/// Readings in a row that may bring nothing.
const PATIENCE: u32 = 10;

/// First receive channel of a device.
pub struct SoapySource {
    about: About,
    stream: RxStream<Complex<f32>>,
    rate: f64,
    read: u64,
    since: Option<Instant>,
    lost: Arc<AtomicU64>,
}

fn refused(name: &str, what: impl Into<String>, help: &str) -> CaptureError {
    CaptureError::Unsupported {
        name: name.to_string(),
        what: what.into(),
        help: help.to_string(),
    }
}

impl SoapySource {
    /// Opens the device that `args` select (`driver=...,serial=...`) and tunes it.
    ///
    /// # Errors
    /// No such device, one without a receive channel, a rate or frequency that it does not take.
    pub fn open(args: &str, rate_hz: f64, center_hz: f64) -> Result<Self, CaptureError> {
        let name = format!("soapy:{args}");
        let said = |what: &'static str, help: &'static str| {
            let name = name.clone();
            move |e: soapysdr::Error| refused(&name, format!("{what}: {}", e.message), help)
        };
        let device = Device::new(args).map_err(said(
            "no such device",
            "SoapySDRUtil --find lists what there is",
        ))?;
        let channels = device.num_channels(Direction::Rx).map_err(said(
            "its channels are not told",
            "is the driver installed?",
        ))?;
        if channels == 0 {
            return Err(refused(
                &name,
                "the device has no receive channel",
                "name one that receives: SoapySDRUtil --find",
            ));
        }
        device
            .set_sample_rate(Direction::Rx, 0, rate_hz)
            .map_err(said(
                "the sample rate is not taken",
                "SoapySDRUtil --probe lists the rates",
            ))?;
        device
            .set_frequency(Direction::Rx, 0, center_hz, "")
            .map_err(said(
                "the frequency is not taken",
                "SoapySDRUtil --probe lists the range; give the intermediate frequency",
            ))?;
        if device.has_gain_mode(Direction::Rx, 0).unwrap_or(false) {
            device.set_gain_mode(Direction::Rx, 0, false).map_err(said(
                "automatic gain cannot be switched off",
                "fix it otherwise",
            ))?;
        }
        // What was set is not always what was asked for.
        let rate = device
            .sample_rate(Direction::Rx, 0)
            .ok()
            .filter(|r| r.is_finite() && *r > 0.0)
            .unwrap_or(rate_hz);
        let mut stream = device.rx_stream::<Complex<f32>>(&[0]).map_err(said(
            "it gives no stream of samples",
            "is it in use elsewhere?",
        ))?;
        stream
            .activate(None)
            .map_err(said("its stream does not start", "is it in use elsewhere?"))?;
        let mut about = About::new(&name, SampleFormat::little(Component::F32));
        about.sample_rate_hz = Some(rate);
        about.center_hz = Some(
            device
                .frequency(Direction::Rx, 0)
                .ok()
                .filter(|f| f.is_finite() && *f > 0.0)
                .unwrap_or(center_hz),
        );
        about.hardware = device.hardware_key().ok();
        Ok(Self {
            about,
            stream,
            rate,
            read: 0,
            since: None,
            lost: Arc::default(),
        })
    }

    /// Samples that the device dropped, by the clock, since somebody took the number last.
    pub fn lost(&self) -> Arc<AtomicU64> {
        Arc::clone(&self.lost)
    }

    /// The device says that samples were dropped, not how many: the clock does.
    fn dropped(&mut self) {
        if let Some(t) = self.since {
            let due = (t.elapsed().as_secs_f64() * self.rate) as u64;
            let gone = due.saturating_sub(self.read).max(1);
            self.lost.fetch_add(gone, Ordering::Relaxed);
        }
        self.since = Some(Instant::now());
        self.read = 0;
    }
}

impl Source for SoapySource {
    fn about(&self) -> &About {
        &self.about
    }

    fn read(&mut self, out: &mut [Complex<f32>]) -> Result<usize, CaptureError> {
        self.since.get_or_insert_with(Instant::now);
        for _ in 0..PATIENCE {
            match self.stream.read(&mut [&mut *out], WAIT_US) {
                Ok(0) => {}
                Ok(n) => {
                    self.read += n as u64;
                    return Ok(n);
                }
                Err(e) => match e.code {
                    ErrorCode::Overflow => self.dropped(),
                    ErrorCode::Timeout => {}
                    _ => {
                        return Err(refused(
                            &self.about.name,
                            format!("reading failed: {}", e.message),
                            "is it still plugged in?",
                        ));
                    }
                },
            }
        }
        Err(refused(
            &self.about.name,
            "nothing came for two seconds",
            "is it still plugged in?",
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The library's own null device has no channels; a driver that is not there is none.
    #[test]
    fn the_null_device_and_a_missing_one_are_told_apart() {
        let said = |args: &str| match SoapySource::open(args, 1e6, 739e6) {
            Err(e) => e.to_string(),
            Ok(_) => panic!("{args} receives"),
        };
        let null = said("driver=null");
        assert!(null.contains("no receive channel"), "{null}");
        let none = said("driver=there-is-none");
        assert!(none.contains("no such device"), "{none}");
    }
}
