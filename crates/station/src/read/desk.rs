//! Reads values out of a section into contributors.

use super::bounds::Bounds;
use crate::checked::Band;
use slantpath_input::toml::{Node, Value};
use slantpath_input::{Problem, Problems, Section, written};
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::show::significant;
use slantpath_quantity::{
    Contributor, ContributorId, Dimension, Distribution, Frequency, Unit, Written, to_db,
};

/// Source of a figure that the file does not give but every station has about the same.
pub(crate) const DEFAULT: &str = "default";
/// Source of a figure that nobody published.
pub(crate) const GUESS: &str = "guess (wide prior)";

/// How a value is kept.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Kind {
    /// In the base unit of its dimension.
    Plain(Dimension),
    /// A ratio that must be written in dB.
    Db,
    /// A ratio that must be written as a number or in per cent.
    Share,
    /// A power, kept in dBW however it is written.
    Power,
}

impl Kind {
    fn dimension(self) -> Dimension {
        match self {
            Self::Plain(d) => d,
            Self::Db | Self::Share => Dimension::Ratio,
            Self::Power => Dimension::PowerLevel,
        }
    }
    /// Symbol of the unit in which it is kept.
    pub(crate) fn unit(self) -> &'static str {
        match self {
            Self::Db => "dB",
            Self::Share | Self::Plain(Dimension::Ratio) => "1",
            Self::Power => "dBW",
            Self::Plain(Dimension::Charge) => "A s",
            Self::Plain(Dimension::Energy) => "J",
            Self::Plain(d) => Unit::ALL
                .iter()
                .find(|u| u.dimension() == d && u.scale() == 1.0 && u.offset() == 0.0)
                .map_or("", |u| u.symbol()),
        }
    }
}

/// What is common while one file is read.
#[derive(Debug)]
pub(crate) struct Desk {
    /// What was found wrong.
    pub problems: Problems,
    /// Source of the figures written in the file.
    pub source: &'static str,
}

/// A section whose values have an identity.
pub(crate) struct Scope<'a, 't> {
    pub desk: &'a mut Desk,
    pub sec: Section<'t>,
    /// Beginning of the identities, for example `rx.lnb`.
    pub id: String,
    /// Beginning of the labels, for example `LNB`.
    pub label: String,
}

impl<'a, 't> Scope<'a, 't> {
    pub(crate) fn new(
        desk: &'a mut Desk,
        sec: Section<'t>,
        id: impl Into<String>,
        label: impl Into<String>,
    ) -> Self {
        Self {
            desk,
            sec,
            id: id.into(),
            label: label.into(),
        }
    }

    /// The section under a key; identity and label go one step deeper.
    pub(crate) fn sub(&mut self, key: &'static str) -> Option<Scope<'_, 't>> {
        let sec = self.sec.section(key, &mut self.desk.problems)?;
        Some(Scope {
            desk: self.desk,
            sec,
            id: format!("{}.{key}", self.id),
            label: format!("{} {}", self.label, key.replace('_', " ")),
        })
    }

    /// Ends the section: unknown keys are problems.
    pub(crate) fn done(self) {
        self.sec.finish(&mut self.desk.problems);
    }

    /// A contributor under a key with a distribution that is not written.
    pub(crate) fn made(
        &self,
        key: &str,
        unit: &'static str,
        distribution: Distribution,
        source: &str,
    ) -> Contributor {
        self.contributor(key, unit, distribution, source, self.sec.origin())
    }

    fn contributor(
        &self,
        key: &str,
        unit: &'static str,
        distribution: Distribution,
        source: &str,
        origin: Option<&str>,
    ) -> Contributor {
        let suffix = origin.map_or(String::new(), |o| format!("@{o}"));
        Contributor {
            id: ContributorId::new(format!("{}.{key}{suffix}", self.id)),
            label: format!("{}: {}", self.label, key.replace('_', " ")),
            distribution,
            unit,
            source: source.to_string(),
        }
    }

    /// The value of a key, if written and right.
    pub(crate) fn optional(
        &mut self,
        key: &'static str,
        kind: Kind,
        bounds: Bounds,
    ) -> Option<Contributor> {
        self.optional_as(key, key, kind, bounds)
    }

