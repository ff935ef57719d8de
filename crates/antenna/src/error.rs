//! What can be wrong with an antenna's description.

/// Why an antenna quantity cannot be computed. Each names the quantity, the value and what to change.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum AntennaError {
    /// A quantity outside the range in which the formula has any meaning.
    #[error("{what} is {value} {unit}, but must be {expected}")]
    Domain {
        /// The quantity.
        what: &'static str,
        /// Its value, in `unit`.
        value: f64,
        /// Unit of `value`.
        unit: &'static str,
        /// The range in words.
        expected: &'static str,
    },
    /// The tape measurements contradict each other or the assumed shape.
    #[error("the measured dish is impossible: {0}")]
    Tape(String),
    /// The feed cannot illuminate this reflector.
    #[error("the feed does not see the reflector: {0}")]
    FeedOutsideCone(String),
    /// A pattern table that cannot be used.
    #[error("pattern table: {0}")]
    Table(String),
    /// Shares that should be parts of one whole are not.
    #[error("{what}: the shares add up to {sum}, not to 1")]
    Shares {
        /// The whole.
        what: &'static str,
        /// The sum found.
        sum: f64,
    },
}

/// `value` if it is finite and satisfies `ok`, else a [`AntennaError::Domain`].
pub(crate) fn require(
    ok: bool,
    what: &'static str,
    value: f64,
    unit: &'static str,
    expected: &'static str,
) -> Result<(), AntennaError> {
    if ok && value.is_finite() {
        Ok(())
    } else {
        Err(AntennaError::Domain {
            what,
            value,
            unit,
            expected,
        })
    }
}

/// Requires `value > 0`.
pub(crate) fn positive(
    what: &'static str,
    value: f64,
    unit: &'static str,
) -> Result<(), AntennaError> {
    require(value > 0.0, what, value, unit, "above 0")
}

/// Requires `value >= 0`.
pub(crate) fn not_negative(
    what: &'static str,
    value: f64,
    unit: &'static str,
) -> Result<(), AntennaError> {
    require(value >= 0.0, what, value, unit, "0 or above")
}
