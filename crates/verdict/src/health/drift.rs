//! How an oscillator follows the temperature.
//!
//! Offset against temperature is a straight line here (a crystal's cubic is straight over the tens of kelvin of a year),
//! beside ageing and, when the satellite's elements are not known, its Doppler shift: a sine of one sidereal day, no larger
//! than the orbit allows. Sun and temperature keep the solar day, four minutes longer: within one day the two cannot be told
//! apart by period, and the Doppler's bound tells them apart by size; over months the period does.

use super::Entry;
use super::regress::regress;
use slantpath_stats::StatsError;
use slantpath_stats::least_squares::Prior;
use slantpath_stats::robust::median;

/// Seconds of a sidereal day (mean, IERS Conventions 2010: 86 164.0989 s).
pub const SIDEREAL_DAY_S: f64 = 86_164.098_9;
/// Ageing before the data say anything, ppm a day (a plain crystal in its first weeks; common practice, no source).
const AGEING_PPM_PER_DAY: f64 = 0.05;
/// Time constants tried for the converter's case behind the air, s.
const LAGS_S: [f64; 7] = [0.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0, 7200.0];

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// When, s.
    pub t_s: f64,
    /// Received less nominal frequency, Hz.
    pub offset_hz: f64,
    /// Its standard uncertainty, Hz.
    pub u_hz: f64,
}

/// Temperature as logged: time in s (rising), degrees Celsius.
pub type Log = [(f64, f64)];

/// What was learned.
#[derive(Debug, Clone, PartialEq)]
pub struct Drift {
    /// ppm for each kelvin, and its standard uncertainty.
    pub per_k: (f64, f64),
    /// Error at the mean temperature in the middle of the time, ppm, and its standard uncertainty.
    pub at_mean: (f64, f64),
    /// Mean temperature, degrees Celsius.
    pub mean_c: f64,
    /// Lowest and highest temperature among the samples, degrees Celsius.
    pub range_c: (f64, f64),
    /// Ageing, ppm a day, and its standard uncertainty.
    pub ageing: (f64, f64),
    /// Amplitude of the sidereal day's sine, Hz, and its standard uncertainty; none when there is no room for it.
    pub doppler_hz: Option<(f64, f64)>,
    /// Time constant of the case behind the logged temperature that fits best, s.
    pub lag_s: f64,
    /// What the temperature leaves unexplained, ppm (standard deviation).
    pub rest_ppm: f64,
    /// Samples with a temperature.
    pub samples: usize,
    /// Samples without one.
    pub without: usize,
}

/// Why nothing could be learned.
#[derive(Debug, Clone, PartialEq)]
pub enum NoDrift {
    /// Fewer samples with a temperature than this.
    TooFew(usize),
    /// The temperature moved by less than 3 K.
    Still(f64),
}

/// Learns from samples of one oscillator of `lo_hz`. `doppler_hz`: the largest shift that the orbit allows, Hz; 0 when it
/// was taken out by elements.
///
/// # Errors
/// Numbers that are not finite.
pub fn learn(
    samples: &[Sample],
    log: &Log,
    lo_hz: f64,
    doppler_hz: f64,
) -> Result<Result<Drift, NoDrift>, StatsError> {
    let mut best: Option<Drift> = None;
    let mut why = NoDrift::TooFew(0);
    for lag in LAGS_S {
        match with_lag(samples, log, lo_hz, doppler_hz, lag)? {
            Ok(d) => {
                // A lag has to earn itself.
                if best.as_ref().is_none_or(|b| d.rest_ppm < 0.95 * b.rest_ppm) {
                    best = Some(d);
                }
            }
            Err(e) => {
                why = e;
                break;
            }
        }
    }
    Ok(best.ok_or(why))
}

/// Temperature behind a case of this time constant, at times; `None` where the log says nothing within half an hour or the
/// usual distance of its rows.
fn behind(log: &Log, lag: f64) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = Vec::with_capacity(log.len());
    for (t, c) in log {
        let now = match out.last() {
            Some((before, state)) if lag > 0.0 => c + (state - c) * (-(t - before) / lag).exp(),
            _ => *c,
        };
        out.push((*t, now));
    }
    out
}

