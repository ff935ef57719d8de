//! `compare`: the swap trial on recordings and typed readings.

mod figures;
mod sheet;

pub use sheet::compare_sheet;

use crate::WorkflowError;
use crate::measure::Measured;
use figures::{Figure, Figures, Kind};
use slantpath_quantity::{Answer, Unit, show};
use slantpath_station::Station;
use slantpath_station::checked::Reading;
use slantpath_verdict::trial::{
    Control, Declared, Observation, Scope, Side, TrialOptions, TrialResult, trial,
};
use std::collections::BTreeMap;

/// Further apart than this (and the recordings' own lengths) a control value is not simultaneous, s.
const SIMULTANEOUS_S: f64 = 60.0;

/// What a recording is in a trial.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// One side of the swap.
    Side(Side),
    /// The receiver that the swap does not touch.
    Control,
}

/// What goes into a comparison.
#[derive(Debug, Clone, Copy)]
pub struct Trial<'a> {
    /// The station, for what its receivers do to a reading.
    pub station: &'a Station,
    /// Recordings, with their role where the caller knows it better than their metadata.
    pub recordings: &'a [(Option<Role>, Measured)],
    /// Typed readings; those without a side are no part of the trial.
    pub readings: &'a [Reading],
    /// What side A and side B are called in metadata and readings.
    pub sides: [&'a str; 2],
    /// `cn0`, `cn0-station`, `g-over-t`, `noise-step`, a reading's quantity, or a part of an identity; `None`: C/N0, C/N0
    /// against the station's noise, G/T from the noise step, and readings in dB.
    pub measurand: Option<&'a str>,
}

/// A compared measurand.
#[derive(Debug)]
pub struct Compared {
    /// Its identity.
    pub measurand: String,
    /// What a person calls it.
    pub label: String,
    /// The trial.
    pub result: TrialResult,
    /// What went in.
    pub observations: Vec<Observation>,
    /// What to know of the figure itself.
    pub notes: Vec<String>,
}

/// Everything a comparison says.
#[derive(Debug)]
pub struct Comparison {
    /// Measurands compared.
    pub compared: Vec<Compared>,
    /// Measurands of both sides that cannot be compared, and why.
    pub refused: Vec<Answer>,
    /// What to know of the trial as a whole.
    pub notes: Vec<String>,
}

/// Compares the measurands wanted that stand on both sides.
///
/// # Errors
/// A recording without side or start time; nothing common to both sides.
pub fn compare(t: &Trial<'_>, options: &TrialOptions) -> Result<Comparison, WorkflowError> {
    let mut all = figures::collect(t)?;
    figures::separate(&mut all, options);
    let mut out = Comparison {
        compared: Vec::new(),
        refused: Vec::new(),
        notes: Vec::new(),
    };
    if t.sides != ["A", "B"] {
        out.notes
            .push(format!("A is {}, B is {}.", t.sides[0], t.sides[1]));
    }
    let mut by: BTreeMap<(Kind, String), Vec<&Figure>> = BTreeMap::new();
    for f in all.list.iter().filter(|f| f.role != Role::Control) {
        by.entry((f.kind.clone(), f.measurand.clone()))
            .or_default()
            .push(f);
    }
    let both = |fs: &[&Figure]| {
        [Side::A, Side::B]
            .iter()
            .all(|s| fs.iter().any(|f| f.role == Role::Side(*s)))
    };
    by.retain(|_, fs| both(fs));
    let known: Vec<String> = by.keys().map(|k| k.1.clone()).collect();
    by.retain(|(kind, id), _| match t.measurand {
        None => kind.is_default(),
        Some(w) => figures::is_wanted(id, w),
    });
    let controls: Vec<&Figure> = all
        .list
        .iter()
        .filter(|f| f.role == Role::Control)
        .collect();
    let mut control_used = false;
    for ((kind, measurand), fs) in by {
        let label = fs.first().map_or_else(String::new, |f| f.label.clone());
        if fs.iter().any(|f| f.at_ceiling) {
            out.refused.push(at_ceiling(&measurand, &label, &fs));
            continue;
        }
        let observations: Vec<Observation> = fs.iter().map(|f| observation(f, &controls)).collect();
        control_used |= observations.iter().any(|o| o.control.is_some());
        let mut own = options.clone();
        let mut notes = kind.notes();
        if let Some(u) = all.side_u.get(&measurand) {
            notes.push(format!(
                "Not every recording holds a noise step of its own: the mean step of its side was used (u {} dB a side).",
                show::significant(*u, 2)
            ));
            own.declared.push(Declared::new(
                "trial.side-step",
                "noise step of each side, shared by its recordings",
                *u,
                Scope::Side,
                "measured",
            ));
        }
        notes.extend(
            fs.iter()
                .filter_map(|f| f.note.clone())
                .collect::<std::collections::BTreeSet<_>>(),
        );
        let result = trial(&observations, &own)?;
        out.compared.push(Compared {
            measurand,
            label,
            result,
            observations,
            notes,
        });
    }
    if out.compared.is_empty() && out.refused.is_empty() {
        return Err(nothing(t, &known, &all));
    }
    if !controls.is_empty() && !control_used {
        out.notes.push(format!(
            "The control was not used: none of its values lies within {SIMULTANEOUS_S:.0} s of the trial's recordings on the same measurand."
        ));
    }
    Ok(out)
}

