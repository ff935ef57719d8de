//! Bench: comparison, ledger, diagnosis: what accounts for the difference.
//!
//! [`trial`]: is B better than A; [`explain`]: which contributor would have to move for the measurement to be right.

pub mod explain;
pub mod trial;
