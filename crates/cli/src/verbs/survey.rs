//! `survey`.

use crate::args::Survey;
use crate::show::Output;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::load_station;
use slantpath_workflow::survey::survey;

/// Where the satellite stands.
pub fn run(a: &Survey, out: &Output) -> Result<u8, WorkflowError> {
    let loaded = load_station(&a.station.station)?;
    out.warnings(&loaded.warnings);
    let station = loaded.station(a.station.variant.as_deref())?;
    out.sheets(&[survey(station, a.at.unwrap_or_else(jiff::Timestamp::now))?])
}
