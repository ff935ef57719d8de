//! The figures of a trial: what each recording and reading says, and what follows from several of them.

use super::{Role, Trial, role_of};
use crate::WorkflowError;
use crate::measure::{Measured, random_u};
use crate::verdict::LEAST_READING_U_DB;
use slantpath_quantity::{Unit, from_db, to_db};
use slantpath_station::Station;
use slantpath_station::checked::{PartKind, Reading, ReadingQuantity};
use slantpath_verdict::trial::{Remounted, Scope, Side, TrialOptions};
use std::collections::BTreeMap;

/// Closer than this below a receiver's own MER a reading says as little as one at its ceiling, dB.
const NEAR_CEILING_DB: f64 = 1.0;

/// What kind of figure.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Kind {
    Cn0,
    Cn0Station,
    GOverT,
    Reading,
    Other,
}

impl Kind {
    pub(super) fn is_default(&self) -> bool {
        *self != Self::Other
    }

    /// Whether a control's measurand may stand for this one's weather: the same apart from the branch, or the total C/N0 of
    /// the same beacon for a separated one.
    pub(super) fn control_of(&self, own: &str, control: &str) -> bool {
        let bare = |id: &str| id.split('@').next().unwrap_or(id).to_string();
        let (own, control) = (bare(own), bare(control));
        own == control || (*self == Self::Cn0Station && own == format!("{control}_station"))
    }

    pub(super) fn notes(&self) -> Vec<String> {
        let text = match self {
            Self::Cn0 => {
                "As a user of the satellite hears it: the satellite's own noise is in it, so that a better station gains less here than in G/T."
            }
            Self::Cn0Station => {
                "The satellite's share of the noise is taken off with the noise step: what the beacon would be over the station's own noise."
            }
            Self::GOverT => {
                "From the noise step alone: the satellite's noise is the signal and the station's own noise the floor; no beacon is used. It rests on the satellite's noise being the same on both sides."
            }
            Self::Reading | Self::Other => return Vec::new(),
        };
        vec![text.to_string()]
    }
}

/// One value of one recording or reading.
#[derive(Debug, Clone)]
pub(super) struct Figure {
    pub kind: Kind,
    pub measurand: String,
    pub label: String,
    pub role: Role,
    pub time_s: f64,
    /// Half the time over which it was taken, s.
    pub half_s: f64,
    pub value_db: f64,
    pub u_db: f64,
    pub mounting: Option<String>,
    pub block: Option<u32>,
    pub branch: String,
    pub source: String,
    pub at_ceiling: bool,
    pub note: Option<String>,
}

impl Figure {
    pub(super) fn is_same_kind(&self, other: &Self) -> bool {
        self.kind == other.kind
    }
}

/// All figures, and the uncertainty of what a side's recordings share.
pub(super) struct Figures {
    pub list: Vec<Figure>,
    pub side_u: BTreeMap<String, f64>,
}

/// Whether an identity is what the user calls `wanted`.
pub(super) fn is_wanted(id: &str, wanted: &str) -> bool {
    let word = wanted.trim().to_ascii_lowercase().replace('-', "_");
    let what = id.split('@').next().unwrap_or(id);
    let last = what.rsplit('.').next().unwrap_or(what);
    const WORDS: [&str; 13] = [
        "cn0",
        "cn0_station",
        "g_over_t",
        "noise_step",
        "mer",
        "margin",
        "level",
        "y_factor",
        "n0",
        "forward_power",
        "reflected_power",
        "noise_inside",
        "noise_outside",
    ];
    if WORDS.contains(&word.as_str()) {
        last == word
    } else {
        id.contains(wanted.trim())
    }
}

pub(super) fn collect(t: &Trial<'_>) -> Result<Figures, WorkflowError> {
    let mut list = Vec::new();
    for (given, m) in t.recordings {
        recording(t, *given, m, &mut list)?;
    }
    for r in t.readings {
        list.extend(reading(t, r)?);
    }
    Ok(Figures {
        list,
        side_u: BTreeMap::new(),
    })
}

