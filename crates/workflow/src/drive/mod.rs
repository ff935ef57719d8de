//! `drive`: how hard the station may transmit, for how long, and where people must not be.

mod desense;
mod overdriven;
mod own;
mod peak;
mod plan;
mod plant;
mod sheet;
mod surroundings;

pub use plan::{Planned, SegmentPlan, planned};
pub use sheet::drive_sheet;

use crate::WorkflowError;
use crate::measure::MeasureOptions;
use slantpath_station::{read_log, read_ramp};
use std::path::{Path, PathBuf};

/// What was asked.
#[derive(Debug, Clone)]
pub struct DriveOptions {
    /// One passband only.
    pub passband: Option<String>,
    /// Highest shoulder, dBc.
    pub shoulder_dbc: f64,
    /// Middle and width of the window in which shoulders are read, in symbol rates.
    pub window: Option<(f64, f64)>,
    /// What receivers need above the code's threshold, dB.
    pub implementation_db: f64,
    /// Speech is compressed.
    pub processed: bool,
    /// Drive ramp of the power amplifier.
    pub ramp: Option<PathBuf>,
    /// Operating log.
    pub log: Option<PathBuf>,
    /// Noise recordings: off, perhaps into a dummy load, on the air.
    pub desense: Vec<PathBuf>,
    /// Rounds that they make up.
    pub rounds: usize,
    /// Standard uncertainty of the gain's change between two of them, dB.
    pub drift_db: Option<f64>,
    /// Recordings in which the own carrier stands beside the beacon.
    pub own: Vec<PathBuf>,
    /// Limits for public and occupational exposure, W/m2; offered ones when not given.
    pub limits: Option<(f64, f64)>,
    /// Factor on the density by reflection, 1 to 4; the station file's, else 1, when not given.
    pub reflection: Option<f64>,
    /// Gust in m/s and force coefficient, from the local code.
    pub wind: Option<(f64, f64)>,
    /// Lever from the clamp to the dish's middle, m.
    pub lever_m: Option<f64>,
    /// Distance of the bolts that hold the moment, m, and pairs of them.
    pub bolts: Option<(f64, u32)>,
    /// Length of one cycle of transmitting and listening, s.
    pub cycle_s: f64,
    /// Share of the battery that may be taken.
    pub usable: f64,
    /// Charge meanwhile, W.
    pub charge_w: f64,
    /// Power taken while listening, W.
    pub receive_w: f64,
    /// Further receivers: name and G/T, dB/K.
    pub receivers: Vec<(String, f64)>,
    /// Seed of the payload and of the draws.
    pub seed: u64,
    /// How to open recordings.
    pub measure: MeasureOptions,
}

impl Default for DriveOptions {
    fn default() -> Self {
        Self {
            passband: None,
            // Common practice, no source.
            shoulder_dbc: -30.0,
            window: None,
            implementation_db: 0.8,
            processed: false,
            ramp: None,
            log: None,
            desense: Vec::new(),
            rounds: 1,
            drift_db: None,
            own: Vec::new(),
            limits: None,
            reflection: None,
            wind: None,
            lever_m: None,
            bolts: None,
            cycle_s: 600.0,
            usable: 0.5,
            charge_w: 0.0,
            receive_w: 0.0,
            receivers: Vec::new(),
            seed: 1,
            measure: MeasureOptions::default(),
        }
    }
}

/// Reads an operating log.
///
/// # Errors
/// A file that cannot be read, or mistakes in it (all listed).
pub fn load_log(path: &Path) -> Result<Vec<slantpath_plan::heat::LoggedRow>, WorkflowError> {
    let source = crate::files::source(path, "operating log (CSV)")?;
    let (rows, problems) = read_log(&source);
    if problems.has_errors() {
        return Err(WorkflowError::Problems(problems));
    }
    Ok(rows
        .iter()
        .map(|r| slantpath_plan::heat::LoggedRow {
            t_s: r.t_s,
            sink_c: r.sink_c,
            air_c: r.air_c,
            heat_w: r.heat_w,
            out_w: r.out_w,
            drive_db: r.drive_dbm,
        })
        .collect())
}

/// Reads a drive ramp; without its own uncertainty a step is taken to be known to 0.2 dB.
///
/// # Errors
/// A file that cannot be read, or mistakes in it (all listed).
pub fn load_ramp(path: &Path) -> Result<Vec<slantpath_chain::amplifier::RampPoint>, WorkflowError> {
    let source = crate::files::source(path, "drive ramp (CSV)")?;
    let (rows, problems) = read_ramp(&source);
    if problems.has_errors() {
        return Err(WorkflowError::Problems(problems));
    }
    Ok(rows
        .iter()
        .map(|r| slantpath_chain::amplifier::RampPoint {
            in_dbm: r.drive_dbm,
            out_dbm: r.out_dbm,
            u_db: r.u_db.unwrap_or(0.2),
        })
        .collect())
}
