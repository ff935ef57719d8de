//! Tables under a heading: what logs of every kind share.

use super::desk::Desk;
use super::readings_csv::{Cell, rows};
use slantpath_input::{Problem, Source, nearest};
use std::sync::Arc;

/// Rows of a table, and where each of the columns stands in them; a column that may be missing has no place.
pub(super) struct Columns {
    pub places: Vec<Option<usize>>,
    pub body: Vec<Vec<Cell>>,
}

impl Columns {
    /// Cell of a row; `None` where it is empty or not there.
    pub fn cell(row: &[Cell], place: Option<usize>) -> Option<&Cell> {
        place.and_then(|k| row.get(k)).filter(|c| !c.0.is_empty())
    }
}

/// Reads a table whose heading names `columns`, of which the first `must` have to be there. `None` after a problem.
pub(super) fn table(
    desk: &mut Desk,
    source: &Arc<Source>,
    columns: &[&str],
    must: usize,
) -> Option<Columns> {
    let mut all = rows(desk, source).into_iter();
    let expected = || format!("a heading with {}", columns.join(","));
    let Some(head) = all.next() else {
        if !desk.problems.has_errors() {
            desk.problems.push(
                Problem::error("the log is empty")
                    .at(source, 0..0)
                    .expected(expected()),
            );
        }
        return None;
    };
    for (h, span) in &head {
        if !columns.iter().any(|c| c.eq_ignore_ascii_case(h)) {
            desk.problems.push(
                Problem::error(format!("`{h}` is no column of this table"))
                    .at(source, span.clone())
                    .label("not known")
                    .nearest(nearest(h, columns.iter().copied()))
                    .expected(expected()),
            );
        }
    }
    let places: Vec<Option<usize>> = columns
        .iter()
        .map(|name| head.iter().position(|(h, _)| h.eq_ignore_ascii_case(name)))
        .collect();
    for (name, found) in columns.iter().zip(&places).take(must) {
        if found.is_none() {
            desk.problems.push(
                Problem::error(format!("the column `{name}` is not there"))
                    .at(source, head.first().map_or(0..0, |c| c.1.clone()))
                    .expected(expected()),
            );
        }
    }
    (!desk.problems.has_errors()).then(|| Columns {
        places,
        body: all.collect(),
    })
}

/// A plain number of a cell; `None` after a problem.
pub(super) fn number(
    desk: &mut Desk,
    source: &Arc<Source>,
    name: &str,
    (text, span): &Cell,
) -> Option<f64> {
    let x = text.parse::<f64>().ok().filter(|x| x.is_finite());
    if x.is_none() {
        desk.problems.push(
            Problem::error(format!("`{name}` is no number"))
                .at(source, span.clone())
                .label("cannot be read")
                .expected("a plain number, with a point as decimal sign"),
        );
    }
    x
}
