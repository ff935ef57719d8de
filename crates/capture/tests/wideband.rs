//! The wideband measurement on more than thirty made recordings: every carrier found, its frame exact, its figures
//! within their bounds and their own uncertainties.

mod scene_wideband;

use scene_wideband::{Memory, PLAIN_LNB, Scene, Sent};
use slantpath_capture::source::Component;
use slantpath_capture::wideband::{
    Carrier, NoLock, Wideband, WidebandPlan, WidebandSettings, measure,
};
use slantpath_capture::{CaptureError, FlagKind};
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::from_db;
use slantpath_stats::noise::snr_bound;
use slantpath_stats::{Progress, Stop};
use slantpath_waveform::FecFrame::{Normal, Short};

fn run(mut m: Memory) -> Result<Wideband, CaptureError> {
    measure(
        &mut m,
        &WidebandPlan::default(),
        &WidebandSettings::default(),
        &Progress::silent(),
        &Stop::new(),
    )
}

/// Errors over standard uncertainties, gathered over cases.
#[derive(Default)]
struct Tally {
    es_n0: Vec<f64>,
    known: Vec<f64>,
    rate: Vec<f64>,
    frequency: Vec<f64>,
    failures: Vec<String>,
}

impl Tally {
    fn check(&mut self, ok: bool, what: String) {
        if !ok {
            self.failures.push(what);
        }
    }
    fn mean_square(v: &[f64]) -> f64 {
        v.iter().map(|x| x * x).sum::<f64>() / v.len() as f64
    }
    fn within(v: &[f64]) -> f64 {
        v.iter().filter(|x| x.abs() < 1.96).count() as f64 / v.len() as f64
    }
}

/// One carrier against what was sent.
fn judge(t: &mut Tally, name: &str, s: &Scene, sent: &Sent, c: &Carrier, mer_room: f64) {
    let rho = from_db(sent.es_n0);
    let ppm = (c.clock.rate / sent.rate - 1.0) * 1e6;
    let limit = if c.lock.is_ok() { 5.0 } else { 100.0 };
    t.check(
        ppm.abs() < limit,
        format!("{name}: symbol rate {ppm:.2} ppm off"),
    );
    t.rate.push((c.clock.rate - sent.rate) / c.clock.u_rate);
    let middle = 0.5 * c.seconds;
    let truth = sent.offset_hz + s.lo_hz + s.drift * middle;
    let (f, u) = c.offset_hz();
    t.check(
        (f - truth).abs() < sent.rate * 1e-3,
        format!(
            "{name}: carrier {:.1} Hz off of {:.0} Bd",
            f - truth,
            sent.rate
        ),
    );
    t.check(
        c.shape_fitted && (c.shape.rolloff - sent.rolloff).abs() < 1e-9,
        format!("{name}: roll-off {} for {}", c.shape.rolloff, sent.rolloff),
    );
    if let Some((r, u)) = c.c_n() {
        let d = slantpath_quantity::to_db(r) - sent.es_n0;
        t.check(
            d.abs() < 0.25 + 3.0 * db_of_relative_u(u),
            format!("{name}: C/N {d:+.2} dB"),
        );
    }
    let l = match &c.lock {
        Ok(l) => l,
        Err(e) => {
            t.check(!sent.framed, format!("{name}: no lock, {e:?}"));
            return;
        }
    };
    t.check(sent.framed, format!("{name}: locked on bare symbols"));
    t.check(
        l.frame == sent.frame(),
        format!("{name}: {} for {}", l.frame.name(), sent.frame().name()),
    );
    if s.phase_noise.is_empty() {
        t.frequency.push((f - truth) / u);
    }
    let bound = db_of_relative_u(snr_bound(rho, l.known.symbols).unwrap_or(1.0));
    let allowed = (3.0 * bound).max(0.2) + mer_room;
    let d = l.mer.db() - sent.es_n0;
    t.check(
        d.abs() < allowed,
        format!("{name}: MER {d:+.3} dB of {allowed:.3}"),
    );
    t.es_n0.push((l.es_n0.db() - sent.es_n0) / l.es_n0.u_db());
    t.known.push((l.known.db() - sent.es_n0) / l.known.u_db());
    println!(
        "{name:34} {:34} ppm {ppm:+.3} f {:+.3} Hz es_n0 {:+.3} ± {:.3} known {:+.3} ± {:.3} dB mer {d:+.3}",
        l.frame.name(),
        f - truth,
        l.es_n0.db() - sent.es_n0,
        l.es_n0.u_db(),
        l.known.db() - sent.es_n0,
        l.known.u_db(),
    );
}

