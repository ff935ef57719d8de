//! What can be wrong with what is planned.

use slantpath_antenna::AntennaError;
use slantpath_chain::ChainError;

/// Why no plan can be given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// A figure that cannot be.
    #[error("{what} is {value} {unit}, but must be {must}")]
    Impossible {
        /// The quantity.
        what: &'static str,
        /// Its value.
        value: f64,
        /// Unit of `value`.
        unit: &'static str,
        /// What it must be.
        must: &'static str,
    },
    /// Something is not described.
    #[error("{what} is not known: {remedy}")]
    Missing {
        /// What.
        what: String,
        /// What to add.
        remedy: String,
    },
    /// The limits leave nothing to advise.
    #[error("{why}")]
    Nothing {
        /// Why.
        why: String,
    },
    /// The chain of parts cannot be computed.
    #[error(transparent)]
    Chain(#[from] ChainError),
    /// The waveform does not exist.
    #[error(transparent)]
    Waveform(#[from] slantpath_waveform::WaveformError),
    /// The antenna cannot be computed.
    #[error(transparent)]
    Antenna(#[from] AntennaError),
    /// A feed cannot be computed from its dimensions.
    #[error(transparent)]
    Wire(#[from] slantpath_wire::WireError),
    /// Ended on request.
    #[error(transparent)]
    Stopped(#[from] slantpath_stats::StatsError),
}

/// Result of this room.
pub type Result<T> = std::result::Result<T, PlanError>;

/// `value` if it is finite.
pub(crate) fn finite(what: &'static str, value: f64, unit: &'static str) -> Result<f64> {
    within(
        what,
        value,
        unit,
        f64::NEG_INFINITY..=f64::INFINITY,
        "a finite number",
    )
}

/// `value` if it is finite and above zero.
pub(crate) fn positive(what: &'static str, value: f64, unit: &'static str) -> Result<f64> {
    within(
        what,
        value,
        unit,
        f64::MIN_POSITIVE..=f64::MAX,
        "above zero",
    )
}

/// `value` if it is finite and not negative.
pub(crate) fn not_negative(what: &'static str, value: f64, unit: &'static str) -> Result<f64> {
    within(what, value, unit, 0.0..=f64::MAX, "zero or more")
}

/// `value` if it is finite and inside a range.
pub(crate) fn within(
    what: &'static str,
    value: f64,
    unit: &'static str,
    range: std::ops::RangeInclusive<f64>,
    must: &'static str,
) -> Result<f64> {
    if value.is_finite() && range.contains(&value) {
        Ok(value)
    } else {
        Err(PlanError::Impossible {
            what,
            value,
            unit,
            must,
        })
    }
}
