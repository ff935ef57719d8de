//! Arguments of `plan` and `diagnose`.

use crate::args::{Drawn, Recorded, Station};
use clap::{Args, Subcommand};
use slantpath_workflow::planning::Means;
use std::path::PathBuf;

#[derive(Debug, Args)]
pub struct Plan {
    #[command(subcommand)]
    pub what: PlanWhat,
}

#[derive(Debug, Subcommand)]
pub enum PlanWhat {
    /// Where every channel stands between sky and receiver, and what else falls there.
    Frequencies(Frequencies),
    /// Order, number and rules of a swap trial, fixed before it begins.
    Trial(TrialSheet),
    /// What a station must show to be accepted, in which order; filled when recordings and readings are given.
    Acceptance(Box<Acceptance>),
}

#[derive(Debug, Args)]
pub struct Frequencies {
    #[command(flatten)]
    pub station: Station,
    /// Keep one branch.
    #[arg(long)]
    pub branch: Option<String>,
    /// A further downlink frequency to place, MHz; may be repeated.
    #[arg(long, value_name = "MHZ")]
    pub channel: Vec<f64>,
    /// A channel every so many kHz from the lower edge on.
    #[arg(long, value_name = "KHZ")]
    pub step: Option<f64>,
    /// The beacon by which the oscillator's error was found.
    #[arg(long, requires = "found")]
    pub beacon: Option<String>,
    /// Where that beacon was found, MHz (true or intermediate), and its standard uncertainty in MHz.
    #[arg(long, num_args = 2, value_names = ["MHZ", "U"], requires = "beacon")]
    pub found: Vec<f64>,
    /// The oscillator's error and its standard uncertainty, ppm.
    #[arg(long, num_args = 2, value_names = ["PPM", "U"], conflicts_with = "found", allow_negative_numbers = true)]
    pub ppm: Vec<f64>,
    /// Highest order of harmonics and mixing products.
    #[arg(long, default_value_t = 7, value_parser = clap::value_parser!(u32).range(1..=40))]
    pub order: u32,
    /// A further oscillator or carrier nearby: name=MHZ or name=LOW..HIGH (MHz); may be repeated.
    #[arg(long, value_name = "NAME=MHZ")]
    pub source: Vec<String>,
    /// A service on the air here: name=LOW..HIGH (MHz); may be repeated.
    #[arg(long, value_name = "NAME=MHZ")]
    pub service: Vec<String>,
    /// Leave the built-in table of services out.
    #[arg(long)]
    pub only_typed: bool,
    /// How far off a channel may be before it is retuned, Hz.
    #[arg(long, value_name = "HZ", default_value_t = 100.0)]
    pub tolerance: f64,
}

#[derive(Debug, Args)]
pub struct TrialSheet {
    #[command(flatten)]
    pub station: Station,
    /// What the two sides are called.
    #[arg(long, num_args = 2, value_names = ["A", "B"], default_values = ["part A", "part B"])]
    pub sides: Vec<String>,
    /// Difference of each pair of the pilot, dB.
    #[arg(long, num_args = 2.., value_name = "DB", allow_negative_numbers = true)]
    pub pilot: Vec<f64>,
    /// Scatter of one pair to count with when there is no pilot, dB.
    #[arg(long, value_name = "DB", default_value_t = 0.2)]
    pub scatter: f64,
    /// Difference worth knowing, dB.
    #[arg(long, value_name = "DB", default_value_t = 0.3)]
    pub effect: f64,
    /// Bandwidth of one noise reading, Hz.
    #[arg(long, value_name = "HZ", default_value_t = 10e3)]
    pub bandwidth: f64,
    /// Minutes that one remount takes.
    #[arg(long, value_name = "MINUTES", default_value_t = 8.0)]
    pub remount: f64,
    /// Minutes of warming up.
    #[arg(long, value_name = "MINUTES", default_value_t = 30.0)]
    pub warm: f64,
    /// Seed of the order.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
}

