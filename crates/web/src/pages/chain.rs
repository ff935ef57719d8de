//! The chain sheet: the whole station from sky to sample and back, what each part is, and what if it were otherwise.

use super::drawings::{beside, solving};
use crate::house::{Case, House};
use crate::layout::{Trouble, compute, page};
use crate::view::View;
use axum::extract::{Form, Query, State};
use axum::http::header;
use axum::response::{Html, IntoResponse, Redirect, Response};
use maud::{Markup, html};
use serde_json::json;
use slantpath_link::Group;
use slantpath_quantity::{Answer, Estimate, Unit, show};
use slantpath_report::figure::Stage;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::page::{chain_sheet, ledgers};
use slantpath_workflow::verdict::judge;
use slantpath_workflow::whatif::{StationText, belongs, change};
use std::sync::Arc;

pub(super) async fn show(
    State(house): State<Arc<House>>,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Result<Html<String>, Trouble> {
    let own = Arc::clone(&house);
    compute(&house, move |_| {
        let text = own.text()?;
        let view = View::read(&pairs, &text);
        sheet_page(&own, &text, &view)
    })
    .await
}

/// Whether what a page waits for is there, for its script.
pub(super) async fn solved(
    State(house): State<Arc<House>>,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Result<Response, Trouble> {
    let text = house.text()?;
    let view = View::read(&pairs, &text);
    let waits = house.pending(&text, &view) || house.drawing_now(&text, &view);
    let out = json!({ "solved": !waits }).to_string();
    Ok(([(header::CONTENT_TYPE, "application/json")], out).into_response())
}

/// Keeps the changes of the view as a variant in the file: the only place where a page writes to it.
pub(super) async fn save(
    State(house): State<Arc<House>>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> Result<Redirect, Trouble> {
    compute(&house, move |house| {
        let text = house.text()?;
        let view = View::read(&pairs, &text);
        let field = |n: &str| {
            pairs
                .iter()
                .find(|(k, _)| k == n)
                .map(|(_, v)| v.trim())
                .unwrap_or_default()
        };
        if field("digest") != text.digest {
            return Err(WorkflowError::argument(
                "the station file has changed since this page was made; nothing was written",
                "go back, load the page again and repeat the change",
            ));
        }
        let name = field("name");
        text.save_variant(view.variant.as_deref(), name, &view.edits)?;
        let kept = View {
            variant: Some(name.to_string()),
            edits: Vec::new(),
            ..view
        };
        Ok(Redirect::to(&kept.address("/")))
    })
    .await
}

fn sheet_page(
    house: &Arc<House>,
    text: &StationText,
    view: &View,
) -> Result<Html<String>, WorkflowError> {
    // The file must be right; a change need not be: then the file's own sheet stands under the mistake.
    let file_view = view.without_edits();
    let file = house.quick(text, &file_view)?;
    let (now, trouble) = match house.quick(text, view) {
        Ok(c) => (c, None),
        Err(e) => (Arc::clone(&file), Some(Trouble(e))),
    };
    // A variant is shown against the base, a change against the file.
    let against = if view.edits.is_empty() && view.variant.is_some() {
        house.quick(text, &View::default())?
    } else {
        Arc::clone(&file)
    };
    let station = now.station()?;
    let branches: Vec<&str> = station
        .receive
        .branches
        .iter()
        .map(|b| b.name.as_str())
        .collect();
    let branch = view
        .branch
        .as_deref()
        .filter(|b| branches.contains(b))
        .or(branches.first().copied());
    let judged = {
        let held = house.desk.held()?;
        (!held.measured.is_empty() || !held.readings.is_empty())
            .then(|| judge(station, &now.predicted, &held.measured, &held.readings).ok())
            .flatten()
    };
    let chain = chain_sheet(station, &now.predicted, judged.as_ref(), branch);
    let before = (!Arc::ptr_eq(&now, &against))
        .then(|| Ok::<_, WorkflowError>(ledgers(against.station()?, &against.predicted, branch)))
        .transpose()?;
    let stages = Stages {
        now: &now,
        against: &against,
        view,
    };
    let body = html! {
        h1 { (station.name) }
        (controls(view, &now.loaded.file.variant_names(), &branches, branch))
        @if let Some(t) = &trouble { (t.markup()) }
        @if !view.edits.is_empty() { (changes(text, view, trouble.is_some())) }
        (solving(&view.address("/solved"), &now))
        section aria-labelledby="chain-title" {
            h2 id="chain-title" { "The chain, sky to sample and back" }
            p.quiet {
                "Under each part: predicted, and the change against "
                (if view.edits.is_empty() && view.variant.is_some() { "the base" } else { "the file" })
                ". Choose a part to see what it is and what if it were otherwise."
            }
            (stages.row("Receive", "sky", "sample", &chain.receive))
            (stages.row("Transmit", "sample", "sky", &chain.transmit))
        }
        @if let Some(place) = &view.part {
            (part_panel(house, text, view, &now, &against, place, branch)?)
        }
        section aria-labelledby="ledger-title" {
            h2 id="ledger-title" { "Noise ledger" }
            (beside(&ledgers(station, &now.predicted, branch), before.as_deref()))
            p {
                "Drawn as well: "
                @for (k, (to, name)) in [("dish", "dish and feed"), ("budget", "budgets"), ("spectrum", "spectrum and carriers"), ("trial", "swap trial"), ("drive", "drive and heat")].iter().enumerate() {
                    @if k > 0 { ", " }
                    a href=(view.with_part(None).address(&format!("/drawings/{to}"))) { (name) }
                }
                ", " a href=(view.with_part(None).address("/sky")) { "sky" } "."
            }
        }
        p.say.warn {
            "Transmitting: the space between feed and dish is the worst place to be. Keep people and eyes out of the beam and \
             away from the feed, and follow your licence and your local rules on exposure."
        }
    };
    Ok(page(
        &station.name,
        "/",
        &view.with_part(None).address(""),
        &body,
    ))
}

fn controls(view: &View, variants: &[&str], branches: &[&str], branch: Option<&str>) -> Markup {
    html! {
        form.view method="get" action="/" data-live {
            label { "Station as "
                select name="variant" {
                    option value="" selected[view.variant.is_none()] { "in the file" }
                    @for v in variants.iter().filter(|v| **v != slantpath_workflow::whatif::UNSAVED) {
                        option value=(v) selected[view.variant.as_deref() == Some(*v)] { (v) }
                    }
                }
            }
            label { "Branch "
                select name="branch" {
                    @for b in branches {
                        option value=(b) selected[branch == Some(*b)] { (b) }
                    }
                }
            }
            @for e in &view.edits { input type="hidden" name=(e.place) value=(e.text); }
            @if let Some(p) = &view.part { input type="hidden" name="part" value=(p); }
            button { "Show" }
        }
    }
}

/// What is changed against the file, the way back, and the way to keep it.
fn changes(text: &StationText, view: &View, broken: bool) -> Markup {
    html! {
        section.say aria-label="changes" {
            h2 { "Changed here, not in the file" }
            ul {
                @for e in &view.edits {
                    li {
                        code { (e.place) } ": "
                        (text.written(view.variant.as_deref(), &e.place).unwrap_or_else(|| "not written".into()))
                        " → " b { (e.text) }
                    }
                }
            }
            p { a href=(view.without_edits().address("/")) { "Back to the file" } }
            @if !broken {
                form method="post" action="/variant" {
                    input type="hidden" name="digest" value=(text.digest);
                    @if let Some(v) = &view.variant { input type="hidden" name="variant" value=(v); }
                    @if let Some(b) = &view.branch { input type="hidden" name="branch" value=(b); }
                    @for e in &view.edits { input type="hidden" name=(e.place) value=(e.text); }
                    label { "Keep it in the file as variant "
                        input name="name" required pattern="[a-z0-9\\-]+" maxlength="40" autocomplete="off" placeholder="better-lnb";
                    }
                    button { "Keep" }
                    p.quiet { "Adds the variant at the end of the station file. Everything that stands there stays as it is." }
                }
            }
        }
    }
}

struct Stages<'a> {
    now: &'a Case,
    against: &'a Case,
    view: &'a View,
}

impl Stages<'_> {
    fn row(&self, heading: &str, from: &str, to: &str, stages: &[Stage]) -> Markup {
        html! {
            @if !stages.is_empty() {
                h3 { (heading) }
                ol.chain {
                    li.end { (from) }
                    @for s in stages { (self.stage(s)) }
                    li.end { (to) }
                }
            }
        }
    }

    fn stage(&self, s: &Stage) -> Markup {
        let open = s.place.is_some() && s.place == self.view.part;
        let moved = s.measurand.as_deref().and_then(|id| {
            let (a, b) = (
                self.against.predicted.prediction.answer(id)?,
                self.now.predicted.prediction.answer(id)?,
            );
            Some((change(a, b)?, b.unit))
        });
        html! {
            li.part.open[open] {
                h4 {
                    @match &s.place {
                        Some(place) => {
                            @let to = self.view.with_part((!open).then_some(place.as_str())).address("/");
                            a href=(format!("{to}#part")) aria-expanded=(open) { (s.name) }
                        },
                        None => { (s.name) },
                    }
                }
                p { (s.what) }
                dl {
                    dt { "predicted" }
                    dd.predicted { (s.predicted.as_deref().map_or("–".into(), minus)) }
                    @if let Some(m) = &s.measured { dt { "measured" } dd.measured { (minus(m)) } }
                    @if let Some(d) = &s.disagreement { dt { "disagreement" } dd.disagreement { (minus(d)) } }
                    @if let Some((d, unit)) = moved.filter(|(d, _)| worth_saying(d)) {
                        dt { "change" }
                        dd.disagreement { (signed(&d, unit)) }
                    }
                }
            }
        }
    }
}

/// A change that is more than what the draws of two runs leave.
pub(super) fn worth_saying(d: &Estimate) -> bool {
    d.u > 1e-6 || d.value.abs() > 1e-3
}

/// An answer's value with its uncertainty and unit.
pub(super) fn written(a: &Answer) -> String {
    match a.estimate() {
        None => "undetermined".into(),
        Some(e) => {
            let (v, u) = show::value_and_u(e.value, e.u);
            let v = minus(&v);
            if e.u > 0.0 {
                format!("{v} ± {u} {}", a.unit)
            } else {
                format!("{v} {}", a.unit)
            }
        }
    }
}

/// A minus sign is no hyphen.
fn minus(text: &str) -> String {
    match text.strip_prefix('-') {
        Some(rest) => format!("\u{2212}{rest}"),
        None => text.to_string(),
    }
}

pub(super) fn signed(d: &Estimate, unit: Unit) -> String {
    let (v, u) = show::value_and_u(d.value, d.u);
    let v = minus(&v);
    let lead = if d.value > 0.0 { "+" } else { "" };
    if d.u > 0.0 {
        format!("{lead}{v} ± {u} {unit}")
    } else {
        format!("{lead}{v} {unit}")
    }
}

/// What the part is, its share, what it costs, and the fields in which to change it.
fn part_panel(
    house: &Arc<House>,
    text: &StationText,
    view: &View,
    now: &Case,
    against: &Case,
    place: &str,
    branch: Option<&str>,
) -> Result<Markup, WorkflowError> {
    let variant = view.variant.as_deref();
    let mut tables = vec![(place.to_string(), text.values_of(variant, place))];
    for inner in ["receive", "transmit"] {
        if place.starts_with("feed.") {
            let table = format!("{place}.{inner}");
            let values = text.values_of(variant, &table);
            tables.push((table, values));
        }
    }
    tables.retain(|(_, v)| !v.is_empty());
    if tables.is_empty() {
        return Ok(html! {
            section.panel id="part" { p { "The file has nothing at " code { (place) } "." } }
        });
    }
    let typed = |at: &str| {
        view.edits
            .iter()
            .find(|e| e.place == at)
            .map(|e| e.text.clone())
    };
    Ok(html! {
        section.panel id="part" aria-labelledby="part-title" {
            h2 id="part-title" { code { (place) } }
            (share(now, place, branch))
            (costs(now, place, branch))
            (alternatives(house, text, against, place, branch)?)
            h3 { "What if" }
            form.whatif method="get" action="/" data-live {
                @if let Some(v) = variant { input type="hidden" name="variant" value=(v); }
                @if let Some(b) = &view.branch { input type="hidden" name="branch" value=(b); }
                input type="hidden" name="part" value=(place);
                @for e in view.edits.iter().filter(|e| !tables.iter().any(|(t, v)| v.iter().any(|(k, _)| e.place == format!("{t}.{k}")))) {
                    input type="hidden" name=(e.place) value=(e.text);
                }
                @for (table, values) in &tables {
                    fieldset {
                        legend { code { "[" (table) "]" } }
                        @for (key, written) in values {
                            @let at = format!("{table}.{key}");
                            label {
                                span { (key.replace('_', " ")) }
                                input name=(at) value=(typed(&at).unwrap_or_else(|| written.clone())) maxlength="200" autocomplete="off" spellcheck="false";
                            }
                        }
                    }
                }
                button { "Show what if" }
                p.quiet { "Values as in the file: number, unit, and ± for a standard uncertainty. The file is not touched." }
            }
            p { a href=(view.with_part(None).address("/")) { "Close" } }
        }
    })
}

/// The part's own line of the noise ledger, or of the uplink.
fn share(now: &Case, place: &str, branch: Option<&str>) -> Markup {
    let name = place.rsplit('.').next().unwrap_or(place);
    let p = &now.predicted.prediction;
    let lines: Vec<(f64, &str, Option<&str>, String)> = p
        .group(Group::Ledger)
        .filter(|(m, _)| m.branch.as_deref() == branch && !m.id.contains(".satellite@"))
        .filter_map(|(m, a)| {
            let k = a.estimate()?.value;
            Some((k, m.label.as_str(), m.passband.as_deref(), m.id.clone()))
        })
        .collect();
    let of = |passband: Option<&str>| -> f64 {
        lines.iter().filter(|l| l.2 == passband).map(|l| l.0).sum()
    };
    let own: Vec<_> = lines
        .iter()
        .filter(|l| match place.split_once('.') {
            Some(("part", _)) => l.3.contains(&format!(".rx.{name}@")),
            Some(("feed", _)) => {
                [".shadow@", ".cover@", ".ohmic@", ".blockage@"]
                    .iter()
                    .any(|k| l.3.contains(k))
                    || l.3.contains(".ledger.back@")
            }
            _ => place == "reflector" && l.3.contains(".spill-"),
        })
        .filter(|l| l.0.abs() > 0.005)
        .collect();
    html! {
        @if !own.is_empty() {
            h3 { "Its share of the station's noise" }
            ul {
                @for (k, label, passband, _) in own {
                    @let total = of(*passband);
                    li {
                        (passband.unwrap_or_default()) ": " (label) ", " (show::significant(*k, 2)) " K, "
                        (show::significant(100.0 * k / total, 2)) " % of " (show::significant(total, 3)) " K"
                    }
                }
            }
        }
    }
}

/// What one unit more of each of the part's values would do.
fn costs(now: &Case, place: &str, branch: Option<&str>) -> Markup {
    let p = &now.predicted.prediction;
    let wanted = p.measurands.iter().enumerate().filter(|(_, m)| {
        (m.group == Group::Measurand)
            && (m.branch.as_deref() == branch || m.branch.is_none())
            && (m.id.contains(".g_over_t@") || m.id.ends_with(".own.eirp"))
    });
    let mut rows = Vec::new();
    for (k, m) in wanted {
        let Some(row) = p.sensitivity.get(k) else {
            continue;
        };
        for (s, c) in row.iter().zip(&p.contributors) {
            let u = c.distribution.u();
            if belongs(&c.id, place) && (s * u).abs() > 0.005 {
                rows.push((
                    (s * u).abs(),
                    format!(
                        "{}{}: {} moves by {} {} within what is known of it",
                        m.passband
                            .as_deref()
                            .map_or(String::new(), |p| format!("{p}: ")),
                        c.label,
                        m.label,
                        show::significant((s * u).abs(), 2),
                        m.unit
                    ),
                ));
            }
        }
    }
    rows.sort_by(|a, b| b.0.total_cmp(&a.0));
    html! {
        @if !rows.is_empty() {
            h3 { "What it may cost or gain" }
            ul { @for (_, t) in rows.iter().take(6) { li { (t) } } }
        }
    }
}

/// Variants of the file that change this part, with what they bring.
fn alternatives(
    house: &Arc<House>,
    text: &StationText,
    against: &Case,
    place: &str,
    branch: Option<&str>,
) -> Result<Markup, WorkflowError> {
    let mut rows = Vec::new();
    for v in against.loaded.file.variant_names() {
        let touches = !text.values_of(Some(v), place).is_empty()
            && text.values_of(Some(v), place) != text.values_of(None, place)
            || place.starts_with("feed.")
                && text.written(Some(v), "use_feed") != text.written(None, "use_feed");
        if !touches || v == slantpath_workflow::whatif::UNSAVED {
            continue;
        }
        let to = View {
            variant: Some(v.to_string()),
            branch: branch.map(str::to_string),
            ..View::default()
        };
        let case = house.quick(text, &to)?;
        let mut said = Vec::new();
        for (m, a) in case.predicted.prediction.group(Group::Measurand) {
            let shown = (m.branch.as_deref() == branch && m.id.contains(".g_over_t@"))
                || m.id.ends_with(".own.eirp");
            if let Some(before) = against.predicted.prediction.answer(&m.id).filter(|_| shown)
                && let Some(d) = change(before, a)
            {
                said.push(format!(
                    "{} {}: {}",
                    m.passband.as_deref().unwrap_or_default(),
                    m.label,
                    signed(&d, m.unit)
                ));
            }
        }
        if case.nearby.is_some() {
            said = vec!["being solved: open it to see".into()];
        }
        rows.push((v.to_string(), to.address("/"), said.join("; ")));
    }
    Ok(html! {
        @if !rows.is_empty() {
            h3 { "Alternatives in the file" }
            ul { @for (name, to, said) in rows { li { a href=(to) { (name) } ": " (said) } } }
        }
    })
}
