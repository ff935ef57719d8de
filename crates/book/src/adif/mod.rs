//! Contacts in the ADI form of the Amateur Data Interchange Format, out and in.
//!
//! Rules are those of the ADIF specification, version 3.1.4 (2022-12-06), cited by section title; the values of its
//! enumerations here are from memory, not from a copy of the document. A field is `<NAME:LENGTH[:TYPE]>data`, its
//! length counted in bytes of data; a header ends in `<EOH>`, a record in `<EOR>`. What is read is kept whole: fields
//! that nobody here knows, their order, their type and a user's own definitions are written back as they came.

mod check;
mod lists;
mod read;
mod record;
mod write;

pub use lists::{BANDS, Band, KnownMode, band_of, known_mode};
pub use read::{Adi, read};
pub use record::{Field, Record, UserDefined};
pub use write::write;

/// Version of the specification that is written in the header.
pub const ADIF_VERSION: &str = "3.1.4";
