//! Transform plans in single precision, kept for each thread.

use rustfft::FftPlanner;
use slantpath_signal::C32;
use std::cell::RefCell;

thread_local! {
    static PLANS: RefCell<FftPlanner<f32>> = RefCell::new(FftPlanner::new());
}

/// Forward transform in place.
pub(super) fn forward(x: &mut [C32]) {
    if !x.is_empty() {
        let plan = PLANS.with(|p| p.borrow_mut().plan_fft_forward(x.len()));
        plan.process(x);
    }
}

/// Inverse transform in place, not normalised.
pub(super) fn inverse(x: &mut [C32]) {
    if !x.is_empty() {
        let plan = PLANS.with(|p| p.borrow_mut().plan_fft_inverse(x.len()));
        plan.process(x);
    }
}
