//! What a swap trial tells.

use super::design::Design;
use slantpath_quantity::show::{decimals_for, fixed};
use slantpath_quantity::{Answer, Estimate, Interval, Share, Unit};

/// The verdict.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Verdict {
    /// B is better than A: the 95 % interval lies on the better side of zero.
    Better,
    /// B is worse than A.
    Worse,
    /// The interval contains zero and lies within plus and minus this many dB.
    NoDifferenceAbove(f64),
    /// The interval contains zero.
    NotResolved,
}

/// Something the reader must know before leaning on the difference.
#[derive(Debug, Clone, PartialEq)]
pub enum Caution {
    /// The sides do not alternate: a fade or drift between them looks like the swap.
    FadeNotSeparable {
        /// Time between the sides, s.
        gap_s: f64,
    },
    /// The sides lie on different days.
    DifferentDays {
        /// Time between the sides, s.
        gap_s: f64,
    },
    /// One mounting a side: its scatter was not seen but taken as declared.
    RemountScatterDeclared {
        /// Standard uncertainty of one mounting used, dB.
        u_db: f64,
    },
    /// Nothing was remounted, so only the repeatability of the meter was tested.
    RemountNotTested,
    /// Several blocks share a mounting; they do not count as repeats of the swap.
    BlocksAreNoRepeats {
        /// Observations.
        observations: usize,
        /// Mountings.
        mountings: usize,
    },
    /// A common drift was found and removed.
    DriftFound {
        /// Its size as standard deviation, dB.
        size_db: f64,
    },
    /// Some observations lack a control value, so the control was not used.
    ControlIncomplete {
        /// Observations with a control value.
        with: usize,
        /// All observations.
        of: usize,
    },
    /// A branch was seen on one side only and left out.
    BranchLeftOut {
        /// Which.
        branch: String,
    },
    /// Both sides are the same thing, yet the interval does not contain zero.
    SameThingDiffers,
}

impl Caution {
    /// In words.
    pub fn text(&self) -> String {
        match self {
            Self::FadeNotSeparable { gap_s } => format!(
                "All of one side was recorded before the other ({} between): a fade or drift cannot be told from the swap.",
                duration(*gap_s)
            ),
            Self::DifferentDays { gap_s } => format!(
                "The sides lie {} apart: satellite level, air and everything else that changes from day to day is in the \
                 difference, as declared. That is for clear weather on both: rain or drizzle on one of them can be several \
                 times as much; if there was any, declare more for the air.",
                duration(*gap_s)
            ),
            Self::RemountScatterDeclared { u_db } => format!(
                "One mounting a side: how well the part goes back to its place was not tested; {} dB for each mounting is \
                 declared, not measured.",
                fixed(*u_db, 2)
            ),
            Self::RemountNotTested => "Nothing was remounted between the sides: the scatter seen is the meter's, and taking \
                 the part off and on again may change more."
                .to_string(),
            Self::BlocksAreNoRepeats { observations, mountings } => format!(
                "{observations} observations in {mountings} mountings: repeats within a mounting test only the meter; the \
                 mounting is what counts."
            ),
            Self::DriftFound { size_db } => format!(
                "A drift common to both sides (about {} dB) was found and removed by time order.",
                fixed(*size_db, 2)
            ),
            Self::ControlIncomplete { with, of } => format!(
                "Only {with} of {of} observations have a control value at the same time, so the control was not subtracted."
            ),
            Self::BranchLeftOut { branch } => {
                format!("Branch {branch} was recorded on one side only and is left out.")
            }
            Self::SameThingDiffers => "Both sides are the same thing, yet they differ: something other than the swap moves the \
                 figure, and no difference of this size means anything."
                .to_string(),
        }
    }
}

/// How many pairs there are and how many more it takes (two-sided 5 %, 90 % power).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pairs {
    /// Interleaved pairs recorded.
    pub have: u32,
    /// Standard deviation of the difference of one pair recorded within an hour, dB.
    pub scatter_db: f64,
    /// More pairs to resolve the difference observed: 0 when it is resolved, `None` when no number would do (a million).
    pub more_for_observed: Option<u32>,
    /// The difference planned for, dB.
    pub effect_db: f64,
    /// More pairs to resolve that.
    pub more_for_effect: Option<u32>,
}

