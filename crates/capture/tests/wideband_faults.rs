//! The wideband measurement on made recordings with the faults of ordinary receivers and amplifiers: drift, phase noise,
//! pedestals, bursts, distortion. Truth is what the scene was made with.

mod scene_wideband;

use scene_wideband::{Memory, Scene, Sent};
use slantpath_capture::wideband::{Lock, Wideband, WidebandPlan, WidebandSettings, measure};
use slantpath_quantity::to_db;
use slantpath_stats::{Progress, Stop};
use slantpath_waveform::FecFrame::{Normal, Short};

fn run(mut m: Memory, settings: &WidebandSettings) -> Wideband {
    measure(
        &mut m,
        &WidebandPlan::default(),
        settings,
        &Progress::silent(),
        &Stop::new(),
    )
    .expect("measured")
}

fn lock(w: &Wideband, carrier: usize) -> &Lock {
    w.carriers[carrier].lock.as_ref().expect("locked")
}

#[test]
fn a_drifting_oscillator_costs_nothing() {
    // 300 and 900 Hz over the recording: the header's 90 symbols alone would lose up to 5 dB.
    for (seed, drift, sent) in [
        (910, 150.0, Sent::new("QPSK 1/2", Short, true, 66e3, 9.0)),
        (
            911,
            -450.0,
            Sent::new("8PSK 3/4", Normal, false, 125e3, 12.0),
        ),
    ] {
        let mut s = Scene::new(250e3, 500_000, seed, vec![sent.clone()]);
        s.drift = drift;
        let w = run(s.memory("drift"), &WidebandSettings::default());
        let l = lock(&w, 0);
        let d = l.es_n0.db() - sent.es_n0;
        assert!(d.abs() < 0.02 + 3.0 * l.es_n0.u_db(), "{drift}: {d}");
        let (told, u) = l.drift.expect("a drift");
        assert!((told - drift).abs() < 3.0 * u + 0.1, "{told} ± {u}");
        assert!(
            (l.carrier_hz - drift).abs() < 1e-4 * sent.rate,
            "{}",
            l.carrier_hz
        );
    }
}

#[test]
fn phase_noise_within_a_header_is_no_noise() {
    // -76 dBc/Hz at 10 kHz: 16APSK at this Es/N0 has wrong decisions, so that header and pilots alone tell.
    const NOISY_LNB: &[(f64, f64)] = &[
        (10.0, -38.0),
        (100.0, -55.0),
        (1e3, -68.0),
        (1e4, -74.0),
        (1e5, -95.0),
        (1e6, -115.0),
    ];
    let sent = Sent::new("16APSK 8/9", Short, true, 200e3, 14.0).rolloff(0.25);
    let mut s = Scene::new(500e3, 600_000, 920, vec![sent]);
    s.phase_noise = NOISY_LNB;
    let w = run(s.memory("phase"), &WidebandSettings::default());
    let l = lock(&w, 0);
    assert!(
        (l.es_n0.db() - 14.0).abs() < 3.0 * l.es_n0.u_db(),
        "{:?}",
        l.es_n0
    );
    for s in &w.carriers[0].shoulders {
        assert!(!s.is_ok_and(|s| s.seen()), "{s:?}");
    }
}

#[test]
fn the_rolloff_is_told_on_a_pedestal_that_ends_beside_the_carrier() {
    for (seed, rolloff, width) in [(930, 0.05, 1.3), (931, 0.25, 1.4), (932, 0.15, 1.2)] {
        let sent = Sent::new("QPSK 2/3", Short, true, 333e3, 5.0).rolloff(rolloff);
        let mut s = Scene::new(1e6, 300_000, seed, vec![sent]);
        s.hump = Some((0.0, width * 333e3, 3.0));
        let w = run(s.memory("pedestal"), &WidebandSettings::default());
        let c = &w.carriers[0];
        assert!(
            (c.shape.rolloff - rolloff).abs() < 1e-9,
            "{rolloff}: {:?}",
            c.shape
        );
        let a = w.answer("carrier.1.rolloff").expect("an answer");
        assert!(a.outcome.is_ok(), "{a:?}");
    }
}

#[test]
fn a_burst_at_the_end_of_a_stretch_is_kept_whole() {
    // 40 ms of a recording of two stretches, and 60 ms that end just before the first of them does.
    let list = [
        Sent::new("QPSK 3/4", Short, true, 400e3, 6.0)
            .at(-500e3)
            .on(0.30, 0.36),
        Sent::new("QPSK 1/2", Short, true, 333e3, 8.0)
            .at(500e3)
            .on(0.40, 0.495),
    ];
    let s = Scene::new(2e6, 1_200_000, 940, list.to_vec());
    let w = run(
        s.memory("bursts"),
        &WidebandSettings {
            head_samples: 600_000,
            ..WidebandSettings::default()
        },
    );
    assert_eq!(w.carriers.len(), 2);
    for (c, sent) in w.carriers.iter().zip(&list) {
        let l = c.lock.as_ref().expect("locked");
        let d = l.es_n0.db() - sent.es_n0;
        assert!(d.abs() < 3.0 * l.es_n0.u_db(), "{d} {:?}", l.es_n0);
        let seconds = 0.6 * (sent.on.1 - sent.on.0);
        assert!(
            (0.9..1.02).contains(&(c.seconds / seconds)),
            "{} of {seconds}",
            c.seconds
        );
    }
}

#[test]
fn an_overdriven_carrier_reads_what_its_payload_is() {
    // Header and pilots are distorted less than the payload: pi/2-BPSK has a flatter envelope.
    let mut s = Scene::new(
        2e6,
        600_000,
        950,
        vec![Sent::new("QPSK 3/4", Short, false, 333e3, 40.0)],
    );
    s.cubic = 0.12;
    let w = run(s.memory("overdriven"), &WidebandSettings::default());
    let l = lock(&w, 0);
    // The error vectors of the points drawn, independently of how Es/N0 is gathered.
    let points = &l.points.payload;
    let (mut cross, mut size, mut all) = (0.0, 0.0, 0.0);
    for (re, im) in points {
        let (re, im) = (f64::from(*re), f64::from(*im));
        cross += (re.abs() + im.abs()) * std::f64::consts::FRAC_1_SQRT_2;
        size += 1.0;
        all += re * re + im * im;
    }
    let gain = cross / size;
    let mer = to_db(gain * gain * size / (all - gain * gain * size));
    assert!((l.mer.db() - mer).abs() < 0.4, "{} {mer}", l.mer.db());
    assert!(l.known.db() > l.mer.db() + 0.3, "{:?} {:?}", l.known, l.mer);
}
