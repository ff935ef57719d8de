//! What a set file says of recordings that do not say it themselves.

/// One recording of a set.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SetEntry {
    /// Path as written, relative to the set file.
    pub file: String,
    /// Side of the trial as written.
    pub side: Option<String>,
    /// When the first sample was taken, as written: RFC 3339.
    pub start: Option<String>,
    /// Number of the mounting.
    pub remount: Option<u32>,
    /// Number of the recording within its mounting.
    pub block: Option<u32>,
    /// Branch of the receive chain.
    pub branch: Option<String>,
    /// The untouched receiver.
    pub control: bool,
    /// Centre of the recorded band, Hz, true or intermediate.
    pub center_hz: Option<f64>,
    /// Complex samples per second.
    pub rate_hz: Option<f64>,
    /// Sample format of a raw recording, as written.
    pub format: Option<String>,
}
