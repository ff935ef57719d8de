//! `contact`: contacts in the book, out and in, on a map, and their echo.

use crate::WorkflowError;
use crate::book::named;
use crate::survey::survey;
use jiff::Timestamp;
use slantpath_book::adif::{self, ADIF_VERSION, Record};
use slantpath_book::contact::{Heard, Key, way};
use slantpath_book::map::{Map, Own, map};
use slantpath_book::{Body, Book, EntryId, Filter, Kind, NewEntry};
use slantpath_input::{Problems, Source};
use slantpath_quantity::{Angle, Answer, Estimate, Unit};
use slantpath_report::sheet::{Cell, Table};
use slantpath_report::{Section, Sheet};
use slantpath_sky::Locator;
use slantpath_station::Station;
use std::path::Path;

/// Fills in what the station and its book know: own callsign and locator (as written, else of six characters),
/// satellite, frequency heard for the one sent on, and the latest measured C/N0 of each beacon not older than a day.
///
/// # Errors
/// The book cannot be read.
pub fn fill(station: &Station, book: &Book, heard: &mut Heard) -> Result<(), WorkflowError> {
    if heard.own_call.is_none() {
        heard.own_call.clone_from(&station.callsign);
    }
    if heard.own_locator.is_none() {
        heard.own_locator = station.site.locator.clone().or_else(|| {
            let (lat, lon) = place(station);
            Locator::of(lat, lon, 6).ok().map(|l| l.to_string())
        });
    }
    if heard.satellite.is_none() {
        heard.satellite = Some(station.satellite.name.clone());
    }
    // Either frequency gives the other through the transponder that holds it.
    let mhz = |f: f64| slantpath_quantity::Frequency::hz(f * 1e6);
    match (heard.up_mhz, heard.down_mhz) {
        (Some(up), None) => {
            let held = station
                .satellite
                .passbands
                .iter()
                .find(|p| p.uplink.contains(mhz(up)));
            heard.down_mhz = held.map(|p| p.down(mhz(up)).as_mhz());
        }
        (None, Some(down)) => {
            let held = station
                .satellite
                .passbands
                .iter()
                .find(|p| p.downlink.contains(mhz(down)));
            heard.up_mhz = held.map(|p| p.up(mhz(down)).as_mhz());
        }
        _ => {}
    }
    const DAY_MS: i64 = 86_400_000;
    let at = heard.at.as_millisecond();
    for l in book.latest()? {
        let f = &l.figure;
        let fresh = (at - l.at_ms).abs() <= DAY_MS;
        if let (true, slantpath_book::Role::Measured, Ok(v)) = (fresh, f.role, &f.value)
            && f.measurand.ends_with(".cn0")
            && f.unit == Unit::DbHz.symbol()
        {
            let name: String = f
                .measurand
                .chars()
                .map(|c| {
                    if c.is_ascii_alphanumeric() {
                        c.to_ascii_uppercase()
                    } else {
                        '_'
                    }
                })
                .collect();
            let branch: String = f
                .branch
                .chars()
                .filter(char::is_ascii_alphanumeric)
                .map(|c| c.to_ascii_uppercase())
                .collect();
            let whole = if branch.is_empty() {
                format!("{name}_DBHZ")
            } else {
                format!("{name}_{branch}_DBHZ")
            };
            let rounded = slantpath_quantity::show::value_and_u(v.value, v.u).0;
            heard
                .state
                .push((whole, rounded.parse().unwrap_or(v.value)));
        }
    }
    Ok(())
}

fn place(station: &Station) -> (f64, f64) {
    let wrapped = |a: Angle| {
        let d = a.as_deg();
        if d > 180.0 { d - 360.0 } else { d }
    };
    (
        station.site.latitude.as_deg(),
        wrapped(station.site.longitude),
    )
}

/// The same rules for a contact that was typed as for one that is read: written out and read back.
fn checked(record: &Record) -> Result<(), WorkflowError> {
    let text = adif::write(
        std::slice::from_ref(record),
        "SLANTPATH",
        env!("CARGO_PKG_VERSION"),
        "",
    );
    let (_, problems) = adif::read(&Source::new("the contact", text));
    if problems.has_errors() {
        let said: Vec<String> = problems
            .iter()
            .map(|p| {
                format!(
                    "{} (expected {})",
                    p.title,
                    p.expected.as_deref().unwrap_or("something else")
                )
            })
            .collect();
        return Err(WorkflowError::argument(
            said.join("; "),
            "nothing was written; correct it and try again",
        ));
    }
    Ok(())
}

