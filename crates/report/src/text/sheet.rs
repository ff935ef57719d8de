//! A sheet as text.

use super::{Paper, Tone, answer_table, value_text};
use crate::sheet::{Cell, Sheet, Table};
use slantpath_quantity::show::fixed;

/// The whole sheet for a terminal.
pub fn sheet(paper: &Paper, s: &Sheet) -> String {
    let mut out = paper.tone(Tone::Heading, &s.title);
    out.push('\n');
    for section in &s.sections {
        out.push_str(&paper.heading(&section.title));
        for t in &section.text {
            out.push_str(&paper.paragraph(2, t));
        }
        if !section.answers.is_empty() {
            out.push_str(&answer_table(paper, &section.answers));
        }
        for t in &section.tables {
            out.push_str(&table(paper, t));
        }
        if !section.block.is_empty() {
            out.push('\n');
        }
        for line in &section.block {
            out.push_str(&format!("    {}\n", paper.plain(line)));
        }
    }
    if !s.because.is_empty() || s.next_measurement.is_some() || !s.cautions.is_empty() {
        out.push('\n');
    }
    for b in &s.because {
        out.push_str(&paper.hanging("because", b));
    }
    if let Some(n) = &s.next_measurement {
        out.push_str(&paper.hanging("next", n));
    }
    for c in &s.cautions {
        out.push_str(&paper.tone(Tone::Warning, &paper.hanging("caution", c)));
    }
    out
}

/// Value columns beside the first that fit one table; more stand in tables below.
const ABREAST: usize = 4;

/// A table; one with many columns is set as several, each with the first column repeated.
pub fn table(paper: &Paper, t: &Table) -> String {
    let columns: Vec<usize> = (1..t.columns.len()).collect();
    let mut out = String::new();
    for (i, some) in columns.chunks(ABREAST).enumerate() {
        if i > 0 {
            out.push('\n');
        }
        let kept = || std::iter::once(0).chain(some.iter().copied());
        let head: Vec<&str> = kept()
            .filter_map(|k| t.columns.get(k).map(|c| c.1.as_str()))
            .collect();
        let rows: Vec<Vec<String>> = t
            .rows
            .iter()
            .map(|row| {
                kept()
                    .map(|k| row.get(k).map_or_else(String::new, |c| cell_text(paper, c)))
                    .collect()
            })
            .collect();
        out.push_str(&paper.table(&head, &[], &rows));
    }
    out
}

fn cell_text(paper: &Paper, cell: &Cell) -> String {
    match cell {
        Cell::Text(t) => t.clone(),
        Cell::Value(e, unit) => value_text(paper, e, *unit),
        Cell::Number {
            value,
            places,
            unit,
        } => {
            let space = if unit.is_empty() { "" } else { " " };
            format!("{}{space}{unit}", fixed(*value, *places))
        }
        Cell::Missing(why) => format!("undetermined: {why}"),
    }
}
