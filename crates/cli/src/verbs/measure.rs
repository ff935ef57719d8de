//! `measure`.

use super::measure_options;
use crate::args::Measure;
use crate::show::Output;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::load_station;
use slantpath_workflow::measure::{measure_file, measure_sheet};
use slantpath_workflow::power::{Published, sun_sheet, y_sheet};

/// Measures every recording.
pub fn run(a: &Measure, out: &Output) -> Result<u8, WorkflowError> {
    let loaded = load_station(&a.station.station)?;
    out.warnings(&loaded.warnings);
    let station = loaded.station(a.station.variant.as_deref())?;
    let options = measure_options(&a.recorded)?;
    let pair = |v: &[f64]| match v {
        [a, b] => Some((*a, *b)),
        _ => None,
    };
    let mut sheets = Vec::new();
    if !a.hot.is_empty() {
        let loads = pair(&a.t_hot).zip(pair(&a.t_cold));
        sheets.push(y_sheet(
            &a.hot,
            &a.cold,
            loads,
            &options,
            &out.progress("measuring"),
        )?);
    }
    if let Some(path) = &a.sun {
        sheets.push(sun_sheet(
            station,
            path,
            &Published::of(&a.sun_flux, &a.sun_flux_at),
            &options,
            &out.progress("measuring"),
        )?);
    }
    let mut measured = Vec::new();
    for r in &a.recordings {
        measured.push(measure_file(
            station,
            r,
            &options,
            &out.progress("measuring"),
        )?);
    }
    if !measured.is_empty() {
        sheets.push(measure_sheet(station, &measured));
    }
    out.sheets(&sheets)
}
