//! `verdict`: prediction and measurement side by side, and what would have to move.

use crate::WorkflowError;
use crate::measure::{Measured, usable};
use crate::predict::Predicted;
use slantpath_quantity::{Answer, ContributorId, Estimate, Share, Unit, show};
use slantpath_report::{Section, Sheet};
use slantpath_station::Station;
use slantpath_station::checked::{Reading, ReadingQuantity};
use slantpath_verdict::explain::{Candidate, Comparand, Explanation, explain, next_measurement};

/// The verdict with what it rests on.
#[derive(Debug)]
pub struct Judged {
    /// Prediction against measurement, in the order of the comparands.
    pub explanation: Explanation,
    /// What was compared.
    pub comparands: Vec<Comparand>,
    /// The candidate measurement that tells most, and its information in bits.
    pub next: Option<(Candidate, f64)>,
}

/// Compares like with like: every measured figure that the model predicts.
///
/// # Errors
/// Nothing that was measured is predicted.
pub fn judge(
    p: &Predicted,
    measured: &[Measured],
    readings: &[Reading],
) -> Result<Judged, WorkflowError> {
    let mut comparands = Vec::new();
    for m in measured {
        for a in m.answers().iter().filter(|a| usable(a)) {
            if let (Some(k), Some(e)) = (p.prediction.index(&a.measurand), a.estimate()) {
                push(p, k, e.value, e.u, false, &mut comparands);
            }
        }
    }
    for r in readings {
        if let Some(k) = predicted_index(p, r) {
            let d = r.value.distribution;
            push(p, k, d.mean(), d.u(), r.at_ceiling, &mut comparands);
        }
    }
    if comparands.is_empty() {
        return Err(WorkflowError::argument(
            "nothing that was measured is predicted for this station",
            "name the branch of the recordings with --branch, or record the beacons of the satellite file",
        ));
    }
    let contributors = &p.prediction.contributors;
    let explanation = explain(contributors, &comparands)?;
    let candidates = candidates(p, &comparands);
    let next = next_measurement(&explanation, contributors, &candidates, 2)
        .and_then(|(k, bits)| candidates.get(k).cloned().map(|c| (c, bits)));
    Ok(Judged {
        explanation,
        comparands,
        next,
    })
}

fn push(p: &Predicted, k: usize, value: f64, u: f64, at_least: bool, out: &mut Vec<Comparand>) {
    let (Some(a), Some(row)) = (p.prediction.answers.get(k), p.prediction.sensitivity.get(k))
    else {
        return;
    };
    let Some(e) = a.estimate() else { return };
    out.push(Comparand {
        measurand: a.measurand.clone(),
        label: a.label.clone(),
        unit: a.unit,
        predicted: e.value,
        u_predicted: e.u,
        measured: value,
        // A reading without uncertainty still has that of its last digit; nothing is known exactly.
        u_measured: if u > 0.0 { u } else { 0.05 },
        at_least,
        sensitivity: row.clone(),
    });
}

/// The output that a typed reading is a measurement of.
fn predicted_index(p: &Predicted, r: &Reading) -> Option<usize> {
    let what = match r.quantity {
        ReadingQuantity::Cn0 => "cn0",
        ReadingQuantity::Mer => "mer",
        ReadingQuantity::Margin => "margin",
        ReadingQuantity::NoiseStep => "noise_step",
        ReadingQuantity::YFactor => "y_absorber",
        _ => return None,
    };
    p.prediction.measurands.iter().position(|m| {
        let beacon = r
            .beacon
            .as_ref()
            .is_none_or(|b| m.id.contains(&format!(".{b}.")));
        beacon
            && m.id
                .split('@')
                .next()
                .is_some_and(|id| id.ends_with(&format!(".{what}")))
            && (r.passband.is_none() || m.passband == r.passband)
            && (r.branch.is_none() || m.branch == r.branch)
    })
}

