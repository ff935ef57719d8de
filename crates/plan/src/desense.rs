//! What the own transmission costs the own receiver, and by which way it comes in.

use crate::error::{PlanError, Result, finite, not_negative};
use crate::known::Known;
use slantpath_quantity::{from_db, to_db};
use slantpath_stats::intervals::student_factor;

/// Noise power of the receiver, same gain and same quiet frequencies, on any common dB scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseLevels {
    /// Transmitter off, dB.
    pub off_db: Known,
    /// Transmitting into a dummy load in the shack, dB; `None` when not recorded.
    pub dummy_db: Option<Known>,
    /// Transmitting on the antenna, dB.
    pub on_air_db: Known,
}

/// Which way the disturbance comes in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// No loss that these recordings can show.
    None,
    /// There with the dummy load too: leakage in the shack, supply or cables.
    Shack,
    /// Only with the antenna: coupling at the feed.
    Feed,
    /// Both, neither negligible.
    Both,
    /// Something, but without a recording into a dummy load it cannot be told which.
    Unknown,
    /// The noise *fell*: the receiver is overdriven and loses gain, so that levels say nothing of its loss.
    Overload,
}

/// The receiver's loss.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Desense {
    /// Loss of carrier to noise on the air, dB, with standard uncertainty.
    pub loss_db: Known,
    /// Noise added by leakage in the shack over the noise without transmission, a ratio (0: none).
    pub shack: Option<Known>,
    /// Noise added by coupling at the feed, a ratio.
    pub feed: Option<Known>,
    /// Which way.
    pub way: Way,
}

/// Loss from three noise levels: what is added on the air and into the dummy load stands above the receiver's own noise
/// as a ratio of powers; what the antenna adds beyond the dummy load comes in at the feed.
///
/// A way counts when its noise is above twice its standard uncertainty and costs at least `matters_db`.
///
/// # Errors
/// Levels that are not finite, uncertainties that are negative.
pub fn desense(levels: &NoiseLevels, matters_db: f64) -> Result<Desense> {
    not_negative("the loss that matters", matters_db, "dB")?;
    let mut all = vec![levels.off_db, levels.on_air_db];
    all.extend(levels.dummy_db);
    for l in &all {
        finite("a noise level", l.value, "dB")?;
        not_negative("a noise level's uncertainty", l.u, "dB")?;
    }
    // Ratios to the noise without transmission; u of a ratio of powers from the u of its two levels (GUM 5.1.2).
    let ratio = |l: Known| -> (f64, f64) {
        let r = from_db(l.value - levels.off_db.value);
        (r, r * std::f64::consts::LN_10 / 10.0)
    };
    let (on, k_on) = ratio(levels.on_air_db);
    let loss_db = Known::new(to_db(on), levels.on_air_db.u.hypot(levels.off_db.u));
    let added = |r: f64, k: f64, u: f64| Known::new(r - 1.0, k * u.hypot(levels.off_db.u));
    let shack = levels.dummy_db.map(|d| {
        let (r, k) = ratio(d);
        added(r, k, d.u)
    });
    // Feed: on - dummy; the level without transmission only scales it.
    let feed = levels.dummy_db.map(|d| {
        let (r, k) = ratio(d);
        Known::new(on - r, (k_on * levels.on_air_db.u).hypot(k * d.u))
    });
    let matters = from_db(matters_db) - 1.0;
    let counts = |x: Known| x.value > 2.0 * x.u && x.value >= matters;
    let total = added(on, k_on, levels.on_air_db.u);
    let fell = |x: Known| x.value < -2.0 * x.u && x.value <= -matters;
    let way = if fell(total) || shack.is_some_and(fell) {
        Way::Overload
    } else {
        match (shack, feed) {
            (Some(s), Some(f)) => match (counts(s), counts(f)) {
                (true, true) => Way::Both,
                (true, false) => Way::Shack,
                (false, true) => Way::Feed,
                (false, false) if counts(total) => Way::Unknown,
                (false, false) => Way::None,
            },
            _ if counts(total) => Way::Unknown,
            _ => Way::None,
        }
    };
    Ok(Desense {
        loss_db,
        shack,
        feed,
        way,
    })
}

