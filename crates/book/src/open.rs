//! Opening, creating and migrating the file.

use crate::BookError;
use crate::error::PATIENCE_S;
use crate::schema::{APPLICATION_ID, STEPS, VERSION};
use rusqlite::{Connection, OpenFlags, TransactionBehavior};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

/// A station book, open.
///
/// Writes are acknowledged after the journal, the file and the folder are on the disk (`synchronous=EXTRA`, rollback
/// journal): when a call has returned, neither a killed process nor a power cut loses its entry. Several processes may
/// have one book open; a writer waits up to ten seconds for another.
#[derive(Debug)]
pub struct Book {
    pub(crate) db: Connection,
    pub(crate) path: PathBuf,
    writable: bool,
    migrated: Option<PathBuf>,
    // After `db`: fields are dropped in order, so the file is closed before its place is given up.
    _held: Held,
}

/// First bytes of every SQLite database file (its file format, section 1.3).
const MAGIC: &[u8; 16] = b"SQLite format 3\0";

impl Book {
    /// Opens a book for reading and appending, creating it when there is none, migrating it after a backup when it is
    /// older. `today` (`2026-05-03`) names the backup.
    ///
    /// # Errors
    /// [`BookError`]; a file that is no book, or a newer one, is left as it is.
    pub fn open(path: &Path, today: &str) -> Result<Self, BookError> {
        match fs::metadata(path) {
            Ok(_) => {}
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => create(path)?,
            Err(e) => return Err(BookError::file(path, e)),
        }
        let mut book = connect(path, true)?;
        let version = book.version()?;
        if version < VERSION {
            book.migrate(today)?;
        }
        Ok(book)
    }

    /// Opens a book for reading only.
    ///
    /// # Errors
    /// [`BookError`]; also [`BookError::Older`], since migrating would write.
    pub fn open_to_read(path: &Path) -> Result<Self, BookError> {
        let book = connect(path, false)?;
        let found = book.version()?;
        if found < VERSION {
            return Err(BookError::Older {
                path: path.display().to_string(),
                found,
                known: VERSION,
            });
        }
        Ok(book)
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }
    /// False when it was opened for reading only.
    pub fn is_writable(&self) -> bool {
        self.writable
    }
    /// The backup made because the book was older, if one was.
    pub fn migrated_after_backup(&self) -> Option<&Path> {
        self.migrated.as_deref()
    }
    /// What SQLite finds wrong with the file; empty when it is whole. Reads everything.
    ///
    /// # Errors
    /// The file cannot be read.
    pub fn integrity(&self) -> Result<Vec<String>, BookError> {
        let mut all = Vec::new();
        for check in ["PRAGMA integrity_check", "PRAGMA foreign_key_check"] {
            let mut q = self.db.prepare(check).map_err(|e| self.err(e))?;
            let rows = q
                .query_map([], |r| {
                    r.get_ref(0)
                        .map(|v| v.as_str().unwrap_or("broken reference").to_string())
                })
                .and_then(Iterator::collect::<Result<Vec<String>, _>>)
                .map_err(|e| self.err(e))?;
            all.extend(rows.into_iter().filter(|r| r != "ok"));
        }
        Ok(all)
    }

    pub(crate) fn err(&self, e: rusqlite::Error) -> BookError {
        BookError::of(&self.path.display().to_string(), e)
    }

    pub(crate) fn version(&self) -> Result<i64, BookError> {
        self.db
            .query_row("PRAGMA user_version", [], |r| r.get(0))
            .map_err(|e| self.err(e))
    }

    /// Takes the missing steps in one transaction, after a verified copy.
    fn migrate(&mut self, today: &str) -> Result<(), BookError> {
        // With the write lock nobody changes the file while it is copied, and nobody migrates it twice.
        self.db
            .execute_batch("BEGIN IMMEDIATE")
            .map_err(|e| self.err(e))?;
        let done = self.take_steps(today);
        if done.is_err() || !matches!(done, Ok(Some(_))) {
            // Nothing was changed, or nothing may be: the lock alone is given back.
            let _ = self.db.execute_batch("ROLLBACK");
        }
        self.migrated = done?;
        Ok(())
    }

    /// The migration inside its transaction: the backup made, `None` when another process was faster.
    fn take_steps(&mut self, today: &str) -> Result<Option<PathBuf>, BookError> {
        let from = self.version()?;
        if from >= VERSION {
            return Ok(None);
        }
        let name = self.path.display().to_string();
        let bytes = self
            .db
            .serialize("main")
            .map_err(|e| BookError::of(&name, e))?;
        let backup = back_up(&self.path, &bytes, from, today)?;
        drop(bytes);
        for step in STEPS.iter().skip(usize::try_from(from).unwrap_or(0)) {
            self.db.execute_batch(step).map_err(|e| self.err(e))?;
        }
        self.db
            .pragma_update(None, "user_version", VERSION)
            .and_then(|()| self.db.execute_batch("COMMIT"))
            .map_err(|e| self.err(e))?;
        Ok(Some(backup))
    }
}

