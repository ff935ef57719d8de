//! Recordings and readings: what was measured, put beside the prediction.

use super::book::plus_minus;
use super::form::{Pairs, number, some, text};
use crate::desk::{State as JobState, confined, recordings, safe_name};
use crate::house::House;
use crate::layout::{Trouble, compute, page, ready};
use crate::view::View;
use axum::extract::{Form, Multipart, Query, State};
use axum::http::header;
use axum::response::{Html, IntoResponse, Redirect, Response};
use maud::{Markup, html};
use serde_json::json;
use slantpath_capture::source::{OpenOptions, SampleFormat};
use slantpath_link::Conditions;
use slantpath_station::checked::ReadingQuantity;
use slantpath_stats::Progress;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::book::{self, keep_measured};
use slantpath_workflow::diagnosis::where_they_disagree;
use slantpath_workflow::measure::{MeasureOptions, measure_sheet};
use slantpath_workflow::verdict::{judge, verdict_sheet};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use tokio::io::AsyncWriteExt;

/// Largest upload, all its files together.
const MOST_BYTES: u64 = 4 << 30;
/// Files of an upload: a recording and its metadata.
const MOST_FILES: usize = 4;

pub(super) async fn show(
    State(house): State<Arc<House>>,
    Query(pairs): Query<Pairs>,
) -> Result<Html<String>, Trouble> {
    compute(&house, move |house| {
        let station_text = house.text()?;
        let view = View::read(&pairs, &station_text);
        let case = house.case(&station_text, &view)?;
        let station = case.station()?;
        let root = folder(house);
        let held = house.desk.held()?;
        let judged = if held.measured.is_empty() && held.readings.is_empty() {
            None
        } else {
            Some(judge(station, &case.predicted, &held.measured, &held.readings))
        };
        let branches: Vec<&str> = station.receive.branches.iter().map(|b| b.name.as_str()).collect();
        let body = html! {
            h1 { "Recordings and readings" }
            (jobs(&held.jobs))
            @match &judged {
                Some(Ok(j)) => {
                    (ready(slantpath_report::page::section(&verdict_sheet(station, j), "v1")))
                    @if let Some(d) = where_they_disagree(station, &Conditions::default(), j, &held.measured, &held.readings) {
                        (ready(slantpath_report::page::section(&d, "v2")))
                    }
                    p { a href=(view.address("/")) { "See it on the chain sheet" } }
                },
                Some(Err(e)) => p.say.warn { (e.to_string()) },
                None => p { "Nothing is measured yet. What is measured here stands beside the prediction on the chain sheet." },
            }
            @if !held.measured.is_empty() || !held.readings.is_empty() {
                h2 { "On the sheet" }
                ul.held {
                    @for (k, m) in held.measured.iter().enumerate() {
                        li { (m.path.display()) @if let Some(b) = &m.branch { ", branch " (b) } (forget("measured", k)) }
                    }
                    @for (k, r) in held.readings.iter().enumerate() {
                        li {
                            (r.value.label) ": " (plus_minus(r.value.distribution.mean(), r.value.distribution.u())) " " (r.value.unit)
                            (forget("reading", k))
                        }
                    }
                }
            }
            @if !held.measured.is_empty() {
                form method="post" action="/recordings/keep" {
                    @if let Some(v) = &view.variant { input type="hidden" name="variant" value=(v); }
                    button { "Keep the recordings' figures in the station book" }
                }
                details {
                    summary { "What the recordings show" }
                    (ready(slantpath_report::page::section(&measure_sheet(station, &held.measured), "m1")))
                }
            }
            h2 { "Measure a recording" }
            form.entry method="post" action="/recordings/upload" enctype="multipart/form-data" {
                h3 { "From this computer" }
                (options(&branches))
                label.drop { "Drop a recording here, or choose it (SigMF: both files)"
                    input type="file" name="file" multiple required;
                }
                button { "Upload and measure" }
            }
            @let there = recordings(&root);
            @if !there.is_empty() {
                form.entry method="post" action="/recordings/measure" {
                    h3 { "Beside the station file" }
                    label { "Recording"
                        select name="path" required { @for p in &there { option value=(p) { (p) } } }
                    }
                    (options(&branches))
                    button { "Measure" }
                }
            }
            h2 { "Type a reading" }
            form.entry method="post" action="/recordings/reading" {
                div.fields {
                    label { "What"
                        select name="quantity" { @for q in ReadingQuantity::ALL { option value=(q.name()) { (q.name().replace('_', " ")) } } }
                    }
                    label { "Value with unit" input name="value" required placeholder="14.2 dB" maxlength="60"; }
                    label { "Standard uncertainty" input name="u" placeholder="0.3 dB" maxlength="60"; }
                    label { "Branch"
                        select name="branch" { option value="" { "" } @for b in &branches { option value=(b) { (b) } } }
                    }
                    label { "Passband"
                        select name="passband" { option value="" { "" } @for p in &station.satellite.passbands { option value=(p.name) { (p.name) } } }
                    }
                    label { "Beacon"
                        select name="beacon" {
                            option value="" { "" }
                            @for p in &station.satellite.passbands { @for b in &p.beacons { option value=(b.name) { (b.name) } } }
                        }
                    }
                    label { "Highest that the instrument can show" input name="ceiling" placeholder="20 dB" maxlength="60"; }
                }
                button { "Put it on the sheet" }
            }
        };
        Ok(page("Recordings", "/recordings", "", &body))
    })
    .await
}

