//! The acceptance sheet: limits before measuring, and afterwards what passed.

mod checks;

use super::number;
use crate::WorkflowError;
use crate::measure::{Measured, usable};
use crate::predict::Predicted;
use crate::routes::Sources;
use crate::verdict::{LEAST_READING_U_DB, predicted_id};
use checks::{Check, checks};
use slantpath_plan::acceptance::{K, Mark, Means, SURE, schedule};
use slantpath_quantity::{Estimate, Unit, show};
use slantpath_report::{Cell, Section, Sheet, Table};
use slantpath_station::Station;
use slantpath_station::checked::{Reading, ReadingQuantity};
use slantpath_verdict::routes::{Start, to_g_over_t, together};

/// What was asked, and what there is to show for it.
#[derive(Debug)]
pub struct Acceptance<'a> {
    /// The station.
    pub station: &'a Station,
    /// What it should do.
    pub predicted: &'a Predicted,
    /// Branch under acceptance.
    pub branch: &'a str,
    /// What the person does not have.
    pub without: &'a [Means],
    /// Minutes of warming up.
    pub warm_min: f64,
    /// Most that the own transmission may lift the receiver's noise, dB.
    pub worst_rise_db: f64,
    /// Recordings made for it.
    pub measured: &'a [Measured],
    /// Readings made for it.
    pub readings: &'a [Reading],
    /// G/T by sources in the sky.
    pub sources: &'a Sources,
    /// Figures found by other means: name of the check, value, standard uncertainty.
    pub found: &'a [(String, f64, f64)],
}

/// A check with what was found.
struct Done<'a> {
    check: &'a Check,
    found: Option<(f64, f64)>,
}

impl Done<'_> {
    fn mark(&self) -> Option<(Mark, f64)> {
        let (v, u) = self.found?;
        Some((
            self.check.limits.mark(v, u),
            self.check.limits.conformance(v, u),
        ))
    }
}

/// Writes the sheet: the plan alone before anything was measured, else filled.
///
/// # Errors
/// A branch that receives nothing; a found figure that is no check; figures that cannot be.
pub fn acceptance_sheet(a: &Acceptance<'_>) -> Result<Sheet, WorkflowError> {
    let all = checks(a)?;
    for (name, ..) in a.found {
        if !all.iter().any(|c| c.key == *name) {
            let known: Vec<&str> = all.iter().map(|c| c.key.as_str()).collect();
            return Err(WorkflowError::argument(
                format!("--found {name}: there is no such check"),
                format!("the checks are: {}", known.join(", ")),
            ));
        }
    }
    let done: Vec<Done<'_>> = all
        .iter()
        .map(|check| Done {
            check,
            found: found(a, check),
        })
        .collect();
    let filled = done.iter().any(|d| d.found.is_some());
    let mut sheet = Sheet {
        verb: "plan".into(),
        title: format!(
            "{}: acceptance of branch {}{}",
            a.station.name,
            a.branch,
            if filled { ", filled" } else { "" }
        ),
        ..Sheet::default()
    };
    sheet.sections.push(limits_section(&all, a.without));
    if filled {
        sheet.sections.push(results(&done));
        if let Some(text) = routes_apart(a) {
            sheet.because.push(text);
        }
    }
    sheet.sections.push(order(a, &all)?);
    let mut rules = Section::new("rules", "what is rejected", Vec::new());
    rules.text = [
        "A recording with automatic gain on, clipped, or with the own transmitter heard in it.",
        "Anything taken before the oscillator has warmed up, in rain, or with wind that moves the dish.",
        "A limit is never moved after its figure was seen: a part that is changed starts the sheet anew.",
    ]
    .map(String::from)
    .to_vec();
    sheet.sections.push(rules);
    conclude(&mut sheet, &done, a.without);
    sheet.cautions = [
        "Hands, absorber or meter at the feed: transmitter off and its supply disconnected first.",
        "Never look at the Sun, and mind the heat that a dish gathers at its feed while the Sun is in the beam.",
        "Work on a mast or a roof by the local code, secured, in daylight, without wind or thunder about.",
    ]
    .map(String::from)
    .to_vec();
    Ok(sheet)
}

fn at_hand(check: &Check, without: &[Means]) -> bool {
    !without.contains(&check.means)
}

