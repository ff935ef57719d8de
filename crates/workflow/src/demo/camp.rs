//! The field camp's hot afternoon: an amplifier that folds back, and a carrier that is driven too hard.

use super::embedded_station;
use crate::WorkflowError;
use crate::drive::{DriveOptions, drive_sheet};
use crate::files::digest;
use crate::measure::{MeasureOptions, measure_file, measure_sheet};
use crate::predict::predicted;
use slantpath_link::{Conditions, Drawing};
use slantpath_report::{Section, Sheet};
use slantpath_stats::Progress;
use std::path::Path;

/// Its log and its recording.
const LOG: &str = "logs/qq7bbb-afternoon.csv";
const RECORDING: &str = "recordings/camp-overdriven.sigmf-meta";

/// The act.
pub(super) struct Camp {
    /// Recording and transmit side on one sheet.
    pub sheet: Sheet,
    /// What was found, for the story in short.
    pub short: Section,
    /// Inputs with their digests.
    pub inputs: Vec<(String, String, String)>,
}

/// Plans the camp's transmit side from its station file, its log and a recording behind its coupler. Nothing says that
/// the amplifier folds back or that the carrier is too strong.
pub(super) fn camp(
    folder: &Path,
    drawing: Drawing,
    progress: &Progress,
) -> Result<Camp, WorkflowError> {
    let loaded = embedded_station("qq7bbb.toml")?;
    let station = loaded.station(None)?;
    let p = predicted(station, &Conditions::default(), drawing, progress)?;
    let (log, recording) = (folder.join(LOG), folder.join(RECORDING));
    let options = DriveOptions {
        passband: Some("wide".into()),
        log: Some(log.clone()),
        own: vec![recording.clone()],
        seed: drawing.seed,
        ..DriveOptions::default()
    };
    let measured = measure_file(station, &recording, &MeasureOptions::default(), progress)?;
    let mut inputs = loaded.inputs.clone();
    inputs.push(measured.input());
    let bytes = std::fs::read(&log).map_err(|cause| WorkflowError::Machine {
        path: log.display().to_string(),
        cause,
    })?;
    inputs.push(("log".into(), log.display().to_string(), digest(&bytes)));
    let seen = measure_sheet(station, std::slice::from_ref(&measured));
    let mut sheet = drive_sheet(station, &p, &options, progress)?;
    sheet.title = format!("{}: a hot afternoon", station.name);
    sheet.sections.extend(seen.sections);
    sheet.figures.extend(seen.figures);
    let mut short = Section::new(
        "camp",
        format!("{}: a hot afternoon", station.name),
        Vec::new(),
    );
    short.text = sheet
        .sections
        .iter()
        .flat_map(|s| &s.text)
        .filter(|t| t.starts_with("FOLDBACK") || t.starts_with("OVER-DRIVEN"))
        .cloned()
        .collect();
    Ok(Camp {
        sheet,
        short,
        inputs,
    })
}
