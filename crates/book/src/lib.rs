//! Shelf: the station book.
//!
//! One SQLite file beside the station file holds what happened to a station: measurements with their provenance and the
//! prediction of the day, part changes, weather, faults, notes and contacts. Entries are only ever appended; a
//! correction is a new entry that supersedes an old one. Nothing here reads the clock: moments are arguments.
//!
//! - [`Book`] opens, creates and migrates the file, appends and reads.
//! - [`entry`] is what may be written; [`parts`] what a station consists of and how two of them differ.
//! - [`adif`] reads and writes contacts in the open interchange format; [`contact`] is what a contact means;
//!   [`map`] draws contacts as GeoJSON.

pub mod adif;
mod append;
pub mod contact;
pub mod entry;
mod error;
pub mod map;
mod open;
pub mod parts;
mod read;
mod schema;
#[cfg(test)]
mod tests;

pub use entry::{Body, Entry, EntryId, Figure, Kind, NewEntry, Provenance, Role};
pub use error::BookError;
pub use open::Book;
pub use read::{Filter, Latest, Mark, Point, Series};
