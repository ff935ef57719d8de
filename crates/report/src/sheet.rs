//! The one form in which a verb hands its result to a rendering: sections of answers, and figures.

use slantpath_quantity::Answer;

/// A result to be read: by a person (text, page) or a program (JSON).
#[derive(Debug, Clone, Default)]
pub struct Sheet {
    /// Verb, which names the JSON schema: `survey`, `predict`, `measure`, `compare`, `verdict`, `demo`.
    pub verb: String,
    /// Headline.
    pub title: String,
    /// Parts in reading order.
    pub sections: Vec<Section>,
    /// Why the result is what it is.
    pub because: Vec<String>,
    /// The measurement that would help most now.
    pub next_measurement: Option<String>,
    /// Cautions that belong to what is advised.
    pub cautions: Vec<String>,
    /// Drawings.
    pub figures: Vec<Figure>,
    /// True when the verb could not conclude or refused (exit code 3); `because` says why.
    pub refused: bool,
}

/// A part of a sheet.
#[derive(Debug, Clone, Default)]
pub struct Section {
    /// Stable name in snake_case, for JSON.
    pub key: String,
    /// Heading.
    pub title: String,
    /// Sentences before the table.
    pub text: Vec<String>,
    /// Answers, one row each.
    pub answers: Vec<Answer>,
}

impl Section {
    /// A section with its answers.
    pub fn new(key: &str, title: impl Into<String>, answers: Vec<Answer>) -> Self {
        Self {
            key: key.to_string(),
            title: title.into(),
            text: Vec::new(),
            answers,
        }
    }
    /// Adds a sentence.
    pub fn say(mut self, text: impl Into<String>) -> Self {
        self.text.push(text.into());
        self
    }
}

/// A drawing.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// Stable name in snake_case.
    pub key: String,
    /// Caption, a sentence.
    pub caption: String,
    /// SVG text, self-contained: no script, no outside reference.
    pub svg: String,
}

/// Where a result comes from, so that it can be recomputed identically.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Provenance {
    /// Inputs: what it is, name as given, SHA-256 in hex.
    pub inputs: Vec<(String, String, String)>,
    /// Seed of every random stream.
    pub seed: u64,
    /// Monte Carlo trials.
    pub trials: usize,
    /// Program and version.
    pub written_by: String,
    /// The command that computes it again.
    pub command: String,
}
