//! Bench: what to do next: how hard to drive, for how long, how far away people must stay.
//!
//! Everything is a function of figures: no file, clock or network is seen here.
//!
//! - [`drive`]: a simulated waveform through the transmit chain; the drive that leaves most margin
//! - [`protection`]: what the chain can break, told before anything is advised
//! - [`desense`]: what the own transmission costs the own receiver, and by which way
//! - [`neighbour`]: what the operating rule allows, and the correction that keeps it
//! - [`heat`] and [`supply`]: temperature, time to the limit, foldback in a log; current, volts, battery hours
//! - [`frequency`]: tuning table, mixing products, services in the intermediate band
//! - [`acceptance`]: limits before measuring, and what a measurement decides
//! - [`trial`]: order, number and rules of a swap trial, fixed before it begins
//! - [`pointing`]: a beam fitted to levels along bolt turns, and the next turn
//! - [`design`]: coils around a receive feed: which pairs of uplink gain and receive G/T a dish can have
//! - [`exposure`]: densities around the dish and distances to keep; the wind's load is `slantpath_antenna::wind`'s

pub mod acceptance;
pub mod desense;
pub mod design;
pub mod drive;
mod error;
pub mod exposure;
pub mod frequency;
pub mod heat;
mod known;
pub mod neighbour;
pub mod pointing;
pub mod protection;
pub mod supply;
pub mod trial;

pub use error::{PlanError, Result};
pub use known::Known;
