//! A figure with its standard uncertainty.

/// A value and its standard uncertainty, in the same unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
}

impl Known {
    /// With a standard uncertainty.
    pub const fn new(value: f64, u: f64) -> Self {
        Self { value, u }
    }
    /// Exactly this.
    pub const fn exact(value: f64) -> Self {
        Self { value, u: 0.0 }
    }
    /// Standard uncertainty over value.
    pub(crate) fn relative(self) -> f64 {
        if self.value == 0.0 {
            0.0
        } else {
            self.u / self.value.abs()
        }
    }
}
