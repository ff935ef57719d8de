//! `diagnose`: which fault made these measurements, and what to measure next.

use crate::WorkflowError;
use crate::measure::{Measured, usable};
use crate::verdict::{Judged, LEAST_READING_U_DB, predicted_id};
use slantpath_link::{Conditions, Model};
use slantpath_quantity::{Answer, Contributor, Estimate, Unit, show};
use slantpath_report::{Cell, Section, Sheet, Table};
use slantpath_station::Station;
use slantpath_station::checked::{Reading, ReadingQuantity};
use slantpath_verdict::diagnose::{
    Advice, Case, Diagnosis, Evidence, Ranked, advise, diagnose, faults,
};

/// A diagnosis with what it rests on.
#[derive(Debug)]
pub struct Diagnosed {
    /// What was known before.
    pub case: Case,
    /// What was seen.
    pub evidence: Vec<Evidence>,
    /// What it says.
    pub diagnosis: Diagnosis,
    /// What to do next, the best first.
    pub next: Vec<Advice>,
    /// What was not used, and why.
    pub left_out: Vec<String>,
}

/// Names of the symptoms that can be typed, with their units, for messages.
pub fn symptoms() -> Vec<String> {
    faults::SYMPTOMS
        .iter()
        .map(|s| {
            format!(
                "{} ({}{}{})",
                s.0.trim_start_matches("symptom."),
                s.1,
                if s.2.is_empty() { "" } else { ", " },
                s.2
            )
        })
        .collect()
}

/// The diagnosis that belongs beside a verdict: where prediction and measurement disagree by more than chance allows, which
/// fault, or rain, makes what was measured. Nothing where they agree or where nothing measured bears on a fault.
pub fn where_they_disagree(
    station: &Station,
    conditions: &Conditions,
    judged: &Judged,
    measured: &[Measured],
    readings: &[Reading],
) -> Option<Sheet> {
    if judged.explanation.agrees() {
        return None;
    }
    diagnosed(station, conditions, measured, readings, &[])
        .ok()
        .map(|x| diagnosis_sheet(station, &x))
}

/// Diagnoses a station. `seen`: name of a symptom or a measurand, value, standard uncertainty. The same measurand of several
/// recordings is averaged by its uncertainties: what differs between them is for `compare`.
///
/// # Errors
/// A station that cannot be modelled; a symptom that nobody knows; nothing to go by.
pub fn diagnosed(
    station: &Station,
    conditions: &Conditions,
    measured: &[Measured],
    readings: &[Reading],
    seen: &[(String, f64, f64)],
) -> Result<Diagnosed, WorkflowError> {
    let model = Model::new(station, conditions)?;
    let case = faults::case(station, &model, conditions)?;
    let mut all: Vec<Evidence> = Vec::new();
    let mut left_out = Vec::new();
    for m in measured {
        for a in m.answers().iter().filter(|a| usable(a)) {
            if let (Some(_), Some(e)) = (case.find(&a.measurand), a.estimate()) {
                all.push(Evidence {
                    id: a.measurand.clone(),
                    value: e.value,
                    u: e.u,
                });
            }
        }
    }
    for r in readings {
        match of_reading(station, &model, r) {
            Some(_) if r.at_ceiling => left_out.push(format!(
                "{} ({}): at its ceiling, which says \"this or more\"",
                r.value.label, r.value.source
            )),
            Some(e) => all.push(e),
            None => left_out.push(format!(
                "{} ({}): no fault foretells it",
                r.value.label, r.value.source
            )),
        }
    }
    for (name, value, u) in seen {
        let id = [name.clone(), format!("symptom.{name}")]
            .into_iter()
            .find(|id| case.find(id).is_some())
            .ok_or_else(|| {
                WorkflowError::argument(
                    format!("`{name}` is no symptom and no measurand of this station"),
                    format!(
                        "symptoms are: {}; measurands as `predict --json` names them",
                        symptoms().join("; ")
                    ),
                )
            })?;
        all.push(Evidence {
            id,
            value: *value,
            u: *u,
        });
    }
    let evidence = merged(all);
    if evidence.is_empty() {
        return Err(WorkflowError::argument(
            "there is nothing to go by",
            "give recordings, --readings CSV or --seen NAME VALUE U",
        ));
    }
    let diagnosis = diagnose(&case, &evidence)?;
    let next = advise(&case, &evidence, &diagnosis)?;
    Ok(Diagnosed {
        case,
        evidence,
        diagnosis,
        next,
        left_out,
    })
}

/// Weighted mean of what was measured more than once.
fn merged(all: Vec<Evidence>) -> Vec<Evidence> {
    let mut out: Vec<(String, f64, f64)> = Vec::new();
    for e in all {
        let w = e.u.max(1e-3).powi(-2);
        match out.iter_mut().find(|o| o.0 == e.id) {
            Some(o) => {
                o.1 += w * e.value;
                o.2 += w;
            }
            None => out.push((e.id, w * e.value, w)),
        }
    }
    out.into_iter()
        .map(|(id, sum, w)| Evidence {
            id,
            value: sum / w,
            u: w.sqrt().recip(),
        })
        .collect()
}

