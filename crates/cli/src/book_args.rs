//! Arguments of the verbs about the station book.

use crate::args::Station;
use clap::{Args, Subcommand};
use jiff::Timestamp;
use std::path::PathBuf;

/// Which book.
#[derive(Debug, Args)]
pub struct Of {
    #[command(flatten)]
    pub station: Station,
    /// The book (default: beside the station file, with the ending `.book`).
    #[arg(long)]
    pub book: Option<PathBuf>,
}

/// When, and whether it corrects something.
#[derive(Debug, Args)]
pub struct Dated {
    /// When it happened, for example 2026-03-01T12:00:00Z (default: now).
    #[arg(long)]
    pub at: Option<Timestamp>,
    /// Number of the entry that this one corrects.
    #[arg(long, value_name = "ENTRY")]
    pub corrects: Option<i64>,
}

/// Which entries.
#[derive(Debug, Args)]
pub struct Which {
    /// Not before.
    #[arg(long)]
    pub from: Option<Timestamp>,
    /// Before.
    #[arg(long)]
    pub to: Option<Timestamp>,
    /// Words that occur in it (beginnings suffice).
    #[arg(long)]
    pub words: Option<String>,
    /// At most so many, the newest.
    #[arg(long)]
    pub limit: Option<usize>,
}

#[derive(Debug, Args)]
pub struct Book {
    #[command(subcommand)]
    pub what: BookWhat,
}

#[derive(Debug, Subcommand)]
pub enum BookWhat {
    /// Write a note.
    Note {
        #[command(flatten)]
        of: Of,
        /// What to note.
        text: String,
        #[command(flatten)]
        dated: Dated,
    },
    /// Write that something broke, or works again.
    Fault {
        #[command(flatten)]
        of: Of,
        /// What is wrong.
        text: String,
        /// The part, as the station file names it.
        #[arg(long)]
        part: Option<String>,
        /// The fault is over.
        #[arg(long)]
        over: bool,
        #[command(flatten)]
        dated: Dated,
    },
    /// Write weather: figures, words, or both.
    Weather {
        #[command(flatten)]
        of: Of,
        /// In words.
        text: Option<String>,
        /// Air temperature, for example "12 °C ± 1".
        #[arg(long, allow_hyphen_values = true)]
        temperature: Option<String>,
        /// Rain rate, for example "2 mm/h".
        #[arg(long)]
        rain: Option<String>,
        /// Wind, for example "8 m/s".
        #[arg(long)]
        wind: Option<String>,
        /// Air pressure, for example "1013 hPa".
        #[arg(long)]
        pressure: Option<String>,
        /// Water vapour density, for example "7.5 g/m3".
        #[arg(long)]
        vapour: Option<String>,
        #[command(flatten)]
        dated: Dated,
    },
    /// Write which parts changed since the book's last list of them.
    Change {
        #[command(flatten)]
        of: Of,
        /// Why, in words.
        text: Option<String>,
        /// Compare with this older station file instead.
        #[arg(long, value_name = "STATION")]
        before: Option<PathBuf>,
        /// When it was changed (default: now).
        #[arg(long)]
        at: Option<Timestamp>,
    },
    /// Declare an entry void; it stays readable.
    Withdraw {
        #[command(flatten)]
        of: Of,
        /// Number of the entry.
        entry: i64,
        /// Why.
        why: String,
    },
    /// The timeline.
    List {
        #[command(flatten)]
        of: Of,
        /// Kinds: measurement, change, weather, fault, note, contact; may be repeated.
        #[arg(long)]
        kind: Vec<String>,
        /// Also what was corrected or withdrawn.
        #[arg(long)]
        all: bool,
        #[command(flatten)]
        which: Which,
    },
    /// One entry, whole.
    Show {
        #[command(flatten)]
        of: Of,
        /// Number of the entry.
        entry: i64,
    },
    /// A measurand through time, part changes and faults marked; without a name: what there is.
    Series {
        #[command(flatten)]
        of: Of,
        /// Measurand, for example narrow.beacon.cn0.
        measurand: Option<String>,
        /// Branch.
        #[arg(long)]
        branch: Option<String>,
        /// Not before.
        #[arg(long)]
        from: Option<Timestamp>,
        /// Before.
        #[arg(long)]
        to: Option<Timestamp>,
    },
    /// The latest figures in the OpenMetrics text format.
    Metrics {
        #[command(flatten)]
        of: Of,
    },
    /// Whether the file is sound.
    Check {
        #[command(flatten)]
        of: Of,
    },
}