fn entry(station: &Station, record: Record, now: Timestamp) -> NewEntry {
    let key = Key::of(&record);
    let title = [key.call.as_str(), &key.band, &key.mode]
        .into_iter()
        .filter(|x| !x.is_empty())
        .collect::<Vec<_>>()
        .join(", ");
    let title = if title.is_empty() {
        "contact".to_string()
    } else {
        title
    };
    // What is searched: every field's data.
    let text: Vec<&str> = record.fields.iter().map(|f| f.value.trim()).collect();
    NewEntry::new(
        Kind::Contact,
        key.at_ms.unwrap_or_else(|| now.as_millisecond()),
        &named(station),
        title,
    )
    .text(text.join(" "))
    .body(Body::Contact { record })
}

/// Appends a contact. The sentences say what is known of it, and whether it stands in the book already.
///
/// # Errors
/// It breaks a rule of the interchange format, or the book refuses.
pub fn add(
    book: &mut Book,
    station: &Station,
    heard: &Heard,
    corrects: Option<i64>,
    now: Timestamp,
) -> Result<Sheet, WorkflowError> {
    let record = heard.record();
    checked(&record)?;
    let mut told = Vec::new();
    let same = book.same_contact(&Key::of(&record))?;
    if !same.is_empty() && corrects.is_none() {
        let list: Vec<String> = same.iter().map(ToString::to_string).collect();
        told.push(format!(
            "The same contact stands in the book already: entry {}.",
            list.join(", ")
        ));
    }
    let mut e = entry(station, record.clone(), now);
    e.supersedes = corrects.map(EntryId);
    let id = book.append(&e, now.as_millisecond())?;
    let mut s = Section::new("contact", format!("entry {id}: {}", e.title), Vec::new());
    s.text = told;
    s.text.extend(
        record
            .fields
            .iter()
            .map(|f| format!("{}: {}", f.name, f.value)),
    );
    if let (Some(own), Some(other)) = (record.get("MY_GRIDSQUARE"), record.get("GRIDSQUARE")) {
        s.answers = way_answers(own, other)?;
    }
    Ok(Sheet {
        verb: "contact".into(),
        title: format!("{}: contact written", book.path().display()),
        sections: vec![s],
        ..Sheet::default()
    })
}

/// Distance and bearing between two locators; the squares' sizes are their uncertainty.
fn way_answers(own: &str, other: &str) -> Result<Vec<Answer>, WorkflowError> {
    let w = way(own, other)?;
    // Both ends lie anywhere in their squares: the reach of both diagonals as limits (GUM 4.3.7).
    let u_km = w.within.as_km() / 3f64.sqrt();
    let mut out = vec![
        Answer::known(
            "contact.distance",
            "distance",
            Unit::Km,
            Estimate::normal(w.distance.as_km(), u_km),
        )
        .because("between the centres of both locators' squares, on the WGS-84 ellipsoid"),
    ];
    let u_deg = (u_km / w.distance.as_km()).atan().to_degrees();
    out.push(if w.distance.as_m() > w.within.as_m() {
        Answer::known(
            "contact.bearing",
            "bearing, true",
            Unit::Deg,
            Estimate::normal(w.bearing.as_deg(), u_deg),
        )
    } else {
        Answer::unknown(
            "contact.bearing",
            "bearing, true",
            Unit::Deg,
            "the squares are too large or too close for a bearing",
            "use locators of six characters or more",
        )
    });
    Ok(out)
}

/// Contacts that stand, oldest first.
///
/// # Errors
/// The book cannot be read.
pub fn standing(book: &Book, filter: &Filter) -> Result<Vec<Record>, WorkflowError> {
    let f = Filter {
        kinds: vec![Kind::Contact],
        ..filter.clone()
    };
    Ok(book
        .entries(&f)?
        .into_iter()
        .filter_map(|e| match e.entry.body {
            Body::Contact { record } => Some(record),
            _ => None,
        })
        .collect())
}

/// The contacts of a book as an ADI file.
///
/// # Errors
/// The book cannot be read.
pub fn adif_out(
    book: &Book,
    filter: &Filter,
    now: Timestamp,
) -> Result<(String, usize), WorkflowError> {
    let records = standing(book, filter)?;
    let created = now.strftime("%Y%m%d %H%M%S").to_string();
    let text = adif::write(&records, "SLANTPATH", env!("CARGO_PKG_VERSION"), &created);
    Ok((text, records.len()))
}

/// What became of an ADI file.
#[derive(Debug)]
pub struct BroughtIn {
    /// Entries written.
    pub written: usize,
    /// Records that stand in the book already and were left out.
    pub known: usize,
    /// Warnings about records that were taken.
    pub warnings: Problems,
}

