//! `demo`: the whole job on embedded invented data.

mod camp;
mod faults;
mod short;

use crate::WorkflowError;
use crate::compare::{Compared, Trial, compare, compare_sheet};
use crate::drive::{DriveOptions, drive_sheet};
use crate::files::{Loaded, load_from};
use crate::measure::{MeasureOptions, Measured, measure_file, measure_sheet};
use crate::page::case_page;
use crate::predict::{Predicted, predict_sheet, predicted};
use crate::verdict::{Judged, judge, verdict_sheet};
use camp::camp;
use faults::faults;
use short::{SideOfSwap, short};
use slantpath_link::{Conditions, Drawing};
use slantpath_report::{Provenance, Section, Sheet};
use slantpath_station::Station;
use slantpath_stats::Progress;
use slantpath_verdict::trial::{Remounted, TrialOptions};
use std::path::{Path, PathBuf};

macro_rules! embedded {
    ($($name:literal),* $(,)?) => {
        &[$(($name, include_bytes!(concat!("../../../demo/", $name)).as_slice())),*]
    };
}

/// The demo's files: invented satellite and stations, recordings of both sides of a feed swap, a camp's log and its
/// carrier, and the readings of three faults.
pub const FILES: &[(&str, &[u8])] = embedded![
    "petrel-1.toml",
    "qq0aaa.toml",
    "qq7bbb.toml",
    "recordings/trial-01A.sigmf-meta",
    "recordings/trial-01A.sigmf-data",
    "recordings/trial-02B.sigmf-meta",
    "recordings/trial-02B.sigmf-data",
    "recordings/trial-03B.sigmf-meta",
    "recordings/trial-03B.sigmf-data",
    "recordings/trial-04A.sigmf-meta",
    "recordings/trial-04A.sigmf-data",
    "recordings/trial-05A.sigmf-meta",
    "recordings/trial-05A.sigmf-data",
    "recordings/trial-06B.sigmf-meta",
    "recordings/trial-06B.sigmf-data",
    "recordings/trial-07B.sigmf-meta",
    "recordings/trial-07B.sigmf-data",
    "recordings/trial-08A.sigmf-meta",
    "recordings/trial-08A.sigmf-data",
    "recordings/trial-09A.sigmf-meta",
    "recordings/trial-09A.sigmf-data",
    "recordings/trial-10B.sigmf-meta",
    "recordings/trial-10B.sigmf-data",
    "recordings/trial-11B.sigmf-meta",
    "recordings/trial-11B.sigmf-data",
    "recordings/trial-12A.sigmf-meta",
    "recordings/trial-12A.sigmf-data",
    "recordings/wide-old.sigmf-meta",
    "recordings/wide-old.sigmf-data",
    "recordings/wide-new.sigmf-meta",
    "recordings/wide-new.sigmf-data",
    "recordings/day-old.sigmf-meta",
    "recordings/day-old.sigmf-data",
    "recordings/day-new.sigmf-meta",
    "recordings/day-new.sigmf-data",
    "recordings/camp-overdriven.sigmf-meta",
    "recordings/camp-overdriven.sigmf-data",
    "logs/qq7bbb-afternoon.csv",
    "recordings/splitter-fault.sigmf-meta",
    "recordings/splitter-fault.sigmf-data",
    "logs/qq0aaa-volts.csv",
    "logs/qq0aaa-wet-feed.csv",
    "logs/qq0aaa-weather.csv",
    "logs/qq7bbb-beacon.csv",
    "logs/qq7bbb-weather.csv",
];

/// Writes the demo's files below a folder; a file that is there already is left as it is.
///
/// # Errors
/// The folder cannot be written.
pub fn write_files(folder: &Path) -> Result<(), WorkflowError> {
    let machine = |p: &Path, cause: std::io::Error| WorkflowError::Machine {
        path: p.display().to_string(),
        cause,
    };
    for inner in ["recordings", "logs"] {
        std::fs::create_dir_all(folder.join(inner)).map_err(|e| machine(folder, e))?;
    }
    for (name, bytes) in FILES {
        let path = folder.join(name);
        if std::fs::read(&path).is_ok_and(|b| b == *bytes) {
            continue;
        }
        if path.exists() {
            return Err(WorkflowError::argument(
                format!("{} is there already and is not the demo's", path.display()),
                "choose another folder with --into; nothing was overwritten",
            ));
        }
        std::fs::write(&path, bytes).map_err(|e| machine(&path, e))?;
    }
    Ok(())
}

/// The demo station from the embedded files.
///
/// # Errors
/// Never with the files as shipped.
pub fn station() -> Result<Loaded, WorkflowError> {
    embedded_station("qq0aaa.toml")
}

/// One of the demo's stations from the embedded files.
fn embedded_station(file: &str) -> Result<Loaded, WorkflowError> {
    let get = |name: &str| {
        FILES
            .iter()
            .find(|(n, _)| *n == name)
            .map(|(_, b)| b.to_vec())
    };
    let text = get(file).unwrap_or_default();
    load_from(file, &text, &mut |name| {
        get(name).ok_or_else(|| format!("the demo has no file {name}"))
    })
}

/// Everything that the demo shows.
#[derive(Debug)]
pub struct Demo {
    /// Sheets in the order of the story.
    pub sheets: Vec<Sheet>,
    /// Inputs with their digests.
    pub inputs: Vec<(String, String, String)>,
    station: Station,
    predicted: Predicted,
    judged: Judged,
    wide: Vec<Measured>,
    compared: Vec<Compared>,
}