/// What the header says before SQLite touches the file: the version of a book.
fn look(path: &Path) -> Result<i64, BookError> {
    let not = |why: &str| BookError::NotABook {
        path: path.display().to_string(),
        why: why.to_string(),
    };
    let meta = fs::metadata(path).map_err(|e| BookError::file(path, e))?;
    if !meta.is_file() {
        return Err(not("it is not a file"));
    }
    if meta.len() == 0 {
        return Err(not("it is empty"));
    }
    let mut head = [0u8; 100];
    let mut file = File::open(path).map_err(|e| BookError::file(path, e))?;
    if let Err(e) = file.read_exact(&mut head) {
        return match e.kind() {
            std::io::ErrorKind::UnexpectedEof => Err(not("it is too short for a database")),
            _ => Err(BookError::file(path, e)),
        };
    }
    // File format section 1.3: user version at byte 60, application id at byte 68, big-endian.
    let word = |at: usize| {
        let mut b = [0u8; 4];
        for (to, from) in b.iter_mut().zip(head.iter().skip(at)) {
            *to = *from;
        }
        i32::from_be_bytes(b)
    };
    if !head.starts_with(MAGIC) {
        return Err(not("it is no database"));
    }
    if word(68) != APPLICATION_ID {
        return Err(not("it is a database of another program"));
    }
    let version = i64::from(word(60));
    if version > VERSION {
        return Err(newer(path, version));
    }
    Ok(version)
}

fn newer(path: &Path, found: i64) -> BookError {
    BookError::Newer {
        path: path.display().to_string(),
        found,
        known: VERSION,
    }
}

/// Books that this process has open, by their true path. The header of an open book is not looked at again: closing
/// that second handle would drop SQLite's locks (see [`back_up`]).
static OPEN: Mutex<BTreeMap<PathBuf, usize>> = Mutex::new(BTreeMap::new());

/// Holds a place in [`OPEN`].
#[derive(Debug)]
struct Held(PathBuf);

impl Drop for Held {
    fn drop(&mut self) {
        let mut open = OPEN.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(n) = open.get_mut(&self.0) {
            *n = n.saturating_sub(1);
            if *n == 0 {
                open.remove(&self.0);
            }
        }
    }
}

fn connect(path: &Path, write: bool) -> Result<Book, BookError> {
    let name = path.display().to_string();
    let truly = fs::canonicalize(path).map_err(|e| BookError::file(path, e))?;
    let mut open = OPEN.lock().unwrap_or_else(PoisonError::into_inner);
    if !open.contains_key(&truly) {
        look(path)?;
    }
    let mode = if write {
        OpenFlags::SQLITE_OPEN_READ_WRITE
    } else {
        OpenFlags::SQLITE_OPEN_READ_ONLY
    };
    let db = Connection::open_with_flags(path, mode | OpenFlags::SQLITE_OPEN_NO_MUTEX)
        .map_err(|e| BookError::of(&name, e))?;
    *open.entry(truly.clone()).or_insert(0) += 1;
    drop(open);
    let book = Book {
        db,
        path: path.to_path_buf(),
        writable: write,
        migrated: None,
        _held: Held(truly),
    };
    settle(&book.db).map_err(|e| book.err(e))?;
    // The header may have been half of an unfinished write; what SQLite reads after its recovery counts.
    let version = book.version()?;
    if version > VERSION {
        return Err(newer(path, version));
    }
    Ok(book)
}

/// Settings of every connection. `trusted_schema` off: a book may come from somebody else.
fn settle(db: &Connection) -> rusqlite::Result<()> {
    db.busy_timeout(Duration::from_secs(PATIENCE_S))?;
    db.pragma_update(None, "synchronous", "EXTRA")?;
    db.pragma_update(None, "foreign_keys", true)?;
    db.pragma_update(None, "recursive_triggers", true)?;
    db.pragma_update(None, "trusted_schema", false)?;
    Ok(())
}

