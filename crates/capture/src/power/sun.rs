//! The Sun drifts through the beam of a fixed antenna: peak, beam width and moment of transit from the noise power.

use super::{COMPRESSION_REFUSED_DB, NoisePower};
use crate::source::power_log::PowerLog;
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{Answer, ContributorId, Estimate, Share, Unit, from_db, to_db};
use slantpath_stats::least_squares::{Nonlinear, Prior};

/// Rate of the sky's turn, degrees per second: 15.041 degrees an hour (a sidereal day; the Sun itself, moving among the
/// stars, is 0.27 % slower, which is one part of the beam width's uncertainty).
pub const SIDEREAL_DEG_PER_S: f64 = 15.041 / 3600.0;

/// Drift of a source at a declination across the beam, degrees per second.
pub fn drift_rate(declination_deg: f64) -> f64 {
    SIDEREAL_DEG_PER_S * declination_deg.to_radians().cos()
}

/// Power against time.
#[derive(Debug, Clone, PartialEq)]
pub struct PowerSeries {
    /// Name of the recording or log.
    pub name: String,
    /// Seconds from its start.
    pub t_s: Vec<f64>,
    /// Linear power, any unit.
    pub p: Vec<f64>,
    /// Relative standard uncertainty of each, where the bandwidth tells it; 0 when unknown.
    pub relative_u: f64,
    /// What the converter's rails take off the highest power, dB.
    pub compression_db: f64,
}

impl PowerSeries {
    /// Noise power of a recording in its quiet bins, step noise taken off, averaged to some three hundred points.
    pub fn of(r: &NoisePower) -> Self {
        let bins = r.quiet.iter().filter(|q| **q).count() as f64;
        let steps = r.step_density * bins * r.spectrum.bin_hz();
        let full = r.rows.iter().map(|x| x.frames).max().unwrap_or(1);
        let rows: Vec<f64> = r
            .rows
            .iter()
            .filter(|x| x.frames == full)
            .map(|x| x.zones.first().copied().unwrap_or(0.0) - steps)
            .collect();
        let k = (rows.len() / 300).max(1);
        let (mut t_s, mut p) = (Vec::new(), Vec::new());
        for (i, c) in rows.chunks_exact(k).enumerate() {
            t_s.push(((i * k) as f64 + 0.5 * k as f64) * r.row_s);
            p.push(c.iter().sum::<f64>() / k as f64);
        }
        let mean = p.iter().sum::<f64>() / p.len().max(1) as f64;
        let highest = p.iter().copied().fold(0.0, f64::max);
        // Radiometer equation for the time of a point (with the weight of overlapping frames).
        let u = (1.056 / (bins * r.spectrum.bin_hz() * k as f64 * r.row_s).max(1e-9)).sqrt();
        Self {
            name: r.about.name.clone(),
            t_s,
            p,
            relative_u: u,
            compression_db: r.compression_db(if mean > 0.0 { highest / mean } else { 1.0 }),
        }
    }

    /// A log in decibel.
    pub fn of_log(log: &PowerLog) -> Self {
        Self {
            name: log.name.clone(),
            t_s: log.readings.iter().map(|r| r.0).collect(),
            p: log.readings.iter().map(|r| from_db(r.1)).collect(),
            relative_u: 0.0,
            compression_db: 0.0,
        }
    }
}

/// What is known beside the scan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SunSettings {
    /// Drift across the beam, degrees per second ([`drift_rate`]).
    pub rate_deg_per_s: f64,
    /// Distance at which the Sun passed the beam's axis and its standard uncertainty, degrees, when known.
    pub miss_deg: Option<(f64, f64)>,
    /// Gain drift of a receiver over the scan, dB (one standard deviation), as far as the scan itself does not tell.
    pub gain_drift_db: f64,
}

/// A fitted scan.
#[derive(Debug, Clone)]
pub struct SunScan {
    /// Peak over baseline as it passed, power ratio and relative standard uncertainty of `Y - 1`.
    pub y_peak: f64,
    /// Standard uncertainty of `y_peak`.
    pub u_y_peak: f64,
    /// Time of the peak from the start, s, and standard uncertainty.
    pub transit_s: (f64, f64),
    /// Full width at half power in time, s, and standard uncertainty.
    pub width_s: (f64, f64),
    /// Full width at half power, degrees, and standard uncertainty (the Sun's disc is part of it).
    pub width_deg: (f64, f64),
    /// Baseline power, in the series' unit.
    pub baseline: f64,
    /// Gain drift over the scan, dB, and standard uncertainty.
    pub gain_drift_db: (f64, f64),
    /// Chi-square per degree of freedom.
    pub chi2_per_dof: f64,
    /// Points: time, power over baseline, fitted curve.
    pub curve: Vec<(f64, f64, f64)>,
    /// What the beam's axis would have shown, when the distance at which the Sun passed it is known.
    pub on_axis: Option<OnAxis>,
    /// Answers: `sun.y_peak`, `sun.y_on_axis`, `sun.transit`, `sun.beamwidth`.
    pub answers: Vec<Answer>,
}

