//! Arguments of `drive`.

use crate::args::{Drawn, Recorded};
use clap::Args;
use std::path::PathBuf;

#[derive(Debug, Args)]
pub struct Drive {
    /// Station file.
    pub station: PathBuf,
    /// Variant of the station.
    #[arg(long)]
    pub variant: Option<String>,
    /// One passband only.
    #[arg(long)]
    pub passband: Option<String>,
    /// Highest shoulder, dBc.
    #[arg(long, value_name = "DBC", default_value_t = -30.0, allow_hyphen_values = true)]
    pub shoulder: f64,
    /// Middle and width of the window in which shoulders are read, in symbol rates (default: a tenth wide, just beside).
    #[arg(long, num_args = 2, value_names = ["OFFSET", "WIDTH"])]
    pub shoulder_at: Vec<f64>,
    /// What receivers need above the code's threshold, dB.
    #[arg(long, value_name = "DB", default_value_t = 0.8)]
    pub implementation: f64,
    /// Speech is compressed.
    #[arg(long)]
    pub processed: bool,
    /// Drive ramp of the power amplifier: CSV with drive, output, u (dBm, dB).
    #[arg(long, value_name = "CSV")]
    pub ramp: Option<PathBuf>,
    /// Operating log: CSV with time (s), sink, air (degrees Celsius), heat, output (W), drive (dBm).
    #[arg(long, value_name = "CSV")]
    pub log: Option<PathBuf>,
    /// Noise recordings in this order: transmitter off, (into a dummy load,) on the air.
    #[arg(long, num_args = 2.., value_name = "RECORDING")]
    pub desense: Vec<PathBuf>,
    /// Rounds that these recordings make up, one after the other; several rounds tell how far the gain drifts.
    #[arg(long, value_name = "ROUNDS", default_value_t = 1, requires = "desense")]
    pub desense_rounds: usize,
    /// How far the receiver's gain moves between two recordings, standard uncertainty, dB.
    #[arg(long, value_name = "DB", requires = "desense")]
    pub drift: Option<f64>,
    /// Recordings in which the own carrier stands beside the beacon.
    #[arg(long, num_args = 1.., value_name = "RECORDING")]
    pub own: Vec<PathBuf>,
    /// Limit for the general public, W/m2.
    #[arg(long, value_name = "W/M2", requires = "limit_occupational")]
    pub limit_public: Option<f64>,
    /// Limit for occupational exposure, W/m2.
    #[arg(long, value_name = "W/M2", requires = "limit_public")]
    pub limit_occupational: Option<f64>,
    /// Factor on the density by reflecting roofs or ground, 1 to 4 (default: the station file's, else 1).
    #[arg(long)]
    pub reflection: Option<f64>,
    /// Gust of the local code, m/s.
    #[arg(long, value_name = "M/S", requires = "force_coefficient")]
    pub gust: Option<f64>,
    /// Force coefficient of the local code.
    #[arg(long, requires = "gust")]
    pub force_coefficient: Option<f64>,
    /// From the mount's clamp to the dish's middle, m.
    #[arg(long, value_name = "M")]
    pub lever: Option<f64>,
    /// Distance of the bolts that hold the moment, m.
    #[arg(long, value_name = "M", requires = "lever")]
    pub bolts_apart: Option<f64>,
    /// Pairs of such bolts.
    #[arg(long, default_value_t = 1)]
    pub bolt_pairs: u32,
    /// One cycle of transmitting and listening, minutes.
    #[arg(long, value_name = "MINUTES", default_value_t = 10.0)]
    pub cycle: f64,
    /// Share of the battery that may be taken, 0 to 1.
    #[arg(long, default_value_t = 0.5)]
    pub battery_share: f64,
    /// Charge of the battery meanwhile, W.
    #[arg(long, value_name = "W", default_value_t = 0.0)]
    pub charge: f64,
    /// Power taken while listening, W.
    #[arg(long, value_name = "W", default_value_t = 0.0)]
    pub listening: f64,
    /// Another receiver by its G/T: name=DB_PER_K; may be repeated.
    #[arg(long, value_name = "NAME=DB/K")]
    pub receiver: Vec<String>,
    #[command(flatten)]
    pub recorded: Recorded,
    #[command(flatten)]
    pub drawn: Drawn,
}
