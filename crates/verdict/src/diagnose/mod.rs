//! Diagnosis: which fault made these measurements, and what to measure next.
//!
//! Every fault is a hypothesis with a consequence on every observable, as a function of its size. The station itself is
//! known only within its stated uncertainties, so observables are correlated: contributors are marginalised to first
//! order, which makes the evidence normal around each consequence. The likelihood of a fault is integrated over the prior
//! of its size (MacKay, Information Theory, Inference, and Learning Algorithms, chapter 28: what could have explained
//! anything is believed less: Occam's term). "None of these" is a hypothesis too: something moved that no fault explains.
//!
//! [`faults`] fills a [`Case`] from the station model; nothing in this file knows what a dish is.

pub mod faults;
mod next;
mod score;

pub use next::{Advice, advise};
pub use score::{Diagnosis, Group, Ranked, diagnose};

/// Something that can be observed.
#[derive(Debug, Clone, PartialEq)]
pub struct Observable {
    /// Identity: a measurand of the model, or `symptom.<name>`.
    pub id: String,
    /// What a person calls it.
    pub label: String,
    /// Unit symbol.
    pub unit: &'static str,
    /// Value of a sound station.
    pub healthy: f64,
    /// Natural spread of it alone, standard.
    pub u: f64,
    /// Effect of one standard uncertainty of each contributor, in the order of the model's inputs; empty for none.
    pub effects: Vec<f64>,
}

/// What was seen.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    /// Identity of the observable.
    pub id: String,
    /// Value.
    pub value: f64,
    /// Standard uncertainty of the measurement.
    pub u: f64,
}

/// A hypothesis.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// Short name in snake_case.
    pub key: &'static str,
    /// What a person calls it.
    pub label: &'static str,
    /// What to do about it.
    pub remedy: &'static str,
    /// Prior weight against the other faults.
    pub weight: f64,
    /// Change of every observable at sizes that divide the prior of its size into equal parts; one: no size.
    pub nodes: Vec<Vec<f64>>,
}

/// A measurement that could be made.
#[derive(Debug, Clone, PartialEq)]
pub struct Action {
    /// What to do, a sentence.
    pub how: String,
    /// Minutes it takes.
    pub minutes: f64,
    /// Identity of what it shows.
    pub observable: String,
    /// Standard uncertainty it reaches.
    pub u: f64,
}

/// Everything a diagnosis knows before the evidence.
#[derive(Debug, Clone, Default)]
pub struct Case {
    /// What can be observed.
    pub observables: Vec<Observable>,
    /// What can be wrong; the sound station is one of them.
    pub faults: Vec<Fault>,
    /// What can be measured.
    pub actions: Vec<Action>,
}

impl Case {
    /// Position of an observable.
    pub fn find(&self, id: &str) -> Option<usize> {
        self.observables.iter().position(|o| o.id == id)
    }
}
