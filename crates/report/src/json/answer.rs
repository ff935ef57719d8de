//! The JSON form of a value and of an answer.

use schemars::JsonSchema;
use serde::Serialize;
use slantpath_quantity::{Answer, Estimate, Unit};

/// A value with what is known of its error; `value` is null when it could not be determined, and `reason` says why.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ValueJson {
    /// Best estimate in `unit`, or null.
    pub value: Option<f64>,
    /// Unit symbol; empty for plain numbers.
    pub unit: String,
    /// Standard uncertainty in `unit`, or null.
    pub u: Option<f64>,
    /// Coverage interval, lower and upper end, or null.
    pub interval: Option<[f64; 2]>,
    /// Coverage probability of the interval, or null.
    pub level: Option<f64>,
    /// True when every model used was inside its stated range.
    pub valid: bool,
    /// Why the value is null.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// What to do instead, when the value is null.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub remedy: Option<String>,
    /// Which model is outside its range, and where.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub outside: Vec<String>,
}

impl ValueJson {
    /// A value that is known and inside every range. JSON has no infinity: what is not finite is null, and said.
    pub fn known(e: &Estimate, unit: Unit) -> Self {
        if !e.value.is_finite() {
            return Self::null(unit.symbol(), "the value is not a finite number");
        }
        let i = &e.interval;
        let closed = i.lo.is_finite() && i.hi.is_finite();
        Self {
            value: Some(e.value),
            u: Some(e.u).filter(|u| u.is_finite()),
            interval: closed.then_some([i.lo, i.hi]),
            level: closed.then_some(i.level),
            ..Self::null(unit.symbol(), "")
        }
        .without_reason()
    }

    /// A number without statement of uncertainty, in a unit as written.
    pub fn plain(value: f64, unit: &str) -> Self {
        if !value.is_finite() {
            return Self::null(unit, "the value is not a finite number");
        }
        Self {
            value: Some(value),
            ..Self::null(unit, "")
        }
        .without_reason()
    }

    /// No value, because.
    pub fn null(unit: &str, reason: &str) -> Self {
        Self {
            value: None,
            unit: unit.to_string(),
            u: None,
            interval: None,
            level: None,
            valid: true,
            reason: Some(reason.to_string()),
            remedy: None,
            outside: Vec::new(),
        }
    }

    fn without_reason(mut self) -> Self {
        self.reason = None;
        self
    }
}

impl From<&Answer> for ValueJson {
    fn from(a: &Answer) -> Self {
        let mut v = match &a.outcome {
            Ok(e) => Self::known(e, a.unit),
            Err(u) => Self {
                remedy: Some(u.remedy.clone()),
                ..Self::null(a.unit.symbol(), &u.reason)
            },
        };
        v.valid = a.validity.is_inside();
        v.outside = a.validity.reasons().to_vec();
        v
    }
}

/// One contributor's part in an answer's uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ContributorJson {
    /// Identity.
    pub id: String,
    /// What a person calls it.
    pub label: String,
    /// Standard uncertainty that it alone causes, in the answer's unit.
    pub u: f64,
    /// Change of the answer per one standard uncertainty, signed.
    pub effect: f64,
    /// Whether it stays when recordings are repeated.
    pub systematic: bool,
}

/// An answer, whole.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct AnswerJson {
    /// Stable identity of the measurand.
    pub measurand: String,
    /// What a person calls it.
    pub label: String,
    /// Value and uncertainty.
    #[serde(flatten)]
    pub value: ValueJson,
    /// Contributors, largest first.
    pub contributors: Vec<ContributorJson>,
    /// Why.
    pub because: Vec<String>,
    /// What would help most now.
    pub next_measurement: Option<String>,
}

impl From<&Answer> for AnswerJson {
    fn from(a: &Answer) -> Self {
        Self {
            measurand: a.measurand.clone(),
            label: a.label.clone(),
            value: a.into(),
            contributors: a
                .shares
                .iter()
                .map(|s| ContributorJson {
                    id: s.id.to_string(),
                    label: s.label.clone(),
                    u: s.u,
                    effect: s.effect,
                    systematic: s.systematic,
                })
                .collect(),
            because: a.because.clone(),
            next_measurement: a.next_measurement.clone(),
        }
    }
}
