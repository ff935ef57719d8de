//! Paper: station and satellite files as written and as checked.
//!
//! [`checked`] holds what the rooms above work with.

pub mod checked;

pub use checked::{Satellite, Station, StationFile};
