//! `compare`: the swap trial on recordings.

use crate::WorkflowError;
use crate::measure::{Measured, random_u};
use slantpath_quantity::{Answer, Estimate, Unit};
use slantpath_report::{Section, Sheet};
use slantpath_verdict::trial::{Observation, Side, TrialOptions, TrialResult, trial};
use std::collections::BTreeMap;

/// A compared measurand.
#[derive(Debug)]
pub struct Compared {
    /// Its identity.
    pub measurand: String,
    /// What a person calls it.
    pub label: String,
    /// The trial.
    pub result: TrialResult,
    /// What went in.
    pub observations: Vec<Observation>,
}

/// Compares every measurand that stands on both sides; `wanted` keeps those whose identity contains it.
///
/// # Errors
/// A recording without side or start time; nothing common to both sides.
pub fn compare(
    recordings: &[(Option<Side>, Measured)],
    wanted: Option<&str>,
    options: &TrialOptions,
) -> Result<Vec<Compared>, WorkflowError> {
    let mut by: BTreeMap<String, (String, Vec<Observation>)> = BTreeMap::new();
    for (given, m) in recordings {
        let about = &m.measurement.about;
        let side = match given.or_else(|| side_of(about.mount.side.as_deref())) {
            Some(s) => s,
            None => {
                return Err(WorkflowError::argument(
                    format!(
                        "{} does not say which side of the trial it is",
                        m.path.display()
                    ),
                    "give it after --a or --b, or write `slantpath:side` into its metadata",
                ));
            }
        };
        let Some(time_s) = m.time_s() else {
            return Err(WorkflowError::argument(
                format!("{} does not say when it was made", m.path.display()),
                "a trial needs the order in time: give the start in the metadata or in a SigMF file",
            ));
        };
        for a in m.answers() {
            let levels = matches!(a.unit, Unit::Db | Unit::DbHz | Unit::DbPerK);
            if !levels || wanted.is_some_and(|w| !a.measurand.contains(w)) {
                continue;
            }
            let (Some(e), Some(u)) = (a.estimate(), random_u(a)) else {
                continue;
            };
            by.entry(a.measurand.clone())
                .or_insert_with(|| (a.label.clone(), Vec::new()))
                .1
                .push(Observation {
                    side,
                    time_s,
                    value_db: e.value,
                    u_random_db: u,
                    mounting: about.mount.remount.map(|r| r.to_string()),
                    block: about.mount.block.and_then(|b| u32::try_from(b).ok()),
                    branch: m.branch.clone().unwrap_or_default(),
                    source: m.path.display().to_string(),
                    control: None,
                });
        }
    }
    let mut out = Vec::new();
    for (measurand, (label, observations)) in by {
        let both = [Side::A, Side::B]
            .iter()
            .all(|s| observations.iter().any(|o| o.side == *s));
        if !both {
            continue;
        }
        let result = trial(&observations, options)?;
        out.push(Compared {
            measurand,
            label,
            result,
            observations,
        });
    }
    if out.is_empty() {
        return Err(WorkflowError::argument(
            "nothing was measured on both sides",
            "record the same beacon on both sides, and look at `slantpath measure` for what each recording shows",
        ));
    }
    Ok(out)
}

/// `A` or `B` as metadata write it.
pub fn side_of(text: Option<&str>) -> Option<Side> {
    match text?.trim() {
        "A" | "a" => Some(Side::A),
        "B" | "b" => Some(Side::B),
        _ => None,
    }
}

/// The sheet of a comparison.
pub fn compare_sheet(compared: &[Compared]) -> Sheet {
    let mut sheet = Sheet {
        verb: "compare".into(),
        title: "Swap trial: B against A".into(),
        ..Sheet::default()
    };
    for (i, c) in compared.iter().enumerate() {
        let r = &c.result;
        let answer = r.to_answer(&c.measurand, &c.label);
        let naive = Answer::known(
            format!("{}.naive", c.measurand),
            "plain difference of means (wrong under drift)",
            Unit::Db,
            r.naive.clone(),
        );
        let scatter = Answer::known(
            format!("{}.remount_scatter", c.measurand),
            "scatter from mounting to mounting",
            Unit::Db,
            Estimate::exact(r.remount_scatter_db),
        );
        let mut s = Section::new(
            &format!("trial_{}", i + 1),
            c.label.clone(),
            vec![answer.clone(), naive, scatter],
        )
        .say(r.sentence());
        let n = |side: Side| c.observations.iter().filter(|o| o.side == side).count();
        s.text.push(format!(
            "{} recordings on side A, {} on side B.",
            n(Side::A),
            n(Side::B)
        ));
        let p = &r.pairs;
        s.text.push(match (p.more_for_observed, p.more_for_effect) {
            (Some(0), _) => "The difference seen is resolved.".to_string(),
            (Some(k), Some(e)) => format!(
                "{k} more pairs would resolve the difference seen, {e} more a difference of {} dB.",
                p.effect_db
            ),
            (Some(k), None) => format!("{k} more pairs would resolve the difference seen."),
            (None, Some(e)) => format!(
                "{e} more pairs would resolve a difference of {} dB.",
                p.effect_db
            ),
            (None, None) => "No practical number of pairs would resolve it.".to_string(),
        });
        for caution in &r.cautions {
            s.text.push(caution.text());
        }
        sheet.sections.push(s);
        sheet.because.extend(answer.because.iter().take(2).cloned());
        sheet.next_measurement.get_or_insert_with(|| r.next.clone());
    }
    sheet
}
