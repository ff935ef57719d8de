//! Bench: comparison, ledger, diagnosis: what accounts for the difference.
//!
//! [`trial`]: is B better than A; [`explain`]: which contributor would have to move for the measurement to be right;
//! [`routes`]: one quantity by several routes; [`diagnose`]: which fault made this, and what to measure next.

pub mod diagnose;
pub mod explain;
pub mod routes;
pub mod trial;
