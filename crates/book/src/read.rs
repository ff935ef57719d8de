//! Reading: the timeline, search, series, latest figures.

use crate::contact::Key;
use crate::entry::Value;
use crate::parts::PartsList;
use crate::{Body, Book, BookError, Entry, EntryId, Figure, Kind, NewEntry, Provenance, Role};
use rusqlite::types::Value as Sql;
use rusqlite::{OptionalExtension, Row, params, params_from_iter};
use std::fmt::Write as _;

/// Which entries of the timeline.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Filter {
    /// Kinds; empty: all.
    pub kinds: Vec<Kind>,
    /// Not before, ms since 1970.
    pub from_ms: Option<i64>,
    /// Before, ms since 1970.
    pub to_ms: Option<i64>,
    /// Words that the title or the text contains (beginnings of words, any case, accents ignored).
    pub words: Option<String>,
    /// Also entries that were corrected or withdrawn, and the withdrawals.
    pub all: bool,
    /// At most so many, the newest; `None`: all.
    pub limit: Option<usize>,
}

/// One point of a series.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// Entry it stands in.
    pub entry: EntryId,
    /// When, ms since 1970.
    pub at_ms: i64,
    /// Unit symbol.
    pub unit: String,
    /// Value, or why there is none.
    pub value: Result<Value, String>,
    /// True when every model was inside its range.
    pub inside: bool,
}

/// Something that happened to the station between points.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// Entry.
    pub entry: EntryId,
    /// When, ms since 1970.
    pub at_ms: i64,
    /// A change of parts, or a fault.
    pub kind: Kind,
    /// Its title.
    pub title: String,
}

/// A measurand through time, oldest first.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Series {
    /// What was measured.
    pub measured: Vec<Point>,
    /// What was predicted on those days.
    pub predicted: Vec<Point>,
    /// Part changes and faults in the same range.
    pub marks: Vec<Mark>,
}

/// The latest figure of a measurand.
#[derive(Debug, Clone, PartialEq)]
pub struct Latest {
    /// When, ms since 1970.
    pub at_ms: i64,
    /// The figure.
    pub figure: Figure,
}

/// Entries that nothing stands in the place of.
const STANDING: &str =
    "NOT EXISTS (SELECT 1 FROM entry AS later WHERE later.supersedes = entry.id)";

impl Book {
    /// One entry, whole.
    ///
    /// # Errors
    /// [`BookError::NoEntry`], or the file cannot be read.
    pub fn entry(&self, id: EntryId) -> Result<Entry, BookError> {
        self.entries_where("id = ?1", vec![Sql::Integer(id.0)], None)?
            .into_iter()
            .next()
            .ok_or(BookError::NoEntry { id: id.0 })
    }

