//! Reading reference tables: comment lines, a header, rows by column name.
#![allow(dead_code)]

use std::collections::HashMap;
use std::path::PathBuf;

pub struct Row(HashMap<String, String>);

impl Row {
    pub fn text(&self, column: &str) -> &str {
        self.0
            .get(column)
            .unwrap_or_else(|| panic!("no column {column}"))
    }
    pub fn number(&self, column: &str) -> f64 {
        let t = self.text(column);
        t.parse().unwrap_or_else(|_| panic!("{column} = {t}"))
    }
    /// `None` for an empty cell.
    pub fn optional(&self, column: &str) -> Option<&str> {
        Some(self.text(column)).filter(|t| !t.is_empty())
    }
}

fn read(path: PathBuf) -> Vec<Row> {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(&path)
        .unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let columns = reader.headers().unwrap().clone();
    reader
        .records()
        .map(|r| {
            let r = r.unwrap();
            Row(columns
                .iter()
                .map(str::to_owned)
                .zip(r.iter().map(str::to_owned))
                .collect())
        })
        .collect()
}

/// A table of this crate.
pub fn table(name: &str) -> Vec<Row> {
    read(
        PathBuf::from(env!("CARGO_MANIFEST_DIR"))
            .join("tests/data")
            .join(name),
    )
}

/// A table that may stand beside the workspace; `None`, said aloud, when it does not.
pub fn outside_table(name: &str) -> Option<Vec<Row>> {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("../../../shared/refs")
        .join(name);
    if path.exists() {
        Some(read(path))
    } else {
        println!("skipped: {name} is not beside the workspace");
        None
    }
}

/// The whole table when it stands beside the workspace, else the part kept here.
pub fn widest_table(name: &str) -> Vec<Row> {
    outside_table(name).unwrap_or_else(|| table(name))
}

/// Keeps the largest deviation seen.
#[derive(Default)]
pub struct Worst(pub f64);

impl Worst {
    pub fn see(&mut self, deviation: f64) {
        assert!(deviation.is_finite());
        self.0 = self.0.max(deviation.abs());
    }
}

/// Difference of two angles in degrees, -180..180.
pub fn turn_difference(a: f64, b: f64) -> f64 {
    (a - b + 540.0).rem_euclid(360.0) - 180.0
}
