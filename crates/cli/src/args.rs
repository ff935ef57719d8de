//! Arguments of every verb.

use clap::{Args, Parser, Subcommand};
use std::path::PathBuf;

/// Model, measure and judge a one-dish ground station for a geostationary amateur transponder.
#[derive(Debug, Parser)]
#[command(name = "slantpath", version, about, max_term_width = 80)]
pub struct Cli {
    #[command(flatten)]
    pub common: Common,
    #[command(subcommand)]
    pub verb: Verb,
}

/// How to answer.
#[derive(Debug, Args)]
pub struct Common {
    /// Answer in JSON.
    #[arg(long, global = true)]
    pub json: bool,
    /// ASCII only.
    #[arg(long, global = true)]
    pub plain: bool,
}

/// The verbs.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Write a commented station (or satellite) file to start from.
    New(New),
    /// Where the satellite stands, seen from the site.
    Survey(Survey),
    /// What the station should do.
    Predict(Predict),
    /// What recordings show.
    Measure(Measure),
    /// Swap trial: is B better than A, and by how much.
    Compare(Compare),
    /// Prediction against measurement, and what would have to move.
    Verdict(Verdict),
    /// How hard to transmit, for how long, and where people must not be.
    Drive(crate::drive_args::Drive),
    /// Which fault made these measurements, and what to measure next.
    Diagnose(crate::plan_args::Diagnose),
    /// Absolute G/T by every route at hand, and whether they agree.
    Routes(crate::plan_args::Routes),
    /// What is fixed before anything is done: frequency sheet, trial sheet.
    Plan(crate::plan_args::Plan),
    /// Which coils around the receive feed suit the dish: uplink gain against receive G/T.
    Design(crate::design_args::Design),
    /// Short readings day after day: what changed, when, and what it may be.
    Watch(crate::watch_args::Watch),
    /// Everything on one self-contained page.
    Report(Report),
    /// The station book: notes, faults, weather, part changes, series.
    Book(crate::book_args::Book),
    /// Contacts: enter, list, exchange, map, echo.
    Contact(crate::book_args::Contact),
    /// Build sheet of the station, to print or publish.
    Sheet(crate::book_args::BuildSheet),
    /// A report computed again from its own provenance: is it the same?
    Again(Again),
    /// The pages: chain sheet, what if, sky; on this machine, or for one phone with --lan.
    Serve(Serve),
    /// The whole job on embedded invented data.
    Demo(Demo),
}

#[derive(Debug, Args)]
pub struct New {
    /// File to write; an existing one is never overwritten.
    pub path: PathBuf,
    /// Write a satellite file instead: asks on a terminal for what is published, takes it from the options below, or
    /// else writes a commented example.
    #[arg(long)]
    pub satellite: bool,
    /// Ask even when standard input is no terminal.
    #[arg(long, requires = "satellite")]
    pub ask: bool,
    /// The satellite's name.
    #[arg(long, requires_all = ["satellite", "slot", "passband"])]
    pub name: Option<String>,
    /// Its orbit slot, for example "11.7 deg W".
    #[arg(
        long,
        requires = "name",
        value_name = "LONGITUDE",
        allow_hyphen_values = true
    )]
    pub slot: Option<String>,
    /// Turn of its polarisation, for example "3.5 deg".
    #[arg(
        long,
        requires = "name",
        value_name = "ANGLE",
        allow_hyphen_values = true
    )]
    pub tilt: Option<String>,
    /// A passband, once for each: "name=narrow; use=narrow; uplink=2412.3..2412.7 MHz; downlink=10472.15..10472.55 MHz;
    /// uplink_polarisation=LHCP; downlink_polarisation=horizontal".
    #[arg(long, requires = "name", value_name = "KEYS")]
    pub passband: Vec<String>,
    /// A beacon, once for each: "passband=narrow; name=b1; frequency=10472.175 MHz; kind=bpsk; symbol_rate=1200 Bd".
    #[arg(long, requires = "name", value_name = "KEYS")]
    pub beacon: Vec<String>,
}

#[derive(Debug, Clone, Args)]
pub struct Station {
    /// Station file.
    pub station: PathBuf,
    /// Variant of the station.
    #[arg(long)]
    pub variant: Option<String>,
}

#[derive(Debug, Args)]
pub struct Survey {
    #[command(flatten)]
    pub station: Station,
    /// Moment, for example 2026-03-01T12:00:00Z (default: now).
    #[arg(long, value_parser = moment)]
    pub at: Option<jiff::Timestamp>,
}

