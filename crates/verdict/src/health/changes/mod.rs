//! Change-points: since when, by how much, and does it come back.
//!
//! Sequential test by the generalised likelihood ratio (Lorden 1971; Willsky and Jones 1976; Basseville and Nikiforov,
//! Detection of Abrupt Changes, chapter 2.4.3; from memory): at each value, every recent moment is tried as the moment of
//! a step, in a window that reaches back over a reference. Scatter is autoregressive ([`Scatter`]) and learned from the
//! series itself; values are drawn in to three standard deviations of the reference, so that one wild day raises nothing;
//! a slow slope of limited steepness (season, growth of a hedge) is fitted beside the step, lest it be taken for one. The
//! threshold is calibrated by simulation (`tests/health.rs`); nothing later than a value decides whether it raises an
//! alarm, so that running the watch again over the same entries tells the same story.

mod course;
mod effects;
mod look;
#[cfg(test)]
mod tests;

use super::Entry;
use course::courses;
use effects::Calm;
use look::Around;
use slantpath_stats::robust::median;

/// How a change goes on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Course {
    /// It stays.
    Stays,
    /// It goes back as an exponential with this time constant (unit of the times).
    Decays {
        /// Time constant.
        constant: f64,
    },
    /// It came back at this time.
    Returned {
        /// When.
        at: f64,
    },
}

/// A change of level.
#[derive(Debug, Clone, PartialEq)]
pub struct Change {
    /// First value of the new level: most likely time.
    pub began: f64,
    /// 95 % interval of that time.
    pub interval: (f64, f64),
    /// When there was evidence enough.
    pub raised: f64,
    /// New level less old; of one that decays, at its beginning.
    pub size: f64,
    /// Standard uncertainty of the size.
    pub u: f64,
    /// Size over uncertainty when it was raised, as of a normal deviate.
    pub strength: f64,
    /// How it went on.
    pub course: Course,
}

/// Something logged beside the series that moves it a little: temperature, whether it rained that day.
#[derive(Debug, Clone, PartialEq)]
pub struct Covariate {
    /// One value for each entry; not finite where nothing was logged.
    pub values: Vec<f64>,
    /// Standard deviation of its effect per unit before the data say anything.
    pub u: f64,
}

/// How to look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Normal deviate that raises an alarm.
    pub threshold: f64,
    /// Values of reference before the moments tried.
    pub reference: usize,
    /// Latest values tried as moments of change.
    pub recent: usize,
    /// Values before the first alarm can be raised.
    pub learning: usize,
    /// Values after a change before it can be believed.
    pub least: usize,
    /// Standard deviation of the slope that is no change, per unit of time.
    pub slope: f64,
    /// How far from the reference a value counts in full, standard deviations.
    pub clip: f64,
    /// Smaller changes of level are not told, in the series' unit.
    pub smallest: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            threshold: 4.2,
            reference: 90,
            recent: 30,
            learning: 25,
            least: 5,
            // An annual sine of 0.1 dB is as steep.
            slope: 0.0017,
            clip: 3.5,
            smallest: 0.18,
        }
    }
}

/// Scatter and effects are learned anew after so many values.
const LEARN_EVERY: usize = 4;

/// Finds the changes. `restarts` are times at which the level may have changed for a known reason (a part was changed):
/// levels before and after are not compared.
///
/// Covariates are taken out by their effects on earlier values only.
pub fn changes(
    entries: &[Entry],
    covariates: &[Covariate],
    restarts: &[f64],
    s: &Settings,
) -> Vec<Change> {
    let mut out: Vec<Change> = Vec::new();
    // Residuals about the levels found so far, for the scatter.
    let mut begin = 0usize;
    let mut residual: Vec<f64> = vec![0.0; entries.len()];
    let mut settled = 0usize;
    let mut restarts: Vec<f64> = restarts.to_vec();
    restarts.sort_by(f64::total_cmp);
    let mut next_restart = restarts.iter().copied().peekable();
    let mut known: Option<(usize, usize, Calm)> = None;
    let around = Around {
        entries,
        covariates,
        s,
    };
    let mut n = 0usize;
    while n < entries.len() {
        let Some(now) = entries.get(n) else { break };
        while next_restart.peek().is_some_and(|r| *r <= now.t) {
            settle(entries, &mut residual, begin, n, &mut settled);
            begin = n;
            next_restart.next();
        }
        let calm = match known.take() {
            Some((b, k, c)) if b == begin && n < k + LEARN_EVERY => Some((b, k, c)),
            _ => around
                .learn(&residual, begin, n, settled)
                .map(|c| (begin, n, c)),
        };
        let found = calm
            .as_ref()
            .and_then(|c| around.look(&c.2, begin, n, settled));
        known = calm;
        if let Some(found) = found {
            let at = found.at;
            settle(entries, &mut residual, begin, at, &mut settled);
            out.push(found.change);
            begin = at;
        }
        n += 1;
    }
    courses(entries, &restarts, out, s)
}

/// Fixes residuals of a finished segment about its median.
fn settle(entries: &[Entry], residual: &mut [f64], begin: usize, end: usize, settled: &mut usize) {
    let Some(part) = entries.get(begin..end) else {
        return;
    };
    let values: Vec<f64> = part.iter().map(|e| e.value).collect();
    let Some(level) = median(&values) else { return };
    for (r, v) in residual.iter_mut().skip(begin).zip(&values) {
        *r = v - level;
    }
    *settled = end;
}