pub(super) fn folder(house: &House) -> PathBuf {
    match house.path().parent() {
        Some(p) if !p.as_os_str().is_empty() => p.to_path_buf(),
        _ => Path::new(".").to_path_buf(),
    }
}

fn forget(kind: &str, k: usize) -> Markup {
    html! {
        form.inline method="post" action="/recordings/forget" {
            input type="hidden" name=(kind) value=(k);
            button.small { "Take off" }
        }
    }
}

fn jobs(all: &[Arc<crate::desk::Job>]) -> Markup {
    html! {
        @if let Some(j) = all.last() {
            section.job id="job" data-job=(j.id) aria-label="measurement" {
                @match j.state() {
                    JobState::Running(part, what) => {
                        p { b { (j.name) } ": " span id="job-what" { (what) } }
                        progress id="job-part" max="1" value=(format!("{part:.3}")) {}
                        form method="post" action="/recordings/stop" {
                            input type="hidden" name="id" value=(j.id);
                            button { "Stop" }
                        }
                        noscript { p { a href="/recordings" { "Look again" } } }
                    },
                    JobState::Done => p data-state="done" { b { (j.name) } ": measured" },
                    JobState::Stopped => p data-state="stopped" { b { (j.name) } ": stopped; nothing of it is on the sheet" },
                    JobState::Failed(why) => {
                        p data-state="failed" { b { (j.name) } ": not measured" }
                        pre { (why) }
                    },
                }
            }
        }
    }
}

fn options(branches: &[&str]) -> Markup {
    html! {
        div.fields {
            label { "Branch"
                select name="branch" { option value="" { "as the recording says" } @for b in branches { option value=(b) { (b) } } }
            }
            label { "Centre, MHz" input name="center" inputmode="decimal" maxlength="20" placeholder="as it says"; }
            label { "Rate, samples/s" input name="rate" inputmode="decimal" maxlength="20" placeholder="as it says"; }
            label { "Sample format of raw samples" input name="format" maxlength="12" placeholder="cu8, ci16, cf32"; }
            label { "Start (UTC)" input type="datetime-local" name="start"; }
        }
    }
}

fn how(pairs: &Pairs) -> Result<MeasureOptions, WorkflowError> {
    let mut open = OpenOptions::new();
    open.center_hz = number(pairs, "center")?.map(|m| m * 1e6);
    open.sample_rate_hz = number(pairs, "rate")?;
    open.start = super::form::moment(pairs, "start")?;
    open.format = some(pairs, "format")
        .map(|f| {
            f.parse::<SampleFormat>().map_err(|known| {
                WorkflowError::argument(
                    format!("`{f}` is not a sample format"),
                    format!("known are {known}"),
                )
            })
        })
        .transpose()?;
    Ok(MeasureOptions {
        open,
        branch: some(pairs, "branch"),
        lo_tolerance_hz: None,
    })
}

fn begin(
    house: &Arc<House>,
    path: PathBuf,
    name: String,
    options: MeasureOptions,
) -> Result<(), WorkflowError> {
    let station = house.text()?.load()?.station(None)?.clone();
    house.desk.measure(house, station, path, name, options)?;
    Ok(())
}

pub(super) async fn measure(
    State(house): State<Arc<House>>,
    Form(pairs): Form<Pairs>,
) -> Result<Redirect, Trouble> {
    let own = Arc::clone(&house);
    compute(&house, move |house| {
        let given = text(&pairs, "path");
        let path = confined(&folder(house), given)?;
        begin(&own, path, given.to_string(), how(&pairs)?)?;
        Ok(Redirect::to("/recordings"))
    })
    .await
}

fn bad(what: impl Into<String>, help: &str) -> Trouble {
    Trouble(WorkflowError::argument(what, help))
}

/// Takes an upload: texts first, then files, each written as it comes, never more than is allowed.
pub(super) async fn upload(
    State(house): State<Arc<House>>,
    mut form: Multipart,
) -> Result<Redirect, Trouble> {
    let folder = compute(&house, |house| house.desk.folder()).await?;
    let result = receive(&mut form, &folder).await;
    let (pairs, names) = match result {
        Ok(r) => r,
        Err(e) => {
            let _ = tokio::fs::remove_dir_all(&folder).await;
            return Err(e);
        }
    };
    // Of a pair the metadata name the recording.
    let chosen = names
        .iter()
        .find(|n| n.ends_with(".sigmf-meta"))
        .or_else(|| names.iter().find(|n| !n.ends_with(".sigmf-data")))
        .or(names.first())
        .cloned();
    let Some(name) = chosen else {
        return Err(bad("no file came", "choose a recording"));
    };
    let own = Arc::clone(&house);
    compute(&house, move |_| {
        begin(&own, folder.join(&name), name, how(&pairs)?)?;
        Ok(Redirect::to("/recordings"))
    })
    .await
}

