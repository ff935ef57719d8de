//! Trial sheet: everything about a swap trial that must be fixed before the first recording.

use crate::error::{PlanError, Result, positive};
use slantpath_stats::intervals::{chi2_quantile, pairs_for_power};
use slantpath_stats::stream::{named_stream, uniform};

/// What is known before.
#[derive(Debug, Clone, PartialEq)]
pub struct Before {
    /// Differences of the pilot's pairs, dB; empty without a pilot.
    pub pilot_db: Vec<f64>,
    /// Scatter of a pair, dB, assumed where there is no pilot.
    pub assumed_db: f64,
    /// Difference worth knowing, dB.
    pub effect_db: f64,
    /// Bandwidth of one noise reading, Hz.
    pub bandwidth_hz: f64,
    /// Minutes that taking the part off and putting it back takes.
    pub remount_min: f64,
    /// Minutes of warming up.
    pub warm_min: f64,
    /// Seed of the order.
    pub seed: u64,
}

/// Power and level of the test (both sides) for which pairs are counted.
pub const POWER: f64 = 0.9;
/// Coverage of the interval that the trial ends with.
pub const LEVEL: f64 = 0.95;
/// Pairs of a pilot (common practice, no source).
pub const PILOT: u32 = 4;
/// One pair of the same part in this many pairs: it must return zero.
pub const SAME_PART_EVERY: u32 = 4;

/// One recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Pair, from 1.
    pub pair: u32,
    /// True in a pair in which both sides are the same part.
    pub same_part: bool,
    /// `A` or `B`.
    pub side: char,
    /// Number of the mounting, from 1: the part is taken off and put back before each.
    pub mounting: u32,
    /// Minutes after the beginning at which the recording starts.
    pub at_min: f64,
}

/// The sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialPlan {
    /// Scatter of one pair that is planned for, dB, and whether a pilot showed it.
    pub scatter_db: f64,
    /// True when it comes from a pilot.
    pub from_pilot: bool,
    /// Upper 80 % limit of the scatter that the pilot allows, dB.
    pub scatter_upper_db: Option<f64>,
    /// Pairs needed.
    pub pairs: u32,
    /// Pairs needed if the scatter is as large as the pilot allows.
    pub pairs_upper: Option<u32>,
    /// Length of a recording, s.
    pub record_s: f64,
    /// The meter's random part at that length, dB (4.34 / sqrt(B t)).
    pub meter_db: f64,
    /// Recordings in order.
    pub steps: Vec<Step>,
    /// Minutes from the beginning to the last sample.
    pub minutes: f64,
}

impl TrialPlan {
    /// Mountings in all.
    pub fn mountings(&self) -> u32 {
        self.steps.iter().map(|s| s.mounting).max().unwrap_or(0)
    }
}

/// Shortest and longest recording advised, s: statistics never limit, slow drift does (common practice, no source).
const RECORD_S: (f64, f64) = (20.0, 60.0);

/// Plans a trial.
///
/// Pairs follow from the non-central t distribution (two-sided 5 %, power 90 %). Each pair is A, B, B, A or B, A, A, B:
/// both cancel a steady drift. The order is drawn in shuffled twos, one of each, so that it can be told from no pattern
/// and neither side leads more often.
///
/// # Errors
/// Figures that cannot be; a difference too small for any number of pairs.
pub fn trial_plan(b: &Before) -> Result<TrialPlan> {
    positive("difference worth knowing", b.effect_db, "dB")?;
    positive("assumed scatter", b.assumed_db, "dB")?;
    positive("bandwidth", b.bandwidth_hz, "Hz")?;
    crate::error::not_negative("time of a remount", b.remount_min, "min")?;
    crate::error::not_negative("time of warming up", b.warm_min, "min")?;
    for d in &b.pilot_db {
        crate::error::finite("pilot difference", *d, "dB")?;
    }
    let shown = sample_scatter(&b.pilot_db);
    let scatter_db = shown.map_or(b.assumed_db, |(s, _)| s);
    let pairs = need(b.effect_db, scatter_db)?;
    // s sqrt(nu / chi2_0.2): with probability 0.8 the true scatter is not larger.
    let scatter_upper_db =
        shown.and_then(|(s, nu)| chi2_quantile(0.2, nu).ok().map(|q| s * (nu / q).sqrt()));
    let pairs_upper = scatter_upper_db.map(|s| need(b.effect_db, s)).transpose()?;
    // Long enough that the meter adds a tenth of the pair's scatter, within what drift allows.
    let wanted = (RADIOMETER_DB / (0.1 * scatter_db)).powi(2) / b.bandwidth_hz;
    let record_s = wanted.clamp(RECORD_S.0, RECORD_S.1);
    let steps = order(b, pairs, record_s);
    let minutes = steps.last().map_or(0.0, |s| s.at_min) + record_s / 60.0;
    Ok(TrialPlan {
        scatter_db,
        from_pilot: shown.is_some(),
        scatter_upper_db,
        pairs,
        pairs_upper,
        record_s,
        meter_db: RADIOMETER_DB / (b.bandwidth_hz * record_s).sqrt(),
        steps,
        minutes,
    })
}

