//! Power logs: a text file with a time and a power on each line, as a meter or a receiver's program writes it.
//!
//! ```text
//! # drift scan through the Sun
//! time, power_db
//! 2031-03-03T12:40:00Z, -41.52
//! 2031-03-03T12:40:01Z, -41.49
//! ```
//!
//! The first column is a UTC time (RFC 3339) or seconds; the second a level in decibel or, where its heading
//! says so, a linear power. Comma, semicolon or tab separate; `#` begins a remark. A heading is optional.

use std::io::{BufRead, BufReader, Read};

use jiff::Timestamp;
use sha2::{Digest, Sha256};
use slantpath_quantity::to_db;

use super::sigmf_time;
use super::stream::hex;
use crate::error::{CaptureError, Place};

/// Longest line.
const MAX_LINE: u64 = 4096;
/// Most readings: a day at a hundred a second.
const MAX_READINGS: usize = 10_000_000;

/// A power log.
#[derive(Debug, Clone, PartialEq)]
pub struct PowerLog {
    /// The file as the user named it.
    pub name: String,
    /// When the first reading was taken, where times are written as such.
    pub start: Option<Timestamp>,
    /// Time of each reading after the first, in seconds, ascending; and its level in decibel, zero unknown.
    pub readings: Vec<(f64, f64)>,
    /// SHA-256 of the file, hexadecimal.
    pub sha256: String,
}

/// Reads a power log.
///
/// # Errors
/// It cannot be read; a line has no two columns, no number, no time, a power that is not above zero or a time
/// that is not after the one before (the error names line and column); or there are fewer than three readings.
pub fn read(reader: impl Read, name: &str) -> Result<PowerLog, CaptureError> {
    let mut lines = BufReader::new(reader);
    let mut log = PowerLog {
        name: name.into(),
        start: None,
        readings: Vec::new(),
        sha256: String::new(),
    };
    let mut digest = Sha256::new();
    let mut columns = Columns { linear: false };
    let mut first: Option<Instant> = None;
    let mut seen_line = false;
    for number in 1u64.. {
        let mut raw = Vec::new();
        let n = lines
            .by_ref()
            .take(MAX_LINE + 1)
            .read_until(b'\n', &mut raw)
            .map_err(|e| CaptureError::io(name, e))?;
        if n == 0 {
            break;
        }
        digest.update(&raw);
        let bad = |column: usize, found: String, expected: &str, help: &str| {
            CaptureError::malformed(
                name,
                Place::Line(number, column as u64 + 1),
                found,
                expected,
                help,
            )
        };
        if n as u64 > MAX_LINE {
            let help = "is this a power log?";
            return Err(bad(
                0,
                "a line of more than 4096 characters".into(),
                "a time and a power",
                help,
            ));
        }
        let text = std::str::from_utf8(&raw).map_err(|e| {
            bad(
                e.valid_up_to(),
                "bytes that are no text".into(),
                "text in UTF-8",
                "is this a power log?",
            )
        })?;
        let text = text.trim_start_matches('\u{feff}');
        let line = text.split('#').next().unwrap_or_default();
        if line.trim().is_empty() {
            continue;
        }
        let Some(split) = line.find([';', '\t']).or_else(|| line.find(',')) else {
            let help = "separate the columns by comma, semicolon or tab";
            return Err(bad(
                0,
                format!("\"{}\"", shown(line)),
                "two columns: time and power",
                help,
            ));
        };
        let (left, right) = line.split_at(split);
        let right_at = split + 1;
        let right = right.get(1..).unwrap_or_default();
        let right = right
            .split([';', '\t', ','])
            .next()
            .unwrap_or_default()
            .trim();
        let is_heading = !seen_line && read_time(left).is_none() && right.parse::<f64>().is_err();
        seen_line = true;
        if is_heading {
            columns = Columns::from_heading(right);
            continue;
        }
        let Some(at) = read_time(left) else {
            let help = "write times as 2031-03-03T12:40:00Z or as seconds";
            return Err(bad(
                0,
                format!("\"{}\"", shown(left.trim())),
                "a UTC time or seconds",
                help,
            ));
        };
        let level = match right.parse::<f64>().ok().filter(|x| x.is_finite()) {
            Some(x) if !columns.linear => x,
            Some(x) if x > 0.0 => to_db(x),
            Some(x) => {
                return Err(bad(
                    right_at,
                    format!("{x}"),
                    "a linear power above zero",
                    "",
                ));
            }
            None => {
                return Err(bad(
                    right_at,
                    format!("\"{}\"", shown(right)),
                    "a power as a number",
                    "",
                ));
            }
        };
        let zero = *first.get_or_insert(at);
        let Some(t) = at.since(zero) else {
            let help = "write all times in the same way";
            return Err(bad(
                0,
                "a time of another kind than before".into(),
                "a time as in the first line",
                help,
            ));
        };
        if let Some((before, _)) = log.readings.last()
            && t <= *before
        {
            let help = "sort the lines; a repeated time cannot be used";
            return Err(bad(
                0,
                format!("\"{}\"", left.trim()),
                "a time after the line before",
                help,
            ));
        }
        if log.readings.len() >= MAX_READINGS {
            return Err(bad(
                0,
                "more than ten million readings".into(),
                "fewer",
                "average before writing",
            ));
        }
        log.readings.push((t, level));
    }
    if log.readings.len() < 3 {
        return Err(CaptureError::malformed(
            name,
            Place::Whole,
            format!("{} reading(s)", log.readings.len()),
            "at least three",
            "log while the Sun crosses the beam and some beam widths before and after",
        ));
    }
    if let Some(Instant::At(t)) = first {
        log.start = Some(t);
    }
    log.sha256 = hex(&digest.finalize());
    Ok(log)
}

