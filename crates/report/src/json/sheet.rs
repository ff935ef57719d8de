//! A sheet as JSON.

use super::{AnswerJson, Document};
use crate::sheet::Sheet;
use schemars::JsonSchema;
use serde::Serialize;

/// The body of every verb's document.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct SheetJson {
    /// Headline.
    pub title: String,
    /// Parts in reading order.
    pub sections: Vec<SectionJson>,
    /// Why.
    pub because: Vec<String>,
    /// What would help most now.
    pub next_measurement: Option<String>,
    /// Cautions.
    pub cautions: Vec<String>,
    /// True when the verb could not conclude or refused.
    pub refused: bool,
}

/// A part of a sheet.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct SectionJson {
    /// Stable name.
    pub key: String,
    /// Heading.
    pub title: String,
    /// Sentences.
    pub text: Vec<String>,
    /// Answers.
    pub answers: Vec<AnswerJson>,
}

/// The document of a sheet, schema `slantpath.<verb>` version 1.
pub fn sheet_document(s: &Sheet) -> Document<SheetJson> {
    Document::new(
        &s.verb,
        1,
        SheetJson {
            title: s.title.clone(),
            sections: s
                .sections
                .iter()
                .map(|x| SectionJson {
                    key: x.key.clone(),
                    title: x.title.clone(),
                    text: x.text.clone(),
                    answers: x.answers.iter().map(AnswerJson::from).collect(),
                })
                .collect(),
            because: s.because.clone(),
            next_measurement: s.next_measurement.clone(),
            cautions: s.cautions.clone(),
            refused: s.refused,
        },
    )
}
