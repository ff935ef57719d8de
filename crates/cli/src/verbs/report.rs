//! `report`.

use super::verdict::case;
use crate::args::Report;
use crate::command_line;
use crate::show::Output;
use slantpath_report::{Provenance, Sheet};
use slantpath_workflow::WorkflowError;
use slantpath_workflow::drive::{DriveOptions, drive_sheet};
use slantpath_workflow::files::write_new;
use slantpath_workflow::page::{case_page, written_by};
use slantpath_workflow::survey::survey;

/// Writes the page.
pub fn run(a: &Report, out: &Output) -> Result<u8, WorkflowError> {
    // The page says for which moment it was computed, so that it can be computed again.
    let now = a.verdict.drawn.at.unwrap_or_else(jiff::Timestamp::now);
    let mut command = command_line::of_this_run(&["--out"]);
    if a.verdict.drawn.at.is_none() {
        command.push_str(&format!(" --at {now}"));
    }
    write_new(&a.out, &page(a, now, command, out)?)?;
    out.done("report", &format!("wrote {}", a.out.display()))
}

/// The page for a moment, with the command that computes it.
pub fn page(
    a: &Report,
    now: jiff::Timestamp,
    command: String,
    out: &Output,
) -> Result<String, WorkflowError> {
    let mut verdict = a.verdict.clone();
    verdict.drawn.at = Some(now);
    let mut c = case(&verdict, out)?;
    let station = c.loaded.station(verdict.station.variant.as_deref())?;
    c.sheets.insert(0, survey(station, now)?);
    if station
        .transmit
        .as_ref()
        .is_some_and(|t| !t.segments.is_empty())
    {
        let options = DriveOptions {
            seed: verdict.drawn.seed,
            ..DriveOptions::default()
        };
        // A transmit side that cannot be planned does not take the report away: it says why.
        c.sheets.push(
            drive_sheet(station, &c.predicted, &options, &out.progress("planning")).unwrap_or_else(
                |e| Sheet {
                    verb: "drive".into(),
                    title: format!("{}: the transmit side", station.name),
                    because: vec![format!("It could not be planned: {e}")],
                    refused: true,
                    ..Sheet::default()
                },
            ),
        );
    }
    let mut inputs = c.loaded.inputs.clone();
    inputs.extend(
        c.measured
            .iter()
            .map(slantpath_workflow::measure::Measured::input),
    );
    if let Some(p) = &verdict.readings {
        let bytes = std::fs::read(p).map_err(|cause| WorkflowError::Machine {
            path: p.display().to_string(),
            cause,
        })?;
        inputs.push((
            "readings".into(),
            p.display().to_string(),
            slantpath_workflow::files::digest(&bytes),
        ));
    }
    let provenance = Provenance {
        inputs,
        seed: verdict.drawn.seed,
        trials: usize::try_from(verdict.drawn.draws).unwrap_or(usize::MAX),
        written_by: written_by(),
        command,
    };
    Ok(case_page(
        station,
        c.sheets,
        &c.predicted,
        c.judged.as_ref().ok(),
        &c.measured,
        &[],
        &provenance,
    ))
}