fn recording(
    t: &Trial<'_>,
    given: Option<Role>,
    m: &Measured,
    out: &mut Vec<Figure>,
) -> Result<(), WorkflowError> {
    let about = &m.measurement.about;
    let mount = &about.mount;
    let role = given.or_else(|| role_of(mount.side.as_deref(), mount.control, t.sides));
    let Some(role) = role else {
        let said = mount.side.as_deref().map_or_else(
            || "does not say which side of the trial it is".to_string(),
            |s| {
                format!(
                    "says side `{s}`; the sides here are `{}` and `{}`",
                    t.sides[0], t.sides[1]
                )
            },
        );
        return Err(WorkflowError::argument(
            format!("{} {said}", m.path.display()),
            "name it after --a, --b or --control, write `slantpath:side` into its metadata, list it in a --set file, or say \
             what the sides are called with --sides OLD NEW",
        ));
    };
    let Some(time_s) = m.time_s() else {
        return Err(WorkflowError::argument(
            format!("{} does not say when it was made", m.path.display()),
            "a trial needs the order in time: give `start` in a --set file, or record as SigMF",
        ));
    };
    for a in m.answers() {
        let db = matches!(
            a.unit,
            Unit::Db | Unit::DbHz | Unit::DbPerK | Unit::Dbfs | Unit::DbfsPerHz
        );
        let (true, Some(e), Some(u)) = (db, a.estimate(), random_u(a)) else {
            continue;
        };
        let kind = if is_wanted(&a.measurand, "cn0") {
            Kind::Cn0
        } else {
            Kind::Other
        };
        out.push(Figure {
            kind,
            measurand: a.measurand.clone(),
            label: a.label.clone(),
            role,
            time_s,
            half_s: 0.5 * m.measurement.duration_s,
            value_db: e.value,
            u_db: u,
            mounting: mount.remount.map(|r| r.to_string()),
            block: mount.block.and_then(|b| u32::try_from(b).ok()),
            branch: m.branch.clone().unwrap_or_default(),
            source: m.path.display().to_string(),
            at_ceiling: false,
            note: None,
        });
    }
    Ok(())
}

fn reading(t: &Trial<'_>, r: &Reading) -> Result<Option<Figure>, WorkflowError> {
    if !r.quantity.is_decibel() || r.set.is_none() {
        return Ok(None);
    }
    let source = format!("{} ({})", r.value.label, r.value.source);
    let Some(role) = role_of(r.set.as_deref(), false, t.sides) else {
        return Err(WorkflowError::argument(
            format!(
                "the reading {source} is of set `{}`; the sides here are `{}` and `{}`",
                r.set.as_deref().unwrap_or_default(),
                t.sides[0],
                t.sides[1]
            ),
            "write `A`, `B` or `control`, or say what the sides are called with --sides OLD NEW",
        ));
    };
    let Some(time) = &r.time else {
        return Err(WorkflowError::argument(
            format!("the reading {source} has no time"),
            "a trial needs the order in time: write it as 2026-05-03T14:20:00Z",
        ));
    };
    let at: jiff::Timestamp = time.parse().map_err(|e| {
        WorkflowError::argument(
            format!("the time `{time}` of the reading {source} is not in the calendar: {e}"),
            "write it as 2026-05-03T14:20:00Z",
        )
    })?;
    let what = [
        r.passband.as_deref(),
        r.beacon.as_deref(),
        Some(r.quantity.name()),
    ];
    let id: Vec<&str> = what.into_iter().flatten().collect();
    let branch = r.branch.clone().unwrap_or_default();
    let d = r.value.distribution;
    let mut f = Figure {
        kind: Kind::Reading,
        measurand: if branch.is_empty() {
            id.join(".")
        } else {
            format!("{}@{branch}", id.join("."))
        },
        label: match &r.instrument {
            Some(i) => format!("{} as read on {i}", id.join(" ")),
            None => format!("{} as read", id.join(" ")),
        },
        role,
        time_s: at.as_millisecond() as f64 / 1e3,
        half_s: 0.0,
        value_db: d.mean(),
        u_db: d.u().max(LEAST_READING_U_DB),
        mounting: r.mounting.clone(),
        block: None,
        branch,
        source,
        at_ceiling: r.at_ceiling,
        note: None,
    };
    if r.quantity == ReadingQuantity::Mer
        && !f.at_ceiling
        && let Some((ceiling, u)) = receiver_mer(t.station, &f.branch)
    {
        open_up(&mut f, ceiling, u);
    }
    Ok(Some(f))
}

/// The receiver's own MER of a branch, with its standard uncertainty, dB.
fn receiver_mer(station: &Station, branch: &str) -> Option<(f64, f64)> {
    let b = station.receive.branch(branch)?;
    let node = station.receive.nodes.get(b.path.last()?.node.0)?;
    match &node.part.kind {
        PartKind::Receiver(r) => r
            .mer_ceiling
            .as_ref()
            .map(|c| (c.distribution.mean(), c.distribution.u())),
        _ => None,
    }
}

/// Takes the receiver's own imperfections off a MER: they add to the noise as `1/shown = 1/true + 1/own`.
fn open_up(f: &mut Figure, ceiling_db: f64, u_ceiling_db: f64) {
    if f.value_db > ceiling_db - NEAR_CEILING_DB {
        f.at_ceiling = true;
        return;
    }
    let (shown, own) = (from_db(-f.value_db), from_db(-ceiling_db));
    let left = shown - own;
    let (by_shown, by_own) = (shown / left, own / left);
    f.value_db = -to_db(left);
    // The ceiling's uncertainty is shared by all readings; it is small against the reading's own away from the ceiling.
    f.u_db = (by_shown * f.u_db).hypot(by_own * u_ceiling_db);
    f.note = Some(format!(
        "The receiver's own MER of {ceiling_db} dB is taken off each reading; near it, a decibel on the screen is more than one on the roof."
    ));
}