fn case(t: &mut Tally, name: &str, s: &Scene) -> Wideband {
    let w = run(s.memory(name)).expect("the recording is measured");
    t.check(
        w.carriers.len() == s.carriers.len(),
        format!(
            "{name}: {} carriers of {}",
            w.carriers.len(),
            s.carriers.len()
        ),
    );
    for sent in &s.carriers {
        let near = w.carriers.iter().min_by(|a, b| {
            let d = |c: &Carrier| (c.shape.centre_hz - sent.offset_hz - s.lo_hz).abs();
            d(a).total_cmp(&d(b))
        });
        if let Some(c) = near {
            judge(t, name, s, sent, c, 0.0);
        }
    }
    w
}

fn conclude(t: &Tally, carriers: usize) {
    assert!(t.failures.is_empty(), "{:#?}", t.failures);
    assert_eq!(t.es_n0.len(), carriers);
    for (name, v) in [
        ("es_n0", &t.es_n0),
        ("known", &t.known),
        ("rate", &t.rate),
        ("frequency", &t.frequency),
    ] {
        println!(
            "{name}: mean square of error over u {:.2}, within 95 % {:.2}, {} values",
            Tally::mean_square(v),
            Tally::within(v),
            v.len()
        );
    }
    // Three standard deviations of a fair share of so many draws.
    let fair = 0.95 - 3.0 * (0.05 * 0.95 / carriers as f64).sqrt();
    assert!(Tally::within(&t.es_n0) > fair);
    assert!(Tally::within(&t.known) > fair);
    assert!(Tally::within(&t.rate) > fair);
    assert!(Tally::within(&t.frequency) > fair);
}

/// Samples for `symbols` at a rate.
fn samples(fs: f64, rate: f64, symbols: f64) -> usize {
    (symbols * fs / rate) as usize
}

#[test]
fn one_carrier_of_every_kind() {
    let mut t = Tally::default();
    let mut n = 0;
    let list: [(
        &'static str,
        slantpath_waveform::FecFrame,
        bool,
        f64,
        f64,
        f64,
        f64,
    ); 18] = [
        ("QPSK 1/4", Short, true, 250e3, 0.35, 0.0, 45e3),
        ("QPSK 1/4", Short, false, 250e3, 0.25, 0.0, 60e3),
        ("QPSK 1/3", Normal, true, 333e3, 0.2, 1.0, 75e3),
        ("QPSK 1/2", Short, true, 333e3, 0.2, 2.5, 40e3),
        ("QPSK 3/5", Short, false, 125e3, 0.35, 4.0, 40e3),
        ("QPSK 3/4", Short, true, 333e3, 0.2, 6.0, 40e3),
        ("QPSK 5/6", Normal, false, 333e3, 0.25, 8.0, 75e3),
        ("QPSK 9/10", Normal, true, 250e3, 0.2, 12.0, 75e3),
        ("8PSK 3/5", Short, true, 333e3, 0.2, 7.0, 32e3),
        ("8PSK 2/3", Short, false, 250e3, 0.35, 10.0, 32e3),
        ("8PSK 3/4", Normal, true, 333e3, 0.2, 14.0, 50e3),
        ("8PSK 8/9", Short, true, 250e3, 0.25, 20.0, 32e3),
        ("16APSK 2/3", Short, true, 333e3, 0.2, 12.0, 32e3),
        ("16APSK 4/5", Short, false, 333e3, 0.2, 16.0, 32e3),
        ("16APSK 9/10", Normal, true, 250e3, 0.35, 18.0, 40e3),
        ("32APSK 3/4", Short, true, 333e3, 0.2, 17.0, 32e3),
        ("32APSK 5/6", Short, false, 250e3, 0.25, 20.0, 32e3),
        ("32APSK 9/10", Normal, true, 333e3, 0.2, 20.0, 32e3),
    ];
    for (i, (modcod, fec, pilots, rate, rolloff, es_n0, symbols)) in list.into_iter().enumerate() {
        let fs = 2.9 * rate;
        // Off the middle, with a clock some parts in a million off.
        let k = i as f64;
        let rate = rate * (1.0 + (k - 9.0) * 3e-6);
        let sent = Sent::new(modcod, fec, pilots, rate, es_n0)
            .at((k - 9.0) * 0.03 * rate)
            .rolloff(rolloff);
        let mut s = Scene::new(fs, samples(fs, rate, symbols), 100 + i as u64, vec![sent]);
        s.lo_hz = 0.013 * rate;
        case(&mut t, &format!("{modcod} {es_n0} dB"), &s);
        n += 1;
    }
    conclude(&t, n);
}

