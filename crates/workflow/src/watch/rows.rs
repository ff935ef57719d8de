//! What the watch looks at: a few figures of every entry.

use crate::WorkflowError;
use jiff::Timestamp;
use slantpath_book::{Body, Book, EntryId, Filter, Kind};
use slantpath_quantity::{Answer, Estimate, Unit};
use slantpath_station::Station;
use slantpath_station::checked::{Passband, PassbandUse, Reading, ReadingQuantity};
use std::collections::BTreeMap;

/// Noise level that a receiver or a meter shows, relative.
pub(super) const LEVEL: &str = "watch.noise_level";
/// Forward less reflected power.
pub(super) const RETURN_LOSS: &str = "transmit.return_loss";
/// The sink's temperature.
pub(super) const SINK: &str = "transmit.sink";
/// The receiver's gain as set.
pub(super) const GAIN: &str = "receiver.gain";
/// The own transmitter was on.
pub(super) const ON: &str = "transmit.on";
/// The converter's volts.
pub(super) const VOLTS: &str = "watch.lnb_volts";
/// The oscillator's error, Hz.
pub(super) const OSCILLATOR: &str = "lo.error";

/// Whether a figure is one that the watch keeps.
pub(super) fn watched(measurand: &str) -> bool {
    [LEVEL, RETURN_LOSS, SINK, GAIN, ON, VOLTS, OSCILLATOR].contains(&measurand)
        || [".cn0", ".noise_step", ".noise_outside"]
            .iter()
            .any(|e| measurand.ends_with(e))
}

/// One entry, reduced.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Row {
    /// When, s since 1970.
    pub t_s: f64,
    /// Branch; empty when nobody said.
    pub branch: String,
    /// Figures without the branch: value and standard uncertainty.
    pub figures: BTreeMap<String, (f64, f64)>,
    /// Figures that could not be had.
    pub missing: Vec<String>,
}

impl Row {
    pub(super) fn get(&self, id: &str) -> Option<(f64, f64)> {
        self.figures.get(id).copied()
    }
    /// Whether the satellite was looked for and no beacon was found.
    pub(super) fn lost(&self) -> bool {
        let cn0 = |id: &str| id.ends_with(".cn0");
        self.missing.iter().any(|m| cn0(m)) && !self.figures.keys().any(|m| cn0(m))
    }
}

/// What happened to the station between entries.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// When, s since 1970.
    pub t_s: f64,
    /// Parts changed: levels before and after are not compared.
    pub parts: bool,
    /// Title of the entry.
    pub title: String,
}

/// Every entry of the book that holds a watched figure, by branch in the order of time, and the marks.
///
/// # Errors
/// The book cannot be read.
pub(super) fn of_book(book: &Book) -> Result<(Vec<Row>, Vec<Mark>), WorkflowError> {
    let mut rows: BTreeMap<(EntryId, String), Row> = BTreeMap::new();
    for (measurand, branch, _) in book.measurands()? {
        if !watched(&measurand) {
            continue;
        }
        for p in book.series(&measurand, &branch, None, None)?.measured {
            let r = rows
                .entry((p.entry, branch.clone()))
                .or_insert_with(|| Row {
                    t_s: p.at_ms as f64 / 1e3,
                    branch: branch.clone(),
                    ..Row::default()
                });
            match p.value {
                Ok(v) if p.inside => {
                    r.figures.insert(measurand.clone(), (v.value, v.u));
                }
                _ => r.missing.push(measurand.clone()),
            }
        }
    }
    let mut rows: Vec<Row> = rows.into_values().collect();
    rows.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
    let marks = book
        .entries(&Filter {
            kinds: vec![Kind::Change, Kind::Fault],
            ..Filter::default()
        })?
        .into_iter()
        .filter_map(|e| {
            let parts = match &e.entry.body {
                // The first list of parts is no change.
                Body::Change { changes, .. } if changes.is_empty() => return None,
                Body::Change { .. } => true,
                _ => false,
            };
            Some(Mark {
                t_s: e.entry.at_ms as f64 / 1e3,
                parts,
                title: e.entry.title,
            })
        })
        .collect();
    Ok((rows, marks))
}

/// The passband that a reading means: named, its beacon's, or the first narrow one.
fn passband<'a>(station: &'a Station, r: &Reading) -> Option<&'a Passband> {
    let all = &station.satellite.passbands;
    match (&r.passband, &r.beacon) {
        (Some(p), _) => station.satellite.passband(p),
        (None, Some(b)) => all.iter().find(|p| p.beacon(b).is_some()),
        (None, None) => all
            .iter()
            .find(|p| p.usage == PassbandUse::Narrow)
            .or_else(|| all.first()),
    }
}