/// Peak over baseline brought to the beam's axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnAxis {
    /// Power ratio.
    pub y: f64,
    /// Standard uncertainty of `y` from the fit.
    pub u_fit: f64,
    /// The same from the distance to the axis.
    pub u_miss: f64,
}

impl OnAxis {
    /// Of a peak `rise` over the baseline (`Y - 1`) seen `miss` off the axis of a beam of half-power width `width`, all
    /// angles in one unit. A miss of uncertainty u has on the mean the square `miss^2 + u^2`.
    fn of(rise: f64, u_rise: f64, miss: f64, u_miss: f64, width: f64) -> Self {
        let k = 4.0 * std::f64::consts::LN_2 / (width * width);
        let loss = (k * (miss * miss + u_miss * u_miss)).exp();
        let (m2, u2) = (miss * miss, u_miss * u_miss);
        Self {
            y: 1.0 + rise * loss,
            u_fit: u_rise * loss,
            // Standard deviation of the square of a normal variable.
            u_miss: rise * loss * k * (4.0 * m2 * u2 + 2.0 * u2 * u2).sqrt(),
        }
    }
}

/// Fits baseline, peak, moment, width and a linear gain drift. `Err` says why the scan cannot be used.
pub fn sun_scan(s: &PowerSeries, settings: &SunSettings) -> Result<SunScan, String> {
    let n = s.p.len();
    if n < 12 || s.t_s.len() != n {
        return Err("fewer than twelve points".into());
    }
    if s.p.iter().any(|p| !(*p > 0.0 && p.is_finite())) {
        return Err("a power that is not above zero".into());
    }
    if s.compression_db > COMPRESSION_REFUSED_DB {
        return Err(format!(
            "the converter clips at the peak, where {:.2} dB are missing: lower the gain and scan again",
            s.compression_db
        ));
    }
    let span = s.t_s[n - 1] - s.t_s[0];
    let mid = 0.5 * (s.t_s[n - 1] + s.t_s[0]);
    let mut sorted = s.p.clone();
    sorted.sort_by(f64::total_cmp);
    let base = sorted[n / 20].max(1e-300);
    let y: Vec<f64> = s.p.iter().map(|p| p / base).collect();
    // A stray reading must not be taken for the peak: the highest mean of five.
    let (peak_at, peak) = (2..n - 2)
        .map(|i| (i, y[i - 2..=i + 2].iter().sum::<f64>() / 5.0))
        .fold((0, 0.0), |b, x| if x.1 > b.1 { x } else { b });
    let above = y.iter().filter(|v| **v > 1.0 + 0.5 * (peak - 1.0)).count();
    let width0 = (above as f64 / n as f64 * span).clamp(0.02 * span, span);
    let k = 4.0 * std::f64::consts::LN_2;
    let shape = move |p: &[f64], t: f64| -> f64 {
        let x = (t - p[2]) / p[3];
        p[0] * (1.0 + p[1] * (-k * x * x).exp()) * (p[4] * (t - mid) / span).exp()
    };
    let t = s.t_s.clone();
    let model = move |p: &[f64], out: &mut [f64]| {
        for (o, t) in out.iter_mut().zip(&t) {
            *o = shape(p, *t);
        }
    };
    let known_u = s.relative_u > 0.0;
    let rel = if known_u { s.relative_u } else { 0.005 };
    let mut start = vec![1.0, (peak - 1.0).max(0.01), s.t_s[peak_at], width0, 0.0];
    let ln_db = std::f64::consts::LN_10 / 10.0;
    let mut fit = None;
    // Uncertainty goes with the power itself: weights from the curve of the round before.
    for _ in 0..3 {
        let u: Vec<f64> = s
            .t_s
            .iter()
            .map(|t| (rel * shape(&start, *t)).max(1e-12))
            .collect();
        let f = Nonlinear::new(&y, &model)
            .uncertainties(&u)
            .prior(Prior {
                index: 4,
                mean: 0.0,
                u: settings.gain_drift_db.max(1e-3) * ln_db,
            })
            .bound(0, 1e-3, 1e3)
            .bound(3, 1e-3 * span, 4.0 * span)
            .typical(4, 0.01)
            .fit(&start)
            .map_err(|e| format!("the fit does not settle: {e}"))?;
        start.clone_from(&f.p);
        fit = Some(f);
    }
    let fit = fit.ok_or("no fit")?;
    let p = &fit.p;
    let chi2_per_dof = fit.chi2 / fit.dof.max(1) as f64;
    // Scatter beyond the radiometer's widens everything; a log without stated scatter takes it from the residuals.
    let stretch = if known_u {
        chi2_per_dof.max(1.0).sqrt()
    } else {
        chi2_per_dof.sqrt()
    };
    let u = |j: usize| fit.u(j) * stretch;
    if p[1] < 5.0 * u(1) {
        return Err("no source rises above the baseline".into());
    }
    let (first, last) = (s.t_s[0], s.t_s[n - 1]);
    if p[2] < first + 0.35 * p[3] || p[2] > last - 0.35 * p[3] {
        return Err("the peak lies outside the scan or at its very end: record from before to after the transit".into());
    }
    if span < 1.1 * p[3] {
        return Err(format!(
            "the scan lasts {span:.0} s and the beam takes {:.0} s at half power: without a baseline the peak has no \
             measure; record for at least twice the beam's time",
            p[3]
        ));
    }
    let y_peak = 1.0 + p[1];
    let u_rails = y_peak * s.compression_db * ln_db;
    let u_y = u(1).hypot(u_rails);
    let peak_db = to_db(y_peak);
    let u_db = db_of_relative_u(u_y / y_peak);
    let width = p[3] * settings.rate_deg_per_s;
    // Rate of the Sun against the sky's: 0.27 %, as a rectangular limit.
    let u_width = (u(3) * settings.rate_deg_per_s).hypot(width * 0.0027 / 12f64.sqrt());
    let share = |id: &str, label: &str, u: f64, systematic: bool| Share {
        id: ContributorId::new(format!("recording.{}.{id}", s.name)),
        label: label.into(),
        u,
        effect: u,
        systematic,
    };
    let mut answers = vec![
        Answer::known("sun.y_peak", "Sun: peak over cold sky as it passed", Unit::Db, Estimate::normal(peak_db, u_db))
            .with_shares(vec![
                share("sun.fit", "scatter of the power and gain drift", db_of_relative_u(u(1) / y_peak), false),
                share("sun.rails", "samples at the converter's rails", s.compression_db, true),
            ])
            .because(format!(
                "Gaussian beam on a drifting baseline through {n} points, chi-square {chi2_per_dof:.2} per degree of freedom"
            ))
            .next("record longer before and after the transit for a better baseline"),
        Answer::known(
            "sun.transit",
            "Sun: moment of the peak from the start",
            Unit::S,
            Estimate::normal(p[2] - 0.0, u(2)),
        ),
        Answer::known(
            "sun.beamwidth",
            "beam width at half power, the Sun's disc included",
            Unit::Deg,
            Estimate::normal(width, u_width),
        )
        .because(format!("{:.0} s at {:.5} degrees per second", p[3], settings.rate_deg_per_s)),
    ];
    let mut on_axis = None;
    match settings.miss_deg {
        Some((miss, u_miss)) if width > 0.0 => {
            let o = OnAxis::of(p[1], u_y, miss, u_miss, width);
            let u_all = o.u_fit.hypot(o.u_miss);
            on_axis = Some(o);
            answers.push(
                Answer::known(
                    "sun.y_on_axis",
                    "Sun: peak over cold sky, corrected to the beam's axis",
                    Unit::Db,
                    Estimate::normal(to_db(o.y), db_of_relative_u(u_all / o.y)),
                )
                .with_shares(vec![
                    share("sun.fit", "scatter of the power and gain drift", db_of_relative_u(o.u_fit / o.y), false),
                    share("sun.miss", "distance from the beam's axis", db_of_relative_u(o.u_miss / o.y), true),
                ]),
            );
        }
        _ => answers.push(Answer::unknown(
            "sun.y_on_axis",
            "Sun: peak over cold sky, corrected to the beam's axis",
            Unit::Db,
            "one scan does not tell how far from the axis the Sun passed: the width of its passage is the same",
            "state the miss, or scan on two days with the Sun's declination on either side",
        )),
    }
    let curve = s
        .t_s
        .iter()
        .zip(&y)
        .map(|(t, v)| (*t, v / p[0], shape(p, *t) / p[0]))
        .collect();
    Ok(SunScan {
        y_peak,
        u_y_peak: u_y,
        transit_s: (p[2], u(2)),
        width_s: (p[3], u(3)),
        width_deg: (width, u_width),
        baseline: p[0] * base,
        gain_drift_db: (p[4] / ln_db, u(4) / ln_db),
        chi2_per_dof,
        curve,
        on_axis,
        answers,
    })
}
