//! Ground floor: what the rooms share in statistics.
//!
//! | module | for |
//! |---|---|
//! | [`stream`] | seeded random streams, one per contributor identity |
//! | [`draws`] | propagation of distributions by Monte Carlo (JCGM 101:2008) |
//! | [`propagate`] | first-order propagation and effective degrees of freedom (JCGM 100:2008) |
//! | [`least_squares`] | linear, generalised and nonlinear least squares with covariance |
//! | [`intervals`] | quantiles, confidence intervals, power and sample size |
//! | [`noise`] | how far averages of noise power may scatter |
//! | [`robust`] | median, scaled median deviation, Theil-Sen line, normal scores |
//! | [`progress`] | progress reports and a cooperative stop, handed in by the caller |
//!
//! Every result is the same bit for bit at any number of threads: random numbers belong to an identity and a
//! block of trials, never to a thread, and sums are taken in a fixed order. Small dense matrices are factored
//! here by sequential Householder and Cholesky steps ([`matrix`]) for the same reason.

pub mod draws;
mod error;
pub mod intervals;
pub mod least_squares;
pub mod matrix;
pub mod noise;
pub mod progress;
pub mod propagate;
pub mod robust;
pub mod stream;

pub use draws::{Draws, Settings, monte_carlo, monte_carlo_with};
pub use error::StatsError;
pub use matrix::Matrix;
pub use progress::{Progress, Stop};
