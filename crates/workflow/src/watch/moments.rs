//! Moments of a log: with their zone, or local times across a clock change.

use crate::WorkflowError;
use jiff::civil::DateTime;
use jiff::tz::{AmbiguousOffset, TimeZone};
use jiff::{Timestamp, tz::Offset};
use slantpath_input::{Problem, Problems, Source, Span};
use std::sync::Arc;

/// Moments of rows, in seconds since 1970; nothing where a moment cannot be told.
#[derive(Debug, Default)]
pub(super) struct Placed {
    pub times: Vec<Option<f64>>,
    pub told: Vec<String>,
}

/// A zone as typed: `UTC`, `+02:00`, or a name of the system's time zone database.
///
/// # Errors
/// Neither.
pub fn zone(text: &str) -> Result<TimeZone, WorkflowError> {
    let fixed = || {
        let (sign, rest) = match text.split_at_checked(1)? {
            ("+", r) => (1, r),
            ("-", r) => (-1, r),
            _ => return None,
        };
        let (h, m) = rest.split_once(':').unwrap_or((rest, "0"));
        let (h, m) = (h.parse::<i32>().ok()?, m.parse::<i32>().ok()?);
        if !(0..60).contains(&m) || h > 25 {
            return None;
        }
        Offset::from_seconds(sign * (3600 * h + 60 * m)).ok()
    };
    if text.eq_ignore_ascii_case("utc") || text == "Z" {
        return Ok(TimeZone::UTC);
    }
    if let Some(o) = fixed() {
        return Ok(TimeZone::fixed(o));
    }
    TimeZone::get(text).map_err(|e| {
        WorkflowError::argument(
            format!("--zone {text}: {e}"),
            "UTC, an offset such as +02:00, or a name of the time zone database (Region/City)",
        )
    })
}

/// Places moments in the order of the file. Moments with a zone mean what they say. Without one they are local times of
/// `zone`, the repeated hour of a clock change told apart by the order of the rows; without any zone they are taken to be
/// UTC, and an hour that comes twice is told and not used.
///
/// # Errors
/// Moments that are none, all listed.
pub(super) fn place(
    source: &Arc<Source>,
    moments: &[&(String, Span)],
    local: Option<&TimeZone>,
) -> Result<Placed, WorkflowError> {
    let name = source.name();
    let mut out = Placed::default();
    let mut problems = Problems::new();
    let mut bare = 0usize;
    let mut before: Option<f64> = None;
    let (mut folded, mut gone, mut back) = (0usize, 0usize, Vec::new());
    for (text, span) in moments {
        let typed = text.trim();
        let at = match typed.parse::<Timestamp>() {
            Ok(t) => Some(seconds(t)),
            Err(_) => match typed.replacen(' ', "T", 1).parse::<DateTime>() {
                Err(_) => {
                    problems.push(
                        Problem::error("this is not a moment")
                            .at(source, span.clone())
                            .label("cannot be read")
                            .expected("2026-05-03T14:20:00Z, or a local time with --zone"),
                    );
                    None
                }
                Ok(d) => {
                    bare += 1;
                    let tz = local.cloned().unwrap_or(TimeZone::UTC);
                    let ambiguous = tz.to_ambiguous_timestamp(d);
                    match ambiguous.offset() {
                        AmbiguousOffset::Unambiguous { .. } => {
                            ambiguous.compatible().ok().map(seconds)
                        }
                        AmbiguousOffset::Gap { .. } => {
                            gone += 1;
                            None
                        }
                        AmbiguousOffset::Fold { .. } => {
                            folded += 1;
                            let first = tz.to_ambiguous_timestamp(d).earlier().ok().map(seconds);
                            let second = ambiguous.later().ok().map(seconds);
                            // The earlier one, unless the rows have gone past it.
                            match (first, before) {
                                (Some(f), Some(b)) if f <= b => second,
                                _ => first,
                            }
                        }
                    }
                }
            },
        };
        if let (Some(t), Some(b)) = (at, before)
            && t < b
        {
            back.push((out.times.len(), b, t));
        }
        before = match (at, before) {
            (Some(a), Some(b)) => Some(a.max(b)),
            (a, b) => a.or(b),
        };
        out.times.push(at);
    }
    if problems.has_errors() {
        return Err(WorkflowError::Problems(problems));
    }
    if bare > 0 && local.is_none() {
        out.told.push(format!("{name}: {bare} moments name no zone and are taken to be UTC; --zone says which they are in."));
    }
    if folded > 0 {
        out.told.push(format!("{name}: {folded} rows stand in the hour that a clock change repeats; the order of the rows tells which."));
    }
    if gone > 0 {
        out.told.push(format!("{name}: {gone} rows stand in an hour that a clock change leaves out; they are not used."));
    }
    for (k, reached, to) in back {
        let by = reached - to;
        let hour = (1200.0..7800.0).contains(&by);
        if hour && bare > 0 && local.is_none() {
            // Nothing tells which of the two hours a row belongs to.
            for t in &mut out.times {
                if t.is_some_and(|t| t >= to && t <= reached) {
                    *t = None;
                }
            }
            out.told.push(format!(
                "{name}: row {} goes back by {:.0} minutes, as a local clock does when summer time ends; rows of the doubled hour are not used, and rows on one side of it are an hour off: give --zone.",
                k + 1,
                by / 60.0
            ));
        } else {
            out.told.push(format!(
                "{name}: row {} goes back by {:.0} s: a clock was set, or files were joined; it is used where it says it stands.",
                k + 1,
                by
            ));
        }
    }
    Ok(out)
}