/// Takes the contacts of an ADI file. With mistakes in it nothing is taken unless `skip_faulty`: then the records with
/// mistakes stay out. A record with the same call, minute, band and mode as a contact in the book is left out.
///
/// # Errors
/// The file cannot be read, has mistakes, or the book refuses.
pub fn adif_in(
    book: &mut Book,
    station: &Station,
    path: &Path,
    skip_faulty: bool,
    now: Timestamp,
) -> Result<BroughtIn, WorkflowError> {
    let name = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|cause| match cause.kind() {
        std::io::ErrorKind::NotFound => {
            WorkflowError::argument(format!("there is no file {name}"), "name an ADI file")
        }
        _ => WorkflowError::Machine {
            path: name.clone(),
            cause,
        },
    })?;
    // Not UTF-8: older programs write one byte for a character; every byte is one of ISO 8859-1.
    let (text, latin) = match String::from_utf8(bytes) {
        Ok(t) => (t, false),
        Err(e) => (one_byte_characters(e.as_bytes()), true),
    };
    let (adi, problems) = adif::read(&Source::new(&name, text));
    if problems.has_errors() && !skip_faulty {
        return Err(WorkflowError::Problems(problems));
    }
    let mut new = Vec::new();
    let mut seen: Vec<Key> = Vec::new();
    let mut known = 0;
    for (i, record) in adi.records.into_iter().enumerate() {
        if adi.faulty.contains(&i) {
            continue;
        }
        let key = Key::of(&record);
        if !book.same_contact(&key)?.is_empty() || seen.contains(&key) {
            known += 1;
            continue;
        }
        seen.push(key);
        new.push(entry(station, record, now));
    }
    let written = new.len();
    book.append_all(&new, now.as_millisecond())?;
    let mut warnings = problems;
    if latin {
        warnings.push(slantpath_input::Problem::warning(format!(
            "{name} is not UTF-8: read as ISO 8859-1, written back as UTF-8"
        )));
    }
    Ok(BroughtIn {
        written,
        known,
        warnings,
    })
}

/// Bytes as ISO 8859-1, all but those above ASCII in data keep their lengths: these are counted anew by the reader, so
/// lengths inside tags are widened here by the characters that need two bytes in UTF-8.
fn one_byte_characters(bytes: &[u8]) -> String {
    let mut out = String::with_capacity(bytes.len() + 16);
    let mut at = 0;
    while let Some(rest) = bytes.get(at..) {
        let Some(open) = rest.iter().position(|b| *b == b'<') else {
            break;
        };
        let tag = rest.get(open..).unwrap_or_default();
        let Some(close) = tag.iter().position(|b| *b == b'>') else {
            break;
        };
        out.extend(
            rest.get(..open)
                .unwrap_or_default()
                .iter()
                .map(|b| char::from(*b)),
        );
        let inside: String = tag
            .get(1..close)
            .unwrap_or_default()
            .iter()
            .map(|b| char::from(*b))
            .collect();
        let mut pieces: Vec<String> = inside.split(':').map(str::to_string).collect();
        let n: usize = pieces
            .get(1)
            .and_then(|n| n.trim().parse().ok())
            .unwrap_or(0);
        let start = at + open + close + 1;
        let data = bytes
            .get(start..start.saturating_add(n).min(bytes.len()))
            .unwrap_or_default();
        let wide = data.iter().filter(|b| !b.is_ascii()).count();
        if let Some(length) = pieces.get_mut(1)
            && wide > 0
        {
            *length = (n + wide).to_string();
        }
        out.push('<');
        out.push_str(&pieces.join(":"));
        out.push('>');
        out.extend(data.iter().map(|b| char::from(*b)));
        at = start + data.len();
    }
    out.extend(
        bytes
            .get(at..)
            .unwrap_or_default()
            .iter()
            .map(|b| char::from(*b)),
    );
    out
}

/// The sheet about an ADI file that was brought in.
pub fn brought_sheet(book: &Book, b: &BroughtIn) -> Sheet {
    Sheet {
        verb: "contact".into(),
        title: format!(
            "{}: {} contact(s) written",
            book.path().display(),
            b.written
        ),
        sections: vec![
            Section::new("adif_in", "ADI file", Vec::new())
                .say(format!("{} contact(s) written.", b.written))
                .say(format!(
                    "{} left out: the same station, minute, band and mode stand in the book.",
                    b.known
                )),
        ],
        ..Sheet::default()
    }
}

