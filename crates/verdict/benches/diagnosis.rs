//! Diagnosis of many injected faults: culprits found, minutes spent, and whether probabilities mean what they say.
//!
//! References: a culprit among the first two in 85 % of 200 cases; fewer minutes than a fixed order; what was said within
//! 0.05 of what was true, in fifths, over 2000 cases in the proportion in which they happen. The simulator shares nothing
//! with the diagnosing model (`tests/common/faulty.rs`). Run by hand: `cargo bench -p slantpath-verdict --bench diagnosis`.

#[path = "../tests/common/cases.rs"]
mod cases;
#[path = "../tests/common/faulty.rs"]
#[allow(dead_code)]
mod faulty;

use std::process::ExitCode;

fn main() -> ExitCode {
    cases::run(200, true);
    let mut good = true;
    for (n, hit, p) in cases::reliability(50_000, 2000) {
        let (said, is) = (p / f64::from(n), f64::from(hit) / f64::from(n));
        good &= (said - is).abs() < 0.05;
    }
    if good {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}
