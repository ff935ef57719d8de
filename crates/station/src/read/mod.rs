//! From text to a checked station.

mod beacon;
mod bounds;
mod chain;
mod chain_check;
mod columns;
mod desk;
mod feed;
mod log_csv;
mod part;
mod part_active;
mod part_passive;
mod plant;
mod radiator;
mod reading;
mod readings_csv;
mod reflector;
mod satellite;
mod set_file;
mod site;
mod station;
mod timed_csv;
mod touchstone;
mod transmit;

pub use log_csv::{read_log, read_ramp};
pub use readings_csv::read_readings;
pub use satellite::read_satellite;
pub use set_file::read_set;
pub use station::{Loader, read_station};
pub use timed_csv::{TimedRow, read_timed};
pub use touchstone::read_touchstone;
