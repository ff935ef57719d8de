//! Health of a recording: what would make its figures lie, with evidence.

use super::beacons::BeaconMeasured;
use super::{level_words, zone_bins};
use crate::locate::Location;
use crate::noise::{NoStep, NoiseStep, flat_edge};
use crate::plan::SearchPlan;
use crate::signals::{Signal, describe, occupied, strongest_window};
use crate::source::About;
use slantpath_quantity::decibel::{db_of_relative_u, relative_to_db};
use slantpath_quantity::{Unit, to_db};
use slantpath_signal::spectrum::{HANN_BIN_FACTOR, HANN_VARIANCE_FACTOR};
use slantpath_signal::{LevelStats, Row, Spectrum};
use slantpath_stats::intervals::{normal_cdf, normal_quantile};
use std::ops::Range;

/// What a flag is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FlagKind {
    /// The receiver's gain changes, by itself or by hand.
    GainChanges,
    /// The gain drifts slowly.
    GainDrift,
    /// The receiver's noise changes: own transmitter or ingress.
    NoiseChanges,
    /// Samples at the rails.
    Clipping,
    /// The quantiser is too coarse for the noise.
    FewBits,
    /// Direct current.
    DirectCurrent,
    /// I and Q differ.
    Imbalance,
    /// Lines outside every passband, or steady lines nobody planned.
    Spurs,
    /// Signals spill into a noise window.
    Splatter,
    /// The own transmission is in the recording.
    OwnTransmitter,
    /// Samples are missing.
    LostSamples,
    /// Something stands on a beacon.
    BeaconInterference,
    /// Another place in the recording explains it nearly as well.
    AmbiguousPlace,
}

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// Figures are affected; the effect is part of their uncertainty where it can be stated.
    Warning,
    /// Some figures are refused.
    Refusal,
}

/// What a flag forbids or affects.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Consequence {
    /// Noise steps.
    NoiseStep,
    /// C/N0.
    CarrierToNoise,
    /// Absolute levels and densities.
    Level,
}

/// A number of the evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// What it is.
    pub label: String,
    /// Value.
    pub value: f64,
    /// Unit.
    pub unit: Unit,
}

/// One finding.
#[derive(Debug, Clone, PartialEq)]
pub struct Flag {
    /// About what.
    pub kind: FlagKind,
    /// How bad.
    pub severity: Severity,
    /// In a few words.
    pub title: String,
    /// What was seen.
    pub evidence: String,
    /// The same as numbers.
    pub figures: Vec<Figure>,
    /// What it means for the figures.
    pub consequence: String,
    /// What to do.
    pub remedy: String,
    /// What is refused because of it.
    pub refuses: Vec<Consequence>,
    /// What it makes less certain, by `added_u_db` each.
    pub affects: Vec<Consequence>,
    /// Standard uncertainty added, dB.
    pub added_u_db: f64,
}

impl Flag {
    fn new(kind: FlagKind, severity: Severity, title: &str, evidence: String) -> Self {
        Self {
            kind,
            severity,
            title: title.into(),
            evidence,
            figures: Vec::new(),
            consequence: String::new(),
            remedy: String::new(),
            refuses: Vec::new(),
            affects: Vec::new(),
            added_u_db: 0.0,
        }
    }
    fn figure(mut self, label: &str, value: f64, unit: Unit) -> Self {
        self.figures.push(Figure {
            label: label.into(),
            value,
            unit,
        });
        self
    }
    fn means(mut self, consequence: &str, remedy: &str) -> Self {
        self.consequence = consequence.into();
        self.remedy = remedy.into();
        self
    }
    fn refusing(mut self, what: &[Consequence]) -> Self {
        self.refuses = what.to_vec();
        self
    }
    fn adding(mut self, u_db: f64, what: &[Consequence]) -> Self {
        self.added_u_db = u_db;
        self.affects = what.to_vec();
        self
    }
}

const EVERYTHING: [Consequence; 3] = [
    Consequence::NoiseStep,
    Consequence::CarrierToNoise,
    Consequence::Level,
];

/// What the examination looks at.
pub(super) struct Facts<'a> {
    pub plan: &'a SearchPlan,
    pub location: Option<&'a Location>,
    pub centre_hz: f64,
    pub about: &'a About,
    pub s: &'a Spectrum,
    pub floor: &'a [f64],
    pub rows: &'a [Row],
    pub zones: &'a [Vec<Range<usize>>],
    pub levels: &'a LevelStats,
    pub beacons: &'a [BeaconMeasured],
    pub steps: &'a [(String, Result<NoiseStep, NoStep>)],
}