/// The contacts of a book as a table.
///
/// # Errors
/// The book cannot be read.
pub fn list_sheet(book: &Book, filter: &Filter) -> Result<Sheet, WorkflowError> {
    let f = Filter {
        kinds: vec![Kind::Contact],
        ..filter.clone()
    };
    let mut t = Table::new(
        "contacts",
        &[
            ("entry", "entry"),
            ("time", "time (UTC)"),
            ("call", "call"),
            ("band", "band"),
            ("mode", "mode"),
            ("locator", "locator"),
            ("distance", "distance"),
        ],
    );
    let entries = book.entries(&f)?;
    for e in &entries {
        let Body::Contact { record } = &e.entry.body else {
            continue;
        };
        let key = Key::of(record);
        let distance = match (record.get("MY_GRIDSQUARE"), record.get("GRIDSQUARE")) {
            (Some(a), Some(b)) => {
                way(a, b).map_or(Cell::Missing("no readable locator".into()), |w| {
                    Cell::Value(
                        Estimate::normal(w.distance.as_km(), w.within.as_km() / 3f64.sqrt()),
                        Unit::Km,
                    )
                })
            }
            _ => Cell::Text(String::new()),
        };
        let time = Timestamp::from_millisecond(e.entry.at_ms)
            .map(|t| t.strftime("%Y-%m-%d %H:%MZ").to_string())
            .unwrap_or_default();
        t.rows.push(vec![
            Cell::Text(e.id.to_string()),
            Cell::Text(time),
            Cell::Text(key.call),
            Cell::Text(key.band),
            Cell::Text(key.mode),
            Cell::Text(record.get("GRIDSQUARE").unwrap_or_default().into()),
            distance,
        ]);
    }
    Ok(Sheet {
        verb: "contact".into(),
        title: format!("{}: {} contact(s)", book.path().display(), entries.len()),
        sections: vec![Section::new("contacts", "contacts", Vec::new()).table(t)],
        ..Sheet::default()
    })
}

/// The contacts of a book as GeoJSON; the own place is the centre of its four-character square unless `exact`.
///
/// # Errors
/// The book cannot be read.
pub fn contact_map(
    book: &Book,
    station: &Station,
    filter: &Filter,
    exact: bool,
) -> Result<Map, WorkflowError> {
    let (lat_deg, lon_deg) = place(station);
    let own = if exact {
        Own::Exact { lat_deg, lon_deg }
    } else {
        Own::Coarse { lat_deg, lon_deg }
    };
    Ok(map(own, &standing(book, filter)?))
}

/// The predicted delay of the own voice: path up and down with the satellite's distance known as it is, and what
/// equipment adds as stated.
///
/// # Errors
/// The satellite is below the horizon.
pub fn echo_sheet(
    station: &Station,
    processing: &Estimate,
    measured: Option<Answer>,
    at: Timestamp,
) -> Result<Sheet, WorkflowError> {
    let path = survey(station, at)?
        .sections
        .into_iter()
        .flat_map(|s| s.answers)
        .find(|a| a.measurand == "site.delay_round_trip")
        .ok_or_else(|| {
            WorkflowError::argument(
                "the distance of the satellite is not known",
                "give its slot or its elements in the satellite file",
            )
        })?;
    let mut answers = vec![path.clone()];
    if let Some(p) = path.estimate() {
        let total = Estimate::normal(p.value + processing.value, p.u.hypot(processing.u));
        answers.push(
            Answer::known(
                "echo.delay",
                "echo of the own voice, predicted",
                Unit::Ms,
                total,
            )
            .because("path up and down, and the processing stated"),
        );
        if let Some(m) = &measured {
            answers.push(m.clone());
            if let Some(e) = m.estimate() {
                let rest = Estimate::normal(e.value - p.value, e.u.hypot(p.u));
                answers.push(
                    Answer::known("echo.processing", "of it processing", Unit::Ms, rest)
                        .because("measured echo less the path: satellite, transmitter, receiver, codecs and sound"),
                );
            }
        }
    }
    let refused = measured.as_ref().is_some_and(|m| m.outcome.is_err());
    let mut sheet = Sheet {
        verb: "contact".into(),
        title: format!("{}: echo through {}", station.name, station.satellite.name),
        sections: vec![Section::new("echo", "echo delay", answers)],
        refused,
        ..Sheet::default()
    };
    if let Some(Err(u)) = measured.map(|m| m.outcome) {
        sheet.because.push(u.reason);
        sheet.next_measurement = Some(u.remedy);
    }
    Ok(sheet)
}

/// Version of the interchange format that is written.
pub fn adif_version() -> &'static str {
    ADIF_VERSION
}