/// Adds what follows from the noise step: G/T up to a constant, and each beacon's C/N0 against the station's own noise.
pub(super) fn separate(all: &mut Figures, options: &TrialOptions) {
    let steps: Vec<Figure> = all
        .list
        .iter()
        .filter(|f| f.kind == Kind::Other && is_wanted(&f.measurand, "noise_step"))
        .cloned()
        .collect();
    for s in &steps {
        let ratio = from_db(s.value_db);
        if ratio > 1.0 && s.u_db * ratio / (ratio - 1.0) < 3.0 {
            all.list.push(Figure {
                kind: Kind::GOverT,
                measurand: s.measurand.replace(".noise_step", ".g_over_t"),
                label: s.label.replace(
                    "noise step at the passband's edge",
                    "G/T from the noise step",
                ),
                value_db: to_db(ratio - 1.0),
                u_db: s.u_db * ratio / (ratio - 1.0),
                ..s.clone()
            });
        }
    }
    let mut beacons: BTreeMap<String, Vec<Figure>> = BTreeMap::new();
    for f in all.list.iter().filter(|f| f.kind == Kind::Cn0) {
        beacons
            .entry(f.measurand.clone())
            .or_default()
            .push(f.clone());
    }
    for (id, fs) in beacons {
        let passband = id.split('.').next().unwrap_or_default();
        let branch = id.split_once('@').map(|x| x.1);
        let of_beacon = |s: &&Figure| {
            s.measurand.split('.').next() == Some(passband)
                && s.measurand.split_once('@').map(|x| x.1) == branch
        };
        let steps: Vec<&Figure> = steps.iter().filter(of_beacon).collect();
        all.separate_beacon(&id, &fs, &steps, options);
    }
}

impl Figures {
    fn separate_beacon(
        &mut self,
        id: &str,
        fs: &[Figure],
        steps: &[&Figure],
        options: &TrialOptions,
    ) {
        let station_id = id.replacen(".cn0", ".cn0_station", 1);
        let with = |f: &Figure, step: f64, u: f64| Figure {
            kind: Kind::Cn0Station,
            measurand: station_id.clone(),
            label: format!("{}, against the station's own noise", f.label),
            value_db: f.value_db + step,
            u_db: f.u_db.hypot(u),
            ..f.clone()
        };
        let own: Vec<Figure> = fs
            .iter()
            .filter_map(|f| {
                let s = steps
                    .iter()
                    .find(|s| s.source == f.source && s.time_s == f.time_s)?;
                Some(with(f, s.value_db, s.u_db))
            })
            .collect();
        let count =
            |v: &[Figure], side: Side| v.iter().filter(|f| f.role == Role::Side(side)).count();
        let complete = own.len() == fs.len();
        let replicated = count(&own, Side::A) >= 2 && count(&own, Side::B) >= 2;
        if complete || replicated {
            self.list.extend(own);
            return;
        }
        // The mean step of a side for each of its recordings; what it may be wrong by, they share.
        let a = side_step(steps, Role::Side(Side::A), options);
        let b = side_step(steps, Role::Side(Side::B), options);
        let (Some(a), Some(b)) = (a, b) else { return };
        for f in fs {
            let step = match f.role {
                Role::Side(Side::A) => a.0,
                Role::Side(Side::B) => b.0,
                Role::Control => continue,
            };
            self.list.push(with(f, step, 0.0));
        }
        let u = ((a.1 * a.1 + b.1 * b.1) / 2.0).sqrt();
        self.side_u.insert(station_id, u);
    }
}

/// Mean noise step of a side, and its standard uncertainty: averaging, and what a remount changes of it.
fn side_step(steps: &[&Figure], role: Role, options: &TrialOptions) -> Option<(f64, f64)> {
    let of: Vec<&&Figure> = steps.iter().filter(|s| s.role == role).collect();
    let n = of.len() as f64;
    if of.is_empty() {
        return None;
    }
    let mean = of.iter().map(|s| s.value_db).sum::<f64>() / n;
    let random = of.iter().map(|s| s.u_db.powi(2)).sum::<f64>() / (n * n);
    let mountings = of
        .iter()
        .map(|s| s.mounting.as_deref().unwrap_or("?"))
        .collect::<std::collections::BTreeSet<_>>()
        .len() as f64;
    let remount: f64 = if options.remounted == Remounted::No {
        0.0
    } else {
        options
            .declared
            .iter()
            .filter(|d| d.scope == Scope::Mounting)
            .map(|d| d.contributor.distribution.u().powi(2))
            .sum()
    };
    // A decibel of G/T changes the step s by (1 - 1/s) dB.
    let part = 1.0 - from_db(-mean);
    Some((mean, (random + part * part * remount / mountings).sqrt()))
}
