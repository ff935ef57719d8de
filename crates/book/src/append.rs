//! Appending: one immediate transaction each, acknowledged when it is on the disk.

use crate::{Body, Book, BookError, EntryId, Kind, NewEntry, Role};
use rusqlite::{OptionalExtension, Transaction, TransactionBehavior, params};

impl Book {
    /// Appends an entry; when this returns, it is on the disk. `now_ms` is the moment of writing, ms since 1970.
    ///
    /// # Errors
    /// [`BookError`]: nothing was added.
    pub fn append(&mut self, new: &NewEntry, now_ms: i64) -> Result<EntryId, BookError> {
        self.append_all(std::slice::from_ref(new), now_ms)
            .and_then(|ids| {
                ids.first().copied().ok_or_else(|| BookError::Entry {
                    what: "nothing was given to write".into(),
                    expected: "an entry".into(),
                })
            })
    }

    /// Appends several entries, all or none of them.
    ///
    /// # Errors
    /// [`BookError`]: nothing was added.
    pub fn append_all(&mut self, new: &[NewEntry], now_ms: i64) -> Result<Vec<EntryId>, BookError> {
        for n in new {
            check(n)?;
        }
        let path = self.path.display().to_string();
        if !self.is_writable() {
            return Err(BookError::ReadOnly {
                path,
                why: "it was opened for reading".into(),
            });
        }
        let err = |e| BookError::of(&path, e);
        let tx = self
            .db
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(err)?;
        let mut ids = Vec::with_capacity(new.len());
        for n in new {
            if let Some(old) = n.supersedes {
                standing(&tx, old, &path)?;
            }
            ids.push(insert(&tx, n, now_ms, &path)?);
        }
        tx.commit().map_err(err)?;
        Ok(ids)
    }

    /// Declares an entry void by a new one that says why.
    ///
    /// # Errors
    /// As [`Book::append`].
    pub fn withdraw(
        &mut self,
        id: EntryId,
        why: &str,
        at_ms: i64,
        now_ms: i64,
    ) -> Result<EntryId, BookError> {
        let old = self.entry(id)?;
        let mut new = NewEntry::new(
            Kind::Withdrawal,
            at_ms,
            &old.entry.station,
            format!("entry {id} withdrawn"),
        )
        .text(why);
        new.supersedes = Some(id);
        self.append(&new, now_ms)
    }
}

/// What no book may hold.
fn check(n: &NewEntry) -> Result<(), BookError> {
    let bad = |what: String, expected: &str| {
        Err(BookError::Entry {
            what,
            expected: expected.into(),
        })
    };
    if n.title.trim().is_empty() {
        return bad(
            "an entry without a title".into(),
            "one line that says what it is",
        );
    }
    let fits = match (&n.body, n.kind) {
        (Body::Plain, k) => !matches!(k, Kind::Contact | Kind::Change),
        (Body::Measurement { .. }, Kind::Measurement)
        | (Body::Change { .. }, Kind::Change)
        | (Body::Fault { .. }, Kind::Fault)
        | (Body::Contact { .. }, Kind::Contact) => true,
        _ => false,
    };
    if !fits {
        return bad(
            format!("the content does not belong to a {}", n.kind.name()),
            "content of the same kind",
        );
    }
    if n.kind == Kind::Withdrawal && n.supersedes.is_none() {
        return bad(
            "a withdrawal of nothing".into(),
            "the entry that it withdraws",
        );
    }
    for f in &n.figures {
        if f.measurand.is_empty() || f.measurand.contains('@') {
            return bad(
                format!("the figure `{}` has no proper identity", f.label),
                "an identity without `@`, the branch beside it",
            );
        }
        if let Ok(v) = &f.value {
            let (lo, hi, level) = v.interval;
            let finite = [v.value, v.u, lo, hi, level].iter().all(|x| x.is_finite());
            if !finite || v.u < 0.0 {
                return bad(
                    format!("{}: {} with u = {}", f.measurand, v.value, v.u),
                    "finite numbers, and an uncertainty that is not negative",
                );
            }
        }
    }
    Ok(())
}

