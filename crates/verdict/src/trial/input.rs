//! What a swap trial is made of.

use super::TrialError;
use slantpath_quantity::{Contributor, ContributorId, Distribution};

/// Which of the two things compared was in place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Side {
    /// Before, old, reference.
    A,
    /// After, new.
    B,
}

/// The same quantity at the same moment from a second receiver that the swap does not touch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Control {
    /// Its value, dB.
    pub value_db: f64,
    /// Standard uncertainty of its random part, dB, >= 0.
    pub u_random_db: f64,
}

/// One recording's (or block's, or reading's) value of the measurand compared.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// Which thing was in place.
    pub side: Side,
    /// Middle of the recording, seconds since 1970-01-01 UTC.
    pub time_s: f64,
    /// Value in dB (C/N0, step-derived G/T, a typed reading ...).
    pub value_db: f64,
    /// Standard uncertainty of its random part (what an immediate repeat would change), dB, >= 0.
    pub u_random_db: f64,
    /// Which mounting: changes with every remount of the part. Observations of one side with the same name share one.
    pub mounting: Option<String>,
    /// Which block within the recording.
    pub block: Option<u32>,
    /// Branch of the receive chain. Each branch has its own level; only differences within a branch count.
    pub branch: String,
    /// Where the value comes from, for messages: a file, a reading.
    pub source: String,
    /// The untouched receiver at the same time.
    pub control: Option<Control>,
}

/// Whether the part is taken off and put back between the sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Remounted {
    /// Every change of side is a remount.
    Yes,
    /// A switch, a setting: nothing is moved.
    No,
    /// Not said: taken as yes unless the sides change faster than anybody can remount
    /// ([`TrialOptions::quickest_remount_s`]).
    #[default]
    Unknown,
}

/// When a declared contributor takes a new value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// With every mounting.
    Mounting,
    /// With the side: one value for all of a side's observations, independent between the sides.
    Side,
    /// With time: a stationary process whose values are equal at one moment and independent after a day.
    Day {
        /// The control receiver sees it too, so that subtracting the control removes it.
        seen_by_control: bool,
    },
}

/// A contributor that the data of a trial may be unable to show, with what is known of it. The standard uncertainty is
/// that of *one* occasion (one mounting, one day); the difference of two independent occasions has sqrt(2) times it.
#[derive(Debug, Clone, PartialEq)]
pub struct Declared {
    /// Identity, label and distribution of the deviation on one occasion, dB.
    pub contributor: Contributor,
    /// When it takes a new value.
    pub scope: Scope,
}

impl Declared {
    /// A normal deviation with standard uncertainty `u_db`.
    pub fn new(id: &str, label: &str, u_db: f64, scope: Scope, source: &str) -> Self {
        Self {
            contributor: Contributor {
                id: ContributorId::new(id),
                label: label.to_string(),
                distribution: Distribution::Normal { mean: 0.0, u: u_db },
                unit: "dB",
                source: source.to_string(),
            },
            scope,
        }
    }
}

/// The contributors declared when nothing else is said (common practice, no source): satellite level 0.2 dB, air
/// 0.15 dB, remount 0.15 dB. The difference of two days with a remount between then has a standard uncertainty of
/// 0.41 dB.
pub fn default_declared() -> Vec<Declared> {
    let day = Scope::Day {
        seen_by_control: true,
    };
    let source = "default (common practice, no source)";
    vec![
        Declared::new(
            "sat.level.day",
            "satellite: level from day to day",
            0.20,
            day,
            source,
        ),
        Declared::new(
            "air.path.day",
            "air: path from day to day",
            0.15,
            day,
            source,
        ),
        Declared::new("station.remount", "remount", 0.15, Scope::Mounting, source),
    ]
}

/// How to analyse.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialOptions {
    /// Whether the part is remounted between the sides.
    pub remounted: Remounted,
    /// Contributors from mounting to mounting and from day to day.
    pub declared: Vec<Declared>,
    /// Correlation time of the day-to-day contributors, s (default 6 h: a day later they are independent).
    pub correlation_s: f64,
    /// Changes of side faster than this are no remounts unless said (default 120 s; common practice, no source).
    pub quickest_remount_s: f64,
    /// Ask for "no difference above x", dB.
    pub equivalence_db: Option<f64>,
    /// Size of difference to plan for, dB (default 0.3).
    pub effect_db: f64,
    /// Both sides are the same thing: the trial tests the method and must return zero.
    pub same_part: bool,
    /// Whether a larger value is the better one (false for a loss or a noise temperature in dB).
    pub higher_is_better: bool,
}

impl Default for TrialOptions {
    fn default() -> Self {
        Self {
            remounted: Remounted::Unknown,
            declared: default_declared(),
            correlation_s: 6.0 * 3600.0,
            quickest_remount_s: 120.0,
            equivalence_db: None,
            effect_db: 0.3,
            same_part: false,
            higher_is_better: true,
        }
    }
}

/// Refuses what cannot be computed with.
pub(super) fn check(
    observations: &[Observation],
    options: &TrialOptions,
) -> Result<(), TrialError> {
    for (index, o) in observations.iter().enumerate() {
        let control = o.control.unwrap_or(Control {
            value_db: 0.0,
            u_random_db: 0.0,
        });
        let finite = [
            o.time_s,
            o.value_db,
            o.u_random_db,
            control.value_db,
            control.u_random_db,
        ]
        .iter()
        .all(|x| x.is_finite());
        if !finite || o.u_random_db < 0.0 || control.u_random_db < 0.0 {
            return Err(TrialError::BadObservation {
                index,
                source_name: o.source.clone(),
            });
        }
    }
    for side in [Side::A, Side::B] {
        if !observations.iter().any(|o| o.side == side) {
            return Err(TrialError::NothingOnSide { side });
        }
    }
    let positive = [
        ("correlation time", options.correlation_s),
        ("quickest remount", options.quickest_remount_s),
        ("difference to plan for", options.effect_db),
        (
            "limit of equivalence",
            options.equivalence_db.unwrap_or(1.0),
        ),
    ];
    for (name, value) in positive {
        if !(value > 0.0 && value.is_finite()) {
            return Err(TrialError::BadOption { name, value });
        }
    }
    for d in &options.declared {
        let u = d.contributor.distribution.u();
        if !(u >= 0.0 && u.is_finite()) {
            return Err(TrialError::BadDeclared {
                id: d.contributor.id.to_string(),
                u,
            });
        }
    }
    Ok(())
}
