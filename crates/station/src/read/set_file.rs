//! A set file: what recordings cannot say of themselves (WAV, raw), as CSV with a heading or as TOML.

use super::bounds as b;
use super::desk::{Desk, Kind};
use super::reading::{TIME_EXPECTED, is_time};
use super::readings_csv::{Cell, rows};
use crate::checked::SetEntry;
use slantpath_input::toml::{self, Node, Value};
use slantpath_input::{Problem, Problems, Source, nearest};
use slantpath_quantity::Dimension;
use std::sync::Arc;

/// Keys of a recording, in the order in which they are told.
const KEYS: [&str; 10] = [
    "file", "side", "start", "remount", "block", "branch", "control", "center", "rate", "format",
];

/// Reads a set file. TOML when its text has a `[[recording]]` table, else CSV: a heading with some of the columns file,
/// side, start, remount, block, branch, control, center, rate, format (file must be there), then one recording a line.
/// Entries are returned only when all of them are sound.
pub fn read_set(source: &Arc<Source>) -> (Vec<SetEntry>, Problems) {
    let mut desk = Desk {
        problems: Problems::new(),
        source: "set file",
    };
    let is_toml = source
        .text()
        .lines()
        .any(|l| l.trim_start().starts_with("[[") || l.trim_start().starts_with("format ="));
    let tables = if is_toml {
        from_toml(&mut desk, source)
    } else {
        from_csv(&mut desk, source)
    };
    if tables.is_empty() && !desk.problems.has_errors() {
        desk.problems.push(
            Problem::error("there are no recordings in this set")
                .at(source, 0..0)
                .expected(format!(
                    "a heading with columns such as {}, or tables `[[recording]]`",
                    KEYS.join(",")
                )),
        );
    }
    let entries = tables
        .iter()
        .filter_map(|t| entry(&mut desk, t))
        .collect::<Vec<_>>();
    let sound = !desk.problems.has_errors();
    (
        if sound { entries } else { Vec::new() },
        desk.problems.sorted(),
    )
}

/// Known keys of one recording with their values, and where the recording begins.
struct Row {
    start: Node,
    cells: Vec<(&'static str, Node)>,
}

fn known(desk: &mut Desk, name: &str, place: slantpath_input::Place) -> Option<&'static str> {
    let found = KEYS.iter().find(|k| k.eq_ignore_ascii_case(name)).copied();
    if found.is_none() {
        desk.problems.push(
            Problem::error(format!(
                "`{name}` is nothing that a set says of a recording"
            ))
            .at_place(place)
            .label("not known")
            .nearest(nearest(name, KEYS))
            .expected(KEYS.join(", ")),
        );
    }
    found
}

fn from_toml(desk: &mut Desk, source: &Arc<Source>) -> Vec<Row> {
    let root = toml::read(source, &mut desk.problems);
    let Some(table) = root.as_table() else {
        return Vec::new();
    };
    let mut out = Vec::new();
    for e in &table.entries {
        let place = e.node.source.place(e.key_span.clone());
        match (e.key.as_str(), &e.node.value) {
            ("format", Value::Integer(1)) => {}
            ("format", _) => desk.problems.push(
                Problem::error("this is not a format of a set file")
                    .at_place(e.node.place())
                    .expected("`format = 1`"),
            ),
            ("recording", Value::List(list)) => {
                for node in list {
                    let Some(t) = node.as_table() else { continue };
                    let cells = t
                        .entries
                        .iter()
                        .filter_map(|c| {
                            let place = c.node.source.place(c.key_span.clone());
                            Some((known(desk, &c.key, place)?, c.node.clone()))
                        })
                        .collect();
                    out.push(Row {
                        start: node.clone(),
                        cells,
                    });
                }
            }
            (other, _) => desk.problems.push(
                Problem::error(format!("`{other}` is not known in a set file"))
                    .at_place(place)
                    .label("not known")
                    .expected("tables `[[recording]]`"),
            ),
        }
    }
    out
}

fn from_csv(desk: &mut Desk, source: &Arc<Source>) -> Vec<Row> {
    let all = rows(desk, source);
    let Some((head, body)) = all.split_first() else {
        return Vec::new();
    };
    let columns: Vec<Option<&'static str>> = head
        .iter()
        .map(|(name, at)| known(desk, name, source.place(at.clone())))
        .collect();
    if !columns.contains(&Some("file")) {
        let at = head.first().map_or(0..0, |c| c.1.clone());
        desk.problems.push(
            Problem::error("the heading has no column `file`")
                .at(source, at)
                .expected(KEYS.join(",")),
        );
        return Vec::new();
    }
    let node = |(text, span): &Cell| Node {
        source: Arc::clone(source),
        span: span.clone(),
        value: Value::Text(text.clone()),
        origin: None,
    };
    body.iter()
        .filter_map(|row| {
            let start = node(row.first()?);
            let cells = columns
                .iter()
                .zip(row)
                .filter(|(_, c)| !c.0.trim().is_empty())
                .filter_map(|(k, c)| Some(((*k)?, node(c))))
                .collect();
            Some(Row { start, cells })
        })
        .collect()
}

