//! What can be wrong with the inputs of this room.

/// Why no figure can be given. Being outside a model's stated range is not an error but a `Validity`.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ChainError {
    /// A value that the quantity cannot take.
    #[error("{part}: {symbol} = {value} is impossible, it must be {must}")]
    Impossible {
        /// The part or model.
        part: String,
        /// The quantity's symbol with its unit.
        symbol: &'static str,
        /// The value found.
        value: f64,
        /// What it must be.
        must: &'static str,
    },
    /// A table that does not rise where it must.
    #[error("{part}: {column} does not rise at row {row}: {before} is followed by {after}")]
    NotMonotone {
        /// The part or model.
        part: String,
        /// The column's symbol with its unit.
        column: &'static str,
        /// Row counted from 1.
        row: usize,
        /// The value in the row before.
        before: f64,
        /// The value in this row.
        after: f64,
    },
    /// Fewer rows than the model needs.
    #[error("{part}: {found} rows are given, at least {needed} are needed")]
    TooFewRows {
        /// The part or model.
        part: String,
        /// Rows found.
        found: usize,
        /// Rows needed.
        needed: usize,
    },
    /// A name or index that does not exist in the chain or network.
    #[error("{part}: there is no {what}")]
    Missing {
        /// The chain or network.
        part: String,
        /// What was looked for.
        what: String,
    },
    /// The data forbid the answer.
    #[error("{part}: {why}")]
    Undetermined {
        /// The part or model.
        part: String,
        /// What forbids the answer, and what to do instead.
        why: String,
    },
}

/// Result of this room.
pub type Result<T> = std::result::Result<T, ChainError>;

fn impossible(part: &str, symbol: &'static str, value: f64, must: &'static str) -> ChainError {
    ChainError::Impossible {
        part: part.to_string(),
        symbol,
        value,
        must,
    }
}

/// `value` if it is finite.
pub(crate) fn finite(part: &str, symbol: &'static str, value: f64) -> Result<f64> {
    if value.is_finite() {
        Ok(value)
    } else {
        Err(impossible(part, symbol, value, "a finite number"))
    }
}

/// `value` if it is finite and above zero.
pub(crate) fn positive(part: &str, symbol: &'static str, value: f64) -> Result<f64> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(impossible(part, symbol, value, "above zero"))
    }
}

/// `value` if it is finite and not below zero.
pub(crate) fn not_negative(part: &str, symbol: &'static str, value: f64) -> Result<f64> {
    if value.is_finite() && value >= 0.0 {
        Ok(value)
    } else {
        Err(impossible(part, symbol, value, "zero or more"))
    }
}

/// `value` if it lies in `0..=1`.
pub(crate) fn fraction(part: &str, symbol: &'static str, value: f64) -> Result<f64> {
    if (0.0..=1.0).contains(&value) {
        Ok(value)
    } else {
        Err(impossible(part, symbol, value, "between 0 and 1"))
    }
}

/// Error unless `values` rise strictly.
pub(crate) fn rising(
    part: &str,
    column: &'static str,
    values: impl Iterator<Item = f64>,
) -> Result<()> {
    let mut before: Option<f64> = None;
    for (i, after) in values.enumerate() {
        finite(part, column, after)?;
        if let Some(b) = before
            && after <= b
        {
            return Err(ChainError::NotMonotone {
                part: part.to_string(),
                column,
                row: i + 1,
                before: b,
                after,
            });
        }
        before = Some(after);
    }
    Ok(())
}

/// Error unless at least `needed` rows are there.
pub(crate) fn rows(part: &str, found: usize, needed: usize) -> Result<()> {
    if found >= needed {
        Ok(())
    } else {
        Err(ChainError::TooFewRows {
            part: part.to_string(),
            found,
            needed,
        })
    }
}
