//! The book as a file: append-only, refused when it is something else, migrated after a backup, safe for two.

use rusqlite::Connection;
use slantpath_book::parts::PartsList;
use slantpath_book::*;
use slantpath_quantity::Unit;
use std::fs;
use std::path::{Path, PathBuf};

const TODAY: &str = "2026-05-03";

fn book(folder: &Path) -> (PathBuf, Book) {
    let path = folder.join("station.book");
    let b = Book::open(&path, TODAY).unwrap();
    (path, b)
}

fn note(at: i64, title: &str, text: &str) -> NewEntry {
    NewEntry::new(Kind::Note, at, "QQ0AAA", title).text(text)
}

fn cn0(at: i64, value: f64) -> NewEntry {
    let mut e = NewEntry::new(Kind::Measurement, at, "QQ0AAA", "beacon measured")
        .figure(Figure::measured(
            "narrow.psk.cn0",
            "beacon C/N0",
            Unit::DbHz,
            value,
            0.1,
        ))
        .body(Body::Measurement {
            recording: "a.sigmf-meta".into(),
            findings: vec!["nothing clipped".into()],
        });
    for f in &mut e.figures {
        f.branch = "sdr".into();
    }
    e.provenance = Some(Provenance {
        written_by: "slantpath 0".into(),
        command: "slantpath measure".into(),
        seed: Some(u64::MAX),
        trials: Some(1000),
        inputs: vec![("recording".into(), "a".into(), format!("{:064x}", at))],
    });
    e
}

#[test]
fn what_is_written_is_read_back_whole() {
    let dir = tempfile::tempdir().unwrap();
    let (path, mut b) = book(dir.path());
    let e = cn0(1_000, 52.3);
    let id = b.append(&e, 5_000).unwrap();
    drop(b);
    let b = Book::open_to_read(&path).unwrap();
    let back = b.entry(id).unwrap();
    assert_eq!(back.entry, e);
    assert_eq!(back.written_ms, 5_000);
    assert!(b.integrity().unwrap().is_empty());
    assert_eq!(b.with_input(&format!("{:064x}", 1000)).unwrap(), [id]);
    // One file is the whole of it.
    let names: Vec<_> = fs::read_dir(dir.path())
        .unwrap()
        .map(|f| f.unwrap().file_name())
        .collect();
    assert_eq!(names, ["station.book"]);
}

#[test]
fn entries_can_only_be_added() {
    let dir = tempfile::tempdir().unwrap();
    let (path, mut b) = book(dir.path());
    b.append(&cn0(1, 50.0), 1).unwrap();
    let record = adif::Record {
        fields: vec![adif::Field {
            name: "CALL".into(),
            kind: None,
            value: "QQ0BBB".into(),
        }],
        user_defined: vec![],
    };
    let contact =
        NewEntry::new(Kind::Contact, 2, "QQ0AAA", "QQ0BBB").body(Body::Contact { record });
    b.append(&contact, 2).unwrap();
    drop(b);
    let db = Connection::open(&path).unwrap();
    for table in ["entry", "figure", "provenance", "input", "contact"] {
        let n: i64 = db
            .query_row(&format!("SELECT count(*) FROM {table}"), [], |r| r.get(0))
            .unwrap();
        assert!(n > 0, "{table}");
        let columns: Vec<String> = db
            .prepare(&format!("SELECT name FROM pragma_table_info('{table}')"))
            .unwrap()
            .query_map([], |r| r.get(0))
            .unwrap()
            .collect::<Result<_, _>>()
            .unwrap();
        for c in &columns {
            let e = db
                .execute(&format!("UPDATE {table} SET {c} = {c}"), [])
                .unwrap_err();
            assert!(e.to_string().contains("only appended"), "{table}.{c}: {e}");
        }
        let e = db.execute(&format!("DELETE FROM {table}"), []).unwrap_err();
        assert!(e.to_string().contains("only appended"), "{e}");
        // Even without recursive triggers a row is not replaced.
        let e = db
            .execute(
                &format!("INSERT OR REPLACE INTO {table} SELECT * FROM {table}"),
                [],
            )
            .unwrap_err();
        assert!(e.to_string().contains("only appended"), "{table}: {e}");
    }
}