fn limits_section(all: &[Check], without: &[Means]) -> Section {
    let mut t = Table::new(
        "limits",
        &[
            ("check", "check"),
            ("expected", "expected"),
            ("passes", "passes"),
            ("reaches", "u reached"),
            ("decides", "can pass"),
        ],
    );
    for c in all {
        let decides = if !at_hand(c, without) {
            format!("no {}", c.means.word())
        } else if c.limits.can_pass(c.expected.0, c.u) {
            "yes".into()
        } else {
            "too rough".into()
        };
        t.rows.push(vec![
            Cell::Text(c.key.clone()),
            Cell::Value(Estimate::normal(c.expected.0, c.expected.1), c.unit),
            Cell::Text(between(c)),
            Cell::Text(format!(
                "{} {}",
                show::significant(c.u, 2),
                u_unit(c.unit).symbol()
            )),
            Cell::Text(decides),
        ]);
    }
    Section::new("limits", "limits, fixed beforehand", Vec::new())
        .say(format!(
            "From what the files promise: the prediction and {K:.0} standard uncertainties. A figure passes when it lies within with {:.0} % probability, fails below {:.0} %, else the measurement cannot tell.",
            100.0 * SURE,
            100.0 * (1.0 - SURE)
        ))
        .table(t)
}

/// Unit of an uncertainty: that of a level is in decibels.
fn u_unit(unit: Unit) -> Unit {
    match unit {
        Unit::DbHz | Unit::DbPerK | Unit::Dbw | Unit::Dbi => Unit::Db,
        other => other,
    }
}

/// Limits in words, with the decimals that the promise deserves.
fn between(c: &Check) -> String {
    let places = show::decimals_for(c.expected.1.max(c.u)).unwrap_or(1);
    let unit = c.unit.symbol();
    let f = |v: f64| show::fixed(v, places);
    match (c.limits.lo, c.limits.hi) {
        (Some(lo), Some(hi)) => format!("{} .. {} {unit}", f(lo), f(hi)),
        (Some(lo), None) => format!("{} {unit} or more", f(lo)),
        (None, Some(hi)) => format!("{} {unit} or less", f(hi)),
        (None, None) => "always".into(),
    }
}

