//! Synthetic recordings with everything drawn afresh, each measured and compared with its truth.
//!
//! A design draws its conditions from stated distributions; a trial gives, for every figure, its error over the stated
//! standard uncertainty and that uncertainty over the least possible one: the Cramer-Rao bound of a carrier's power and
//! frequency, the radiometer equation of a noise density.

#![allow(dead_code)] // the test and the bench each use a part

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use slantpath_capture::power::{Role, YSettings, noise_power, y_factor};
use slantpath_capture::source::synthetic::{
    Filter, Kind, Passband, SatelliteNoise, Scene, SyntheticSource, Truth,
};
use slantpath_capture::{
    BeaconKind, BeaconPlan, CentreMeaning, Measurement, PassbandPlan, SearchPlan, Settings, measure,
};
use slantpath_quantity::from_db;
use slantpath_signal::line::frequency_bound;
use slantpath_stats::{Progress, Stop};
use std::collections::BTreeMap;

/// What is recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Design {
    /// A steady carrier alone.
    Carrier,
    /// A keyed carrier alone.
    Keyed,
    /// A BPSK beacon alone.
    Psk,
    /// A whole passband with two beacons and traffic.
    Whole,
    /// Noise recordings of two loads.
    Loads,
}

/// One figure of one trial.
#[derive(Debug, Clone, Copy)]
pub struct Figure {
    /// Error over standard uncertainty.
    pub z: f64,
    /// Standard uncertainty over the bound's; `None` where conditions have no simple bound.
    pub over_bound: Option<f64>,
}

/// All trials of one figure.
#[derive(Debug, Default)]
pub struct Tally {
    pub figures: Vec<Figure>,
    pub missing: usize,
}

impl Tally {
    /// Trials whose 95 % interval holds the truth.
    pub fn inside(&self) -> usize {
        self.figures
            .iter()
            .filter(|f| f.z.abs() <= 1.959_964)
            .count()
    }
    pub fn percent(&self) -> f64 {
        100.0 * self.inside() as f64 / self.figures.len().max(1) as f64
    }
    /// Median of uncertainty over bound.
    pub fn width(&self) -> Option<f64> {
        let v: Vec<f64> = self.figures.iter().filter_map(|f| f.over_bound).collect();
        slantpath_stats::robust::median(&v)
    }
    pub fn line(&self, name: &str) -> String {
        let n = self.figures.len() as f64;
        let mean = self.figures.iter().map(|f| f.z).sum::<f64>() / n;
        let sd = (self
            .figures
            .iter()
            .map(|f| (f.z - mean).powi(2))
            .sum::<f64>()
            / n)
            .sqrt();
        let worst = self.figures.iter().map(|f| f.z.abs()).fold(0.0, f64::max);
        format!(
            "{name:<26} {n:>5} trials, {} refused   95 %: {:>5.1}   z mean {mean:+.2} sd {sd:.2} worst {worst:.1}   \
             width / bound: {}",
            self.missing,
            self.percent(),
            self.width().map_or("-".into(), |w| format!("{w:.2}"))
        )
    }
}

type Row = Vec<(&'static str, Option<Figure>)>;

/// Runs the trials of a design, seeds `0..count`, and gathers each figure.
pub fn run(design: Design, count: u64) -> BTreeMap<&'static str, Tally> {
    let rows: Vec<Row> = (0..count)
        .into_par_iter()
        .map(|k| {
            let mut r = ChaCha12Rng::seed_from_u64(70_000 * (1 + design as u64) + k);
            match design {
                Design::Carrier | Design::Keyed | Design::Psk => alone(design, &mut r, k),
                Design::Whole => whole(&mut r, k),
                Design::Loads => loads(&mut r, k),
            }
        })
        .collect();
    let mut out: BTreeMap<&'static str, Tally> = BTreeMap::new();
    for (name, f) in rows.into_iter().flatten() {
        let t = out.entry(name).or_default();
        match f {
            Some(f) => t.figures.push(f),
            None => t.missing += 1,
        }
    }
    out
}