    /// Entries in the order in which they happened (of equals, in which they were written), oldest first.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn entries(&self, filter: &Filter) -> Result<Vec<Entry>, BookError> {
        let mut sql = String::from("1");
        let mut args = Vec::new();
        if !filter.all {
            let _ = write!(sql, " AND kind <> 'withdrawal' AND {STANDING}");
        }
        if !filter.kinds.is_empty() {
            let names: Vec<String> = filter
                .kinds
                .iter()
                .map(|k| format!("'{}'", k.name()))
                .collect();
            let _ = write!(sql, " AND kind IN ({})", names.join(", "));
        }
        if let Some(t) = filter.from_ms {
            args.push(Sql::Integer(t));
            let _ = write!(sql, " AND at >= ?{}", args.len());
        }
        if let Some(t) = filter.to_ms {
            args.push(Sql::Integer(t));
            let _ = write!(sql, " AND at < ?{}", args.len());
        }
        if let Some(q) = filter.words.as_deref().and_then(query) {
            args.push(Sql::Text(q));
            let _ = write!(
                sql,
                " AND id IN (SELECT rowid FROM word WHERE word MATCH ?{})",
                args.len()
            );
        } else if filter.words.is_some() {
            return Ok(Vec::new());
        }
        self.entries_where(&sql, args, filter.limit)
    }

    /// A measurand on a branch (empty: none) through time, with part changes and faults marked.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn series(
        &self,
        measurand: &str,
        branch: &str,
        from_ms: Option<i64>,
        to_ms: Option<i64>,
    ) -> Result<Series, BookError> {
        let (from, to) = (from_ms.unwrap_or(i64::MIN), to_ms.unwrap_or(i64::MAX));
        let mut out = Series::default();
        let mut q = self
            .db
            .prepare_cached(&format!(
                "SELECT figure.entry, figure.at, figure.unit, value, u, lo, hi, level, reason, outside, role
                 FROM figure JOIN entry ON entry.id = figure.entry
                 WHERE measurand = ?1 AND figure.branch = ?2 AND figure.at >= ?3 AND figure.at < ?4 AND {STANDING}
                 ORDER BY figure.at, figure.id"
            ))
            .map_err(|e| self.err(e))?;
        let rows = q
            .query_map(params![measurand, branch, from, to], |r| {
                let point = Point {
                    entry: EntryId(r.get(0)?),
                    at_ms: r.get(1)?,
                    unit: r.get(2)?,
                    value: value_of(r, 3)?,
                    inside: r.get::<_, Option<String>>(9)?.is_none(),
                };
                Ok((point, Role::read(&r.get::<_, String>(10)?)))
            })
            .and_then(Iterator::collect::<Result<Vec<_>, _>>)
            .map_err(|e| self.err(e))?;
        for (p, role) in rows {
            match role {
                Role::Measured => out.measured.push(p),
                Role::Predicted => out.predicted.push(p),
            }
        }
        let mut q = self
            .db
            .prepare_cached(&format!(
                "SELECT id, at, kind, title FROM entry
                 WHERE kind IN ('change', 'fault') AND at >= ?1 AND at < ?2 AND {STANDING} ORDER BY at, id"
            ))
            .map_err(|e| self.err(e))?;
        out.marks = q
            .query_map(params![from, to], |r| {
                Ok(Mark {
                    entry: EntryId(r.get(0)?),
                    at_ms: r.get(1)?,
                    kind: Kind::read(&r.get::<_, String>(2)?).unwrap_or(Kind::Note),
                    title: r.get(3)?,
                })
            })
            .and_then(Iterator::collect::<Result<Vec<_>, _>>)
            .map_err(|e| self.err(e))?;
        Ok(out)
    }

    /// Every measurand with its branch that has figures, with how many points, in alphabetical order.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn measurands(&self) -> Result<Vec<(String, String, u64)>, BookError> {
        let mut q = self
            .db
            .prepare_cached(&format!(
                "SELECT measurand, figure.branch, count(*) FROM figure JOIN entry ON entry.id = figure.entry
                 WHERE role = 'measured' AND {STANDING} GROUP BY measurand, figure.branch ORDER BY 1, 2"
            ))
            .map_err(|e| self.err(e))?;
        q.query_map([], |r| {
            Ok((r.get(0)?, r.get(1)?, r.get::<_, i64>(2)?.cast_unsigned()))
        })
        .and_then(Iterator::collect::<Result<Vec<_>, _>>)
        .map_err(|e| self.err(e))
    }

    /// The latest figure, measured and predicted, of every measurand and branch.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn latest(&self) -> Result<Vec<Latest>, BookError> {
        let mut out = Vec::new();
        for (measurand, branch, _) in self.measurands()? {
            for role in [Role::Measured, Role::Predicted] {
                let mut q = self
                    .db
                    .prepare_cached(&format!(
                        "SELECT {FIGURE}, figure.at FROM figure JOIN entry ON entry.id = figure.entry
                         WHERE measurand = ?1 AND figure.branch = ?2 AND role = ?3 AND {STANDING}
                         ORDER BY figure.at DESC, figure.id DESC LIMIT 1"
                    ))
                    .map_err(|e| self.err(e))?;
                let one = q
                    .query_row(params![measurand, branch, role.name()], |r| {
                        Ok(Latest {
                            at_ms: r.get(12)?,
                            figure: figure_of(r)?,
                        })
                    })
                    .optional()
                    .map_err(|e| self.err(e))?;
                out.extend(one);
            }
        }
        Ok(out)
    }

    /// The parts as last written in the book, and since when (ms since 1970), not after `until_ms`.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn parts(&self, until_ms: Option<i64>) -> Result<Option<(i64, PartsList)>, BookError> {
        let filter = Filter {
            kinds: vec![Kind::Change],
            to_ms: until_ms.map(|t| t.saturating_add(1)),
            limit: Some(1),
            ..Filter::default()
        };
        Ok(self
            .entries(&filter)?
            .into_iter()
            .next_back()
            .and_then(|e| match e.entry.body {
                Body::Change { now, .. } => Some((e.entry.at_ms, now)),
                _ => None,
            }))
    }

    /// Entries that rest on an input of this digest: whether a recording stands in the book already.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn with_input(&self, sha256: &str) -> Result<Vec<EntryId>, BookError> {
        let mut q = self
            .db
            .prepare_cached(&format!(
                "SELECT DISTINCT entry.id FROM input JOIN entry ON entry.id = input.entry
                 WHERE sha256 = ?1 AND {STANDING} ORDER BY 1"
            ))
            .map_err(|e| self.err(e))?;
        q.query_map([sha256], |r| r.get(0).map(EntryId))
            .and_then(Iterator::collect::<Result<Vec<_>, _>>)
            .map_err(|e| self.err(e))
    }

    /// Contacts with the same station, minute, band and mode: the same contact, brought in twice.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn same_contact(&self, key: &Key) -> Result<Vec<EntryId>, BookError> {
        let minute = key.at_ms.map(|t| t.div_euclid(60_000) * 60_000);
        let mut q = self
            .db
            .prepare_cached(&format!(
                "SELECT entry.id FROM contact JOIN entry ON entry.id = contact.entry
                 WHERE call = ?1 AND contact.at >= ?2 AND contact.at < ?2 + 60000 AND band = ?3 AND mode = ?4
                 AND {STANDING} ORDER BY 1"
            ))
            .map_err(|e| self.err(e))?;
        q.query_map(params![key.call, minute, key.band, key.mode], |r| {
            r.get(0).map(EntryId)
        })
        .and_then(Iterator::collect::<Result<Vec<_>, _>>)
        .map_err(|e| self.err(e))
    }

    fn entries_where(
        &self,
        condition: &str,
        args: Vec<Sql>,
        limit: Option<usize>,
    ) -> Result<Vec<Entry>, BookError> {
        let err = |e| self.err(e);
        let limit = limit.map_or(-1, |n| i64::try_from(n).unwrap_or(i64::MAX));
        let mut q = self
            .db
            .prepare_cached(&format!(
                "SELECT id, written_at, at, kind, supersedes, station, branch, title, text, body,
                        (SELECT later.id FROM entry AS later WHERE later.supersedes = entry.id),
                        written_by, command, seed, trials
                 FROM entry LEFT JOIN provenance ON provenance.entry = entry.id
                 WHERE {condition} ORDER BY at DESC, id DESC LIMIT {limit}"
            ))
            .map_err(err)?;
        let rows = q
            .query_map(params_from_iter(args), |r| {
                Ok((bare(r)?, r.get::<_, String>(9)?))
            })
            .and_then(Iterator::collect::<Result<Vec<_>, _>>)
            .map_err(err)?;
        let mut out = Vec::with_capacity(rows.len());
        for (mut e, body) in rows.into_iter().rev() {
            e.entry.body = serde_json::from_str(&body).map_err(|x| BookError::Damaged {
                path: self.path.display().to_string(),
                why: format!("the content of entry {} cannot be read: {x}", e.id),
            })?;
            e.entry.figures = self.figures(e.id)?;
            if let Some(p) = &mut e.entry.provenance {
                p.inputs = self.inputs(e.id)?;
            }
            out.push(e);
        }
        Ok(out)
    }

    fn figures(&self, id: EntryId) -> Result<Vec<Figure>, BookError> {
        let mut q = self
            .db
            .prepare_cached(&format!(
                "SELECT {FIGURE} FROM figure WHERE figure.entry = ?1 ORDER BY figure.id"
            ))
            .map_err(|e| self.err(e))?;
        q.query_map([id.0], figure_of)
            .and_then(Iterator::collect::<Result<Vec<_>, _>>)
            .map_err(|e| self.err(e))
    }

    fn inputs(&self, id: EntryId) -> Result<Vec<(String, String, String)>, BookError> {
        let mut q = self
            .db
            .prepare_cached("SELECT kind, name, sha256 FROM input WHERE entry = ?1 ORDER BY id")
            .map_err(|e| self.err(e))?;
        q.query_map([id.0], |r| Ok((r.get(0)?, r.get(1)?, r.get(2)?)))
            .and_then(Iterator::collect::<Result<Vec<_>, _>>)
            .map_err(|e| self.err(e))
    }
}

