//! `plan acceptance`.

use super::diagnose::symptoms;
use super::routes::sky_sources;
use super::{all_readings, conditions, measure_all};
use crate::command_line;
use crate::plan_args::Acceptance;
use crate::show::Output;
use slantpath_report::{Provenance, Sheet};
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::{digest, load_station, write_new};
use slantpath_workflow::measure::{Measured, known_branch};
use slantpath_workflow::page::written_by;
use slantpath_workflow::planning::{Acceptance as Case, acceptance_sheet};
use slantpath_workflow::predict::predicted;

/// Prints the sheet, or writes it as a page.
pub fn run(a: &Acceptance, out: &Output) -> Result<u8, WorkflowError> {
    let Some(path) = &a.out else {
        return out.sheets(&[sheet(a, out)?.0]);
    };
    // The page says for which moment it was computed, so that it can be computed again.
    let now = a.drawn.at.unwrap_or_else(jiff::Timestamp::now);
    let mut command = command_line::of_this_run(&["--out"]);
    if a.drawn.at.is_none() {
        command.push_str(&format!(" --at {now}"));
    }
    write_new(path, &page(a, now, command, out)?)?;
    out.done("plan", &format!("wrote {}", path.display()))
}

/// The page for a moment, with the command that computes it.
pub fn page(
    a: &Acceptance,
    now: jiff::Timestamp,
    command: String,
    out: &Output,
) -> Result<String, WorkflowError> {
    let (sheet, inputs) = at(a, Some(now), out)?;
    let provenance = Provenance {
        inputs,
        seed: a.drawn.seed,
        trials: usize::try_from(a.drawn.draws).unwrap_or(usize::MAX),
        written_by: written_by(),
        command,
    };
    let title = sheet.title.clone();
    Ok(slantpath_report::page::html(
        &title,
        &[sheet],
        None,
        &provenance,
    ))
}

type Inputs = Vec<(String, String, String)>;

fn sheet(a: &Acceptance, out: &Output) -> Result<(Sheet, Inputs), WorkflowError> {
    at(a, a.drawn.at, out)
}

fn at(
    a: &Acceptance,
    moment: Option<jiff::Timestamp>,
    out: &Output,
) -> Result<(Sheet, Inputs), WorkflowError> {
    let loaded = load_station(&a.station.station)?;
    out.warnings(&loaded.warnings);
    let station = loaded.station(a.station.variant.as_deref())?;
    known_branch(station, a.recorded.branch.as_deref())?;
    let (mut conditions, drawing) = conditions(&a.drawn);
    conditions.time = moment;
    let predicted = predicted(station, &conditions, drawing, &out.progress("predicting"))?;
    let measured = measure_all(station, &a.recordings, &a.recorded, out)?;
    let readings = all_readings(station, a.readings.as_deref())?;
    let found = symptoms("--found", &a.found)?;
    let sources = sky_sources(
        station,
        a.sun.as_deref(),
        &a.drawn,
        &a.sun_flux_at,
        &a.recorded,
        out,
    )?;
    // The branch that was asked for, else the one that was recorded, else the first.
    let branch = a
        .recorded
        .branch
        .clone()
        .or_else(|| measured.iter().find_map(|m| m.branch.clone()))
        .or_else(|| station.receive.branches.first().map(|b| b.name.clone()))
        .unwrap_or_default();
    let sheet = acceptance_sheet(&Case {
        station,
        predicted: &predicted,
        branch: &branch,
        without: &a.without,
        warm_min: a.warm,
        worst_rise_db: a.rise,
        measured: &measured,
        readings: &readings,
        sources: &sources,
        found: &found,
    })?;
    let mut inputs = loaded.inputs.clone();
    inputs.extend(measured.iter().map(Measured::input));
    for (what, path) in a
        .readings
        .iter()
        .map(|p| ("readings", p))
        .chain(a.sun.iter().map(|p| ("Sun scan", p)))
    {
        let bytes = std::fs::read(path).map_err(|cause| WorkflowError::Machine {
            path: path.display().to_string(),
            cause,
        })?;
        inputs.push((what.into(), path.display().to_string(), digest(&bytes)));
    }
    Ok((sheet, inputs))
}
