//! What is given away: the build sheet, contacts as a map, and the delay of the own voice.

use super::book::{reading, tabs};
use super::form::{Pairs, number, some, text};
use super::recordings::folder;
use crate::desk::{confined, recordings};
use crate::house::House;
use crate::layout::{Trouble, compute, page, ready};
use crate::view::View;
use axum::extract::{Query, State};
use axum::http::header;
use axum::response::{Html, IntoResponse, Response};
use jiff::Timestamp;
use maud::{Markup, html};
use slantpath_book::Filter;
use slantpath_quantity::Estimate;
use slantpath_report::figure::Stage;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::build_sheet::{build_sheet, page as whole_page};
use slantpath_workflow::contacts::{contact_map, echo_sheet};
use slantpath_workflow::echo::measure_echo;
use std::sync::Arc;

/// Longest echo looked for, s: the path takes a quarter of a second, digital processing a few more.
const LONGEST_ECHO_S: f64 = 5.0;
/// How far the heard sound may be off tune, Hz.
const OFF_TUNE_HZ: f64 = 200.0;

fn exactly(pairs: &Pairs) -> bool {
    text(pairs, "exact") == "yes"
}

/// The build sheet as a page here.
pub(super) async fn sheet(
    State(house): State<Arc<House>>,
    Query(pairs): Query<Pairs>,
) -> Result<Html<String>, Trouble> {
    let own = Arc::clone(&house);
    compute(&house, move |house| {
        let station_text = house.text()?;
        let view = View::read(&pairs, &station_text);
        let case = own.quick(&station_text, &view)?;
        let b = reading(house)?;
        let exact = exactly(&pairs);
        let built = build_sheet(case.station()?, &case.predicted, b.as_ref(), exact)?;
        let file = view.address("/sheet.html");
        let join = if file.contains('?') { '&' } else { '?' };
        let file = if exact { format!("{file}{join}exact=yes") } else { file };
        let body = html! {
            h1 { "Build sheet" }
            (tabs("/sheet"))
            section aria-labelledby="built-chain" {
                h2 id="built-chain" { "The chain" }
                (row("Receive", ("sky", "sample"), &built.chain.receive))
                (row("Transmit", ("sample", "sky"), &built.chain.transmit))
            }
            h2 { "To give away" }
            form.view method="get" action="/sheet" {
                label.tick { input type="checkbox" name="exact" value="yes" checked[exact]; " With the exact place" }
                button { "Show" }
            }
            p { a href=(file) download { "This sheet as one HTML file, to print or publish" } }
            p.quiet { "Unless the exact place is asked for it is coarsened to the middle of its locator square." }
            (ready(slantpath_report::page::section(&built.sheet, "b1")))
        };
        Ok(page("Build sheet", "/book", "", &body))
    })
    .await
}

/// One direction of the chain, without figures: those stand in the sheet's tables.
fn row(heading: &str, ends: (&str, &str), stages: &[Stage]) -> Markup {
    html! {
        @if !stages.is_empty() {
            h3 { (heading) }
            ol.chain {
                li.end { (ends.0) }
                @for s in stages { li.part { h4 { (s.name) } p { (s.what) } } }
                li.end { (ends.1) }
            }
        }
    }
}

/// The same as one file that needs nothing else.
pub(super) async fn sheet_file(
    State(house): State<Arc<House>>,
    Query(pairs): Query<Pairs>,
) -> Result<Response, Trouble> {
    let own = Arc::clone(&house);
    compute(&house, move |house| {
        let station_text = house.text()?;
        let view = View::read(&pairs, &station_text);
        let case = own.case(&station_text, &view)?;
        let b = reading(house)?;
        let built = build_sheet(
            case.station()?,
            &case.predicted,
            b.as_ref(),
            exactly(&pairs),
        )?;
        let drawing = House::drawing();
        let html = whole_page(&built, &case.loaded.inputs, drawing.seed, drawing.trials);
        Ok(file("text/html; charset=utf-8", "build-sheet.html", html))
    })
    .await
}

fn file(kind: &'static str, name: &str, text: String) -> Response {
    let how = [
        (header::CONTENT_TYPE, kind.to_string()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"{name}\""),
        ),
    ];
    (how, text).into_response()
}

/// The contacts of the book as GeoJSON.
pub(super) async fn contacts_map(
    State(house): State<Arc<House>>,
    Query(pairs): Query<Pairs>,
) -> Result<Response, Trouble> {
    compute(&house, move |house| {
        let loaded = house.text()?.load()?;
        let b = reading(house)?.ok_or_else(super::book::empty)?;
        let map = contact_map(
            &b,
            loaded.station(None)?,
            &Filter::default(),
            exactly(&pairs),
        )?;
        Ok(file(
            "application/geo+json",
            "contacts.geojson",
            map.geojson,
        ))
    })
    .await
}

/// The echo of the own voice: predicted, and measured from a recording of two channels.
pub(super) async fn echo(
    State(house): State<Arc<House>>,
    Query(pairs): Query<Pairs>,
) -> Result<Html<String>, Trouble> {
    compute(&house, move |house| {
        let loaded = house.text()?.load()?;
        let station = loaded.station(None)?;
        let root = folder(house);
        let (stated, u) = (
            number(&pairs, "processing")?.unwrap_or(0.0),
            number(&pairs, "u")?.unwrap_or(0.0),
        );
        if stated < 0.0 || u < 0.0 {
            return Err(WorkflowError::argument(
                "processing takes no negative time",
                "milliseconds, for example 120",
            ));
        }
        let processing = if u > 0.0 {
            Estimate::normal(stated, u)
        } else {
            Estimate::exact(stated)
        };
        let measured = some(&pairs, "path")
            .map(|p| measure_echo(&confined(&root, &p)?, LONGEST_ECHO_S, OFF_TUNE_HZ))
            .transpose()?;
        let sheet = echo_sheet(station, &processing, measured, Timestamp::now())?;
        let wavs: Vec<String> = recordings(&root)
            .into_iter()
            .filter(|p| p.to_ascii_lowercase().ends_with(".wav"))
            .collect();
        let body = html! {
            h1 { "Echo" }
            (tabs("/book/echo"))
            (ready(slantpath_report::page::section(&sheet, "e1")))
            form.entry method="get" action="/book/echo" {
                h2 { "With what is known" }
                div.fields {
                    label { "Processing on the way, ms" input name="processing" inputmode="decimal" maxlength="12" value=(text(&pairs, "processing")) placeholder="0"; }
                    label { "its standard uncertainty, ms" input name="u" inputmode="decimal" maxlength="12" value=(text(&pairs, "u")) placeholder="0"; }
                    label { "Recording of two channels (left: sent, right: heard)"
                        select name="path" {
                            option value="" { "none" }
                            @for p in &wavs { option value=(p) selected[text(&pairs, "path") == p] { (p) } }
                        }
                    }
                }
                p.quiet { "WAV files that lie beside the station file can be chosen. The sound is taken for the first two minutes, up to 5 s of delay, and up to 200 Hz off tune." }
                button { "Show" }
            }
        };
        Ok(page("Echo", "/book", "", &body))
    })
    .await
}
