//! What can go wrong when a station is turned into a model.

use thiserror::Error;

/// Errors of this room. A station that passed its own checks can still stand where no model holds.
#[derive(Debug, Error)]
pub enum LinkError {
    /// The satellite is so far below the horizon that no signal can be expected.
    #[error("the satellite stands {below_deg:.2} deg below the horizon of this site")]
    BelowHorizon {
        /// How far below the geometric horizon, degrees.
        below_deg: f64,
    },
    /// A branch, passband, beacon or variant was asked for that the station does not have.
    #[error("there is no {what} `{name}`; there is: {known}")]
    Unknown {
        /// `branch`, `passband`, ...
        what: &'static str,
        /// As asked for.
        name: String,
        /// What there is.
        known: String,
    },
    /// The conditions asked for make no sense.
    #[error("{what}: {why}")]
    Conditions {
        /// Which condition.
        what: &'static str,
        /// Why it cannot be.
        why: String,
    },
    /// The station has no figure for something that this answer needs.
    #[error("{what} is not known: {remedy}")]
    Missing {
        /// What is missing.
        what: String,
        /// What to do.
        remedy: String,
    },
    /// From the sky room.
    #[error(transparent)]
    Sky(#[from] slantpath_sky::SkyError),
    /// From the propagation room.
    #[error(transparent)]
    Propagation(#[from] slantpath_propagation::PropagationError),
    /// From the antenna room.
    #[error(transparent)]
    Antenna(#[from] slantpath_antenna::AntennaError),
    /// From the wire room: an uplink feed that cannot be solved.
    #[error(transparent)]
    Wire(#[from] slantpath_wire::WireError),
    /// From the chain room.
    #[error(transparent)]
    Chain(#[from] slantpath_chain::ChainError),
    /// From the statistics room.
    #[error(transparent)]
    Stats(#[from] slantpath_stats::StatsError),
}
