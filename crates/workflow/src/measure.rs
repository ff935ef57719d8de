//! `measure`: what recordings show.

mod signals;
mod wideband;

use crate::WorkflowError;
use crate::search::search_plan;
use slantpath_capture::SearchPlan;
use slantpath_capture::measure::{Measurement, Settings, Severity, measure as measure_source};
use slantpath_capture::source::{self, OpenOptions};
use slantpath_capture::wideband::{Wideband, WidebandPlan, WidebandSettings};
use slantpath_quantity::{Answer, Validity, show};
use slantpath_report::{Section, Sheet};
use slantpath_station::Station;
use slantpath_stats::{Progress, Stop};
use std::path::{Path, PathBuf};

/// What the caller knows better than the recordings.
#[derive(Debug, Clone, Default)]
pub struct MeasureOptions {
    /// How to open them.
    pub open: OpenOptions,
    /// Branch they were made on; a recording's own metadata come first.
    pub branch: Option<String>,
    /// How far the oscillator may be off, Hz each way.
    pub lo_tolerance_hz: Option<f64>,
}

/// One recording as measured.
#[derive(Debug)]
pub struct Measured {
    /// Path as given.
    pub path: PathBuf,
    /// Branch it was measured on, if known.
    pub branch: Option<String>,
    /// What it shows; measurands carry the branch.
    pub measurement: Measurement,
    /// Wideband carriers, when the recording may hold some; measurands carry the branch.
    pub wideband: Option<Wideband>,
}

impl Measured {
    /// Answers of the measurement.
    pub fn answers(&self) -> &[Answer] {
        &self.measurement.answers
    }
    /// Middle of the recording, seconds since 1970.
    pub fn time_s(&self) -> Option<f64> {
        let start = self.measurement.about.start?;
        Some(start.as_millisecond() as f64 / 1e3 + 0.5 * self.measurement.duration_s)
    }
    /// Provenance: kind, name, SHA-256.
    pub fn input(&self) -> (String, String, String) {
        let about = &self.measurement.about;
        (
            "recording".into(),
            about.name.clone(),
            about.sha256.clone().unwrap_or_default(),
        )
    }
}

/// Refuses a branch that the station does not have.
///
/// # Errors
/// There is none of that name.
pub fn known_branch(station: &Station, wanted: Option<&str>) -> Result<(), WorkflowError> {
    let Some(b) = wanted.filter(|b| station.receive.branch(b).is_none()) else {
        return Ok(());
    };
    Err(WorkflowError::argument(
        format!("there is no branch `{b}`"),
        format!("the station has: {}", branch_names(station)),
    ))
}

/// The station's branches, for a message.
pub(crate) fn branch_names(station: &Station) -> String {
    let names: Vec<&str> = station
        .receive
        .branches
        .iter()
        .map(|b| b.name.as_str())
        .collect();
    names.join(", ")
}

/// Measures one recording.
///
/// # Errors
/// It cannot be read; a branch that the station does not have.
pub fn measure_file(
    station: &Station,
    path: &Path,
    options: &MeasureOptions,
    progress: &Progress,
) -> Result<Measured, WorkflowError> {
    measure_until(station, path, options, progress, &Stop::new())
}

/// The same, ended early by `stop`.
///
/// # Errors
/// As [`measure_file`]; stopped.
pub fn measure_until(
    station: &Station,
    path: &Path,
    options: &MeasureOptions,
    progress: &Progress,
    stop: &Stop,
) -> Result<Measured, WorkflowError> {
    let mut source = source::open(path, &options.open)?;
    let said = source.about().mount.branch.clone();
    let branch =
        options
            .branch
            .clone()
            .or(said)
            .or_else(|| match station.receive.branches.as_slice() {
                [only] => Some(only.name.clone()),
                _ => None,
            });
    known_branch(station, options.branch.as_deref())?;
    let branch = branch.filter(|b| station.receive.branch(b).is_some());
    let plan = search_plan(
        station,
        branch.as_deref(),
        options.open.center_hz,
        options.lo_tolerance_hz,
    );
    let mut measurement =
        measure_source(&mut *source, &plan, &Settings::default(), progress, stop)?;
    if let Some(b) = &branch {
        for a in &mut measurement.answers {
            a.measurand = format!("{}@{b}", a.measurand);
        }
    }
    // A second reading: a stream can be read only once.
    let again = path.as_os_str() != "-" && wideband::wanted(&plan, &measurement);
    let wideband = if again {
        Some(carriers(
            path,
            options,
            &plan,
            branch.as_deref(),
            progress,
            stop,
        )?)
    } else {
        None
    };
    Ok(Measured {
        path: path.to_path_buf(),
        branch,
        measurement,
        wideband,
    })
}

