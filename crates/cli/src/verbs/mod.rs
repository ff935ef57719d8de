//! One file per verb.

pub mod again;
pub mod book;
pub mod compare;
pub mod contact;
pub mod demo;
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

use crate::args::{Drawn, Recorded};
use slantpath_capture::source::{OpenOptions, SampleFormat};
use slantpath_link::{Air, Conditions, Drawing};
use slantpath_workflow::WorkflowError;
use slantpath_workflow::measure::MeasureOptions;

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