#[test]
fn carriers_in_company_and_under_stress() {
    let mut t = Tally::default();
    let q = |rate, es_n0: f64| Sent::new("QPSK 3/4", Short, true, rate, es_n0);
    // Ten at once.
    let mut at = -2.3e6;
    let ten: Vec<Sent> = [
        333e3, 250e3, 500e3, 125e3, 333e3, 66e3, 250e3, 333e3, 125e3, 500e3,
    ]
    .iter()
    .enumerate()
    .map(|(i, rate)| {
        at += 0.65 * rate;
        let c = Sent::new(
            if i % 3 == 1 { "8PSK 2/3" } else { "QPSK 2/3" },
            Short,
            i % 4 != 3,
            *rate,
            8.0 + 0.7 * i as f64,
        )
        .at(at);
        at += 0.65 * rate + 40e3;
        c
    })
    .collect();
    case(&mut t, "ten", &Scene::new(5e6, 1_000_000, 201, ten));
    // A slow one beside a fast one: 20 kBd beside 1.5 MBd, their levels 19 dB apart.
    case(
        &mut t,
        "slow beside fast",
        &Scene::new(
            3e6,
            2_700_000,
            202,
            vec![q(1.5e6, 9.0).at(-400e3), q(20e3, 10.0).at(640e3)],
        ),
    );
    // Touching: bands end where the next begin.
    case(
        &mut t,
        "touching",
        &Scene::new(
            2e6,
            400_000,
            203,
            vec![
                q(333e3, 9.0).at(-400e3),
                Sent::new("8PSK 3/5", Short, true, 333e3, 12.0).at(-400e3 + 333e3 * 1.2),
                q(250e3, 10.0).at(-400e3 + 333e3 * 1.8 + 250e3 * 0.6),
            ],
        ),
    );
    // A sloping floor and a hump of noise that holds two carriers.
    let mut s = Scene::new(
        2e6,
        500_000,
        204,
        vec![q(333e3, 8.0).at(-250e3), q(250e3, 8.0).at(300e3)],
    );
    s.slope = 0.3;
    let flat = case(&mut Tally::default(), "slope", &s);
    // Es/N0 is given against a floor of one: here it is 1 + slope x.
    for c in &flat.carriers {
        let l = c.lock.as_ref().expect("locked");
        let truth = 8.0 - slantpath_quantity::to_db(1.0 + 0.3 * l.carrier_hz / 2e6);
        assert!((l.es_n0.db() - truth).abs() < 0.1, "{truth} {:?}", l.es_n0);
    }
    // The oscillator of a plain block: phase noise, offset and drift.
    for (i, (rate, es_n0)) in [(333e3, 10.0), (66e3, 9.0), (1e6, 14.0)]
        .into_iter()
        .enumerate()
    {
        let fs = 2.7 * rate;
        let mut s = Scene::new(
            fs,
            samples(fs, rate, 50e3),
            210 + i as u64,
            vec![Sent::new("8PSK 3/5", Short, true, rate, es_n0)],
        );
        s.phase_noise = PLAIN_LNB;
        s.lo_hz = 0.05 * rate;
        s.drift = 30.0;
        case(&mut t, "plain block", &s);
    }
    // Eight bits, direct current on the carrier.
    let mut s = Scene::new(
        750e3,
        200_000,
        220,
        vec![Sent::new("8PSK 3/4", Short, false, 250e3, 15.0)],
    );
    s.component = Component::U8;
    s.dc = (-0.01, 0.006);
    s.rms = 0.2;
    s.lo_hz = 2.75e3;
    let w = case(&mut t, "direct current", &s);
    assert!(w.flags.iter().any(|f| f.kind == FlagKind::DirectCurrent));
    conclude(&t, 10 + 2 + 3 + 3 + 1);
}

