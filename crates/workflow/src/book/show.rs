//! The book as sheets.

use crate::WorkflowError;
use jiff::Timestamp;
use slantpath_book::entry::Value;
use slantpath_book::{Book, Entry, EntryId, Figure, Filter, Kind, Point, Role};
use slantpath_quantity::{Answer, Estimate, Interval, Unit, Validity};
use slantpath_report::openmetrics::{Gauge, Sample};
use slantpath_report::sheet::{Cell, Table};
use slantpath_report::{Section, Sheet};

fn moment(ms: i64) -> String {
    Timestamp::from_millisecond(ms).map_or_else(
        |_| format!("{ms} ms"),
        |t| t.strftime("%Y-%m-%d %H:%M:%SZ").to_string(),
    )
}

fn estimate(v: &Value) -> Estimate {
    Estimate {
        value: v.value,
        u: v.u,
        interval: Interval {
            lo: v.interval.0,
            hi: v.interval.1,
            level: v.interval.2,
        },
    }
}

/// A kept value in a table. A unit of another program version is shown as it was written.
fn cell(value: &Result<Value, String>, unit: &str) -> Cell {
    match (value, Unit::read(unit)) {
        (Ok(v), Some(u)) => Cell::Value(estimate(v), u),
        (Ok(v), None) => Cell::Number {
            value: v.value,
            places: slantpath_quantity::show::decimals_for(v.u).unwrap_or(3),
            unit: unit.to_string(),
        },
        (Err(why), _) => Cell::Missing(why.clone()),
    }
}

fn answer(f: &Figure) -> Option<Answer> {
    let unit = Unit::read(&f.unit)?;
    let measurand = if f.branch.is_empty() {
        f.measurand.clone()
    } else {
        format!("{}@{}", f.measurand, f.branch)
    };
    let mut a = match &f.value {
        Ok(v) => Answer::known(measurand, f.label.as_str(), unit, estimate(v)),
        Err(why) => Answer::unknown(measurand, f.label.as_str(), unit, why.as_str(), ""),
    };
    if !f.outside.is_empty() {
        a.validity = Validity::Outside(f.outside.clone());
    }
    Some(a)
}

fn sheet(book: &Book, what: &str) -> Sheet {
    Sheet {
        verb: "book".into(),
        title: format!("{}: {what}", book.path().display()),
        ..Sheet::default()
    }
}

/// The timeline.
///
/// # Errors
/// The book cannot be read.
pub fn list_sheet(book: &Book, filter: &Filter) -> Result<Sheet, WorkflowError> {
    let entries = book.entries(filter)?;
    let mut t = Table::new(
        "entries",
        &[
            ("entry", "entry"),
            ("time", "time (UTC)"),
            ("kind", "kind"),
            ("title", "what"),
        ],
    );
    for e in &entries {
        let mut title = e.entry.title.clone();
        if let Some(by) = e.superseded_by {
            title.push_str(&format!(" (corrected by {by})"));
        }
        if let Some(old) = e.entry.supersedes {
            title.push_str(&format!(" (instead of {old})"));
        }
        t.rows.push(vec![
            Cell::Text(e.id.to_string()),
            Cell::Text(moment(e.entry.at_ms)),
            Cell::Text(e.entry.kind.name().into()),
            Cell::Text(title),
        ]);
    }
    let mut out = sheet(book, &format!("{} entry(ies)", entries.len()));
    let mut s = Section::new("timeline", "timeline", Vec::new()).table(t);
    if entries.is_empty() {
        s = s.say("No entry fits.");
    }
    out.sections.push(s);
    Ok(out)
}

/// One entry, whole.
///
/// # Errors
/// There is none of that number, or the book cannot be read.
pub fn entry_sheet(book: &Book, id: i64) -> Result<Sheet, WorkflowError> {
    let e: Entry = book.entry(EntryId(id))?;
    let mut out = sheet(book, &format!("entry {id}, {}", e.entry.kind.name()));
    let mut s = Section::new("entry", e.entry.title.as_str(), Vec::new()).say(format!(
        "{}; happened {}, written {}.",
        e.entry.station,
        moment(e.entry.at_ms),
        moment(e.written_ms)
    ));
    if let Some(by) = e.superseded_by {
        s = s.say(format!("Entry {by} stands in its place."));
    }
    s.text.extend(e.entry.text.lines().map(str::to_string));
    if let slantpath_book::Body::Contact { record } = &e.entry.body {
        s.text.extend(
            record
                .fields
                .iter()
                .map(|f| format!("{}: {}", f.name, f.value)),
        );
    }
    out.sections.push(s);
    for (role, key) in [(Role::Measured, "measured"), (Role::Predicted, "predicted")] {
        let answers: Vec<Answer> = e
            .entry
            .figures
            .iter()
            .filter(|f| f.role == role)
            .filter_map(answer)
            .collect();
        if !answers.is_empty() {
            out.sections.push(Section::new(key, key, answers));
        }
    }
    if let Some(p) = &e.entry.provenance {
        let mut s = Section::new("provenance", "where the figures come from", Vec::new())
            .say(format!("{}: {}", p.written_by, p.command));
        if let (Some(seed), Some(n)) = (p.seed, p.trials) {
            s = s.say(format!("Seed {seed}, {n} draws."));
        }
        for (kind, name, sha) in &p.inputs {
            s = s.say(format!("{kind} {name}, SHA-256 {sha}"));
        }
        out.sections.push(s);
    }
    Ok(out)
}

