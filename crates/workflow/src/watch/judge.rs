//! From rows to what changed.

use super::moments::{day, shown};
use super::rows::{GAIN, LEVEL, Mark, ON, OSCILLATOR, RETURN_LOSS, Row, SINK, VOLTS};
use super::sky::{Doppler, doppler_of, sun_windows, wet_path};
use super::weather::{Overs, Weather};
use crate::WorkflowError;
use slantpath_link::Model;
use slantpath_quantity::{from_db, to_db};
use slantpath_station::Station;
use slantpath_station::reach::{lnb_of, oscillator};
use slantpath_stats::robust::median;
use slantpath_verdict::health::changes::{Change, Course, Covariate, Settings, changes};
use slantpath_verdict::health::drift::{Drift, NoDrift, Sample, learn};
use slantpath_verdict::health::rain::WetPath;
use slantpath_verdict::health::separate::{Attribution, Mover, Sight, attribute, separate};
use slantpath_verdict::health::trend::{Trend, trend};
use slantpath_verdict::health::{Entry, binned};
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

/// Why a row takes no part, if it does not.
fn aside(b: &Basis<'_>, r: &Row, suns: &[(f64, f64)]) -> Option<&'static str> {
    let k = suns.partition_point(|s| s.1 < r.t_s);
    if suns.get(k).is_some_and(|s| s.0 <= r.t_s) {
        return Some("Sun near the satellite");
    }
    if r.get(ON).is_some() || b.overs.on(r.t_s) {
        return Some("own transmitter on");
    }
    if b.weather.wind_at(r.t_s).is_some_and(|w| w > b.wind_limit) {
        return Some("wind");
    }
    if b.weather.raining(r.t_s) == Some(true) {
        return Some("rain");
    }
    None
}

/// Rainy rows of bins that have no dry one come back, rain taken out by the ratio of loss and noise.
fn with_rain(mut kept: Vec<&Row>, wet: &[&Row], out: &mut Judged) -> Vec<Row> {
    let cell = |t: f64| (t / (out.bin_days * DAY_S)).floor() as i64;
    let dry: std::collections::BTreeSet<i64> = kept.iter().map(|r| cell(r.t_s)).collect();
    kept.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    let mut all: Vec<Row> = kept.iter().map(|r| (*r).clone()).collect();
    let (mut corrected, mut dropped) = (0, 0);
    for r in wet {
        let fixed = (!dry.contains(&cell(r.t_s)))
            .then(|| without_rain(r, &kept, out.wet.as_ref()))
            .flatten();
        match fixed {
            Some(row) => {
                all.push(row);
                corrected += 1;
            }
            None => dropped += 1,
        }
    }
    all.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    if corrected > 0 {
        out.aside.insert("rain, taken out by its noise", corrected);
    }
    if dropped > 0 {
        out.aside.insert("rain", dropped);
    }
    all
}

/// A row as it would be without the rain that its noise shows.
fn without_rain(r: &Row, kept: &[&Row], path: Option<&WetPath>) -> Option<Row> {
    let path = path?;
    let (level, u) = floor_of(r)?;
    // The noise of the nearest dry rows.
    let k = kept.partition_point(|x| x.t_s < r.t_s);
    let near: Vec<f64> = kept
        .get(k.saturating_sub(8)..(k + 8).min(kept.len()))?
        .iter()
        .filter_map(|x| floor_of(x).map(|f| f.0))
        .collect();
    if near.len() < 4 {
        return None;
    }
    let rise = level - median(&near)?;
    let scatter = slantpath_stats::robust::scaled_mad(&near)
        .unwrap_or(0.1)
        .max(0.02);
    let a = path.attenuation_db(rise.max(0.0))?;
    let a_more = path.attenuation_db(rise.max(0.0) + 0.05).unwrap_or(a + 1.0);
    let (fall, slope) = (
        path.fall_db(a),
        (path.fall_db(a_more) - path.fall_db(a)) / 0.05,
    );
    // The drops' temperature and the wet cover are not known better than a fifth.
    let u_fall = (slope * u.hypot(scatter)).hypot(0.2 * fall);
    if u_fall > 0.3 {
        return None;
    }
    let mut row = r.clone();
    for (id, v) in &mut row.figures {
        if id.ends_with(".cn0") {
            // With the satellite's noise in it a C/N0 falls by less; the step carries the rest.
            *v = (v.0, v.1.hypot(u_fall));
        } else if id.ends_with(".noise_outside") || id == LEVEL {
            *v = (v.0 - rise, v.1.hypot(scatter));
        }
    }
    row.figures.insert(RAIN_FALL.into(), (fall, u_fall));
    Some(row)
}

/// Marks in a row how much its signals would rise without rain.
const RAIN_FALL: &str = "watch.rain_fall";

/// Noise level of a row, whatever shows it, the receiver's gain taken off.
fn floor_of(r: &Row) -> Option<(f64, f64)> {
    let gain = r.get(GAIN).map_or(0.0, |g| g.0);
    r.figures
        .iter()
        .find(|(k, _)| k.ends_with(".noise_outside"))
        .map(|(_, v)| *v)
        .or_else(|| r.get(LEVEL))
        .map(|(v, u)| (v - gain, u))
}

/// Sources of a row: beacons and the satellite's noise against the station's own noise.
fn sights(b: &Basis<'_>, rows: &[Row]) -> (Vec<String>, Vec<Sight>) {
    let mut names: Vec<String> = Vec::new();
    let mut parts: Vec<(String, bool)> = Vec::new();
    for p in &b.station.satellite.passbands {
        let step_id = format!("{}.noise_step", p.name);
        let steps = rows.iter().filter(|r| r.get(&step_id).is_some()).count();
        for k in &p.beacons {
            let id = format!("{}.{}.cn0", p.name, k.name);
            let seen = rows.iter().filter(|r| r.get(&id).is_some()).count();
            if seen > 0 {
                // Against the station's noise alone when most rows hold the step; else as it was measured.
                let with_step = 2 * steps >= seen;
                names.push(format!("{} {}", p.name, k.name));
                parts.push((id, with_step));
            }
        }
        if steps > 0 {
            names.push(format!("{} noise of the satellite", p.name));
            parts.push((step_id, true));
        }
    }
    let value = |r: &Row, id: &str, with_step: bool| -> Option<(f64, f64)> {
        let more = r.get(RAIN_FALL).unwrap_or((0.0, 0.0));
        let (v, u) = r.get(id)?;
        let head = id.split('.').next().unwrap_or("");
        if id.ends_with(".noise_step") {
            // 10 lg(10^(h/10) - 1): satellite's noise over the station's.
            let ratio = from_db(v) - 1.0;
            if ratio <= 0.0 {
                return None;
            }
            let slope = from_db(v) / ratio;
            Some((to_db(ratio) + more.0, (slope * u).hypot(more.1)))
        } else if with_step {
            let (h, uh) = r.get(&format!("{head}.noise_step"))?;
            Some((v + h + more.0, u.hypot(uh).hypot(more.1)))
        } else {
            // With the satellite's noise in it a C/N0 falls by less in rain; by how much is not known without the step.
            r.get(RAIN_FALL).is_none().then_some((v, u))
        }
    };
    let sights = rows
        .iter()
        .map(|r| Sight {
            t: r.t_s,
            values: parts
                .iter()
                .map(|(id, s)| value(r, id, *s).filter(|v| v.0.is_finite() && v.1.is_finite()))
                .collect(),
        })
        .collect();
    (names, sights)
}

fn channels(b: &Basis<'_>, rows: &[Row], out: &mut Judged) -> Result<(), WorkflowError> {
    let (names, sights) = sights(b, rows);
    out.sources = names;
    let parted = separate(&sights);
    let single = |f: &dyn Fn(&Row) -> Option<(f64, f64)>| -> Vec<Entry> {
        rows.iter()
            .filter_map(|r| f(r).map(|(value, u)| Entry { t: r.t_s, value, u }))
            .collect()
    };
    let all = [
        (Of::Station, parted.common.clone()),
        (Of::Noise, single(&floor_of)),
        (Of::ReturnLoss, single(&|r| r.get(RETURN_LOSS))),
        (
            Of::Sink,
            single(&|r| r.get(SINK))
                .into_iter()
                .chain(sinks(b))
                .collect(),
        ),
        (Of::Volts, single(&|r| r.get(VOLTS))),
    ];
    let ids: std::collections::BTreeSet<&String> =
        rows.iter().flat_map(|r| r.figures.keys()).collect();
    for id in ids {
        let list = single(&|r| r.get(id));
        out.raw
            .insert(id.clone(), binned(&list, out.bin_days * DAY_S));
    }
    let sources: Vec<Vec<Entry>> = (0..out.sources.len())
        .map(|i| {
            let list: Vec<Entry> = sights
                .iter()
                .filter_map(|s| {
                    let (value, u) = s.values.get(i).copied().flatten()?;
                    Some(Entry { t: s.t, value, u })
                })
                .collect();
            binned(&list, out.bin_days * DAY_S)
        })
        .collect();
    for (of, entries) in all {
        if entries.is_empty() {
            continue;
        }
        let entries = binned(&entries, out.bin_days * DAY_S);
        channel(b, of, entries, &sources, out)?;
    }
    // The station's channel tells of an event first.
    out.findings.sort_by(|a, b| {
        a.change
            .began
            .total_cmp(&b.change.began)
            .then_with(|| (a.of as u8).cmp(&(b.of as u8)))
    });
    let near = 2.5 * out.bin_days * DAY_S;
    let mut events: Vec<f64> = Vec::new();
    for f in &mut out.findings {
        let (a, z) = (f.change.interval.0 - near, f.change.interval.1 + near);
        f.again = f.alarm && events.iter().any(|t| *t >= a && *t <= z);
        if f.alarm && !f.again {
            events.push(f.change.began);
        }
    }
    Ok(())
}

/// What the sink's temperature over the air's is for each watt of output, brought to the usual output.
fn sinks(b: &Basis<'_>) -> Vec<Entry> {
    let full: Vec<(f64, f64)> = b
        .overs
        .overs
        .iter()
        .filter_map(|o| {
            Some((
                o.span_s.1,
                (o.sink_c? - o.air_c?) / o.output_w.filter(|w| *w > 0.0)?,
            ))
        })
        .collect();
    let watts: Vec<f64> = b.overs.overs.iter().filter_map(|o| o.output_w).collect();
    let usual = median(&watts).unwrap_or(1.0);
    full.into_iter()
        .map(|(t, per_w)| Entry {
            t,
            value: per_w * usual,
            u: 1.0,
        })
        .collect()
}

fn channel(
    b: &Basis<'_>,
    of: Of,
    entries: Vec<Entry>,
    sources: &[Vec<Entry>],
    out: &mut Judged,
) -> Result<(), WorkflowError> {
    let unit = out.bin_days * DAY_S;
    let scaled: Vec<Entry> = entries
        .iter()
        .map(|e| Entry {
            t: e.t / unit,
            ..*e
        })
        .collect();
    let restarts_s: Vec<f64> = b.marks.iter().filter(|m| m.parts).map(|m| m.t_s).collect();
    let restarts: Vec<f64> = restarts_s.iter().map(|t| t / unit).collect();
    let mut s = Settings::default();
    if out.bin_days < 1.0 {
        // A day's swing of 0.1 dB about bins of hours or minutes.
        s.slope = (0.6 * out.bin_days).max(s.slope);
    }
    match of {
        Of::Sink => s.smallest = 2.0,
        Of::Volts => s.smallest = 0.3,
        Of::ReturnLoss => s.smallest = 0.5,
        Of::Station | Of::Noise => {}
    }
    let found: Vec<Change> = changes(
        &scaled,
        &covariates(b, &entries, out.bin_days),
        &restarts,
        &s,
    )
    .into_iter()
    .map(|c| in_seconds(c, unit))
    .collect();
    // Borders between which levels are one: found changes, returns, swaps.
    let mut borders: Vec<f64> = restarts_s.clone();
    for c in &found {
        borders.push(c.began);
        if let Course::Returned { at } = c.course {
            borders.push(at);
        }
    }
    borders.sort_by(f64::total_cmp);
    let last = entries.last().map_or(0.0, |e| e.t);
    for c in &found {
        let not_before = borders
            .iter()
            .copied()
            .filter(|x| *x < c.began)
            .fold(f64::NEG_INFINITY, f64::max);
        let not_after = borders
            .iter()
            .copied()
            .filter(|x| *x > c.began)
            .fold(f64::INFINITY, f64::min);
        let attribution = (of == Of::Station).then(|| attribute(sources, c, not_before, not_after));
        let stands = match c.course {
            Course::Stays => true,
            Course::Returned { .. } => false,
            Course::Decays { constant } => {
                let left = c.size.abs() * (-(last - c.began) / constant).exp();
                left > (3.0 * c.u).max(0.1)
            }
        };
        // A part change within a day, or a fault noted since, accounts for it.
        let known = b
            .marks
            .iter()
            .find(|m| {
                if m.parts {
                    m.t_s >= c.interval.0 - DAY_S && m.t_s <= c.raised + unit || m.t_s > c.raised
                } else {
                    m.t_s >= c.interval.0 - DAY_S
                }
            })
            .map(|m| format!("{} ({})", m.title, day(m.t_s)));
        let satellite = attribution
            .as_ref()
            .is_some_and(|a| matches!(a.mover, Mover::Satellite(_)));
        let alarm = known.is_none()
            && !satellite
            && of.worse(c.size)
            && (stands || c.raised >= b.new_from_s);
        out.findings.push(Finding {
            of,
            after_rain: b.weather.rained(c.began, 36.0),
            change: c.clone(),
            attribution,
            known,
            stands,
            alarm,
            again: false,
        });
    }
    let from = borders.last().copied().unwrap_or(f64::NEG_INFINITY);
    let now: Vec<Entry> = entries.iter().copied().filter(|e| e.t >= from).collect();
    let level = level_of(&now);
    let trend = if out.bin_days >= 1.0 {
        let days: Vec<Entry> = entries
            .iter()
            .map(|e| Entry {
                t: e.t / DAY_S,
                ..*e
            })
            .collect();
        let steps: Vec<f64> = borders.iter().map(|t| t / DAY_S).collect();
        trend(&days, &steps)?
    } else {
        None
    };
    out.channels.push(Channel {
        of,
        entries,
        level,
        trend,
    });
    Ok(())
}

/// Temperature, and whether it rained in the bin (clouds go with rain): what moves levels a little. Effects before the data
/// say anything are common practice, no source.
fn covariates(b: &Basis<'_>, entries: &[Entry], bin_days: f64) -> Vec<Covariate> {
    let mut out = Vec::new();
    if !b.weather.temperature.is_empty() {
        out.push(Covariate {
            values: entries
                .iter()
                .map(|e| b.weather.temperature_at(e.t).unwrap_or(f64::NAN))
                .collect(),
            u: 0.01,
        });
    }
    if !b.weather.rain.is_empty() && bin_days >= 1.0 {
        out.push(Covariate {
            values: entries
                .iter()
                .map(|e| match b.weather.rained(e.t + 0.5 * DAY_S, 24.0) {
                    Some(true) => 1.0,
                    Some(false) => 0.0,
                    None => f64::NAN,
                })
                .collect(),
            u: 0.15,
        });
    }
    out
}

fn level_of(entries: &[Entry]) -> Option<(f64, f64)> {
    let tail = entries.get(entries.len().saturating_sub(120)..)?;
    let v: Vec<f64> = tail.iter().map(|e| e.value).collect();
    let m = median(&v)?;
    let mad = slantpath_stats::robust::scaled_mad(&v).unwrap_or(0.0);
    let own = tail.iter().map(|e| e.u).fold(0.0, f64::max);
    Some((m, mad.max(if v.len() < 3 { own } else { 0.0 })))
}

fn in_seconds(c: Change, unit: f64) -> Change {
    Change {
        began: c.began * unit,
        interval: (c.interval.0 * unit, c.interval.1 * unit),
        raised: c.raised * unit,
        course: match c.course {
            Course::Stays => Course::Stays,
            Course::Decays { constant } => Course::Decays {
                constant: constant * unit,
            },
            Course::Returned { at } => Course::Returned { at: at * unit },
        },
        ..c
    }
}

fn oscillator_of(
    b: &Basis<'_>,
    rows: &[&Row],
    passband: Option<&str>,
    out: &mut Judged,
) -> Result<(), WorkflowError> {
    let mut samples: Vec<Sample> = rows
        .iter()
        .filter_map(|r| {
            let (offset_hz, u_hz) = r.get(OSCILLATOR)?;
            Some(Sample {
                t_s: r.t_s,
                offset_hz,
                u_hz,
            })
        })
        .collect();
    if samples.is_empty() {
        return Ok(());
    }
    let Some(branch) = b
        .station
        .receive
        .branch(b.branch)
        .or_else(|| b.station.receive.branches.first())
    else {
        return Ok(());
    };
    let Some((_, lnb)) = lnb_of(&b.station.receive, branch) else {
        return Ok(());
    };
    let lo_hz = oscillator(lnb, branch.tone).as_hz();
    // Satellite above the oscillator: it going up brings the intermediate frequency down; `lo.error` is what is received
    // above the nominal, so that the oscillator's own error is the negative of it.
    let p = passband.and_then(|p| b.station.satellite.passband(p));
    let doppler = match p {
        Some(p) => doppler_of(b.station, p, out.span_s.1)?,
        None => Doppler::Unknown,
    };
    let (bound, by_elements) = match &doppler {
        Doppler::Known(f) => {
            for s in &mut samples {
                s.offset_hz -= f(s.t_s).unwrap_or(0.0);
            }
            (0.0, true)
        }
        Doppler::Bound(x) => (*x, false),
        // A satellite kept in its slot, inclination below 0.1 deg: some 100 Hz at 3 cm (common practice, no source).
        Doppler::Unknown => (100.0, false),
    };
    let drift = learn(&samples, &b.weather.temperature, lo_hz, bound)?;
    out.oscillator = Some(Oscillator {
        lo_hz,
        drift,
        by_elements,
        daily_k: daily_swing(&b.weather.temperature),
    });
    Ok(())
}

/// Median over days of the day's highest less its lowest temperature, K.
fn daily_swing(log: &[(f64, f64)]) -> Option<f64> {
    let mut days: BTreeMap<i64, (f64, f64, usize)> = BTreeMap::new();
    for (t, c) in log {
        let d = days
            .entry((t / DAY_S).floor() as i64)
            .or_insert((*c, *c, 0));
        *d = (d.0.min(*c), d.1.max(*c), d.2 + 1);
    }
    let most = days.values().map(|d| d.2).max()?;
    let swings: Vec<f64> = days
        .values()
        .filter(|d| 2 * d.2 >= most && d.2 >= 4)
        .map(|d| d.1 - d.0)
        .collect();
    median(&swings)
}

/// One line for each day that has entries.
fn days(b: &Basis<'_>, rows: &[&Row], out: &mut Judged) {
    let mut by_day: BTreeMap<i64, Vec<&Row>> = BTreeMap::new();
    for r in rows {
        by_day
            .entry((r.t_s / DAY_S).floor() as i64)
            .or_default()
            .push(r);
    }
    let newest = by_day.keys().next_back().copied();
    for (d, list) in by_day {
        let begin = d as f64 * DAY_S;
        let end = begin + DAY_S;
        if end <= b.new_from_s && Some(d) != newest {
            continue;
        }
        let mut parts = vec![format!(
            "{} {}",
            list.len(),
            if list.len() == 1 { "entry" } else { "entries" }
        )];
        for c in &out.channels {
            let today: Vec<f64> = c
                .entries
                .iter()
                .filter(|e| e.t >= begin && e.t < end)
                .map(|e| e.value)
                .collect();
            let (Some(v), Some((level, u))) = (median(&today), level_at(c, &out.findings, begin))
            else {
                continue;
            };
            let places = if c.of == Of::Sink { 0 } else { 2 };
            parts.push(format!(
                "{} {:+.*} {} (usual \u{b1} {:.*})",
                c.of.label(),
                places,
                v - level,
                c.of.unit(),
                places,
                u
            ));
        }
        let hz: Vec<f64> = list
            .iter()
            .filter_map(|r| r.get(OSCILLATOR))
            .map(|v| v.0)
            .collect();
        if let (Some(f), Some(o)) = (median(&hz), &out.oscillator) {
            parts.push(format!("received {:+.2} ppm off", 1e6 * f / o.lo_hz));
        }
        if let Some(t) = b.weather.temperature_at(begin + 0.5 * DAY_S) {
            parts.push(format!("{t:.0} \u{b0}C at noon UTC"));
        }
        let raised: Vec<&str> = out
            .findings
            .iter()
            .filter(|f| f.change.raised >= begin && f.change.raised < end)
            .map(|f| f.of.label())
            .collect();
        let verdict = if raised.is_empty() {
            "nothing new".to_string()
        } else {
            format!("CHANGE: {}", raised.join(", "))
        };
        out.days.push((
            begin,
            format!("{}: {}; {verdict}.", day(begin), parts.join(", ")),
        ));
    }
}

/// Level before a day's entries: of the segment that the day began in, from entries before it when there are any.
fn level_at(c: &Channel, findings: &[Finding], begin: f64) -> Option<(f64, f64)> {
    let from = findings
        .iter()
        .filter(|f| f.of == c.of && f.change.raised < begin)
        .map(|f| match f.change.course {
            Course::Returned { at } if at < begin => at,
            _ => f.change.began,
        })
        .fold(f64::NEG_INFINITY, f64::max);
    let before: Vec<Entry> = c
        .entries
        .iter()
        .copied()
        .filter(|e| e.t >= from && e.t < begin)
        .collect();
    (before.len() >= 3).then(|| level_of(&before)).flatten()
}
