//! The tables, step by step. A book's `user_version` is the number of steps taken.
//!
//! Every table is STRICT and append-only. `INSERT OR REPLACE` would delete a row without asking its DELETE trigger, so
//! a third trigger forbids a number that is already taken.

/// "SLNB": says in the file's header that it is a book (SQLite's file format, offset 68).
pub(crate) const APPLICATION_ID: i32 = 0x534C_4E42;

/// Steps from an empty file to the newest form; each ends in a book that works.
pub(crate) const STEPS: &[&str] = &[ENTRIES, SEARCH];

/// Newest version.
pub(crate) const VERSION: i64 = STEPS.len() as i64;

/// Step 1: entries, their figures, where they come from, contacts.
const ENTRIES: &str = r"
CREATE TABLE entry (
    id          INTEGER PRIMARY KEY AUTOINCREMENT,
    written_at  INTEGER NOT NULL,
    at          INTEGER NOT NULL,
    kind        TEXT    NOT NULL CHECK (kind IN
                    ('measurement', 'change', 'weather', 'fault', 'note', 'contact', 'withdrawal')),
    supersedes  INTEGER UNIQUE REFERENCES entry (id) CHECK (supersedes < id),
    station     TEXT    NOT NULL,
    branch      TEXT,
    title       TEXT    NOT NULL,
    text        TEXT    NOT NULL,
    body        TEXT    NOT NULL CHECK (json_valid(body))
) STRICT;
CREATE INDEX entry_at ON entry (at);
CREATE INDEX entry_kind_at ON entry (kind, at);

CREATE TABLE figure (
    id          INTEGER PRIMARY KEY,
    entry       INTEGER NOT NULL REFERENCES entry (id),
    at          INTEGER NOT NULL,
    role        TEXT    NOT NULL CHECK (role IN ('measured', 'predicted')),
    measurand   TEXT    NOT NULL,
    branch      TEXT    NOT NULL,
    label       TEXT    NOT NULL,
    unit        TEXT    NOT NULL,
    value       REAL,
    u           REAL    CHECK (u >= 0),
    lo          REAL,
    hi          REAL,
    level       REAL,
    reason      TEXT,
    outside     TEXT,
    CHECK ((value IS NULL) = (reason IS NOT NULL)),
    CHECK ((value IS NULL) = (u IS NULL))
) STRICT;
CREATE INDEX figure_entry ON figure (entry);
CREATE INDEX figure_series ON figure (measurand, branch, role, at);

CREATE TABLE provenance (
    entry       INTEGER PRIMARY KEY REFERENCES entry (id),
    written_by  TEXT    NOT NULL,
    command     TEXT    NOT NULL,
    seed        INTEGER,
    trials      INTEGER
) STRICT;

CREATE TABLE input (
    id          INTEGER PRIMARY KEY,
    entry       INTEGER NOT NULL REFERENCES entry (id),
    kind        TEXT    NOT NULL,
    name        TEXT    NOT NULL,
    sha256      TEXT    NOT NULL
) STRICT;
CREATE INDEX input_entry ON input (entry);
CREATE INDEX input_sha256 ON input (sha256);

CREATE TABLE contact (
    entry       INTEGER PRIMARY KEY REFERENCES entry (id),
    call        TEXT    NOT NULL,
    at          INTEGER,
    band        TEXT    NOT NULL,
    mode        TEXT    NOT NULL
) STRICT;
CREATE INDEX contact_call ON contact (call, at);

CREATE TRIGGER entry_kept_u BEFORE UPDATE ON entry BEGIN SELECT RAISE(ABORT, 'entries are only appended'); END;
CREATE TRIGGER entry_kept_d BEFORE DELETE ON entry BEGIN SELECT RAISE(ABORT, 'entries are only appended'); END;
CREATE TRIGGER entry_kept_i BEFORE INSERT ON entry WHEN EXISTS (SELECT 1 FROM entry WHERE id = NEW.id)
    BEGIN SELECT RAISE(ABORT, 'entries are only appended'); END;
CREATE TRIGGER entry_kept_s BEFORE INSERT ON entry WHEN EXISTS (SELECT 1 FROM entry WHERE supersedes = NEW.supersedes)
    BEGIN SELECT RAISE(ABORT, 'entries are only appended'); END;
CREATE TRIGGER figure_kept_u BEFORE UPDATE ON figure BEGIN SELECT RAISE(ABORT, 'figures are only appended'); END;
CREATE TRIGGER figure_kept_d BEFORE DELETE ON figure BEGIN SELECT RAISE(ABORT, 'figures are only appended'); END;
CREATE TRIGGER figure_kept_i BEFORE INSERT ON figure WHEN EXISTS (SELECT 1 FROM figure WHERE id = NEW.id)
    BEGIN SELECT RAISE(ABORT, 'figures are only appended'); END;
CREATE TRIGGER provenance_kept_u BEFORE UPDATE ON provenance BEGIN SELECT RAISE(ABORT, 'provenance is only appended'); END;
CREATE TRIGGER provenance_kept_d BEFORE DELETE ON provenance BEGIN SELECT RAISE(ABORT, 'provenance is only appended'); END;
CREATE TRIGGER provenance_kept_i BEFORE INSERT ON provenance WHEN EXISTS (SELECT 1 FROM provenance WHERE entry = NEW.entry)
    BEGIN SELECT RAISE(ABORT, 'provenance is only appended'); END;
CREATE TRIGGER input_kept_u BEFORE UPDATE ON input BEGIN SELECT RAISE(ABORT, 'inputs are only appended'); END;
CREATE TRIGGER input_kept_d BEFORE DELETE ON input BEGIN SELECT RAISE(ABORT, 'inputs are only appended'); END;
CREATE TRIGGER input_kept_i BEFORE INSERT ON input WHEN EXISTS (SELECT 1 FROM input WHERE id = NEW.id)
    BEGIN SELECT RAISE(ABORT, 'inputs are only appended'); END;
CREATE TRIGGER contact_kept_u BEFORE UPDATE ON contact BEGIN SELECT RAISE(ABORT, 'contacts are only appended'); END;
CREATE TRIGGER contact_kept_d BEFORE DELETE ON contact BEGIN SELECT RAISE(ABORT, 'contacts are only appended'); END;
CREATE TRIGGER contact_kept_i BEFORE INSERT ON contact WHEN EXISTS (SELECT 1 FROM contact WHERE entry = NEW.entry)
    BEGIN SELECT RAISE(ABORT, 'contacts are only appended'); END;
";

/// Step 2: full-text search over what people wrote. Derived from `entry`, so it is filled from there.
const SEARCH: &str = r"
CREATE VIRTUAL TABLE word USING fts5 (
    title, text, content='entry', content_rowid='id', tokenize='unicode61 remove_diacritics 2'
);
CREATE TRIGGER entry_words AFTER INSERT ON entry BEGIN
    INSERT INTO word (rowid, title, text) VALUES (NEW.id, NEW.title, NEW.text);
END;
INSERT INTO word (word) VALUES ('rebuild');
";