/// Plan that knows of a scene what a satellite file would say: frequencies and kinds, no level.
pub fn plan_of(scene: &Scene) -> SearchPlan {
    let centre = scene.center_hz.unwrap_or(10_472.35e6);
    let place = |offset: f64| {
        if scene.inverted {
            2.0 * centre - (centre - offset)
        } else {
            centre + offset
        }
    };
    let passbands = match scene.satellite_noise {
        SatelliteNoise::Passband(p) => vec![PassbandPlan {
            name: "narrow".into(),
            lo_hz: place(p.centre_hz - 0.5 * p.width_hz),
            hi_hz: place(p.centre_hz + 0.5 * p.width_hz),
        }],
        _ => Vec::new(),
    };
    let beacons = scene
        .signals
        .iter()
        .filter(|s| s.name.starts_with("beacon"))
        .map(|s| BeaconPlan {
            name: s.name.clone(),
            passband: "narrow".into(),
            rf_hz: place(s.offset_hz),
            kind: match s.kind {
                Kind::Carrier => BeaconKind::Carrier,
                Kind::Bpsk {
                    baud,
                    rolloff,
                    manchester,
                } => BeaconKind::Bpsk {
                    symbol_rate: baud,
                    rolloff,
                    manchester,
                },
                _ => BeaconKind::KeyedCarrier,
            },
        })
        .collect();
    let meaning = if scene.inverted {
        CentreMeaning::Inverted {
            lo_hz: 2.0 * centre,
        }
    } else {
        CentreMeaning::TrueRf
    };
    SearchPlan::new(vec![meaning], passbands, beacons)
}

/// Measures a scene by [`plan_of`].
pub fn measured(scene: &Scene) -> (Measurement, Truth) {
    let mut s = SyntheticSource::new(scene).unwrap();
    let m = measure(
        &mut s,
        &plan_of(scene),
        &Settings::default(),
        &Progress::silent(),
        &Stop::new(),
    )
    .unwrap();
    let t = s.truth().clone();
    (m, t)
}

fn figure(m: &Measurement, id: &str, truth: f64, bound: Option<f64>) -> Option<Figure> {
    let a = m.answer(id)?;
    let Some(e) = a.estimate() else {
        if std::env::var_os("SHOW").is_some() {
            println!("{id} refused: {:?} {:?}", a.outcome, m.location);
        }
        return None;
    };
    if std::env::var_os("SHOW").is_some() && (e.value - truth).abs() > 2.8 * e.u {
        println!(
            "{id} off {:+.4} u {:.4} {:?} {:?}",
            e.value - truth,
            e.u,
            m.flags.iter().map(|f| &f.title).collect::<Vec<_>>(),
            m.beacons
                .iter()
                .map(|b| (
                    b.blocks.len(),
                    b.found.as_ref().map(|f| (f.f_hz, f.drift, f.u_drift))
                ))
                .collect::<Vec<_>>()
        );
    }
    Some(Figure {
        z: (e.value - truth) / e.u,
        over_bound: bound.map(|b| e.u / b),
    })
}

/// Decibels of a relative standard deviation.
fn db(relative: f64) -> f64 {
    10.0 / std::f64::consts::LN_10 * relative
}

/// Words per minute, plain dash at the end, and the fraction of time with key down of `PARIS`, which has 22 units down
/// of 50 (ITU-R M.1677-1), sent with three more units of gap and the dash.
fn keying(r: &mut ChaCha12Rng) -> (Kind, f64) {
    let words_per_minute = r.random_range(12.0..25.0);
    let dash_s = if r.random::<bool>() {
        r.random_range(0.5..3.0)
    } else {
        0.0
    };
    let unit = 1.2 / words_per_minute;
    let duty = (22.0 * unit + dash_s) / (53.0 * unit + dash_s);
    let kind = Kind::Keyed {
        text: "PARIS".into(),
        words_per_minute,
        dash_s,
        phase_s: r.random_range(0.0..5.0),
    };
    (kind, duty)
}