#[derive(Debug, Clone, Args)]
pub struct Drawn {
    /// Monte Carlo trials.
    #[arg(long, default_value_t = 100_000, value_parser = clap::value_parser!(u64).range(1000..=100_000_000))]
    pub draws: u64,
    /// Seed of every random stream.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Percent of an average year for which losses are exceeded (default: clear sky).
    #[arg(long, value_name = "PERCENT")]
    pub exceeded: Option<f64>,
    /// Moment for a satellite with elements.
    #[arg(long, value_parser = moment)]
    pub at: Option<jiff::Timestamp>,
    /// Bandwidth in which C/N is wanted, Hz.
    #[arg(long, value_name = "HZ")]
    pub bandwidth: Option<f64>,
    /// Flux of the Sun at the receive frequency, sfu.
    #[arg(long, value_name = "SFU")]
    pub sun_flux: Option<f64>,
    /// Standard uncertainty of the flux, sfu.
    #[arg(long, value_name = "SFU", default_value_t = 0.0)]
    pub sun_flux_u: f64,
}

#[derive(Debug, Args)]
pub struct Predict {
    /// Station file.
    pub station: PathBuf,
    /// Variants to show beside the base; may be repeated.
    #[arg(long)]
    pub variant: Vec<String>,
    /// Every variant of the station file beside the base.
    #[arg(long, conflicts_with = "variant")]
    pub all_variants: bool,
    /// Keep one branch.
    #[arg(long)]
    pub branch: Option<String>,
    #[command(flatten)]
    pub drawn: Drawn,
}

#[derive(Debug, Clone, Args)]
pub struct Recorded {
    /// Branch the recordings were made on (default: from their metadata).
    #[arg(long)]
    pub branch: Option<String>,
    /// Centre frequency in MHz, true or intermediate.
    #[arg(long, value_name = "MHZ")]
    pub center: Option<f64>,
    /// When the first sample was taken.
    #[arg(long, value_parser = moment)]
    pub start: Option<jiff::Timestamp>,
    /// Sample rate in samples per second (raw recordings).
    #[arg(long, value_name = "PER_SECOND")]
    pub rate: Option<f64>,
    /// Sample format of raw recordings: cu8, ci8, ci16, ci16_be, cf32 ...
    #[arg(long)]
    pub format: Option<String>,
    /// How far the oscillator may be off, kHz each way.
    #[arg(long, value_name = "KHZ")]
    pub lo_tolerance: Option<f64>,
}

#[derive(Debug, Args)]
pub struct Measure {
    #[command(flatten)]
    pub station: Station,
    /// Recordings: SigMF, WAV, raw with --format and --rate, `-` for standard input.
    #[arg(required_unless_present_any = ["hot", "sun"])]
    pub recordings: Vec<PathBuf>,
    /// Recordings of the hot load (absorber, ground): noise against --cold.
    #[arg(long, num_args = 1.., requires = "cold")]
    pub hot: Vec<PathBuf>,
    /// Recordings of the cold load (cold sky).
    #[arg(long, num_args = 1.., requires = "hot")]
    pub cold: Vec<PathBuf>,
    /// Temperature of the hot load and its standard uncertainty, K.
    #[arg(long, num_args = 2, value_names = ["K", "U"], requires = "t_cold")]
    pub t_hot: Vec<f64>,
    /// Temperature of the cold load and its standard uncertainty, K.
    #[arg(long, num_args = 2, value_names = ["K", "U"], requires = "t_hot")]
    pub t_cold: Vec<f64>,
    /// A recording or power log (CSV) while the Sun drifts through the beam.
    #[arg(long)]
    pub sun: Option<PathBuf>,
    /// Flux of the Sun that day at the receive frequency and its standard uncertainty, sfu.
    #[arg(long, num_args = 2, value_names = ["SFU", "U"])]
    pub sun_flux: Vec<f64>,
    /// Flux of the Sun that day as published at other frequencies: MHz, sfu, its standard uncertainty. Give two or
    /// more, on both sides of the receive frequency: a straight line in log flux over log frequency joins them.
    #[arg(long, num_args = 3, value_names = ["MHZ", "SFU", "U"], conflicts_with = "sun_flux", action = clap::ArgAction::Append)]
    pub sun_flux_at: Vec<f64>,
    /// Keep what the recordings show in the station book, with the prediction of their day.
    #[arg(long)]
    pub keep: bool,
    /// The book to keep it in (default: beside the station file, with the ending `.book`).
    #[arg(long, requires = "keep")]
    pub book: Option<PathBuf>,
    #[command(flatten)]
    pub recorded: Recorded,
}

