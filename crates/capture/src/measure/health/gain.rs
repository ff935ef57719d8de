//! Whether the receiver's gain and noise stood still.

use super::super::zone_bins;
use super::{EVERYTHING, Facts, Flag, FlagKind, Severity};
use slantpath_quantity::decibel::{db_of_relative_u, relative_to_db};
use slantpath_quantity::{Unit, to_db};
use slantpath_signal::spectrum::{HANN_BIN_FACTOR, HANN_VARIANCE_FACTOR};

/// Power of a zone against time, its scatter and what averaging alone would give.
struct Record {
    p: Vec<f64>,
    /// Relative standard deviation expected of noise.
    expected: f64,
}

impl Record {
    fn of(x: &Facts<'_>, zone: usize) -> Option<Self> {
        let bins = zone_bins(x.zones.get(zone)?) as f64;
        let full = x.rows.iter().map(|r| r.frames).max()?;
        let p: Vec<f64> = x
            .rows
            .iter()
            .filter(|r| r.frames == full)
            .filter_map(|r| r.zones.get(zone).copied())
            .collect();
        let r = full as f64;
        let per_bin = (1.0 + (HANN_VARIANCE_FACTOR - 1.0) * (r - 1.0) / r) / r;
        (p.len() >= 12 && bins >= 12.0 && p.iter().all(|v| *v > 0.0)).then(|| Self {
            p,
            expected: (per_bin * HANN_BIN_FACTOR / bins).sqrt(),
        })
    }
    fn mean(&self) -> f64 {
        self.p.iter().sum::<f64>() / self.p.len() as f64
    }
    fn logs(&self) -> Vec<f64> {
        let m = self.mean();
        self.p.iter().map(|v| (v / m).ln()).collect()
    }
}

fn sd(v: &[f64]) -> f64 {
    let n = v.len() as f64;
    let m = v.iter().sum::<f64>() / n;
    (v.iter().map(|x| (x - m).powi(2)).sum::<f64>() / (n - 1.0).max(1.0)).sqrt()
}

fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len().min(b.len()) as f64;
    let (ma, mb) = (a.iter().sum::<f64>() / n, b.iter().sum::<f64>() / n);
    let c: f64 = a
        .iter()
        .zip(b)
        .map(|(x, y)| (x - ma) * (y - mb))
        .sum::<f64>()
        / (n - 1.0).max(1.0);
    c / (sd(a) * sd(b)).max(1e-300)
}

/// Scatter beyond noise as a fraction, when it is beyond doubt (five standard deviations of a variance).
fn excess(v: &[f64], expected: f64) -> Option<f64> {
    let var = sd(v).powi(2);
    let e2 = expected * expected;
    let doubt = 5.0 * e2 * (2.0 / v.len() as f64).sqrt() + 0.1 * e2;
    (var > e2 + doubt).then(|| (var - e2).sqrt())
}

/// A record without the straight line in time that fits it best, and the line's total change.
fn without_line(v: &[f64]) -> (Vec<f64>, f64) {
    let n = v.len() as f64;
    let t: Vec<f64> = (0..v.len())
        .map(|i| i as f64 / (n - 1.0).max(1.0) - 0.5)
        .collect();
    let change = correlation(&t, v) * sd(v) / sd(&t);
    (
        v.iter().zip(&t).map(|(v, t)| v - change * t).collect(),
        change,
    )
}

/// Moves of the quiet noise that matter, as a fraction (0.1 dB) and at which figures are refused (0.2 dB).
const GAIN_MATTERS: f64 = 0.023;
const GAIN_REFUSED: f64 = 0.046;

