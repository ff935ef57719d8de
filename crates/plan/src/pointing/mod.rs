//! Pointing: from levels along a few turns of two bolts to the error that is left, and the next turn.
//!
//! A hold is a level read while nothing moves. What the bolts did between holds is known in turns; what a turn does in
//! degrees, where the beam's axis stood at first, the level at the peak and the beam's width are learned together.

mod advice;
mod fit;

pub use advice::{Advice, Axis, Limits, advise};
pub use fit::{Before, Fit, Hold, LARGEST_LOSS_DB, Learned, fit};
