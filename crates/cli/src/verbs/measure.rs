//! `measure`.

use super::{command, measure_all, measure_options};
use crate::args::Measure;
use crate::show::Output;
use slantpath_report::Section;
use slantpath_station::Station;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::book::{book_path, keep_measured, open};
use slantpath_workflow::files::{Loaded, load_station};
use slantpath_workflow::measure::{Measured, measure_sheet};
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
    let measured = measure_all(station, &a.recordings, &a.recorded, out)?;
    if !measured.is_empty() {
        let mut sheet = measure_sheet(station, &measured);
        if a.keep {
            sheet
                .sections
                .push(keep(a, &loaded, station, &measured, out)?);
        }
        sheets.push(sheet);
    }
    out.sheets(&sheets)
}

/// Keeps what was measured in the book, and says so.
fn keep(
    a: &Measure,
    loaded: &Loaded,
    station: &Station,
    measured: &[Measured],
    out: &Output,
) -> Result<Section, WorkflowError> {
    let now = jiff::Timestamp::now();
    let path = book_path(&a.station.station, a.book.as_deref());
    let (mut book, migrated) = open(&path, now)?;
    let (ids, told) = keep_measured(
        &mut book,
        station,
        measured,
        &loaded.inputs,
        &command(),
        now,
        &out.progress("predicting"),
    )?;
    let list: Vec<String> = ids.iter().map(ToString::to_string).collect();
    let mut s = Section::new("kept", "kept in the station book", Vec::new()).say(format!(
        "{}: entry {}.",
        path.display(),
        list.join(", ")
    ));
    s.text.extend(migrated.into_iter().chain(told));
    Ok(s)
}
