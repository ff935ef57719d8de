//! `verdict`.

use super::{all_readings, conditions, measure_all};
use crate::args::Verdict;
use crate::show::Output;
use slantpath_report::Sheet;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::diagnosis::where_they_disagree;
use slantpath_workflow::files::{Loaded, load_station};
use slantpath_workflow::measure::{Measured, known_branch, measure_sheet};
use slantpath_workflow::predict::{Predicted, predict_sheet, predicted};
use slantpath_workflow::verdict::{Judged, judge, verdict_sheet};

/// Everything a verdict rests on.
pub struct Case {
    pub loaded: Loaded,
    pub predicted: Predicted,
    pub measured: Vec<Measured>,
    /// The verdict, or why there is none.
    pub judged: Result<Judged, WorkflowError>,
    pub sheets: Vec<Sheet>,
}

/// Reads, predicts, measures and judges.
pub fn case(a: &Verdict, out: &Output) -> Result<Case, WorkflowError> {
    let loaded = load_station(&a.station.station)?;
    out.warnings(&loaded.warnings);
    let station = loaded.station(a.station.variant.as_deref())?;
    known_branch(station, a.recorded.branch.as_deref())?;
    let (conditions, drawing) = conditions(&a.drawn);
    let predicted = predicted(station, &conditions, drawing, &out.progress("predicting"))?;
    let measured = measure_all(station, &a.recordings, &a.recorded, out)?;
    let readings = all_readings(station, a.readings.as_deref())?;
    let judged = if measured.is_empty() && readings.is_empty() {
        Err(WorkflowError::argument(
            "there is nothing to judge: no recording and no reading was given",
            "name recordings behind the station file, or readings with --readings",
        ))
    } else {
        judge(station, &predicted, &measured, &readings)
    };
    let mut sheets = vec![predict_sheet(
        station,
        &predicted,
        &conditions,
        a.recorded.branch.as_deref(),
    )];
    if !measured.is_empty() {
        sheets.push(measure_sheet(station, &measured));
    }
    match &judged {
        Ok(j) => {
            sheets.push(verdict_sheet(station, j));
            sheets.extend(where_they_disagree(
                station,
                &conditions,
                j,
                &measured,
                &readings,
            ));
        }
        // What was recorded stands on the page all the same, with what it does not say.
        Err(e) if !measured.is_empty() => {
            let text = e.to_string();
            let (why, remedy) = text.split_once('\n').unwrap_or((&text, ""));
            sheets.push(Sheet {
                verb: "verdict".into(),
                title: format!("{}: prediction against measurement", station.name),
                because: vec![format!("There is no verdict: {why}.")],
                next_measurement: Some(remedy.trim().to_string()).filter(|r| !r.is_empty()),
                refused: true,
                ..Sheet::default()
            });
        }
        Err(_) => {}
    }
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
    if case.measured.is_empty() {
        case.judged?;
    }
    let from = case.sheets.iter().position(|s| s.verb == "verdict");
    out.sheets(from.and_then(|k| case.sheets.get(k..)).unwrap_or(&[]))
}
