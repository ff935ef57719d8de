//! The one form in which a figure reaches a user.

use crate::{ContributorId, Unit, Validity};

/// A coverage interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower end, in the answer's unit.
    pub lo: f64,
    /// Upper end, in the answer's unit.
    pub hi: f64,
    /// Coverage probability, for example 0.95.
    pub level: f64,
}

impl Interval {
    /// Half the width.
    pub fn half_width(&self) -> f64 {
        0.5 * (self.hi - self.lo)
    }
    /// Whether `x` lies inside, ends included.
    pub fn contains(&self, x: f64) -> bool {
        self.lo <= x && x <= self.hi
    }
}

/// A value with what is known of its error.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimate {
    /// Best estimate, in the answer's unit.
    pub value: f64,
    /// Standard uncertainty, same unit (difference quantities in dB: dB). Zero means exact by definition.
    pub u: f64,
    /// Coverage interval; need not be symmetric.
    pub interval: Interval,
}

impl Estimate {
    /// Normal estimate with the 95 % interval at k = 1.96.
    pub fn normal(value: f64, u: f64) -> Self {
        const K95: f64 = 1.959_963_984_540_054;
        Self {
            value,
            u,
            interval: Interval {
                lo: value - K95 * u,
                hi: value + K95 * u,
                level: 0.95,
            },
        }
    }
    /// A value exact by definition.
    pub fn exact(value: f64) -> Self {
        Self {
            value,
            u: 0.0,
            interval: Interval {
                lo: value,
                hi: value,
                level: 1.0,
            },
        }
    }
}

/// Why there is no value.
#[derive(Debug, Clone, PartialEq)]
pub struct Undetermined {
    /// What was seen that forbids an answer.
    pub reason: String,
    /// What to do or record instead.
    pub remedy: String,
}

/// One contributor's part in an answer's uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct Share {
    /// Identity of the contributor.
    pub id: ContributorId,
    /// What a person calls it.
    pub label: String,
    /// Standard uncertainty that this contributor alone causes in the answer, in the answer's unit.
    pub u: f64,
    /// Change of the answer per one standard uncertainty of the contributor, signed (equals `u` up to sign in a linear model).
    pub effect: f64,
    /// True when the contributor is systematic: it does not average out over repeated recordings.
    pub systematic: bool,
}

/// What a user is told about one measurand. Text, JSON, HTML and the page render this; none computes.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// Stable identity of the measurand, for example `narrow.beacon-psk.cn0@main`. Prediction and measurement of the
    /// same thing carry the same identity.
    pub measurand: String,
    /// What a person calls it.
    pub label: String,
    /// Unit of value, u and interval.
    pub unit: Unit,
    /// The estimate, or why there is none.
    pub outcome: Result<Estimate, Undetermined>,
    /// Contributors to the uncertainty, largest first.
    pub shares: Vec<Share>,
    /// Inside every model's range, or outside and why.
    pub validity: Validity,
    /// Why the value is what it is: at most a few sentences; the two largest contributors by name.
    pub because: Vec<String>,
    /// The measurement that would help most now.
    pub next_measurement: Option<String>,
}

impl Answer {
    /// An answer with an estimate.
    pub fn known(
        measurand: impl Into<String>,
        label: impl Into<String>,
        unit: Unit,
        estimate: Estimate,
    ) -> Self {
        Self {
            measurand: measurand.into(),
            label: label.into(),
            unit,
            outcome: Ok(estimate),
            shares: Vec::new(),
            validity: Validity::Inside,
            because: Vec::new(),
            next_measurement: None,
        }
    }
    /// An answer that could not be given.
    pub fn unknown(
        measurand: impl Into<String>,
        label: impl Into<String>,
        unit: Unit,
        reason: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self {
            measurand: measurand.into(),
            label: label.into(),
            unit,
            outcome: Err(Undetermined {
                reason: reason.into(),
                remedy: remedy.into(),
            }),
            shares: Vec::new(),
            validity: Validity::Inside,
            because: Vec::new(),
            next_measurement: None,
        }
    }
    /// Shares sorted largest first.
    pub fn with_shares(mut self, mut shares: Vec<Share>) -> Self {
        shares.sort_by(|a, b| b.u.total_cmp(&a.u).then_with(|| a.id.cmp(&b.id)));
        self.shares = shares;
        self
    }
    /// Adds a validity finding.
    pub fn with_validity(mut self, v: Validity) -> Self {
        self.validity = self.validity.and(v);
        self
    }
    /// Adds a reason.
    pub fn because(mut self, why: impl Into<String>) -> Self {
        self.because.push(why.into());
        self
    }
    /// Sets the next measurement.
    pub fn next(mut self, what: impl Into<String>) -> Self {
        self.next_measurement = Some(what.into());
        self
    }
    /// The estimate if there is one.
    pub fn estimate(&self) -> Option<&Estimate> {
        self.outcome.as_ref().ok()
    }
}