/// Cheap measurements that could be made: what, how, minutes, u reached.
fn candidates(p: &Predicted, done: &[Comparand]) -> Vec<Candidate> {
    // Minutes and attainable u: common practice, no source.
    const KINDS: [(&str, &str, f64, f64); 6] = [
        (
            ".noise_step@",
            "record the whole passband with empty band beside it and measure the noise step",
            5.0,
            0.06,
        ),
        (
            ".y_absorber@",
            "hold an absorber over the feed and compare its noise with cold sky (Y factor)",
            15.0,
            0.1,
        ),
        (
            ".y_sun@",
            "let the Sun drift through the beam and measure its Y factor",
            30.0,
            0.1,
        ),
        (".cn0@", "record this beacon for half a minute", 3.0, 0.05),
        (
            ".own.against_beacon",
            "compare the own downlink with the beacon in one recording",
            10.0,
            0.2,
        ),
        (
            ".own.eirp",
            "measure the power at the feed with a meter",
            20.0,
            0.4,
        ),
    ];
    let mut out = Vec::new();
    for (k, m) in p.prediction.measurands.iter().enumerate() {
        if done.iter().any(|d| d.measurand == m.id)
            || m.id.contains("cn0_station")
            || m.id.contains("own.cn0")
        {
            continue;
        }
        let Some((_, how, minutes, u)) = KINDS.iter().find(|(key, ..)| m.id.contains(key)) else {
            continue;
        };
        if let Some(row) = p.prediction.sensitivity.get(k) {
            out.push(Candidate {
                measurand: m.id.clone(),
                how: format!("{}: {how}", m.label),
                minutes: *minutes,
                u: *u,
                sensitivity: row.clone(),
            });
        }
    }
    out
}

/// The sheet of a verdict.
pub fn verdict_sheet(station: &Station, judged: &Judged) -> Sheet {
    let x = &judged.explanation;
    let mut sheet = Sheet {
        verb: "verdict".into(),
        title: format!("{}: prediction against measurement", station.name),
        ..Sheet::default()
    };
    let mut rows = Vec::new();
    for (c, d) in judged.comparands.iter().zip(&x.disagreements) {
        rows.push(Answer::known(
            &c.measurand,
            format!("{}: predicted", c.label),
            c.unit,
            Estimate::normal(c.predicted, c.u_predicted),
        ));
        rows.push(Answer::known(
            format!("{}.measured", c.measurand),
            format!("{}: measured", c.label),
            c.unit,
            Estimate::normal(c.measured, c.u_measured),
        ));
        let difference_unit = if c.unit == Unit::DbHz || c.unit == Unit::DbPerK {
            Unit::Db
        } else {
            c.unit
        };
        rows.push(
            Answer::known(
                format!("{}.disagreement", c.measurand),
                format!("{}: measured less predicted", c.label),
                difference_unit,
                Estimate::normal(d.difference, d.u),
            )
            .because(format!(
                "{} standard uncertainties",
                show::fixed(d.normalised, 1)
            )),
        );
    }
    sheet.sections.push(Section::new("side_by_side", "side by side", rows).say(if x.agrees() {
        format!("Prediction and measurement agree within what is stated (chance of a larger disagreement {:.0} %).", 100.0 * x.chance)
    } else {
        format!("They disagree by more than stated (chance of this by luck {:.1} %).", 100.0 * x.chance)
    }));
    let mut moved = Vec::new();
    let mut text = Vec::new();
    for s in x.suspects.iter().take(6).filter(|s| s.in_u.abs() > 0.05) {
        let id: ContributorId = s.contributor.id.clone();
        text.push(format!(
            "{} ({id}): {} {} from {}, {} standard uncertainties; pulled mostly by {}.",
            s.contributor.label,
            show::fixed(s.shift, show::decimals_for(s.u_after).unwrap_or(2)),
            s.contributor.unit,
            show::significant(s.contributor.distribution.mean(), 4),
            show::fixed(s.in_u, 1),
            s.pulls.first().map_or("nothing", |p| p.measurand.as_str())
        ));
        moved.push(Share {
            id,
            label: s.contributor.label.clone(),
            u: s.u_after,
            effect: s.shift,
            systematic: true,
        });
    }
    if !moved.is_empty() {
        let mut s = Section::new(
            "suspects",
            "what would have to move to explain it, most unusual first",
            Vec::new(),
        );
        s.text = text;
        sheet.sections.push(s);
    }
    let lead: Vec<String> = x
        .suspects
        .iter()
        .take(2)
        .filter(|s| s.in_u.abs() > 0.05)
        .map(|s| format!("{} ({} u)", s.contributor.label, show::fixed(s.in_u, 1)))
        .collect();
    sheet.because.push(if lead.is_empty() {
        "Nothing has to move: the prediction is what was measured.".to_string()
    } else {
        format!("The measurement asks most of {}.", lead.join(" and of "))
    });
    sheet.next_measurement = judged.next.as_ref().map(|(c, bits)| {
        format!(
            "{} (about {:.0} minutes; expected information about the leading suspects {} bit).",
            c.how,
            c.minutes,
            show::fixed(*bits, 1)
        )
    });
    sheet
}
