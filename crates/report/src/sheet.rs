//! The one form in which a verb hands its result to a rendering: sections of answers, and figures.

use slantpath_quantity::{Answer, Estimate, Unit};

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
    /// Further tables, after the answers.
    pub tables: Vec<Table>,
    /// Lines to be copied as they are, after the tables.
    pub block: Vec<String>,
}

/// A table whose rows are more than one answer each: variants side by side, sensitivities, signals.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Table {
    /// Stable name in snake_case, for JSON.
    pub key: String,
    /// Columns: key in snake_case and heading. The first names the row.
    pub columns: Vec<(String, String)>,
    /// Rows, one cell for each column.
    pub rows: Vec<Vec<Cell>>,
}

impl Table {
    /// A table without rows.
    pub fn new(key: &str, columns: &[(&str, &str)]) -> Self {
        Self {
            key: key.to_string(),
            columns: columns
                .iter()
                .map(|(k, h)| ((*k).to_string(), (*h).to_string()))
                .collect(),
            rows: Vec::new(),
        }
    }
}

/// What stands in one place of a table.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// Words.
    Text(String),
    /// A value with its uncertainty.
    Value(Estimate, Unit),
    /// A number whose uncertainty is not the point, with the decimals that are worth showing, and its unit as written.
    Number {
        /// The number.
        value: f64,
        /// Decimals shown.
        places: i32,
        /// Unit symbol; empty for plain numbers.
        unit: String,
    },
    /// No value, because.
    Missing(String),
}

impl From<&Answer> for Cell {
    fn from(a: &Answer) -> Self {
        match &a.outcome {
            Ok(e) => Self::Value(e.clone(), a.unit),
            Err(u) => Self::Missing(u.reason.clone()),
        }
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Self {
        Self::Text(text.to_string())
    }
}

impl Section {
    /// A section with its answers.
    pub fn new(key: &str, title: impl Into<String>, answers: Vec<Answer>) -> Self {
        Self {
            key: key.to_string(),
            title: title.into(),
            text: Vec::new(),
            answers,
            tables: Vec::new(),
            block: Vec::new(),
        }
    }
    /// Adds a table.
    pub fn table(mut self, table: Table) -> Self {
        self.tables.push(table);
        self
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
