//! `routes`: absolute G/T by every route at hand, and whether they agree.

use crate::WorkflowError;
use crate::measure::{Measured, usable};
use crate::verdict::{LEAST_READING_U_DB, predicted_id};
use slantpath_link::{Conditions, Model};
use slantpath_quantity::{Answer, ContributorId, Estimate, Unit, show};
use slantpath_report::{Section, Sheet};
use slantpath_station::Station;
use slantpath_station::checked::Reading;
use slantpath_verdict::routes::{Part, Route, SIZE, Start, to_g_over_t, together};

/// A G/T from elsewhere: name, dB/K, standard uncertainty.
pub type Typed = (String, f64, f64);

/// Routes by a source in the sky.
#[derive(Debug, Clone, Default)]
pub struct Sources {
    /// G/T as `measure --sun` gives it, or as the Moon's Y factor does; parts of one identity are one error.
    pub answers: Vec<Answer>,
    /// What a person should know.
    pub told: Vec<String>,
}

impl Sources {
    /// Takes the G/T from a scan's sheet, or why there is none.
    pub fn take(&mut self, sheet: &Sheet) {
        let found = sheet
            .sections
            .iter()
            .flat_map(|s| &s.answers)
            .find(|a| a.measurand.ends_with(".g_over_t"));
        match found {
            Some(a) if a.outcome.is_ok() => self.answers.push(a.clone()),
            Some(a) => self.told.extend(
                a.outcome
                    .as_ref()
                    .err()
                    .map(|u| format!("{}: {}; {}", a.label, u.reason, u.remedy)),
            ),
            None => self.told.extend(
                sheet
                    .because
                    .iter()
                    .chain(&sheet.next_measurement)
                    .map(|b| format!("{}: {b}", sheet.title)),
            ),
        }
    }

    pub(crate) fn routes(&self) -> impl Iterator<Item = Route> + '_ {
        self.answers.iter().filter_map(|a| {
            let e = a.estimate()?;
            let parts: Vec<Part> = a
                .shares
                .iter()
                .filter(|s| s.u > 0.0)
                .map(|s| Part {
                    id: s.id.clone(),
                    label: s.label.clone(),
                    effect: s.u,
                })
                .collect();
            (!parts.is_empty()).then(|| Route {
                name: a.label.clone(),
                value: e.value,
                parts,
            })
        })
    }
}

