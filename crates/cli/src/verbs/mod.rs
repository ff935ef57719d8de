//! One file per verb.

pub mod acceptance;
pub mod again;
pub mod book;
pub mod compare;
pub mod contact;
pub mod demo;
pub mod design;
pub mod diagnose;
pub mod drive;
pub mod measure;
pub mod new;
pub mod plan;
pub mod predict;
pub mod report;
pub mod routes;
pub mod serve;
pub mod sheet;
pub mod survey;
pub mod verdict;
pub mod watch;

use crate::args::{Drawn, Recorded};
use crate::show::Output;
use slantpath_capture::source::{OpenOptions, SampleFormat};
use slantpath_link::{Air, Conditions, Drawing};
use slantpath_station::Station;
use slantpath_station::checked::Reading;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::{check_readings, load_readings};
use slantpath_workflow::measure::{MeasureOptions, Measured, measure_file};
use std::path::{Path, PathBuf};

/// Conditions and drawing of the arguments.
pub fn conditions(d: &Drawn) -> (Conditions, Drawing) {
    let conditions = Conditions {
        time: d.at,
        air: d
            .exceeded
            .map_or(Air::Clear, |percent| Air::Exceeded { percent }),
        sun_flux_sfu: d.sun_flux.map(|s| (s, d.sun_flux_u)),
        bandwidth_hz: d.bandwidth,
    };
    let drawing = Drawing {
        seed: d.seed,
        trials: usize::try_from(d.draws).unwrap_or(usize::MAX),
    };
    (conditions, drawing)
}

/// How to open and measure the recordings.
pub fn measure_options(r: &Recorded) -> Result<MeasureOptions, WorkflowError> {
    let mut open = OpenOptions::new();
    open.center_hz = r.center.map(|m| m * 1e6);
    open.start = r.start;
    open.sample_rate_hz = r.rate;
    if let Some(f) = &r.format {
        open.format = Some(f.parse::<SampleFormat>().map_err(|e| {
            WorkflowError::argument(
                format!("--format {f}: {e}"),
                "for example cu8, ci16 or cf32_be",
            )
        })?);
    }
    Ok(MeasureOptions {
        open,
        branch: r.branch.clone(),
        lo_tolerance_hz: r.lo_tolerance.map(|k| k * 1e3),
    })
}

/// The command as typed, for provenance.
pub fn command() -> String {
    std::env::args_os()
        .skip(1)
        .fold("slantpath".to_string(), |s, x| {
            s + " " + &x.to_string_lossy()
        })
}

/// Measures recordings one after the other, with progress.
pub fn measure_all(
    station: &Station,
    recordings: &[PathBuf],
    recorded: &Recorded,
    out: &Output,
) -> Result<Vec<Measured>, WorkflowError> {
    let options = measure_options(recorded)?;
    recordings
        .iter()
        .map(|r| measure_file(station, r, &options, &out.progress("measuring")))
        .collect()
}

/// The station file's readings, with those of a CSV file that fits the station.
pub fn all_readings(station: &Station, csv: Option<&Path>) -> Result<Vec<Reading>, WorkflowError> {
    let mut readings = station.readings.clone();
    if let Some(p) = csv {
        let typed = load_readings(p)?;
        check_readings(&typed, station)?;
        readings.extend(typed);
    }
    Ok(readings)
}
