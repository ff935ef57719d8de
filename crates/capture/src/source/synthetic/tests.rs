use num_complex::Complex;
use rustfft::FftPlanner;
use slantpath_quantity::to_db;

use super::*;
use crate::source::SampleFormat;

fn samples(scene: &Scene) -> Vec<Complex<f64>> {
    let mut s = SyntheticSource::new(scene).unwrap();
    let mut out = vec![Complex::default(); scene.samples.unwrap() as usize];
    assert_eq!(s.read(&mut out).unwrap(), out.len());
    out.iter()
        .map(|z| Complex::new(f64::from(z.re), f64::from(z.im)))
        .collect()
}

/// Averaged periodogram with a Hann window, power per bin normalised so that white noise of power 1 gives 1.
fn density(x: &[Complex<f64>], n: usize) -> Vec<f64> {
    let fft = FftPlanner::new().plan_fft_forward(n);
    let w: Vec<f64> = (0..n)
        .map(|k| (std::f64::consts::PI * k as f64 / n as f64).sin().powi(2))
        .collect();
    let scale: f64 = w.iter().map(|w| w * w).sum();
    let mut sum = vec![0.0; n];
    let mut count = 0.0;
    for start in (0..=x.len() - n).step_by(n / 2) {
        let mut z: Vec<_> = x[start..start + n]
            .iter()
            .zip(&w)
            .map(|(z, w)| z * w)
            .collect();
        fft.process(&mut z);
        for (s, z) in sum.iter_mut().zip(&z) {
            *s += z.norm_sqr() / scale;
        }
        count += 1.0;
    }
    sum.iter().map(|s| s / count).collect()
}

fn mean_over(p: &[f64], fs: f64, from_hz: f64, to_hz: f64) -> f64 {
    let n = p.len() as f64;
    let inside = |k: usize| {
        let f = if (k as f64) < n / 2.0 {
            k as f64
        } else {
            k as f64 - n
        } * fs
            / n;
        f >= from_hz && f < to_hz
    };
    let v: Vec<f64> = p
        .iter()
        .enumerate()
        .filter(|(k, _)| inside(*k))
        .map(|(_, p)| *p)
        .collect();
    v.iter().sum::<f64>() / v.len() as f64
}

#[test]
fn noise_step_and_receiver_slope_are_those_stated() {
    let mut scene = Scene::narrow_passband("step", 0.8, 3);
    scene.signals.clear();
    let truth = SyntheticSource::new(&scene).unwrap().truth().clone();
    let p = density(&samples(&scene), 2048);
    let slope = |f: f64| scene.filter.unwrap().response(f, 640e3);
    let bin = 640e3 / 2048.0;
    let mut inside = 0.0;
    let mut count = 0.0;
    let mut f = -119e3;
    while f < 119e3 {
        inside += mean_over(&p, 640e3, f, f + bin) / slope(f + bin / 2.0);
        count += 1.0;
        f += bin;
    }
    let mut low = 0.0;
    let mut m = 0.0;
    for k in 0..100 {
        for f in [240e3 + 500.0 * f64::from(k), -290e3 + 500.0 * f64::from(k)] {
            low += mean_over(&p, 640e3, f, f + 500.0) / slope(f + 250.0);
            m += 1.0;
        }
    }
    let step = to_db(inside / count / (low / m));
    // Radiometer: 100 kHz outside for 0.8 s leaves 0.015 dB.
    assert!(
        (step - truth.noise_step_with_steps_db.unwrap()).abs() < 0.06,
        "{step} {truth:?}"
    );
    let floor = to_db(low / m / 640e3);
    assert!(
        (floor - truth.receiver_noise_dbfs_per_hz).abs() < 0.06,
        "{floor} {truth:?}"
    );
}

#[test]
fn beacon_levels_are_those_stated() {
    for (name, kind) in [
        (
            "bpsk",
            Kind::Bpsk {
                baud: 1200.0,
                rolloff: 0.5,
                manchester: false,
            },
        ),
        (
            "manchester",
            Kind::Bpsk {
                baud: 400.0,
                rolloff: 0.5,
                manchester: true,
            },
        ),
        ("carrier", Kind::Carrier),
    ] {
        let mut scene = Scene::beacon_alone(name, 20.0, 4);
        scene.signals[0].kind = kind;
        scene.received_db = -1.0;
        scene.oscillator.offset_hz = 700.0;
        scene.format = "cu8".parse::<SampleFormat>().unwrap();
        let truth = SyntheticSource::new(&scene).unwrap().truth().clone();
        let p = density(&samples(&scene), 512);
        let n0 = mean_over(&p, 16e3, -7e3, -3e3);
        // Bins of 31.25 Hz; noise of unit density per bin; 1800 Hz hold the signal and the skirts of its phase noise.
        let c = (mean_over(&p, 16e3, -1100.0, 2500.0) - n0) * 3600.0;
        let cn0 = to_db(c / n0);
        assert!(
            (cn0 - truth.signals[0].cn0_with_steps_dbhz).abs() < 0.08,
            "{name} {cn0} {truth:?}"
        );
    }
}

