//! What needs the room's inside: books of an older version, and a file that may not grow.

use crate::open::build;
use crate::{Book, BookError, Filter, Kind, NewEntry};
use rusqlite::Connection;
use std::fs;

const TODAY: &str = "2026-05-03";

fn note(at: i64, title: &str, text: &str) -> NewEntry {
    NewEntry::new(Kind::Note, at, "QQ0AAA", title).text(text)
}

#[test]
fn a_full_disk_says_so_and_keeps_what_was_written() {
    // SQLite's own limit stands for a full disk: the same error code (SQLITE_FULL).
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("station.book");
    let mut b = Book::open(&path, TODAY).unwrap();
    b.append(&note(1, "kept", ""), 1).unwrap();
    let pages: i64 =
        b.db.query_row("PRAGMA page_count", [], |r| r.get(0))
            .unwrap();
    b.db.pragma_update(None, "max_page_count", pages + 4)
        .unwrap();
    let e = b
        .append(&note(3, "too much", &"x".repeat(1 << 20)), 3)
        .unwrap_err();
    assert!(matches!(e, BookError::Full { .. }), "{e}");
    assert!(e.to_string().contains("nothing was added"), "{e}");
    assert_eq!(b.entries(&Filter::default()).unwrap().len(), 1);
    assert!(b.integrity().unwrap().is_empty());
}

#[test]
fn an_older_book_is_migrated_after_a_backup() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("station.book");
    fs::File::create_new(&path).unwrap();
    build(&path, 1).unwrap();
    {
        let db = Connection::open(&path).unwrap();
        db.execute(
            "INSERT INTO entry (written_at, at, kind, station, title, text, body)
             VALUES (1, 1, 'note', 'QQ0AAA', 'an old note', 'about a feed', '{\"form\":\"plain\"}')",
            [],
        )
        .unwrap();
    }
    let before = fs::read(&path).unwrap();
    assert!(matches!(
        Book::open_to_read(&path),
        Err(BookError::Older { found: 1, .. })
    ));
    assert_eq!(fs::read(&path).unwrap(), before);
    let b = Book::open(&path, TODAY).unwrap();
    let backup = b.migrated_after_backup().unwrap().to_path_buf();
    assert_eq!(backup, dir.path().join("station.book.v1-2026-05-03.backup"));
    assert_eq!(fs::read(&backup).unwrap(), before);
    let words = Filter {
        words: Some("feed".into()),
        ..Filter::default()
    };
    assert_eq!(b.entries(&words).unwrap().len(), 1);
    assert!(b.integrity().unwrap().is_empty());
    drop(b);
    let again = Book::open(&path, TODAY).unwrap();
    assert!(again.migrated_after_backup().is_none());
    drop(again);
    // A second old book under the same name and day gets a backup of its own.
    fs::copy(&backup, &path).unwrap();
    let b = Book::open(&path, TODAY).unwrap();
    assert_eq!(
        b.migrated_after_backup().unwrap(),
        dir.path().join("station.book.v1-2026-05-03-1.backup")
    );
}
