//! A slow loss, told from the season.

use super::Entry;
use super::regress::regress;
use slantpath_stats::StatsError;
use slantpath_stats::least_squares::Prior;

/// Days in a year.
const YEAR: f64 = 365.25;
/// Amplitude of a season before the data say anything (own choice, no source).
const SEASON: f64 = 0.15;

/// A trend.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Change a year, and its standard uncertainty.
    pub per_year: (f64, f64),
    /// Amplitude of the yearly swing beside it.
    pub season: f64,
    /// Days from first to last.
    pub span: f64,
}

impl Trend {
    /// Trend in standard uncertainties.
    pub fn strength(&self) -> f64 {
        self.per_year.0 / self.per_year.1
    }
}

/// Straight line beside a yearly swing and known steps (`steps`: times at which the level changed), times in days; scatter
/// autoregressive. `None` for less than 120 days or 40 values: a season and a trend look alike then.
///
/// # Errors
/// Numbers that are not finite.
pub fn trend(entries: &[Entry], steps: &[f64]) -> Result<Option<Trend>, StatsError> {
    let (Some(first), Some(last)) = (entries.first(), entries.last()) else {
        return Ok(None);
    };
    let span = last.t - first.t;
    if span < 120.0 || entries.len() < 40 {
        return Ok(None);
    }
    let within: Vec<f64> = steps
        .iter()
        .copied()
        .filter(|s| *s > first.t && *s <= last.t)
        .collect();
    let row = |t: f64, j: usize| {
        let w = std::f64::consts::TAU * t / YEAR;
        match j {
            0 => 1.0,
            1 => (t - first.t) / YEAR,
            2 => w.cos(),
            3 => w.sin(),
            _ => within
                .get(j - 4)
                .map_or(0.0, |s| if t >= *s { 1.0 } else { 0.0 }),
        }
    };
    let p = 4 + within.len();
    let priors = [
        Prior {
            index: 2,
            mean: 0.0,
            u: SEASON,
        },
        Prior {
            index: 3,
            mean: 0.0,
            u: SEASON,
        },
    ];
    let shape = |k: usize, j: usize| row(entries.get(k).map_or(0.0, |e| e.t), j);
    Ok(regress(entries, p, &shape, &priors)?.map(|r| {
        let at = |j: usize| r.fit.x.get(j).copied().unwrap_or(0.0);
        Trend {
            per_year: (at(1), r.fit.u(1)),
            season: at(2).hypot(at(3)),
            span,
        }
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_stats::stream::{named_stream, normal};

    fn years(seed: u64, n: u32, slope: f64) -> Vec<Entry> {
        let mut rng = named_stream(seed, "trend", 0);
        let mut x = 0.0;
        (0..n)
            .map(|k| {
                let t = f64::from(k);
                x = 0.4 * x + 0.07 * normal(&mut rng);
                Entry {
                    t,
                    value: slope * t / YEAR
                        + 0.12 * (std::f64::consts::TAU * t / YEAR + 1.0).sin()
                        + x,
                    u: 0.05,
                }
            })
            .collect()
    }

    #[test]
    fn a_slow_loss_is_told_from_the_season() {
        let t = trend(&years(1, 800, -0.4), &[]).unwrap().unwrap();
        assert!(
            (t.per_year.0 + 0.4).abs() < 3.0 * t.per_year.1 && t.per_year.1 < 0.06,
            "{t:?}"
        );
        assert!(t.strength() < -6.0);
        let mut worst: f64 = 0.0;
        for seed in 0..40 {
            worst = worst.max(
                trend(&years(100 + seed, 400, 0.0), &[])
                    .unwrap()
                    .unwrap()
                    .strength()
                    .abs(),
            );
        }
        assert!(worst < 4.0, "{worst}");
        assert!(trend(&years(2, 100, 0.0), &[]).unwrap().is_none());
    }
}
