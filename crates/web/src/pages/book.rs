//! The station book: timeline, entries, series, writing, contacts, and its figures for a monitoring system.

use super::form::{Pairs, moment, number, some, text};
use crate::house::House;
use crate::layout::{Trouble, compute, page, ready};
use axum::extract::{Form, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Redirect, Response};
use jiff::Timestamp;
use maud::{Markup, html};
use slantpath_book::contact::Heard;
use slantpath_book::{Book, Filter, Kind, Point};
use slantpath_quantity::show;
use slantpath_report::Figure;
use slantpath_report::figure::lines;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::book::{
    self, Reading, Typed, Weather, entry_sheet, filter, open_to_read, series_sheet,
};
use slantpath_workflow::contacts;
use std::sync::Arc;

/// Entries on one timeline page.
const LISTED: usize = 200;

/// The book, or `None` when none was begun.
pub(super) fn reading(house: &House) -> Result<Option<Book>, WorkflowError> {
    if !house.book().exists() {
        return Ok(None);
    }
    open_to_read(house.book(), Timestamp::now()).map(Some)
}

fn when(ms: i64) -> String {
    Timestamp::from_millisecond(ms).map_or_else(
        |_| format!("{ms} ms"),
        |t| t.strftime("%Y-%m-%d %H:%MZ").to_string(),
    )
}

pub(super) fn tabs(here: &str) -> Markup {
    html! {
        ul.tabs {
            @for (to, name) in [("/book", "Timeline"), ("/book/write", "Write"), ("/book/contact", "Contacts"), ("/book/series", "Series"), ("/book/echo", "Echo"), ("/sheet", "Build sheet")] {
                li { @if to == here { b { (name) } } @else { a href=(to) { (name) } } }
            }
        }
    }
}

pub(super) async fn timeline(
    State(house): State<Arc<House>>,
    Query(pairs): Query<Pairs>,
) -> Result<Html<String>, Trouble> {
    compute(&house, move |house| {
        let kinds: Vec<String> = pairs
            .iter()
            .filter(|(k, v)| k == "kind" && !v.is_empty())
            .map(|(_, v)| v.clone())
            .collect();
        let words = some(&pairs, "words");
        let f = filter(
            &kinds,
            moment(&pairs, "from")?,
            moment(&pairs, "to")?,
            words.as_deref(),
            text(&pairs, "all") == "yes",
            Some(LISTED),
        )?;
        let entries = match reading(house)? {
            Some(b) => b.entries(&f)?,
            None => Vec::new(),
        };
        let body = html! {
            h1 { "Station book" }
            (tabs("/book"))
            form.view method="get" action="/book" role="search" {
                label { "Words " input name="words" value=(words.unwrap_or_default()) maxlength="200"; }
                label { "Kind "
                    select name="kind" {
                        option value="" { "all" }
                        @for k in Kind::ALL {
                            option value=(k.name()) selected[kinds.iter().any(|x| x == k.name())] { (k.name()) }
                        }
                    }
                }
                button { "Search" }
            }
            @if entries.is_empty() { p { "Nothing is written here yet." } }
            ol.timeline {
                @for e in entries.iter().rev() {
                    li.(format!("kind-{}", e.entry.kind.name())) {
                        time { (when(e.entry.at_ms)) } " "
                        span.kind { (e.entry.kind.name()) } " "
                        a href=(format!("/book/entry?id={}", e.id)) { (e.entry.title) }
                        @if e.superseded_by.is_some() { " (corrected)" }
                    }
                }
            }
            @if entries.len() >= LISTED { p.quiet { "The newest " (LISTED) "; search for older ones." } }
        };
        Ok(page("Station book", "/book", "", &body))
    })
    .await
}

pub(super) async fn entry(
    State(house): State<Arc<House>>,
    Query(pairs): Query<Pairs>,
) -> Result<Html<String>, Trouble> {
    compute(&house, move |house| {
        let id: i64 = text(&pairs, "id").parse().map_err(|_| {
            WorkflowError::argument(
                "an entry is named by its number",
                "choose one of the timeline",
            )
        })?;
        let b = reading(house)?.ok_or_else(empty)?;
        let sheet = entry_sheet(&b, id)?;
        let body = html! { h1 { "Entry" } (tabs("")) (ready(slantpath_report::page::section(&sheet, "s1"))) };
        Ok(page("Entry", "/book", "", &body))
    })
    .await
}

