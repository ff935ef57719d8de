//! Reading the tables in `tests/data`.

/// Rows of a CSV table without quoted fields, comment and header lines dropped.
pub fn rows(text: &str) -> Vec<Vec<f64>> {
    text.lines()
        .filter(|l| !l.starts_with('#'))
        .skip(1)
        .map(|l| l.split(',').map(|x| x.parse().expect("a number")).collect())
        .collect()
}