/// A typed reading as evidence.
fn of_reading(station: &Station, model: &Model, r: &Reading) -> Option<Evidence> {
    let d = r.value.distribution;
    let least = |u: f64, least: f64| if u > 0.0 { u } else { least };
    let symptom = |id: &str, value: f64, u: f64| {
        Some(Evidence {
            id: format!("symptom.{id}"),
            value,
            u,
        })
    };
    match r.quantity {
        ReadingQuantity::LnbVolts => {
            let branch = match &r.branch {
                Some(b) => station.receive.branch(b)?,
                None => station.receive.branches.first()?,
            };
            // A far end that switches by its volts: those of the passband named, else the setting nearest to the
            // reading, since nobody said what was wanted.
            let named = r
                .passband
                .as_ref()
                .and_then(|p| station.satellite.passband(p))
                .and_then(|p| branch.volts_for(p.downlink_polarisation));
            let settings = branch
                .switched
                .iter()
                .flat_map(|s| [&s.vertical, &s.horizontal]);
            let off = |c: &Contributor| (c.distribution.mean() - d.mean()).abs();
            let meant = named
                .or_else(|| settings.min_by(|a, b| off(a).total_cmp(&off(b))))
                .or(branch.volts.as_ref())?;
            symptom(
                "lnb_volts",
                d.mean() - meant.distribution.mean(),
                least(d.u(), 0.1).hypot(meant.distribution.u()),
            )
        }
        ReadingQuantity::BeaconFrequency => {
            let name = r.beacon.as_ref()?;
            let beacon = station
                .satellite
                .passbands
                .iter()
                .find_map(|p| p.beacon(name))?;
            symptom(
                "lo_offset",
                (d.mean() - beacon.frequency.as_hz()) / 1e3,
                least(d.u(), 200.0) / 1e3,
            )
        }
        ReadingQuantity::CrossPolar => symptom("cross_polar", d.mean(), least(d.u(), 0.3)),
        _ => predicted_id(model.outputs(), r).map(|id| Evidence {
            id,
            value: d.mean(),
            u: least(d.u(), LEAST_READING_U_DB),
        }),
    }
}

/// Key, label and remedy of a hypothesis.
pub(crate) fn words(case: &Case, r: &Ranked) -> (String, String, String) {
    let second = r.second.and_then(|(k, _)| case.faults.get(k));
    match (r.fault.and_then(|k| case.faults.get(k)), second) {
        (Some(f), None) => (f.key.into(), f.label.into(), f.remedy.into()),
        (Some(f), Some(g)) => (
            format!("{}_and_{}", f.key, g.key),
            format!("two at once: {}, and {}", f.label, g.label),
            format!("{}; and {}", f.remedy, g.remedy),
        ),
        (None, _) => (
            "none_of_these".into(),
            "none of these".into(),
            "look at what the evidence does that no fault of the list does".into(),
        ),
    }
}

