//! Physics: the waveforms on the transponder: DVB-S2 (ETSI EN 302 307-1).
//!
//! A [`Frame`] says what a PLFRAME is made of, [`PlHeader`] makes and decodes its header, [`Scrambler`] is the
//! physical layer's scrambling, [`Constellation`] the points, [`Modulator`] makes whole PLFRAMEs of symbols and
//! [`Pulse`] shapes them at any number of samples a symbol. Decoding what the frames carry is not this room's work.

pub mod constellation;
pub mod crest;
pub mod error_rate;
pub mod frame;
mod modcod;
pub mod modulate;
pub mod pls;
pub mod pulse;
pub mod scramble;

pub use constellation::Constellation;
pub use crest::Crest;
pub use frame::{FecFrame, Frame};
pub use modcod::{MODCODS, Modcod, Modulation, modcod, threshold_es_n0_db};
pub use modulate::Modulator;
pub use pls::{PlHeader, PlsDecoder};
pub use pulse::{Pulse, ROLLOFFS};
pub use scramble::Scrambler;

/// Why something cannot be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WaveformError {
    /// The standard has no such frame.
    #[error("EN 302 307-1 has no {what}")]
    NotInStandard {
        /// What was asked for.
        what: String,
    },
    /// An argument is outside its range.
    #[error("{name} is {value}, expected {range}")]
    OutOfRange {
        /// Which argument.
        name: &'static str,
        /// Its value.
        value: f64,
        /// What is accepted.
        range: &'static str,
    },
}
