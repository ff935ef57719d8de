//! `book`.

use crate::book_args::{Book as BookArgs, BookWhat, Dated, Of, Which};
use crate::show::Output;
use jiff::Timestamp;
use slantpath_book::{Book, EntryId, Filter, Kind};
use slantpath_workflow::WorkflowError;
use slantpath_workflow::book::{
    Reading, Typed, Weather, add, book_path, check_sheet, entry_sheet, filter, list_sheet,
    measurands_sheet, metrics, open, open_to_read, record_change, series_sheet, written_sheet,
};
use slantpath_workflow::files::{Loaded, load_station};
use std::path::PathBuf;

/// Where the book of these arguments is.
pub fn path(of: &Of) -> PathBuf {
    book_path(&of.station.station, of.book.as_deref())
}

/// The station, its warnings told.
pub fn loaded(of: &Of, out: &Output) -> Result<Loaded, WorkflowError> {
    let loaded = load_station(&of.station.station)?;
    out.warnings(&loaded.warnings);
    Ok(loaded)
}

/// The book for reading.
pub fn reading(of: &Of) -> Result<Book, WorkflowError> {
    open_to_read(&path(of), Timestamp::now())
}

/// Filter of the arguments.
pub fn which(w: &Which, kinds: &[String], all: bool) -> Result<Filter, WorkflowError> {
    filter(kinds, w.from, w.to, w.words.as_deref(), all, w.limit)
}

/// Writes or reads the book.
pub fn run(a: &BookArgs, out: &Output) -> Result<u8, WorkflowError> {
    match &a.what {
        BookWhat::Note { of, text, dated } => typed(of, dated, Kind::Note, text, out, |_| {}),
        BookWhat::Fault {
            of,
            text,
            part,
            over,
            dated,
        } => typed(of, dated, Kind::Fault, text, out, |t| {
            t.part.clone_from(part);
            t.over = *over;
        }),
        BookWhat::Weather {
            of,
            text,
            temperature,
            rain,
            wind,
            pressure,
            vapour,
            dated,
        } => typed(
            of,
            dated,
            Kind::Weather,
            text.as_deref().unwrap_or_default(),
            out,
            |t| {
                for (quantity, text) in [
                    (Weather::Temperature, temperature),
                    (Weather::Rain, rain),
                    (Weather::Wind, wind),
                    (Weather::Pressure, pressure),
                    (Weather::Vapour, vapour),
                ] {
                    t.weather
                        .extend(text.clone().map(|text| Reading { quantity, text }));
                }
            },
        ),
        BookWhat::Change {
            of,
            text,
            before,
            at,
        } => change(of, text.as_deref(), before.as_ref(), *at, out),
        BookWhat::Withdraw { of, entry, why } => {
            let now = Timestamp::now();
            let (mut book, told) = open(&path(of), now)?;
            let ms = now.as_millisecond();
            let id = book.withdraw(EntryId(*entry), why, ms, ms)?;
            out.sheets(&[written_sheet(&book, &[id], told.into_iter().collect())?])
        }
        BookWhat::List {
            of,
            kind,
            all,
            which: w,
        } => out.sheets(&[list_sheet(&reading(of)?, &which(w, kind, *all)?)?]),
        BookWhat::Show { of, entry } => out.sheets(&[entry_sheet(&reading(of)?, *entry)?]),
        BookWhat::Series {
            of,
            measurand,
            branch,
            from,
            to,
        } => {
            let book = reading(of)?;
            out.sheets(&[match measurand {
                Some(m) => series_sheet(&book, m, branch.as_deref(), *from, *to)?,
                None => measurands_sheet(&book)?,
            }])
        }
        BookWhat::Metrics { of } => {
            out.line(&metrics(&reading(of)?)?);
            Ok(0)
        }
        BookWhat::Check { of } => out.sheets(&[check_sheet(&reading(of)?)?]),
    }
}

fn typed(
    of: &Of,
    dated: &Dated,
    kind: Kind,
    text: &str,
    out: &Output,
    more: impl FnOnce(&mut Typed),
) -> Result<u8, WorkflowError> {
    let loaded = loaded(of, out)?;
    let station = loaded.station(of.station.variant.as_deref())?;
    let now = Timestamp::now();
    let mut t = Typed {
        kind: Some(kind),
        text: text.to_string(),
        at: dated.at,
        corrects: dated.corrects,
        ..Typed::default()
    };
    more(&mut t);
    let (mut book, told) = open(&path(of), now)?;
    let id = add(&mut book, station, &t, now)?;
    out.sheets(&[written_sheet(&book, &[id], told.into_iter().collect())?])
}

fn change(
    of: &Of,
    text: Option<&str>,
    before: Option<&PathBuf>,
    at: Option<Timestamp>,
    out: &Output,
) -> Result<u8, WorkflowError> {
    let loaded = loaded(of, out)?;
    let station = loaded.station(of.station.variant.as_deref())?;
    let old = before.map(|p| load_station(p)).transpose()?;
    let old = old.as_ref().map(|l| l.station(None)).transpose()?;
    let now = Timestamp::now();
    let (mut book, told) = open(&path(of), now)?;
    let id = record_change(
        &mut book,
        old,
        station,
        text.unwrap_or_default(),
        at.unwrap_or(now),
        now,
    )?;
    let mut told: Vec<String> = told.into_iter().collect();
    if id.is_none() {
        told.push("No part differs: nothing was written.".into());
    }
    let ids: Vec<EntryId> = id.into_iter().collect();
    let mut sheet = written_sheet(&book, &ids, told)?;
    if let (Some(id), Some(s)) = (ids.first(), sheet.sections.first_mut()) {
        let e = book.entry(*id)?;
        s.text.extend(e.entry.text.lines().map(str::to_string));
    }
    out.sheets(&[sheet])
}
