//! Transform plans, kept for each thread: making one costs more than using it.

use rustfft::{Fft, FftPlanner};
use std::cell::RefCell;
use std::sync::Arc;

thread_local! {
    static PLANS: RefCell<FftPlanner<f64>> = RefCell::new(FftPlanner::new());
}

/// Plan of the forward transform of length `n`.
pub(crate) fn forward(n: usize) -> Arc<dyn Fft<f64>> {
    PLANS.with(|p| p.borrow_mut().plan_fft_forward(n))
}

/// Plan of the inverse transform (not normalised) of length `n`.
pub(crate) fn inverse(n: usize) -> Arc<dyn Fft<f64>> {
    PLANS.with(|p| p.borrow_mut().plan_fft_inverse(n))
}