#[test]
fn a_correction_stands_in_the_place_of_what_it_corrects() {
    let dir = tempfile::tempdir().unwrap();
    let (_, mut b) = book(dir.path());
    let first = b.append(&cn0(1_000, 25.3), 1).unwrap();
    let mut right = cn0(1_000, 52.3);
    right.supersedes = Some(first);
    let second = b.append(&right, 2).unwrap();
    let standing = b.entries(&Filter::default()).unwrap();
    assert_eq!(standing.iter().map(|e| e.id).collect::<Vec<_>>(), [second]);
    let s = b.series("narrow.psk.cn0", "sdr", None, None).unwrap();
    assert_eq!(s.measured.len(), 1);
    assert!((s.measured[0].value.as_ref().unwrap().value - 52.3).abs() < 1e-12);
    // The old one is still there for who asks.
    assert_eq!(b.entry(first).unwrap().superseded_by, Some(second));
    let e = b.append(&right, 3).unwrap_err();
    assert!(matches!(e, BookError::Superseded { id: 1, by: 2 }), "{e}");
    let gone = b
        .withdraw(second, "recorded on the wrong branch", 4, 4)
        .unwrap();
    assert!(b.entries(&Filter::default()).unwrap().is_empty());
    assert!(b.latest().unwrap().is_empty());
    let all = b
        .entries(&Filter {
            all: true,
            ..Filter::default()
        })
        .unwrap();
    assert_eq!(all.len(), 3);
    assert_eq!(all[0].id, gone);
    let mut none = note(5, "x", "");
    none.supersedes = Some(EntryId(99));
    assert!(matches!(
        b.append(&none, 5),
        Err(BookError::NoEntry { id: 99 })
    ));
}

#[test]
fn search_finds_beginnings_of_words_whatever_is_typed() {
    let dir = tempfile::tempdir().unwrap();
    let (_, mut b) = book(dir.path());
    b.append(
        &note(
            1,
            "Water in the feed",
            "Drained, dried; crème on the thread",
        ),
        1,
    )
    .unwrap();
    b.append(&note(2, "New cable", "22 m of foam cable"), 2)
        .unwrap();
    let find = |words: &str| -> Vec<i64> {
        let f = Filter {
            words: Some(words.into()),
            ..Filter::default()
        };
        b.entries(&f).unwrap().into_iter().map(|e| e.id.0).collect()
    };
    assert_eq!(find("feed"), [1]);
    assert_eq!(find("WATER dr"), [1]);
    assert_eq!(find("creme"), [1]);
    assert_eq!(find("cable 22"), [2]);
    assert!(find("feed cable").is_empty());
    for typed in [
        "\"",
        "feed OR",
        "NEAR(",
        "a*b:c",
        "-",
        "",
        "title : x",
        "')--",
    ] {
        find(typed);
    }
}

#[test]
fn a_series_shows_prediction_changes_and_gaps() {
    let dir = tempfile::tempdir().unwrap();
    let (_, mut b) = book(dir.path());
    for day in 0..10 {
        let mut e = cn0(day * 86_400_000, 50.0 + day as f64 / 10.0);
        let mut p = e.figures[0].clone();
        p.role = Role::Predicted;
        e.figures.push(p);
        if day == 4 {
            e.figures[0].value = Err("not found in the recording".into());
        }
        b.append(&e, day).unwrap();
    }
    let change =
        NewEntry::new(Kind::Change, 5 * 86_400_000 + 1, "QQ0AAA", "new LNB").body(Body::Change {
            changes: vec![],
            now: PartsList::default(),
        });
    b.append(&change, 11).unwrap();
    let s = b
        .series(
            "narrow.psk.cn0",
            "sdr",
            Some(2 * 86_400_000),
            Some(8 * 86_400_000),
        )
        .unwrap();
    assert_eq!(
        (s.measured.len(), s.predicted.len(), s.marks.len()),
        (6, 6, 1)
    );
    assert_eq!(
        s.measured[2].value.as_ref().unwrap_err(),
        "not found in the recording"
    );
    assert!(s.measured.is_sorted_by_key(|p| p.at_ms));
    assert_eq!(
        b.measurands().unwrap(),
        [("narrow.psk.cn0".into(), "sdr".into(), 10)]
    );
    assert_eq!(b.latest().unwrap().len(), 2);
    assert!(
        b.series("narrow.psk.cn0", "", None, None)
            .unwrap()
            .measured
            .is_empty()
    );
    assert!(b.parts(None).unwrap().is_some() && b.parts(Some(0)).unwrap().is_none());
}