#[test]
fn scrambling_by_another_code_and_bare_symbols() {
    // Pilots of another scrambling code do not add up: the header alone counts, and the answer says so.
    let mut sent = Sent::new("QPSK 1/2", Short, true, 333e3, 9.0);
    sent.code = 5;
    let w = run(Scene::new(1e6, 150_000, 301, vec![sent.clone()]).memory("other code"))
        .expect("measured");
    let l = w.carriers[0].lock.as_ref().expect("locked");
    assert_eq!(l.frame, sent.frame());
    assert_eq!(l.scrambling_agrees, Some(false));
    assert!((l.mer.db() - 9.0).abs() < 0.3, "{:?}", l.mer);
    // Another constant-rate PSK: blind figures, framing unknown.
    let w =
        run(Scene::new(1e6, 250_000, 302, vec![sent.unframed()]).memory("bare")).expect("measured");
    let c = &w.carriers[0];
    assert!(matches!(c.lock, Err(NoLock::NoHeaders { .. })));
    let (r, _) = c.c_n().expect("noise beside it");
    assert!((slantpath_quantity::to_db(r) - 9.0).abs() < 0.2);
    let a = w.answer("carrier.1.mer").expect("an answer");
    let why = a.outcome.as_ref().expect_err("no MER");
    assert!(why.reason.contains("framing unknown"), "{}", why.reason);
}

#[test]
fn a_spectrum_turned_round() {
    let sent = Sent::new("8PSK 3/5", Short, true, 333e3, 11.0).at(60e3);
    let w = run(Scene::new(1e6, 150_000, 350, vec![sent.clone()])
        .memory("turned")
        .turned())
    .expect("measured");
    let l = w.carriers[0].lock.as_ref().expect("locked");
    assert!(l.inverted && l.frame == sent.frame());
    assert!((l.carrier_hz + 60e3).abs() < 10.0, "{}", l.carrier_hz);
    assert!((l.mer.db() - 11.0).abs() < 0.2);
    // A carrier that fills nearly all of the band.
    let sent = Sent::new("QPSK 3/4", Short, true, 333e3, 11.0);
    let w = run(Scene::new(420e3, 70_000, 351, vec![sent]).memory("filled")).expect("measured");
    let l = w.carriers[0].lock.as_ref().expect("locked");
    assert!((l.mer.db() - 11.0).abs() < 0.25, "{:?}", l.mer);
}

#[test]
fn noise_is_no_carrier() {
    for (i, hump) in [None, Some((20e3, 400e3, 2.0)), Some((-60e3, 250e3, 8.0))]
        .into_iter()
        .enumerate()
    {
        let mut s = Scene::new(1e6, 500_000, 400 + i as u64, vec![]);
        s.hump = hump;
        let w = run(s.memory("noise")).expect("measured");
        assert!(w.carriers.is_empty(), "{:?}", w.carriers);
        assert!(!w.answers.iter().any(|a| a.measurand.ends_with("modcod")));
        if hump.is_some() {
            assert_eq!(w.unexplained.len(), 1, "{:?}", w.unexplained);
        }
    }
}