pub(super) fn empty() -> WorkflowError {
    WorkflowError::argument("the station has no book yet", "write something first")
}

pub(super) async fn series(
    State(house): State<Arc<House>>,
    Query(pairs): Query<Pairs>,
) -> Result<Html<String>, Trouble> {
    compute(&house, move |house| {
        let wanted = text(&pairs, "of");
        let Some(b) = reading(house)? else {
            let body = html! { h1 { "Series" } (tabs("/book/series")) p { "Nothing is written here yet." } };
            return Ok(page("Series", "/book", "", &body));
        };
        let all = b.measurands()?;
        let full = |m: &str, branch: &str| {
            if branch.is_empty() {
                m.to_string()
            } else {
                format!("{m}@{branch}")
            }
        };
        let body = html! {
            h1 { "Series" }
            (tabs("/book/series"))
            form.view method="get" action="/book/series" {
                label { "Of "
                    select name="of" {
                        @for (m, branch, n) in &all {
                            @let id = full(m, branch);
                            option value=(id) selected[id == wanted] { (id) " (" (n) ")" }
                        }
                    }
                }
                button { "Show" }
            }
            @if !wanted.is_empty() {
                @let sheet = series_sheet(&b, wanted, None, None, None)?;
                @if let Some(f) = drawing(&b, wanted)? { (ready(slantpath_report::page::figure(&f))) }
                (ready(slantpath_report::page::section(&sheet, "s1")))
            } @else if all.is_empty() { p { "No measurement is kept yet." } }
        };
        Ok(page("Series", "/book", "", &body))
    })
    .await
}

/// The series through time. Its line breaks where parts changed: what stands on both sides is not one thing.
fn drawing(b: &Book, wanted: &str) -> Result<Option<Figure>, WorkflowError> {
    let (m, branch) = wanted.split_once('@').unwrap_or((wanted, ""));
    let s = b.series(m, branch, None, None)?;
    let known = |p: &Point| {
        p.value
            .as_ref()
            .ok()
            .map(|v| (p.at_ms, v.value, p.unit.clone()))
    };
    let measured: Vec<_> = s.measured.iter().filter_map(known).collect();
    let Some((first, _, unit)) = measured.iter().min_by_key(|p| p.0).cloned() else {
        return Ok(None);
    };
    const DAY_MS: f64 = 86_400_000.0;
    let day = |ms: i64| (ms - first) as f64 / DAY_MS;
    let changes: Vec<i64> = s
        .marks
        .iter()
        .filter(|k| k.kind == Kind::Change)
        .map(|k| k.at_ms)
        .collect();
    let broken = |points: &[(i64, f64, String)]| {
        let mut out = Vec::new();
        let mut before: Option<i64> = None;
        for (at, v, _) in points {
            if before.is_some_and(|b| changes.iter().any(|c| *c > b && *c <= *at)) {
                out.push((f64::NAN, f64::NAN));
            }
            // A point alone is drawn as a short stroke.
            out.push((day(*at), *v));
            out.push((day(*at) + 1e-3, *v));
            before = Some(*at);
        }
        out
    };
    let predicted: Vec<_> = s.predicted.iter().filter_map(known).collect();
    let level = measured.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
    let marks: Vec<(f64, f64, String)> = s
        .marks
        .iter()
        .filter(|k| k.at_ms >= first)
        .take(12)
        .map(|k| {
            let what = if k.kind == Kind::Change {
                "parts"
            } else {
                "fault"
            };
            (day(k.at_ms), level, format!("{what}: {}", k.title))
        })
        .collect();
    let curves = [
        ("measured".to_string(), broken(&measured)),
        ("predicted on those days".to_string(), broken(&predicted)),
    ];
    Ok(Some(Figure {
        key: "series".into(),
        caption: format!("{wanted} through time; marks are changes of parts and faults."),
        svg: lines(
            wanted,
            &format!("days since {}", when(first)),
            &unit,
            &curves,
            &marks,
            None,
        ),
    }))
}