/// Quiet bins hold noise alone: when their power changes, the gain or the noise has changed. A fading or keyed signal
/// leaves them alone.
pub(super) fn gain(x: &Facts<'_>, flags: &mut Vec<Flag>) {
    let inside = Record::of(x, 0);
    let outside = Record::of(x, 1);
    let all = Record::of(x, 2);
    // Without a passband in view every quiet bin is "outside".
    let Some(main) = outside.as_ref().or(inside.as_ref()) else {
        return;
    };
    let logs = main.logs();
    let Some(moves) = excess(&logs, main.expected).filter(|m| *m > GAIN_MATTERS * 0.5) else {
        return;
    };
    let power = all.as_ref().map_or_else(Vec::new, |a| a.logs());
    // What the signals did: all power over the quiet power.
    let signal: Vec<f64> = power.iter().zip(&logs).map(|(a, q)| a - q).collect();
    let follows = correlation(&logs, &signal);
    let total = correlation(&logs, &power);
    let moves_db = relative_to_db(moves);
    let range = logs
        .iter()
        .fold((0f64, 0f64), |r, v| (r.0.min(*v), r.1.max(*v)));
    let (lo_db, hi_db) = (to_db(range.0.exp()), to_db(range.1.exp()));
    // The ratio of noise inside and outside does not see the gain.
    let ratio_moves = match (&inside, &outside) {
        (Some(i), Some(o)) => {
            let r: Vec<f64> = i.logs().iter().zip(o.logs()).map(|(a, b)| a - b).collect();
            Some(excess(&r, i.expected.hypot(o.expected)).unwrap_or(0.0))
        }
        _ => None,
    };
    // A drift is what a straight line explains but for averaging; a step of the gain leaves more.
    let (rest, change) = without_line(&logs);
    let steady_drift = excess(&rest, main.expected).is_none_or(|m| m < GAIN_MATTERS * 0.5);
    let evidence = format!(
        "the quiet noise {} moves between {lo_db:+.2} and {hi_db:+.2} dB, {moves_db:.2} dB rms beyond the {:.2} dB that \
         averaging allows; correlation with the power of the signals {follows:+.2}",
        if outside.is_some() && !x.zones.first().is_none_or(|z| z.is_empty()) {
            "outside the passband"
        } else {
            "beside the signals"
        },
        db_of_relative_u(main.expected),
    );
    let figures = |f: Flag| {
        f.figure("moves of the quiet noise, rms", moves_db, Unit::Db)
            .figure("lowest", lo_db, Unit::Db)
            .figure("highest", hi_db, Unit::Db)
            .figure(
                "correlation with the power of the signals",
                follows,
                Unit::One,
            )
    };
    if steady_drift && relative_to_db(change.abs()) < 1.0 {
        flags.push(
            figures(Flag::new(
                FlagKind::GainDrift,
                Severity::Note,
                "the gain drifts",
                format!(
                    "the quiet noise changes by {:+.2} dB from beginning to end",
                    change * 10.0 / std::f64::consts::LN_10
                ),
            ))
            .means(
                "ratios within the recording are not affected; absolute levels are means over it",
                "warm the receiver up for half an hour",
            ),
        );
        return;
    }
    let small = moves < GAIN_REFUSED;
    let severity = if small {
        Severity::Warning
    } else {
        Severity::Refusal
    };
    let receiver_noise_moves = ratio_moves.is_some_and(|r| r > 0.5 * moves);
    let mut f = if receiver_noise_moves {
        figures(Flag::new(FlagKind::NoiseChanges, severity, "the receiver's noise changes", evidence)).means(
            "noise inside and outside the passband do not move together: something adds noise at times, such as the own \
             transmitter or a neighbour on the intermediate frequency; steps and C/N0 are means over different states",
            "record with the transmitter off; look for bursts with the LNB unpowered",
        )
    } else if follows < -0.3 && total > -0.9 || follows < -0.6 {
        figures(Flag::new(FlagKind::GainChanges, severity, "the automatic gain is on", evidence)).means(
            "the noise floor falls when signals appear: levels, noise steps and C/N0 depend on the traffic",
            "switch the automatic gain off, set a fixed gain, and record again",
        )
    } else if follows > 0.5 && ratio_moves.is_none() {
        figures(Flag::new(
            FlagKind::Splatter,
            Severity::Warning,
            "signals spill into the quiet bins",
            evidence,
        ))
        .means(
            "the noise beside the beacons rises with the traffic",
            "record when the passband is less busy, or at lower gain",
        )
    } else {
        figures(Flag::new(
            FlagKind::GainChanges,
            severity,
            "the gain changes",
            evidence,
        ))
        .means(
            "levels, noise steps and C/N0 are means over different gains",
            "fix the gain, leave the settings alone while recording, and record again",
        )
    };
    if severity == Severity::Refusal && f.severity == Severity::Refusal {
        f = f.refusing(&EVERYTHING);
    } else {
        // To first order a gain that moves by g rms biases a ratio of means by up to g^2; the noise seen while a
        // keyed carrier is down may differ by g.
        f = f.adding(relative_to_db(moves) * 0.5, &EVERYTHING);
    }
    flags.push(f);
}