fn entry(desk: &mut Desk, row: &Row) -> Option<SetEntry> {
    let cell = |k: &str| row.cells.iter().find(|c| c.0 == k).map(|c| &c.1);
    let mut out = SetEntry::default();
    let Some(file) = cell("file") else {
        desk.problems.push(
            Problem::error("this recording has no file")
                .at_place(row.start.place())
                .expected("`file`, a path relative to the set file"),
        );
        return None;
    };
    out.file = text(desk, "file", file)?;
    for (key, slot) in [
        ("side", &mut out.side),
        ("branch", &mut out.branch),
        ("format", &mut out.format),
    ] {
        if let Some(n) = cell(key) {
            *slot = text(desk, key, n);
        }
    }
    if let Some(n) = cell("start") {
        let t = match &n.value {
            Value::Time(t) | Value::Text(t) => t.clone(),
            _ => String::new(),
        };
        if is_time(&t) {
            out.start = Some(t);
        } else {
            desk.problems.push(
                Problem::error("this is not a time")
                    .at_place(n.place())
                    .label("with its zone?")
                    .expected(TIME_EXPECTED),
            );
        }
    }
    for (key, slot) in [("remount", &mut out.remount), ("block", &mut out.block)] {
        if let Some(n) = cell(key) {
            let number = match &n.value {
                Value::Integer(i) => u32::try_from(*i).ok(),
                Value::Text(t) => t.trim().parse().ok(),
                _ => None,
            };
            if number.is_none() {
                desk.problems.push(
                    Problem::error(format!("`{key}` is a number that counts up"))
                        .at_place(n.place())
                        .label("not a whole number")
                        .expected("0, 1, 2 ..."),
                );
            }
            *slot = number;
        }
    }
    if let Some(n) = cell("control") {
        match &n.value {
            Value::Flag(f) => out.control = *f,
            Value::Text(t) if matches!(t.trim(), "true" | "yes" | "1") => out.control = true,
            Value::Text(t) if matches!(t.trim(), "false" | "no" | "0") => {}
            _ => desk.problems.push(
                Problem::error("`control` is yes or no")
                    .at_place(n.place())
                    .expected("true or false"),
            ),
        }
    }
    let frequency = Kind::Plain(Dimension::Frequency);
    if let Some(n) = cell("center") {
        out.center_hz = desk.exact(n, "center", frequency, b::FREQUENCY);
    }
    if let Some(n) = cell("rate") {
        out.rate_hz = desk.exact(n, "rate", frequency, b::FREQUENCY);
    }
    Some(out)
}

fn text(desk: &mut Desk, key: &str, n: &Node) -> Option<String> {
    match &n.value {
        Value::Text(t) => Some(t.clone()),
        other => {
            desk.problems.push(
                Problem::error(format!("`{key}` is a text"))
                    .at_place(n.place())
                    .label(format!("this is {}", other.kind()))
                    .expected(format!("`{key}` in double quotes")),
            );
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_input::{Style, render_all};

    fn read(text: &str) -> (Vec<SetEntry>, String) {
        let (e, p) = read_set(&Source::new("set", text.to_string()));
        (e, render_all(&p, Style::ASCII))
    }

    #[test]
    fn table_and_toml_say_the_same() {
        let (csv, p) = read(
            "file;side;start;remount;branch;control;center;rate;format\na.raw;A;2031-01-01T00:00:00Z;1;sdr;no;722.35 MHz;640 kHz;cu8\nb.wav;;2031-01-01T00:10:00Z;;;yes;;;\n",
        );
        assert_eq!(csv.len(), 2, "{p}");
        assert_eq!(csv[0].center_hz, Some(722.35e6));
        assert_eq!(csv[0].rate_hz, Some(640e3));
        assert!(csv[1].control && csv[1].side.is_none());
        let (toml, p) = read(
            "format = 1\n[[recording]]\nfile = \"a.raw\"\nside = \"A\"\nstart = 2031-01-01T00:00:00Z\nremount = 1\nbranch = \"sdr\"\ncontrol = false\ncenter = \"722.35 MHz\"\nrate = \"640 kHz\"\nformat = \"cu8\"\n[[recording]]\nfile = \"b.wav\"\nstart = \"2031-01-01T00:10:00Z\"\ncontrol = true\n",
        );
        assert_eq!(toml, csv, "{p}");
    }

    #[test]
    fn mistakes_are_named() {
        for (text, said) in [
            ("file,sid\na,A\n", "side"),
            ("side\nA\n", "no column `file`"),
            ("file,start\na,2031-01-01 10:00\n", "not a time"),
            ("file,remount\na,two\n", "whole number"),
            ("file,control\na,perhaps\n", "yes or no"),
            ("file,center\na,722\n", "center"),
            ("[[recording]]\nside = \"A\"\n", "has no file"),
            ("[[recordings]]\nfile = \"a\"\n", "not known"),
            ("", "no recordings"),
        ] {
            let (e, p) = read(text);
            assert!(e.is_empty() && p.contains(said), "{text}: {p}");
        }
    }
}