/// Writes the sheet for one passband and branch.
///
/// # Errors
/// A station that cannot be modelled; no route at all.
pub fn routes_sheet(
    station: &Station,
    conditions: &Conditions,
    passband: &str,
    branch: &str,
    measured: &[Measured],
    readings: &[Reading],
    typed: &[Typed],
    sources: &Sources,
) -> Result<Sheet, WorkflowError> {
    let model = Model::new(station, conditions)?;
    if model.intermediate(passband, branch).is_none() {
        return Err(WorkflowError::argument(
            format!("`{passband}` is not received on branch `{branch}`"),
            "name a passband and a branch of the station with --passband and --branch",
        ));
    }
    let mut starts: Vec<Start> = Vec::new();
    let mut put = |id: &str, value: f64, u: f64| {
        // Of several readings of one thing the surest begins a route.
        match starts.iter_mut().find(|s| s.id == id) {
            Some(s) if s.u <= u => {}
            Some(s) => (s.value, s.u) = (value, u),
            None => starts.push(Start {
                id: id.to_string(),
                value,
                u,
            }),
        }
    };
    for a in measured
        .iter()
        .flat_map(Measured::answers)
        .filter(|a| usable(a))
    {
        if let Some(e) = a.estimate() {
            put(&a.measurand, e.value, e.u);
        }
    }
    for r in readings.iter().filter(|r| !r.at_ceiling) {
        if let Some(id) = predicted_id(model.outputs(), r) {
            let d = r.value.distribution;
            put(
                &id,
                d.mean(),
                if d.u() > 0.0 {
                    d.u()
                } else {
                    LEAST_READING_U_DB
                },
            );
        }
    }
    let mut routes = to_g_over_t(&model, passband, branch, &starts);
    routes.extend(sources.routes());
    routes.extend(typed.iter().map(|(name, value, u)| Route {
        name: name.clone(),
        value: *value,
        parts: vec![Part {
            id: ContributorId::new(format!("typed.{name}")),
            label: format!("{name}, as typed"),
            effect: *u,
        }],
    }));
    if routes.is_empty() {
        return Err(WorkflowError::argument(
            "there is no route to G/T in what was given",
            "record the passband with empty band beside it, or give --sun SCAN with the day's --sun-flux, --moon DB U with --moon-at TIME, or --route NAME=VALUE+-U",
        ));
    }
    let t = together(&routes)?;
    let mut sheet = Sheet {
        verb: "routes".into(),
        title: format!(
            "{}: G/T of {passband} on {branch} by {} routes",
            station.name,
            routes.len()
        ),
        ..Sheet::default()
    };
    let mut rows = Vec::new();
    for (k, (r, s)) in routes.iter().zip(&t.standing).enumerate() {
        let mut parts: Vec<&Part> = r.parts.iter().collect();
        parts.sort_by(|a, b| b.effect.abs().total_cmp(&a.effect.abs()));
        let most: Vec<String> = parts
            .iter()
            .take(2)
            .map(|p| format!("{} ({} dB)", p.label, show::significant(p.effect.abs(), 2)))
            .collect();
        rows.push(
            Answer::known(
                format!("route.{}", k + 1),
                r.name.clone(),
                Unit::DbPerK,
                Estimate::normal(r.value, r.u()),
            )
            .because(format!(
                "Its uncertainty comes mostly from {}.",
                most.join(" and ")
            )),
        );
        if routes.len() > 1 {
            rows.push(
                Answer::known(
                    format!("route.{}.off", k + 1),
                    format!("{}: less the others together", r.name),
                    Unit::Db,
                    Estimate::normal(s.off, s.u),
                )
                .because(format!("weight in the combination {:.2}", s.weight)),
            );
        }
    }
    sheet
        .sections
        .push(Section::new("routes", "each route", rows));
    let mut all = Section::new("together", "together", Vec::new());
    if routes.len() > 1 {
        all.text.push(format!(
            "Sum of squared disagreements {} with {} degrees of freedom: as much by chance in {} % of all cases.",
            show::fixed(t.chi2, 1),
            t.dof,
            show::significant(100.0 * t.chance, 2)
        ));
    }
    let named = |k: &usize| {
        routes
            .get(*k)
            .map_or(String::new(), |r| format!("\"{}\"", r.name))
    };
    match &t.combined {
        Some(e) => {
            all.answers.push(Answer::known(
                "g_over_t.combined",
                "G/T by all routes",
                Unit::DbPerK,
                e.clone(),
            ));
            sheet.because.push(if routes.len() == 1 {
                "One route alone: nothing checks it.".into()
            } else {
                "The routes agree within their uncertainties; parts that they share are counted once.".into()
            });
        }
        None => {
            sheet.refused = true;
            sheet.because.push(match t.apart.as_slice() {
                [] => format!("The routes disagree by more than chance allows ({:.0} % level), and no single one is to blame; nothing is averaged.", 100.0 * SIZE),
                [one] => format!("The routes disagree by more than chance allows: without {} the others agree. Nothing is averaged.", named(one)),
                some => format!("The routes disagree by more than chance allows: {} stand apart, and which of them is wrong the rest does not tell. Nothing is averaged.", some.iter().map(named).collect::<Vec<_>>().join(" or ")),
            });
        }
    }
    sheet.sections.push(all);
    sheet.cautions.extend(sources.told.iter().cloned());
    sheet.cautions.extend(sources.answers.iter().flat_map(|a| {
        a.validity
            .reasons()
            .iter()
            .map(move |r| format!("{}: {r}", a.label))
    }));
    sheet.next_measurement = Some(if routes.len() < 3 {
        "Another route: a Sun scan (--sun), the Moon (--moon), an absorber over the feed, the noise step with the satellite's noise.".into()
    } else {
        "Repeat the route that stands furthest from the others, its levels and references checked."
            .into()
    });
    Ok(sheet)
}
