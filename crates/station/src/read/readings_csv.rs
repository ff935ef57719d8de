//! Readings from a spreadsheet: CSV with a heading.

use super::desk::Desk;
use super::reading::{TIME_EXPECTED, is_time, kept, with_u};
use crate::checked::{Reading, ReadingQuantity};
use slantpath_input::toml::{Node, Value};
use slantpath_input::{Problem, Problems, Source, Span, nearest};
use slantpath_quantity::{Contributor, ContributorId, Distribution};
use std::sync::Arc;

/// Columns that are read, in the order in which they are told.
const COLUMNS: [&str; 11] = [
    "quantity",
    "value",
    "u",
    "time",
    "branch",
    "instrument",
    "ceiling",
    "passband",
    "beacon",
    "set",
    "mounting",
];

/// Reads a table of readings: a heading with some of the columns quantity, value, u, time, branch, instrument, ceiling,
/// passband, beacon, set, mounting (quantity and value must be there), then one reading a line. Lines that begin with
/// `#` are comments; `,` or `;` separates. What is sound is returned even when some lines are not.
pub fn read_readings(source: &Arc<Source>) -> (Vec<Reading>, Problems) {
    let mut desk = Desk {
        problems: Problems::new(),
        source: "readings file",
    };
    let rows = rows(&mut desk, source);
    let mut out = Vec::new();
    let Some((head, body)) = rows.split_first() else {
        if !desk.problems.has_errors() {
            desk.problems.push(
                Problem::error("there are no readings")
                    .at(source, 0..0)
                    .expected(format!(
                        "a heading with columns such as {}",
                        COLUMNS.join(",")
                    )),
            );
        }
        return (out, desk.problems);
    };
    let columns = heading(&mut desk, source, head);
    for (i, row) in body.iter().enumerate() {
        if row.len() > head.len() {
            let at = row.get(head.len()).map_or(0..0, |c| c.1.clone());
            desk.problems.push(
                Problem::error("this line has more entries than the heading")
                    .at(source, at)
                    .label("no column for it")
                    .help("put texts that contain the separator in double quotes"),
            );
            continue;
        }
        let cell = |name: &str| {
            let c = columns.iter().position(|k| *k == Some(name))?;
            row.get(c).filter(|(t, _)| !t.trim().is_empty())
        };
        out.extend(reading(&mut desk, source, &cell, row, i));
    }
    (out, desk.problems.sorted())
}

pub(super) type Cell = (String, Span);

/// Fields with the bytes where they stand.
pub(super) fn rows(desk: &mut Desk, source: &Arc<Source>) -> Vec<Vec<Cell>> {
    let text = source.text();
    let first = text
        .lines()
        .find(|l| !l.trim().is_empty() && !l.starts_with('#'))
        .unwrap_or("");
    let separator = if first.matches(';').count() > first.matches(',').count() {
        b';'
    } else {
        b','
    };
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .delimiter(separator)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut out = Vec::new();
    let mut record = csv::StringRecord::new();
    loop {
        match reader.read_record(&mut record) {
            Ok(false) => break,
            Ok(true) => {
                let begin = record.position().map_or(0, |p| p.byte() as usize);
                let end = reader.position().byte() as usize;
                // Blank lines and comments before the record belong to its bytes; fields are found in their order.
                let mut at = begin;
                let cells = record
                    .iter()
                    .map(|f| {
                        let hay = text.get(at..end).unwrap_or("");
                        let span = match hay.find(f) {
                            Some(i) if !f.is_empty() => at + i..at + i + f.len(),
                            _ => at..at,
                        };
                        at = span.end;
                        (f.to_string(), span)
                    })
                    .collect();
                out.push(cells);
            }
            Err(e) => {
                let at = e.position().map_or(0, |p| p.byte() as usize);
                desk.problems.push(
                    Problem::error("this table cannot be read")
                        .at(source, at..at)
                        .label(e.to_string())
                        .expected("comma-separated values with a heading"),
                );
                break;
            }
        }
    }
    out
}

