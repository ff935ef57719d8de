//! Everything that can be drawn of the station as looked at, beside the file's own drawing where a change moved it.

use super::form::Pairs;
use crate::house::{Case, House};
use crate::layout::{Trouble, compute, page, ready};
use crate::view::View;
use axum::extract::{Path, Query, State};
use axum::response::Html;
use maud::{Markup, html};
use slantpath_link::Group;
use slantpath_quantity::Unit;
use slantpath_report::{Figure, Section};
use slantpath_station::Station;
use slantpath_stats::Progress;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::compare::{Role, Trial, compare, compare_sheet, options_of};
use slantpath_workflow::drive::{DriveOptions, drive_sheet};
use slantpath_workflow::measure::{Measured, measure_sheet};
use slantpath_workflow::page::{ledgers, spectrum, trial};
use slantpath_workflow::predict::Predicted;
use slantpath_workflow::verdict::judge;
use slantpath_workflow::whatif::{StationText, change};
use std::sync::Arc;

/// Kinds of drawings: address, name.
const KINDS: [(&str, &str); 6] = [
    ("dish", "Dish and feed"),
    ("noise", "Noise"),
    ("budget", "Budgets"),
    ("spectrum", "Spectrum and carriers"),
    ("trial", "Swap trial"),
    ("drive", "Drive and heat"),
];

/// What a page of drawings is about.
struct Looked<'a> {
    house: &'a Arc<House>,
    text: &'a StationText,
    view: &'a View,
    pairs: &'a Pairs,
    now: Arc<Case>,
    /// What it is compared with, when it is something else.
    before: Option<Arc<Case>>,
    branch: Option<String>,
}

pub(super) async fn first(
    house: State<Arc<House>>,
    query: Query<Pairs>,
) -> Result<Html<String>, Trouble> {
    show(house, Path("dish".to_string()), query).await
}

pub(super) async fn show(
    State(house): State<Arc<House>>,
    Path(kind): Path<String>,
    Query(pairs): Query<Pairs>,
) -> Result<Html<String>, Trouble> {
    let own = Arc::clone(&house);
    compute(&house, move |_| {
        let text = own.text()?;
        let view = View::read(&pairs, &text);
        let now = own.quick(&text, &view)?;
        let changed = !view.edits.is_empty() || view.variant.is_some();
        let before = changed
            .then(|| {
                let other = if view.edits.is_empty() {
                    View::default()
                } else {
                    view.without_edits()
                };
                own.quick(&text, &other)
            })
            .transpose()?;
        let station = now.station()?;
        let branch = view
            .branch
            .clone()
            .filter(|b| station.receive.branch(b).is_some())
            .or_else(|| station.receive.branches.first().map(|b| b.name.clone()));
        let name = station.name.clone();
        let looked = Looked {
            house: &own,
            text: &text,
            view: &view,
            pairs: &pairs,
            now: Arc::clone(&now),
            before,
            branch,
        };
        let Some((_, title)) = KINDS.iter().find(|k| k.0 == kind) else {
            return Err(WorkflowError::argument(
                format!("there are no drawings called `{kind}`"),
                "choose one of the list",
            ));
        };
        let drawn = match kind.as_str() {
            "dish" => looked.dish()?,
            "noise" => looked.noise()?,
            "budget" => looked.budget()?,
            "spectrum" => looked.spectrum()?,
            "trial" => looked.trial()?,
            _ => looked.drive()?,
        };
        let body = html! {
            h1 { (title) }
            p.quiet { (name) ": " (looked.said()) }
            (looked.tabs(&kind))
            (solving(&looked.view.address("/solved"), &now))
            (drawn)
            p.quiet { "Choose a drawing and go through its values with the arrow keys, or point at it." }
        };
        Ok(page(title, "/drawings", &view.with_part(None).address(""), &body))
    })
    .await
}