/// The sheet.
pub fn diagnosis_sheet(station: &Station, x: &Diagnosed) -> Sheet {
    let d = &x.diagnosis;
    let mut sheet = Sheet {
        verb: "diagnose".into(),
        title: format!("{}: diagnosis", station.name),
        ..Sheet::default()
    };
    let mut t = Table::new(
        "faults",
        &[
            ("fault", "fault"),
            ("probability", "probability"),
            ("told_apart", "told apart"),
            ("remedy", "what to do"),
        ],
    );
    for g in d.groups.iter().filter(|g| g.probability >= 0.01).take(8) {
        let members: Vec<&Ranked> = g.members.iter().filter_map(|m| d.ranked.get(*m)).collect();
        let many = members.len() > MOST_NAMED;
        let what = if many {
            few_and_others(&x.case, &members)
        } else {
            members
                .iter()
                .map(|m| words(&x.case, m).1)
                .collect::<Vec<_>>()
                .join("; or ")
        };
        let remedy = if many {
            "measure first: see what would settle it".to_string()
        } else {
            members
                .iter()
                .map(|m| words(&x.case, m).2)
                .collect::<Vec<_>>()
                .join("; or ")
        };
        t.rows.push(vec![
            Cell::Text(what),
            Cell::Number {
                value: 100.0 * g.probability,
                places: 0,
                unit: "%".into(),
            },
            Cell::Text(
                if members.len() > 1 {
                    "not by this evidence"
                } else {
                    "yes"
                }
                .into(),
            ),
            Cell::Text(remedy),
        ]);
    }
    let mut ranking =
        Section::new("ranking", "what it is, most probable first", Vec::new()).table(t);
    ranking.answers = d
        .ranked
        .iter()
        .filter(|r| r.probability >= 0.005)
        .map(|r| {
            let (key, label, _) = words(&x.case, r);
            Answer::known(
                format!("diagnosis.{key}"),
                label,
                Unit::Percent,
                Estimate::exact(show_percent(r.probability)),
            )
        })
        .collect();
    ranking.text.push("Probabilities hold for this list of faults, one or two at a time, with the station file's uncertainties; faults rarer or commoner here than elsewhere shift them.".into());
    sheet.sections.push(ranking);
    let mut seen = Table::new(
        "evidence",
        &[
            ("what", "observed"),
            ("healthy", "sound station"),
            ("seen", "seen"),
            ("off", "off by"),
        ],
    );
    for (e, k) in x.evidence.iter().zip(&d.used) {
        let Some(o) = x.case.observables.get(*k) else {
            continue;
        };
        let own = o.effects.iter().map(|v| v * v).sum::<f64>() + o.u * o.u;
        let u = (own + e.u * e.u).sqrt();
        let text = |v: f64, u: f64| {
            let (v, u) = show::value_and_u(v, u);
            format!("{v} ± {u} {}", o.unit)
        };
        seen.rows.push(vec![
            Cell::Text(format!("{} ({})", o.label, o.id)),
            Cell::Text(text(o.healthy, own.sqrt())),
            Cell::Text(text(e.value, e.u)),
            Cell::Number {
                value: (e.value - o.healthy) / u,
                places: 1,
                unit: "u".into(),
            },
        ]);
    }
    sheet
        .sections
        .push(Section::new("evidence", "what it rests on", Vec::new()).table(seen));
    let mut next = Table::new(
        "next",
        &[
            ("how", "measurement"),
            ("minutes", "takes"),
            ("bits", "expected information"),
        ],
    );
    for a in x.next.iter().take(5) {
        let Some(action) = x.case.actions.get(a.action) else {
            continue;
        };
        next.rows.push(vec![
            Cell::Text(action.how.clone()),
            Cell::Number {
                value: action.minutes,
                places: 0,
                unit: "min".into(),
            },
            Cell::Number {
                value: a.bits,
                places: 2,
                unit: "bit".into(),
            },
        ]);
    }
    if !next.rows.is_empty() {
        sheet.sections.push(Section::new("next", "what would settle it, best first", Vec::new())
            .say("Information about which fault it is, expected by simulation from the model, for each minute.")
            .table(next));
    }
    sheet
        .cautions
        .extend(x.left_out.iter().map(|l| format!("Not used: {l}.")));
    sheet
        .cautions
        .push("One fault is assumed, or two at once, never three.".into());
    if let (Some(g), Some(r)) = (d.groups.first(), d.ranked.first()) {
        let members: Vec<&Ranked> = g.members.iter().filter_map(|m| d.ranked.get(*m)).collect();
        let names: Vec<String> = members.iter().map(|r| words(&x.case, r).1).collect();
        sheet.because.push(match (r.fault, names.len()) {
            (None, _) => format!("None of these faults fits ({:.0} %).", 100.0 * r.probability),
            (_, 1) => format!("Most probably: {} ({:.0} %).", names.join(""), 100.0 * g.probability),
            (_, n) if n > MOST_NAMED => format!("{} ({:.0} % together): this evidence does not tell them apart.", capital(&few_and_others(&x.case, &members)), 100.0 * g.probability),
            _ => format!("Most probably one of: {} ({:.0} % together); this evidence does not tell them apart.", names.join("; "), 100.0 * g.probability),
        });
    }
    sheet.next_measurement = x
        .next
        .first()
        .and_then(|a| x.case.actions.get(a.action).map(|k| (a, k)))
        .map(|(a, k)| {
            if a.bits < LEAST_BITS
                && let Some(r) = d.ranked.first().filter(|r| r.fault.is_some())
            {
                return format!(
                    "{}; then record again. No cheap measurement would tell more about which fault it is.",
                    capital(&words(&x.case, r).2)
                );
            }
            format!(
                "{} (about {:.0} min; {} bit about which fault it is).",
                capital(&k.how),
                k.minutes,
                show::fixed(a.bits, 1)
            )
        });
    sheet
}

/// A measurement expected to tell less than this is not worth its minutes.
const LEAST_BITS: f64 = 0.1;

/// So many faults that cannot be told apart are named one by one; of more, the first few.
const MOST_NAMED: usize = 4;

/// The most probable one or two of many, and how many more there are.
fn few_and_others(case: &Case, members: &[&Ranked]) -> String {
    let most = members.first().map_or(0.0, |m| m.probability);
    let named: Vec<String> = members
        .iter()
        .take(2)
        .filter(|m| m.probability > 0.5 * most)
        .map(|m| words(case, m).1)
        .collect();
    format!(
        "{}, or one of {} others above",
        named.join("; or "),
        members.len() - named.len()
    )
}

/// Percent with no more digits than a probability deserves: whole ones.
fn show_percent(p: f64) -> f64 {
    (100.0 * p).round()
}

fn capital(text: &str) -> String {
    let mut c = text.chars();
    c.next()
        .map_or(String::new(), |f| f.to_uppercase().chain(c).collect())
}