impl Facts<'_> {
    fn own_offset(&self) -> Option<f64> {
        let l = self.location?;
        Some(
            l.meaning
                .offset_hz(self.plan.own_transmit_hz?, self.centre_hz)
                + l.shift_hz,
        )
    }
    fn in_passband(&self, f: f64) -> bool {
        let Some(l) = self.location else { return false };
        let rf = l.meaning.rf_hz(f - l.shift_hz, self.centre_hz);
        self.plan.passbands.iter().any(|p| {
            let m = 0.05 * p.width_hz();
            (p.lo_hz - m..=p.hi_hz + m).contains(&rf)
        })
    }
}

/// Everything occupied, strongest first, named where it can be.
pub(super) fn list_signals(
    x: &Facts<'_>,
    scatter: Option<&[f64]>,
    row_frames: usize,
) -> Vec<Signal> {
    let (lo, hi) = (-flat_edge(x.s, 0.0, -1.0), flat_edge(x.s, 0.0, 1.0));
    let far = 0.42 * x.s.sample_rate_hz;
    let runs: Vec<Range<usize>> = occupied(x.s, x.floor, 350.0)
        .into_iter()
        // The receiver's own edge is no signal.
        .filter(|r| {
            let (a, b) = (x.s.freq(r.start), x.s.freq(r.end));
            b > lo.min(-far) && a < hi.max(far)
        })
        .collect();
    let r = row_frames as f64;
    let row_sigma = ((1.0 + (HANN_VARIANCE_FACTOR - 1.0) * (r - 1.0) / r) / r).sqrt();
    let reference = x
        .beacons
        .iter()
        .filter_map(|b| Some((b, b.found.as_ref()?)))
        .max_by(|a, b| a.1.c.total_cmp(&b.1.c));
    let df = x.s.bin_hz();
    let mut out: Vec<Signal> = runs
        .iter()
        .map(|r| {
            let mut g = describe(x.s, x.floor, r, scatter, row_sigma);
            if let Some((b, f)) = reference {
                let p = strongest_window(x.s, x.floor, r, 2.0 * b.plan.kind.half_width_hz());
                let u = g.u_level_db.hypot(db_of_relative_u(f.u_carrier));
                g.over_beacon_db = Some((to_db(p.max(1e-300) / f.c), u));
            }
            for b in x.beacons {
                if let Some(f) = &b.found
                    && (g.centre_hz - f.f_hz).abs() < b.plan.kind.half_width_hz() + 2.0 * df
                {
                    g.identity = Some(format!("beacon {}.{}", b.plan.passband, b.plan.name));
                }
            }
            if g.identity.is_none()
                && let Some(own) = x.own_offset()
                && (g.centre_hz - own).abs() < 0.5 * g.bandwidth_hz + 1_500.0
            {
                g.identity = Some("own transmission".into());
            }
            g
        })
        .collect();
    out.sort_by(|a, b| b.level_dbfs.total_cmp(&a.level_dbfs));
    // Images stand at the mirrored frequency, well below what they mirror.
    for i in 0..out.len() {
        let (f, level) = (out[i].centre_hz, out[i].level_dbfs);
        if out[i].identity.is_some() {
            continue;
        }
        let source = out.iter().find(|s| {
            (s.centre_hz + f).abs() < 3.0 * df + 50.0
                && s.level_dbfs > level + 15.0
                && f.abs() > 10.0 * df
        });
        if let Some(s) = source {
            out[i].identity = Some(format!(
                "image of the signal at {:+.1} kHz",
                s.centre_hz * 1e-3
            ));
        } else if out[i].bandwidth_hz <= 4.0 * df && out[i].restlessness < 1.6 {
            out[i].identity = Some(
                if x.in_passband(f) {
                    "steady carrier"
                } else {
                    "spur: a line outside every passband"
                }
                .into(),
            );
        }
    }
    out
}

/// What the converter's own findings rest on.
struct Converter<'a> {
    about: &'a About,
    s: &'a Spectrum,
    floor: &'a [f64],
    levels: &'a LevelStats,
}

/// Flags of the converter alone, for recordings of noise.
pub(crate) fn converter_flags(about: &About, s: &Spectrum, levels: &LevelStats) -> Vec<Flag> {
    let floor = super::floor_line_without_bands(s);
    let c = Converter {
        about,
        s,
        floor: &floor,
        levels,
    };
    let mut flags = Vec::new();
    clipping(&c, &mut flags);
    bits(&c, &mut flags);
    converter(&c, &mut flags);
    flags
}