/// A reading as a watched figure: identity, label, unit, value, uncertainty.
pub(super) fn of_reading(station: &Station, r: &Reading) -> Option<Answer> {
    let d = r.value.distribution;
    let beacon = || {
        let p = passband(station, r)?;
        let b = match &r.beacon {
            Some(b) => p.beacon(b)?,
            None => p.beacons.first()?,
        };
        Some((p, b))
    };
    let known = |id: String, label: String, unit: Unit, value: f64, least: f64| {
        let u = if d.u() > 0.0 { d.u() } else { least };
        Some(Answer::known(id, label, unit, Estimate::normal(value, u)))
    };
    match r.quantity {
        ReadingQuantity::Cn0 => {
            let (p, b) = beacon()?;
            known(
                format!("{}.{}.cn0", p.name, b.name),
                format!("{} {}: C/N0 as read", p.name, b.name),
                Unit::DbHz,
                d.mean(),
                0.1,
            )
        }
        ReadingQuantity::NoiseStep => {
            let p = passband(station, r)?;
            known(
                format!("{}.noise_step", p.name),
                format!("{}: noise step as read", p.name),
                Unit::Db,
                d.mean(),
                0.1,
            )
        }
        ReadingQuantity::Level if r.beacon.is_none() => known(
            LEVEL.into(),
            "noise level as read".into(),
            Unit::Db,
            d.mean(),
            0.05,
        ),
        ReadingQuantity::BeaconFrequency => {
            let (_, b) = beacon()?;
            known(
                OSCILLATOR.into(),
                format!("{}: frequency as read, less nominal", b.name),
                Unit::Hz,
                d.mean() - b.frequency.as_hz(),
                10.0,
            )
        }
        ReadingQuantity::LnbVolts => known(
            VOLTS.into(),
            "volts at the converter".into(),
            Unit::V,
            d.mean(),
            0.1,
        ),
        ReadingQuantity::SinkTemperature => known(
            SINK.into(),
            "sink's temperature".into(),
            Unit::Celsius,
            d.mean() - 273.15,
            0.5,
        ),
        _ => None,
    }
}

/// Readings taken together: same moment, same branch.
pub(super) struct Group {
    pub t_s: f64,
    pub branch: Option<String>,
    pub answers: Vec<Answer>,
    /// What identifies them, so that they are entered once.
    pub text: String,
}

/// Groups readings by moment and branch, in the order of time; what cannot be entered is told.
pub(super) fn grouped(
    station: &Station,
    readings: &[Reading],
    told: &mut Vec<String>,
) -> Vec<Group> {
    let only = match station.receive.branches.as_slice() {
        [one] => Some(one.name.clone()),
        _ => None,
    };
    let mut groups: BTreeMap<(i64, Option<String>), Vec<&Reading>> = BTreeMap::new();
    let (mut undated, mut unknown) = (0, Vec::new());
    for r in readings {
        let Some(t) = r.time.as_ref().and_then(|t| t.parse::<Timestamp>().ok()) else {
            undated += 1;
            continue;
        };
        let branch = r.branch.clone().or_else(|| only.clone());
        groups
            .entry((t.as_millisecond(), branch))
            .or_default()
            .push(r);
    }
    let mut out = Vec::new();
    for ((ms, branch), list) in groups {
        let mut answers = Vec::new();
        let mut text = format!("{ms} {}", branch.as_deref().unwrap_or(""));
        let power = |q: ReadingQuantity| list.iter().find(|r| r.quantity == q);
        for r in &list {
            text.push_str(&format!(
                "\n{} {} {} {:?} {:?}",
                r.quantity.name(),
                r.value.distribution.mean(),
                r.value.distribution.u(),
                r.passband,
                r.beacon
            ));
            match of_reading(station, r) {
                _ if r.at_ceiling => unknown.push("values at an instrument's ceiling"),
                Some(a) => answers.push(a),
                None if matches!(
                    r.quantity,
                    ReadingQuantity::ForwardPower | ReadingQuantity::ReflectedPower
                ) => {}
                None => unknown.push(r.quantity.name()),
            }
        }
        if let (Some(f), Some(b)) = (
            power(ReadingQuantity::ForwardPower),
            power(ReadingQuantity::ReflectedPower),
        ) {
            let (f, b) = (&f.value.distribution, &b.value.distribution);
            answers.push(Answer::known(
                RETURN_LOSS,
                "return loss on transmit, forward less reflected power",
                Unit::Db,
                Estimate::normal(f.mean() - b.mean(), f.u().hypot(b.u()).max(0.1)),
            ));
        }
        if !answers.is_empty() {
            out.push(Group {
                t_s: ms as f64 / 1e3,
                branch,
                answers,
                text,
            });
        }
    }
    if undated > 0 {
        told.push(format!(
            "{undated} readings have no moment: they belong to no day and are not entered."
        ));
    }
    unknown.sort_unstable();
    unknown.dedup();
    if !unknown.is_empty() {
        told.push(format!("Not watched: {}.", unknown.join(", ")));
    }
    out
}

/// Rows of readings without a book.
pub(super) fn of_readings(
    station: &Station,
    readings: &[Reading],
    told: &mut Vec<String>,
) -> Vec<Row> {
    grouped(station, readings, told)
        .into_iter()
        .map(|g| Row {
            t_s: g.t_s,
            branch: g.branch.unwrap_or_default(),
            figures: g
                .answers
                .iter()
                .filter_map(|a| a.estimate().map(|e| (a.measurand.clone(), (e.value, e.u))))
                .collect(),
            missing: Vec::new(),
        })
        .collect()
}
