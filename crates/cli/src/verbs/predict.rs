//! `predict`.

use super::conditions;
use crate::args::Predict;
use crate::show::Output;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::load_station;
use slantpath_workflow::predict::{predict_sheet, predicted};

/// Predicts the base, or every variant asked for.
pub fn run(a: &Predict, out: &Output) -> Result<u8, WorkflowError> {
    let loaded = load_station(&a.station)?;
    out.warnings(&loaded.warnings);
    let (conditions, drawing) = conditions(&a.drawn);
    let mut wanted: Vec<Option<&str>> = vec![None];
    wanted.extend(a.variant.iter().map(|v| Some(v.as_str())));
    let mut sheets = Vec::new();
    for v in wanted {
        let station = loaded.station(v)?;
        let p = predicted(station, &conditions, drawing, &out.progress("predicting"))?;
        sheets.push(predict_sheet(station, &p, &conditions, a.branch.as_deref()));
    }
    out.sheets(&sheets)
}
