//! `sheet`.

use super::book::{loaded, path};
use super::conditions;
use crate::book_args::BuildSheet;
use crate::show::Output;
use jiff::Timestamp;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::book::open_to_read;
use slantpath_workflow::build_sheet::{build_sheet, page};
use slantpath_workflow::files::write_new;
use slantpath_workflow::predict::predicted;

/// Writes the build sheet.
pub fn run(a: &BuildSheet, out: &Output) -> Result<u8, WorkflowError> {
    let file = loaded(&a.of, out)?;
    let station = file.station(a.of.station.variant.as_deref())?;
    let (conditions, drawing) = conditions(&a.drawn);
    let p = predicted(station, &conditions, drawing, &out.progress("predicting"))?;
    // A station without a book has a build sheet too; a book that was named must be there.
    let at = path(&a.of);
    let book = if a.of.book.is_some() || at.exists() {
        Some(open_to_read(&at, Timestamp::now())?)
    } else {
        None
    };
    let sheet = build_sheet(station, &p, book.as_ref(), a.exact_place)?;
    match &a.out {
        Some(to) => {
            write_new(
                to,
                &page(&sheet, &file.inputs, drawing.seed, drawing.trials),
            )?;
            let place = if a.exact_place {
                "exact place"
            } else {
                "place coarsened to its four-character square"
            };
            out.done("sheet", &format!("wrote {}; {place}", to.display()))
        }
        None => out.sheets(&[sheet.sheet]),
    }
}