#[test]
fn overload_is_flagged_and_shoulders_are_measured() {
    // The converter's rails.
    let mut s = Scene::new(
        1e6,
        200_000,
        501,
        vec![Sent::new("QPSK 3/4", Short, true, 333e3, 15.0)],
    );
    s.rms = 0.75;
    let w = run(s.memory("rails")).expect("measured");
    assert!(
        w.flags.iter().any(|f| f.kind == FlagKind::Clipping),
        "{:?}",
        w.flags
    );
    let es_n0 = w.answers.iter().find(|a| a.measurand.ends_with(".es_n0"));
    assert!(
        es_n0.is_some_and(|a| !a.validity.is_inside()),
        "what the rails add is not in the uncertainty: {es_n0:?}"
    );
    // Third-order regrowth: the same spectrum by direct integration over a long record without noise.
    let mut s = Scene::new(
        2e6,
        1_000_000,
        502,
        vec![Sent::new("QPSK 3/4", Short, true, 333e3, 32.0)],
    );
    s.cubic = 0.12;
    let w = run(s.memory("overdriven")).expect("measured");
    let seen: Vec<_> = w.carriers[0]
        .shoulders
        .iter()
        .map(|s| s.expect("judged"))
        .collect();
    let mut quiet = s.clone();
    quiet.carriers[0].es_n0 = 70.0;
    let clean = run(quiet.memory("clean")).expect("measured");
    for (a, b) in seen.iter().zip(&clean.carriers[0].shoulders) {
        let b = b.expect("judged");
        assert!(a.seen() && b.seen());
        let d = slantpath_quantity::to_db(a.ratio / b.ratio);
        assert!(
            d.abs() < 0.3 + 3.0 * db_of_relative_u(a.u / a.ratio),
            "{a:?} {b:?}"
        );
    }
    // Without distortion none is seen, and the lowest that could have been is stated.
    let s = Scene::new(
        2e6,
        1_000_000,
        503,
        vec![Sent::new("QPSK 3/4", Short, true, 333e3, 12.0)],
    );
    let w = run(s.memory("linear")).expect("measured");
    for s in &w.carriers[0].shoulders {
        let s = s.expect("judged");
        assert!(!s.seen(), "{s:?}");
        assert!((1e-4..1e-1).contains(&s.lowest), "{s:?}");
    }
}

#[test]
fn what_cannot_be_measured_is_said() {
    // Shorter than one frame: what was found, and what to record.
    let s = Scene::new(
        300e3,
        45_000,
        601,
        vec![Sent::new("QPSK 1/2", Normal, true, 100e3, 10.0)],
    );
    let w = run(s.memory("short")).expect("measured");
    assert_eq!(w.carriers.len(), 1);
    assert!(
        w.answer("carrier.1.symbol_rate")
            .expect("an answer")
            .outcome
            .is_ok()
    );
    let a = w.answer("carrier.1.modcod").expect("an answer");
    if let Err(u) = &a.outcome {
        assert!(u.remedy.contains("record for at least"), "{}", u.remedy);
    }
    // Wider than the recording.
    let s = Scene::new(
        1e6,
        300_000,
        602,
        vec![Sent::new("QPSK 1/2", Short, true, 900e3, 10.0).at(400e3)],
    );
    let w = run(s.memory("wide")).expect("measured");
    assert!(w.carriers.is_empty(), "{:?}", w.carriers);
    assert!(w.unexplained.iter().any(|u| u.cut), "{:?}", w.unexplained);
    // On top of each other: both found by their clocks, the overlap stated.
    let s = Scene::new(
        2e6,
        800_000,
        603,
        vec![
            Sent::new("QPSK 1/2", Short, true, 333e3, 12.0),
            Sent::new("QPSK 1/2", Short, true, 250e3, 12.0).at(230e3),
        ],
    );
    let w = run(s.memory("overlap")).expect("measured");
    assert_eq!(w.carriers.len(), 2, "{:?}", w.unexplained);
    let n = w.carriers[0].neighbours[0];
    // 0.6 (333 + 250) - 230 = 119.8 kHz.
    assert!((n.overlap_hz - 119.8e3).abs() < 10e3, "{n:?}");
    assert!(n.interference > 0.02);
}