#[derive(Debug, Args)]
pub struct Acceptance {
    #[command(flatten)]
    pub station: Station,
    /// Recordings made for it.
    pub recordings: Vec<PathBuf>,
    /// Typed readings (CSV), beside those of the station file.
    #[arg(long, value_name = "CSV")]
    pub readings: Option<PathBuf>,
    /// A figure found by other means, by the name of its check: NAME=VALUE or NAME=VALUE+-U; may be repeated.
    #[arg(long, value_name = "NAME=VALUE+-U", allow_hyphen_values = true)]
    pub found: Vec<String>,
    /// What is not at hand: absorber, sun, meter, transmitter; may be repeated.
    #[arg(long, value_name = "MEANS", value_parser = means)]
    pub without: Vec<Means>,
    /// Minutes of warming up.
    #[arg(long, value_name = "MINUTES", default_value_t = 30.0)]
    pub warm: f64,
    /// Most that the own transmission may lift the receiver's noise, dB.
    #[arg(long, value_name = "DB", default_value_t = 0.1)]
    pub rise: f64,
    /// A recording or power log (CSV) while the Sun drifts through the beam; with the day's --sun-flux and --sun-flux-u, or
    /// --sun-flux-at.
    #[arg(long, value_name = "SCAN")]
    pub sun: Option<PathBuf>,
    /// Flux of the Sun that day as published at other frequencies: MHz, sfu, its standard uncertainty; twice or more.
    #[arg(long, num_args = 3, value_names = ["MHZ", "SFU", "U"], conflicts_with = "sun_flux", requires = "sun", action = clap::ArgAction::Append)]
    pub sun_flux_at: Vec<f64>,
    /// Write the sheet as a page with what it was computed from; `again` recomputes it.
    #[arg(long, value_name = "PAGE")]
    pub out: Option<PathBuf>,
    #[command(flatten)]
    pub recorded: Recorded,
    #[command(flatten)]
    pub drawn: Drawn,
}

/// A means by its word.
fn means(text: &str) -> Result<Means, String> {
    Means::ALL
        .into_iter()
        .filter(|m| *m != Means::Recorder)
        .find(|m| m.word() == text)
        .ok_or_else(|| "expected absorber, sun, meter or transmitter".to_string())
}

#[derive(Debug, Args)]
pub struct Diagnose {
    #[command(flatten)]
    pub station: Station,
    /// Recordings of the station as it is now.
    pub recordings: Vec<PathBuf>,
    /// Typed readings (CSV), beside those of the station file.
    #[arg(long, value_name = "CSV")]
    pub readings: Option<PathBuf>,
    /// What else was seen: a symptom or a measurand with its value, name=VALUE or name=VALUE+-U; may be repeated.
    #[arg(long, value_name = "NAME=VALUE")]
    pub seen: Vec<String>,
    #[command(flatten)]
    pub recorded: Recorded,
    #[command(flatten)]
    pub drawn: Drawn,
}

#[derive(Debug, Args)]
pub struct Routes {
    #[command(flatten)]
    pub station: Station,
    /// Recordings: noise step and beacons begin routes.
    pub recordings: Vec<PathBuf>,
    /// Typed readings (CSV), beside those of the station file.
    #[arg(long, value_name = "CSV")]
    pub readings: Option<PathBuf>,
    /// Passband (default: the first).
    #[arg(long)]
    pub passband: Option<String>,
    /// A recording or power log (CSV) while the Sun drifts through the beam; with the day's --sun-flux and --sun-flux-u, or
    /// --sun-flux-at.
    #[arg(long, value_name = "SCAN")]
    pub sun: Option<PathBuf>,
    /// Flux of the Sun that day as published at other frequencies: MHz, sfu, its standard uncertainty; twice or more.
    #[arg(long, num_args = 3, value_names = ["MHZ", "SFU", "U"], conflicts_with = "sun_flux", requires = "sun", action = clap::ArgAction::Append)]
    pub sun_flux_at: Vec<f64>,
    /// Y factor of Moon over cold sky and its standard uncertainty, dB, the Moon in the middle of the beam.
    #[arg(long, num_args = 2, value_names = ["DB", "U"], requires = "moon_at")]
    pub moon: Vec<f64>,
    /// When the Moon was measured.
    #[arg(long, value_name = "TIME", requires = "moon")]
    pub moon_at: Option<jiff::Timestamp>,
    /// G/T by another route, dB/K: name=VALUE+-U, for example what `measure --sun` says; may be repeated.
    #[arg(long, value_name = "NAME=VALUE+-U", allow_hyphen_values = true)]
    pub route: Vec<String>,
    #[command(flatten)]
    pub recorded: Recorded,
    #[command(flatten)]
    pub drawn: Drawn,
}
