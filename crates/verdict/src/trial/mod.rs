//! The swap trial: is B better than A, by how much, and how sure is that?
//!
//! Observations of two sides in time order, with mountings, an optional control receiver and declared contributors from
//! day to day and from mounting to mounting, become one difference with its interval. The unit of replication is the
//! mounting; how drift and scatter are treated stands in [`fit`](self).

mod design;
mod fit;
mod grid;
mod input;
mod result;

pub use design::Design;
pub use input::{
    Control, Declared, Observation, Remounted, Scope, Side, TrialOptions, default_declared,
};
pub use result::{Caution, Pairs, TrialResult, Verdict};

use design::{Point, lay_out};
use fit::{Fit, fit};
use slantpath_quantity::{ContributorId, Estimate, Interval, Share};
use slantpath_stats::StatsError;
use slantpath_stats::intervals::pairs_for_power;

/// Why there is no difference to tell.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TrialError {
    /// A value, time or uncertainty is not a number, or an uncertainty is negative.
    #[error(
        "observation {index} ({source_name}) has a value, time or uncertainty that cannot be used"
    )]
    BadObservation {
        /// Position in the list.
        index: usize,
        /// Where it comes from.
        source_name: String,
    },
    /// One side is empty.
    #[error("nothing was recorded on side {side:?}")]
    NothingOnSide {
        /// Which.
        side: Side,
    },
    /// No branch has both sides.
    #[error(
        "no branch was recorded on both sides: levels of different branches cannot be compared"
    )]
    NoCommonBranch,
    /// An option is out of its range.
    #[error("{name} must be a finite value above 0, not {value}")]
    BadOption {
        /// Which.
        name: &'static str,
        /// Value given.
        value: f64,
    },
    /// A declared contributor has a senseless uncertainty.
    #[error("declared contributor {id} has a standard uncertainty of {u} dB")]
    BadDeclared {
        /// Which.
        id: String,
        /// Value given.
        u: f64,
    },
    /// The fit broke down numerically.
    #[error("the observations cannot be fitted: their covariance is numerically singular")]
    Singular,
    /// From the statistics below.
    #[error(transparent)]
    Stats(#[from] StatsError),
}

/// Compares side B with side A.
///
/// # Errors
/// [`TrialError`]: an observation or option that cannot be used, an empty side, no branch with both sides.
pub fn trial(
    observations: &[Observation],
    options: &TrialOptions,
) -> Result<TrialResult, TrialError> {
    input::check(observations, options)?;
    let (design, points) = lay_out(observations, options).ok_or(TrialError::NoCommonBranch)?;
    let fit = fit(&design, &points, options).ok_or(TrialError::Singular)?;
    let interval = fit.interval(0.95);
    let verdict = judge(&interval, options);
    let consistent = options.same_part.then(|| interval.contains(0.0));
    let pairs = pairs(&design, &points, &fit, verdict, options)?;
    let cautions = cautions(&design, &fit, consistent);
    Ok(TrialResult {
        difference: Estimate {
            value: fit.mean,
            u: fit.u,
            interval,
        },
        interval_999: fit.interval(0.999),
        verdict,
        naive: naive(&points),
        shares: shares(&fit, options),
        next: next(&design, &pairs, verdict),
        remount_scatter_db: fit.tau,
        drift_probability: fit.fade_probability,
        pairs,
        same_part_consistent: consistent,
        cautions,
        design,
    })
}

fn judge(i: &Interval, options: &TrialOptions) -> Verdict {
    if !i.contains(0.0) {
        return if (i.lo > 0.0) == options.higher_is_better {
            Verdict::Better
        } else {
            Verdict::Worse
        };
    }
    match options.equivalence_db {
        Some(x) if -x <= i.lo && i.hi <= x => Verdict::NoDifferenceAbove(x),
        _ => Verdict::NotResolved,
    }
}

/// Plain means over all observations of each side, the meter's random part only.
fn naive(points: &[Point]) -> Estimate {
    let mean = |side: Side| {
        let of = || points.iter().filter(move |p| p.side == side);
        let n = of().count() as f64;
        let m = of().map(|p| p.value_db).sum::<f64>() / n;
        let var = of().map(|p| p.own_var + p.control_var).sum::<f64>() / (n * n);
        (m, var)
    };
    let (a, b) = (mean(Side::A), mean(Side::B));
    Estimate::normal(b.0 - a.0, (a.1 + b.1).sqrt())
}

fn shares(fit: &Fit, options: &TrialOptions) -> Vec<Share> {
    let mut all = Vec::new();
    let mut push = |id: &ContributorId, label: &str, variance: f64, systematic: bool| {
        // What cancels leaves rounding behind.
        if variance > 1e-18 {
            let u = variance.sqrt();
            all.push(Share {
                id: id.clone(),
                label: label.to_string(),
                u,
                effect: u,
                systematic,
            });
        }
    };
    let own = |name: &str| ContributorId::new(format!("trial.{name}"));
    push(&own("noise"), "meter: random part", fit.parts.own, false);
    push(
        &own("control-noise"),
        "control receiver: random part",
        fit.parts.control,
        false,
    );
    push(
        &own("repeat"),
        "recordings of one mounting: scatter beyond their own uncertainty",
        fit.parts.repeat,
        false,
    );
    push(
        &own("drift"),
        "drift during the trial",
        fit.parts.fade,
        false,
    );
    let mountings: Vec<&Declared> = options
        .declared
        .iter()
        .filter(|d| d.scope == Scope::Mounting)
        .collect();
    match mountings.as_slice() {
        [one] => push(
            &one.contributor.id,
            &one.contributor.label,
            fit.parts.mounting,
            false,
        ),
        _ => push(&own("remount"), "remount", fit.parts.mounting, false),
    }
    for (d, variance) in options.declared.iter().zip(&fit.parts.declared) {
        push(&d.contributor.id, &d.contributor.label, *variance, true);
    }
    all.sort_by(|a, b| b.u.total_cmp(&a.u).then_with(|| a.id.cmp(&b.id)));
    all
}

