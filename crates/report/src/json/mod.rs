//! JSON: the written form of answers. Keys in snake_case; every document names its schema and version.

mod answer;
mod document;
mod sheet;

pub use answer::{AnswerJson, ContributorJson, ValueJson};
pub use document::{Document, ErrorJson, ProblemJson, error_document, schema_text};
pub use sheet::{SectionJson, SheetJson, sheet_document};