/// All flags, worst first.
pub(super) fn examine(x: &Facts<'_>, signals: &[Signal]) -> Vec<Flag> {
    let mut flags = Vec::new();
    gain(x, &mut flags);
    let c = Converter {
        about: x.about,
        s: x.s,
        floor: x.floor,
        levels: x.levels,
    };
    clipping(&c, &mut flags);
    bits(&c, &mut flags);
    converter(&c, &mut flags);
    spurs(x, signals, &mut flags);
    splatter(x, signals, &mut flags);
    own_transmitter(x, signals, &mut flags);
    lost_samples(x, &mut flags);
    interference(x, &mut flags);
    place(x, &mut flags);
    flags.sort_by_key(|f| std::cmp::Reverse(f.severity));
    flags
}

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

/// Part of a record's variance that a straight line in time explains, and the line's total change.
fn line(v: &[f64]) -> (f64, f64) {
    let n = v.len() as f64;
    let t: Vec<f64> = (0..v.len())
        .map(|i| i as f64 / (n - 1.0).max(1.0) - 0.5)
        .collect();
    let r = correlation(&t, v);
    (r * r, r * sd(v) / sd(&t))
}

/// Moves of the quiet noise that matter, as a fraction (0.1 dB) and at which figures are refused (0.2 dB).
const GAIN_MATTERS: f64 = 0.023;
const GAIN_REFUSED: f64 = 0.046;

