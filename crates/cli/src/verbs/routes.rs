//! `routes`.

use super::diagnose::symptom;
use super::{conditions, measure_options};
use crate::plan_args::Routes;
use crate::show::Output;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::{check_readings, load_readings, load_station};
use slantpath_workflow::measure::measure_file;
use slantpath_workflow::routes::routes_sheet;

/// Puts every route to G/T beside the others.
pub fn run(a: &Routes, out: &Output) -> Result<u8, WorkflowError> {
    let loaded = load_station(&a.station.station)?;
    out.warnings(&loaded.warnings);
    let station = loaded.station(a.station.variant.as_deref())?;
    let (conditions, _) = conditions(&a.drawn);
    let options = measure_options(&a.recorded)?;
    let mut measured = Vec::new();
    for r in &a.recordings {
        measured.push(measure_file(
            station,
            r,
            &options,
            &out.progress("measuring"),
        )?);
    }
    let mut readings = station.readings.clone();
    if let Some(p) = &a.readings {
        let typed = load_readings(p)?;
        check_readings(&typed, station)?;
        readings.extend(typed);
    }
    let typed = a
        .route
        .iter()
        .map(|t| symptom("--route", t))
        .collect::<Result<Vec<_>, _>>()?;
    let first =
        |name: Option<&String>, or: Option<&String>| name.or(or).cloned().unwrap_or_default();
    let passband = first(
        a.passband.as_ref(),
        station.satellite.passbands.first().map(|p| &p.name),
    );
    let branch = first(
        a.recorded.branch.as_ref(),
        station.receive.branches.first().map(|b| &b.name),
    );
    let sheet = routes_sheet(
        station,
        &conditions,
        &passband,
        &branch,
        &measured,
        &readings,
        &typed,
    )?;
    out.sheets(&[sheet])
}
