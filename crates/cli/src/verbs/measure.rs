//! `measure`.

use super::measure_options;
use crate::args::Measure;
use crate::show::Output;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::load_station;
use slantpath_workflow::measure::{measure_file, measure_sheet};

/// Measures every recording.
pub fn run(a: &Measure, out: &Output) -> Result<u8, WorkflowError> {
    let loaded = load_station(&a.station.station)?;
    out.warnings(&loaded.warnings);
    let station = loaded.station(a.station.variant.as_deref())?;
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
    out.sheets(&[measure_sheet(station, &measured)])
}
