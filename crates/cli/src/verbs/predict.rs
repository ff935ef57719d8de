//! `predict`.

use super::conditions;
use crate::args::Predict;
use crate::show::Output;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::load_station;
use slantpath_workflow::measure::known_branch;
use slantpath_workflow::predict::{Predicted, predict_sheet, predicted, side_by_side};

/// Predicts the base; with variants, all of them side by side first.
pub fn run(a: &Predict, out: &Output) -> Result<u8, WorkflowError> {
    let loaded = load_station(&a.station)?;
    out.warnings(&loaded.warnings);
    let (conditions, drawing) = conditions(&a.drawn);
    let branch = a.branch.as_deref();
    let base = loaded.station(None)?;
    known_branch(base, branch)?;
    let p = predicted(base, &conditions, drawing, &out.progress("predicting"))?;
    let mut sheets = vec![predict_sheet(base, &p, &conditions, branch)];
    let names: Vec<&str> = if a.all_variants {
        loaded.file.variant_names()
    } else {
        a.variant.iter().map(String::as_str).collect()
    };
    let mut variants: Vec<(&str, Predicted)> = Vec::new();
    for name in names {
        let station = loaded.station(Some(name))?;
        let v = predicted(station, &conditions, drawing, &out.progress("predicting"))?;
        sheets.push(predict_sheet(station, &v, &conditions, branch));
        variants.push((name, v));
    }
    if !variants.is_empty() {
        let by: Vec<(&str, &Predicted)> = variants.iter().map(|(n, v)| (*n, v)).collect();
        let table = side_by_side(&p, &by, branch, drawing)?;
        if let Some(first) = sheets.first_mut() {
            first.sections.insert(0, table);
        }
    }
    out.sheets(&sheets)
}
