//! Three faults, each found from its recordings or logs without being told: a splitter that passes another box's DC, a feed
//! that dries after a storm, an oscillator in the afternoon sun.

use super::embedded_station;
use crate::WorkflowError;
use crate::diagnosis::{diagnosed, diagnosis_sheet};
use crate::files::{check_readings, digest, load_readings, source};
use crate::measure::{MeasureOptions, measure_file};
use crate::watch::{WatchOptions, story};
use slantpath_link::Conditions;
use slantpath_report::{Section, Sheet};
use slantpath_stats::Progress;
use std::path::Path;

/// The acts.
pub(super) struct Faults {
    /// A sheet for each.
    pub sheets: Vec<Sheet>,
    /// What was found, for the story in short.
    pub short: Section,
    /// Inputs with their digests.
    pub inputs: Vec<(String, String, String)>,
}

/// Runs the acts in a folder that holds the demo's files.
pub(super) fn faults(folder: &Path, progress: &Progress) -> Result<Faults, WorkflowError> {
    let mut out = Faults {
        sheets: Vec::new(),
        short: Section::new(
            "faults",
            "Three faults, found from recordings and logs",
            Vec::new(),
        ),
        inputs: Vec::new(),
    };
    splitter(folder, progress, &mut out)?;
    let act = |station: &str, readings: &str, weather: &str, title: &str, out: &mut Faults| {
        let loaded = embedded_station(station)?;
        let options = WatchOptions {
            readings: Some(folder.join("logs").join(readings)),
            weather: Some(folder.join("logs").join(weather)),
            ..WatchOptions::default()
        };
        let (mut sheet, inputs) = story(loaded.station(None)?, &options)?;
        sheet.title = format!("{title}: {}", sheet.title);
        out.inputs.extend(inputs);
        out.sheets.push(sheet);
        Ok::<(), WorkflowError>(())
    };
    act(
        "qq0aaa.toml",
        "qq0aaa-wet-feed.csv",
        "qq0aaa-weather.csv",
        "Three days with a storm",
        &mut out,
    )?;
    act(
        "qq7bbb.toml",
        "qq7bbb-beacon.csv",
        "qq7bbb-weather.csv",
        "A hot day's oscillator",
        &mut out,
    )?;
    // Each act's first sentence stands for it.
    out.short.text = out
        .sheets
        .iter()
        .filter_map(|s| {
            Some(format!(
                "{}: {}",
                s.title.split(':').next()?,
                s.because.first()?
            ))
        })
        .collect();
    Ok(out)
}

/// An evening's recording and the volts at the converter.
fn splitter(folder: &Path, progress: &Progress, out: &mut Faults) -> Result<(), WorkflowError> {
    let loaded = embedded_station("qq0aaa.toml")?;
    let station = loaded.station(None)?;
    let recording = folder.join("recordings").join("splitter-fault.sigmf-meta");
    let m = measure_file(station, &recording, &MeasureOptions::default(), progress)?;
    let volts = folder.join("logs").join("qq0aaa-volts.csv");
    let readings = load_readings(&volts)?;
    check_readings(&readings, station)?;
    let s = source(&volts, "readings file")?;
    out.inputs.extend(loaded.inputs.clone());
    out.inputs.push(m.input());
    out.inputs.push((
        "readings".into(),
        s.name().to_string(),
        digest(s.text().as_bytes()),
    ));
    let x = diagnosed(
        station,
        &Conditions::default(),
        std::slice::from_ref(&m),
        &readings,
        &[],
    )?;
    let mut sheet = diagnosis_sheet(station, &x);
    sheet.title = format!("An evening without the beacon: {}", station.name);
    out.sheets.push(sheet);
    Ok(())
}
