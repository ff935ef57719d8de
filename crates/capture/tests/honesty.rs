//! Whether stated intervals hold: many synthetic recordings with everything drawn afresh, each measured, each compared
//! with its truth.
//!
//! Chi-square of the normalised errors and the fraction of truths inside the 95 % intervals are compared with what
//! the binomial distribution allows for the number of trials. The long run (2000 trials) is ignored by default.

use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha12Rng;
use slantpath_capture::source::synthetic::{Filter, Kind, SatelliteNoise, Scene, SyntheticSource};
use slantpath_capture::{
    BeaconKind, BeaconPlan, CentreMeaning, Measurement, PassbandPlan, SearchPlan, Settings, measure,
};
use slantpath_stats::{Progress, Stop};

fn plan(manchester: bool) -> SearchPlan {
    SearchPlan::new(
        vec![CentreMeaning::TrueRf],
        vec![PassbandPlan {
            name: "narrow".into(),
            lo_hz: 10_472.15e6,
            hi_hz: 10_472.55e6,
        }],
        vec![
            BeaconPlan {
                name: "psk".into(),
                passband: "narrow".into(),
                rf_hz: 10_472.175e6,
                kind: BeaconKind::Bpsk {
                    symbol_rate: 1200.0,
                    rolloff: 0.5,
                    manchester,
                },
            },
            BeaconPlan {
                name: "cw".into(),
                passband: "narrow".into(),
                rf_hz: 10_472.525e6,
                kind: BeaconKind::KeyedCarrier,
            },
        ],
    )
}

fn measure_scene(scene: &Scene, plan: &SearchPlan) -> (Measurement, SyntheticSource) {
    let mut s = SyntheticSource::new(scene).unwrap();
    let m = measure(
        &mut s,
        plan,
        &Settings::default(),
        &Progress::silent(),
        &Stop::new(),
    )
    .unwrap();
    (m, s)
}

/// Normalised errors of one measurand over trials.
#[derive(Default)]
struct Tally {
    z: Vec<f64>,
    u: Vec<f64>,
    missing: usize,
}