impl Demo {
    /// The page of the story, with its figures.
    pub fn page(&self, provenance: &Provenance) -> String {
        case_page(
            &self.station,
            self.sheets.clone(),
            &self.predicted,
            Some(&self.judged),
            &self.wide,
            &self.compared,
            provenance,
        )
    }
}

/// Runs the story: predict both feeds, measure both sides, compare, judge; plan the transmit side, and a camp's
/// afternoon.
///
/// # Errors
/// As the verbs.
pub fn run(folder: &Path, drawing: Drawing, progress: &Progress) -> Result<Demo, WorkflowError> {
    write_files(folder)?;
    let loaded = station()?;
    let mut inputs = loaded.inputs.clone();
    let (old, new) = (loaded.station(None)?, loaded.station(Some("new-feed"))?);
    let conditions = Conditions::default();
    let p_old = predicted(old, &conditions, drawing, progress)?;
    let p_new = predicted(new, &conditions, drawing, progress)?;
    let mut sheets = vec![
        predict_sheet(old, &p_old, &conditions, Some("sdr")),
        predict_sheet(new, &p_new, &conditions, Some("sdr")),
    ];
    let options = MeasureOptions::default();
    let rec =
        |name: &str| -> PathBuf { folder.join("recordings").join(format!("{name}.sigmf-meta")) };
    let take = |names: &[&str]| -> Result<Vec<Measured>, WorkflowError> {
        names
            .iter()
            .map(|n| measure_file(old, &rec(n), &options, &Progress::silent()))
            .collect()
    };
    let wide = take(&["wide-old", "wide-new"])?;
    sheets.push(measure_sheet(old, &wide));
    let days = take(&["day-old", "day-new"])?;
    let trial = take(&[
        "trial-01A",
        "trial-02B",
        "trial-03B",
        "trial-04A",
        "trial-05A",
        "trial-06B",
        "trial-07B",
        "trial-08A",
        "trial-09A",
        "trial-10B",
        "trial-11B",
        "trial-12A",
    ])?;
    for m in wide.iter().chain(&days).chain(&trial) {
        inputs.push(m.input());
    }
    let trial_options = TrialOptions {
        remounted: Remounted::Yes,
        ..TrialOptions::default()
    };
    let sided = |ms: Vec<Measured>| -> Vec<_> { ms.into_iter().map(|m| (None, m)).collect() };
    let days = sided(days);
    let trial = sided(trial);
    let of = |recordings| Trial {
        station: old,
        recordings,
        readings: &[],
        sides: ["A", "B"],
        measurand: Some("cn0"),
    };
    let naive = compare(&of(&days), &trial_options)?;
    let mut sheet = compare_sheet(&naive);
    sheet.title = "One recording a side, on different days: what it can say".into();
    sheets.push(sheet);
    let comparison = compare(&of(&trial), &trial_options)?;
    let mut sheet = compare_sheet(&comparison);
    let compared = comparison.compared;
    sheet.title = "The swap trial: twelve mountings, A B B A".into();
    let mut foreseen = None;
    if let Some(c) = compared.first()
        && let Ok(d) = slantpath_link::difference(&p_old.model, &p_new.model, &c.measurand, drawing)
    {
        foreseen = Some(d.clone());
        sheet.sections.push(
            Section::new(
                "predicted_difference",
                "what the swap should bring",
                vec![slantpath_quantity::Answer::known(
                    format!("{}.predicted_difference", c.measurand),
                    "predicted B - A",
                    slantpath_quantity::Unit::Db,
                    d,
                )],
            )
            .say("Contributors that both sides share (satellite, air, LNB, cable) cancel."),
        );
    }
    sheets.push(sheet);
    let mut wide = wide;
    let new_side = wide.split_off(1);
    let judged_old = judge(old, &p_old, &wide, &[])?;
    let judged_new = judge(new, &p_new, &new_side, &[])?;
    for (station, j) in [(old, &judged_old), (new, &judged_new)] {
        let mut s = verdict_sheet(station, j);
        if let Some(v) = &station.variant {
            s.title.push_str(&format!(" (variant {v})"));
        }
        sheets.push(s);
    }
    let transmit = DriveOptions {
        seed: drawing.seed,
        ..DriveOptions::default()
    };
    sheets.push(drive_sheet(new, &p_new, &transmit, progress)?);
    let camp = camp(folder, drawing, progress)?;
    sheets.push(camp.sheet);
    inputs.extend(camp.inputs);
    let acts = faults(folder, progress)?;
    sheets.extend(acts.sheets);
    inputs.extend(acts.inputs);
    // The stations' own files stand there once.
    let mut seen = std::collections::BTreeSet::new();
    inputs.retain(|i| seen.insert(i.clone()));
    let side = |predicted, measured, judged| SideOfSwap {
        predicted,
        measured,
        judged,
    };
    let mut story = short(
        &old.name,
        &side(&p_old, wide.first(), &judged_old),
        &side(&p_new, new_side.first(), &judged_new),
        foreseen.as_ref(),
        naive.compared.first(),
        compared.first(),
    );
    story.sections.push(camp.short);
    story.sections.push(acts.short);
    sheets.insert(0, story);
    Ok(Demo {
        sheets,
        inputs,
        station: new.clone(),
        predicted: p_new,
        judged: judged_new,
        wide: new_side,
        compared,
    })
}
