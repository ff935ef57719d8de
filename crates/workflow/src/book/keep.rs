//! What a verb finds out, kept: measurements with the prediction of the day, part changes.

use super::named;
use crate::WorkflowError;
use crate::measure::Measured;
use crate::page::written_by;
use crate::predict::predicted;
use jiff::Timestamp;
use slantpath_book::parts::PartsList;
use slantpath_book::{Body, Book, EntryId, Figure, Kind, NewEntry, Provenance, Role};
use slantpath_link::{Conditions, Drawing};
use slantpath_station::Station;
use slantpath_stats::Progress;

/// Draws for the prediction of the day: enough for its uncertainty to two digits.
const DRAWING: Drawing = Drawing {
    seed: 1,
    trials: 10_000,
};

/// Appends measurements, each with the prediction of its day for the same measurands. A station that differs from the
/// parts last written in the book is written first, as a change. Returns the entries and sentences about them.
///
/// A recording that stands in the book already is written again, and told; one without a start time is dated now, and
/// told. When the station cannot be modelled, the measurement is kept without a prediction, and told.
///
/// # Errors
/// The book refuses; nothing was added then.
pub fn keep_measured(
    book: &mut Book,
    station: &Station,
    measured: &[Measured],
    files: &[(String, String, String)],
    command: &str,
    now: Timestamp,
    progress: &Progress,
) -> Result<(Vec<EntryId>, Vec<String>), WorkflowError> {
    let mut told = Vec::new();
    let mut new = Vec::new();
    let first = measured
        .iter()
        .filter_map(Measured::time_s)
        .map(|s| (s * 1e3) as i64)
        .min()
        .unwrap_or_else(|| now.as_millisecond());
    if let Some(e) = change(book, station, "station file read", first)? {
        told.push(format!("The station differs from the book: {}.", e.title));
        new.push(e);
    }
    for m in measured {
        let name = m.path.display().to_string();
        let at_ms = match m.time_s() {
            Some(s) => (s * 1e3) as i64,
            None => {
                told.push(format!("{name} does not say when it was made: dated now."));
                now.as_millisecond()
            }
        };
        let input = m.input();
        if !input.2.is_empty() {
            let before = book.with_input(&input.2)?;
            if !before.is_empty() {
                let list: Vec<String> = before.iter().map(ToString::to_string).collect();
                told.push(format!(
                    "{name} stands in the book already (entry {}); kept again.",
                    list.join(", ")
                ));
            }
        }
        let mut e = NewEntry::new(
            Kind::Measurement,
            at_ms,
            &named(station),
            format!("{name} measured"),
        );
        e.branch = m.branch.clone();
        let mut figures: Vec<Figure> = m
            .answers()
            .iter()
            .map(|a| Figure::of_answer(a, Role::Measured))
            .collect();
        let conditions = Conditions {
            time: Timestamp::from_millisecond(at_ms).ok(),
            ..Conditions::default()
        };
        match predicted(station, &conditions, DRAWING, progress) {
            Ok(p) => {
                let same: Vec<Figure> = m
                    .answers()
                    .iter()
                    .filter_map(|a| p.prediction.answer(&a.measurand))
                    .map(|a| Figure::of_answer(a, Role::Predicted))
                    .collect();
                figures.extend(same);
            }
            Err(why) => told.push(format!("{name} is kept without a prediction: {why}.")),
        }
        e.figures = figures;
        let findings: Vec<String> = m
            .measurement
            .flags
            .iter()
            .map(|f| format!("{}: {}", f.title, f.evidence))
            .collect();
        e.text = findings.join("\n");
        e.body = Body::Measurement {
            recording: name,
            findings,
        };
        let mut inputs = files.to_vec();
        inputs.push(input);
        e.provenance = Some(Provenance {
            written_by: written_by(),
            command: command.to_string(),
            seed: Some(DRAWING.seed),
            trials: Some(DRAWING.trials as u64),
            inputs,
        });
        new.push(e);
    }
    let ids = book.append_all(&new, now.as_millisecond())?;
    Ok((ids, told))
}

/// Writes how a station differs from `before`, or from the parts last written in the book; `None` when it does not.
///
/// # Errors
/// The book refuses.
pub fn record_change(
    book: &mut Book,
    before: Option<&Station>,
    station: &Station,
    text: &str,
    at: Timestamp,
    now: Timestamp,
) -> Result<Option<EntryId>, WorkflowError> {
    let mut new = match before {
        Some(b) => between(&PartsList::of(b), station, at.as_millisecond()),
        None => change(book, station, text, at.as_millisecond())?,
    };
    if let Some(e) = &mut new
        && !text.is_empty()
    {
        e.text = format!("{text}\n{}", e.text);
    }
    match new {
        Some(e) => Ok(Some(book.append(&e, now.as_millisecond())?)),
        None => Ok(None),
    }
}

/// The entry of a difference from the book's last parts, or of the first list.
pub(crate) fn change(
    book: &Book,
    station: &Station,
    why_first: &str,
    at_ms: i64,
) -> Result<Option<NewEntry>, WorkflowError> {
    Ok(match book.parts(None)? {
        Some((_, last)) => between(&last, station, at_ms),
        None => {
            let now = PartsList::of(station);
            let text = if why_first.is_empty() {
                "the parts as they are".to_string()
            } else {
                why_first.to_string()
            };
            let title = format!("first list of parts, {} of them", now.parts.len());
            Some(
                NewEntry::new(Kind::Change, at_ms, &named(station), title)
                    .text(text)
                    .body(Body::Change {
                        changes: Vec::new(),
                        now,
                    }),
            )
        }
    })
}

fn between(before: &PartsList, station: &Station, at_ms: i64) -> Option<NewEntry> {
    let now = PartsList::of(station);
    let changes = before.changes_to(&now);
    if changes.is_empty() {
        return None;
    }
    let labels: Vec<&str> = changes.iter().map(|c| c.label.as_str()).collect();
    let text: Vec<String> = changes.iter().map(|c| c.sentence()).collect();
    let title = if labels.len() <= 4 {
        format!("changed: {}", labels.join(", "))
    } else {
        format!("{} parts changed", labels.len())
    };
    Some(
        NewEntry::new(Kind::Change, at_ms, &named(station), title)
            .text(text.join("\n"))
            .body(Body::Change { changes, now }),
    )
}
