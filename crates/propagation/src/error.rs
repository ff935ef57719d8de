//! The room's one error: an input that no model can take.

/// An input no model here can work with. A value that is merely outside a model's stated range is no
/// error: it comes back with [`Validity::Outside`](slantpath_quantity::Validity).
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PropagationError {
    /// Not a number, infinite, or outside what the quantity can be at all.
    #[error("{symbol} = {value} {unit} cannot be: expected {low} to {high} {unit}")]
    Impossible {
        /// The quantity by the name used in the Recommendations.
        symbol: &'static str,
        /// The value that was given.
        value: f64,
        /// Unit of value and limits.
        unit: &'static str,
        /// Lowest possible value.
        low: f64,
        /// Highest possible value.
        high: f64,
    },
    /// The ray meets the ground before it leaves the atmosphere.
    #[error(
        "a ray that leaves {height_km} km at {elevation_deg} deg apparent elevation meets the ground (a smooth sphere at sea level)"
    )]
    MeetsGround {
        /// Height of the station, km.
        height_km: f64,
        /// Elevation asked for, deg.
        elevation_deg: f64,
    },
}

/// `value` when it is finite and within `low..=high`, else [`PropagationError::Impossible`].
pub(crate) fn possible(
    symbol: &'static str,
    value: f64,
    low: f64,
    high: f64,
    unit: &'static str,
) -> Result<f64, PropagationError> {
    if value.is_finite() && (low..=high).contains(&value) {
        Ok(value)
    } else {
        Err(PropagationError::Impossible {
            symbol,
            value,
            unit,
            low,
            high,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_is_named_with_its_limits() {
        assert!(possible("p", f64::NAN, 0.0, 100.0, "%").is_err());
        let e = possible("p", 120.0, 0.0, 100.0, "%").unwrap_err();
        assert_eq!(e.to_string(), "p = 120 % cannot be: expected 0 to 100 %");
        assert_eq!(possible("p", 1.0, 0.0, 100.0, "%"), Ok(1.0));
    }
}
