//! Foldback in a log: output that steps down hot and comes back cooler, at the same drive.
//!
//! A protection with hysteresis leaves a sawtooth: the output falls at one temperature and returns at a lower one.
//! Falls are told from changes of drive by the drive column, and from a fault without memory by the temperatures:
//! those of the falls must lie together and above those of the returns.

use crate::error::{Result, finite, positive, rising, rows};

/// One row of an operating log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OperatingRow {
    /// Time, s.
    pub t_s: f64,
    /// Drive as set, dBm or relative dB.
    pub drive_db: f64,
    /// Output as metered, dBm or relative dB.
    pub out_db: f64,
    /// Sensor, degrees Celsius or K.
    pub sensor: f64,
}

/// A step of the output at constant drive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutputStep {
    /// Time of the first row after the step, s.
    pub t_s: f64,
    /// Change of output over drive, dB (negative: a fall).
    pub change_db: f64,
    /// Sensor at the row before the step.
    pub sensor: f64,
}

/// What the log shows.
#[derive(Debug, Clone, PartialEq)]
pub enum Foldback {
    /// No step of the output that the drive does not explain.
    None,
    /// A sawtooth: falls and returns with hysteresis in temperature.
    Sawtooth {
        /// Mean sensor value at the falls.
        trips_at: f64,
        /// Sample standard deviation of it; `None` with one fall.
        trips_scatter: Option<f64>,
        /// Mean sensor value at the returns.
        returns_at: f64,
        /// Mean seconds from fall to fall; `None` with one fall.
        period_s: Option<f64>,
        /// The steps in time order.
        steps: Vec<OutputStep>,
    },
    /// Falls without return: foldback that never cooled, or a fault. The temperature alone cannot tell.
    Fall {
        /// The steps in time order.
        steps: Vec<OutputStep>,
    },
    /// Steps both ways whose temperatures show no hysteresis: a contact, a supply, reflected power; not heat.
    Unrelated {
        /// The steps in time order.
        steps: Vec<OutputStep>,
    },
}