/// Scatter of one pair and the number of pairs it takes.
fn pairs(
    design: &Design,
    points: &[Point],
    fit: &Fit,
    verdict: Verdict,
    options: &TrialOptions,
) -> Result<Pairs, TrialError> {
    let have = if design.is_interleaved() {
        design.pairs()
    } else {
        0
    };
    let scatter_db = if have >= 2 {
        // What this trial's pairs showed, all origins together.
        fit.u * (have as f64).sqrt()
    } else {
        // One mounting a side, recorded within the hour: mountings and the meter's random part of each side.
        let (a, b) = naive_variances(points);
        (2.0 * fit.tau * fit.tau + a + b).sqrt()
    };
    let have = u32::try_from(have).unwrap_or(u32::MAX);
    let more = |effect: f64| -> Result<Option<u32>, TrialError> {
        let need = pairs_for_power(effect, scatter_db, 0.9, 0.95)?;
        // A result below its own plan still lacks at least one pair.
        Ok(need.map(|n| n.saturating_sub(have)))
    };
    let resolved = matches!(verdict, Verdict::Better | Verdict::Worse);
    Ok(Pairs {
        have,
        scatter_db,
        more_for_observed: if resolved {
            Some(0)
        } else {
            more(fit.mean)?.map(|n| n.max(1))
        },
        effect_db: options.effect_db,
        more_for_effect: more(options.effect_db)?,
    })
}

/// Variance of the plain mean of each side from the meter's random part.
fn naive_variances(points: &[Point]) -> (f64, f64) {
    let of = |side: Side| {
        let v: Vec<f64> = points
            .iter()
            .filter(|p| p.side == side)
            .map(|p| p.own_var + p.control_var)
            .collect();
        v.iter().sum::<f64>() / (v.len() as f64).powi(2)
    };
    (of(Side::A), of(Side::B))
}

fn cautions(design: &Design, fit: &Fit, consistent: Option<bool>) -> Vec<Caution> {
    const DAY_APART_S: f64 = 12.0 * 3600.0;
    let mut all = Vec::new();
    if consistent == Some(false) {
        all.push(Caution::SameThingDiffers);
    }
    if design.gap_s >= DAY_APART_S {
        all.push(Caution::DifferentDays {
            gap_s: design.gap_s,
        });
    }
    if !design.is_interleaved() {
        all.push(Caution::FadeNotSeparable {
            gap_s: design.gap_s,
        });
    }
    if !design.remounted {
        all.push(Caution::RemountNotTested);
    } else if !design.remount_scatter_shows() {
        all.push(Caution::RemountScatterDeclared { u_db: fit.tau });
    }
    let observations = design.observations[0] + design.observations[1];
    let mountings = design.mountings[0] + design.mountings[1];
    if observations > mountings && design.remounted {
        all.push(Caution::BlocksAreNoRepeats {
            observations,
            mountings,
        });
    }
    if fit.fade_probability > 0.9 {
        all.push(Caution::DriftFound {
            size_db: fit.fade_db,
        });
    }
    if design.control_incomplete > 0 {
        all.push(Caution::ControlIncomplete {
            with: design.control_incomplete,
            of: observations,
        });
    }
    for branch in &design.branches_left_out {
        all.push(Caution::BranchLeftOut {
            branch: branch.clone(),
        });
    }
    all
}

/// How to record next time.
fn next(design: &Design, pairs: &Pairs, verdict: Verdict) -> String {
    let mut text = String::new();
    let more = match (verdict, pairs.more_for_observed) {
        (Verdict::Better | Verdict::Worse, _) => None,
        (_, Some(n)) if n <= 200 => Some(n),
        _ => pairs.more_for_effect.filter(|n| *n > 0),
    };
    match more {
        Some(1) => text.push_str("Record one more pair"),
        Some(n) => text.push_str(&format!("Record {n} more pairs")),
        None if design.is_interleaved() && design.remount_scatter_shows() => {
            text.push_str("To make the interval narrower, record more pairs")
        }
        None => text.push_str("To confirm it, record three to four pairs"),
    }
    text.push_str(" as A, B, B, A within an hour, 20 to 60 s each");
    text.push_str(if design.remounted {
        ", taking the part off and putting it back between them and naming each mounting; toss a coin for which side begins"
    } else {
        "; if the swap means taking parts off, remount between them"
    });
    if !design.control_used {
        text.push_str("; a second receiver left untouched and recorded at the same time removes most of the weather and beacon");
    }
    text.push('.');
    text
}