/// Columns that [`figure_of`] reads.
const FIGURE: &str =
    "role, measurand, figure.branch, label, unit, value, u, lo, hi, level, reason, outside";

fn figure_of(r: &Row<'_>) -> rusqlite::Result<Figure> {
    Ok(Figure {
        role: Role::read(&r.get::<_, String>(0)?),
        measurand: r.get(1)?,
        branch: r.get(2)?,
        label: r.get(3)?,
        unit: r.get(4)?,
        value: value_of(r, 5)?,
        outside: r
            .get::<_, Option<String>>(11)?
            .and_then(|t| serde_json::from_str(&t).ok())
            .unwrap_or_default(),
    })
}

/// Value, u, interval, level, reason from column `at` on.
fn value_of(r: &Row<'_>, at: usize) -> rusqlite::Result<Result<Value, String>> {
    Ok(match r.get::<_, Option<f64>>(at)? {
        Some(value) => Ok(Value {
            value,
            u: r.get(at + 1)?,
            interval: (r.get(at + 2)?, r.get(at + 3)?, r.get(at + 4)?),
        }),
        None => Err(r.get(at + 5)?),
    })
}

/// An entry without its body, figures and inputs.
fn bare(r: &Row<'_>) -> rusqlite::Result<Entry> {
    let written_by: Option<String> = r.get(11)?;
    let provenance = match written_by {
        Some(written_by) => Some(Provenance {
            written_by,
            command: r.get(12)?,
            seed: r.get::<_, Option<i64>>(13)?.map(i64::cast_unsigned),
            trials: r.get::<_, Option<i64>>(14)?.map(i64::cast_unsigned),
            inputs: Vec::new(),
        }),
        None => None,
    };
    Ok(Entry {
        id: EntryId(r.get(0)?),
        written_ms: r.get(1)?,
        superseded_by: r.get::<_, Option<i64>>(10)?.map(EntryId),
        entry: NewEntry {
            at_ms: r.get(2)?,
            kind: Kind::read(&r.get::<_, String>(3)?).unwrap_or(Kind::Note),
            supersedes: r.get::<_, Option<i64>>(4)?.map(EntryId),
            station: r.get(5)?,
            branch: r.get(6)?,
            title: r.get(7)?,
            text: r.get(8)?,
            body: Body::Plain,
            figures: Vec::new(),
            provenance,
        },
    })
}

/// What a person typed as a query of FTS5: each word a quoted beginning, all of them wanted. `None` without any word.
fn query(typed: &str) -> Option<String> {
    let words: Vec<String> = typed
        .split(|c: char| !c.is_alphanumeric())
        .filter(|w| !w.is_empty())
        .map(|w| format!("\"{w}\"*"))
        .collect();
    (!words.is_empty()).then(|| words.join(" AND "))
}
