//! Other satellites, receivers and rates than the usual ones: every figure agrees with the truth within what is stated
//! of it, or is refused with a reason.

mod honest;

use honest::{measured, plan_of};
use rayon::prelude::*;
use slantpath_capture::source::synthetic::{
    Filter, Kind, Passband, SatelliteNoise, Scene, Spur, SyntheticSource, Truth,
};
use slantpath_capture::{Measurement, SearchPlan, Settings, measure};
use slantpath_stats::{Progress, Stop};

/// A passband of `width_hz` whose middle stands `middle_hz` from the recording's centre.
fn passband(name: &str, fs: f64, seconds: f64, middle_hz: f64, width_hz: f64) -> Scene {
    let mut s = Scene::new(name, fs, seconds, name.bytes().map(u64::from).sum());
    s.center_hz = Some(10_700e6);
    s.satellite_noise = SatelliteNoise::Passband(Passband {
        centre_hz: middle_hz,
        width_hz,
        level_db: 2.5,
        order: 50,
        tilt_db: 0.2,
        ripple_db: 0.05,
    });
    s.oscillator.phase_noise_100hz_dbc = Some(-68.0);
    s.oscillator.offset_hz = 0.003 * fs;
    s.noise_dbfs = -32.0;
    s
}

fn psk(baud: f64, rolloff: f64) -> Kind {
    Kind::Bpsk {
        baud,
        rolloff,
        manchester: false,
    }
}

fn key(text: &str, words_per_minute: f64, dash_s: f64) -> Kind {
    Kind::Keyed {
        text: text.into(),
        words_per_minute,
        dash_s,
        phase_s: 0.7,
    }
}

/// What a figure did: error over u, or the reason why there is none.
fn figure(m: &Measurement, id: &str, truth: f64, limit: f64, out: &mut Vec<String>) {
    let Some(a) = m.answer(id) else {
        out.push(format!("{id} is missing"));
        return;
    };
    match &a.outcome {
        Ok(e) => {
            let d = e.value - truth;
            println!("    {id} {d:+.4} u {:.4}", e.u);
            if d.abs() > 3.6 * e.u {
                out.push(format!("{id} off by {d:+.4}, u {:.4}", e.u));
            }
            if e.u > limit {
                out.push(format!("{id} is stated to {:.3} only", e.u));
            }
        }
        Err(why) => {
            println!("    {id} refused: {}", why.reason);
            if why.reason.is_empty() || why.remedy.is_empty() {
                out.push(format!("{id} refused without evidence"));
            }
        }
    }
}

/// Compares all figures; `given` of them have to be answered.
fn judge(name: &str, m: &Measurement, t: &Truth, given: &[&str]) -> Vec<String> {
    println!("{name}");
    for f in &m.flags {
        println!("    {:?} {}: {}", f.severity, f.title, f.evidence);
    }
    let mut bad = Vec::new();
    for s in t.signals.iter().filter(|s| s.name.starts_with("beacon")) {
        let id = format!("narrow.{}", s.name);
        figure(
            m,
            &format!("{id}.cn0"),
            s.cn0_with_steps_dbhz,
            0.35,
            &mut bad,
        );
        if m.answer(&format!("{id}.offset")).is_some() {
            figure(m, &format!("{id}.offset"), s.middle_hz, 1.0, &mut bad);
        }
    }
    if let Some(step) = t.noise_step_with_steps_db
        && m.answer("narrow.noise_step").is_some()
    {
        figure(m, "narrow.noise_step", step, 0.25, &mut bad);
    }
    for g in given {
        if m.answer(&format!("narrow.{g}"))
            .and_then(|a| a.estimate())
            .is_none()
        {
            bad.push(format!("{g} is not given"));
        }
    }
    bad.iter().map(|b| format!("{name}: {b}")).collect()
}