#[test]
fn the_same_at_any_number_of_threads() {
    let s = Scene::new(
        1.2e6,
        150_000,
        701,
        vec![
            Sent::new("QPSK 3/4", Short, true, 250e3, 9.0).at(-250e3),
            Sent::new("8PSK 3/4", Short, true, 250e3, 14.0).at(250e3),
        ],
    );
    let with = |n: usize| {
        rayon::ThreadPoolBuilder::new()
            .num_threads(n)
            .build()
            .expect("threads")
            .install(|| run(s.memory("threads")).expect("measured"))
    };
    let (a, b) = (with(1), with(3));
    assert_eq!(a.carriers, b.carriers);
    assert_eq!(a.answers, b.answers);
}

#[test]
fn frames_of_changing_kind_are_followed() {
    let frame = |name: &'static str, fec, pilots| Sent::new(name, fec, pilots, 1.0, 0.0).frame();
    let a = frame("QPSK 3/4", Short, true);
    let b = frame("8PSK 2/3", Short, true);
    let c = frame("16APSK 3/4", Short, false);
    let dummy = slantpath_waveform::Frame { modcod: 0, ..a };
    let q = |es_n0| Sent::new("QPSK 3/4", Short, true, 333e3, es_n0);
    for (i, (turns, es_n0)) in [
        (vec![a, dummy, a, a, dummy], 7.0),
        (vec![a, b, a, c, b], 13.0),
        (vec![a, a, a, a, b, b, b, b], 10.0),
        (vec![dummy], 9.0),
    ]
    .into_iter()
    .enumerate()
    {
        let s = Scene::new(
            1e6,
            260_000,
            800 + i as u64,
            vec![q(es_n0).turns(turns.clone())],
        );
        let w = run(s.memory("turns")).expect("measured");
        assert_eq!(w.carriers.len(), 1, "{turns:?}");
        let l = w.carriers[0].lock.as_ref().expect("locked");
        let name = |f: &slantpath_waveform::Frame| f.name();
        for f in &turns {
            assert!(
                l.kinds.iter().any(|k| k.0.name() == name(f)),
                "{:?}",
                l.kinds
            );
        }
        for (k, _) in &l.kinds {
            assert!(turns.iter().any(|f| f.name() == k.name()), "{:?}", l.kinds);
        }
        let d = l.mer.db() - es_n0;
        assert!(
            d.abs() < 0.1 + 3.0 * l.mer.u_db(),
            "{turns:?} {d} {:?}",
            l.mer
        );
        println!("{i}: mer {d:+.3} ± {:.3}, {:?}", l.mer.u_db(), l.kinds);
    }
}

#[test]
fn a_carrier_that_is_not_always_there() {
    for (i, (from, to)) in [(0.4, 1.0), (0.0, 0.55)].into_iter().enumerate() {
        let s = Scene::new(
            1e6,
            400_000,
            820 + i as u64,
            vec![Sent::new("QPSK 3/4", Short, true, 333e3, 10.0).on(from, to)],
        );
        let w = run(s.memory("part")).expect("measured");
        let l = w.carriers[0].lock.as_ref().expect("locked");
        let d = l.mer.db() - 10.0;
        assert!(d.abs() < 0.1 + 3.0 * l.mer.u_db(), "{d} {:?}", l.mer);
        let (a, b) = l.on_air.expect("parts without frames");
        // Frames of 8370 symbols: 25 ms.
        assert!(
            (a - 0.4 * from).abs() < 0.052 && (b - 0.4 * to).abs() < 0.052,
            "{a} {b}"
        );
    }
}

