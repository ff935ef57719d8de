//! `verdict`: prediction and measurement side by side, and what would have to move.

mod guesses;
mod supply;

pub use guesses::proposals;

use crate::WorkflowError;
use crate::measure::{Measured, branch_names, usable};
use crate::predict::Predicted;
use slantpath_link::Measurand;
use slantpath_quantity::{Angle, Answer, Estimate, Unit, show};
use slantpath_report::{Section, Sheet};
use slantpath_station::Station;
use slantpath_station::checked::{Reading, ReadingQuantity};
use slantpath_verdict::explain::{
    Candidate, Comparand, Explanation, Suspect, explain_with, next_measurement,
};

/// The verdict with what it rests on.
#[derive(Debug)]
pub struct Judged {
    /// Prediction against measurement, in the order of the comparands.
    pub explanation: Explanation,
    /// What was compared.
    pub comparands: Vec<Comparand>,
    /// The candidate measurement that tells most, and its information in bits.
    pub next: Option<(Candidate, f64)>,
    /// Volts at the LNB as the DC graph gives them and as they were read.
    pub supply: Vec<Answer>,
    /// Readings that the model does not predict.
    pub left_out: Vec<String>,
}

/// A reading without uncertainty still has that of its last digit (tenths of a decibel; common practice, no source).
pub(crate) const LEAST_READING_U_DB: f64 = 0.1;

/// Compares like with like: every measured figure that the model predicts.
///
/// # Errors
/// Nothing that was measured is predicted.
pub fn judge(
    station: &Station,
    p: &Predicted,
    measured: &[Measured],
    readings: &[Reading],
) -> Result<Judged, WorkflowError> {
    let mut comparands = Vec::new();
    let mut outputs = Vec::new();
    let mut take = |k: usize, value: f64, u: f64, at_least: bool| {
        if let Some(c) = comparand(p, k, value, u, at_least) {
            comparands.push(c);
            outputs.push(k);
        }
    };
    for m in measured {
        for a in m.answers().iter().filter(|a| usable(a)) {
            if let (Some(k), Some(e)) = (p.prediction.index(&a.measurand), a.estimate()) {
                take(k, e.value, e.u, false);
            }
        }
    }
    let supply = supply::at_the_lnb(station, readings);
    let mut left_out = Vec::new();
    for r in readings {
        if r.quantity == ReadingQuantity::LnbVolts && !supply.is_empty() {
            continue;
        }
        match predicted_index(p, r) {
            Some(k) => {
                let d = r.value.distribution;
                take(k, d.mean(), d.u(), r.at_ceiling);
            }
            None => left_out.push(format!("{} ({})", r.value.label, r.value.source)),
        }
    }
    if comparands.is_empty() && supply.is_empty() {
        let unnamed = measured.iter().any(|m| m.branch.is_none());
        return Err(WorkflowError::argument(
            "nothing that was measured is predicted for this station",
            if unnamed {
                format!(
                    "say on which branch it was recorded: --branch with one of {}",
                    branch_names(station)
                )
            } else {
                "record the beacons of the satellite file".to_string()
            },
        ));
    }
    let contributors = &p.prediction.contributors;
    let best: Vec<f64> = contributors.iter().map(|c| c.distribution.mean()).collect();
    let mut all = vec![0.0; p.prediction.measurands.len()];
    let explanation = explain_with(contributors, &comparands, &mut |shift| {
        let x: Vec<f64> = best.iter().zip(shift).map(|(b, s)| b + s).collect();
        p.model.evaluate(&x, &mut all);
        outputs.iter().map(|&k| all.get(k).copied()).collect()
    })?;
    let mut candidates = candidates(p, &comparands);
    slopes_there(p, &explanation, &best, &mut candidates);
    let next = next_measurement(&explanation, contributors, &candidates, 2)
        .and_then(|(k, bits)| candidates.get(k).cloned().map(|c| (c, bits)));
    Ok(Judged {
        explanation,
        comparands,
        next,
        supply,
        left_out,
    })
}

