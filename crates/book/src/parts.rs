//! What a station consists of, as plain facts that can be kept, compared and printed.
//!
//! A fact is a figure with its uncertainty or a few words; its name is the field's name in the station file. Two lists
//! of the same station differ in parts added, removed, replaced by another kind, or in some of their facts. The names
//! of variants leave no trace: a value written by a variant compares with the value it replaces.

mod facts;

use serde::{Deserialize, Serialize};
use slantpath_quantity::show;
use slantpath_station::Station;
use std::collections::BTreeMap;

/// The parts of one station.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct PartsList {
    /// Name of the station.
    pub station: String,
    /// Variant that this is, if any.
    pub variant: Option<String>,
    /// Parts: site, dish, feed, receive parts, branches, transmit parts, supply, cooling, satellite.
    pub parts: Vec<PartFacts>,
}

/// One part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PartFacts {
    /// Identity, for example `rx.lnb`, `tx.amplifier`, `feed`, `reflector`.
    pub key: String,
    /// What a person calls it.
    pub label: String,
    /// What it is: `lnb`, `cable`, `feed`, `site`.
    pub kind: String,
    /// Facts by the field's name.
    pub facts: BTreeMap<String, Fact>,
}

/// A fact about a part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Fact {
    /// A figure.
    Figure {
        /// Best estimate.
        value: f64,
        /// Standard uncertainty.
        u: f64,
        /// Unit symbol.
        unit: String,
        /// Where it comes from: `station file`, `default`, `guess (wide prior)`.
        source: String,
    },
    /// Words.
    Words(String),
}

impl Fact {
    /// As a person reads it.
    pub fn text(&self) -> String {
        match self {
            Self::Words(w) => w.clone(),
            Self::Figure { value, u, unit, .. } => {
                // A plain number carries the unit 1, which nobody writes.
                let unit = if unit == "1" { "" } else { unit.as_str() };
                let space = if unit.is_empty() { "" } else { " " };
                if *u > 0.0 {
                    let (v, s) = show::value_and_u(*value, *u);
                    format!("{v} ± {s}{space}{unit}")
                } else {
                    format!("{}{space}{unit}", show::significant(*value, 6))
                }
            }
        }
    }
    /// Whether both say the same, apart from where it comes from.
    fn same(&self, other: &Fact) -> bool {
        match (self, other) {
            (
                Self::Figure {
                    value: a,
                    u: ua,
                    unit: na,
                    ..
                },
                Self::Figure {
                    value: b,
                    u: ub,
                    unit: nb,
                    ..
                },
            ) => close(*a, *b) && close(*ua, *ub) && na == nb,
            (a, b) => a == b,
        }
    }
}

/// Equal as written: decimal text and back may cost the last digit.
fn close(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-12 * a.abs().max(b.abs())
}

/// How one part differs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Change {
    /// Identity of the part.
    pub key: String,
    /// What a person calls it (after the change, where it is still there).
    pub label: String,
    /// What happened.
    pub what: What,
    /// Facts before and after; for a part added or removed all of its facts.
    pub facts: Vec<FactChange>,
}

/// What happened to a part.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum What {
    /// It is new.
    Added,
    /// It is gone.
    Removed,
    /// Another kind of part stands in its place.
    Replaced,
    /// Some of its facts are others.
    Changed,
}

/// One fact before and after.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FactChange {
    /// Field.
    pub name: String,
    /// Before, if there was one.
    pub before: Option<Fact>,
    /// After, if there is one.
    pub after: Option<Fact>,
}

impl Change {
    /// One sentence: `LNB: noise_figure 0.7 dB -> 0.5 dB`.
    pub fn sentence(&self) -> String {
        let changed = || {
            self.facts
                .iter()
                .map(|f| {
                    let text = |x: &Option<Fact>| x.as_ref().map_or("none".to_string(), Fact::text);
                    format!("{} {} -> {}", f.name, text(&f.before), text(&f.after))
                })
                .collect::<Vec<_>>()
                .join("; ")
        };
        match self.what {
            What::Added => format!("{}: added", self.label),
            What::Removed => format!("{}: removed", self.label),
            What::Replaced => format!("{}: replaced; {}", self.label, changed()),
            What::Changed => format!("{}: {}", self.label, changed()),
        }
    }
}

impl PartsList {
    /// The parts of a station as its file describes them.
    pub fn of(station: &Station) -> Self {
        Self {
            station: station.name.clone(),
            variant: station.variant.clone(),
            parts: facts::of(station),
        }
    }
    /// The part of that identity.
    pub fn part(&self, key: &str) -> Option<&PartFacts> {
        self.parts.iter().find(|p| p.key == key)
    }
    /// How `after` differs from this list, in the order of `after`, parts that are gone last.
    pub fn changes_to(&self, after: &PartsList) -> Vec<Change> {
        let mut out = Vec::new();
        for b in &after.parts {
            match self.part(&b.key) {
                None => out.push(Change {
                    key: b.key.clone(),
                    label: b.label.clone(),
                    what: What::Added,
                    facts: fact_changes(&BTreeMap::new(), &b.facts),
                }),
                Some(a) => {
                    let mut facts = fact_changes(&a.facts, &b.facts);
                    if a.label != b.label {
                        facts.insert(
                            0,
                            FactChange {
                                name: "label".into(),
                                before: Some(Fact::Words(a.label.clone())),
                                after: Some(Fact::Words(b.label.clone())),
                            },
                        );
                    }
                    let what = if a.kind == b.kind {
                        What::Changed
                    } else {
                        What::Replaced
                    };
                    if !facts.is_empty() || what == What::Replaced {
                        out.push(Change {
                            key: b.key.clone(),
                            label: b.label.clone(),
                            what,
                            facts,
                        });
                    }
                }
            }
        }
        for a in self.parts.iter().filter(|a| after.part(&a.key).is_none()) {
            out.push(Change {
                key: a.key.clone(),
                label: a.label.clone(),
                what: What::Removed,
                facts: fact_changes(&a.facts, &BTreeMap::new()),
            });
        }
        out
    }
}

fn fact_changes(a: &BTreeMap<String, Fact>, b: &BTreeMap<String, Fact>) -> Vec<FactChange> {
    let names: std::collections::BTreeSet<&String> = a.keys().chain(b.keys()).collect();
    names
        .into_iter()
        .filter(|n| match (a.get(*n), b.get(*n)) {
            (Some(x), Some(y)) => !x.same(y),
            _ => true,
        })
        .map(|n| FactChange {
            name: n.clone(),
            before: a.get(n).cloned(),
            after: b.get(n).cloned(),
        })
        .collect()
}