/// Quiet bins hold noise alone: when their power changes, the gain or the noise has changed. A fading or keyed signal
/// leaves them alone.
fn gain(x: &Facts<'_>, flags: &mut Vec<Flag>) {
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
    let (explained, change) = line(&logs);
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
    if explained > 0.7 && relative_to_db(change.abs()) < 1.0 {
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

/// Power of what a limiter at `r` standard deviations takes off a normal variable of unit variance.
fn clipped_power(r: f64) -> f64 {
    let q = 1.0 - normal_cdf(r);
    let phi = (-0.5 * r * r).exp() / (2.0 * std::f64::consts::PI).sqrt();
    2.0 * ((1.0 + r * r) * q - r * phi)
}

fn lowest_density(floor: &[f64]) -> f64 {
    let n = floor.len();
    let mut v: Vec<f64> = floor.get(n / 12..n - n / 12).unwrap_or(&[]).to_vec();
    v.sort_by(f64::total_cmp);
    v.get(v.len() / 10).copied().unwrap_or(0.0)
}

fn clipping(x: &Converter<'_>, flags: &mut Vec<Flag>) {
    let Some(r) = x.levels.rails() else { return };
    let sigma = normal_quantile((1.0 - 0.5 * r.fraction).clamp(0.5, 1.0 - 1e-12));
    let power = x.levels.power() - x.levels.dc_power();
    // Distortion spreads over the whole band.
    let density = clipped_power(sigma.max(0.1)) * power / x.s.sample_rate_hz;
    let n0 = lowest_density(x.floor);
    let effect = relative_to_db(density / (n0 - density).max(0.05 * n0));
    let bad = effect > 0.3 || r.fraction > 0.02;
    let f = Flag::new(
        FlagKind::Clipping,
        if bad { Severity::Refusal } else if effect > 0.01 { Severity::Warning } else { Severity::Note },
        "the converter clips",
        format!(
            "{:.3} % of the components stand at the outermost value {:.3} of full scale, {:.0} times more than at its \
             neighbours; {}",
            100.0 * r.fraction,
            r.rail,
            r.pile_up,
            level_words(x.levels)
        ),
    )
    .figure("components at the rail", 100.0 * r.fraction, Unit::Percent)
    .figure("rise of the noise floor by the distortion", effect, Unit::Db)
    .means(
        "clipping compresses strong signals and spreads distortion over the band; the noise floor reads high",
        "lower the gain by 6 dB or more",
    );
    flags.push(if bad {
        f.refusing(&EVERYTHING)
    } else {
        f.adding(effect, &EVERYTHING)
    });
}

fn bits(x: &Converter<'_>, flags: &mut Vec<Flag>) {
    let stored = x.about.format.lsb();
    let seen = x.levels.quantiser_step();
    let Some(step) = stored.into_iter().chain(seen).reduce(f64::max) else {
        return;
    };
    // White step noise of step^2/12 a component (W. R. Bennett, Bell System Tech. J. 27, 1948).
    let density = 2.0 * step * step / 12.0 / x.s.sample_rate_hz;
    let n0 = lowest_density(x.floor);
    let effect = relative_to_db(density / (n0 - density).max(0.05 * n0));
    let rms = x.levels.component_rms() / step;
    if effect < 0.05 && rms > 1.5 {
        return;
    }
    let bad = rms < 0.5 || effect > 1.0;
    let warn = effect > 0.2 || rms < 1.0;
    let f = Flag::new(
        FlagKind::FewBits,
        if bad { Severity::Refusal } else if warn { Severity::Warning } else { Severity::Note },
        "the converter's steps are coarse for this noise",
        format!(
            "the samples spread over {rms:.1} steps rms; step noise lifts the lowest floor by {effect:.2} dB \
             ({} values in use)",
            x.levels.codes_in_use()
        ),
    )
    .figure("root mean square of a component, in steps", rms, Unit::One)
    .figure("rise of the lowest noise floor", effect, Unit::Db)
    .means(
        "the receiver's noise reads high and steps small; the effect is part of the recording, not of the station",
        "raise the gain in front of the converter",
    );
    flags.push(if bad {
        f.refusing(&[Consequence::NoiseStep, Consequence::Level])
    } else {
        f
    });
}

fn converter(x: &Converter<'_>, flags: &mut Vec<Flag>) {
    let dc = x.levels.dc_power();
    let noise = x.levels.power() / (x.levels.n.max(1) as f64);
    if dc > 30.0 * noise && to_db(dc) > -60.0 {
        let (i, q) = x.levels.dc();
        let bad = dc > 0.3 * x.levels.power();
        flags.push(
            Flag::new(
                FlagKind::DirectCurrent,
                if bad {
                    Severity::Warning
                } else {
                    Severity::Note
                },
                "direct current",
                format!(
                    "means of I and Q are {i:+.4} and {q:+.4} of full scale, {:.1} dBFS",
                    to_db(dc)
                ),
            )
            .figure("direct current", to_db(dc), Unit::Dbfs)
            .means(
                "bins at the centre are left out",
                "keep wanted signals off the centre",
            ),
        );
    }
    if let Some(m) = x.levels.imbalance() {
        let real = m.gain_db.abs() > 5.0 * m.u_gain_db || m.phase_deg.abs() > 5.0 * m.u_phase_deg;
        if real && m.image_rejection_db < 45.0 {
            flags.push(
                Flag::new(
                    FlagKind::Imbalance,
                    if m.image_rejection_db < 28.0 { Severity::Warning } else { Severity::Note },
                    "I and Q differ",
                    format!(
                        "Q against I: {:+.3} dB and {:+.2} degrees; images stand {:.0} dB below what they mirror",
                        m.gain_db, m.phase_deg, m.image_rejection_db
                    ),
                )
                .figure("gain", m.gain_db, Unit::Db)
                .figure("phase", m.phase_deg, Unit::Deg)
                .figure("image rejection", m.image_rejection_db, Unit::Db)
                .means(
                    "each signal has a weak image on the other side of the centre; they are listed and left out",
                    "tune so that no beacon lies at the image of a strong signal",
                ),
            );
        }
    }
}

fn spurs(x: &Facts<'_>, signals: &[Signal], flags: &mut Vec<Flag>) {
    let found: Vec<&Signal> = signals
        .iter()
        .filter(|s| s.identity.as_deref().is_some_and(|i| i.starts_with("spur")))
        .collect();
    let Some(worst) = found.first() else { return };
    if x.location.is_none() {
        return;
    }
    flags.push(
        Flag::new(
            FlagKind::Spurs,
            Severity::Note,
            "lines outside every passband",
            format!(
                "{} steady line(s) that no satellite sends, the strongest at {:+.2} kHz with {:.1} dBFS",
                found.len(),
                worst.centre_hz * 1e-3,
                worst.level_dbfs
            ),
        )
        .figure("strongest", worst.level_dbfs, Unit::Dbfs)
        .means("they are left out of every noise window", "none needed"),
    );
}

fn splatter(x: &Facts<'_>, signals: &[Signal], flags: &mut Vec<Flag>) {
    for (name, step) in x.steps {
        let Ok(s) = step else { continue };
        if s.outside_chi2 > 6.0 {
            let near = signals.iter().find(|g| {
                s.windows.iter().any(|w| {
                    g.centre_hz > w.0 - g.bandwidth_hz && g.centre_hz < w.1 + g.bandwidth_hz
                })
            });
            flags.push(
                Flag::new(
                    FlagKind::Splatter,
                    Severity::Warning,
                    "the noise window outside is not flat",
                    format!(
                        "parts of the window beyond the skirt of {name} scatter {:.1} times more than noise{}",
                        s.outside_chi2.sqrt(),
                        near.map_or(String::new(), |g| format!("; a signal stands at {:+.1} kHz", g.centre_hz * 1e-3))
                    ),
                )
                .figure("scatter over noise, squared", s.outside_chi2, Unit::One)
                .means("the noise step may read low", "record when the neighbouring frequencies are quiet")
                .adding(db_of_relative_u(s.u_outside) * s.outside_chi2.sqrt(), &[Consequence::NoiseStep]),
            );
        }
    }
}

fn own_transmitter(x: &Facts<'_>, signals: &[Signal], flags: &mut Vec<Flag>) {
    let own = signals
        .iter()
        .find(|s| s.identity.as_deref() == Some("own transmission"));
    let said = x.about.mount.transmitting == Some(true);
    if own.is_none() && !said {
        return;
    }
    let evidence = match own {
        Some(s) => format!(
            "a signal stands at the own downlink frequency, {:+.1} kHz, {:.1} dBFS",
            s.centre_hz * 1e-3,
            s.level_dbfs
        ),
        None => "the recording says so".to_string(),
    };
    flags.push(
        Flag::new(
            FlagKind::OwnTransmitter,
            Severity::Warning,
            "the own transmitter is on",
            evidence,
        )
        .means(
            "the receiver's noise may be raised and its gain lowered while it is on",
            "record with the transmitter off, and once more with it on, to see the difference",
        ),
    );
}

fn lost_samples(x: &Facts<'_>, flags: &mut Vec<Flag>) {
    let gaps = x.about.segments.iter().filter(|s| !s.contiguous).count();
    // A gap turns the phase of every beacon at once; one beacon alone may be somebody's keying.
    let found: Vec<&[(f64, f64)]> = x
        .beacons
        .iter()
        .filter_map(|b| b.found.as_ref())
        .map(|f| f.phase_steps.as_slice())
        .collect();
    let times: Vec<(f64, f64)> = found
        .first()
        .into_iter()
        .flat_map(|s| s.iter().copied())
        .filter(|(t, _)| {
            found
                .iter()
                .all(|o| o.iter().any(|(u, _)| (u - t).abs() < 0.08))
        })
        .collect();
    if gaps == 0 && times.is_empty() {
        return;
    }
    let evidence = if let Some((t, step)) = times.first() {
        format!(
            "a beacon's phase steps by {step:+.2} rad at {t:.2} s ({} such steps)",
            times.len()
        )
    } else {
        format!("the recording says that {gaps} stretch(es) do not follow on")
    };
    flags.push(
        Flag::new(
            FlagKind::LostSamples,
            Severity::Warning,
            "samples are missing",
            evidence,
        )
        .figure("steps of the phase", times.len() as f64, Unit::One)
        .means(
            "frequencies and drift suffer; energies do not",
            "record to a faster disk or at a lower rate",
        ),
    );
}

fn interference(x: &Facts<'_>, flags: &mut Vec<Flag>) {
    if flags.iter().any(|f| f.kind == FlagKind::GainChanges) {
        // A gain that follows the traffic fills the gaps by itself.
        return;
    }
    for b in x.beacons {
        let Some(f) = &b.found else { continue };
        let id = format!("{}.{}", b.plan.passband, b.plan.name);
        let Some(company) = &f.company else { continue };
        flags.push(
            Flag::new(
                FlagKind::BeaconInterference,
                if company.trusted { Severity::Warning } else { Severity::Refusal },
                "something stands on a beacon",
                format!("{id}: {}", company.evidence),
            )
            .figure("power beside the beacon's own", 100.0 * company.ratio, Unit::Percent)
            .means(
                if company.trusted {
                    "it is taken off the beacon's power; what that leaves uncertain is part of the uncertainty"
                } else {
                    "the level of this beacon is not given; the other beacons are not affected"
                },
                "look for a spur of the receiver with the LNB unpowered",
            ),
        );
    }
}

fn place(x: &Facts<'_>, flags: &mut Vec<Flag>) {
    let Some(l) = x.location else { return };
    let Some(r) = l.runner_up else { return };
    if l.score - r.score < 2.0 {
        flags.push(
            Flag::new(
                FlagKind::AmbiguousPlace,
                Severity::Warning,
                "the place of the beacons is not certain",
                format!(
                    "an oscillator off by {:+.1} kHz explains the recording nearly as well as {:+.1} kHz",
                    r.shift_hz * 1e-3,
                    l.shift_hz * 1e-3
                ),
            )
            .means(
                "every figure rests on the beacons being where they were found",
                "record a wider band, so that two beacons or a passband's edge show",
            ),
        );
    }
}