fn results(done: &[Done<'_>]) -> Section {
    let mut t = Table::new(
        "results",
        &[
            ("check", "check"),
            ("measured", "measured"),
            ("passes", "passes"),
            ("within", "within"),
            ("mark", "mark"),
        ],
    );
    for d in done {
        let c = d.check;
        let mut row = vec![Cell::Text(c.key.clone())];
        match (d.found, d.mark()) {
            (Some((v, u)), Some((mark, p))) => {
                row.push(Cell::Value(Estimate::normal(v, u), c.unit));
                row.push(Cell::Text(between(c)));
                row.push(Cell::Text(percent(p)));
                row.push(Cell::Text(mark.word().into()));
            }
            _ => {
                row.push("not measured".into());
                row.push(Cell::Text(between(c)));
                row.push(Cell::Text(String::new()));
                row.push(Cell::Text("open".into()));
            }
        }
        t.rows.push(row);
    }
    Section::new("results", "what was found", Vec::new()).table(t)
}

fn percent(p: f64) -> String {
    if p > 0.999 {
        "> 99.9 %".into()
    } else if p < 0.001 {
        "< 0.1 %".into()
    } else {
        format!("{} %", show::fixed(100.0 * p, 1))
    }
}

fn order(a: &Acceptance<'_>, all: &[Check]) -> Result<Section, WorkflowError> {
    let at_hand: Vec<&Check> = all.iter().filter(|c| at_hand(c, a.without)).collect();
    let times: Vec<(Means, f64)> = at_hand.iter().map(|c| (c.means, c.minutes)).collect();
    let (starts, end) = schedule(a.warm_min, &times)?;
    let mut t = Table::new(
        "order",
        &[
            ("at", "after"),
            ("takes", "takes"),
            ("check", "check"),
            ("how", "how"),
        ],
    );
    for (k, start) in starts {
        let Some(c) = at_hand.get(k) else { continue };
        t.rows.push(vec![
            number(start, 0, "min"),
            number(c.minutes, 0, "min"),
            Cell::Text(c.key.clone()),
            Cell::Text(c.how.into()),
        ]);
    }
    Ok(Section::new("order", "order and time", Vec::new())
        .say(format!(
            "Switch everything but the transmitter on and wait {:.0} min; about {} h in all. What needs the transmitter off comes first.",
            a.warm_min,
            show::fixed(end / 60.0, 1)
        ))
        .table(t))
}

/// What was found for a check: typed as such, by a source in the sky, by routes, in a recording, or as a reading.
fn found(a: &Acceptance<'_>, c: &Check) -> Option<(f64, f64)> {
    if let Some((_, v, u)) = a.found.iter().find(|f| f.0 == c.key) {
        return Some((*v, *u));
    }
    match &c.by {
        checks::By::Figure(id) => figure(a, id),
        checks::By::Routes(passband) => {
            let routes = to_g_over_t(&a.predicted.model, passband, a.branch, &starts(a));
            let kept: Vec<_> = routes
                .into_iter()
                .filter(|r| r.name != "absorber" && r.name != "Sun")
                .collect();
            let e = together(&kept).ok()?.combined?;
            Some((e.value, e.u))
        }
        checks::By::Sky => {
            let e = a.sources.answers.first()?.estimate()?;
            Some((e.value, e.u))
        }
        checks::By::Typed => None,
    }
}

/// The surest of what recordings and readings say of one of the model's figures.
fn figure(a: &Acceptance<'_>, id: &str) -> Option<(f64, f64)> {
    starts(a)
        .into_iter()
        .filter(|s| s.id == id)
        .map(|s| (s.value, s.u))
        .min_by(|x, y| x.1.total_cmp(&y.1))
}

fn starts(a: &Acceptance<'_>) -> Vec<Start> {
    let recorded = a
        .measured
        .iter()
        .flat_map(Measured::answers)
        .filter(|x| usable(x))
        .filter_map(|x| {
            let e = x.estimate()?;
            Some(Start {
                id: x.measurand.clone(),
                value: e.value,
                u: e.u,
            })
        });
    let read = a
        .readings
        .iter()
        .filter(|r| !r.at_ceiling && r.quantity != ReadingQuantity::LnbVolts)
        .filter_map(|r| {
            let d = r.value.distribution;
            let u = if d.u() > 0.0 {
                d.u()
            } else {
                LEAST_READING_U_DB
            };
            Some(Start {
                id: predicted_id(a.predicted.model.outputs(), r)?,
                value: d.mean(),
                u,
            })
        });
    let mut out: Vec<Start> = Vec::new();
    for s in recorded.chain(read) {
        match out.iter_mut().find(|o| o.id == s.id) {
            Some(o) if o.u <= s.u => {}
            Some(o) => *o = s,
            None => out.push(s),
        }
    }
    out
}

/// Routes to G/T that disagree beyond chance are named, never averaged.
fn routes_apart(a: &Acceptance<'_>) -> Option<String> {
    let passband = checks::first_passband(a)?;
    let mut routes = to_g_over_t(&a.predicted.model, &passband, a.branch, &starts(a));
    routes.extend(a.sources.routes());
    let t = together(&routes).ok().filter(|t| t.combined.is_none())?;
    let names: Vec<&str> = t
        .apart
        .iter()
        .filter_map(|k| routes.get(*k).map(|r| r.name.as_str()))
        .collect();
    Some(format!(
        "The routes to G/T disagree by more than chance allows ({} % of all cases); apart stands: {}. `routes` shows each.",
        show::significant(100.0 * t.chance, 1),
        if names.is_empty() {
            "none alone".into()
        } else {
            names.join(", or ")
        }
    ))
}

fn conclude(sheet: &mut Sheet, done: &[Done<'_>], without: &[Means]) {
    let count = |m: Mark| {
        done.iter()
            .filter(|d| d.mark().is_some_and(|(x, _)| x == m))
            .count()
    };
    let open = done.iter().filter(|d| d.found.is_none()).count();
    if open < done.len() {
        sheet.because.insert(
            0,
            format!(
                "{} pass, {} fail, {} cannot tell, {open} open.",
                count(Mark::Pass),
                count(Mark::Fail),
                count(Mark::CannotTell)
            ),
        );
        for d in done {
            if let (Some((Mark::Fail, _)), Some((v, u))) = (d.mark(), d.found) {
                let off = (v - d.check.expected.0) / d.check.expected.1.hypot(u).max(1e-12);
                sheet.because.push(format!(
                    "{} fails: {} standard uncertainties of prediction and measurement from what is expected.",
                    d.check.label,
                    show::fixed(off, 1)
                ));
            }
        }
    } else {
        let able = done
            .iter()
            .filter(|d| {
                at_hand(d.check, without) && d.check.limits.can_pass(d.check.expected.0, d.check.u)
            })
            .count();
        sheet.because.push(if able == done.len() {
            format!("All {able} checks can be passed with what is at hand.")
        } else {
            format!(
                "{able} of {} checks can be passed with what is at hand; for the others something is missing, or the measurement is rougher than the promise.",
                done.len()
            )
        });
    }
    let failing = done
        .iter()
        .any(|d| d.mark().is_some_and(|(m, _)| m == Mark::Fail));
    sheet.next_measurement = if failing {
        Some("`diagnose` with the same recordings and readings: which part is at fault.".into())
    } else {
        done.iter()
            .find(|d| {
                at_hand(d.check, without)
                    && d.mark().is_none_or(|(m, _)| m == Mark::CannotTell)
                    && d.check.limits.can_pass(d.check.expected.0, d.check.u)
            })
            .map(|d| format!("{}: {}.", d.check.key, d.check.how))
    };
}
