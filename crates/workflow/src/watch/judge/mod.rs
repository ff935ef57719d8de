//! From rows to what changed.

mod channels;
mod days;
mod oscillator;
mod prepare;

use super::moments::shown;
use super::rows::{Mark, Row};
use super::sky::{sun_windows, wet_path};
use super::weather::{Overs, Weather};
use crate::WorkflowError;
use channels::channels;
use days::days;
use oscillator::oscillator_of;
use prepare::{aside, with_rain};
use slantpath_link::Model;
use slantpath_station::Station;
use slantpath_stats::robust::median;
use slantpath_verdict::health::Entry;
use slantpath_verdict::health::changes::Change;
use slantpath_verdict::health::drift::{Drift, NoDrift};
use slantpath_verdict::health::rain::WetPath;
use slantpath_verdict::health::separate::Attribution;
use slantpath_verdict::health::trend::Trend;
use std::collections::BTreeMap;

const DAY_S: f64 = 86_400.0;

/// A series shorter than this is looked at entry by entry, a longer one day by day.
const DAILY_FROM_DAYS: f64 = 45.0;

/// A trend that is told and counts as an alarm: strength, and size in dB a year.
const TREND: (f64, f64) = (4.5, 0.2);

/// Entries in a row without any beacon that make the satellite lost.
const LOST: usize = 3;

/// What the judging rests on.
pub struct Basis<'a> {
    /// The station.
    pub station: &'a Station,
    /// Its model in clear air.
    pub model: &'a Model,
    /// Branch looked at.
    pub branch: &'a str,
    /// Entries in the order of time.
    pub rows: &'a [Row],
    /// Part changes and faults.
    pub marks: &'a [Mark],
    /// Weather log.
    pub weather: &'a Weather,
    /// Transmit log.
    pub overs: &'a Overs,
    /// Wind from which readings are set aside, m/s.
    pub wind_limit: f64,
    /// Entries from here on are new in this run, s since 1970.
    pub new_from_s: f64,
}

/// What a channel is of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Of {
    /// What all signals of the satellite have in common: the station's G/T, the path.
    Station,
    /// The station's noise level.
    Noise,
    /// Return loss on transmit.
    ReturnLoss,
    /// The sink's temperature.
    Sink,
    /// The converter's volts.
    Volts,
}

impl Of {
    /// Short name.
    pub fn key(self) -> &'static str {
        match self {
            Self::Station => "station",
            Self::Noise => "noise",
            Self::ReturnLoss => "return_loss",
            Self::Sink => "sink",
            Self::Volts => "lnb_volts",
        }
    }
    /// For people.
    pub fn label(self) -> &'static str {
        match self {
            Self::Station => "signals over the station's noise",
            Self::Noise => "noise level beside the passband",
            Self::ReturnLoss => "return loss on transmit",
            Self::Sink => "sink's temperature",
            Self::Volts => "volts at the converter",
        }
    }
    /// Unit symbol.
    pub fn unit(self) -> &'static str {
        match self {
            Self::Sink => "K",
            Self::Volts => "V",
            _ => "dB",
        }
    }
    /// Whether a change of this sign is for the worse.
    fn worse(self, size: f64) -> bool {
        match self {
            Self::Station | Self::ReturnLoss => size < 0.0,
            Self::Sink => size > 0.0,
            Self::Noise | Self::Volts => true,
        }
    }
}

/// One watched channel.
#[derive(Debug, Clone)]
pub struct Channel {
    /// Of what.
    pub of: Of,
    /// Binned entries, times in s since 1970.
    pub entries: Vec<Entry>,
    /// Level of the present segment and its standard uncertainty.
    pub level: Option<(f64, f64)>,
    /// Slow trend.
    pub trend: Option<Trend>,
}

/// A change that was found. Times in s since 1970.
#[derive(Debug, Clone)]
pub struct Finding {
    /// Channel.
    pub of: Of,
    /// The change.
    pub change: Change,
    /// Who moved; for the station's channel only.
    pub attribution: Option<Attribution>,
    /// Whether it rained in the day and a half before; `None` when nobody logged it.
    pub after_rain: Option<bool>,
    /// The book's entry that accounts for it.
    pub known: Option<String>,
    /// Whether the new level still stands.
    pub stands: bool,
    /// Whether it is an alarm.
    pub alarm: bool,
    /// Another channel showed the same event before this one.
    pub again: bool,
}

/// The oscillator.
#[derive(Debug, Clone)]
pub struct Oscillator {
    /// Nominal frequency, Hz.
    pub lo_hz: f64,
    /// What was learned, or why nothing.
    pub drift: Result<Drift, NoDrift>,
    /// Whether Doppler was taken out by elements.
    pub by_elements: bool,
    /// Peak to peak of the temperature over a day (median of days), K.
    pub daily_k: Option<f64>,
}

/// Everything found on a branch.
#[derive(Debug, Clone, Default)]
pub struct Judged {
    /// Branch.
    pub branch: String,
    /// Length of a bin, days.
    pub bin_days: f64,
    /// Channels with entries.
    pub channels: Vec<Channel>,
    /// Names of the satellite's sources.
    pub sources: Vec<String>,
    /// Raw figures of the branch, binned, by identity (times in s).
    pub raw: BTreeMap<String, Vec<Entry>>,
    /// Changes of every channel, by time.
    pub findings: Vec<Finding>,
    /// Entries set aside, by reason.
    pub aside: BTreeMap<&'static str, usize>,
    /// The oscillator, when frequencies were read.
    pub oscillator: Option<Oscillator>,
    /// The satellite is lost since then, in s.
    pub lost_since_s: Option<f64>,
    /// One line a day, oldest first: begin of the day in s, text.
    pub days: Vec<(f64, String)>,
    /// What a person should know.
    pub told: Vec<String>,
    /// How rain acts on this path.
    pub wet: Option<WetPath>,
    /// First and last entry, s.
    pub span_s: (f64, f64),
    /// Entries.
    pub entries: usize,
}

