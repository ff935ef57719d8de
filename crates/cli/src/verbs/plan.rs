//! `plan`.

use super::acceptance;
use crate::plan_args::{Frequencies, Plan, PlanWhat, TrialSheet};
use crate::show::Output;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::load_station;
use slantpath_workflow::planning::{
    Before, Found, FrequencyOptions, TrialSheetOptions, frequency_sheet, trial_sheet,
};

/// Writes a sheet of what is fixed beforehand.
pub fn run(a: &Plan, out: &Output) -> Result<u8, WorkflowError> {
    let sheet = match &a.what {
        PlanWhat::Frequencies(f) => frequencies(f, out)?,
        PlanWhat::Trial(t) => trial(t, out)?,
        PlanWhat::Acceptance(x) => return acceptance::run(x, out),
    };
    out.sheets(&[sheet])
}

fn frequencies(a: &Frequencies, out: &Output) -> Result<slantpath_report::Sheet, WorkflowError> {
    let loaded = load_station(&a.station.station)?;
    out.warnings(&loaded.warnings);
    let pair = |v: &[f64]| match v {
        [a, b] => Some((*a, *b)),
        _ => None,
    };
    let options = FrequencyOptions {
        branch: a.branch.clone(),
        channels_mhz: a.channel.clone(),
        step_khz: a.step,
        found: a
            .beacon
            .clone()
            .zip(pair(&a.found))
            .map(|(beacon, at_mhz)| Found { beacon, at_mhz }),
        ppm: pair(&a.ppm),
        order: a.order,
        sources: bands("--source", &a.source)?,
        services: bands("--service", &a.service)?,
        only_typed: a.only_typed,
        tolerance_hz: a.tolerance,
    };
    frequency_sheet(loaded.station(a.station.variant.as_deref())?, &options)
}

/// `name=MHZ` or `name=LOW..HIGH`.
fn bands(option: &str, typed: &[String]) -> Result<Vec<(String, f64, f64)>, WorkflowError> {
    let read = |t: &String| {
        let (name, band) = t.split_once('=')?;
        let (lo, hi) = band.split_once("..").unwrap_or((band, band));
        let (lo, hi) = (
            lo.trim().parse::<f64>().ok()?,
            hi.trim().parse::<f64>().ok()?,
        );
        (lo > 0.0 && hi >= lo && hi.is_finite()).then(|| (name.trim().to_string(), lo, hi))
    };
    typed
        .iter()
        .map(|t| {
            read(t).ok_or_else(|| {
                WorkflowError::argument(
                    format!("{option} {t} is no name with frequencies"),
                    format!("for example {option} clock=40 or {option} mast=758..803, in MHz"),
                )
            })
        })
        .collect()
}

fn trial(a: &TrialSheet, out: &Output) -> Result<slantpath_report::Sheet, WorkflowError> {
    let loaded = load_station(&a.station.station)?;
    out.warnings(&loaded.warnings);
    let side = |k: usize| a.sides.get(k).cloned().unwrap_or_default();
    let options = TrialSheetOptions {
        before: Before {
            pilot_db: a.pilot.clone(),
            assumed_db: a.scatter,
            effect_db: a.effect,
            bandwidth_hz: a.bandwidth,
            remount_min: a.remount,
            warm_min: a.warm,
            seed: a.seed,
        },
        sides: (side(0), side(1)),
    };
    trial_sheet(loaded.station(a.station.variant.as_deref())?, &options)
}
