//! How often stated 95 % intervals of the station budget and of its Y factor hold the truth.
//!
//! Reference: 2000 stations drawn from what the demo's club station (invented) states, by a generator and a sampler
//! that the library does not use, each with its reflector solved anew. Ends with a code other than zero when one
//! measurand's coverage lies outside 93.5 to 96.5 %: `cargo bench -p slantpath-link --bench honesty`.

#[path = "../tests/common/mod.rs"]
mod common;

use common::{CLUB, JUDGED, coverage, station};
use slantpath_link::{Conditions, Drawing, Model, quick};
use std::process::ExitCode;

const TRIALS: u64 = 2000;

fn main() -> ExitCode {
    let s = station(CLUB).base;
    let Ok(m) = Model::new(&s, &Conditions::default()) else {
        return ExitCode::FAILURE;
    };
    let Ok(p) = quick(&m, Drawing::default()) else {
        return ExitCode::FAILURE;
    };
    let mut honest = true;
    for (id, n, hits) in coverage(&s, &m, &p, TRIALS, &JUDGED) {
        let percent = 100.0 * hits as f64 / n as f64;
        let inside = (93.5..=96.5).contains(&percent) && n as u64 > TRIALS * 99 / 100;
        honest &= inside;
        let mark = if inside { "" } else { "  outside" };
        println!("{id:40} {hits} of {n}: {percent:.2} %{mark}");
    }
    if honest {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}
