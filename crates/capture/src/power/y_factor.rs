//! Ratio of the noise powers of recordings.

use super::{COMPRESSION_REFUSED_DB, NoisePower};
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{Answer, ContributorId, Estimate, Share, Unit, to_db};
use slantpath_signal::fit::invert;

/// What the antenna looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// The stronger source.
    Hot,
    /// The weaker one.
    Cold,
}

/// What is thought of the receiver's gain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct YSettings {
    /// Drift of a warm receiver, dB per minute (one standard deviation; common practice, no source). Enters where the
    /// recordings themselves cannot tell a drift from the ratio.
    pub drift_db_per_min: f64,
    /// Contacts and mismatch that change between recordings, dB (one standard deviation).
    pub repeat_db: f64,
}

impl Default for YSettings {
    fn default() -> Self {
        Self {
            drift_db_per_min: 0.01,
            repeat_db: 0.0,
        }
    }
}

/// Result of comparing noise powers.
#[derive(Debug, Clone)]
pub struct YFactor {
    /// Hot over cold, with what it rests on.
    pub answer: Answer,
    /// Power ratio.
    pub ratio: f64,
    /// Relative standard uncertainty.
    pub relative_u: f64,
    /// Gain drift found, dB per minute, with standard uncertainty, where the order of recordings shows one.
    pub drift_db_per_min: Option<(f64, f64)>,
    /// Bandwidth compared, Hz.
    pub band_hz: f64,
    /// Lines left out in any of the recordings.
    pub birdies: usize,
}

