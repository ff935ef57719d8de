//! What may be written in a book.

use crate::adif::Record;
use crate::parts::{Change, PartsList};
use serde::{Deserialize, Serialize};
use slantpath_quantity::{Answer, Unit};

/// Number of an entry; rises in the order of writing, never used twice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EntryId(pub i64);

impl std::fmt::Display for EntryId {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}", self.0)
    }
}

/// What an entry is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// Figures measured, with the prediction of the day.
    Measurement,
    /// Parts that changed.
    Change,
    /// Weather, temperatures.
    Weather,
    /// Something broke, or works again.
    Fault,
    /// Anything else.
    Note,
    /// A contact.
    Contact,
    /// An entry declared void; says why.
    Withdrawal,
}

impl Kind {
    /// Every one.
    pub const ALL: &'static [Kind] = &[
        Self::Measurement,
        Self::Change,
        Self::Weather,
        Self::Fault,
        Self::Note,
        Self::Contact,
        Self::Withdrawal,
    ];
    /// As written in the file and on the command line.
    pub fn name(self) -> &'static str {
        match self {
            Self::Measurement => "measurement",
            Self::Change => "change",
            Self::Weather => "weather",
            Self::Fault => "fault",
            Self::Note => "note",
            Self::Contact => "contact",
            Self::Withdrawal => "withdrawal",
        }
    }
    /// The kind of that name.
    pub fn read(name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|k| k.name() == name)
    }
}

/// Whether a figure was measured or predicted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// From a recording, a reading or an instrument.
    Measured,
    /// What the model said on that day.
    Predicted,
}

impl Role {
    /// As written in the file.
    pub fn name(self) -> &'static str {
        match self {
            Self::Measured => "measured",
            Self::Predicted => "predicted",
        }
    }
}

/// One figure of an entry.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// Measured or predicted.
    pub role: Role,
    /// Identity without the branch, for example `narrow.beacon.cn0` or `weather.temperature`.
    pub measurand: String,
    /// Branch, empty when it belongs to none.
    pub branch: String,
    /// What a person calls it.
    pub label: String,
    /// Unit symbol.
    pub unit: String,
    /// Value, or why there is none.
    pub value: Result<Value, String>,
    /// Models used outside their range, each with the reason.
    pub outside: Vec<String>,
}

/// A value with its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Value {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Coverage interval: lower end, upper end, level.
    pub interval: (f64, f64, f64),
}

impl Figure {
    /// A measured figure with a normal uncertainty.
    pub fn measured(measurand: &str, label: &str, unit: Unit, value: f64, u: f64) -> Self {
        let e = if u > 0.0 {
            slantpath_quantity::Estimate::normal(value, u)
        } else {
            slantpath_quantity::Estimate::exact(value)
        };
        Self::of_answer(&Answer::known(measurand, label, unit, e), Role::Measured)
    }
    /// The figure of an answer; a measurand `name@branch` is split.
    pub fn of_answer(a: &Answer, role: Role) -> Self {
        let (measurand, branch) = a
            .measurand
            .split_once('@')
            .unwrap_or((a.measurand.as_str(), ""));
        Self {
            role,
            measurand: measurand.to_string(),
            branch: branch.to_string(),
            label: a.label.clone(),
            unit: a.unit.symbol().to_string(),
            value: match &a.outcome {
                Ok(e) => Ok(Value {
                    value: e.value,
                    u: e.u,
                    interval: (e.interval.lo, e.interval.hi, e.interval.level),
                }),
                Err(u) => Err(format!("{}; {}", u.reason, u.remedy)),
            },
            outside: a.validity.reasons().to_vec(),
        }
    }
}

/// Where figures come from, so that they can be computed again.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Provenance {
    /// Program and version.
    pub written_by: String,
    /// Command that computes it again.
    pub command: String,
    /// Seed of the random streams, if any were drawn.
    pub seed: Option<u64>,
    /// Monte Carlo trials.
    pub trials: Option<u64>,
    /// Inputs: what it is, name as given, SHA-256 in hex.
    pub inputs: Vec<(String, String, String)>,
}

/// What belongs to one kind of entry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "form", rename_all = "snake_case")]
pub enum Body {
    /// Figures only.
    Plain,
    /// A measurement: which recording, and what the recording's health check found.
    Measurement {
        /// Name of the recording.
        recording: String,
        /// Findings, each a sentence.
        findings: Vec<String>,
    },
    /// What changed, and the parts as they are since.
    Change {
        /// Differences; empty for the first list of a station.
        changes: Vec<Change>,
        /// The station since then.
        now: PartsList,
    },
    /// A fault: which part, and whether it is over.
    Fault {
        /// The part, as the station file names it.
        part: Option<String>,
        /// True when the fault is over.
        over: bool,
    },
    /// A contact, every field as it came.
    Contact {
        /// The record.
        record: Record,
    },
}

/// An entry to be written.
#[derive(Debug, Clone, PartialEq)]
pub struct NewEntry {
    /// When it happened, ms since 1970 (UTC).
    pub at_ms: i64,
    /// What it is about.
    pub kind: Kind,
    /// Entry that this one corrects.
    pub supersedes: Option<EntryId>,
    /// Name of the station, with its variant if one was in use.
    pub station: String,
    /// Branch, if it belongs to one.
    pub branch: Option<String>,
    /// One line.
    pub title: String,
    /// What a person wrote.
    pub text: String,
    /// What belongs to the kind.
    pub body: Body,
    /// Figures.
    pub figures: Vec<Figure>,
    /// Where the figures come from.
    pub provenance: Option<Provenance>,
}

impl NewEntry {
    /// An entry with a title and nothing else.
    pub fn new(kind: Kind, at_ms: i64, station: &str, title: impl Into<String>) -> Self {
        Self {
            at_ms,
            kind,
            supersedes: None,
            station: station.to_string(),
            branch: None,
            title: title.into(),
            text: String::new(),
            body: Body::Plain,
            figures: Vec::new(),
            provenance: None,
        }
    }
    /// Adds what a person wrote.
    pub fn text(mut self, text: impl Into<String>) -> Self {
        self.text = text.into();
        self
    }
    /// Sets the body.
    pub fn body(mut self, body: Body) -> Self {
        self.body = body;
        self
    }
    /// Adds a figure.
    pub fn figure(mut self, f: Figure) -> Self {
        self.figures.push(f);
        self
    }
}

/// An entry as it stands in the book.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Its number.
    pub id: EntryId,
    /// When it was written, ms since 1970 (UTC).
    pub written_ms: i64,
    /// The entry that stands in its place since, if it was corrected.
    pub superseded_by: Option<EntryId>,
    /// What was written.
    pub entry: NewEntry,
}