/// dB of one part in one: 10 / ln 10.
const RADIOMETER_DB: f64 = 10.0 * std::f64::consts::LOG10_E;

/// Standard deviation and degrees of freedom, from two values on.
fn sample_scatter(values: &[f64]) -> Option<(f64, f64)> {
    if values.len() < 2 {
        return None;
    }
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    let s2 = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
    (s2 > 0.0).then(|| (s2.sqrt(), n - 1.0))
}

fn need(effect_db: f64, scatter_db: f64) -> Result<u32> {
    let nothing = || PlanError::Nothing {
        why: format!(
            "no number of pairs shows {effect_db} dB over a scatter of {} dB",
            slantpath_quantity::show::significant(scatter_db, 2)
        ),
    };
    match pairs_for_power(effect_db, scatter_db, POWER, LEVEL) {
        Ok(Some(n)) if n <= 500 => Ok(n),
        _ => Err(nothing()),
    }
}

fn order(b: &Before, pairs: u32, record_s: f64) -> Vec<Step> {
    let mut rng = named_stream(b.seed, "trial.order", 0);
    let mut coin = || uniform(&mut rng) < 0.5;
    let same = pairs.div_ceil(SAME_PART_EVERY);
    // Pairs of the same part are spread evenly among the others.
    let mut kinds = Vec::new();
    for k in 1..=pairs {
        kinds.push(false);
        if k * same / pairs > (k - 1) * same / pairs {
            kinds.push(true);
        }
    }
    let mut out = Vec::new();
    let mut at = b.warm_min;
    let (mut mounting, mut second): (u32, Option<bool>) = (0, None);
    for (k, same_part) in kinds.into_iter().enumerate() {
        // The first of a shuffled two is tossed for, its second is the other.
        let b_first = match second.take() {
            Some(first) => !first,
            None => {
                let first = coin();
                second = Some(first);
                first
            }
        };
        let sides = if b_first {
            ['B', 'A', 'A', 'B']
        } else {
            ['A', 'B', 'B', 'A']
        };
        for side in sides {
            mounting += 1;
            at += b.remount_min;
            out.push(Step {
                pair: u32::try_from(k + 1).unwrap_or(u32::MAX),
                same_part,
                side,
                mounting,
                at_min: at,
            });
            at += record_s / 60.0;
        }
    }
    out
}

/// What is refused, by rules that stand before the first recording. `beamwidth_deg`: half-power beamwidth.
pub fn rules(beamwidth_deg: Option<f64>) -> Vec<String> {
    let sun = beamwidth_deg.map_or(
        "the Sun within two beamwidths of the satellite".to_string(),
        |w| {
            format!(
                "the Sun within {} deg of the satellite (two beamwidths)",
                slantpath_quantity::show::fixed(2.0 * w, 1)
            )
        },
    );
    vec![
        "rain, snow or wet parts on either side of a pair".into(),
        "wind that moves the dish: a noise reading that changes within a recording by more than three times the meter's random part".into(),
        sun,
        "one sample in a thousand or more at the converter's rails, or noise below 3 steps rms".into(),
        "automatic gain on, or a gain changed during a pair".into(),
        "the own transmitter on, or its supply connected".into(),
        "a beacon whose level changes at the control receiver by more than 0.2 dB within a pair".into(),
        "a pair that took more than an hour".into(),
        "a pair is rejected whole, both sides, before its difference is looked at, and repeated at the end".into(),
    ]
}

