//! Sheets as JSON: one document for each call of a verb.

use super::{AnswerJson, Document, ValueJson};
use crate::sheet::{Cell, Section, Sheet, Table};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeMap;

/// The body of every verb's document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SheetJson {
    /// The verb whose sheet it is.
    pub verb: String,
    /// Headline.
    pub title: String,
    /// Parts in reading order.
    pub sections: Vec<SectionJson>,
    /// Why.
    pub because: Vec<String>,
    /// What would help most now, or null.
    pub next_measurement: Option<String>,
    /// Cautions.
    pub cautions: Vec<String>,
    /// True when the verb could not conclude or refused (exit code 3); `because` says why.
    pub refused: bool,
    /// Further sheets of the same call: other variants, the steps of the demo.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub further: Vec<SheetJson>,
}

/// A part of a sheet.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct SectionJson {
    /// Stable name.
    pub key: String,
    /// Heading.
    pub title: String,
    /// Sentences.
    pub text: Vec<String>,
    /// Answers.
    pub answers: Vec<AnswerJson>,
    /// Tables whose rows are more than one answer each.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub tables: Vec<TableJson>,
    /// Lines to be copied as they are.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub block: Vec<String>,
}

/// A table.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct TableJson {
    /// Stable name.
    pub key: String,
    /// Columns in reading order.
    pub columns: Vec<ColumnJson>,
    /// Rows: the key of each column with its cell.
    pub rows: Vec<BTreeMap<String, CellJson>>,
}

/// A column of a table.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ColumnJson {
    /// Stable name.
    pub key: String,
    /// Heading.
    pub label: String,
}

/// What stands in one place of a table: words, or a value.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum CellJson {
    /// Words.
    Text(String),
    /// A value.
    Value(Box<ValueJson>),
}

impl From<&Cell> for CellJson {
    fn from(c: &Cell) -> Self {
        let value = match c {
            Cell::Text(t) => return Self::Text(t.clone()),
            Cell::Value(e, unit) => ValueJson::known(e, *unit),
            Cell::Number { value, unit, .. } => ValueJson::plain(*value, unit),
            Cell::Missing(why) => ValueJson::null("", why),
        };
        Self::Value(Box::new(value))
    }
}

impl From<&Table> for TableJson {
    fn from(t: &Table) -> Self {
        Self {
            key: t.key.clone(),
            columns: t
                .columns
                .iter()
                .map(|(key, label)| ColumnJson {
                    key: key.clone(),
                    label: label.clone(),
                })
                .collect(),
            rows: t
                .rows
                .iter()
                .map(|row| {
                    t.columns
                        .iter()
                        .zip(row)
                        .map(|((key, _), cell)| (key.clone(), cell.into()))
                        .collect()
                })
                .collect(),
        }
    }
}

impl From<&Section> for SectionJson {
    fn from(s: &Section) -> Self {
        Self {
            key: s.key.clone(),
            title: s.title.clone(),
            text: s.text.clone(),
            answers: s.answers.iter().map(AnswerJson::from).collect(),
            tables: s.tables.iter().map(TableJson::from).collect(),
            block: s.block.clone(),
        }
    }
}

impl From<&Sheet> for SheetJson {
    fn from(s: &Sheet) -> Self {
        Self {
            verb: s.verb.clone(),
            title: s.title.clone(),
            sections: s.sections.iter().map(SectionJson::from).collect(),
            because: s.because.clone(),
            next_measurement: s.next_measurement.clone(),
            cautions: s.cautions.clone(),
            refused: s.refused,
            further: Vec::new(),
        }
    }
}

/// The document of a sheet, schema `slantpath.<verb>` version 1.
pub fn sheet_document(s: &Sheet) -> Document<SheetJson> {
    Document::new(&s.verb, 1, s.into())
}

/// One document for the sheets of one call: the first, with the others as `further`. None without a sheet.
pub fn sheets_document(sheets: &[Sheet]) -> Option<Document<SheetJson>> {
    let (first, rest) = sheets.split_first()?;
    let mut document = sheet_document(first);
    document.body.further = rest.iter().map(SheetJson::from).collect();
    Some(document)
}