fn heading(desk: &mut Desk, source: &Arc<Source>, head: &[Cell]) -> Vec<Option<&'static str>> {
    let mut out: Vec<Option<&'static str>> = Vec::new();
    for (name, span) in head {
        let found = COLUMNS
            .iter()
            .find(|c| c.eq_ignore_ascii_case(name))
            .copied();
        if found.is_none() {
            desk.problems.push(
                Problem::error(format!("`{name}` is not a column of a readings table"))
                    .at(source, span.clone())
                    .label("not known")
                    .nearest(nearest(name, COLUMNS))
                    .expected(COLUMNS.join(", ")),
            );
        } else if out.contains(&found) {
            desk.problems.push(
                Problem::error(format!("there are two columns `{name}`"))
                    .at(source, span.clone())
                    .label("this one is there already"),
            );
        }
        out.push(found);
    }
    for must in ["quantity", "value"] {
        if !out.contains(&Some(must)) {
            let span = head.first().map_or(0..0, |c| c.1.clone());
            desk.problems.push(
                Problem::error(format!("the heading has no column `{must}`"))
                    .at(source, span)
                    .label("in this line")
                    .expected(COLUMNS.join(",")),
            );
        }
    }
    out
}

fn reading<'r>(
    desk: &mut Desk,
    source: &Arc<Source>,
    cell: &dyn Fn(&str) -> Option<&'r Cell>,
    row: &[Cell],
    index: usize,
) -> Option<Reading> {
    let begin = row.first().map_or(0..0, |c| c.1.clone());
    let Some((word, word_at)) = cell("quantity") else {
        desk.problems.push(
            Problem::error("this line has no quantity")
                .at(source, begin)
                .expected("what was read, for example mer"),
        );
        return None;
    };
    let Some(q) = ReadingQuantity::ALL
        .iter()
        .copied()
        .find(|q| q.name().eq_ignore_ascii_case(word))
    else {
        let names = ReadingQuantity::ALL.iter().map(|q| q.name());
        desk.problems.push(
            Problem::error(format!("`{word}` is not a quantity that can be read"))
                .at(source, word_at.clone())
                .label("not known")
                .nearest(nearest(word, names.clone()))
                .expected(names.collect::<Vec<_>>().join(", ")),
        );
        return None;
    };
    let (kind, bounds) = kept(q);
    let node = |(text, span): &Cell| Node {
        source: Arc::clone(source),
        span: span.clone(),
        value: Value::Text(text.clone()),
        origin: None,
    };
    let Some(value_cell) = cell("value") else {
        desk.problems.push(
            Problem::error("this line has no value")
                .at(source, begin)
                .expected("a value with its unit, for example 6.2 dB"),
        );
        return None;
    };
    let mut distribution = desk.value(&node(value_cell), "value", kind, bounds)?;
    if let Some(c) = cell("u") {
        let u = desk.spread(&node(c), "u", kind)?;
        distribution = with_u(distribution, u);
    }
    let ceiling = match cell("ceiling") {
        Some(c) => Some(desk.exact(&node(c), "ceiling", kind, bounds)?),
        None => None,
    };
    let time = cell("time");
    if let Some((t, at)) = time
        && !is_time(t)
    {
        desk.problems.push(
            Problem::error("this is not a time")
                .at(source, at.clone())
                .label("with its zone?")
                .expected(TIME_EXPECTED),
        );
        return None;
    }
    let text = |name: &str| cell(name).map(|c| c.0.clone());
    Some(Reading {
        quantity: q,
        value: Contributor {
            id: ContributorId::new(format!("reading.{}.{}", source.name(), index + 1)),
            label: q.name().replace('_', " "),
            distribution,
            unit: kind.unit(),
            source: format!(
                "{} line {}",
                source.name(),
                source.line_column(begin.start).0
            ),
        },
        at_ceiling: ceiling.is_some_and(|c| Distribution::mean(&distribution) >= c),
        ceiling,
        time: time.map(|c| c.0.clone()),
        branch: text("branch"),
        instrument: text("instrument"),
        passband: text("passband"),
        beacon: text("beacon"),
        set: text("set"),
        mounting: text("mounting"),
    })
}
