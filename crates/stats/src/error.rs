//! The room's one error.

/// Why a statistical answer cannot be given.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum StatsError {
    /// A distribution's parameters make no sense.
    #[error("{id}: {reason}")]
    BadDistribution {
        /// Contributor identity.
        id: String,
        /// What is wrong with it.
        reason: String,
    },
    /// Two contributors carry the same identity but state different knowledge.
    #[error("contributor {id} is given twice with different distributions")]
    Contradiction {
        /// Contributor identity.
        id: String,
    },
    /// The model returned infinity or not-a-number.
    #[error("output {output} of the model is not finite in trial {trial}")]
    NotFinite {
        /// Index of the output.
        output: usize,
        /// Index of the first such trial.
        trial: usize,
    },
    /// An argument lies outside its range.
    #[error("{name} = {value} is outside {range}")]
    OutOfRange {
        /// Name of the argument.
        name: &'static str,
        /// Value given.
        value: f64,
        /// Range in words.
        range: &'static str,
    },
    /// Not enough data for the number of unknowns.
    #[error("{have} values are not enough, at least {need} are needed")]
    TooFew {
        /// Values given.
        have: usize,
        /// Values needed.
        need: usize,
    },
    /// Lengths do not fit together.
    #[error("{what}: expected {expected} values, found {found}")]
    Shape {
        /// What has the wrong length.
        what: &'static str,
        /// Length expected.
        expected: usize,
        /// Length found.
        found: usize,
    },
    /// The data do not determine this unknown.
    #[error("unknown number {column} is not determined by the data")]
    Undetermined {
        /// Index of the unknown.
        column: usize,
    },
    /// A covariance matrix is not positive definite.
    #[error("covariance matrix is not positive definite at row {row}")]
    NotPositiveDefinite {
        /// First row where the factorisation fails.
        row: usize,
    },
    /// The caller asked to stop.
    #[error("stopped on request")]
    Stopped,
}
