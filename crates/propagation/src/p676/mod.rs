//! ITU-R P.676-12 (08/2019): attenuation by atmospheric gases.
//!
//! Annex 1 line by line ([`gamma`]) and integrated through layers ([`layered`]); Annex 2's zenith and
//! slant approximation ([`zenith`]). Pressure `p` in the line formulas is that of *dry* air.

pub mod gamma;
pub mod layered;
mod lines;
pub mod zenith;

pub use gamma::{gamma_oxygen_db_km, gamma_water_db_km};
pub use layered::{LayeredPath, PathSum};

/// Name and revision, as it stands in every message about a range.
pub const REVISION: &str = "ITU-R P.676-12";