/// One beacon in a narrow recording of 12 to 48 kHz and 1.5 to 9 s.
fn alone(design: Design, r: &mut ChaCha12Rng, seed: u64) -> Row {
    let fs = [12e3, 16e3, 24e3, 48e3][r.random_range(0..4usize)];
    let seconds = r.random_range(1.5..9.0);
    let mut s = Scene::new("alone", fs, seconds, seed);
    s.center_hz = Some(10_472.175e6);
    s.oscillator.offset_hz = r.random_range(-0.08..0.08) * fs;
    s.oscillator.drift_hz_per_s = r.random_range(-2.0..2.0);
    let steady = r.random::<f64>() < 0.6;
    s.oscillator.phase_noise_100hz_dbc = (!steady).then(|| r.random_range(-75.0..-58.0));
    s.satellite_noise = SatelliteNoise::Flat(r.random_range(0.0..6.0));
    s.noise_dbfs = r.random_range(-45.0..-30.0);
    let (kind, duty) = match design {
        Design::Keyed => keying(r),
        Design::Psk => {
            let kind = Kind::Bpsk {
                baud: [300.0, 600.0, 1200.0, 2400.0][r.random_range(0..4usize)],
                rolloff: r.random_range(0.25..0.6),
                manchester: false,
            };
            (kind, 1.0)
        }
        _ => (Kind::Carrier, 1.0),
    };
    let s = s.with("beacon", 0.0, r.random_range(43.0..56.0), kind);
    let (m, t) = measured(&s);
    let t = &t.signals[0];
    let c_n0 = from_db(t.cn0_with_steps_dbhz);
    // Power of a known waveform in noise of known density; density from what the channel shows of it.
    let bound = (2.0 / (c_n0 * seconds * duty) + 1.0 / (fs.min(26e3) * 0.9 * seconds)).sqrt();
    // A stretch of more than six seconds is followed in pieces; the bound is that of the whole.
    let f_bound = (steady && seconds < 6.0).then(|| frequency_bound(c_n0 * duty, seconds).sqrt());
    let names = match design {
        Design::Keyed => ["keyed C/N0", "keyed frequency"],
        Design::Psk => ["PSK C/N0", "PSK frequency"],
        _ => ["carrier C/N0", "carrier frequency"],
    };
    vec![
        (
            names[0],
            figure(
                &m,
                "narrow.beacon.cn0",
                t.cn0_with_steps_dbhz,
                Some(db(bound)),
            ),
        ),
        (
            names[1],
            figure(&m, "narrow.beacon.offset", t.middle_hz, f_bound),
        ),
        (
            if steady {
                "frequency, steady"
            } else {
                "frequency, wandering"
            },
            figure(&m, "narrow.beacon.offset", t.middle_hz, None),
        ),
    ]
}

/// A passband with empty band on both sides, two beacons and up to six others.
pub fn whole_scene(r: &mut ChaCha12Rng, seed: u64) -> (Scene, f64) {
    let width = r.random_range(60e3..140e3);
    let fs = (width * r.random_range(1.55..2.2) / 1e3_f64).round() * 1e3;
    let seconds = r.random_range(1.0..3.0);
    let mut s = Scene::new("whole", fs, seconds, seed);
    s.center_hz = Some(10_472.35e6);
    s.satellite_noise = SatelliteNoise::Passband(Passband {
        centre_hz: 0.0,
        width_hz: width,
        level_db: r.random_range(0.0..6.0),
        order: 60,
        tilt_db: r.random_range(-0.4..0.4),
        ripple_db: r.random_range(0.0..0.2),
    });
    s.filter = Some(Filter {
        slope_db: r.random_range(-1.0..1.0),
        edge: r.random_range(0.46..0.48),
    });
    s.noise_dbfs = r.random_range(-40.0..-22.0);
    s.oscillator.offset_hz = r.random_range(-0.02..0.02) * fs;
    s.oscillator.drift_hz_per_s = r.random_range(-2.0..2.0);
    s.oscillator.phase_noise_100hz_dbc = Some(r.random_range(-75.0..-62.0));
    let psk = Kind::Bpsk {
        baud: 1200.0,
        rolloff: 0.5,
        manchester: false,
    };
    s = s.with("beacon_psk", -0.43 * width, r.random_range(44.0..54.0), psk);
    s = s.with(
        "beacon_cw",
        0.43 * width,
        r.random_range(44.0..54.0),
        keying(r).0,
    );
    let mut taken = 0.0;
    for k in 0..r.random_range(0..6u32) {
        // Each in its own part of the middle.
        let f = (-0.3 + 0.11 * f64::from(k)) * width + r.random_range(-1e3..1e3);
        let c = r.random_range(38.0..52.0);
        let kind = if k % 3 == 2 {
            taken += 200.0;
            keying(r).0
        } else {
            taken += 3e3;
            Kind::Voice { lower: k % 2 == 0 }
        };
        s = s.with(format!("traffic {k}"), f, c, kind);
    }
    let inside = 0.6 * width - taken;
    let outside = 0.92 * fs - 1.16 * width;
    (s, ((1.0 / inside + 1.0 / outside) / seconds).sqrt())
}

