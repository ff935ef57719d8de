//! `book`: writing in the station book, and reading it.

mod keep;
mod show;

pub(crate) use keep::change;
pub use keep::{keep_measured, record_change};
pub(crate) use show::latest_samples;
pub use show::{check_sheet, entry_sheet, list_sheet, measurands_sheet, metrics, series_sheet};

use crate::WorkflowError;
use jiff::Timestamp;
use slantpath_book::{Body, Book, EntryId, Figure, Filter, Kind, NewEntry};
use slantpath_quantity::written::read_written;
use slantpath_quantity::{Dimension, Unit};
use slantpath_report::{Section, Sheet};
use std::path::{Path, PathBuf};

/// The book of a station: beside its file, named after it, unless told otherwise.
pub fn book_path(station: &Path, told: Option<&Path>) -> PathBuf {
    told.map_or_else(|| station.with_extension("book"), Path::to_path_buf)
}

/// Opens a book for writing; an older one is migrated after a backup, which the sentence returned tells of.
///
/// # Errors
/// As [`Book::open`].
pub fn open(path: &Path, now: Timestamp) -> Result<(Book, Option<String>), WorkflowError> {
    let book = Book::open(path, &now.strftime("%Y-%m-%d").to_string())?;
    let told = book.migrated_after_backup().map(|b| {
        format!(
            "The book was of an older version: it was copied to {} and brought up to date.",
            b.display()
        )
    });
    Ok((book, told))
}

/// Opens a book for reading. An older one is read too, after its migration.
///
/// # Errors
/// As [`Book::open_to_read`] and [`Book::open`].
pub fn open_to_read(path: &Path, now: Timestamp) -> Result<Book, WorkflowError> {
    match Book::open_to_read(path) {
        Err(slantpath_book::BookError::Older { .. }) => Ok(open(path, now)?.0),
        other => Ok(other?),
    }
}

/// An entry that a person typed.
#[derive(Debug, Clone, Default)]
pub struct Typed {
    /// Note, fault or weather.
    pub kind: Option<Kind>,
    /// What was typed.
    pub text: String,
    /// When it happened; now unless given.
    pub at: Option<Timestamp>,
    /// Entry that it corrects.
    pub corrects: Option<i64>,
    /// The part at fault.
    pub part: Option<String>,
    /// The fault is over.
    pub over: bool,
    /// Weather figures: measurand, what a person calls it, as written.
    pub weather: Vec<Reading>,
}

/// A weather figure as typed.
#[derive(Debug, Clone)]
pub struct Reading {
    /// Which.
    pub quantity: Weather,
    /// As typed, with its unit.
    pub text: String,
}

/// Weather quantities that the book knows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Weather {
    /// Air temperature.
    Temperature,
    /// Rain rate.
    Rain,
    /// Wind speed.
    Wind,
    /// Air pressure.
    Pressure,
    /// Water vapour density.
    Vapour,
}

impl Weather {
    fn about(self) -> (&'static str, &'static str, Dimension, Unit) {
        match self {
            Self::Temperature => (
                "weather.temperature",
                "air temperature",
                Dimension::Temperature,
                Unit::Celsius,
            ),
            Self::Rain => (
                "weather.rain_rate",
                "rain rate",
                Dimension::RainRate,
                Unit::MmPerH,
            ),
            Self::Wind => ("weather.wind", "wind", Dimension::Speed, Unit::MPerS),
            Self::Pressure => (
                "weather.pressure",
                "air pressure",
                Dimension::Pressure,
                Unit::HPa,
            ),
            Self::Vapour => (
                "weather.vapour_density",
                "water vapour density",
                Dimension::Density,
                Unit::GPerM3,
            ),
        }
    }
}