fn seconds(t: Timestamp) -> f64 {
    t.as_millisecond() as f64 / 1e3
}

/// A moment for people.
pub(super) fn shown(t_s: f64) -> String {
    Timestamp::from_millisecond((t_s * 1e3) as i64).map_or_else(
        |_| format!("{t_s:.0} s"),
        |t| t.strftime("%Y-%m-%d %H:%MZ").to_string(),
    )
}

/// A day for people.
pub(super) fn day(t_s: f64) -> String {
    Timestamp::from_millisecond((t_s * 1e3) as i64).map_or_else(
        |_| format!("{t_s:.0} s"),
        |t| t.strftime("%Y-%m-%d").to_string(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn placed(texts: &[&str], zone_name: Option<&str>) -> Result<Placed, WorkflowError> {
        let cells: Vec<(String, Span)> = texts.iter().map(|t| ((*t).to_string(), 0..1)).collect();
        let refs: Vec<&(String, Span)> = cells.iter().collect();
        let tz = zone_name.map(|z| zone(z).unwrap());
        place(
            &Source::from_bytes("log.csv", b"time").unwrap(),
            &refs,
            tz.as_ref(),
        )
    }

    #[test]
    fn the_doubled_hour_is_told_apart_by_order_when_the_zone_is_known() {
        let local = [
            "2031-10-26 00:30",
            "2031-10-26 01:30",
            "2031-10-26 01:59",
            "2031-10-26 01:01",
            "2031-10-26 01:30",
            "2031-10-26 02:30",
        ];
        // Clocks of this zone go back at 02:00 local time on 26 October 2031.
        let p = placed(&local, Some("Europe/London")).unwrap();
        let t: Vec<f64> = p.times.iter().map(|t| t.unwrap()).collect();
        assert!(t.windows(2).all(|w| w[1] > w[0]), "{t:?}");
        assert_eq!(t[5] - t[0], 3.0 * 3600.0);
        assert!(p.told.iter().any(|t| t.contains("repeats")));
        // Without the zone the doubled hour is not used, and told.
        let p = placed(&local, None).unwrap();
        assert!(
            p.told.iter().any(|t| t.contains("summer time")),
            "{:?}",
            p.told
        );
        assert!(p.times[1].is_none() && p.times[0].is_some() && p.times[5].is_some());
    }

    #[test]
    fn moments_and_zones_as_they_are_written() {
        let p = placed(&["2031-10-26T02:30:00+02:00", "2031-10-26T00:40:00Z"], None).unwrap();
        assert_eq!(p.times[1].unwrap() - p.times[0].unwrap(), 600.0);
        assert!(p.told.is_empty());
        let p = placed(&["2031-10-26T02:30"], Some("+02:00")).unwrap();
        assert_eq!(p.times[0].unwrap() % 86400.0, 1800.0);
        assert!(placed(&["yesterday"], None).is_err());
        assert!(zone("Nowhere/Here").is_err());
        // A clock that was set.
        let p = placed(&["2031-10-26T12:00:00Z", "2031-10-26T11:59:00Z"], None).unwrap();
        assert!(p.told[0].contains("goes back by 60 s"));
    }
}
