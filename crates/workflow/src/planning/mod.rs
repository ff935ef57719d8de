//! `plan`: what is fixed before anything is done: frequency sheet, trial sheet, acceptance sheet.

mod acceptance;
mod frequencies;
mod trial;

pub use acceptance::{Acceptance, acceptance_sheet};
pub use frequencies::{Found, FrequencyOptions, frequency_sheet};
pub use trial::{TrialSheetOptions, trial_sheet};

pub use slantpath_plan::acceptance::Means;
pub use slantpath_plan::trial::Before;
use slantpath_report::Cell;

pub(crate) fn number(value: f64, places: i32, unit: &str) -> Cell {
    Cell::Number {
        value,
        places,
        unit: unit.to_string(),
    }
}