fn all() -> Vec<(Scene, Vec<&'static str>)> {
    let mut v: Vec<(Scene, Vec<&'static str>)> = Vec::new();
    let two = vec!["beacon_a.cn0", "beacon_b.cn0", "noise_step"];
    // Rates; other spacings of the beacons.
    v.push((
        passband("rate 48k", 48e3, 6.0, 0.0, 24e3)
            .with("beacon_a", -9e3, 47.0, Kind::Carrier)
            .with("beacon_b", 8e3, 45.0, key("QQ0AAA", 15.0, 1.0)),
        two.clone(),
    ));
    v.push((
        passband("rate 96k", 96e3, 4.0, 3e3, 50e3)
            .with("beacon_a", -17e3, 48.0, psk(400.0, 0.5))
            .with("beacon_b", 20e3, 46.0, Kind::Carrier),
        two.clone(),
    ));
    v.push((
        passband("rate 250k", 250e3, 3.0, -20e3, 120e3)
            .with("beacon_a", -70e3, 49.0, psk(2400.0, 0.35))
            .with("beacon_b", 25e3, 50.0, key("DE QQ0AAB", 24.0, 0.0)),
        two.clone(),
    ));
    v.push((
        passband("rate 560k", 560e3, 2.0, 40e3, 250e3)
            .with("beacon_a", 150e3, 47.0, psk(1200.0, 0.5))
            .with("beacon_b", -75e3, 51.0, Kind::Carrier),
        two.clone(),
    ));
    v.push((
        passband("rate 1M", 1e6, 1.5, 0.0, 500e3)
            .with("beacon_a", -240e3, 50.0, psk(1200.0, 0.5))
            .with("beacon_b", 236e3, 50.0, key("QQ0AAA", 20.0, 1.5)),
        two.clone(),
    ));
    v.push((
        passband("rate 2.4M", 2.4e6, 1.0, 300e3, 500e3)
            .with("beacon_a", 70e3, 52.0, psk(4800.0, 0.25))
            .with("beacon_b", 535e3, 50.0, Kind::Carrier),
        two.clone(),
    ));
    // One beacon, at either edge.
    v.push((
        passband("one at the lower edge", 400e3, 2.0, 30e3, 220e3).with(
            "beacon_a",
            -76e3,
            47.0,
            Kind::Carrier,
        ),
        vec!["beacon_a.cn0", "noise_step"],
    ));
    v.push((
        passband("one at the upper edge", 400e3, 2.0, -30e3, 220e3).with(
            "beacon_a",
            74e3,
            49.0,
            psk(600.0, 0.4),
        ),
        vec!["beacon_a.cn0", "noise_step"],
    ));
    let mut s = passband("backwards", 300e3, 2.0, 10e3, 150e3)
        .with("beacon_a", -50e3, 48.0, psk(1200.0, 0.5))
        .with("beacon_b", 70e3, 48.0, key("QQ0AAA", 18.0, 1.0));
    s.inverted = true;
    v.push((s, two.clone()));
    // Keying at other speeds and with little key-down time.
    for (name, text, wpm, dash) in [
        ("slow keying", "EE", 8.0, 0.0),
        ("fast keying", "QQ0AAA", 32.0, 0.0),
        ("long pauses", "E", 12.0, 0.3),
    ] {
        v.push((
            passband(name, 120e3, 5.0, 0.0, 60e3).with(
                "beacon_a",
                22e3,
                49.0,
                key(text, wpm, dash),
            ),
            vec!["noise_step"],
        ));
    }
    // Company.
    v.push((
        passband("strong neighbours", 200e3, 3.0, 0.0, 100e3)
            .with("beacon_a", -35e3, 46.0, psk(1200.0, 0.5))
            .with("near", -33.1e3, 58.0, Kind::Carrier)
            .with("beacon_b", 30e3, 46.0, Kind::Carrier)
            .with("loud", 31.2e3, 60.0, Kind::Voice { lower: false }),
        vec!["noise_step"],
    ));
    let mut s = passband("drifting", 200e3, 4.0, 0.0, 100e3)
        .with("beacon_a", -35e3, 47.0, psk(1200.0, 0.5))
        .with("beacon_b", 30e3, 47.0, key("QQ0AAA", 20.0, 1.0));
    s.oscillator.drift_hz_per_s = 10.0;
    s.oscillator.phase_noise_100hz_dbc = Some(-58.0);
    v.push((s, two.clone()));
    let mut s = passband("spur on the carrier", 200e3, 4.0, 0.0, 100e3)
        .with("beacon_a", -35e3, 47.0, psk(1200.0, 0.5))
        .with("beacon_b", 30e3, 47.0, Kind::Carrier);
    s.spurs.push(Spur {
        offset_hz: 30e3 + 600.0 + 37.0,
        cn0_dbhz: 44.0,
    });
    v.push((s, vec!["beacon_a.cn0", "noise_step"]));
    for (name, away) in [
        ("direct current beside", 700.0),
        ("direct current under", 0.6),
    ] {
        let mut s = passband(name, 200e3, 4.0, -30e3, 100e3)
            .with("beacon_a", -600.0 + away, 47.0, Kind::Carrier)
            .with("beacon_b", -70e3, 47.0, psk(1200.0, 0.5));
        s.dc = (0.01, -0.02);
        v.push((s, vec!["beacon_b.cn0", "noise_step"]));
    }
    let mut s = passband("slope and early edge", 300e3, 2.0, 0.0, 140e3)
        .with("beacon_a", -60e3, 48.0, psk(1200.0, 0.5))
        .with("beacon_b", 55e3, 48.0, Kind::Carrier);
    s.filter = Some(Filter {
        slope_db: -3.0,
        edge: 0.41,
    });
    v.push((s, two));
    v
}

#[test]
fn other_conditions() {
    let only = std::env::var("CASE").ok();
    let bad: Vec<String> = all()
        .into_par_iter()
        .filter(|(scene, _)| {
            only.as_ref()
                .is_none_or(|o| scene.name.contains(o.as_str()))
        })
        .flat_map(|(scene, given)| {
            let (m, t) = measured(&scene);
            judge(&scene.name, &m, &t, &given)
        })
        .collect();
    assert!(bad.is_empty(), "{}", bad.join("\n"));
}

/// Ten million samples a second: the plan's band is a small part of what is recorded.
#[test]
fn a_wide_receiver() {
    let s = passband("rate 10M", 10e6, 0.6, 1.2e6, 500e3)
        .with("beacon_a", 0.97e6, 54.0, psk(1200.0, 0.5))
        .with("beacon_b", 1.43e6, 54.0, Kind::Carrier);
    let (m, t) = measured(&s);
    let bad = judge(
        &s.name,
        &m,
        &t,
        &["beacon_a.cn0", "beacon_b.cn0", "noise_step"],
    );
    assert!(bad.is_empty(), "{}", bad.join("\n"));
}

/// A step of the gain half way: no level is stated as if there had been none.
#[test]
fn a_gain_step_is_refused() {
    let s = passband("gain step", 200e3, 4.0, 0.0, 100e3)
        .with("beacon_a", -35e3, 50.0, Kind::Carrier)
        .with("beacon_b", 30e3, 50.0, psk(1200.0, 0.5));
    let plan: SearchPlan = plan_of(&s);
    let mut source = Stepped {
        inner: SyntheticSource::new(&s).unwrap(),
        seen: 0,
        at: 400_000,
        gain: 1.25,
    };
    let m = measure(
        &mut source,
        &plan,
        &Settings::default(),
        &Progress::silent(),
        &Stop::new(),
    )
    .unwrap();
    for id in ["narrow.beacon_a.cn0", "narrow.beacon_a.level"] {
        let a = m.answer(id).unwrap();
        assert!(a.estimate().is_none(), "{id}: {:?}", a.outcome);
    }
    assert!(
        m.flags
            .iter()
            .any(|f| !f.refuses.is_empty() && !f.evidence.is_empty())
    );
}

/// A source whose gain changes once.
struct Stepped {
    inner: SyntheticSource,
    seen: usize,
    at: usize,
    gain: f32,
}

impl slantpath_capture::source::Source for Stepped {
    fn about(&self) -> &slantpath_capture::source::About {
        self.inner.about()
    }
    fn read(
        &mut self,
        out: &mut [slantpath_signal::C32],
    ) -> Result<usize, slantpath_capture::CaptureError> {
        let got = self.inner.read(out)?;
        for (i, z) in out.iter_mut().take(got).enumerate() {
            if self.seen + i >= self.at {
                *z *= self.gain;
            }
        }
        self.seen += got;
        Ok(got)
    }
}
