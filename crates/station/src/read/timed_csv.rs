//! Logs with moments as a person's weather station or transmitter writes them: CSV with a heading.

use super::columns::{Columns, number, table};
use super::desk::Desk;
use slantpath_input::{Problem, Problems, Source, Span};
use std::sync::Arc;

/// One row of a log with moments.
#[derive(Debug, Clone, PartialEq)]
pub struct TimedRow {
    /// Texts of the columns that hold moments, as written, each with its place.
    pub moments: Vec<(String, Span)>,
    /// Numbers under the other columns, in the order asked for; `None` where the field is empty or the column is not
    /// there.
    pub numbers: Vec<Option<f64>>,
}

/// Reads a log: a heading with every column of `moments` and any of `numbers`, then one row a line. Lines that begin with
/// `#` are comments; `,` or `;` separates. What is sound is returned even when some lines are not. Moments are not read
/// here: which zone they mean is for the caller to say.
pub fn read_timed(
    source: &Arc<Source>,
    moments: &[&str],
    numbers: &[&str],
) -> (Vec<TimedRow>, Problems) {
    let mut desk = Desk {
        problems: Problems::new(),
        source: "log file",
    };
    let known: Vec<&str> = moments.iter().chain(numbers).copied().collect();
    let Some(Columns { places, body }) = table(&mut desk, source, &known, moments.len()) else {
        return (Vec::new(), desk.problems);
    };
    let (at, under) = places.split_at(moments.len());
    let mut out = Vec::with_capacity(body.len());
    'rows: for row in &body {
        let begin = row.first().map_or(0..0, |c| c.1.clone());
        let mut line = TimedRow {
            moments: Vec::with_capacity(at.len()),
            numbers: Vec::with_capacity(under.len()),
        };
        for (name, k) in moments.iter().zip(at) {
            match Columns::cell(row, *k) {
                Some(c) => line.moments.push(c.clone()),
                None => {
                    desk.problems.push(
                        Problem::error(format!("this line has no `{name}`"))
                            .at(source, begin.clone())
                            .expected("a moment, for example 2026-05-03T14:20:00Z"),
                    );
                    continue 'rows;
                }
            }
        }
        for (name, k) in numbers.iter().zip(under) {
            match Columns::cell(row, *k) {
                None => line.numbers.push(None),
                Some(c) => match number(&mut desk, source, name, c) {
                    Some(x) => line.numbers.push(Some(x)),
                    None => continue 'rows,
                },
            }
        }
        out.push(line);
    }
    (out, desk.problems.sorted())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(text: &str) -> Arc<Source> {
        Source::from_bytes("log.csv", text.as_bytes()).unwrap()
    }

    #[test]
    fn rows_keep_their_moments_as_written() {
        let text = "# roof\ntime;wind;temperature\n2031-10-26T02:30;;11.5\n2031-10-26 02:40;3;\n";
        let (rows, p) = read_timed(&source(text), &["time"], &["temperature", "rain", "wind"]);
        assert!(p.is_empty(), "{p:?}");
        assert_eq!(rows.len(), 2);
        assert_eq!(rows[0].moments[0].0, "2031-10-26T02:30");
        assert_eq!(rows[0].numbers, [Some(11.5), None, None]);
        assert_eq!(rows[1].numbers, [None, None, Some(3.0)]);
    }

    #[test]
    fn mistakes_are_told_where_they_stand() {
        for (text, word) in [
            ("", "empty"),
            ("when,rain\n2031-10-26T02:30Z,1\n", "`when` is no column"),
            ("rain\n1\n", "`time` is not there"),
            ("time,rain\n2031-10-26T02:30Z,much\n", "no number"),
            ("time,rain\n,2\n", "has no `time`"),
        ] {
            let (_, p) = read_timed(&source(text), &["time"], &["rain"]);
            let all: Vec<String> = p
                .iter()
                .map(|p| slantpath_input::ProblemData::from(p).what)
                .collect();
            assert!(all.iter().any(|m| m.contains(word)), "{text}: {all:?}");
        }
    }
}
