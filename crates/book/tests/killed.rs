//! A writer that is killed at many points loses no entry that it acknowledged, and leaves a sound file.

use slantpath_book::{Book, Figure, Filter, Kind, NewEntry};
use slantpath_quantity::Unit;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

const PATH: &str = "SLANTPATH_BOOK_TO_WRITE";
const TODAY: &str = "2026-05-03";
const KILLS: u64 = 60;

fn entry(i: i64) -> NewEntry {
    let mut e = NewEntry::new(Kind::Measurement, i, "QQ0AAA", format!("entry {i}"));
    for k in 0..20 {
        let f = Figure::measured(
            &format!("m{k}"),
            "figure",
            Unit::Db,
            i as f64 + f64::from(k),
            0.1,
        );
        e.figures.push(f);
    }
    // Sizes from one page to some dozens, so that kills fall on one-page and on long writes.
    e.text("x".repeat(((i * 7919) % 60_000) as usize))
}

/// Not a test of its own: what the parent starts and kills. Says `at id` after each acknowledged entry.
#[test]
fn writer() {
    let Some(path) = std::env::var_os(PATH) else {
        return;
    };
    let mut book = Book::open(Path::new(&path), TODAY).unwrap();
    let next = book.entries(&Filter::default()).unwrap().len() as i64;
    let mut out = std::io::stderr();
    for i in next.. {
        let id = book.append(&entry(i), i).unwrap();
        writeln!(out, "kept {i} {id}").unwrap();
    }
}

#[test]
fn no_acknowledged_entry_is_lost() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("station.book");
    let mut kept: Vec<(i64, i64)> = Vec::new();
    let mut with_journal = 0;
    for kill in 0..KILLS {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["writer", "--exact", "--nocapture"])
            .env(PATH, &path)
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stderr.take().unwrap());
        // The first ones die while the book is created; later ones after an acknowledged entry, at a moment that
        // wanders in steps of a fraction of one write.
        let mut line = String::new();
        if kill >= 10 {
            for _ in 0..=kill % 3 {
                line.clear();
                lines.read_line(&mut line).unwrap();
                kept.extend(said(&line));
            }
            std::thread::sleep(Duration::from_micros(137 * (kill - 9)));
        } else {
            std::thread::sleep(Duration::from_micros(1_500 * kill));
        }
        child.kill().unwrap();
        child.wait().unwrap();
        for line in lines.lines().map_while(Result::ok) {
            kept.extend(said(&line));
        }
        with_journal += u32::from(dir.path().join("station.book-journal").exists());
        if !path.exists() {
            assert!(kept.is_empty());
            continue;
        }
        let book = Book::open(&path, TODAY).unwrap();
        assert!(book.integrity().unwrap().is_empty(), "kill {kill}");
        let found = book.entries(&Filter::default()).unwrap();
        for (i, id) in &kept {
            let e = found
                .iter()
                .find(|e| e.id.0 == *id)
                .unwrap_or_else(|| panic!("entry {id} is lost"));
            assert_eq!(e.entry, entry(*i));
        }
        // Never half of one: whatever is there is whole.
        for e in &found {
            assert_eq!(e.entry, entry(e.entry.at_ms));
        }
    }
    assert!(
        kept.len() as u64 >= KILLS / 2,
        "only {} entries were written",
        kept.len()
    );
    // Kills must have fallen into writes: a journal was left to be rolled back.
    assert!(with_journal > 0, "no kill fell into a write");
}

/// What a whole line acknowledges.
fn said(line: &str) -> Option<(i64, i64)> {
    let rest = line.trim_end().strip_prefix("kept ")?;
    let (i, id) = rest.split_once(' ')?;
    Some((i.parse().ok()?, id.parse().ok()?))
}
