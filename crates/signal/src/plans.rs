//! Transform plans, kept for each thread: making one costs more than using it.

use rustfft::{Fft, FftPlanner};
use std::cell::RefCell;
use std::sync::Arc;

thread_local! {
    static PLANS: RefCell<FftPlanner<f64>> = RefCell::new(FftPlanner::new());
    static SHORT: RefCell<FftPlanner<f32>> = RefCell::new(FftPlanner::new());
}

/// Plan of the forward transform of length `n` in single precision.
pub(crate) fn forward_short(n: usize) -> Arc<dyn Fft<f32>> {
    SHORT.with(|p| p.borrow_mut().plan_fft_forward(n))
}

/// Plan of the inverse transform (not normalised) of length `n` in single precision.
pub(crate) fn inverse_short(n: usize) -> Arc<dyn Fft<f32>> {
    SHORT.with(|p| p.borrow_mut().plan_fft_inverse(n))
}

/// Plan of the forward transform of length `n`.
pub(crate) fn forward(n: usize) -> Arc<dyn Fft<f64>> {
    PLANS.with(|p| p.borrow_mut().plan_fft_forward(n))
}

/// Plan of the inverse transform (not normalised) of length `n`.
pub(crate) fn inverse(n: usize) -> Arc<dyn Fft<f64>> {
    PLANS.with(|p| p.borrow_mut().plan_fft_inverse(n))
}