    /// As [`Self::optional`] with another last step of the identity.
    pub(crate) fn optional_as(
        &mut self,
        key: &'static str,
        id: &str,
        kind: Kind,
        bounds: Bounds,
    ) -> Option<Contributor> {
        let node = self.sec.get(key)?;
        let distribution = self.desk.value(node, key, kind, bounds)?;
        let origin = node.origin.as_deref().or(self.sec.origin());
        Some(self.contributor(id, kind.unit(), distribution, self.desk.source, origin))
    }

    /// The value of a key that must be written. When it is not, a problem is noted and a stand-in returned, which no
    /// caller of this room ever sees, because a file with an error gives no station.
    pub(crate) fn required(
        &mut self,
        key: &'static str,
        kind: Kind,
        bounds: Bounds,
    ) -> Contributor {
        let written = self.sec.get(key).is_some();
        match self.optional(key, kind, bounds) {
            Some(c) => c,
            None => {
                if !written {
                    let d = kind.dimension();
                    let like = match kind {
                        Kind::Db => "a number of dB, written like \"0.7 dB ± 0.2\"".to_string(),
                        Kind::Share => "a share, written like 0.3 or \"30 %\"".to_string(),
                        _ => format!("{}, written like {}", d.name(), d.example()),
                    };
                    self.sec.missing(key, &like, &mut self.desk.problems);
                }
                self.made(key, kind.unit(), Distribution::Exact(0.0), "")
            }
        }
    }

    /// The value of a key, else what is usual.
    pub(crate) fn or_default(
        &mut self,
        key: &'static str,
        kind: Kind,
        bounds: Bounds,
        default: Distribution,
        source: &str,
    ) -> Contributor {
        match self.optional(key, kind, bounds) {
            Some(c) => c,
            None => self.made(key, kind.unit(), default, source),
        }
    }

    /// A value that is exact by nature, in its base unit.
    pub(crate) fn exact(&mut self, key: &'static str, kind: Kind, bounds: Bounds) -> Option<f64> {
        let node = self.sec.get(key)?;
        self.desk.exact(node, key, kind, bounds)
    }

    /// An exact value that must be written (0 as a stand-in).
    pub(crate) fn required_exact(&mut self, key: &'static str, kind: Kind, bounds: Bounds) -> f64 {
        if self.sec.get(key).is_none() {
            let d = kind.dimension();
            let like = format!("{}, written like {}", d.name(), d.example());
            self.sec.missing(key, &like, &mut self.desk.problems);
        }
        self.exact(key, kind, bounds).unwrap_or(0.0)
    }

    /// A range of frequencies, written `"10.45..10.75 GHz"`.
    pub(crate) fn band(&mut self, key: &'static str) -> Option<Band> {
        let node = self.sec.get(key)?;
        self.desk.band(node, key)
    }

    /// Notes a problem.
    pub(crate) fn problem(&mut self, p: Problem) {
        self.desk.problems.push(p);
    }
}

impl Desk {
    /// A value out of a node, kept as `kind` says, within `bounds`.
    pub(crate) fn value(
        &mut self,
        node: &Node,
        key: &str,
        kind: Kind,
        bounds: Bounds,
    ) -> Option<Distribution> {
        let w = written(node, key, kind.dimension(), &mut self.problems)?;
        let kept = self.kept(node, key, kind, &w)?;
        self.within(node, key, kind, &w, kept, bounds)
    }