fn whole(r: &mut ChaCha12Rng, seed: u64) -> Row {
    let (s, bound) = whole_scene(r, seed);
    let (m, t) = measured(&s);
    vec![
        (
            "noise step",
            figure(
                &m,
                "narrow.noise_step",
                t.noise_step_with_steps_db.unwrap(),
                Some(db(bound)),
            ),
        ),
        (
            "PSK C/N0 in a passband",
            figure(
                &m,
                "narrow.beacon_psk.cn0",
                t.signals[0].cn0_with_steps_dbhz,
                None,
            ),
        ),
        (
            "keyed C/N0 in a passband",
            figure(
                &m,
                "narrow.beacon_cw.cn0",
                t.signals[1].cn0_with_steps_dbhz,
                None,
            ),
        ),
        (
            "frequency in a passband",
            figure(&m, "narrow.beacon_cw.offset", t.signals[1].middle_hz, None),
        ),
    ]
}

/// A hot and a cold load, a minute apart, with a gain that drifts as receivers do.
fn loads(r: &mut ChaCha12Rng, seed: u64) -> Row {
    let settings = YSettings::default();
    let fs = [100e3, 250e3][r.random_range(0..2usize)];
    let seconds = r.random_range(0.3..1.0);
    let y_db: f64 = r.random_range(0.5..9.0);
    let drift: f64 = StandardNormal.sample(r);
    let level = r.random_range(-40.0..-30.0);
    let minutes: f64 = r.random_range(0.2..3.0);
    let record = |noise: f64, gain_db: f64, seed: u64| {
        let mut s = Scene::new("load", fs, seconds, seed);
        s.center_hz = Some(1e9);
        s.receiver_noise = noise;
        s.noise_dbfs = level + gain_db;
        s.filter = Some(Filter {
            slope_db: 0.8,
            edge: 0.46,
        });
        noise_power(
            &mut SyntheticSource::new(&s).unwrap(),
            &Progress::silent(),
            &Stop::new(),
        )
        .unwrap()
    };
    let cold = record(1.0, 0.0, 2 * seed);
    let hot = record(
        from_db(y_db),
        drift * settings.drift_db_per_min * minutes,
        2 * seed + 1,
    );
    let y = y_factor(
        &[(Role::Cold, 0.0, &cold), (Role::Hot, 60.0 * minutes, &hot)],
        settings,
    )
    .unwrap();
    let e = y.answer.estimate();
    // The averaging alone against the radiometer equation; the gain's drift is systematic and stated apart.
    let random = y.answer.shares.first().map(|s| s.u);
    let bound = db((2.0 / (0.88 * fs * seconds)).sqrt());
    vec![(
        "Y factor",
        e.zip(random).map(|(e, random)| Figure {
            z: (e.value - y_db) / e.u,
            over_bound: Some(random / bound),
        }),
    )]
}
