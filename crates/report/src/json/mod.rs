//! JSON: the written form of answers. Keys in snake_case; every document names its schema and version.

mod answer;
mod document;
mod schema;
mod sheet;

pub use answer::{AnswerJson, ContributorJson, ValueJson};
pub use document::{Document, ErrorJson, ProblemJson, error_document};
pub use schema::{VERBS, VERSION, schemas};
pub use sheet::{
    CellJson, ColumnJson, SectionJson, SheetJson, TableJson, sheet_document, sheets_document,
};