fn nothing(t: &Trial<'_>, known: &[String], all: &Figures) -> WorkflowError {
    if let (Some(w), false) = (t.measurand, known.is_empty()) {
        return WorkflowError::argument(
            format!("`{w}` was not measured on both sides"),
            format!("on both sides there are: {}", known.join(", ")),
        );
    }
    let count = |s: Side| {
        all.list
            .iter()
            .filter(|f| f.role == Role::Side(s))
            .map(|f| f.source.as_str())
            .collect::<std::collections::BTreeSet<_>>()
            .len()
    };
    WorkflowError::argument(
        format!(
            "nothing was measured on both sides ({} recordings or readings with a figure on side A, {} on side B)",
            count(Side::A),
            count(Side::B)
        ),
        "record the same beacon on the same branch on both sides, and look at `slantpath measure` for what each recording shows",
    )
}

/// An observation with the control value at the same time, if there is one.
fn observation(f: &Figure, controls: &[&Figure]) -> Observation {
    let same = controls
        .iter()
        .filter(|c| f.kind.control_of(&f.measurand, &c.measurand) && !c.at_ceiling)
        .map(|c| {
            (
                (c.time_s - f.time_s).abs() - c.half_s - f.half_s,
                !c.is_same_kind(f),
                c,
            )
        })
        .filter(|(gap, ..)| *gap <= SIMULTANEOUS_S)
        .min_by(|a, b| a.1.cmp(&b.1).then(a.0.total_cmp(&b.0)));
    Observation {
        side: match f.role {
            Role::Side(s) => s,
            Role::Control => Side::A,
        },
        time_s: f.time_s,
        value_db: f.value_db,
        u_random_db: f.u_db,
        mounting: f.mounting.clone(),
        block: f.block,
        branch: f.branch.clone(),
        source: f.source.clone(),
        control: same.map(|(_, _, c)| Control {
            value_db: c.value_db,
            u_random_db: c.u_db,
        }),
    }
}

/// Readings at a ceiling say "this or more": leaving them out would favour the low ones, taking them would pull the
/// difference to zero.
fn at_ceiling(measurand: &str, label: &str, fs: &[&Figure]) -> Answer {
    let n = fs.iter().filter(|f| f.at_ceiling).count();
    let mean = |side: Side| {
        let v: Vec<f64> = fs
            .iter()
            .filter(|f| f.role == Role::Side(side))
            .map(|f| f.value_db)
            .collect();
        v.iter().sum::<f64>() / v.len() as f64
    };
    let all_at = |side: Side| {
        fs.iter()
            .filter(|f| f.role == Role::Side(side))
            .all(|f| f.at_ceiling)
    };
    let none_at = |side: Side| {
        fs.iter()
            .filter(|f| f.role == Role::Side(side))
            .all(|f| !f.at_ceiling)
    };
    let d = mean(Side::B) - mean(Side::A);
    let bound = if all_at(Side::B) && none_at(Side::A) {
        format!("; as read, B - A is {} dB or more", show::fixed(d, 1))
    } else if all_at(Side::A) && none_at(Side::B) {
        format!("; as read, B - A is {} dB or less", show::fixed(d, 1))
    } else {
        String::new()
    };
    Answer::unknown(
        format!("{measurand}.swap"),
        format!("{label}: B - A"),
        Unit::Db,
        format!(
            "{n} of {} readings stand at the instrument's ceiling and say only \"this or more\"{bound}",
            fs.len()
        ),
        "compare something that has no ceiling: the C/N0 of a beacon from recordings, or a weaker signal on this receiver",
    )
}

/// The role that metadata write: a side by its name, or the control.
pub fn role_of(side: Option<&str>, control: bool, names: [&str; 2]) -> Option<Role> {
    if control {
        return Some(Role::Control);
    }
    let text = side?.trim();
    if text.eq_ignore_ascii_case("control") {
        return Some(Role::Control);
    }
    if text.eq_ignore_ascii_case(names[0]) {
        Some(Role::Side(Side::A))
    } else if text.eq_ignore_ascii_case(names[1]) {
        Some(Role::Side(Side::B))
    } else {
        None
    }
}

/// Options with what the station file says in place of the defaults.
pub fn options_of(station: &Station) -> TrialOptions {
    let mut o = TrialOptions::default();
    let said = &station.trial;
    for (given, id) in [
        (said.satellite_level_db, "sat.level.day"),
        (said.air_db, "air.path.day"),
        (said.remount_db, "station.remount"),
    ] {
        if let Some(u) = given {
            declare(&mut o, id, u, "station file");
        }
    }
    if let Some(s) = said.correlation_s {
        o.correlation_s = s;
    }
    o
}

/// Gives a contributor declared by default another standard uncertainty.
pub fn declare(o: &mut TrialOptions, id: &str, u_db: f64, source: &str) {
    for d in &mut o.declared {
        if d.contributor.id.as_str() == id {
            *d = Declared::new(id, &d.contributor.label, u_db, d.scope, source);
        }
    }
}