impl Judged {
    /// Number of alarms.
    pub fn alarms(&self) -> usize {
        self.findings.iter().filter(|f| f.alarm && !f.again).count()
            + usize::from(self.lost_since_s.is_some())
            + self.ageing().count()
    }
    /// Channels that lose slowly.
    pub fn ageing(&self) -> impl Iterator<Item = (&Channel, Trend)> {
        self.channels.iter().filter_map(|c| {
            let t = c.trend?;
            let sure = t.strength().abs() > TREND.0 && t.per_year.0.abs() > TREND.1;
            (sure && c.of.worse(t.per_year.0) && matches!(c.of, Of::Station | Of::ReturnLoss))
                .then_some((c, t))
        })
    }
}

/// Judges one branch.
///
/// # Errors
/// Numbers that cannot be fitted, moments outside the calendar of the Sun's place.
pub fn judge(b: &Basis<'_>) -> Result<Judged, WorkflowError> {
    let rows: Vec<&Row> = b
        .rows
        .iter()
        .filter(|r| r.branch == b.branch || r.branch.is_empty())
        .collect();
    let mut out = Judged {
        branch: b.branch.to_string(),
        entries: rows.len(),
        ..Judged::default()
    };
    let (Some(first), Some(last)) = (rows.first(), rows.last()) else {
        return Ok(out);
    };
    out.span_s = (first.t_s, last.t_s);
    out.bin_days = bin(&rows);
    gaps(&rows, &mut out);
    lost(&rows, &mut out);
    let passband = main_passband(b, &rows);
    out.wet = passband
        .as_ref()
        .and_then(|p| wet_path(b.station, b.model, p, b.branch));
    let beam = passband.as_ref().and_then(|p| b.model.beamwidth(p));
    let suns = match beam {
        Some(beam) => sun_windows(b.station, beam, first.t_s, last.t_s).unwrap_or_else(|e| {
            out.told.push(format!("The Sun's place is not known: {e}."));
            Vec::new()
        }),
        None => Vec::new(),
    };
    let mut kept: Vec<&Row> = Vec::new();
    let mut wet: Vec<&Row> = Vec::new();
    for r in &rows {
        match aside(b, r, &suns) {
            None => kept.push(r),
            Some("rain") => wet.push(r),
            Some(why) => *out.aside.entry(why).or_default() += 1,
        }
    }
    let kept = with_rain(kept, &wet, &mut out);
    channels(b, &kept, &mut out)?;
    oscillator_of(b, &rows, passband.as_deref(), &mut out)?;
    days(b, &rows, &mut out);
    Ok(out)
}

/// Length of a bin in days: a day, or the usual distance of entries in a short series.
fn bin(rows: &[&Row]) -> f64 {
    let (Some(a), Some(z)) = (rows.first(), rows.last()) else {
        return 1.0;
    };
    if z.t_s - a.t_s >= DAILY_FROM_DAYS * DAY_S {
        return 1.0;
    }
    let gaps: Vec<f64> = rows
        .windows(2)
        .filter_map(|w| Some((w.get(1)?.t_s - w.first()?.t_s) / DAY_S))
        .filter(|g| *g > 0.0)
        .collect();
    median(&gaps).unwrap_or(1.0).clamp(60.0 / DAY_S, 1.0)
}

fn gaps(rows: &[&Row], out: &mut Judged) {
    let usual = out.bin_days.max(1.0 / 24.0);
    let mut list = Vec::new();
    let mut twice = 0;
    for w in rows.windows(2) {
        let [a, b] = w else { continue };
        let gap = (b.t_s - a.t_s) / DAY_S;
        if gap > (3.0 * usual).max(1.5 * out.bin_days) && gap > 3.0 * out.bin_days {
            list.push(format!("{} to {}", shown(a.t_s), shown(b.t_s)));
        }
        twice += usize::from(b.t_s <= a.t_s && a.branch == b.branch);
    }
    if !list.is_empty() {
        let n = list.len();
        let last = list.split_off(n.saturating_sub(3)).join("; ");
        out.told.push(if n > 3 {
            format!("{n} gaps without entries, the last: {last}.")
        } else {
            format!("No entries from {last}.")
        });
    }
    if twice > 0 {
        out.told.push(format!(
            "{twice} entries stand at the same moment as another one: all are used."
        ));
    }
}

fn lost(rows: &[&Row], out: &mut Judged) {
    let tail: Vec<&&Row> = rows.iter().rev().take_while(|r| r.lost()).collect();
    if tail.len() >= LOST && tail.len() < rows.len() {
        out.lost_since_s = tail.last().map(|r| r.t_s);
    }
    let n = rows.iter().filter(|r| r.lost()).count();
    if n > 0 {
        out.told.push(format!(
            "{n} entries show no beacon of this satellite; they are kept without figures."
        ));
    }
}

/// The passband that most rows are of.
fn main_passband(b: &Basis<'_>, rows: &[&Row]) -> Option<String> {
    b.station
        .satellite
        .passbands
        .iter()
        .max_by_key(|p| {
            let head = format!("{}.", p.name);
            rows.iter()
                .filter(|r| r.figures.keys().any(|k| k.starts_with(&head)))
                .count()
        })
        .map(|p| p.name.clone())
}
