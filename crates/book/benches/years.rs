//! Ten years of daily entries with ten figures each: what one more entry, a series and the timeline cost.
//! Run: `cargo bench -p slantpath-book`.

use slantpath_book::{Book, Figure, Filter, Kind, NewEntry};
use slantpath_quantity::Unit;

const DAY_MS: i64 = 86_400_000;
const DAYS: i64 = 3650;

fn entry(day: i64) -> NewEntry {
    let mut e = NewEntry::new(
        Kind::Measurement,
        day * DAY_MS,
        "QQ0AAA",
        format!("day {day}"),
    );
    for k in 0..10 {
        e.figures.push(Figure::measured(
            &format!("m{k}"),
            "figure",
            Unit::Db,
            day as f64,
            0.1,
        ));
    }
    e
}

fn book() -> (tempfile::TempDir, Book) {
    let dir = tempfile::tempdir().expect("a folder");
    let mut b = Book::open(&dir.path().join("b"), "2026-05-03").expect("a book");
    let all: Vec<NewEntry> = (0..DAYS).map(entry).collect();
    b.append_all(&all, 0).expect("ten years");
    (dir, b)
}

#[divan::bench]
fn one_more_entry(bencher: divan::Bencher) {
    let (_dir, mut b) = book();
    bencher.bench_local(|| b.append(&entry(DAYS), 1));
}

#[divan::bench]
fn series_of_ten_years(bencher: divan::Bencher) {
    let (_dir, b) = book();
    bencher.bench_local(|| b.series("m3", "", None, None));
}

#[divan::bench]
fn last_thirty_entries(bencher: divan::Bencher) {
    let (_dir, b) = book();
    let f = Filter {
        limit: Some(30),
        ..Filter::default()
    };
    bencher.bench_local(|| b.entries(&f));
}

#[divan::bench]
fn latest_figures(bencher: divan::Bencher) {
    let (_dir, b) = book();
    bencher.bench_local(|| b.latest());
}

#[divan::bench]
fn search(bencher: divan::Bencher) {
    let (_dir, b) = book();
    let f = Filter {
        words: Some("day 36".into()),
        limit: Some(30),
        ..Filter::default()
    };
    bencher.bench_local(|| b.entries(&f));
}

fn main() {
    divan::main();
}
