//! `routes`.

use super::diagnose::symptom;
use super::{all_readings, conditions, measure_all, measure_options};
use crate::args::{Drawn, Recorded};
use crate::plan_args::Routes;
use crate::show::Output;
use slantpath_link::Model;
use slantpath_station::Station;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::load_station;
use slantpath_workflow::power::{Published, moon_g_over_t, sun_sheet};
use slantpath_workflow::routes::{Sources, routes_sheet};
use std::path::Path;

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
    let mut sources = Sources::default();
    if let Some(scan) = &a.sun {
        sun_source(
            &mut sources,
            station,
            scan,
            &a.drawn,
            &a.sun_flux_at,
            &a.recorded,
            out,
        )?;
    }
    if let ([y, u], Some(at)) = (a.moon.as_slice(), a.moon_at) {
        let model = Model::new(station, &conditions)?;
        sources
            .answers
            .push(moon_g_over_t(station, &model, &passband, (*y, *u), at)?);
    }
    let sheet = routes_sheet(
        station,
        &conditions,
        &passband,
        &branch,
        &measured,
        &readings,
        &typed,
        &sources,
    )?;
    out.sheets(&[sheet])
}

/// Adds the G/T of a Sun scan, or why there is none.
pub fn sun_source(
    sources: &mut Sources,
    station: &Station,
    scan: &Path,
    drawn: &Drawn,
    flux_at: &[f64],
    recorded: &Recorded,
    out: &Output,
) -> Result<(), WorkflowError> {
    let here: Vec<f64> = drawn
        .sun_flux
        .map(|s| vec![s, drawn.sun_flux_u])
        .unwrap_or_default();
    sources.take(&sun_sheet(
        station,
        scan,
        &Published::of(&here, flux_at),
        &measure_options(recorded)?,
        &out.progress("measuring"),
    )?);
    Ok(())
}
