//! The envelope of every JSON document, errors included.

use schemars::JsonSchema;
use serde::Serialize;

/// A document: which schema it follows, in which version, by which build.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct Document<T> {
    /// Schema name, for example `slantpath.predict`.
    pub schema: String,
    /// Version of the schema; rises when a field changes its meaning or goes.
    pub version: u32,
    /// Program and version that wrote it.
    pub written_by: String,
    /// The body.
    #[serde(flatten)]
    pub body: T,
}

impl<T: Serialize> Document<T> {
    /// Wraps a body.
    pub fn new(schema: &str, version: u32, body: T) -> Self {
        Self {
            schema: format!("slantpath.{schema}"),
            version,
            written_by: format!("slantpath {}", env!("CARGO_PKG_VERSION")),
            body,
        }
    }
    /// As text, indented, with a newline at the end.
    ///
    /// # Errors
    /// A number that JSON cannot hold.
    pub fn text(&self) -> Result<String, serde_json::Error> {
        let mut s = serde_json::to_string_pretty(self)?;
        s.push('\n');
        Ok(s)
    }
}

/// A mistake in something that a person wrote.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ProblemJson {
    /// `error` or `warning`.
    pub severity: String,
    /// File name as given.
    pub file: Option<String>,
    /// Line, from 1.
    pub line: Option<usize>,
    /// Column, from 1, in characters.
    pub column: Option<usize>,
    /// The text concerned.
    pub text: Option<String>,
    /// What is wrong.
    pub what: String,
    /// What was expected.
    pub expected: Option<String>,
    /// What to do.
    pub help: Option<String>,
}

/// Why there is no answer at all.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ErrorJson {
    /// Exit code: 1 the machine failed, 2 bad input, 3 cannot conclude or refused.
    pub exit_code: u8,
    /// What happened.
    pub message: String,
    /// Located problems, if the input is at fault.
    pub problems: Vec<ProblemJson>,
}

/// The document of an error.
pub fn error_document(e: ErrorJson) -> Document<ErrorJson> {
    Document::new("error", 1, e)
}

#[cfg(test)]
mod tests {
    use super::super::AnswerJson;
    use super::*;
    use slantpath_quantity::{Answer, Estimate, Unit};

    #[test]
    fn undetermined_is_null_with_a_reason() {
        let a = Answer::unknown("s", "step", Unit::Db, "no window", "sample faster");
        let text = Document::new("measure", 1, AnswerJson::from(&a))
            .text()
            .unwrap();
        let v: serde_json::Value = serde_json::from_str(&text).unwrap();
        assert_eq!(v["schema"], "slantpath.measure");
        assert!(v["value"].is_null() && v["reason"] == "no window");
        let b = Answer::known("s", "step", Unit::Db, Estimate::normal(2.0, 0.1));
        let v = serde_json::to_value(AnswerJson::from(&b)).unwrap();
        assert_eq!(v["unit"], "dB");
        assert_eq!(v["interval"].as_array().unwrap().len(), 2);
        let c = Answer::known("s", "step", Unit::Db, Estimate::normal(f64::NAN, 0.1));
        let v = serde_json::to_value(AnswerJson::from(&c)).unwrap();
        assert!(v["value"].is_null() && v["reason"].is_string());
    }
}
