//! Ground floor: spectra, windows, filters, level and carrier estimators on samples.
//!
//! Samples are complex baseband with full scale 1.0 at the rail of one component; a power of 1.0 is 0 dBFS.
//! Spectra run from the lowest to the highest frequency, zero (the recording's centre) at index `n/2`.

pub mod bank;
pub mod channel;
pub mod delay;
pub mod envelope;
pub mod fit;
pub mod level;
pub mod line;
mod plans;
pub mod pulse;
pub mod spectrum;
pub mod window;

pub use bank::{BankPlan, BankSums, ChannelBand, FrameBank, Row};
pub use channel::Block;
pub use level::LevelStats;
pub use line::{ChirpPeak, chirp_line};
pub use spectrum::Spectrum;
pub use window::Window;

/// Complex sample as it is read.
pub type C32 = num_complex::Complex<f32>;
/// Complex sample of the second stage.
pub type C64 = num_complex::Complex<f64>;
