//! Least squares: linear with known covariance, and nonlinear by Levenberg and Marquardt.

mod linear;
mod nonlinear;

pub use linear::{LinearFit, Noise, Scale, linear};
pub use nonlinear::{Convergence, Ending, Nonlinear, NonlinearFit};

/// What was known of an unknown before the data: it acts as one more observation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// Index of the unknown.
    pub index: usize,
    /// Best estimate.
    pub mean: f64,
    /// Standard uncertainty, > 0.
    pub u: f64,
}

impl Prior {
    fn check(&self, unknowns: usize) -> Result<(), crate::StatsError> {
        if self.index >= unknowns {
            return Err(crate::StatsError::OutOfRange {
                name: "index of a prior",
                value: self.index as f64,
                range: "the unknowns' indices",
            });
        }
        if !(self.u > 0.0 && self.u.is_finite() && self.mean.is_finite()) {
            return Err(crate::StatsError::OutOfRange {
                name: "standard uncertainty of a prior",
                value: self.u,
                range: "finite values > 0",
            });
        }
        Ok(())
    }
}