/// Appends what a person typed.
///
/// # Errors
/// A figure that cannot be read, a part that the station does not have, or the book refuses.
pub fn add(
    book: &mut Book,
    station: &slantpath_station::Station,
    typed: &Typed,
    now: Timestamp,
) -> Result<EntryId, WorkflowError> {
    let at = typed.at.unwrap_or(now);
    let kind = typed.kind.unwrap_or(Kind::Note);
    let first = typed.text.lines().next().unwrap_or_default().trim();
    let title: String = if first.is_empty() {
        kind.name().to_string()
    } else {
        first.chars().take(80).collect()
    };
    let mut e =
        NewEntry::new(kind, at.as_millisecond(), &named(station), title).text(typed.text.as_str());
    e.supersedes = typed.corrects.map(EntryId);
    if kind == Kind::Fault {
        if let Some(p) = &typed.part {
            known_part(station, p)?;
        }
        e.body = Body::Fault {
            part: typed.part.clone(),
            over: typed.over,
        };
    }
    for w in &typed.weather {
        e.figures.push(weather_figure(w)?);
    }
    if kind == Kind::Weather && e.figures.is_empty() && typed.text.trim().is_empty() {
        return Err(WorkflowError::argument(
            "nothing is said of the weather",
            "for example: --temperature \"12 °C\" --rain \"2 mm/h\", or a sentence",
        ));
    }
    if kind != Kind::Weather && typed.text.trim().is_empty() {
        return Err(WorkflowError::argument(
            "the entry is empty",
            "say in a sentence what happened",
        ));
    }
    Ok(book.append(&e, now.as_millisecond())?)
}

fn weather_figure(w: &Reading) -> Result<Figure, WorkflowError> {
    let (measurand, label, dimension, unit) = w.quantity.about();
    let written = read_written(&w.text, dimension).map_err(|e| {
        WorkflowError::argument(
            format!("{label} `{}`: {}", w.text, e.what),
            format!("expected {}", e.expected),
        )
    })?;
    let d = written.base();
    Ok(Figure::measured(
        measurand,
        label,
        unit,
        unit.of_base(d.mean()),
        d.u() / unit.scale(),
    ))
}

fn known_part(station: &slantpath_station::Station, name: &str) -> Result<(), WorkflowError> {
    let parts = slantpath_book::parts::PartsList::of(station);
    let bare = |key: &str| key.rsplit('.').next().unwrap_or(key).to_string();
    if parts
        .parts
        .iter()
        .any(|p| p.key == name || bare(&p.key) == name)
    {
        return Ok(());
    }
    let known: Vec<String> = parts.parts.iter().map(|p| bare(&p.key)).collect();
    Err(WorkflowError::argument(
        format!("the station has no part `{name}`"),
        format!("it has: {}", known.join(", ")),
    ))
}

/// Name of a station with its variant.
pub(crate) fn named(station: &slantpath_station::Station) -> String {
    match &station.variant {
        Some(v) => format!("{}, {v}", station.name),
        None => station.name.clone(),
    }
}

/// A sheet that says what was written.
pub fn written_sheet(
    book: &Book,
    ids: &[EntryId],
    told: Vec<String>,
) -> Result<Sheet, WorkflowError> {
    let mut s = Section::new("written", "written", Vec::new());
    for id in ids {
        let e = book.entry(*id)?;
        s.text.push(format!("Entry {id}: {}.", e.entry.title));
    }
    s.text.extend(told);
    Ok(Sheet {
        verb: "book".into(),
        title: format!(
            "{}: {} entry(ies) written",
            book.path().display(),
            ids.len()
        ),
        sections: vec![s],
        ..Sheet::default()
    })
}

/// Filter of a timeline from what was typed.
///
/// # Errors
/// A kind that does not exist.
pub fn filter(
    kinds: &[String],
    from: Option<Timestamp>,
    to: Option<Timestamp>,
    words: Option<&str>,
    all: bool,
    limit: Option<usize>,
) -> Result<Filter, WorkflowError> {
    let mut f = Filter {
        from_ms: from.map(Timestamp::as_millisecond),
        to_ms: to.map(Timestamp::as_millisecond),
        words: words.map(str::to_string),
        all,
        limit,
        ..Filter::default()
    };
    for k in kinds {
        f.kinds.push(Kind::read(k).ok_or_else(|| {
            let known: Vec<&str> = Kind::ALL.iter().map(|k| k.name()).collect();
            WorkflowError::argument(
                format!("there is no kind of entry `{k}`"),
                format!("one of: {}", known.join(", ")),
            )
        })?);
    }
    Ok(f)
}