/// The rule by which it ends.
pub fn stopping_rule(p: &TrialPlan) -> String {
    format!(
        "Stop after pair {} of different parts, whatever the pairs show until then; no more pairs because the result is close, none fewer because it is clear. If the pairs of the same part do not return zero within their interval, the result is not told.",
        p.pairs
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn before() -> Before {
        Before {
            pilot_db: vec![],
            assumed_db: 0.2,
            effect_db: 0.3,
            bandwidth_hz: 10e3,
            remount_min: 8.0,
            warm_min: 30.0,
            seed: 1,
        }
    }

    #[test]
    fn pairs_follow_the_scatter() {
        // Pair scatter 0.1 dB: 4; 0.2: 7; 0.3: 13 pairs for 0.3 dB (by the same non-central t, checked in the
        // statistics room).
        for (s, n) in [(0.1, 4), (0.2, 7), (0.3, 13)] {
            let p = trial_plan(&Before {
                assumed_db: s,
                ..before()
            })
            .unwrap();
            assert_eq!(p.pairs, n, "{s}");
        }
        assert!(
            trial_plan(&Before {
                assumed_db: 30.0,
                ..before()
            })
            .is_err()
        );
        assert!(
            trial_plan(&Before {
                effect_db: 0.0,
                ..before()
            })
            .is_err()
        );
    }

    #[test]
    fn a_pilot_says_how_sure_its_scatter_is() {
        // By hand: mean 0.5, deviations -0.2 0.2 -0.1 0.1: s2 = 0.1/3, s = 0.18257.
        let p = trial_plan(&Before {
            pilot_db: vec![0.3, 0.7, 0.4, 0.6],
            ..before()
        })
        .unwrap();
        assert!(p.from_pilot && (p.scatter_db - 0.182_574).abs() < 1e-5);
        // chi2 with 3 degrees of freedom at 0.2: 1.00517 (Abramowitz and Stegun table 26.8, from memory).
        assert!(
            (p.scatter_upper_db.unwrap() - 0.182_574 * (3.0f64 / 1.005_17).sqrt()).abs() < 1e-4
        );
        assert!(p.pairs_upper.unwrap() > p.pairs);
    }

    #[test]
    fn the_order_is_drawn_balanced_and_repeatable() {
        let p = trial_plan(&before()).unwrap();
        assert_eq!(p, trial_plan(&before()).unwrap());
        let of = |c: char| p.steps.iter().filter(|s| s.side == c).count();
        assert_eq!(of('A'), of('B'));
        for pair in p.steps.chunks(4) {
            let sides: String = pair.iter().map(|s| s.side).collect();
            assert!(sides == "ABBA" || sides == "BAAB");
        }
        let firsts = |seed| {
            let p = trial_plan(&Before { seed, ..before() }).unwrap();
            p.steps.chunks(4).map(|c| c[0].side).collect::<String>()
        };
        assert!((1..20).any(|s| firsts(s) != firsts(1)));
        let same = p.steps.iter().filter(|s| s.same_part).count();
        assert_eq!(same, 8, "two pairs of the same part among seven");
        assert_eq!(p.mountings() as usize, p.steps.len());
    }

    #[test]
    fn recordings_are_as_long_as_the_meter_asks() {
        // 4.343 / sqrt(1e4 20) = 0.00971 dB, below a tenth of 0.2 dB at the shortest length.
        let p = trial_plan(&before()).unwrap();
        assert_eq!(p.record_s, 20.0);
        assert!((p.meter_db - 0.009_711).abs() < 1e-5);
        assert!(rules(Some(1.6)).iter().any(|r| r.contains("3.2 deg")));
        assert!(stopping_rule(&p).contains("pair 7"));
    }
}
