//! Physics: noise, level, distortion, quantisation, heat and DC along a chain of parts.
//!
//! A chain is an ordered list of parts between a feed and a sample (receive) or a sample and a feed
//! (transmit). Every module treats one aspect of it and knows nothing of files:
//!
//! - [`noise`]: the cascade and its ledger in kelvin; [`y_factor`]; [`source_noise`]: G/T from Sun, Moon and radio stars
//! - [`cable`] and [`passive`]: loss of what has no gain
//! - [`dc`]: volts, contending supplies, polarisation and tone at the LNB
//! - [`adc`]: quantisation and clipping
//! - [`amplifier`]: compression, intermodulation, efficiency
//! - [`level`]: levels and head-room at every point, and the protection of what can be broken
//! - [`thermal`] and [`supply`]: heat and power
//!
//! Gains and losses are in dB at the public door and linear inside; conversion is `slantpath_quantity`'s alone.

pub mod adc;
pub mod amplifier;
pub mod cable;
pub mod dc;
mod dense;
pub mod error;
pub mod level;
pub mod noise;
pub mod passive;
pub mod source_noise;
pub mod supply;
pub mod thermal;
pub mod y_factor;

pub use error::{ChainError, Result};
