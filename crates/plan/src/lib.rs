//! Bench: what to do next: how hard to drive, for how long, how far away people must stay.
//!
//! Everything is a function of figures: no file, clock or network is seen here.
//!
//! - [`drive`]: a simulated waveform through the transmit chain; the drive that leaves most margin

pub mod drive;
mod error;

pub use error::PlanError;