/// Says that dish, feed or air are being solved, and of what a neighbour's answer stands here meanwhile.
pub(super) fn solving(address: &str, case: &Case) -> Markup {
    html! {
        @if let Some(followed) = &case.nearby {
            section.say.nearby aria-label="being solved" data-solving=(address) {
                h2 { "Near, not solved yet" }
                p {
                    "Dish, feed and air are being solved for this change. Until then these figures come from the nearest solved station"
                    @if followed.is_empty() { ", which does not follow the change: dish and feed stand as there." }
                    @else { ", moved along its parabolas in: " (followed.join(", ")) "." }
                    " They are exchanged for the solved ones by themselves."
                }
                noscript { p { a href="" { "Look again" } } }
            }
        }
    }
}

impl Looked<'_> {
    fn said(&self) -> String {
        match (&self.view.variant, self.view.edits.len()) {
            (None, 0) => "as in the file".into(),
            (Some(v), 0) => format!("variant {v}, beside the base"),
            (v, n) => format!(
                "{n} value{} changed against {}",
                if n == 1 { "" } else { "s" },
                v.as_ref()
                    .map_or("the file".to_string(), |v| format!("variant {v}"))
            ),
        }
    }

    fn tabs(&self, here: &str) -> Markup {
        let view = self.view.with_part(None);
        html! {
            ul.tabs {
                @for (to, name) in KINDS {
                    li { @if to == here { b aria-current="page" { (name) } } @else { a href=(view.address(&format!("/drawings/{to}"))) { (name) } } }
                }
                li { a href=(view.address("/sky")) { "Sky" } }
                li { a href=(view.address("/")) { "Back to the chain" } }
            }
        }
    }

    fn dish(&self) -> Result<Markup, WorkflowError> {
        let wait = |view: &View| {
            html! {
                section.say aria-label="being drawn" data-solving=(view.address("/solved")) {
                    p { "The drawings are being made: a feed by its dimensions takes some seconds the first time." }
                    noscript { p { a href="" { "Look again" } } }
                }
            }
        };
        if self.now.nearby.is_some() {
            return Ok(html! { p { "Dish and feed are drawn once they are solved." } });
        }
        let failed = |why: String| WorkflowError::argument(why, "change the dish or the feed");
        let Some(now) = self.house.drawn(self.text, self.view, &self.now) else {
            return Ok(wait(self.view));
        };
        let now = now.map_err(failed)?;
        let before = match &self.before {
            Some(case) if case.nearby.is_none() => {
                let other = if self.view.edits.is_empty() {
                    View::default()
                } else {
                    self.view.without_edits()
                };
                match self.house.drawn(self.text, &other, case) {
                    Some(b) => Some(b.map_err(failed)?),
                    None => return Ok(wait(&other)),
                }
            }
            _ => None,
        };
        Ok(beside(&now, before.as_ref().map(|b| b.as_slice())))
    }

    fn noise(&self) -> Result<Markup, WorkflowError> {
        let of = |case: &Case| -> Result<Vec<Figure>, WorkflowError> {
            Ok(ledgers(
                case.station()?,
                &case.predicted,
                self.branch.as_deref(),
            ))
        };
        let before = self.before.as_deref().map(of).transpose()?;
        Ok(html! {
            (beside(&of(&self.now)?, before.as_deref()))
            (self.table(&[Group::Ledger]))
        })
    }

    fn budget(&self) -> Result<Markup, WorkflowError> {
        Ok(self.table(&[
            Group::Downlink,
            Group::Measurand,
            Group::Level,
            Group::Uplink,
        ]))
    }

    /// Every line of these groups with its change.
    fn table(&self, groups: &[Group]) -> Markup {
        let p: &Predicted = &self.now.predicted;
        let was = self.before.as_deref().map(|c| &c.predicted.prediction);
        let heading = |g: Group| match g {
            Group::Downlink => "Downlink",
            Group::Measurand => "What a measurement should show",
            Group::Level => "Levels",
            Group::Uplink => "Uplink",
            Group::Ledger => "Noise ledger, at the LNB's input",
        };
        let of = |g: Group| {
            p.prediction
                .group(g)
                .filter(|(m, _)| m.branch.is_none() || m.branch == self.branch)
                .map(|(m, a)| {
                    let moved = was.and_then(|w| change(w.answer(&m.id)?, a));
                    let said = moved
                        .as_ref()
                        .filter(|d| super::chain::worth_saying(d))
                        .map(|d| super::chain::signed(d, between(m.unit)));
                    let label = match &m.passband {
                        Some(p) => format!("{p}: {}", m.label),
                        None => m.label.clone(),
                    };
                    (label, super::chain::written(a), said)
                })
                .collect::<Vec<_>>()
        };
        html! {
            @for g in groups {
                @let rows = of(*g);
                @if !rows.is_empty() {
                    h2 { (heading(*g)) }
                    div.scroll { table.budget {
                        thead { tr { th scope="col" { "quantity" } th scope="col" { "value" } @if was.is_some() { th scope="col" { "change" } } } }
                        tbody {
                            @for (label, value, moved) in rows {
                                tr {
                                    th scope="row" { (label) }
                                    td.n { (value) }
                                    @if was.is_some() { td.n { (moved.as_deref().unwrap_or("–")) } }
                                }
                            }
                        }
                    } }
                }
            }
        }
    }

    fn spectrum(&self) -> Result<Markup, WorkflowError> {
        let held = self.house.desk.held()?;
        if held.measured.is_empty() {
            return Ok(
                html! { p { "No recording is measured yet: " a href="/recordings" { "measure one" } "." } },
            );
        }
        let mut figures: Vec<Figure> = held
            .measured
            .iter()
            .enumerate()
            .map(|(i, m)| spectrum(i, m))
            .collect();
        figures.extend(measure_sheet(self.now.station()?, &held.measured).figures);
        let judged = |case: &Case| {
            let j = judge(
                case.station().ok()?,
                &case.predicted,
                &held.measured,
                &held.readings,
            )
            .ok()?;
            Some(vec![slantpath_workflow::page::side_by_side(&j)])
        };
        let (now, before) = (judged(&self.now), self.before.as_deref().and_then(judged));
        Ok(html! {
            (beside(&figures, None))
            @if let Some(now) = now {
                h2 { "Beside the prediction" }
                (beside(&now, before.as_deref()))
            }
        })
    }

    /// Sides stand in the address: `side0=A`.
    fn trial(&self) -> Result<Markup, WorkflowError> {
        let held = self.house.desk.held()?;
        let station: &Station = self.now.station()?;
        let said = |k: usize| super::form::text(self.pairs, &format!("side{k}")).to_string();
        let recordings: Vec<(Option<Role>, Measured)> = held
            .measured
            .iter()
            .enumerate()
            .map(|(k, m)| {
                let side = said(k);
                let role = slantpath_workflow::compare::role_of(
                    Some(side.as_str()).filter(|s| !s.is_empty()),
                    false,
                    ["A", "B"],
                );
                let copy = Measured {
                    path: m.path.clone(),
                    branch: m.branch.clone(),
                    measurement: m.measurement.clone(),
                    wideband: m.wideband.clone(),
                };
                (role, copy)
            })
            .collect();
        let readings = held.readings.clone();
        let names: Vec<String> = held
            .measured
            .iter()
            .map(|m| m.path.display().to_string())
            .collect();
        drop(held);
        let result = (recordings.len() + readings.len() > 1).then(|| {
            let t = Trial {
                station,
                recordings: &recordings,
                readings: &readings,
                sides: ["A", "B"],
                measurand: None,
            };
            compare(&t, &options_of(station))
        });
        Ok(html! {
            p { "A swap trial compares recordings of two sides, in turn. Say which recording belongs to which side; metadata that say so count where nothing is chosen." }
            @if names.is_empty() {
                p { "No recording is measured yet: " a href="/recordings" { "measure some" } "." }
            } @else {
                form.view method="get" action="/drawings/trial" {
                    @if let Some(v) = &self.view.variant { input type="hidden" name="variant" value=(v); }
                    @for e in &self.view.edits { input type="hidden" name=(e.place) value=(e.text); }
                    @for (k, name) in names.iter().enumerate() {
                        label { (name) " "
                            select name=(format!("side{k}")) {
                                @for (value, text) in [("", "as it says"), ("A", "A"), ("B", "B"), ("control", "control")] {
                                    option value=(value) selected[said(k) == value] { (text) }
                                }
                            }
                        }
                    }
                    button { "Compare" }
                }
            }
            @match result {
                Some(Ok(c)) => {
                    @let figures: Vec<Figure> = c.compared.iter().enumerate().map(|(i, c)| trial(i, c)).collect();
                    (beside(&figures, None))
                    (ready(slantpath_report::page::section(&compare_sheet(&c), "t1")))
                },
                Some(Err(e)) => p.say { (e.to_string()) },
                None => p.quiet { "A trial needs recordings of both sides; " code { "slantpath plan trial" } " says how many." },
            }
        })
    }

    fn drive(&self) -> Result<Markup, WorkflowError> {
        let of = |case: &Case| -> Result<_, WorkflowError> {
            drive_sheet(
                case.station()?,
                &case.predicted,
                &DriveOptions::default(),
                &Progress::silent(),
            )
        };
        if self.now.station()?.transmit.is_none() {
            return Ok(
                html! { p { "The station does not transmit: its file has no " code { "[transmit]" } "." } },
            );
        }
        let mut sheet = of(&self.now)?;
        let figures = std::mem::take(&mut sheet.figures);
        let before = self.before.as_deref().map(of).transpose()?;
        let moved = before
            .as_ref()
            .map(|b| differing(&sheet.sections, &b.sections));
        Ok(html! {
            (beside(&figures, before.as_ref().map(|b| b.figures.as_slice())))
            @if let Some(rows) = moved.filter(|r| !r.is_empty()) {
                h2 { "What the change moves" }
                div.scroll { table.budget {
                    thead { tr { th scope="col" { "quantity" } th scope="col" { "in the file" } th scope="col" { "as changed" } } }
                    tbody { @for (label, a, b) in rows { tr { th scope="row" { (label) } td.n { (a) } td.n { (b) } } } }
                } }
            }
            (ready(slantpath_report::page::section(&sheet, "d1")))
        })
    }
}