#[derive(Debug, Args)]
pub struct Contact {
    #[command(subcommand)]
    pub what: ContactWhat,
}

#[derive(Debug, Subcommand)]
pub enum ContactWhat {
    /// Write a contact; time, satellite, the other frequency and the station's state are filled in.
    Add {
        #[command(flatten)]
        of: Of,
        /// Station worked.
        call: String,
        /// Mode: USB, CW, ATV ...
        #[arg(long)]
        mode: String,
        /// Frequency sent on, MHz.
        #[arg(long, value_name = "MHZ")]
        up: Option<f64>,
        /// Frequency heard on, MHz.
        #[arg(long, value_name = "MHZ", required_unless_present = "up")]
        down: Option<f64>,
        /// Its locator.
        #[arg(long)]
        locator: Option<String>,
        /// Report given.
        #[arg(long)]
        sent: Option<String>,
        /// Report received.
        #[arg(long)]
        received: Option<String>,
        /// Own power, W.
        #[arg(long, value_name = "W")]
        power: Option<f64>,
        /// Anything else.
        #[arg(long)]
        comment: Option<String>,
        #[command(flatten)]
        dated: Dated,
    },
    /// Contacts of the book.
    List {
        #[command(flatten)]
        of: Of,
        #[command(flatten)]
        which: Which,
    },
    /// Write the contacts as an ADI file.
    AdifOut {
        #[command(flatten)]
        of: Of,
        /// File to write; an existing one is never overwritten.
        #[arg(long)]
        out: PathBuf,
        #[command(flatten)]
        which: Which,
    },
    /// Take the contacts of an ADI file.
    AdifIn {
        #[command(flatten)]
        of: Of,
        /// The file.
        file: PathBuf,
        /// Leave out records with mistakes instead of refusing the file.
        #[arg(long)]
        skip_faulty: bool,
    },
    /// Write the contacts as GeoJSON; the own place is the centre of its four-character square.
    Map {
        #[command(flatten)]
        of: Of,
        /// File to write; an existing one is never overwritten.
        #[arg(long)]
        out: PathBuf,
        /// Write the own place exactly.
        #[arg(long)]
        exact_place: bool,
        #[command(flatten)]
        which: Which,
    },
    /// Delay of the own voice: predicted, and measured from a recording of two channels.
    Echo {
        #[command(flatten)]
        station: Station,
        /// WAV of two channels: first what was sent, second what came back.
        recording: Option<PathBuf>,
        /// Delay of the equipment as stated and its standard uncertainty, ms.
        #[arg(long, num_args = 2, value_names = ["MS", "U"], default_values_t = [0.0, 0.0])]
        processing: Vec<f64>,
        /// Longest delay looked for, s.
        #[arg(long, value_name = "S", default_value_t = 2.0)]
        longest: f64,
        /// How far the heard sound may be off tune, Hz.
        #[arg(long, value_name = "HZ", default_value_t = 150.0)]
        off_tune: f64,
        /// Moment, for a satellite with elements.
        #[arg(long)]
        at: Option<Timestamp>,
    },
}

#[derive(Debug, Args)]
pub struct BuildSheet {
    #[command(flatten)]
    pub of: Of,
    /// HTML file to write; an existing one is never overwritten. Without it: the sheet as text.
    #[arg(long)]
    pub out: Option<PathBuf>,
    /// Write the own place exactly.
    #[arg(long)]
    pub exact_place: bool,
    #[command(flatten)]
    pub drawn: crate::args::Drawn,
}
