//! `diagnose`.

use super::{all_readings, conditions, measure_all};
use crate::plan_args::Diagnose;
use crate::show::Output;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::diagnosis::{diagnosed, diagnosis_sheet};
use slantpath_workflow::files::load_station;

/// Ranks the faults and says what to measure next.
pub fn run(a: &Diagnose, out: &Output) -> Result<u8, WorkflowError> {
    let loaded = load_station(&a.station.station)?;
    out.warnings(&loaded.warnings);
    let station = loaded.station(a.station.variant.as_deref())?;
    let (conditions, _) = conditions(&a.drawn);
    let measured = measure_all(station, &a.recordings, &a.recorded, out)?;
    let readings = all_readings(station, a.readings.as_deref())?;
    let seen = symptoms("--seen", &a.seen)?;
    let x = diagnosed(station, &conditions, &measured, &readings, &seen)?;
    out.sheets(&[diagnosis_sheet(station, &x)])
}

/// Every `name=value` or `name=value+-u` of an option.
pub fn symptoms(option: &str, typed: &[String]) -> Result<Vec<(String, f64, f64)>, WorkflowError> {
    typed.iter().map(|t| symptom(option, t)).collect()
}

/// `name=value` or `name=value+-u`.
fn symptom(option: &str, text: &str) -> Result<(String, f64, f64), WorkflowError> {
    let read = || {
        let (name, rest) = text.split_once('=')?;
        let (value, u) = rest
            .split_once("+-")
            .or_else(|| rest.split_once('±'))
            .unwrap_or((rest, "0"));
        let (value, u) = (
            value.trim().parse::<f64>().ok()?,
            u.trim().parse::<f64>().ok()?,
        );
        (value.is_finite() && u.is_finite() && u >= 0.0)
            .then(|| (name.trim().to_string(), value, u))
    };
    read().ok_or_else(|| {
        WorkflowError::argument(
            format!("{option} {text} is no name with a value"),
            format!("for example {option} name=0.8+-0.1"),
        )
    })
}