pub(super) async fn forms(State(house): State<Arc<House>>) -> Result<Html<String>, Trouble> {
    compute(&house, move |house| {
        let loaded = house.text()?.load()?;
        let station = loaded.station(None)?;
        let parts: Vec<String> = slantpath_book::parts::PartsList::of(station)
            .parts
            .iter()
            .map(|p| p.key.clone())
            .collect();
        let body = html! {
            h1 { "Write in the book" }
            (tabs("/book/write"))
            p.quiet { "Entries are only ever added. Times are UTC; empty means now." }
            form.entry method="post" action="/book/write" {
                h2 { "Note" }
                input type="hidden" name="kind" value="note";
                label { "What happened" textarea name="text" rows="3" required maxlength="20000" {} }
                (at())
                button { "Write the note" }
            }
            form.entry method="post" action="/book/write" {
                h2 { "Fault" }
                input type="hidden" name="kind" value="fault";
                label { "What is broken, or works again" textarea name="text" rows="2" required maxlength="20000" {} }
                label { "Part"
                    select name="part" {
                        option value="" { "not known" }
                        @for p in &parts { option value=(p) { (p) } }
                    }
                }
                label.tick { input type="checkbox" name="over" value="yes"; " It is over" }
                (at())
                button { "Write the fault" }
            }
            form.entry method="post" action="/book/write" {
                h2 { "Weather" }
                input type="hidden" name="kind" value="weather";
                div.fields {
                    label { "Air temperature" input name="temperature" placeholder="12 °C" maxlength="60"; }
                    label { "Rain rate" input name="rain" placeholder="2 mm/h" maxlength="60"; }
                    label { "Wind" input name="wind" placeholder="8 m/s" maxlength="60"; }
                    label { "Pressure" input name="pressure" placeholder="1013 hPa" maxlength="60"; }
                }
                label { "In words" textarea name="text" rows="2" maxlength="20000" {} }
                (at())
                button { "Write the weather" }
            }
        };
        Ok(page("Write in the book", "/book", "", &body))
    })
    .await
}

fn at() -> Markup {
    html! { label { "When (UTC)" input type="datetime-local" name="at"; } }
}

pub(super) async fn write(
    State(house): State<Arc<House>>,
    Form(pairs): Form<Pairs>,
) -> Result<Redirect, Trouble> {
    compute(&house, move |house| {
        let loaded = house.text()?.load()?;
        let station = loaded.station(None)?;
        let kind = match text(&pairs, "kind") {
            "note" => Kind::Note,
            "fault" => Kind::Fault,
            "weather" => Kind::Weather,
            other => {
                return Err(WorkflowError::argument(
                    format!("`{other}` is not written here"),
                    "note, fault or weather",
                ));
            }
        };
        let weather = [
            (Weather::Temperature, "temperature"),
            (Weather::Rain, "rain"),
            (Weather::Wind, "wind"),
            (Weather::Pressure, "pressure"),
        ]
        .into_iter()
        .filter_map(|(quantity, name)| some(&pairs, name).map(|text| Reading { quantity, text }))
        .collect();
        let typed = Typed {
            kind: Some(kind),
            text: text(&pairs, "text").to_string(),
            at: moment(&pairs, "at")?,
            corrects: None,
            part: some(&pairs, "part"),
            over: text(&pairs, "over") == "yes",
            weather,
        };
        let now = Timestamp::now();
        let (mut b, _) = book::open(house.book(), now)?;
        let id = book::add(&mut b, station, &typed, now)?;
        Ok(Redirect::to(&format!("/book/entry?id={id}")))
    })
    .await
}

