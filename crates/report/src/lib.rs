//! Shelf: renderings of answers.
//!
//! Text for a terminal, JSON for programs, figures (SVG) and one self-contained page. None of them computes: what is
//! shown was an [`slantpath_quantity::Answer`] (or a plain table of them) before it came here.

pub mod figure;
pub mod json;
pub mod openmetrics;
pub mod page;
pub mod sheet;
pub mod text;

pub use sheet::{Cell, Figure, Provenance, Section, Sheet, Table};