async fn receive(form: &mut Multipart, folder: &Path) -> Result<(Pairs, Vec<String>), Trouble> {
    let broken = |e: axum::extract::multipart::MultipartError| {
        bad(
            format!("the upload broke off: {}", e.body_text()),
            "try again",
        )
    };
    let disk = |cause| {
        Trouble(WorkflowError::Machine {
            path: "uploaded recording".into(),
            cause,
        })
    };
    let (mut pairs, mut names, mut total) = (Vec::new(), Vec::<String>::new(), 0u64);
    while let Some(mut field) = form.next_field().await.map_err(broken)? {
        let key = field.name().unwrap_or_default().to_string();
        let Some(given) = field.file_name().map(str::to_string) else {
            let mut value = Vec::new();
            while let Some(part) = field.chunk().await.map_err(broken)? {
                value.extend_from_slice(&part);
                if value.len() > 400 || pairs.len() > 20 {
                    return Err(bad("the form is too long", "use the page's own form"));
                }
            }
            pairs.push((key, String::from_utf8_lossy(&value).into_owned()));
            continue;
        };
        let Some(name) = safe_name(&given) else {
            continue;
        };
        if names.len() >= MOST_FILES || names.contains(&name) {
            return Err(bad("too many files", "one recording at a time"));
        }
        let mut file = tokio::fs::File::create_new(folder.join(&name))
            .await
            .map_err(disk)?;
        while let Some(part) = field.chunk().await.map_err(broken)? {
            total += part.len() as u64;
            if total > MOST_BYTES {
                return Err(bad(
                    format!("more than {} GiB", MOST_BYTES >> 30),
                    "put the recording beside the station file and choose it there",
                ));
            }
            file.write_all(&part).await.map_err(disk)?;
        }
        file.flush().await.map_err(disk)?;
        names.push(name);
    }
    Ok((pairs, names))
}

/// How the latest job stands, for the page's script.
pub(super) async fn job(State(house): State<Arc<House>>) -> Result<Response, Trouble> {
    let state = house.desk.held()?.jobs.last().map(|j| (j.id, j.state()));
    let out = match state {
        None => json!({ "state": "none" }),
        Some((id, JobState::Running(part, what))) => {
            json!({ "id": id, "state": "running", "part": part, "what": what })
        }
        Some((id, JobState::Done)) => json!({ "id": id, "state": "done" }),
        Some((id, JobState::Stopped)) => json!({ "id": id, "state": "stopped" }),
        Some((id, JobState::Failed(why))) => json!({ "id": id, "state": "failed", "what": why }),
    };
    Ok((
        [(header::CONTENT_TYPE, "application/json")],
        out.to_string(),
    )
        .into_response())
}

pub(super) async fn stop(
    State(house): State<Arc<House>>,
    Form(pairs): Form<Pairs>,
) -> Result<Redirect, Trouble> {
    let id: u64 = text(&pairs, "id").parse().unwrap_or_default();
    if let Some(j) = house.desk.held()?.jobs.iter().find(|j| j.id == id) {
        j.stop();
    }
    Ok(Redirect::to("/recordings"))
}

pub(super) async fn forget_one(
    State(house): State<Arc<House>>,
    Form(pairs): Form<Pairs>,
) -> Result<Redirect, Trouble> {
    let place = |name: &str| text(&pairs, name).parse::<usize>().ok();
    let mut held = house.desk.held()?;
    if let Some(k) = place("measured").filter(|k| *k < held.measured.len()) {
        held.measured.remove(k);
    }
    if let Some(k) = place("reading").filter(|k| *k < held.readings.len()) {
        held.readings.remove(k);
    }
    drop(held);
    Ok(Redirect::to("/recordings"))
}

pub(super) async fn keep(
    State(house): State<Arc<House>>,
    Form(pairs): Form<Pairs>,
) -> Result<Redirect, Trouble> {
    compute(&house, move |house| {
        let loaded = house.text()?.load()?;
        let variant = some(&pairs, "variant");
        let station = loaded.station(variant.as_deref())?;
        let now = jiff::Timestamp::now();
        let (mut b, _) = book::open(house.book(), now)?;
        let held = house.desk.held()?;
        keep_measured(
            &mut b,
            station,
            &held.measured,
            &loaded.inputs,
            "slantpath serve",
            now,
            &Progress::silent(),
        )?;
        Ok(Redirect::to("/book"))
    })
    .await
}

pub(super) async fn reading(
    State(house): State<Arc<House>>,
    Form(pairs): Form<Pairs>,
) -> Result<Redirect, Trouble> {
    compute(&house, move |house| {
        let loaded = house.text()?.load()?;
        let station = loaded.station(None)?;
        let fields: Vec<(&str, &str)> = [
            "quantity", "value", "u", "branch", "passband", "beacon", "ceiling",
        ]
        .into_iter()
        .map(|n| (n, text(&pairs, n)))
        .collect();
        house.desk.reading(station, &fields)?;
        Ok(Redirect::to("/recordings"))
    })
    .await
}
