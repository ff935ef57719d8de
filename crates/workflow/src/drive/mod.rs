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

/// Steps of a drive ramp at which more drive gives less output, by more than twice the uncertainty of both: the step before
/// and the one that fell, lowest drive first.
pub(crate) fn falling(
    ramp: &[slantpath_chain::amplifier::RampPoint],
) -> Vec<[slantpath_chain::amplifier::RampPoint; 2]> {
    let mut steps = ramp.to_vec();
    steps.sort_by(|a, b| a.in_dbm.total_cmp(&b.in_dbm));
    steps
        .windows(2)
        .filter_map(|w| match w {
            [a, b] if a.out_dbm - b.out_dbm > 2.0 * a.u_db.hypot(b.u_db) => Some([*a, *b]),
            _ => None,
        })
        .collect()
}

/// Such a step in words.
pub(crate) fn falling_words([a, b]: &[slantpath_chain::amplifier::RampPoint; 2]) -> String {
    use slantpath_quantity::show::{fixed, value_and_u};
    let (fall, u) = value_and_u(a.out_dbm - b.out_dbm, a.u_db.hypot(b.u_db));
    format!(
        "The ramp's output falls by {fall} ± {u} dB from {} to {} dBm of drive, which an amplifier's curve does not do: the \
         step is mistyped, or the amplifier protected itself or grew hot. Measure that step again.",
        fixed(a.in_dbm, 1),
        fixed(b.in_dbm, 1)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_chain::amplifier::RampPoint;

    #[test]
    fn a_falling_step_of_a_ramp_is_named() {
        let step = |in_dbm: f64, out_dbm: f64| RampPoint {
            in_dbm,
            out_dbm,
            u_db: 0.2,
        };
        // In any order; a fall within the uncertainty is none.
        let ramp = [
            step(2.0, 32.0),
            step(0.0, 30.0),
            step(1.0, 31.0),
            step(3.0, 31.9),
            step(4.0, 30.9),
        ];
        let falls = falling(&ramp);
        assert_eq!(falls.len(), 1);
        assert_eq!((falls[0][0].in_dbm, falls[0][1].in_dbm), (3.0, 4.0));
        let words = falling_words(&falls[0]);
        assert!(
            words.contains("falls by 1.00 ± 0.28 dB from 3.0 to 4.0 dBm"),
            "{words}"
        );
        assert!(falling(&ramp[..3]).is_empty());
    }
}