/// Levels of repeated rounds, brought together.
#[derive(Debug, Clone, PartialEq)]
pub struct Rounds {
    /// Mean level of each state, dB, with the standard uncertainty of a difference between two of them shared out
    /// between the two.
    pub levels_db: Vec<Known>,
    /// Standard deviation of a difference of two recordings of one round by drift and chance, dB; `None` with one round.
    pub scatter_db: Option<f64>,
}

/// Brings rounds of recordings together: each round holds one level for each state, in the same order.
///
/// One round: the gain may have moved between two recordings by `drift_db` (standard uncertainty, stated), half of the
/// variance at each. Several rounds tell the drift themselves: what a round shares cancels, and what is left of a level
/// after the means of its state and of its round are taken off is drift within a round. Its variance has
/// (rounds - 1)(states - 1) degrees of freedom; few of them widen the uncertainty by Student's factor at 95 % over the
/// normal one (GUM G.3). A level's own uncertainty is a lower limit.
///
/// # Errors
/// No round, rounds of different length or of fewer than two states, figures that cannot be.
pub fn rounds(rounds: &[Vec<Known>], drift_db: f64) -> Result<Rounds> {
    not_negative("the drift of the gain", drift_db, "dB")?;
    let states = rounds.first().map_or(0, Vec::len);
    if states < 2 || rounds.iter().any(|r| r.len() != states) {
        return Err(PlanError::Missing {
            what: "a level for each state of each round".into(),
            remedy: "give every round the same recordings in the same order".into(),
        });
    }
    for k in rounds.iter().flatten() {
        finite("a noise level", k.value, "dB")?;
        not_negative("a noise level's uncertainty", k.u, "dB")?;
    }
    let n = rounds.len() as f64;
    let of_state = |j: usize| rounds.iter().filter_map(move |r| r.get(j));
    let mean: Vec<f64> = (0..states)
        .map(|j| of_state(j).map(|k| k.value).sum::<f64>() / n)
        .collect();
    let all = mean.iter().sum::<f64>() / states as f64;
    let (variance, factor, scatter_db) = if rounds.len() < 2 {
        (0.5 * drift_db * drift_db, 1.0, None)
    } else {
        let dof = (n - 1.0) * (states as f64 - 1.0);
        let sum: f64 = rounds
            .iter()
            .flat_map(|r| {
                let own = r.iter().map(|k| k.value).sum::<f64>() / states as f64;
                r.iter()
                    .zip(&mean)
                    .map(move |(k, m)| (k.value - own - m + all).powi(2))
            })
            .sum();
        let v = sum / dof;
        let t = student_factor(0.95, dof).map_err(|_| PlanError::Impossible {
            what: "the degrees of freedom",
            value: dof,
            unit: "",
            must: "above zero",
        })?;
        (v, t / 1.959_963_984_540_054, Some((2.0 * v).sqrt()))
    };
    let levels_db = mean
        .iter()
        .enumerate()
        .map(|(j, m)| {
            let own = of_state(j).map(|k| k.u * k.u).sum::<f64>() / n;
            let v = if rounds.len() < 2 {
                own + variance
            } else {
                own.max(variance) / n
            };
            Known::new(*m, factor * v.sqrt())
        })
        .collect();
    Ok(Rounds {
        levels_db,
        scatter_db,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_stats::stream::{named_stream, normal};

    fn levels(dummy: f64, on: f64) -> NoiseLevels {
        NoiseLevels {
            off_db: Known::new(-60.0, 0.01),
            dummy_db: Some(Known::new(-60.0 + dummy, 0.01)),
            on_air_db: Known::new(-60.0 + on, 0.01),
        }
    }

    #[test]
    fn the_way_is_told() {
        let way = |d, o| desense(&levels(d, o), 0.1).unwrap().way;
        assert_eq!(way(0.0, 0.01), Way::None);
        assert_eq!(way(0.5, 0.5), Way::Shack);
        assert_eq!(way(0.0, 0.5), Way::Feed);
        assert_eq!(way(0.5, 1.2), Way::Both);
        assert_eq!(way(0.0, -0.5), Way::Overload);
        let mut l = levels(0.0, 0.7);
        l.dummy_db = None;
        assert_eq!(desense(&l, 0.1).unwrap().way, Way::Unknown);
        l.on_air_db.u = -1.0;
        assert!(desense(&l, 0.1).is_err());
    }

    #[test]
    fn shares_are_ratios_of_powers() {
        // Shack adds a tenth, feed a quarter of the receiver's own noise.
        let d = desense(&levels(to_db(1.1), to_db(1.35)), 0.1).unwrap();
        assert!((d.shack.unwrap().value - 0.1).abs() < 1e-12);
        assert!((d.feed.unwrap().value - 0.25).abs() < 1e-12);
        assert!((d.loss_db.value - to_db(1.35)).abs() < 1e-12);
    }

    #[test]
    fn stated_uncertainty_covers_the_truth() {
        let mut rng = named_stream(11, "desense", 0);
        let truth = levels(0.3, 0.9);
        let (mut loss, mut feed, n) = (0, 0, 2000);
        let want = desense(&truth, 0.1).unwrap();
        for _ in 0..n {
            let mut l = truth;
            l.off_db.value += 0.01 * normal(&mut rng);
            l.on_air_db.value += 0.01 * normal(&mut rng);
            if let Some(d) = &mut l.dummy_db {
                d.value += 0.01 * normal(&mut rng);
            }
            let got = desense(&l, 0.1).unwrap();
            let inside = |g: Known, w: Known| (g.value - w.value).abs() <= 1.959_964 * g.u;
            loss += u32::from(inside(got.loss_db, want.loss_db));
            feed += u32::from(inside(got.feed.unwrap(), want.feed.unwrap()));
        }
        // 95 %, three standard deviations of the count either way.
        for k in [loss, feed] {
            let p = f64::from(k) / f64::from(n);
            assert!((0.935..=0.965).contains(&p), "{p}");
        }
    }

    #[test]
    fn one_round_takes_the_stated_drift() {
        let r = rounds(
            &[vec![Known::new(-60.0, 0.01), Known::new(-59.0, 0.01)]],
            0.1,
        )
        .unwrap();
        let d = desense(
            &NoiseLevels {
                off_db: r.levels_db[0],
                dummy_db: None,
                on_air_db: r.levels_db[1],
            },
            0.1,
        )
        .unwrap();
        // The difference holds the whole drift once and both levels' own uncertainty.
        assert!((d.loss_db.u - (0.1f64.powi(2) + 2e-4).sqrt()).abs() < 1e-12);
        assert!(r.scatter_db.is_none());
        assert!(rounds(&[vec![Known::exact(0.0)]], 0.1).is_err() && rounds(&[], 0.1).is_err());
        assert!(
            rounds(
                &[vec![Known::exact(0.0); 2], vec![Known::exact(0.0); 3]],
                0.1
            )
            .is_err()
        );
        assert!(rounds(&[vec![Known::exact(0.0); 2]], -0.1).is_err());
    }

    #[test]
    fn repeated_rounds_tell_the_drift_and_cover_the_truth() {
        // What a round shares cancels: only 0.05 dB within a round counts, whatever the 0.5 dB between rounds.
        for (n, states) in [(2usize, 2usize), (3, 3), (5, 2)] {
            let mut rng = named_stream(12, "rounds", n as u64);
            let truth = [0.0, 0.3, 0.9];
            let (mut inside, trials) = (0, 2000);
            for _ in 0..trials {
                let all: Vec<Vec<Known>> = (0..n)
                    .map(|_| {
                        let shared = 0.5 * normal(&mut rng);
                        truth
                            .iter()
                            .take(states)
                            .map(|t| Known::new(t + shared + 0.05 * normal(&mut rng), 0.0))
                            .collect()
                    })
                    .collect();
                let r = rounds(&all, 0.0).unwrap().levels_db;
                let (a, b) = (r[0], r[states - 1]);
                let want = truth[states - 1];
                inside += u32::from((b.value - a.value - want).abs() <= 1.959_964 * a.u.hypot(b.u));
            }
            let p = f64::from(inside) / f64::from(trials);
            assert!((0.935..=0.965).contains(&p), "{n} rounds of {states}: {p}");
        }
    }
}