/// A swap trial's outcome.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialResult {
    /// B - A, dB: value, standard uncertainty and 95 % interval.
    pub difference: Estimate,
    /// 99.9 % interval.
    pub interval_999: Interval,
    /// The verdict.
    pub verdict: Verdict,
    /// B - A of plain means with the meter's random uncertainty alone, for comparison: wrong under drift or remounts.
    pub naive: Estimate,
    /// What each origin contributes to the uncertainty, largest first.
    pub shares: Vec<Share>,
    /// Layout of the trial.
    pub design: Design,
    /// Scatter from mounting to mounting, dB: found by the data, or declared when they cannot show it.
    pub remount_scatter_db: f64,
    /// Probability that a drift beyond the declared contributors was present (0 when that could not be asked).
    pub drift_probability: f64,
    /// Pairs had and needed.
    pub pairs: Pairs,
    /// For a trial of a thing against itself: whether it returned zero.
    pub same_part_consistent: Option<bool>,
    /// What to know before leaning on the difference.
    pub cautions: Vec<Caution>,
    /// How to record next time.
    pub next: String,
}

impl TrialResult {
    /// The verdict in one sentence.
    pub fn sentence(&self) -> String {
        let d = &self.difference;
        let places = decimals_for(d.u).unwrap_or(3).max(0);
        let figures = format!(
            "{} dB, 95 % interval {} to {} dB",
            signed(d.value, places),
            signed(d.interval.lo, places),
            signed(d.interval.hi, places)
        );
        let (a, b) = ("A", "B");
        match (self.same_part_consistent, self.verdict) {
            (Some(true), _) => format!("The same thing on both sides returns zero: {figures}."),
            (Some(false), _) => {
                format!("The same thing on both sides does not return zero: {figures}.")
            }
            (None, Verdict::Better) => format!("{b} is better than {a}: difference {figures}."),
            (None, Verdict::Worse) => format!("{b} is worse than {a}: difference {figures}."),
            (None, Verdict::NoDifferenceAbove(x)) => {
                format!("No difference above {x} dB between {a} and {b}: {figures}.")
            }
            (None, Verdict::NotResolved) => {
                format!("Not resolved: the difference of {figures}, contains zero.")
            }
        }
    }

    /// As an answer. `measurand` names what was compared, for example `narrow.beacon-psk.cn0@main`.
    pub fn to_answer(&self, measurand: &str, label: &str) -> Answer {
        let mut answer = Answer::known(
            format!("{measurand}.swap"),
            format!("{label}: B - A"),
            Unit::Db,
            self.difference.clone(),
        )
        .with_shares(self.shares.clone())
        .because(self.sentence());
        let largest: Vec<String> = self
            .shares
            .iter()
            .filter(|s| s.u > 0.0)
            .take(2)
            .map(|s| format!("{} ({} dB)", s.label, fixed(s.u, 3)))
            .collect();
        if !largest.is_empty() {
            answer = answer.because(format!(
                "Most of the uncertainty: {}.",
                largest.join(", then ")
            ));
        }
        for c in &self.cautions {
            answer = answer.because(c.text());
        }
        answer.next(self.next.clone())
    }
}

fn signed(x: f64, places: i32) -> String {
    let text = fixed(x, places);
    if x > 0.0 && text.chars().any(|c| ('1'..='9').contains(&c)) {
        format!("+{text}")
    } else {
        text
    }
}

/// A duration as people say it.
pub(super) fn duration(s: f64) -> String {
    match s {
        s if s < 120.0 => format!("{s:.0} s"),
        s if s < 7200.0 => format!("{:.0} min", s / 60.0),
        s if s < 172_800.0 => format!("{:.0} h", s / 3600.0),
        s => format!("{:.0} days", s / 86_400.0),
    }
}
