//! `watch`.

use super::{command, measure_options};
use crate::show::Output;
use crate::watch_args::Watch;
use jiff::Timestamp;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::book::{book_path, open};
use slantpath_workflow::files::{load_station, write_whole};
use slantpath_workflow::watch::{Recording, WatchOptions, Writing, record, watch, zone};
use std::time::Duration;

/// Exit code of an alarm: an answer, and neither a failure nor a refusal.
const ALARM: u8 = 4;

/// Enters what is new, looks at everything, once or again and again.
pub fn run(a: &Watch, out: &Output) -> Result<u8, WorkflowError> {
    loop {
        let code = once(a, out)?;
        let Some(minutes) = a.every else {
            return Ok(code);
        };
        std::thread::sleep(Duration::from_secs(60 * minutes));
    }
}

fn once(a: &Watch, out: &Output) -> Result<u8, WorkflowError> {
    let loaded = load_station(&a.station.station)?;
    out.warnings(&loaded.warnings);
    let station = loaded.station(a.station.variant.as_deref())?;
    let positive = |name: &str, x: f64| {
        if x.is_finite() && x > 0.0 {
            Ok(x)
        } else {
            Err(WorkflowError::argument(
                format!("{name} {x} cannot be"),
                "give a number above zero",
            ))
        }
    };
    let options = WatchOptions {
        folder: a.folder.clone(),
        readings: a.readings.clone(),
        weather: a.weather.clone(),
        transmit: a.transmit.clone(),
        zone: a.zone.as_deref().map(zone).transpose()?,
        branch: a.recorded.branch.clone(),
        wind_limit: positive("--wind-limit", a.wind_limit)?,
        tolerance_hz: positive("--tolerance", a.tolerance)?,
        measure: measure_options(&a.recorded)?,
    };
    let now = Timestamp::now();
    if let (Some(from), Some(folder), Some(format), Some(rate_hz), Some(mhz)) = (
        &a.record,
        &a.folder,
        options.measure.open.format,
        a.recorded.rate,
        a.recorded.center,
    ) {
        let what = Recording {
            from,
            seconds: positive("--seconds", a.seconds)?,
            format,
            rate_hz: positive("--rate", rate_hz)?,
            center_hz: 1e6 * mhz,
            branch: options.branch.as_deref(),
        };
        record(folder, &what, now)?;
    }
    let (mut book, migrated) = open(&book_path(&a.station.station, a.book.as_deref()), now)?;
    let writing = Writing {
        station,
        files: &loaded.inputs,
        command: &command(),
        now,
    };
    let mut found = watch(&mut book, &options, &writing, &out.progress("measuring"))?;
    if let (Some(told), Some(s)) = (migrated, found.sheets.first_mut()) {
        s.cautions.push(told);
    }
    if let Some(path) = &a.metrics {
        write_whole(path, &found.metrics)?;
    }
    let code = out.sheets(&found.sheets)?;
    Ok(if found.alarms > 0 { ALARM } else { code })
}
