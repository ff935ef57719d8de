//! `routes`.

use super::diagnose::symptom;
use super::{all_readings, conditions, measure_all};
use crate::plan_args::Routes;
use crate::show::Output;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::load_station;
use slantpath_workflow::routes::routes_sheet;

/// Puts every route to G/T beside the others.
pub fn run(a: &Routes, out: &Output) -> Result<u8, WorkflowError> {
    let loaded = load_station(&a.station.station)?;
    out.warnings(&loaded.warnings);
    let station = loaded.station(a.station.variant.as_deref())?;
    let (conditions, _) = conditions(&a.drawn);
    let measured = measure_all(station, &a.recordings, &a.recorded, out)?;
    let readings = all_readings(station, a.readings.as_deref())?;
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
