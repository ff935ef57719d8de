//! Rows of operating logs and drive ramps.

/// One row of an operating log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogEntry {
    /// Time from any start, s.
    pub t_s: f64,
    /// Sink, degrees Celsius.
    pub sink_c: f64,
    /// Air, degrees Celsius.
    pub air_c: Option<f64>,
    /// Heat from now on, W.
    pub heat_w: Option<f64>,
    /// Output, W.
    pub out_w: Option<f64>,
    /// Drive, dBm or relative dB.
    pub drive_dbm: Option<f64>,
}

/// One step of a drive ramp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RampEntry {
    /// Drive at the amplifier's input, dBm (or relative dB).
    pub drive_dbm: f64,
    /// Output, dBm (or relative dB).
    pub out_dbm: f64,
    /// Standard uncertainty of the output, dB, if given.
    pub u_db: Option<f64>,
}