/// Whether `id` exists and nothing stands in its place yet.
fn standing(tx: &Transaction<'_>, id: EntryId, path: &str) -> Result<(), BookError> {
    let err = |e| BookError::of(path, e);
    let found: Option<i64> = tx
        .query_row("SELECT id FROM entry WHERE id = ?1", [id.0], |r| r.get(0))
        .optional()
        .map_err(err)?;
    if found.is_none() {
        return Err(BookError::NoEntry { id: id.0 });
    }
    let by: Option<i64> = tx
        .query_row("SELECT id FROM entry WHERE supersedes = ?1", [id.0], |r| {
            r.get(0)
        })
        .optional()
        .map_err(err)?;
    match by {
        Some(by) => Err(BookError::Superseded { id: id.0, by }),
        None => Ok(()),
    }
}

fn insert(
    tx: &Transaction<'_>,
    n: &NewEntry,
    now_ms: i64,
    path: &str,
) -> Result<EntryId, BookError> {
    let err = |e| BookError::of(path, e);
    let json = |e: serde_json::Error| BookError::Entry {
        what: format!("the content cannot be written: {e}"),
        expected: "finite numbers".into(),
    };
    let body = serde_json::to_string(&n.body).map_err(json)?;
    tx.prepare_cached(
        "INSERT INTO entry (written_at, at, kind, supersedes, station, branch, title, text, body)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
    )
    .and_then(|mut q| {
        q.execute(params![
            now_ms,
            n.at_ms,
            n.kind.name(),
            n.supersedes.map(|s| s.0),
            n.station,
            n.branch,
            n.title,
            n.text,
            body
        ])
    })
    .map_err(err)?;
    let id = tx.last_insert_rowid();
    for f in &n.figures {
        let (value, u, lo, hi, level, reason) = match &f.value {
            Ok(v) => (
                Some(v.value),
                Some(v.u),
                Some(v.interval.0),
                Some(v.interval.1),
                Some(v.interval.2),
                None,
            ),
            Err(why) => (None, None, None, None, None, Some(why.as_str())),
        };
        let outside = if f.outside.is_empty() {
            None
        } else {
            Some(serde_json::to_string(&f.outside).map_err(json)?)
        };
        tx.prepare_cached(
            "INSERT INTO figure (entry, at, role, measurand, branch, label, unit, value, u, lo, hi, level, reason, outside)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14)",
        )
        .and_then(|mut q| {
            q.execute(params![
                id,
                n.at_ms,
                f.role.name(),
                f.measurand,
                f.branch,
                f.label,
                f.unit,
                value,
                u,
                lo,
                hi,
                level,
                reason,
                outside
            ])
        })
        .map_err(err)?;
    }
    if let Some(p) = &n.provenance {
        // Seeds above 2^63 wrap into SQLite's signed integers and back.
        tx.execute(
            "INSERT INTO provenance (entry, written_by, command, seed, trials) VALUES (?1, ?2, ?3, ?4, ?5)",
            params![
                id,
                p.written_by,
                p.command,
                p.seed.map(u64::cast_signed),
                p.trials.map(u64::cast_signed)
            ],
        )
        .map_err(err)?;
        for (kind, name, sha256) in &p.inputs {
            tx.prepare_cached(
                "INSERT INTO input (entry, kind, name, sha256) VALUES (?1, ?2, ?3, ?4)",
            )
            .and_then(|mut q| q.execute(params![id, kind, name, sha256]))
            .map_err(err)?;
        }
    }
    if let Body::Contact { record } = &n.body {
        let key = crate::contact::Key::of(record);
        tx.execute(
            "INSERT INTO contact (entry, call, at, band, mode) VALUES (?1, ?2, ?3, ?4, ?5)",
            params![id, key.call, key.at_ms, key.band, key.mode],
        )
        .map_err(err)?;
    }
    Ok(EntryId(id))
}

impl Role {
    pub(crate) fn read(name: &str) -> Self {
        if name == Self::Predicted.name() {
            Self::Predicted
        } else {
            Self::Measured
        }
    }
}