#[test]
fn what_no_book_may_hold_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let (_, mut b) = book(dir.path());
    let mut wrong = cn0(1, f64::NAN);
    assert!(matches!(b.append(&wrong, 1), Err(BookError::Entry { .. })));
    wrong = note(1, "  ", "");
    assert!(b.append(&wrong, 1).is_err());
    wrong = note(1, "x", "").body(Body::Fault {
        part: None,
        over: false,
    });
    assert!(b.append(&wrong, 1).is_err());
    // All or none.
    assert!(
        b.append_all(&[note(1, "good", ""), cn0(1, f64::INFINITY)], 1)
            .is_err()
    );
    assert!(
        b.entries(&Filter {
            all: true,
            ..Filter::default()
        })
        .unwrap()
        .is_empty()
    );
}

#[test]
fn a_file_that_is_no_book_is_refused_and_untouched() {
    let dir = tempfile::tempdir().unwrap();
    let file = |name: &str, bytes: &[u8]| {
        let p = dir.path().join(name);
        fs::write(&p, bytes).unwrap();
        p
    };
    let other = dir.path().join("other.sqlite");
    {
        let db = Connection::open(&other).unwrap();
        db.execute_batch("PRAGMA journal_mode=WAL; CREATE TABLE t (x); INSERT INTO t VALUES (1);")
            .unwrap();
    }
    let (mine, b) = book(dir.path());
    drop(b);
    let mut newer = fs::read(&mine).unwrap();
    newer[60..64].copy_from_slice(&99i32.to_be_bytes());
    let cases = [
        file("text", b"# my station\nformat = 1\n"),
        file("empty", b""),
        file("short", b"SQLite format 3\0"),
        file("newer", &newer),
        other,
    ];
    for path in &cases {
        let before = fs::read(path).unwrap();
        for e in [
            Book::open(path, TODAY).unwrap_err(),
            Book::open_to_read(path).unwrap_err(),
        ] {
            assert!(
                matches!(e, BookError::NotABook { .. } | BookError::Newer { .. }),
                "{path:?}: {e}"
            );
            assert!(e.to_string().contains("not touched"), "{e}");
        }
        assert_eq!(fs::read(path).unwrap(), before, "{path:?}");
    }
    assert!(matches!(
        Book::open(dir.path(), TODAY),
        Err(BookError::NotABook { .. })
    ));
    assert!(matches!(
        Book::open_to_read(&dir.path().join("nothing")),
        Err(BookError::Missing { .. })
    ));
    let e = Book::open(&dir.path().join("no/such/folder/book"), TODAY).unwrap_err();
    assert!(e.to_string().contains("folder does not exist"), "{e}");
    let sides: Vec<_> = fs::read_dir(dir.path())
        .unwrap()
        .map(|f| f.unwrap().file_name().into_string().unwrap())
        .filter(|n| n.contains("-wal") || n.contains("-journal") || n.contains(".new-"))
        .collect();
    assert!(sides.is_empty(), "{sides:?}");
}

#[test]
fn a_damaged_page_is_told() {
    let dir = tempfile::tempdir().unwrap();
    let (path, mut b) = book(dir.path());
    for i in 0..200 {
        b.append(&note(i, "a note", &"x".repeat(200)), i).unwrap();
    }
    drop(b);
    let mut bytes = fs::read(&path).unwrap();
    let at = bytes.len() / 2;
    bytes[at..at + 6000].fill(0xA5);
    fs::write(&path, bytes).unwrap();
    let b = Book::open_to_read(&path).unwrap();
    assert!(!b.integrity().is_ok_and(|p| p.is_empty()));
}

#[test]
fn a_book_opened_to_read_is_not_written() {
    let dir = tempfile::tempdir().unwrap();
    let (path, mut b) = book(dir.path());
    b.append(&note(1, "kept", ""), 1).unwrap();
    drop(b);
    let mut b = Book::open_to_read(&path).unwrap();
    let e = b.append(&note(2, "refused", ""), 2).unwrap_err();
    assert!(matches!(e, BookError::ReadOnly { .. }), "{e}");
}

#[test]
fn two_processes_worth_of_writers_lose_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("station.book");
    std::thread::scope(|s| {
        for w in 0..4 {
            let path = &path;
            s.spawn(move || {
                let mut b = Book::open(path, TODAY).unwrap();
                for i in 0..25 {
                    b.append(&note(i, &format!("writer {w}"), ""), i).unwrap();
                }
            });
        }
    });
    let b = Book::open_to_read(&path).unwrap();
    assert_eq!(b.entries(&Filter::default()).unwrap().len(), 100);
    assert!(b.integrity().unwrap().is_empty());
}
