//! Operating logs (temperature, output, drive) and drive ramps: CSV with a heading.

use super::columns::{Columns, number, table};
use super::desk::Desk;
use crate::checked::{LogEntry, RampEntry};
use slantpath_input::{Problem, Problems, Source};
use std::sync::Arc;

/// Reads an operating log: a heading with `time` (seconds from any start) and `sink` (degrees Celsius), and any of
/// `air` (degrees Celsius), `heat` (W), `output` (W), `drive` (dBm); then one row a line, in order of time. Empty fields
/// are allowed except in the first two columns. What is sound is returned even when some lines are not.
pub fn read_log(source: &Arc<Source>) -> (Vec<LogEntry>, Problems) {
    const COLUMNS: [&str; 6] = ["time", "sink", "air", "heat", "output", "drive"];
    let (table, mut problems) = numbers(source, &COLUMNS, 2);
    let mut out: Vec<LogEntry> = Vec::with_capacity(table.len());
    for (row, at) in table {
        let [Some(t_s), Some(sink_c), air_c, heat_w, out_w, drive_dbm] = row[..] else {
            continue;
        };
        if let Some(before) = out.last()
            && t_s <= before.t_s
        {
            problems.push(
                Problem::error("time does not rise")
                    .at(source, at)
                    .label(format!("not after {} s of the line before", before.t_s))
                    .expected("rows in order of time, each moment once"),
            );
            break;
        }
        out.push(LogEntry {
            t_s,
            sink_c,
            air_c,
            heat_w,
            out_w,
            drive_dbm,
        });
    }
    (out, problems.sorted())
}

/// Reads a drive ramp: a heading with `drive` and `output` (dBm, or dB on any scale) and perhaps `u` (standard
/// uncertainty of the output, dB), then one step a line.
pub fn read_ramp(source: &Arc<Source>) -> (Vec<RampEntry>, Problems) {
    let (table, problems) = numbers(source, &["drive", "output", "u"], 2);
    let out = table
        .into_iter()
        .filter_map(|(row, _)| match row[..] {
            [Some(drive_dbm), Some(out_dbm), u_db] => Some(RampEntry {
                drive_dbm,
                out_dbm,
                u_db,
            }),
            _ => None,
        })
        .collect();
    (out, problems.sorted())
}

type Row = (Vec<Option<f64>>, slantpath_input::Span);

/// Numbers under named columns; the first `must` of them must be there in every row.
fn numbers(source: &Arc<Source>, columns: &[&str], must: usize) -> (Vec<Row>, Problems) {
    let mut desk = Desk {
        problems: Problems::new(),
        source: "log file",
    };
    let Some(Columns { places, body }) = table(&mut desk, source, columns, must) else {
        return (Vec::new(), desk.problems);
    };
    let mut out = Vec::with_capacity(body.len());
    for row in &body {
        let at = row.first().map_or(0..0, |c| c.1.clone());
        let mut values = Vec::with_capacity(columns.len());
        let mut sound = true;
        for (i, (name, k)) in columns.iter().zip(&places).enumerate() {
            match Columns::cell(row, *k) {
                None if i < must => {
                    desk.problems.push(missing(source, name, at.clone()));
                    sound = false;
                }
                None => values.push(None),
                Some(c) => match number(&mut desk, source, name, c) {
                    Some(x) => values.push(Some(x)),
                    None => sound = false,
                },
            }
        }
        if sound {
            out.push((values, at));
        }
    }
    (out, desk.problems)
}

fn missing(source: &Arc<Source>, name: &str, at: slantpath_input::Span) -> Problem {
    Problem::error(format!("this line has no `{name}`"))
        .at(source, at)
        .expected(
            "a number in each of the first columns; leave a line out where nothing was logged",
        )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(text: &str) -> Arc<Source> {
        Source::from_bytes("log.csv", text.as_bytes()).unwrap()
    }

    #[test]
    fn a_log_is_read() {
        let (rows, p) = read_log(&source(
            "# invented\ntime,sink,air,output\n0,45,45,16\n10,46.5,,16\n",
        ));
        assert!(p.is_empty() && rows.len() == 2);
        assert_eq!(rows[1].air_c, None);
        assert_eq!(rows[0].out_w, Some(16.0));
        let (ramp, p) = read_ramp(&source("drive;output\n-10;20\n-9;21\n"));
        assert!(p.is_empty() && ramp.len() == 2 && ramp[1].u_db.is_none());
    }

    #[test]
    fn mistakes_are_told_where_they_stand() {
        for (text, word) in [
            ("", "empty"),
            ("time,sinc\n0,1\n", "sinc"),
            ("time,sink\n0,hot\n", "no number"),
            ("time,sink\n0,NaN\n", "no number"),
            ("time,sink\n5,20\n5,21\n", "does not rise"),
            ("time,sink\n5,\n", "has no `sink`"),
            ("sink\n5\n", "`time` is not there"),
        ] {
            let (_, p) = read_log(&source(text));
            assert!(p.has_errors(), "{text}");
            let all: Vec<String> = p
                .iter()
                .map(|p| slantpath_input::ProblemData::from(p).what)
                .collect();
            assert!(all.iter().any(|m| m.contains(word)), "{text}: {all:?}");
        }
    }
}