struct Columns {
    linear: bool,
}

impl Columns {
    fn from_heading(power: &str) -> Self {
        let p = power.to_ascii_lowercase();
        let linear = ["linear", "watt", "_w", "power_rel", "counts", "(w)", "[w]"]
            .iter()
            .any(|w| p.contains(w));
        Self {
            linear: linear && !p.contains("db"),
        }
    }
}

#[derive(Debug, Clone, Copy)]
enum Instant {
    Seconds(f64),
    At(Timestamp),
}

impl Instant {
    fn since(self, zero: Self) -> Option<f64> {
        match (self, zero) {
            (Self::Seconds(a), Self::Seconds(b)) => Some(a - b),
            (Self::At(a), Self::At(b)) => Some(a.duration_since(b).as_secs_f64()),
            _ => None,
        }
    }
}

fn read_time(text: &str) -> Option<Instant> {
    let text = text.trim();
    match text.parse::<f64>() {
        Ok(s) => s.is_finite().then_some(Instant::Seconds(s)),
        Err(_) => sigmf_time(text).map(Instant::At),
    }
}

fn shown(text: &str) -> String {
    text.trim().chars().take(40).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_or_seconds_decibel_or_linear() {
        let a = read("time,power_db\n2031-03-03T12:00:00Z, -40\n2031-03-03T12:00:01.5Z, -39.5\n2031-03-03T12:00:03Z,-39\n".as_bytes(), "a").unwrap();
        assert_eq!(a.readings, [(0.0, -40.0), (1.5, -39.5), (3.0, -39.0)]);
        assert_eq!(a.start, Some("2031-03-03T12:00:00Z".parse().unwrap()));
        let b = read(
            "# s; W\nt; power_w\n10;1e-4\n\n11;1e-3 # x\n12;1e-2\n".as_bytes(),
            "b",
        )
        .unwrap();
        assert_eq!(b.readings, [(0.0, -40.0), (1.0, -30.0), (2.0, -20.0)]);
        assert_eq!(b.start, None);
    }

    #[test]
    fn problems_name_line_and_column() {
        let e = |text: &str| read(text.as_bytes(), "log.csv").unwrap_err().to_string();
        assert!(
            e("0,1\n1,x\n").contains("log.csv:2:3:"),
            "{}",
            e("0,1\n1,x\n")
        );
        assert!(e("0,1\n0,2\n").contains("log.csv:2:1:"));
        assert!(e("0,1\n2031-03-03T12:00:00Z,2\n").contains("another kind"));
        assert!(e("0 1\n").contains("two columns"));
        assert!(e("t,p_linear\n0,-1\n").contains("above zero"));
        assert!(e("0,1\n").contains("at least three"));
    }
}
