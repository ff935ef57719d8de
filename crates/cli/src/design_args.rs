//! Arguments of `design`.

use crate::args::Station;
use clap::{Args, ValueEnum};
use std::path::PathBuf;

#[derive(Debug, Args)]
pub struct Design {
    #[command(flatten)]
    pub station: Station,
    /// Coil diameter to the middle of the wire, mm: LOW..HIGH, or one value to fix it.
    #[arg(long, value_name = "MM")]
    pub diameter: Option<String>,
    /// Diameter of the wire, mm.
    #[arg(long, value_name = "MM")]
    pub wire: Option<String>,
    /// Rise per turn, mm.
    #[arg(long, value_name = "MM")]
    pub pitch: Option<String>,
    /// Number of turns.
    #[arg(long, value_name = "TURNS")]
    pub turns: Option<String>,
    /// Height of the first turn over the disc, mm.
    #[arg(long, value_name = "MM")]
    pub stub: Option<String>,
    /// Aperture of the receive feed before the disc, mm (behind it: negative).
    #[arg(long, value_name = "MM", allow_hyphen_values = true)]
    pub front: Option<String>,
    /// Receive feed in place of the station file's.
    #[arg(long, value_enum, requires = "horn_radius")]
    pub horn: Option<HornKind>,
    /// Radius of its aperture, inside, mm.
    #[arg(long, value_name = "MM", requires = "horn")]
    pub horn_radius: Option<f64>,
    /// Radius of its metal, outside, mm (default: 1 mm more).
    #[arg(long, value_name = "MM", requires = "horn")]
    pub horn_outer: Option<f64>,
    /// Diameter of the disc, mm (default: the station file's, else 0.8 wavelengths).
    #[arg(long, value_name = "MM")]
    pub disc: Option<f64>,
    /// Passband whose frequencies are meant (default: the first).
    #[arg(long)]
    pub passband: Option<String>,
    /// Greatest axial ratio of the uplink beam, dB.
    #[arg(long, value_name = "DB", default_value_t = 3.0)]
    pub axial_ratio: f64,
    /// Designs tried.
    #[arg(long, default_value_t = 400, value_parser = clap::value_parser!(u64).range(8..=100_000))]
    pub tries: u64,
    /// Rows of the curve.
    #[arg(long, default_value_t = 8, value_parser = clap::value_parser!(u64).range(2..=40))]
    pub rows: u64,
    /// Seed of every random stream.
    #[arg(long, default_value_t = 1)]
    pub seed: u64,
    /// Row to build (default: the one with the greatest sum of gain and G/T).
    #[arg(long, value_name = "ROW")]
    pub choose: Option<usize>,
    /// Map of the receive shadow over two dimensions about the chosen row: diameter,wire or diameter,pitch ...
    #[arg(long, value_name = "ACROSS,UP", num_args = 0..=1, default_missing_value = "diameter,wire")]
    pub map: Option<String>,
    /// Coils of the map, across and up.
    #[arg(long, num_args = 2, value_names = ["COLUMNS", "ROWS"], default_values_t = [20, 20])]
    pub map_size: Vec<usize>,
    /// Error of each length whose effect is told, mm.
    #[arg(long, value_name = "MM", default_value_t = 0.5)]
    pub error: f64,
    /// In place of a search: a patch ring of this outer diameter, hole and height over its disc, mm.
    #[arg(long, num_args = 3, value_names = ["OUTER", "HOLE", "HEIGHT"], conflicts_with = "map")]
    pub patch: Vec<f64>,
    /// The patch is soldered to the tube in its hole (else free of it).
    #[arg(long, requires = "patch")]
    pub joined: bool,
    /// The patch has two posts (else four).
    #[arg(long, requires = "patch")]
    pub two_posts: bool,
    /// Distance of the posts from the axis, mm (default: midway between the edges).
    #[arg(long, value_name = "MM", requires = "patch")]
    pub post_radius: Option<f64>,
    /// Diameter of the posts, mm.
    #[arg(long, value_name = "MM", default_value_t = 2.0, requires = "patch")]
    pub post: f64,
    /// Page to write, with the drawings; an existing file is never overwritten.
    #[arg(long, value_name = "HTML")]
    pub out: Option<PathBuf>,
    /// Folder for the drawings as SVG files; existing files are never overwritten.
    #[arg(long, value_name = "FOLDER")]
    pub drawings: Option<PathBuf>,
}

/// What fills the aperture of a receive feed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum HornKind {
    /// Open round waveguide.
    Te11,
    /// Scalar (corrugated) horn.
    He11,
}
