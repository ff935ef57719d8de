//! Why the book could not be opened, read or written.

use rusqlite::ErrorCode;
use thiserror::Error;

/// Errors of the book.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum BookError {
    /// There is no such file.
    #[error("there is no book at {path}")]
    Missing {
        /// The path.
        path: String,
    },
    /// The file is something else; it was not touched.
    #[error("{path} is not a station book ({why}); it was not touched")]
    NotABook {
        /// The path.
        path: String,
        /// What it looks like instead.
        why: String,
    },
    /// The book was written by a newer program; it was not touched.
    #[error(
        "{path} is a book of version {found}, this program knows versions up to {known}; it was not touched: \
         use a newer program"
    )]
    Newer {
        /// The path.
        path: String,
        /// Version found.
        found: i64,
        /// Newest version known here.
        known: i64,
    },
    /// The book is older and may not be migrated in this mode of opening.
    #[error(
        "{path} is a book of version {found}, older than {known}: open it for writing once, which migrates it after a backup"
    )]
    Older {
        /// The path.
        path: String,
        /// Version found.
        found: i64,
        /// Version wanted.
        known: i64,
    },
    /// The file, its folder or its medium may not be written.
    #[error("{path} cannot be written: {why}; nothing was added")]
    ReadOnly {
        /// The path.
        path: String,
        /// What the system said.
        why: String,
    },
    /// No room left.
    #[error(
        "the disk that holds {path} is full or refuses to grow the file ({why}); nothing was added, earlier entries are safe"
    )]
    Full {
        /// The path.
        path: String,
        /// What the system said.
        why: String,
    },
    /// Another program kept the book locked.
    #[error(
        "{path} is locked by another program for more than {seconds} s; nothing was added: try again"
    )]
    Busy {
        /// The path.
        path: String,
        /// How long was waited, s.
        seconds: u64,
    },
    /// The file is damaged.
    #[error(
        "{path} is damaged ({why}); copy it away before anything else, and take up the last backup"
    )]
    Damaged {
        /// The path.
        path: String,
        /// What was found.
        why: String,
    },
    /// The backup before a migration could not be made or does not equal the book; the book was not migrated.
    #[error("{path} was not migrated: its backup {backup} failed ({why})")]
    Backup {
        /// The path.
        path: String,
        /// The backup's path.
        backup: String,
        /// What went wrong.
        why: String,
    },
    /// The entry that shall be superseded does not exist.
    #[error("there is no entry {id}")]
    NoEntry {
        /// Its number.
        id: i64,
    },
    /// The entry that shall be superseded was superseded already.
    #[error("entry {id} was already corrected by entry {by}: correct that one")]
    Superseded {
        /// The old entry.
        id: i64,
        /// The entry that stands in its place.
        by: i64,
    },
    /// What shall be written cannot stand in a book.
    #[error("{what}: expected {expected}")]
    Entry {
        /// What is wrong.
        what: String,
        /// What was expected.
        expected: String,
    },
    /// A file or folder could not be used.
    #[error("{path}: {cause}")]
    File {
        /// The path.
        path: String,
        /// What the system said.
        cause: std::io::Error,
    },
    /// SQLite said something else.
    #[error("{path}: {cause}")]
    Sqlite {
        /// The path.
        path: String,
        /// What it said.
        cause: rusqlite::Error,
    },
}

/// How long a locked book is waited for.
pub(crate) const PATIENCE_S: u64 = 10;

impl BookError {
    /// The error of a statement on the book at `path`.
    pub(crate) fn of(path: &str, e: rusqlite::Error) -> Self {
        let path = path.to_string();
        let why = e.to_string();
        match e.sqlite_error_code() {
            Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
                Self::ReadOnly { path, why }
            }
            Some(ErrorCode::DiskFull | ErrorCode::SystemIoFailure | ErrorCode::TooBig) => {
                Self::Full { path, why }
            }
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy {
                path,
                seconds: PATIENCE_S,
            },
            Some(ErrorCode::DatabaseCorrupt) => Self::Damaged { path, why },
            Some(ErrorCode::NotADatabase) => Self::NotABook { path, why },
            _ => Self::Sqlite { path, cause: e },
        }
    }
    pub(crate) fn file(path: &std::path::Path, cause: std::io::Error) -> Self {
        let p = path.display().to_string();
        match cause.kind() {
            std::io::ErrorKind::NotFound => Self::Missing { path: p },
            std::io::ErrorKind::PermissionDenied | std::io::ErrorKind::ReadOnlyFilesystem => {
                Self::ReadOnly {
                    path: p,
                    why: cause.to_string(),
                }
            }
            std::io::ErrorKind::StorageFull | std::io::ErrorKind::QuotaExceeded => Self::Full {
                path: p,
                why: cause.to_string(),
            },
            _ => Self::File { path: p, cause },
        }
    }
    /// True when the machine is at fault rather than what a person asked for.
    pub fn is_machine(&self) -> bool {
        matches!(
            self,
            Self::ReadOnly { .. }
                | Self::Full { .. }
                | Self::Busy { .. }
                | Self::Damaged { .. }
                | Self::Backup { .. }
                | Self::File { .. }
                | Self::Sqlite { .. }
        )
    }
}
