//! Physics: feeds, reflectors, patterns, polarisation and antenna noise.
//!
//! Terms follow IEEE Std 145 (definitions) and IEEE Std 149 (measurement of antennas). Fields are peak phasors with the
//! time factor `exp(+j omega t)`; a travelling wave is `exp(-j k r)`. Right-hand circular (IEEE) is `x - j y` for a wave
//! going towards `+z`.
//!
//! - [`polarisation`]: states and the mismatch between any two.
//! - [`aperture`], [`illumination`], [`degradation`]: closed forms for when figures are all there is.
//! - [`slab`]: covers, radomes and water films in front of a feed.
//! - [`pattern`]: the far-field pattern type that every feed, computed or written, is brought into.
//! - [`reflector`]: the dish from design values or from a tape measure.
//! - [`budget`]: aperture integration: efficiency parts, beam, pattern cuts, focus.
//! - [`noise`]: spillover, shadowed rays and loss as parts of the antenna noise temperature.
//! - [`exposure`]: power flux density around a transmitting dish and its feed; [`wind`]: the load on it.
//! - [`dish`]: the whole antenna, solved once and then cheap to evaluate for changed losses.

pub mod aperture;
pub mod budget;
pub mod degradation;
pub mod dish;
mod error;
pub mod exposure;
pub mod illumination;
pub mod noise;
pub mod pattern;
pub mod polarisation;
pub mod quadrature;
pub mod reflector;
pub mod slab;
pub mod wind;

mod vector;

pub use error::AntennaError;
