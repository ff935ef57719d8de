//! `verdict`.

use super::{all_readings, conditions, measure_all};
use crate::args::Verdict;
use crate::show::Output;
use slantpath_report::Sheet;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::{Loaded, load_station};
use slantpath_workflow::measure::{Measured, measure_sheet};
use slantpath_workflow::predict::{Predicted, predict_sheet, predicted};
use slantpath_workflow::verdict::{Judged, judge, verdict_sheet};

/// Everything a verdict rests on.
pub struct Case {
    pub loaded: Loaded,
    pub predicted: Predicted,
    pub measured: Vec<Measured>,
    pub judged: Judged,
    pub sheets: Vec<Sheet>,
}

/// Reads, predicts, measures and judges.
pub fn case(a: &Verdict, out: &Output) -> Result<Case, WorkflowError> {
    let loaded = load_station(&a.station.station)?;
    out.warnings(&loaded.warnings);
    let station = loaded.station(a.station.variant.as_deref())?;
    let (conditions, drawing) = conditions(&a.drawn);
    let predicted = predicted(station, &conditions, drawing, &out.progress("predicting"))?;
    let measured = measure_all(station, &a.recordings, &a.recorded, out)?;
    let readings = all_readings(station, a.readings.as_deref())?;
    let judged = judge(station, &predicted, &measured, &readings)?;
    let sheets = vec![
        predict_sheet(
            station,
            &predicted,
            &conditions,
            a.recorded.branch.as_deref(),
        ),
        measure_sheet(station, &measured),
        verdict_sheet(station, &judged),
    ];
    Ok(Case {
        loaded,
        predicted,
        measured,
        judged,
        sheets,
    })
}

/// Prints the verdict.
pub fn run(a: &Verdict, out: &Output) -> Result<u8, WorkflowError> {
    let case = case(a, out)?;
    out.sheets(case.sheets.get(2..).unwrap_or(&[]))
}