/// Builds an empty book under another name and links it into place: at every instant there is no book or a whole one,
/// and of two processes that create it the second finds the first one's.
fn create(path: &Path) -> Result<(), BookError> {
    static TURN: AtomicU64 = AtomicU64::new(0);
    let name = path.display().to_string();
    let temporary = loop {
        let turn = TURN.fetch_add(1, Ordering::Relaxed);
        let mut t = path.as_os_str().to_owned();
        t.push(format!(".new-{}-{turn}", std::process::id()));
        let t = PathBuf::from(t);
        match File::create_new(&t) {
            Ok(_) => break t,
            // Left behind by a process of the same number that died here.
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists && turn < 1000 => {}
            Err(e) => return Err(BookError::file_in(path, e)),
        }
    };
    let built = build(&temporary, STEPS.len()).map_err(|e| BookError::of(&name, e));
    let linked = built.and_then(|()| match fs::hard_link(&temporary, path) {
        Ok(()) => Ok(()),
        Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists => Ok(()),
        // A file system without hard links: renaming could replace a book made in this very moment, so look first.
        Err(_) if !path.exists() => {
            fs::rename(&temporary, path).map_err(|e| BookError::file(path, e))
        }
        Err(_) => Ok(()),
    });
    let _ = fs::remove_file(&temporary);
    linked?;
    sync_folder(path);
    Ok(())
}

impl BookError {
    /// The error of making a file beside `path`.
    fn file_in(path: &Path, e: std::io::Error) -> Self {
        match e.kind() {
            std::io::ErrorKind::NotFound => Self::File {
                path: path.display().to_string(),
                cause: std::io::Error::new(e.kind(), "its folder does not exist"),
            },
            _ => Self::file(path, e),
        }
    }
}

/// Takes the first `steps` steps in the empty file `path`.
pub(crate) fn build(path: &Path, steps: usize) -> rusqlite::Result<()> {
    let mut db = Connection::open(path)?;
    settle(&db)?;
    let tx = db.transaction_with_behavior(TransactionBehavior::Immediate)?;
    tx.pragma_update(None, "application_id", APPLICATION_ID)?;
    for step in STEPS.iter().take(steps) {
        tx.execute_batch(step)?;
    }
    tx.pragma_update(None, "user_version", steps.min(STEPS.len()) as i64)?;
    tx.commit()?;
    db.close().map_err(|(_, e)| e)
}

/// Writes the locked book's bytes, as SQLite hands them out, to a new file, makes them durable, reads them back and lets
/// SQLite check them.
///
/// The book itself must not be opened here a second time: closing that handle would drop SQLite's locks (POSIX locks
/// belong to process and file; "How To Corrupt An SQLite Database File", section 2.2).
fn back_up(path: &Path, bytes: &[u8], version: i64, today: &str) -> Result<PathBuf, BookError> {
    let mut n = 0;
    loop {
        let mut name = path.as_os_str().to_owned();
        let again = if n == 0 {
            String::new()
        } else {
            format!("-{n}")
        };
        name.push(format!(".v{version}-{today}{again}.backup"));
        let to = PathBuf::from(name);
        let failed = |why: String| BookError::Backup {
            path: path.display().to_string(),
            backup: to.display().to_string(),
            why,
        };
        let mut out = match File::create_new(&to) {
            Ok(f) => f,
            Err(e) if e.kind() == std::io::ErrorKind::AlreadyExists && n < 1000 => {
                n += 1;
                continue;
            }
            Err(e) => return Err(failed(e.to_string())),
        };
        let written = out.write_all(bytes).and_then(|()| out.sync_all());
        let checked = written
            .map_err(|e| failed(e.to_string()))
            .and_then(|()| verify(&to, bytes).map_err(failed));
        if let Err(e) = checked {
            let _ = fs::remove_file(&to);
            return Err(e);
        }
        sync_folder(&to);
        return Ok(to);
    }
}

fn verify(copy: &Path, bytes: &[u8]) -> Result<(), String> {
    let back = fs::read(copy).map_err(|e| e.to_string())?;
    if Sha256::digest(&back) != Sha256::digest(bytes) {
        return Err("the copy differs from the book".into());
    }
    let db = Connection::open_with_flags(copy, OpenFlags::SQLITE_OPEN_READ_ONLY)
        .map_err(|e| e.to_string())?;
    let said: String = db
        .query_row("PRAGMA integrity_check", [], |r| r.get(0))
        .map_err(|e| e.to_string())?;
    if said == "ok" { Ok(()) } else { Err(said) }
}

/// A new name is durable once its folder is; where folders cannot be opened (not on Unix) nothing is to be done.
fn sync_folder(path: &Path) {
    let folder = match path.parent() {
        Some(p) if !p.as_os_str().is_empty() => p,
        _ => Path::new("."),
    };
    if let Ok(f) = File::open(folder) {
        let _ = f.sync_all();
    }
}
