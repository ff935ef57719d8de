//! `report`.

use super::verdict::case;
use crate::args::Report;
use crate::show::Output;
use slantpath_report::Provenance;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::write_new;
use slantpath_workflow::page::{case_page, written_by};
use slantpath_workflow::survey::survey;

/// Writes the page.
pub fn run(a: &Report, out: &Output) -> Result<u8, WorkflowError> {
    let mut c = case(&a.verdict, out)?;
    let station = c.loaded.station(a.verdict.station.variant.as_deref())?;
    let now = a.verdict.drawn.at.unwrap_or_else(jiff::Timestamp::now);
    c.sheets.insert(0, survey(station, now)?);
    let mut inputs = c.loaded.inputs.clone();
    inputs.extend(
        c.measured
            .iter()
            .map(slantpath_workflow::measure::Measured::input),
    );
    let provenance = Provenance {
        inputs,
        seed: a.verdict.drawn.seed,
        trials: usize::try_from(a.verdict.drawn.draws).unwrap_or(usize::MAX),
        written_by: written_by(),
        command: std::env::args()
            .skip(1)
            .fold("slantpath".to_string(), |s, x| s + " " + &x),
    };
    let html = case_page(
        station,
        c.sheets,
        Some((&c.predicted, &c.judged)),
        &c.measured,
        &[],
        &provenance,
    );
    write_new(&a.out, &html)?;
    out.line(&format!("wrote {}\n", a.out.display()));
    Ok(0)
}
