//! What the own transmission costs the own receiver, and by which way it comes in.

use crate::error::{Result, finite, not_negative};
use crate::known::Known;
use slantpath_quantity::{from_db, to_db};

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
}