/// Every carrier of a recording, blind.
fn carriers(
    path: &Path,
    options: &MeasureOptions,
    plan: &SearchPlan,
    branch: Option<&str>,
    progress: &Progress,
    stop: &Stop,
) -> Result<Wideband, WorkflowError> {
    let mut source = source::open(path, &options.open)?;
    let wideband_plan = WidebandPlan {
        centre_hz: plan.centre_hz,
        ..WidebandPlan::default()
    };
    let mut w = slantpath_capture::wideband::measure(
        &mut *source,
        &wideband_plan,
        &WidebandSettings::default(),
        progress,
        stop,
    )?;
    if let Some(b) = branch {
        for a in &mut w.answers {
            a.measurand = format!("{}@{b}", a.measurand);
        }
    }
    Ok(w)
}

/// The sheet of measured recordings.
pub fn measure_sheet(station: &Station, measured: &[Measured]) -> Sheet {
    let mut sheet = Sheet {
        verb: "measure".into(),
        title: match measured.len() {
            1 => format!("{}: one recording measured", station.name),
            n => format!("{}: {n} recordings measured", station.name),
        },
        ..Sheet::default()
    };
    let mut concluded = false;
    for (i, m) in measured.iter().enumerate() {
        let x = &m.measurement;
        let mut s = Section::new(
            &format!("recording_{}", i + 1),
            m.path.display().to_string(),
            x.answers.clone(),
        );
        concluded |= x
            .answers
            .iter()
            .any(|a| a.outcome.is_ok() && a.measurand.contains(".cn0"));
        s.text.push(format!(
            "{} samples, {} s at {} kS/s, centre {:.6} MHz{}.",
            x.samples,
            show::significant(x.duration_s, 4),
            show::significant(x.sample_rate_hz / 1e3, 6),
            x.centre_hz / 1e6,
            m.branch
                .as_ref()
                .map(|b| format!(", branch {b}"))
                .unwrap_or_default()
        ));
        match &x.location {
            Some(l) => s.text.push(format!("Taken: {}.", l.meaning.describe())),
            None => s
                .text
                .push("The satellite was not found in this recording.".into()),
        }
        if let Some(t) = &x.tune {
            s.text.push(format!(
                "Outside the recorded band: {}. A centre of {:.6} MHz at {} kS/s would hold all.",
                t.outside.join(", "),
                t.centre_hz / 1e6,
                show::significant(t.sample_rate_hz / 1e3, 4)
            ));
        }
        for f in &x.flags {
            let mark = match f.severity {
                Severity::Note => "Note",
                Severity::Warning => "Warning",
                Severity::Refusal => "Refused",
            };
            let text = format!(
                "{}: {}. {} {}",
                f.title, f.evidence, f.consequence, f.remedy
            );
            s.text.push(format!("{mark}: {text}"));
            if f.severity == Severity::Refusal {
                sheet
                    .because
                    .push(format!("{}: {}: {}", m.path.display(), f.title, f.evidence));
            }
        }
        for w in &x.about.warnings {
            s.text.push(format!("Note: {w}"));
        }
        sheet.sections.push(s);
        sheet
            .sections
            .extend(signals::section(i + 1, &x.signals, x.centre_hz));
        if let Some(w) = &m.wideband {
            concluded |= !w.carriers.is_empty();
            sheet
                .sections
                .push(wideband::section(i + 1, w, m.branch.as_deref()));
            sheet.figures.extend(wideband::figures(i + 1, w));
        }
    }
    sheet
        .sections
        .extend(crate::verdict::proposals(station, measured));
    sheet.refused = !concluded;
    // In a recording of carriers alone the beacons' absence is no advice.
    let carriers = measured
        .iter()
        .filter_map(|m| m.wideband.as_ref().filter(|w| !w.carriers.is_empty()))
        .flat_map(|w| &w.answers);
    let beacons = measured
        .iter()
        .filter(|m| m.wideband.as_ref().is_none_or(|w| w.carriers.is_empty()))
        .flat_map(Measured::answers);
    let next = beacons.chain(carriers).find_map(|a| {
        a.outcome
            .as_ref()
            .err()
            .map(|u| u.remedy.clone())
            .or_else(|| a.next_measurement.clone())
    });
    sheet.next_measurement =
        next.or_else(|| Some("Compare with the prediction: slantpath verdict.".into()));
    sheet
}

/// Part of an answer's uncertainty that an immediate repeat would change.
pub fn random_u(a: &Answer) -> Option<f64> {
    let e = a.estimate()?;
    let r: f64 = a
        .shares
        .iter()
        .filter(|s| !s.systematic)
        .map(|s| s.u * s.u)
        .sum();
    Some(if r > 0.0 { r.sqrt() } else { e.u })
}

/// Whether an answer may be leaned on.
pub fn usable(a: &Answer) -> bool {
    a.outcome.is_ok() && a.validity == Validity::Inside
}