    fn kept(&mut self, node: &Node, key: &str, kind: Kind, w: &Written) -> Option<Distribution> {
        let refuse = |label: &str, expected: &str| {
            Problem::error(format!("`{key}` is written in the wrong way"))
                .at_place(node.place())
                .label(label.to_string())
                .expected(expected.to_string())
        };
        match kind {
            Kind::Db if w.unit != Unit::Db => {
                self.problems.push(refuse(
                    "this is not in dB",
                    "a number of dB, written like \"0.7 dB ± 0.2\"",
                ));
                None
            }
            Kind::Share if w.unit == Unit::Db => {
                self.problems.push(refuse(
                    "this is in dB",
                    "a share, written like 0.3 or \"30 %\"",
                ));
                None
            }
            Kind::Plain(Dimension::Ratio) if w.unit == Unit::Db => {
                self.problems
                    .push(refuse("this is in dB", "a plain number"));
                None
            }
            Kind::Power => match level_dbw(w) {
                Some(d) => Some(d),
                None => {
                    self.problems.push(
                        Problem::error(format!("`{key}` is no power"))
                            .at_place(node.place())
                            .label("a power is more than nothing")
                            .expected("a positive power, written like \"50 W\" or \"15 dBW\""),
                    );
                    None
                }
            },
            _ => Some(w.base()),
        }
    }

    fn within(
        &mut self,
        node: &Node,
        key: &str,
        kind: Kind,
        w: &Written,
        kept: Distribution,
        b: Bounds,
    ) -> Option<Distribution> {
        let (lo, hi) = match kept {
            Distribution::Rectangular { lo, hi } => (lo, hi),
            d => (d.mean(), d.mean()),
        };
        if b.lo <= lo && hi <= b.hi {
            return Some(kept);
        }
        // Limits are told in the unit in which the value was written.
        let unit = if kind == Kind::Power {
            Unit::Dbw
        } else {
            w.unit
        };
        let show = |base: f64| {
            let x = significant(unit.of_base(base), 6);
            match unit.symbol() {
                "" => x,
                s => format!("{x} {s}"),
            }
        };
        let bad = if lo < b.lo { lo } else { hi };
        let expected = match (b.lo.is_finite(), b.hi.is_finite()) {
            (true, true) => format!("{} to {}", show(b.lo), show(b.hi)),
            (true, false) => format!("{} or more", show(b.lo)),
            _ => format!("{} or less", show(b.hi)),
        };
        self.problems.push(
            Problem::error(format!("`{key}` = {} is not possible", show(bad)))
                .at_place(node.place())
                .label(b.why)
                .expected(expected),
        );
        None
    }

    /// A value that is exact by nature.
    pub(crate) fn exact(
        &mut self,
        node: &Node,
        key: &str,
        kind: Kind,
        bounds: Bounds,
    ) -> Option<f64> {
        match self.value(node, key, kind, bounds)? {
            Distribution::Exact(v) => Some(v),
            _ => {
                self.problems.push(
                    Problem::error(format!("`{key}` is taken as exact"))
                        .at_place(node.place())
                        .label("no uncertainty and no limits here")
                        .expected(format!(
                            "one value, written like {}",
                            kind.dimension().example()
                        )),
                );
                None
            }
        }
    }

    /// A standard uncertainty of a value kept as `kind`: of powers and of C/N0 a number of dB, of temperatures a
    /// difference, so that 2 degrees Celsius are 2 K.
    pub(crate) fn spread(&mut self, node: &Node, key: &str, kind: Kind) -> Option<f64> {
        let not_negative = super::bounds::Bounds {
            why: "an uncertainty cannot be negative",
            ..super::bounds::FACTOR
        };
        match kind {
            Kind::Power | Kind::Plain(Dimension::CarrierToNoiseDensity) => {
                self.exact(node, key, Kind::Db, not_negative)
            }
            Kind::Plain(Dimension::Temperature) => {
                let w = written(node, key, Dimension::Temperature, &mut self.problems)?;
                let kelvin = Written { unit: Unit::K, ..w };
                self.within(node, key, kind, &kelvin, w.distribution, not_negative)
                    .map(|d| d.mean())
            }
            _ => self.exact(node, key, kind, not_negative),
        }
    }

    /// A range of frequencies.
    pub(crate) fn band(&mut self, node: &Node, key: &str) -> Option<Band> {
        let d = self.value(
            node,
            key,
            Kind::Plain(Dimension::Frequency),
            super::bounds::FREQUENCY,
        )?;
        match d {
            Distribution::Rectangular { lo, hi } => Some(Band {
                lo: Frequency::hz(lo),
                hi: Frequency::hz(hi),
            }),
            _ => {
                self.problems.push(
                    Problem::error(format!("`{key}` is a range"))
                        .at_place(node.place())
                        .label("this is one frequency")
                        .expected("two frequencies, written like \"10.45..10.75 GHz\""),
                );
                None
            }
        }
    }