/// Sensitivities of the candidates where the explanation ended, not at the best estimates it set out from: a culprit that
/// moved far bends what a further measurement would tell.
fn slopes_there(p: &Predicted, x: &Explanation, best: &[f64], candidates: &mut [Candidate]) {
    let contributors = &p.prediction.contributors;
    let there: Vec<f64> = contributors
        .iter()
        .zip(best)
        .map(|(c, b)| {
            let moved = x.suspects.iter().find(|s| s.contributor.id == c.id);
            b + moved.map_or(0.0, |s| s.shift)
        })
        .collect();
    let places: Vec<Option<usize>> = candidates
        .iter()
        .map(|c| p.prediction.index(&c.measurand))
        .collect();
    let outputs = p.prediction.measurands.len();
    let (mut lo, mut hi) = (vec![0.0; outputs], vec![0.0; outputs]);
    let mut at = there.clone();
    for (i, c) in contributors.iter().enumerate() {
        let step = 0.1 * c.distribution.u();
        if step <= 0.0 {
            continue;
        }
        at[i] = there[i] - step;
        p.model.evaluate(&at, &mut lo);
        at[i] = there[i] + step;
        p.model.evaluate(&at, &mut hi);
        at[i] = there[i];
        for (candidate, k) in candidates.iter_mut().zip(&places) {
            let Some(k) = *k else { continue };
            let slope = (hi[k] - lo[k]) / (2.0 * step);
            // Where the model ends, the slope at the best estimates is the best there is.
            if let Some(s) = candidate
                .sensitivity
                .get_mut(i)
                .filter(|_| slope.is_finite())
            {
                *s = slope;
            }
        }
    }
}

fn comparand(p: &Predicted, k: usize, value: f64, u: f64, at_least: bool) -> Option<Comparand> {
    let (a, row) = (
        p.prediction.answers.get(k)?,
        p.prediction.sensitivity.get(k)?,
    );
    let e = a.estimate()?;
    Some(Comparand {
        measurand: a.measurand.clone(),
        label: a.label.clone(),
        unit: a.unit,
        predicted: e.value,
        u_predicted: e.u,
        measured: value,
        u_measured: if u > 0.0 { u } else { LEAST_READING_U_DB },
        at_least,
        sensitivity: row.clone(),
    })
}

/// The output that a typed reading is a measurement of. A MER at the receiver's ceiling says "this or more" of the signal
/// itself, and so does one on a receiver whose own MER is not written.
fn predicted_index(p: &Predicted, r: &Reading) -> Option<usize> {
    index_among(&p.prediction.measurands, r)
}

/// Identity of the model's output that a typed reading is a measurement of.
pub(crate) fn predicted_id(outputs: &[Measurand], r: &Reading) -> Option<String> {
    index_among(outputs, r)
        .and_then(|k| outputs.get(k))
        .map(|m| m.id.clone())
}

