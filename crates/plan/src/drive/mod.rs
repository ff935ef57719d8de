//! How hard the station may be driven.
//!
//! A [`Waveform`] (a carrier of the standard, two tones, speech) is sent through the transmit chain sample by sample;
//! what comes out is measured as a receiver and a spectrum analyser would: [`Probe`]. [`best`] looks for the drive that
//! leaves the most link margin while the shoulders stay under the stated limit and nothing else forbids it.

mod best;
mod chain;
mod probe;
#[cfg(test)]
mod testing;
mod waveform;

pub use best::{
    Advice, Bound, Ceiling, CurvePoint, Goal, Reception, best, drive_for_output, drive_for_shoulder,
};
pub use chain::Chain;
pub use probe::{Probe, Shoulder, ShoulderWindow};
pub use waveform::{Speech, Waveform, WaveformKind};