#[test]
fn a_carrier_stands_where_the_oscillator_puts_it() {
    let mut scene = Scene::new("tone", 48e3, 2.0, 5).with("c", 3000.0, 70.0, Kind::Carrier);
    scene.oscillator.offset_hz = -1250.0;
    scene.oscillator.drift_hz_per_s = 40.0;
    let truth = SyntheticSource::new(&scene).unwrap().truth().clone();
    assert_eq!(truth.signals[0].middle_hz, 1790.0);
    let x = samples(&scene);
    // Turned back by the stated track it is a constant.
    let sum: Complex<f64> = x
        .iter()
        .enumerate()
        .map(|(k, z)| {
            let t = k as f64 / 48e3;
            z * Complex::cis(-std::f64::consts::TAU * (1750.0 * t + 20.0 * t * t))
        })
        .sum();
    let coherent = (sum / x.len() as f64).norm_sqr();
    let total = x.iter().map(|z| z.norm_sqr()).sum::<f64>() / x.len() as f64;
    assert!(coherent / total > 0.99, "{}", coherent / total);
}

#[test]
fn the_same_scene_is_the_same_recording_in_any_portions() {
    let mut scene =
        Scene::narrow_passband("same", 0.05, 6).with("v", 20e3, 55.0, Kind::Voice { lower: true });
    scene.agc = Some(Agc {
        tau_s: 1e-3,
        strength: 0.5,
    });
    scene.transmit = Some(Transmit {
        period_s: 0.02,
        on_s: 0.01,
        noise_db: 3.0,
        desense_db: 0.5,
    });
    scene.spurs.push(Spur {
        offset_hz: 5e3,
        cn0_dbhz: 50.0,
    });
    scene.imbalance = (0.2, 1.0);
    scene.dc = (0.01, -0.02);
    scene.inverted = true;
    let whole = samples(&scene);
    for step in [1usize, 77, 4096, 5000] {
        let mut s = SyntheticSource::new(&scene).unwrap();
        let mut got = Vec::new();
        let mut part = vec![Complex::default(); step];
        loop {
            let n = s.read(&mut part).unwrap();
            if n == 0 {
                break;
            }
            got.extend(
                part[..n]
                    .iter()
                    .map(|z| Complex::new(f64::from(z.re), f64::from(z.im))),
            );
        }
        assert!(got == whole, "{step}");
    }
    let mut bytes = Vec::new();
    SyntheticSource::new(&scene)
        .unwrap()
        .write_to(&mut bytes)
        .unwrap();
    assert_eq!(bytes.len(), whole.len() * 4);
}

#[test]
fn another_signal_leaves_the_noise_as_it_was() {
    let a = Scene::new("n", 8e3, 0.1, 7);
    let b = a.clone().with("silent", 100.0, -300.0, Kind::Carrier);
    assert_eq!(samples(&a), samples(&b));
    let mut c = a.clone();
    c.seed = 8;
    assert_ne!(samples(&a), samples(&c));
}

#[test]
fn imbalance_makes_the_image_it_ought_to() {
    let mut scene = Scene::new("image", 8e3, 4.0, 9).with("c", 1000.0, 60.0, Kind::Carrier);
    scene.imbalance = (0.5, 2.0);
    let p = density(&samples(&scene), 1024);
    let ratio = to_db((mean_over(&p, 8e3, -1020.0, -980.0)) / mean_over(&p, 8e3, 980.0, 1020.0));
    // z' = mu z + nu z*: |nu/mu|^2 = |1 - g e^(j phi)|^2 / |1 + g e^(-j phi)|^2, about (g-1)^2/4 + phi^2/4.
    let g = Complex::from_polar(
        slantpath_quantity::amplitude_from_db(0.5),
        2f64.to_radians(),
    );
    let want = to_db((1.0 - g).norm_sqr() / (1.0 + g.conj()).norm_sqr());
    assert!((ratio - want).abs() < 0.5, "{ratio} {want}");
}

#[test]
fn a_scene_that_cannot_be_made_is_refused() {
    let wrong = [
        Scene::new("rate", 0.0, 0.0, 1),
        Scene::new("wide", 1e3, 1.0, 1).with(
            "b",
            0.0,
            50.0,
            Kind::Bpsk {
                baud: 1200.0,
                rolloff: 0.5,
                manchester: false,
            },
        ),
        Scene::new("code", 8e3, 1.0, 1).with(
            "k",
            0.0,
            50.0,
            Kind::Keyed {
                text: "é".into(),
                words_per_minute: 20.0,
                dash_s: 0.0,
                phase_s: 0.0,
            },
        ),
    ];
    for scene in wrong {
        let e = SyntheticSource::new(&scene)
            .map(|_| ())
            .unwrap_err()
            .to_string();
        assert!(e.contains(&scene.name) && e.contains("help"), "{e}");
    }
}

#[test]
fn clipping_is_counted() {
    let mut scene = Scene::new("loud", 8e3, 1.0, 2);
    scene.noise_dbfs = 0.0;
    let mut s = SyntheticSource::new(&scene).unwrap();
    let mut out = vec![Complex::default(); 8000];
    s.read(&mut out).unwrap();
    // One component has variance 1/2: P(|x| > 1) = erfc(1) = 0.1573.
    let share = s.clipped() as f64 / 16_000.0;
    assert!((share - 0.1573).abs() < 0.012, "{share}");
}