fn index_among(outputs: &[Measurand], r: &Reading) -> Option<usize> {
    let whats: &[&str] = match r.quantity {
        ReadingQuantity::Cn0 => &["cn0"],
        ReadingQuantity::Mer if r.at_ceiling => &["es_n0"],
        ReadingQuantity::Mer => &["mer", "es_n0"],
        ReadingQuantity::Margin => &["margin"],
        ReadingQuantity::NoiseStep => &["noise_step"],
        ReadingQuantity::YFactor => &["y_absorber"],
        ReadingQuantity::CrossPolar => &["cross_polar"],
        _ => return None,
    };
    whats.iter().find_map(|what| {
        outputs.iter().position(|m| {
            // Skew and feed are the same for every beacon.
            let beacon = r.quantity == ReadingQuantity::CrossPolar
                || r.beacon
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
    out.extend(by_the_null(p));
    out
}

/// The skew read off the feed's scale at the null of the other polarisation.
fn by_the_null(p: &Predicted) -> Option<Candidate> {
    p.prediction
        .measurands
        .iter()
        .find(|m| m.id.contains(".cross_polar@"))?;
    let contributors = &p.prediction.contributors;
    let skew = contributors
        .iter()
        .position(|c| c.id.as_str().ends_with(".skew_error"))?;
    Some(Candidate {
        measurand: "skew".into(),
        how: "Switch the converter to the other polarisation and turn it to where a beacon is weakest; how far it was turned is the skew error".into(),
        minutes: 10.0,
        u: Angle::deg(1.0).as_rad(),
        sensitivity: (0..contributors.len())
            .map(|i| if i == skew { 1.0 } else { 0.0 })
            .collect(),
    })
}

/// A measurement expected to tell less than this tells nothing.
const LEAST_BITS: f64 = 0.05;

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
            .because(match (c.at_least, d.silent) {
                (true, true) => {
                    "the instrument stands at its ceiling and the prediction lies above: they agree, and no more can be said"
                        .to_string()
                }
                (true, false) => format!(
                    "{} standard uncertainties, or more: the instrument stands at its ceiling",
                    show::fixed(d.normalised, 1)
                ),
                _ => format!("{} standard uncertainties", show::fixed(d.normalised, 1)),
            }),
        );
    }
    if !rows.is_empty() {
        sheet.sections.push(Section::new("side_by_side", "side by side", rows).say(if x.agrees() {
        format!("Prediction and measurement agree within what is stated (chance of a larger disagreement {:.0} %).", 100.0 * x.chance)
    } else {
        format!("They disagree by more than stated (chance of this by luck {:.1} %).", 100.0 * x.chance)
        }));
    }
    if !judged.supply.is_empty() {
        sheet.sections.push(Section::new(
            "supply",
            "volts at the LNB: the DC graph against the meter",
            judged.supply.clone(),
        ));
    }
    let text: Vec<String> = x
        .suspects
        .iter()
        .take(6)
        .filter(|s| s.in_u.abs() > 0.05)
        .map(suspect_text)
        .collect();
    if !text.is_empty() {
        let mut s = Section::new(
            "suspects",
            "what would have to move to explain it, most unusual first",
            Vec::new(),
        );
        s.text = text;
        sheet.sections.push(s);
    }
    sheet.sections.extend(guesses::section(station, x));
    if !x.converged {
        sheet.cautions.push(
            "The model ends before the measurement is explained: what would have to move stands at the edge of what can be."
                .into(),
        );
    }
    for r in &judged.left_out {
        sheet.cautions.push(format!(
            "Not compared, because the model predicts no such figure: {r}."
        ));
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
        if *bits < LEAST_BITS {
            return "None of the measurements that the model predicts would tell more about the leading suspects: look at \
                    them directly."
                .to_string();
        }
        format!(
            "{} (about {:.0} min; expected information about the leading suspects {} bit).",
            c.how,
            c.minutes,
            show::fixed(*bits, 1)
        )
    });
    sheet
}

/// One contributor: how far, how unusual, and which measurement pulls how much of it.
fn suspect_text(s: &Suspect) -> String {
    let places = show::decimals_for(s.u_after).unwrap_or(2);
    let unit = s.contributor.unit;
    let pulls: Vec<String> = s
        .pulls
        .iter()
        .take(3)
        .filter(|p| {
            show::fixed(p.part, places)
                .chars()
                .any(|c| ('1'..='9').contains(&c))
        })
        .map(|p| format!("{} {}", p.measurand, show::fixed(p.part, places)))
        .collect();
    let mut text = format!(
        "{} ({}): {} {unit} {} {}, u then {}; {} standard uncertainties",
        s.contributor.label,
        s.contributor.id,
        show::fixed(s.shift, places),
        if s.either_way {
            "either way from"
        } else {
            "from"
        },
        show::significant(s.contributor.distribution.mean(), 4),
        show::significant(s.u_after, 2),
        show::fixed(s.in_u, 1),
    );
    if pulls.is_empty() {
        text.push('.');
    } else {
        text.push_str(&format!("; pulled by {}.", pulls.join(", ")));
    }
    if (s.linear - s.shift).abs() > 0.2 * s.contributor.distribution.u() {
        text.push_str(&format!(
            " A straight line through the best estimates would have said {}.",
            show::fixed(s.linear, places)
        ));
    }
    if s.in_u.abs() > 2.0 {
        text.push_str(" More than what is stated of it allows easily: look there first, or at what it was stated from.");
    }
    text
}
