//! Bench: comparison, ledger, diagnosis: what accounts for the difference.
//!
//! [`trial`]: is B better than A; [`explain`]: which contributor would have to move for the measurement to be right;
//! [`routes`]: one quantity by several routes; [`diagnose`]: which fault made this, and what to measure next; [`health`]:
//! readings over years, and when something changed.

pub mod diagnose;
pub mod explain;
pub mod health;
pub mod routes;
pub mod trial;