#[derive(Debug, Args)]
pub struct Compare {
    /// Station file.
    pub station: PathBuf,
    /// Recordings that say their side in their metadata.
    pub recordings: Vec<PathBuf>,
    /// Recordings of side A (before).
    #[arg(long, num_args = 1..)]
    pub a: Vec<PathBuf>,
    /// Recordings of side B (after).
    #[arg(long, num_args = 1..)]
    pub b: Vec<PathBuf>,
    /// Recordings of a receiver that the swap does not touch, made at the same times.
    #[arg(long, num_args = 1..)]
    pub control: Vec<PathBuf>,
    /// A set file (CSV or TOML) that says of each recording what it does not say itself: side, start, remount, branch.
    #[arg(long, value_name = "FILE")]
    pub set: Option<PathBuf>,
    /// Typed readings (CSV) of both sides, beside those of the station file.
    #[arg(long, value_name = "CSV")]
    pub readings: Option<PathBuf>,
    /// What the sides are called in metadata, set file and readings.
    #[arg(long, num_args = 2, value_names = ["A", "B"], default_values = ["A", "B"])]
    pub sides: Vec<String>,
    /// What to compare: cn0, cn0-station, g-over-t, noise-step, mer, level ..., or a part of an identity (default:
    /// C/N0 with and without the satellite's noise, G/T from the noise step, readings in dB).
    #[arg(long)]
    pub measurand: Option<String>,
    /// Whether the part is taken off and put back between the sides: yes, no, unknown.
    #[arg(long, default_value = "unknown", value_parser = ["yes", "no", "unknown"])]
    pub remounted: String,
    /// Ask for "no difference above" this many dB.
    #[arg(long, value_name = "DB")]
    pub equivalence: Option<f64>,
    /// Difference to plan for, dB.
    #[arg(long, value_name = "DB", default_value_t = 0.3)]
    pub effect: f64,
    /// Satellite level from day to day, standard uncertainty in dB.
    #[arg(long, value_name = "DB")]
    pub satellite_u: Option<f64>,
    /// Path through the air from day to day, standard uncertainty in dB.
    #[arg(long, value_name = "DB")]
    pub air_u: Option<f64>,
    /// Remount, standard uncertainty in dB.
    #[arg(long, value_name = "DB")]
    pub remount_u: Option<f64>,
    /// Both sides are the same thing (a test of the method).
    #[arg(long)]
    pub same: bool,
    #[command(flatten)]
    pub recorded: Recorded,
}

#[derive(Debug, Clone, Args)]
pub struct Verdict {
    #[command(flatten)]
    pub station: Station,
    /// Recordings.
    pub recordings: Vec<PathBuf>,
    /// Typed readings (CSV).
    #[arg(long)]
    pub readings: Option<PathBuf>,
    #[command(flatten)]
    pub recorded: Recorded,
    #[command(flatten)]
    pub drawn: Drawn,
}

#[derive(Debug, Args)]
pub struct Report {
    #[command(flatten)]
    pub verdict: Verdict,
    /// File to write; an existing one is never overwritten.
    #[arg(long)]
    pub out: PathBuf,
}

#[derive(Debug, Args)]
pub struct Again {
    /// A page that `report` or `demo` wrote; run it in the folder where it was made.
    pub page: PathBuf,
}

#[derive(Debug, Args)]
pub struct Demo {
    /// Folder for the demo's files and its report.
    #[arg(long, default_value = "slantpath-demo")]
    pub into: PathBuf,
}

#[derive(Debug, Args)]
pub struct Serve {
    /// Station file.
    pub station: PathBuf,
    /// Port on this machine; 0 takes a free one.
    #[arg(long, default_value_t = 7410)]
    pub port: u16,
    /// Open a door to the local network too, in TLS, with a one-time key.
    #[arg(long)]
    pub lan: bool,
    /// Port for the local network; 0 takes a free one.
    #[arg(long, default_value_t = 7411)]
    pub lan_port: u16,
    /// Receive meanwhile: tcp:HOST:PORT (raw samples), file:PATH (a file that grows), - (standard input), simulated.
    #[arg(long, value_name = "SOURCE")]
    pub live: Option<String>,
    /// Sample format of raw live samples: cu8, ci8, ci16, ci16_be, cf32 ...
    #[arg(long, requires = "live")]
    pub format: Option<String>,
    /// Sample rate of the live samples, per second.
    #[arg(long, requires = "live", value_name = "PER_SECOND")]
    pub rate: Option<f64>,
    /// Centre frequency of the live samples, MHz (true or intermediate).
    #[arg(long, requires = "live", value_name = "MHZ")]
    pub center: Option<f64>,
    /// Branch that the live samples come from.
    #[arg(long, requires = "live")]
    pub branch: Option<String>,
    /// How far the oscillator may be off, kHz each way.
    #[arg(long, requires = "live", value_name = "KHZ")]
    pub lo_tolerance: Option<f64>,
    /// The station book; beside the station file unless given.
    #[arg(long)]
    pub book: Option<PathBuf>,
    /// Give the book's latest figures at /metrics, in the OpenMetrics text format.
    #[arg(long)]
    pub metrics: bool,
}

/// A moment as RFC 3339 writes it.
pub fn moment(text: &str) -> Result<jiff::Timestamp, String> {
    text.parse().map_err(|_| {
        "expected a date, a time and its offset from UTC, for example 2026-03-01T12:00:00Z"
            .to_string()
    })
}
