//! Wing: recordings and live sources, and what they show.

pub mod error;
pub mod source;

pub use error::{CaptureError, Located, Place};
