//! What can be wrong with a question put to this room.

use thiserror::Error;

/// Errors of the sky room.
#[derive(Debug, Clone, PartialEq, Error)]
#[non_exhaustive]
pub enum SkyError {
    /// A value that no model here can take (not a number, or outside what the quantity can be).
    #[error("{what} = {value} {unit}: must be within {lo}..{hi} {unit}")]
    Range {
        /// Name of the quantity.
        what: &'static str,
        /// Value given.
        value: f64,
        /// Lowest value allowed.
        lo: f64,
        /// Highest value allowed.
        hi: f64,
        /// Unit of the three numbers.
        unit: &'static str,
    },
    /// A date for which time scales or ephemerides here are not valid.
    #[error("{date} is outside {from} to {to}, for which {model} is valid")]
    Date {
        /// Date given, ISO 8601.
        date: String,
        /// First valid date.
        from: &'static str,
        /// First date no longer valid.
        to: &'static str,
        /// What is limited.
        model: &'static str,
    },
    /// A search interval that is empty or runs backwards.
    #[error("the search ends ({to}) before it begins ({from})")]
    Interval {
        /// Beginning, ISO 8601.
        from: String,
        /// End, ISO 8601.
        to: String,
    },
    /// Orbital elements that cannot be read.
    #[error("orbital elements: {0}")]
    Elements(String),
    /// SGP4 could not carry the elements to the time asked for.
    #[error("SGP4 cannot carry these elements to {minutes:.1} min from their epoch: {reason}")]
    Propagation {
        /// Minutes from the elements' epoch.
        minutes: f64,
        /// What diverged.
        reason: String,
    },
    /// A locator whose length is not 2, 4, 6, 8 or 10 characters.
    #[error("locator of {length} characters: expected 2, 4, 6, 8 or 10")]
    LocatorLength {
        /// Characters found.
        length: usize,
    },
    /// A locator character outside its range.
    #[error("locator character {position} is '{found}': expected {first} to {last}")]
    LocatorCharacter {
        /// Position, counted from 1.
        position: usize,
        /// Character found.
        found: char,
        /// First character allowed there.
        first: char,
        /// Last character allowed there.
        last: char,
    },
    /// A horizon mask without points.
    #[error("the horizon mask has no points")]
    MaskEmpty,
    /// Two elevations of the horizon mask at one azimuth.
    #[error(
        "the horizon mask has two elevations at azimuth {az_deg} deg: {first_deg} and {second_deg} deg"
    )]
    MaskTwice {
        /// The azimuth.
        az_deg: f64,
        /// Elevation given first.
        first_deg: f64,
        /// Elevation given after it.
        second_deg: f64,
    },
    /// The magnetic model refused the place.
    #[error("magnetic model: {0}")]
    Magnetic(String),
}

/// `value` when it is finite and within `lo..=hi`.
pub(crate) fn within(
    what: &'static str,
    value: f64,
    lo: f64,
    hi: f64,
    unit: &'static str,
) -> Result<f64, SkyError> {
    if value.is_finite() && value >= lo && value <= hi {
        Ok(value)
    } else {
        Err(SkyError::Range {
            what,
            value,
            lo,
            hi,
            unit,
        })
    }
}