/// A value of a log between its rows; nothing in gaps of more than three times the usual distance (and at least an hour).
pub fn between(log: &Log, usual_s: f64, t: f64) -> Option<f64> {
    let k = log.partition_point(|x| x.0 < t);
    let reach = (3.0 * usual_s).max(3600.0);
    match (k.checked_sub(1).and_then(|k| log.get(k)), log.get(k)) {
        (Some(a), Some(b)) if b.0 - a.0 <= reach => {
            let f = if b.0 > a.0 {
                (t - a.0) / (b.0 - a.0)
            } else {
                0.0
            };
            Some(a.1 + f * (b.1 - a.1))
        }
        (Some(a), _) if t - a.0 <= 0.5 * reach => Some(a.1),
        (_, Some(b)) if b.0 - t <= 0.5 * reach => Some(b.1),
        _ => None,
    }
}

/// Usual distance of a log's rows, s.
pub fn usual_s(log: &Log) -> f64 {
    let gaps: Vec<f64> = log
        .windows(2)
        .filter_map(|w| Some(w.get(1)?.0 - w.first()?.0))
        .collect();
    median(&gaps).unwrap_or(0.0)
}

fn with_lag(
    samples: &[Sample],
    log: &Log,
    lo_hz: f64,
    doppler_hz: f64,
    lag: f64,
) -> Result<Result<Drift, NoDrift>, StatsError> {
    let usual = usual_s(log);
    let lagged = behind(log, lag);
    let mut pairs: Vec<(Entry, f64)> = samples
        .iter()
        .filter_map(|s| {
            let c = between(&lagged, usual, s.t_s)?;
            Some((
                Entry {
                    t: s.t_s,
                    value: 1e6 * s.offset_hz / lo_hz,
                    u: 1e6 * s.u_hz / lo_hz,
                },
                c,
            ))
        })
        .collect();
    pairs.sort_by(|a, b| a.0.t.total_cmp(&b.0.t));
    pairs.dedup_by(|a, b| a.0.t <= b.0.t);
    let n = pairs.len();
    if n < 12 {
        return Ok(Err(NoDrift::TooFew(n)));
    }
    let mean_c = pairs.iter().map(|p| p.1).sum::<f64>() / n as f64;
    let lo_c = pairs.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
    let hi_c = pairs.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
    if hi_c - lo_c < 3.0 {
        return Ok(Err(NoDrift::Still(hi_c - lo_c)));
    }
    let entries: Vec<Entry> = pairs.iter().map(|p| p.0).collect();
    let first = entries.first().map_or(0.0, |e| e.t);
    let last = entries.last().map_or(0.0, |e| e.t);
    let middle = 0.5 * (first + last);
    let bound = 1e6 * doppler_hz / lo_hz;
    let sine = bound > 1e-6;
    let p = if sine { 5 } else { 3 };
    let shape = |k: usize, j: usize| {
        let Some((e, c)) = pairs.get(k) else {
            return 0.0;
        };
        let w = std::f64::consts::TAU * (e.t - middle) / SIDEREAL_DAY_S;
        match j {
            0 => 1.0,
            1 => c - mean_c,
            2 => (e.t - middle) / 86_400.0,
            3 => w.cos(),
            _ => w.sin(),
        }
    };
    let mut priors = vec![Prior {
        index: 2,
        mean: 0.0,
        u: AGEING_PPM_PER_DAY,
    }];
    if sine {
        // The bound is met by no phase; half of it is a fair standard deviation for each quadrature.
        priors.extend([3, 4].map(|index| Prior {
            index,
            mean: 0.0,
            u: 0.5 * bound,
        }));
    }
    let Some(r) = regress(&entries, p, &shape, &priors)? else {
        return Ok(Err(NoDrift::TooFew(n)));
    };
    let at = |j: usize| r.fit.x.get(j).copied().unwrap_or(0.0);
    let amplitude = sine.then(|| {
        let (c, s) = (at(3), at(4));
        let a = c.hypot(s).max(1e-12);
        let (_, u) = r.fit.combination(&[0.0, 0.0, 0.0, c / a, s / a]);
        (1e-6 * lo_hz * a, 1e-6 * lo_hz * u)
    });
    let ss: f64 = r.residual.iter().map(|x| x * x).sum();
    Ok(Ok(Drift {
        per_k: (at(1), r.fit.u(1)),
        at_mean: (at(0), r.fit.u(0)),
        mean_c,
        range_c: (lo_c, hi_c),
        ageing: (at(2), r.fit.u(2)),
        doppler_hz: amplitude,
        lag_s: lag,
        rest_ppm: (ss / n as f64).sqrt(),
        samples: n,
        without: samples.len() - n,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_stats::stream::{named_stream, normal};

    const LO: f64 = 9.75e9;

    fn day(
        seed: u64,
        days: f64,
        ppm_per_k: f64,
        doppler: f64,
        lag: f64,
    ) -> (Vec<Sample>, Vec<(f64, f64)>) {
        let mut rng = named_stream(seed, "oscillator", 0);
        let mut weather = 0.0;
        let log: Vec<(f64, f64)> = (0..(days * 144.0) as u32)
            .map(|k| {
                let t = 600.0 * f64::from(k);
                weather = 0.99 * weather + 0.3 * normal(&mut rng);
                (
                    t,
                    30.0 + 9.0 * (std::f64::consts::TAU * t / 86_400.0).sin() + weather,
                )
            })
            .collect();
        let cased = behind(&log, lag);
        let mut wander = 0.0;
        let samples = (0..(days * 48.0) as u32)
            .map(|k| {
                let t = 1800.0 * f64::from(k) + 40.0;
                let c = between(&cased, 600.0, t).unwrap();
                wander = 0.8 * wander + 60.0 * normal(&mut rng);
                let d = doppler * (std::f64::consts::TAU * t / SIDEREAL_DAY_S + 0.7).sin();
                Sample {
                    t_s: t,
                    offset_hz: 12_000.0 + ppm_per_k * 1e-6 * LO * (c - 30.0) + d + wander,
                    u_hz: 2.0,
                }
            })
            .collect();
        (samples, log)
    }

    #[test]
    fn a_crystal_in_the_sun_is_learned_and_its_uncertainty_holds() {
        let (mut inside, mut all) = (0, 0);
        for seed in 0..40 {
            let (s, log) = day(seed, 3.0, -0.11, 40.0, 0.0);
            let d = learn(&s, &log, LO, 60.0).unwrap().unwrap();
            all += 1;
            inside += i32::from((d.per_k.0 + 0.11).abs() < 1.96 * d.per_k.1);
            assert!((d.per_k.0 + 0.11).abs() < 0.004, "{d:?}");
        }
        assert!(inside >= all - 5, "{inside} of {all}");
    }

    #[test]
    fn doppler_is_told_from_the_temperature_over_months() {
        let (s, log) = day(7, 120.0, 0.0, 55.0, 0.0);
        let d = learn(&s, &log, LO, 80.0).unwrap().unwrap();
        assert!(d.per_k.0.abs() < 3.0 * d.per_k.1 + 1e-4, "{d:?}");
        let (a, u) = d.doppler_hz.unwrap();
        assert!((a - 55.0).abs() < 4.0 * u + 2.0, "{a} {u}");
    }

    #[test]
    fn a_slow_case_and_what_cannot_be_learned() {
        let (s, log) = day(8, 3.0, 0.3, 0.0, 1800.0);
        let d = learn(&s, &log, LO, 0.0).unwrap().unwrap();
        assert!((1200.0..=3600.0).contains(&d.lag_s), "{d:?}");
        assert!((d.per_k.0 - 0.3).abs() < 0.01, "{d:?}");
        let still: Vec<(f64, f64)> = log.iter().map(|(t, _)| (*t, 20.0)).collect();
        assert!(matches!(
            learn(&s, &still, LO, 0.0).unwrap(),
            Err(NoDrift::Still(_))
        ));
        assert!(matches!(
            learn(&s, &[], LO, 0.0).unwrap(),
            Err(NoDrift::TooFew(0))
        ));
    }
}