/// Answers that stand otherwise in two sheets, as written.
fn differing(now: &[Section], before: &[Section]) -> Vec<(String, String, String)> {
    let all = |s: &[Section]| -> Vec<(String, String, String)> {
        s.iter()
            .flat_map(|s| &s.answers)
            .map(|a| {
                (
                    a.measurand.clone(),
                    a.label.clone(),
                    super::chain::written(a),
                )
            })
            .collect()
    };
    let was = all(before);
    all(now)
        .into_iter()
        .filter_map(|(id, label, value)| {
            let old = was.iter().find(|w| w.0 == id)?;
            let passband = id.split('.').next().unwrap_or_default();
            (old.2 != value).then(|| (format!("{passband}: {label}"), old.2.clone(), value))
        })
        .collect()
}

/// Two levels on one reference differ by plain decibels.
fn between(unit: Unit) -> Unit {
    if unit.symbol().starts_with("dB") {
        Unit::Db
    } else {
        unit
    }
}

/// Figures; one that a change has moved stands beside what it was.
pub(super) fn beside(now: &[Figure], before: Option<&[Figure]>) -> Markup {
    let was = |f: &Figure| before?.iter().find(|b| b.key == f.key && b.svg != f.svg);
    html! {
        div.drawings {
            @for f in now {
                @match was(f) {
                    None => (ready(slantpath_report::page::figure(f))),
                    Some(old) => {
                        div.now { p.side { "as changed" } (ready(slantpath_report::page::figure(f))) }
                        div.was { p.side { "before the change" } (ready(slantpath_report::page::figure(old))) }
                    },
                }
            }
        }
    }
}