pub(super) async fn contacts(
    State(house): State<Arc<House>>,
    Query(pairs): Query<Pairs>,
) -> Result<Html<String>, Trouble> {
    compute(&house, move |house| {
        let loaded = house.text()?.load()?;
        let station = loaded.station(None)?;
        let b = reading(house)?;
        let own = house.live().and_then(|l| l.own_hz());
        let narrow = station.satellite.passbands.first();
        let known = own.or(narrow.map(|p| p.downlink.centre().as_hz()));
        let mode = some(&pairs, "mode").unwrap_or_else(|| "USB".into());
        let body = html! {
            h1 { "Contacts" }
            (tabs("/book/contact"))
            form.entry method="post" action="/book/contact" {
                h2 { "Write a contact" }
                div.fields {
                    label { "Station worked" input name="call" required maxlength="20" autocapitalize="characters" autocomplete="off" spellcheck="false"; }
                    label { "When (UTC), empty: now" input type="datetime-local" name="at"; }
                    label { "Mode" input name="mode" value=(mode) required maxlength="20" list="modes"; }
                    label { "Heard on, MHz" input name="down" inputmode="decimal" maxlength="20" value=(known.map(|f| format!("{:.4}", f / 1e6)).unwrap_or_default()); }
                    label { "Report given" input name="sent" maxlength="20" value=(if mode == "CW" { "599" } else { "59" }); }
                    label { "Report received" input name="received" maxlength="20"; }
                    label { "Locator" input name="locator" maxlength="12" autocapitalize="characters" autocomplete="off"; }
                    label { "Own power, W" input name="power" inputmode="decimal" maxlength="12"; }
                }
                datalist id="modes" { @for m in ["USB", "CW", "PSK", "RTTY", "DIGITALVOICE", "ATV"] { option value=(m) {} } }
                label { "Comment" input name="comment" maxlength="500"; }
                button { "Write the contact" }
                p.quiet {
                    "Filled in by itself: own callsign and locator, satellite, the uplink frequency that belongs to the one heard, "
                    "band, satellite mode, and the C/N0 measured within the last day."
                }
            }
            @if let Some(b) = &b {
                @let sheet = contacts::list_sheet(b, &Filter { limit: Some(LISTED), ..Filter::default() })?;
                (ready(slantpath_report::page::section(&sheet, "s1")))
                p {
                    a href="/book/contacts.adi" download { "All contacts as an ADIF file" } " · "
                    a href="/book/contacts.geojson" download { "as a map (GeoJSON)" } " · "
                    a href="/book/contacts.geojson?exact=yes" download { "as a map with the own exact place" }
                }
                p.quiet { "On the map the own station stands in the middle of its locator square unless the exact place is asked for." }
            }
        };
        Ok(page("Contacts", "/book", "", &body))
    })
    .await
}

pub(super) async fn contact(
    State(house): State<Arc<House>>,
    Form(pairs): Form<Pairs>,
) -> Result<Html<String>, Trouble> {
    compute(&house, move |house| {
        let loaded = house.text()?.load()?;
        let station = loaded.station(None)?;
        let now = Timestamp::now();
        let mut heard = Heard {
            call: text(&pairs, "call").to_ascii_uppercase(),
            at: moment(&pairs, "at")?.unwrap_or(now),
            mode: text(&pairs, "mode").to_string(),
            up_mhz: number(&pairs, "up")?,
            down_mhz: number(&pairs, "down")?,
            locator: some(&pairs, "locator"),
            sent: some(&pairs, "sent"),
            received: some(&pairs, "received"),
            power_w: number(&pairs, "power")?,
            comment: some(&pairs, "comment"),
            ..Heard::default()
        };
        let (mut b, _) = book::open(house.book(), now)?;
        contacts::fill(station, &b, &mut heard)?;
        let sheet = contacts::add(&mut b, station, &heard, None, now)?;
        let body = html! {
            h1 { "Contact written" }
            (tabs(""))
            (ready(slantpath_report::page::section(&sheet, "s1")))
            p { a href="/book/contact" { "The next one" } }
        };
        Ok(page("Contact written", "/book", "", &body))
    })
    .await
}

pub(super) async fn adif(State(house): State<Arc<House>>) -> Result<Response, Trouble> {
    compute(&house, move |house| {
        let b = reading(house)?.ok_or_else(empty)?;
        let (text, _) = contacts::adif_out(&b, &Filter::default(), Timestamp::now())?;
        let how = [
            (header::CONTENT_TYPE, "text/plain; charset=utf-8"),
            (
                header::CONTENT_DISPOSITION,
                "attachment; filename=\"contacts.adi\"",
            ),
        ];
        Ok((how, text).into_response())
    })
    .await
}

/// The latest figures, only when they were asked for at the start.
pub(super) async fn metrics(State(house): State<Arc<House>>) -> Result<Response, Trouble> {
    if !house.metrics() {
        return Ok((
            StatusCode::NOT_FOUND,
            "Not given unless asked for: serve --metrics\n",
        )
            .into_response());
    }
    compute(&house, move |house| {
        let text = match reading(house)? {
            Some(b) => book::metrics(&b)?,
            None => "# EOF\n".to_string(),
        };
        let how = [(
            header::CONTENT_TYPE,
            "application/openmetrics-text; version=1.0.0; charset=utf-8",
        )];
        Ok((how, text).into_response())
    })
    .await
}

/// Numbers of a judged figure, for the recordings page.
pub(super) fn plus_minus(value: f64, u: f64) -> String {
    let (v, u) = show::value_and_u(value, u);
    format!("{v} ± {u}")
}