    /// Rows of a table written as a list of lists; `columns` are key, kind and bounds. The last `optional` columns may
    /// be left out. Rows with a mistake are left out after the problem is noted.
    pub(crate) fn rows(
        &mut self,
        node: &Node,
        key: &str,
        columns: &[(&str, Kind, Bounds)],
        optional: usize,
    ) -> Vec<(Vec<Distribution>, Node)> {
        let example = columns
            .iter()
            .map(|(_, k, _)| {
                k.dimension()
                    .example()
                    .split(" or ")
                    .next()
                    .unwrap_or("\"1\"")
            })
            .collect::<Vec<_>>()
            .join(", ");
        let names = columns.iter().map(|c| c.0).collect::<Vec<_>>().join(", ");
        let shape = format!("a list of rows [{names}], each like [{example}]");
        let wrong = |n: &Node, label: String| {
            Problem::error(format!("`{key}` is not such a table"))
                .at_place(n.place())
                .label(label)
                .expected(shape.clone())
        };
        let Value::List(list) = &node.value else {
            self.problems
                .push(wrong(node, format!("this is {}", node.value.kind())));
            return Vec::new();
        };
        let mut out = Vec::new();
        for row in list {
            let Value::List(cells) = &row.value else {
                self.problems.push(wrong(
                    row,
                    format!("this is {}, not a row", row.value.kind()),
                ));
                continue;
            };
            if cells.len() > columns.len() || cells.len() + optional < columns.len() {
                self.problems
                    .push(wrong(row, format!("this row has {} entries", cells.len())));
                continue;
            }
            let values: Vec<Distribution> = cells
                .iter()
                .zip(columns)
                .filter_map(|(c, (name, kind, b))| self.value(c, name, *kind, *b))
                .collect();
            if values.len() == cells.len() {
                out.push((values, row.clone()));
            }
        }
        out
    }

    /// Notes a problem where the first column does not rise strictly.
    pub(crate) fn rising(&mut self, rows: &[(Vec<Distribution>, Node)], key: &str, column: &str) {
        for w in rows.windows(2) {
            if let [(a, _), (b, at)] = w
                && let (Some(x), Some(y)) = (a.first(), b.first())
                && y.mean() <= x.mean()
            {
                self.problems.push(
                    Problem::error(format!("`{key}` does not rise"))
                        .at_place(at.place())
                        .label(format!("its {column} is not above that of the row before"))
                        .expected(format!("rows by rising {column}, each once")),
                );
                return;
            }
        }
    }
}

/// What is known of a power, in dBW. First order for a standard uncertainty (GUM 5.1.2). `None` when it is not
/// positive, or when its limits are not.
pub(crate) fn level_dbw(w: &Written) -> Option<Distribution> {
    let base = w.base();
    if w.unit.is_logarithmic() {
        return Some(base);
    }
    match base {
        Distribution::Exact(p) if p > 0.0 => Some(Distribution::Exact(to_db(p))),
        Distribution::Normal { mean, u } if mean > 0.0 => Some(Distribution::Normal {
            mean: to_db(mean),
            u: db_of_relative_u(u / mean),
        }),
        Distribution::Rectangular { lo, hi } if lo > 0.0 => Some(Distribution::Rectangular {
            lo: to_db(lo),
            hi: to_db(hi),
        }),
        _ => None,
    }
}

/// Limits that lie so far either way of `mid`.
pub(crate) fn either_way(mid: f64, by: f64) -> Distribution {
    if by > 0.0 {
        Distribution::Rectangular {
            lo: mid - by,
            hi: mid + by,
        }
    } else {
        Distribution::Exact(mid)
    }
}

/// Best estimate and standard uncertainty.
pub(crate) const fn about(mean: f64, u: f64) -> Distribution {
    Distribution::Normal { mean, u }
}

/// Limits.
pub(crate) const fn between(lo: f64, hi: f64) -> Distribution {
    Distribution::Rectangular { lo, hi }
}
