//! Ground floor: the vocabulary of the house.
//!
//! Decibel, physical quantities, uncertainty with named contributors, validity, and the
//! [`Answer`] that every figure shown to a user travels in. No input or output happens here.
//!
//! Symbols follow the GUM (JCGM 100:2008): `u` is always a *standard* uncertainty.

pub mod answer;
pub mod constants;
pub mod decibel;
pub mod physical;
pub mod show;
pub mod uncertain;
pub mod unit;
pub mod validity;
pub mod written;

pub use answer::{Answer, Estimate, Interval, Share, Undetermined};
pub use decibel::{Decibel, amplitude_from_db, amplitude_to_db, from_db, to_db};
pub use physical::{
    Angle, Current, DataRate, Frequency, Length, Power, Resistance, Speed, Temperature, Voltage,
};
pub use uncertain::{Contributor, ContributorId, Distribution};
pub use unit::{Dimension, Unit};
pub use validity::Validity;
pub use written::{Written, WrittenError, read_written};
