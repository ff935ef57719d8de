//! `predict`: what the station should do.

mod computed;
mod sensitivity;
mod variants;

pub use variants::side_by_side;

use crate::WorkflowError;
use sensitivity::what_the_next_decibel_costs;
use slantpath_link::{Air, Conditions, Drawing, Group, Memory, Model, Prediction, predict as draw};
use slantpath_quantity::{Answer, show};
use slantpath_report::{Section, Sheet};
use slantpath_station::Station;
use slantpath_stats::{Progress, Stop};

/// A prediction with the model it came from.
#[derive(Debug)]
pub struct Predicted {
    /// The model.
    pub model: Model,
    /// Its answers.
    pub prediction: Prediction,
}

/// Builds and draws the model of a station.
///
/// # Errors
/// As [`Model::new`] and the draws.
pub fn predicted(
    station: &Station,
    conditions: &Conditions,
    drawing: Drawing,
    progress: &Progress,
) -> Result<Predicted, WorkflowError> {
    predicted_with(
        station,
        conditions,
        drawing,
        progress,
        &mut Memory::default(),
    )
}

/// The same, with a memory of what depends on the site, the dish or the feed alone: for one "what if" after another.
///
/// # Errors
/// As [`predicted`].
pub fn predicted_with(
    station: &Station,
    conditions: &Conditions,
    drawing: Drawing,
    progress: &Progress,
    memory: &mut Memory,
) -> Result<Predicted, WorkflowError> {
    let model = Model::with_memory(station, conditions, memory)?;
    let prediction = draw(&model, drawing, &Stop::new(), progress)?;
    Ok(Predicted { model, prediction })
}

/// The sheet of one prediction. `branch` keeps one branch only.
pub fn predict_sheet(
    station: &Station,
    p: &Predicted,
    conditions: &Conditions,
    branch: Option<&str>,
) -> Sheet {
    let mut sheet = Sheet {
        verb: "predict".into(),
        title: title(station, conditions),
        ..Sheet::default()
    };
    let kept: Vec<_> = p
        .prediction
        .measurands
        .iter()
        .zip(&p.prediction.answers)
        .filter(|(m, _)| branch.is_none() || m.branch.is_none() || m.branch.as_deref() == branch)
        .collect();
    for passband in &station.satellite.passbands {
        let of = |g: Group, b: Option<&str>| -> Vec<Answer> {
            kept.iter()
                .filter(|(m, _)| {
                    m.group == g
                        && m.passband.as_deref() == Some(&passband.name)
                        && m.branch.as_deref() == b
                })
                .map(|(_, a)| (*a).clone())
                .collect()
        };
        let down = of(Group::Downlink, None);
        if !down.is_empty() {
            let mut section = Section::new(
                &format!("{}_downlink", passband.name),
                format!("{}: downlink budget", passband.name),
                down,
            );
            if let Ok(losses) = p.model.receive_losses(&passband.name) {
                let list: Vec<String> = losses
                    .iter()
                    .map(|(name, db)| format!("{name} {}", show::fixed(*db, 2)))
                    .collect();
                section.text.push(format!(
                    "Inside the antenna's gain, dB lost at the best estimates: {}.",
                    list.join(", ")
                ));
            }
            sheet.sections.push(section);
        }
        for b in &station.receive.branches {
            let name = Some(b.name.as_str());
            let measurands = of(Group::Measurand, name);
            if measurands.is_empty() {
                continue;
            }
            sheet.sections.push(
                Section::new(
                    &format!("{}_{}_measurands", passband.name, b.name),
                    format!(
                        "{} on branch {}: what a measurement should show",
                        passband.name, b.name
                    ),
                    measurands,
                )
                .say(frequency_line(p, &passband.name, &b.name)),
            );
            sheet.sections.push(
                Section::new(
                    &format!("{}_{}_ledger", passband.name, b.name),
                    format!(
                        "{} on branch {}: noise ledger, referred to the LNB's input",
                        passband.name, b.name
                    ),
                    of(Group::Ledger, name),
                )
                .say(ledger_line(&kept, &passband.name, &b.name)),
            );
            sheet.sections.push(Section::new(
                &format!("{}_{}_levels", passband.name, b.name),
                format!("{} on branch {}: levels", passband.name, b.name),
                of(Group::Level, name),
            ));
        }
        let mut up = of(Group::Uplink, None);
        up.extend(of(Group::Measurand, None));
        if !up.is_empty() {
            sheet.sections.push(Section::new(
                &format!("{}_uplink", passband.name),
                format!("{}: uplink budget", passband.name),
                up,
            ));
            if sheet.cautions.is_empty() {
                sheet.cautions.push(
                    "Transmitting: the space between feed and dish is the worst place to be. Keep people and eyes out of the \
                     beam and away from the feed, and follow your licence and your local rules on exposure."
                        .into(),
                );
            }
        }
    }
    sheet.sections.extend(computed::computed(station, &p.model));
    sheet.sections.push(what_the_next_decibel_costs(p, station));
    let (findings, fault) = dc_findings(station);
    if !findings.is_empty() {
        let mut s = Section::new(
            "dc",
            "volts, tone and polarisation on the cables",
            Vec::new(),
        );
        s.text = findings;
        sheet.sections.push(s);
        if fault {
            sheet.because.push(
                "The DC graph has a fault: a branch may receive the wrong polarisation.".into(),
            );
        }
    }
    if let Some(a) = kept
        .iter()
        .find(|(m, _)| m.group == Group::Measurand && m.id.contains(".cn0@"))
        .map(|(_, a)| a)
    {
        sheet
            .because
            .extend(a.because.iter().map(|b| format!("{}: {b}", a.label)));
    }
    sheet.next_measurement = Some(
        "Record the whole passband with some hundred kilohertz beside it: its noise step tells the station's own G/T apart \
         from the satellite's noise."
            .into(),
    );
    sheet
}

