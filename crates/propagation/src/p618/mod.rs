//! ITU-R P.618-13 (12/2017): prediction methods for Earth-space paths.
//!
//! The rain and cross-polarisation methods are the same in revision 14; its totals differ because the
//! climatology, gas and cloud models behind them do. Revision 13 is what is meant throughout.

pub mod rain;
pub mod scintillation;
pub mod sky_noise;
pub mod total;
pub mod xpd;

pub use rain::RainPath;
pub use scintillation::Scintillation;

/// Name and revision, as it stands in every message about a range.
pub const REVISION: &str = "ITU-R P.618-13";
