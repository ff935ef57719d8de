//! `routes`.

use super::diagnose::symptoms;
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
    let typed = symptoms("--route", &a.route)?;
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
    let mut sources = sky_sources(
        station,
        a.sun.as_deref(),
        &a.drawn,
        &a.sun_flux_at,
        &a.recorded,
        out,
    )?;
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

/// The G/T of a Sun scan, or why it gives none; nothing without a scan.
pub fn sky_sources(
    station: &Station,
    scan: Option<&Path>,
    drawn: &Drawn,
    flux_at: &[f64],
    recorded: &Recorded,
    out: &Output,
) -> Result<Sources, WorkflowError> {
    let mut sources = Sources::default();
    let Some(scan) = scan else {
        return Ok(sources);
    };
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
    Ok(sources)
}