fn title(station: &Station, conditions: &Conditions) -> String {
    let variant = station
        .variant
        .as_deref()
        .map(|v| format!(", variant {v}"))
        .unwrap_or_default();
    let air = match conditions.air {
        Air::Clear => "clear sky".to_string(),
        Air::Exceeded { percent } => format!("losses exceeded {percent} % of an average year"),
    };
    format!(
        "{}{variant}: prediction through {}, {air}",
        station.name, station.satellite.name
    )
}

fn frequency_line(p: &Predicted, passband: &str, branch: &str) -> String {
    match p.model.intermediate(passband, branch) {
        Some((f, mirrored)) => format!(
            "The passband's centre arrives at {:.3} MHz{}.",
            f.as_mhz(),
            if mirrored { ", mirrored" } else { "" }
        ),
        None => String::new(),
    }
}

fn ledger_line(
    kept: &[(&slantpath_link::Measurand, &Answer)],
    passband: &str,
    branch: &str,
) -> String {
    let mut lines: Vec<(&str, f64)> = kept
        .iter()
        .filter(|(m, _)| {
            m.group == Group::Ledger
                && m.passband.as_deref() == Some(passband)
                && m.branch.as_deref() == Some(branch)
                && !m.id.contains("ledger.satellite")
        })
        .filter_map(|(m, a)| Some((m.label.as_str(), a.estimate()?.value)))
        .collect();
    let total: f64 = lines.iter().map(|l| l.1).sum();
    lines.sort_by(|a, b| b.1.total_cmp(&a.1));
    let text: Vec<String> = lines
        .iter()
        .take(3)
        .map(|(l, k)| format!("{l} {:.0} %", 100.0 * k / total))
        .collect();
    format!(
        "{} K in all at the best estimates; largest: {}.",
        show::significant(total, 3),
        text.join(", ")
    )
}

/// Sentences about the DC graph, and whether one of them is a fault.
fn dc_findings(station: &Station) -> (Vec<String>, bool) {
    let mut out = Vec::new();
    let mut fault = false;
    let Ok(report) = slantpath_station::dc::network(station, None).and_then(|n| n.solve()) else {
        return (out, fault);
    };
    let spread = slantpath_station::dc::spread(station, None).unwrap_or_default();
    for l in &report.loads {
        let state = l.state.map(|s| format!(", {s}")).unwrap_or_default();
        let mut text = format!("{}: ", l.name);
        match spread.iter().find(|s| s.name == l.name) {
            Some(s) => {
                let (v, u) = show::value_and_u(s.volts.0, s.volts.1);
                text.push_str(&format!("{v} V \u{b1} {u}"));
                if let Some((lost, u)) = s.lost {
                    let (v, u) = show::value_and_u(lost, u);
                    text.push_str(&format!(", {v} V \u{b1} {u} lost on the way"));
                }
                text.push_str(&format!(", {:.0} mA{state}.", 1e3 * l.current.as_a()));
                if !s.polarisation_sure {
                    text.push_str(
                        " Two standard uncertainties reach into its switching region: either polarisation may come out.",
                    );
                }
            }
            None => text.push_str(&format!(
                "{:.1} V at {:.0} mA{state}.",
                l.volts.as_v(),
                1e3 * l.current.as_a()
            )),
        }
        out.push(text);
    }
    for f in &report.findings {
        fault |= f.is_fault();
        out.push(f.to_string());
    }
    (out, fault)
}