impl Tally {
    fn add(&mut self, m: &Measurement, id: &str, truth: f64) {
        match m.answer(id).and_then(|a| a.estimate()) {
            Some(e) => {
                self.z.push((e.value - truth) / e.u);
                self.u.push(e.u);
            }
            None => self.missing += 1,
        }
    }
    fn inside(&self) -> f64 {
        self.z.iter().filter(|z| z.abs() <= 1.96).count() as f64 / self.z.len() as f64
    }
    fn report(&self, what: &str) {
        let n = self.z.len() as f64;
        let mean = self.z.iter().sum::<f64>() / n;
        let sd = (self.z.iter().map(|z| (z - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
        let mut u = self.u.clone();
        u.sort_by(f64::total_cmp);
        let worst = self.z.iter().map(|z| z.abs()).fold(0.0, f64::max);
        println!(
            "{what}: {n} trials, {} missing, inside {:.1} %, z mean {mean:+.2} sd {sd:.2} worst {worst:.1}, median u {:.4}",
            self.missing,
            100.0 * self.inside(),
            u[u.len() / 2]
        );
    }
}

/// A narrow recording around the BPSK beacon.
fn small(r: &mut ChaCha12Rng, seed: u64) -> Scene {
    let seconds = r.random_range(3.0..7.0);
    let mut s = Scene::beacon_alone("small", seconds, seed);
    s.oscillator.offset_hz = r.random_range(-1500.0..1500.0);
    s.oscillator.drift_hz_per_s = r.random_range(-2.0..2.0);
    s.satellite_noise = SatelliteNoise::Flat(r.random_range(0.0..6.0));
    s.signals[0].cn0_dbhz = r.random_range(42.0..54.0);
    s.noise_dbfs = r.random_range(-40.0..-20.0);
    s
}

fn small_trials(trials: u64) -> (Tally, Tally) {
    let (mut cn0, mut f) = (Tally::default(), Tally::default());
    for seed in 0..trials {
        let mut r = ChaCha12Rng::seed_from_u64(1000 + seed);
        let scene = small(&mut r, seed);
        let (m, s) = measure_scene(&scene, &plan(false));
        let t = &s.truth().signals[0];
        cn0.add(&m, "narrow.psk.cn0", t.cn0_with_steps_dbhz);
        f.add(&m, "narrow.psk.offset", t.middle_hz);
    }
    cn0.report("small C/N0");
    f.report("small frequency");
    (cn0, f)
}

/// A whole narrow passband with traffic.
fn whole(r: &mut ChaCha12Rng, seed: u64, seconds: f64) -> Scene {
    let mut s = Scene::narrow_passband("whole", seconds, seed);
    s.oscillator.offset_hz = r.random_range(-30e3..30e3);
    s.oscillator.drift_hz_per_s = r.random_range(-2.0..2.0);
    if let SatelliteNoise::Passband(p) = &mut s.satellite_noise {
        p.level_db = r.random_range(1.0..6.0);
        p.tilt_db = r.random_range(-0.4..0.4);
        p.ripple_db = r.random_range(0.0..0.2);
    }
    s.filter = Some(Filter {
        slope_db: r.random_range(-1.0..1.0),
        edge: r.random_range(0.45..0.48),
    });
    for b in &mut s.signals {
        b.cn0_dbhz = r.random_range(44.0..52.0);
    }
    for k in 0..r.random_range(0..8u32) {
        let f = r.random_range(-155e3..155e3);
        let c = r.random_range(38.0..52.0);
        let kind = if k % 3 == 2 {
            Kind::Keyed {
                text: "CQ DE QQ0AAG".into(),
                words_per_minute: 22.0,
                dash_s: 0.0,
                phase_s: 0.3,
            }
        } else {
            Kind::Voice { lower: k % 2 == 0 }
        };
        s = s.with(format!("traffic {k}"), f, c, kind);
    }
    s
}

fn whole_trials(trials: u64, seconds: f64) -> [Tally; 4] {
    let mut t: [Tally; 4] = Default::default();
    for seed in 0..trials {
        let mut r = ChaCha12Rng::seed_from_u64(5000 + seed);
        let scene = whole(&mut r, seed, seconds);
        let (m, s) = measure_scene(&scene, &plan(false));
        let truth = s.truth();
        t[0].add(&m, "narrow.psk.cn0", truth.signals[0].cn0_with_steps_dbhz);
        t[1].add(&m, "narrow.cw.cn0", truth.signals[1].cn0_with_steps_dbhz);
        t[2].add(
            &m,
            "narrow.noise_step",
            truth.noise_step_with_steps_db.unwrap(),
        );
        t[3].add(&m, "narrow.cw.offset", truth.signals[1].middle_hz);
        for (x, id) in t.iter().zip(["psk", "cw", "step", "freq"]) {
            if let Some(z) = x.z.last()
                && z.abs() > 3.5
            {
                println!(
                    "seed {seed} {id} z {z:.1} lo {:.0} {:?}",
                    scene.oscillator.offset_hz,
                    m.flags.iter().map(|f| &f.title).collect::<Vec<_>>()
                );
            }
        }
    }
    for (x, id) in t
        .iter()
        .zip(["psk C/N0", "cw C/N0", "noise step", "cw frequency"])
    {
        x.report(id);
    }
    t
}

#[test]
fn intervals_hold_on_small_recordings() {
    let (cn0, f) = small_trials(120);
    assert_eq!((cn0.missing, f.missing), (0, 0));
    // 120 trials at 95 %: between 90 and 99.2 % with a probability of 98 % (binomial). The frequency's interval allows
    // for an oscillator whose phase wanders on at slow times; the synthetic one does not, hence it is wide here.
    assert!((0.90..=0.995).contains(&cn0.inside()), "{}", cn0.inside());
    assert!(f.inside() >= 0.90, "{}", f.inside());
}

#[test]
fn intervals_hold_on_whole_passbands() {
    let t = whole_trials(24, 1.0);
    for t in &t[..3] {
        assert_eq!(t.missing, 0);
        assert!(t.inside() > 0.8, "{}", t.inside());
        assert!(t.z.iter().all(|z| z.abs() < 4.5));
    }
}

#[test]
#[ignore = "long"]
fn long_run() {
    small_trials(2000);
    whole_trials(300, 1.5);
}