/// Looks for foldback: steps of (output - drive) of at least `step_db` between neighbouring rows.
///
/// Slow compression as the part warms makes no step and is not reported; choose `step_db` above the log's scatter
/// (1 dB is common practice, no source).
///
/// # Errors
/// Fewer than three rows, times that do not rise, values that are not finite, a step not above zero.
pub fn find_foldback(log: &[OperatingRow], step_db: f64) -> Result<Foldback> {
    let part = "operating log";
    rows(part, log.len(), 3)?;
    positive(part, "step_db", step_db)?;
    rising(part, "t_s", log.iter().map(|r| r.t_s))?;
    for r in log {
        finite(part, "drive_db", r.drive_db)?;
        finite(part, "out_db", r.out_db)?;
        finite(part, "sensor", r.sensor)?;
    }
    let mut steps: Vec<OutputStep> = Vec::new();
    for w in log.windows(2) {
        let [a, b] = w else { continue };
        // A row at which the drive itself moved says nothing: meter and drive need not move together.
        if (b.drive_db - a.drive_db).abs() > 0.5 * step_db {
            continue;
        }
        let change_db = (b.out_db - b.drive_db) - (a.out_db - a.drive_db);
        if change_db.abs() >= step_db {
            steps.push(OutputStep {
                t_s: b.t_s,
                change_db,
                sensor: a.sensor,
            });
        }
    }
    let falls: Vec<&OutputStep> = steps.iter().filter(|s| s.change_db < 0.0).collect();
    let returns: Vec<&OutputStep> = steps.iter().filter(|s| s.change_db > 0.0).collect();
    let (Some(first), Some(last)) = (falls.first(), falls.last()) else {
        return Ok(if steps.is_empty() {
            Foldback::None
        } else {
            Foldback::Unrelated { steps }
        });
    };
    if returns.is_empty() {
        return Ok(Foldback::Fall { steps });
    }
    let n = falls.len() as f64;
    let trips_at = falls.iter().map(|s| s.sensor).sum::<f64>() / n;
    let returns_at = returns.iter().map(|s| s.sensor).sum::<f64>() / returns.len() as f64;
    let coldest_fall = falls.iter().fold(f64::INFINITY, |m, s| m.min(s.sensor));
    let hottest_return = returns
        .iter()
        .fold(f64::NEG_INFINITY, |m, s| m.max(s.sensor));
    if hottest_return >= coldest_fall {
        return Ok(Foldback::Unrelated { steps });
    }
    let several = falls.len() > 1;
    Ok(Foldback::Sawtooth {
        trips_at,
        trips_scatter: several.then(|| {
            let ss: f64 = falls.iter().map(|s| (s.sensor - trips_at).powi(2)).sum();
            (ss / (n - 1.0)).sqrt()
        }),
        returns_at,
        period_s: several.then(|| (last.t_s - first.t_s) / (n - 1.0)),
        steps,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sink of 0.9 K/W and 12 min in 45 degrees of air that folds back 3 dB at 75 and returns at 65 degrees.
    fn sawtooth(minutes: usize) -> Vec<OperatingRow> {
        let (mut t, mut low) = (45.0, false);
        (0..minutes * 6)
            .map(|k| {
                if t >= 75.0 {
                    low = true;
                } else if t <= 65.0 {
                    low = false;
                }
                let row = OperatingRow {
                    t_s: 10.0 * k as f64,
                    drive_db: 10.0,
                    out_db: if low { 39.0 } else { 42.0 } + 0.1 * ((k % 3) as f64 - 1.0),
                    sensor: t,
                };
                let end = 45.0 + 0.9 * if low { 15.0 } else { 50.0 };
                t = end + (t - end) * (-10.0f64 / 720.0).exp();
                row
            })
            .collect()
    }

    #[test]
    fn a_sawtooth_is_told_with_its_temperatures_and_period() {
        match find_foldback(&sawtooth(120), 1.0).unwrap() {
            Foldback::Sawtooth {
                trips_at,
                trips_scatter,
                returns_at,
                period_s,
                steps,
            } => {
                // the row before a step is up to one row's warming short of the threshold
                assert!(
                    (trips_at - 75.0).abs() < 0.7 && trips_scatter.unwrap() < 0.5,
                    "{trips_at}"
                );
                assert!((returns_at - 65.0).abs() < 0.7, "{returns_at}");
                // from 65 up to 75 towards 90, then down towards 58.5: both exponentials in closed form
                let want = 720.0 * ((25.0f64 / 15.0).ln() + (16.5f64 / 6.5).ln());
                assert!(
                    (period_s.unwrap() - want).abs() < 25.0,
                    "{period_s:?} {want}"
                );
                assert!(steps.len() > 6);
            }
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn other_shapes_are_not_called_foldback() {
        let calm: Vec<OperatingRow> = sawtooth(5);
        assert_eq!(find_foldback(&calm, 1.0).unwrap(), Foldback::None);
        // one fall that stays
        let mut stays = sawtooth(20);
        stays.truncate(110);
        assert!(
            matches!(find_foldback(&stays, 1.0).unwrap(), Foldback::Fall { ref steps } if steps.len() == 1)
        );
        // drive set down and up again
        let mut driven = calm.clone();
        for r in driven.iter_mut().skip(10).take(8) {
            (r.drive_db, r.out_db) = (7.0, r.out_db - 3.0);
        }
        assert_eq!(find_foldback(&driven, 1.0).unwrap(), Foldback::None);
        // a loose contact at any temperature
        let mut loose = sawtooth(5);
        for k in [6, 15, 24] {
            loose[k].out_db -= 4.0;
        }
        assert!(matches!(
            find_foldback(&loose, 1.0).unwrap(),
            Foldback::Unrelated { .. }
        ));
        assert!(find_foldback(&calm[..2], 1.0).is_err());
    }
}