#[test]
fn carriers_that_come_and_go_in_a_long_recording() {
    // Eight stretches; only the first carrier is there all the time.
    let list = [
        Sent::new("QPSK 3/4", Short, true, 250e3, 9.0).at(-330e3),
        Sent::new("8PSK 2/3", Short, true, 200e3, 11.0)
            .at(-30e3)
            .on(0.6, 1.0),
        Sent::new("QPSK 1/2", Short, true, 125e3, 8.0)
            .at(200e3)
            .on(0.0, 0.21),
        Sent::new("QPSK 2/3", Short, false, 125e3, 10.0)
            .at(370e3)
            .on(0.42, 0.72),
    ];
    let s = Scene::new(1e6, 2_000_000, 830, list.to_vec());
    let w = measure(
        &mut s.memory("long"),
        &WidebandPlan::default(),
        &WidebandSettings {
            head_samples: 250_000,
            ..WidebandSettings::default()
        },
        &Progress::silent(),
        &Stop::new(),
    )
    .expect("measured");
    assert_eq!(w.carriers.len(), list.len(), "{:?}", w.unexplained);
    assert!(w.unexplained.is_empty(), "{:?}", w.unexplained);
    for (c, sent) in w.carriers.iter().zip(&list) {
        let l = c.lock.as_ref().expect("locked");
        assert_eq!(l.frame, sent.frame());
        let ppm = (c.clock.rate / sent.rate - 1.0) * 1e6;
        let d = l.mer.db() - sent.es_n0;
        println!(
            "{}: {ppm:+.2} ppm, mer {d:+.3} ± {:.3}, {:?}, {} symbols from {:.2} s on, c/n {:?}",
            l.frame.name(),
            l.mer.u_db(),
            l.on_air,
            c.symbols,
            c.start_s,
            c.c_n().map(|x| slantpath_quantity::to_db(x.0))
        );
        assert!(ppm.abs() < 5.0, "{ppm}");
        assert!(d.abs() < 0.1 + 3.0 * l.mer.u_db(), "{d} {:?}", l.mer);
        assert!((c.shape.rolloff - 0.2).abs() < 1e-9);
        // C/N from the spectrum while it stood still.
        if let (Some((r, _)), None) = (c.c_n(), c.step) {
            let d = slantpath_quantity::to_db(r) - sent.es_n0;
            assert!(d.abs() < 0.3, "C/N {d}");
        }
        assert_eq!(c.there.is_none(), sent.on == (0.0, 1.0));
        // What was demodulated lies within the time on the air: frames are told to within one of them (67 ms), else to
        // within a stretch.
        let (from, to) = l.on_air.unwrap_or((c.start_s, c.start_s + c.seconds));
        let room = if l.on_air.is_some() { 0.07 } else { 0.25 };
        assert!(
            from > 2.0 * sent.on.0 - room && to < 2.0 * sent.on.1 + room,
            "{from} {to} {:?}",
            sent.on
        );
        assert!(
            to - from > 0.5 * 2.0 * (sent.on.1 - sent.on.0),
            "{from} {to}"
        );
    }
}

#[test]
fn images_steps_and_pedestals_are_named() {
    // The image of a carrier by the receiver's imbalance is no carrier.
    let q = |es_n0| Sent::new("QPSK 3/4", Short, true, 333e3, es_n0);
    let mut s = Scene::new(1.4e6, 300_000, 840, vec![q(18.0).at(250e3)]);
    s.imbalance = Some((0.9, 0.05));
    let w = run(s.memory("image")).expect("measured");
    assert_eq!(w.carriers.len(), 1);
    let of = w.unexplained.iter().find_map(|u| u.mirrors_hz);
    assert!((of.expect("an image") - 250e3).abs() < 1e3);
    // A gain that changes: the level is refused, Es/N0 is not touched.
    let mut s = Scene::new(1e6, 400_000, 841, vec![q(10.0)]);
    s.step = Some((0.5, 3.0));
    let w = run(s.memory("gain")).expect("measured");
    let step = w.carriers[0].step.expect("a step");
    assert!(step.gain && (step.db - 3.0).abs() < 0.2 && (step.at_s - 0.2).abs() < 0.03);
    let level = w.answer("carrier.1.level").expect("an answer");
    assert!(level.outcome.is_err());
    let l = w.carriers[0].lock.as_ref().expect("locked");
    assert!(
        (l.mer.db() - 10.0).abs() < 3.0 * l.mer.u_db(),
        "{:?}",
        l.mer
    );
    // A pedestal of noise that ends beside the carrier is no shoulder.
    let mut s = Scene::new(1.4e6, 400_000, 842, vec![q(20.0)]);
    s.hump = Some((0.0, 480e3, 4.0));
    let w = run(s.memory("pedestal")).expect("measured");
    for s in &w.carriers[0].shoulders {
        assert!(!s.is_ok_and(|s| s.seen()), "{s:?}");
    }
    assert!(
        w.answer("carrier.1.c_n")
            .expect("an answer")
            .outcome
            .is_err()
    );
}