/// Compares recordings: role, time in seconds on a common clock, and noise power.
///
/// Only bins are compared that are quiet in all recordings; the receiver's response, common to all, drops out. Step
/// noise of the converter is taken off. With three or more recordings a linear drift of the gain is fitted as well.
///
/// `Err` says what is missing.
pub fn y_factor(
    readings: &[(Role, f64, &NoisePower)],
    settings: YSettings,
) -> Result<YFactor, String> {
    let first = readings.first().ok_or("there is no recording")?.2;
    // A gain that the rails lower while the stronger load is looked at.
    let mut compression = 0.0f64;
    for (_, _, r) in readings {
        let db = r.compression_db(1.0);
        if db > COMPRESSION_REFUSED_DB {
            return Err(format!(
                "the converter clips in {}: {db:.2} dB are missing from its power; lower the gain and record all loads again",
                r.about.name
            ));
        }
        compression = compression.max(db);
    }
    let (n, fs) = (first.spectrum.len(), first.spectrum.sample_rate_hz);
    if !(readings.iter().any(|r| r.0 == Role::Hot) && readings.iter().any(|r| r.0 == Role::Cold)) {
        return Err("a hot and a cold recording are needed".into());
    }
    if readings.iter().any(|r| r.2.spectrum.sample_rate_hz != fs) {
        return Err("the recordings have different sample rates: record both alike".into());
    }
    // Spectra of recordings of different length may have different bins: bring all to the coarsest.
    let bins = readings
        .iter()
        .map(|r| r.2.spectrum.len())
        .min()
        .unwrap_or(n);
    let spectra: Vec<Vec<f64>> = readings
        .iter()
        .map(|r| coarse(&r.2.spectrum.psd, bins))
        .collect();
    let quiet: Vec<bool> = (0..bins)
        .map(|i| {
            readings.iter().all(|r| {
                let k = r.2.quiet.len() / bins;
                r.2.quiet
                    .get(i * k..(i + 1) * k)
                    .is_some_and(|q| q.iter().all(|q| *q))
            })
        })
        .collect();
    let used: Vec<usize> = (0..bins).filter(|&i| quiet[i]).collect();
    if used.len() < 8 {
        return Err("no bins are free of lines in all recordings".into());
    }
    let band_hz = used.len() as f64 * fs / bins as f64;
    // Common shape of the receiver: mean of the spectra, each to its own level, smoothed by being a mean only.
    let level: Vec<f64> = spectra
        .iter()
        .zip(readings)
        .map(|(p, r)| {
            used.iter().map(|&i| p[i] - r.2.step_density).sum::<f64>() / used.len() as f64
        })
        .collect();
    if level.iter().any(|l| l.is_nan() || *l <= 0.0) {
        return Err("a recording holds no noise above the converter's own steps".into());
    }
    let shape: Vec<f64> = used
        .iter()
        .map(|&i| {
            spectra
                .iter()
                .zip(&level)
                .zip(readings)
                .map(|((p, l), r)| (p[i] - r.2.step_density) / l)
                .sum::<f64>()
                / spectra.len() as f64
        })
        .map(|s| s.max(0.05))
        .collect();
    // Bins weighted so that each counts alike: power over shape.
    let norm: f64 = shape.len() as f64;
    let y: Vec<f64> = spectra
        .iter()
        .zip(readings)
        .map(|(p, r)| {
            (used
                .iter()
                .zip(&shape)
                .map(|(&i, s)| (p[i] - r.2.step_density) / s)
                .sum::<f64>()
                / norm)
                .ln()
        })
        .collect();
    let var: Vec<f64> = readings
        .iter()
        .map(|r| {
            let k = r.2.spectrum.len() as f64 / bins as f64;
            r.2.spectrum.relative_variance(used.len() as f64 * k)
        })
        .collect();
    // ln P = a + y hot + d t.
    let t0 = readings.iter().map(|r| r.1).sum::<f64>() / readings.len() as f64;
    let ln_db = std::f64::consts::LN_10 / 10.0;
    let solve = |drift_u: f64, with_repeat: bool| -> Option<(Vec<f64>, Vec<Vec<f64>>)> {
        let (mut a, mut b) = (vec![vec![0.0; 3]; 3], [0.0; 3]);
        for (((role, t, _), y), v) in readings.iter().zip(&y).zip(&var) {
            let repeat = if with_repeat {
                settings.repeat_db * ln_db
            } else {
                0.0
            };
            let w = 1.0 / (v + repeat * repeat);
            let row = [
                1.0,
                f64::from(u8::from(*role == Role::Hot)),
                (t - t0) / 60.0,
            ];
            for i in 0..3 {
                b[i] += w * row[i] * y;
                for j in 0..3 {
                    a[i][j] += w * row[i] * row[j];
                }
            }
        }
        a[2][2] += 1.0 / (drift_u * drift_u);
        let inv = invert(&a)?;
        let p = inv
            .iter()
            .map(|r| r.iter().zip(&b).map(|(x, y)| x * y).sum())
            .collect();
        Some((p, inv))
    };
    // With a role on both sides of the other in time the drift shows itself; else only what is usual is allowed.
    let mut order: Vec<(f64, Role)> = readings.iter().map(|r| (r.1, r.0)).collect();
    order.sort_by(|a, b| a.0.total_cmp(&b.0));
    let changes = order
        .windows(2)
        .filter(|w| w[0].1 != w[1].1 && w[1].0 > w[0].0)
        .count();
    let shows = changes >= 2;
    let prior = if shows {
        1.0
    } else {
        settings.drift_db_per_min
    } * ln_db;
    let (p, cov) = solve(prior, true).ok_or("the recordings do not determine the ratio")?;
    let (_, random) = solve(1e-9, false).ok_or("the recordings do not determine the ratio")?;
    let averaged_u = cov[1][1].sqrt();
    let relative_u = averaged_u.hypot(compression * ln_db);
    let u_db = db_of_relative_u(averaged_u);
    let u_random = db_of_relative_u(random[1][1].sqrt());
    let u_gain = (u_db * u_db - u_random * u_random).max(0.0).sqrt();
    let y_db = to_db(p[1].exp());
    let share = |id: &str, label: &str, u: f64, systematic: bool| Share {
        id: ContributorId::new(format!("recording.{}.{id}", first.about.name)),
        label: label.into(),
        u,
        effect: u,
        systematic,
    };
    let mut answer = Answer::known(
        "y_factor",
        "noise power ratio, hot over cold",
        Unit::Db,
        Estimate::normal(y_db, db_of_relative_u(relative_u)),
    )
    .with_shares(vec![
        share("y.average", "averaging of the noise", u_random, false),
        share(
            "y.gain",
            if shows {
                "gain drift, as the order of recordings shows it"
            } else {
                "gain drift between the recordings"
            },
            u_gain,
            !shows,
        ),
        share(
            "y.rails",
            "samples at the converter's rails",
            compression,
            true,
        ),
    ])
    .because(format!(
        "{} recordings compared over {:.1} kHz free of lines",
        readings.len(),
        band_hz * 1e-3
    ));
    let birdies = readings
        .iter()
        .map(|r| r.2.birdies.len())
        .max()
        .unwrap_or(0);
    if birdies > 0 {
        answer = answer.because(format!(
            "{birdies} line(s) of the receiver's own were left out"
        ));
    }
    answer = answer.next(if shows {
        "longer recordings, or more of them in turn"
    } else {
        "record cold, hot, cold: the drift of the gain then shows itself"
    });
    Ok(YFactor {
        answer,
        ratio: p[1].exp(),
        relative_u,
        drift_db_per_min: shows.then(|| (p[2] / ln_db, cov[2][2].sqrt() / ln_db)),
        band_hz,
        birdies,
    })
}

fn coarse(p: &[f64], bins: usize) -> Vec<f64> {
    let k = (p.len() / bins.max(1)).max(1);
    p.chunks(k)
        .map(|c| c.iter().sum::<f64>() / c.len() as f64)
        .collect()
}
