//! Reading the tables: `#` lines are their source, then a header, then numbers.

use std::collections::HashMap;
use std::path::Path;

/// Rows by column name; cells that are no numbers are kept apart under the same name.
pub struct Table {
    columns: HashMap<String, usize>,
    rows: Vec<Vec<String>>,
}

pub struct Row<'a> {
    table: &'a Table,
    cells: &'a [String],
}

impl Table {
    fn parse(text: &str) -> Self {
        let mut lines = text
            .lines()
            .filter(|l| !l.starts_with('#') && !l.is_empty());
        let columns = lines
            .next()
            .expect("a header")
            .split(',')
            .enumerate()
            .map(|(i, c)| (c.trim().to_string(), i))
            .collect();
        let rows = lines
            .map(|l| l.split(',').map(|c| c.trim().to_string()).collect())
            .collect();
        Self { columns, rows }
    }

    /// A table of this crate's own `tests/data`.
    #[allow(dead_code, reason = "each test file uses its own part of this module")]
    pub fn own(name: &str) -> Self {
        let path = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("tests/data")
            .join(name);
        Self::parse(&std::fs::read_to_string(&path).expect("a table of tests/data"))
    }

    /// An optional table beside the workspace; `None`, and a word about it, when it is not there.
    #[allow(dead_code, reason = "each test file uses its own part of this module")]
    pub fn beside(name: &str) -> Option<Self> {
        let path = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("../../../shared/refs")
            .join(name);
        match std::fs::read_to_string(&path) {
            Ok(text) => Some(Self::parse(&text)),
            Err(_) => {
                println!("skipped: ../shared/refs/{name} is not there");
                None
            }
        }
    }

    pub fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|cells| Row { table: self, cells })
    }
}

impl Row<'_> {
    pub fn text(&self, column: &str) -> &str {
        let i = *self
            .table
            .columns
            .get(column)
            .unwrap_or_else(|| panic!("no column {column}"));
        self.cells.get(i).map_or("", String::as_str)
    }
    pub fn get(&self, column: &str) -> f64 {
        self.text(column)
            .parse()
            .unwrap_or_else(|_| panic!("{column} = {:?} is no number", self.text(column)))
    }
}

/// Largest deviation seen, with where; compares against a tolerance at the end.
pub struct Worst {
    what: &'static str,
    value: f64,
    place: String,
    count: usize,
}

impl Worst {
    pub fn of(what: &'static str) -> Self {
        Self {
            what,
            value: 0.0,
            place: String::new(),
            count: 0,
        }
    }
    /// Notes a deviation (already relative or absolute).
    pub fn see(&mut self, deviation: f64, place: impl FnOnce() -> String) {
        self.count += 1;
        if deviation.is_nan() || deviation.abs() > self.value {
            self.value = deviation.abs();
            self.place = place();
        }
    }
    /// Relative deviation; two zeros agree.
    pub fn relative(&mut self, got: f64, want: f64, place: impl FnOnce() -> String) {
        let d = if want == 0.0 { got } else { got / want - 1.0 };
        self.see(d, place);
    }
    /// Prints and asserts.
    pub fn within(&self, tolerance: f64) {
        println!(
            "{}: {} values, worst {:.3e} at {} (tolerance {:.1e})",
            self.what, self.count, self.value, self.place, tolerance
        );
        assert!(self.count > 0, "{}: nothing was compared", self.what);
        assert!(
            self.value <= tolerance,
            "{}: {} at {}",
            self.what,
            self.value,
            self.place
        );
    }
}
