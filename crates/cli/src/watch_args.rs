//! Arguments of `watch`.

use crate::args::{Recorded, Station};
use clap::Args;
use std::path::PathBuf;

#[derive(Debug, Args)]
pub struct Watch {
    #[command(flatten)]
    pub station: Station,
    /// Folder in which short recordings gather; each is measured and entered in the book once.
    #[arg(long, value_name = "DIR")]
    pub folder: Option<PathBuf>,
    /// First record into the folder from a server of raw samples, tcp:HOST:PORT; with --format, --rate and --center.
    #[arg(long, value_name = "SOURCE", requires_all = ["folder", "format", "rate", "center"])]
    pub record: Option<String>,
    /// Seconds to record.
    #[arg(long, value_name = "S", default_value_t = 20.0, requires = "record")]
    pub seconds: f64,
    /// Readings (CSV) that carry a moment; each is entered once.
    #[arg(long, value_name = "CSV")]
    pub readings: Option<PathBuf>,
    /// Weather log (CSV): time, and any of temperature (degrees Celsius), rain (mm/h), wind (m/s).
    #[arg(long, value_name = "CSV")]
    pub weather: Option<PathBuf>,
    /// Transmit log (CSV): begin, end, and perhaps output (W), sink and air (degrees Celsius).
    #[arg(long, value_name = "CSV")]
    pub transmit: Option<PathBuf>,
    /// Zone of logs whose moments name none: UTC, +02:00, or a name of the time zone database.
    #[arg(long, allow_hyphen_values = true)]
    pub zone: Option<String>,
    /// The station book (default: beside the station file, with the ending `.book`).
    #[arg(long)]
    pub book: Option<PathBuf>,
    /// Wind above which readings are set aside, m/s.
    #[arg(long, value_name = "M/S", default_value_t = 10.0)]
    pub wind_limit: f64,
    /// How far off a frequency may be before it is retuned, Hz.
    #[arg(long, value_name = "HZ", default_value_t = 100.0)]
    pub tolerance: f64,
    /// Write figures for a monitoring system into this file (OpenMetrics text format), exchanged in one step.
    #[arg(long, value_name = "FILE")]
    pub metrics: Option<PathBuf>,
    /// Look once and end (the default); for a scheduler.
    #[arg(long, conflicts_with = "every")]
    pub once: bool,
    /// Look again after so many minutes, until stopped.
    #[arg(long, value_name = "MINUTES", value_parser = clap::value_parser!(u64).range(1..=10080))]
    pub every: Option<u64>,
    #[command(flatten)]
    pub recorded: Recorded,
}