/// What there are series of.
///
/// # Errors
/// The book cannot be read.
pub fn measurands_sheet(book: &Book) -> Result<Sheet, WorkflowError> {
    let all = book.measurands()?;
    let mut t = Table::new(
        "measurands",
        &[
            ("measurand", "measurand"),
            ("branch", "branch"),
            ("points", "points"),
        ],
    );
    for (m, b, n) in &all {
        t.rows.push(vec![
            Cell::Text(m.clone()),
            Cell::Text(b.clone()),
            Cell::Text(n.to_string()),
        ]);
    }
    let mut out = sheet(book, &format!("{} series", all.len()));
    out.sections
        .push(Section::new("measurands", "series in the book", Vec::new()).table(t));
    Ok(out)
}

/// A measurand through time, with part changes and faults between its points.
///
/// # Errors
/// The book cannot be read, or it has no such series.
pub fn series_sheet(
    book: &Book,
    measurand: &str,
    branch: Option<&str>,
    from: Option<Timestamp>,
    to: Option<Timestamp>,
) -> Result<Sheet, WorkflowError> {
    let (name, branch) = match (measurand.split_once('@'), branch) {
        (Some((m, b)), None) => (m.to_string(), b.to_string()),
        (_, Some(b)) => (measurand.to_string(), b.to_string()),
        (None, None) => {
            // One branch only: no need to name it.
            let all = book.measurands()?;
            let mut of = all.iter().filter(|x| x.0 == measurand);
            let first = of.next().map(|x| x.1.clone()).unwrap_or_default();
            if let Some(other) = of.next() {
                return Err(WorkflowError::argument(
                    format!(
                        "`{measurand}` was measured on several branches: {first}, {}",
                        other.1
                    ),
                    "choose one with --branch",
                ));
            }
            (measurand.to_string(), first)
        }
    };
    let ms = |t: Option<Timestamp>| t.map(Timestamp::as_millisecond);
    let s = book.series(&name, &branch, ms(from), ms(to))?;
    if s.measured.is_empty() && s.predicted.is_empty() {
        return Err(WorkflowError::argument(
            format!("the book has no series `{name}` here"),
            "`slantpath book series STATION` lists what it has",
        ));
    }
    let mut t = Table::new(
        "series",
        &[
            ("time", "time (UTC)"),
            ("entry", "entry"),
            ("measured", "measured"),
            ("predicted", "predicted that day"),
            ("note", "parts, faults"),
        ],
    );
    let unit_of = |p: &Point| p.unit.clone();
    let mut rows: Vec<(i64, u8, Vec<Cell>)> = Vec::new();
    for p in &s.measured {
        let predicted = s.predicted.iter().find(|q| q.entry == p.entry);
        rows.push((
            p.at_ms,
            1,
            vec![
                Cell::Text(moment(p.at_ms)),
                Cell::Text(p.entry.to_string()),
                cell(&p.value, &unit_of(p)),
                predicted.map_or(Cell::Text(String::new()), |q| cell(&q.value, &q.unit)),
                Cell::Text(
                    if p.inside {
                        ""
                    } else {
                        "outside a model's range"
                    }
                    .into(),
                ),
            ],
        ));
    }
    for m in &s.marks {
        let kind = if m.kind == Kind::Fault {
            "fault"
        } else {
            "parts"
        };
        rows.push((
            m.at_ms,
            0,
            vec![
                Cell::Text(moment(m.at_ms)),
                Cell::Text(m.entry.to_string()),
                Cell::Text(String::new()),
                Cell::Text(String::new()),
                Cell::Text(format!("{kind}: {}", m.title)),
            ],
        ));
    }
    rows.sort_by_key(|r| (r.0, r.1));
    t.rows = rows.into_iter().map(|r| r.2).collect();
    let at = if branch.is_empty() {
        String::new()
    } else {
        format!("@{branch}")
    };
    let mut out = sheet(book, &format!("{name}{at}, {} point(s)", s.measured.len()));
    out.sections
        .push(Section::new("series", "series", Vec::new()).table(t));
    Ok(out)
}

/// Whether the file is sound.
///
/// # Errors
/// The book cannot be read.
pub fn check_sheet(book: &Book) -> Result<Sheet, WorkflowError> {
    let found = book.integrity()?;
    let n = book
        .entries(&Filter {
            all: true,
            ..Filter::default()
        })?
        .len();
    let mut out = sheet(book, if found.is_empty() { "sound" } else { "damaged" });
    let mut s = Section::new("check", "check of the file", Vec::new()).say(format!(
        "{n} entries, corrections and withdrawals included."
    ));
    s.text.extend(found.iter().cloned());
    out.sections.push(s);
    out.refused = !found.is_empty();
    if out.refused {
        out.because.push("The file is damaged.".into());
        out.next_measurement = Some("Copy the file away, then take up the last backup.".into());
    }
    Ok(out)
}

/// The latest figures in the OpenMetrics text format.
///
/// # Errors
/// The book cannot be read.
pub fn metrics(book: &Book) -> Result<String, WorkflowError> {
    Ok(slantpath_report::openmetrics::text(&latest_samples(book)?))
}

/// The latest figures of every measurand.
///
/// # Errors
/// The book cannot be read.
pub(crate) fn latest_samples(book: &Book) -> Result<Vec<Sample>, WorkflowError> {
    Ok(book
        .latest()?
        .into_iter()
        .filter_map(|l| {
            let v = l.figure.value.ok()?;
            Some(Sample {
                gauge: match l.figure.role {
                    Role::Measured => Gauge::Measured,
                    Role::Predicted => Gauge::Predicted,
                },
                measurand: l.figure.measurand,
                branch: l.figure.branch,
                unit: l.figure.unit,
                value: v.value,
                u: v.u,
                at_s: l.at_ms as f64 / 1e3,
            })
        })
        .collect())
}
