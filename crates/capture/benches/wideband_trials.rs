//! The wideband measurement over many made recordings: whether its intervals hold, and what it makes of recordings in
//! trouble.
//!
//! `cargo bench -p slantpath-capture --bench wideband_trials -- coverage 2000`: Es/N0 and MER through the whole chain,
//! over 0 to 20 dB; wanted are 93.5 to 96.5 % of the 95 % intervals. `-- trouble` prints what is measured of each
//! troubled recording beside what was sent.

#[path = "../tests/scene_wideband/mod.rs"]
mod scene_wideband;

use rayon::prelude::*;
use scene_wideband::{PLAIN_LNB, Scene, Sent};
use slantpath_capture::source::Component;
use slantpath_capture::wideband::{Wideband, WidebandPlan, WidebandSettings, measure};
use slantpath_stats::{Progress, Stop};
use slantpath_waveform::FecFrame::{Normal, Short};
use slantpath_waveform::{Frame, modcod};

fn run(s: &Scene, name: &str) -> Wideband {
    measure(
        &mut s.memory(name),
        &WidebandPlan::default(),
        &WidebandSettings::default(),
        &Progress::silent(),
        &Stop::new(),
    )
    .expect("measured")
}

fn main() {
    let words: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| !a.starts_with("--"))
        .collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    match words.as_slice() {
        ["trouble"] => trouble(""),
        ["trouble", only] => trouble(only),
        ["coverage", n] => coverage(n.parse().expect("how many trials")),
        _ => coverage(200),
    }
}

/// Trials over modulations, roll-offs and 0 to 20 dB.
fn coverage(trials: u64) {
    let kinds = [
        ("QPSK 1/2", Short, true, 0.0, 12.0),
        ("QPSK 3/4", Short, false, 3.0, 14.0),
        ("8PSK 2/3", Short, true, 5.0, 20.0),
        ("8PSK 3/4", Short, false, 8.0, 20.0),
        ("16APSK 3/4", Short, true, 9.0, 20.0),
        ("32APSK 4/5", Short, true, 12.0, 20.0),
    ];
    let rolloffs = [0.35, 0.25, 0.2, 0.2, 0.15, 0.1];
    let out: Vec<Option<(usize, f64, [f64; 6])>> = (0..trials)
        .into_par_iter()
        .map(|i| {
            let (m, fec, pilots, lo, hi) = kinds[i as usize % kinds.len()];
            let golden = (i as f64 * 0.618_034) % 1.0;
            let es_n0 = lo + (hi - lo) * golden;
            let rate = 250e3;
            let fs = 1.6 * rate * (1.0 + 0.2 * ((i as f64 * 0.414) % 1.0));
            let symbols = [14e3, 28e3][i as usize / 6 % 2];
            let sent = Sent::new(m, fec, pilots, rate, es_n0)
                .at(0.02 * rate * ((i as f64 * 0.27) % 1.0))
                .rolloff(rolloffs[i as usize / 12 % rolloffs.len()]);
            let s = Scene::new(fs, (symbols * fs / rate) as usize, 90_000 + i, vec![sent]);
            let w = run(&s, "trial");
            let c = w.carriers.first()?;
            let l = c.lock.as_ref().ok()?;
            let (f, u) = c.offset_hz();
            let z = |v: &slantpath_capture::wideband::SignalToNoise| (v.db() - es_n0) / v.u_db();
            Some((
                i as usize % kinds.len(),
                es_n0,
                [
                    z(&l.es_n0),
                    z(&l.mer),
                    z(&l.known),
                    (c.clock.rate - rate) / c.clock.u_rate,
                    (f - s.carriers[0].offset_hz) / u,
                    l.es_n0.u_db(),
                ],
            ))
        })
        .collect();
    let good: Vec<_> = out.iter().flatten().collect();
    println!("{} of {trials} locked", good.len());
    for (j, name) in ["Es/N0", "MER", "known", "rate", "carrier"]
        .iter()
        .enumerate()
    {
        let v: Vec<(usize, f64)> = good.iter().map(|g| (g.0, g.2[j])).collect();
        let stat = |v: &[f64]| {
            let n = v.len().max(1) as f64;
            (
                v.iter().filter(|x| x.abs() < 1.96).count() as f64 / n,
                v.iter().map(|x| x * x).sum::<f64>() / n,
                v.iter().sum::<f64>() / n,
            )
        };
        let all: Vec<f64> = v.iter().map(|x| x.1).collect();
        let (share, square, mean) = stat(&all);
        println!(
            "{name}: 95 % intervals hold in {:.1} %, mean square {square:.2}, mean {mean:+.2}",
            100.0 * share
        );
        for (k, kind) in kinds.iter().enumerate() {
            let part: Vec<f64> = v.iter().filter(|x| x.0 == k).map(|x| x.1).collect();
            let (share, square, mean) = stat(&part);
            println!(
                "    {}: {:.1} %, {square:.2}, {mean:+.2}",
                kind.0,
                100.0 * share
            );
        }
    }
}

fn frame(name: &str, fecframe: slantpath_waveform::FecFrame, pilots: bool) -> Frame {
    Frame {
        modcod: modcod(name).map_or(0, |m| m.number),
        fecframe,
        pilots,
    }
}

fn trouble(only: &str) {
    let q = |rate: f64, es: f64| Sent::new("QPSK 3/4", Short, true, rate, es);
    let mut list: Vec<(String, Scene)> = Vec::new();
    let mut add = |name: &str, s: Scene| list.push((name.into(), s));
    for (i, a) in [0.05, 0.1, 0.15, 0.2, 0.25, 0.35].into_iter().enumerate() {
        add(
            &format!("rolloff {a}"),
            Scene::new(1e6, 200_000, 1 + i as u64, vec![q(333e3, 8.0).rolloff(a)]),
        );
    }
    add(
        "20k in 250k",
        Scene::new(250e3, 1_000_000, 10, vec![q(20e3, 9.0).at(60e3)]),
    );
    add(
        "2 MBd in 5 M",
        Scene::new(5e6, 600_000, 11, vec![q(2e6, 9.0).at(300e3)]),
    );
    add(
        "4 MBd in 10 M",
        Scene::new(10e6, 600_000, 12, vec![q(4e6, 9.0).at(-600e3)]),
    );
    add(
        "mixed rates",
        Scene::new(
            4e6,
            2_000_000,
            13,
            vec![
                q(33e3, 9.0).at(-1.7e6),
                q(66e3, 9.0).at(-1.6e6),
                q(125e3, 9.0).at(-1.45e6),
                q(250e3, 9.0).at(-1.2e6),
                q(333e3, 9.0).at(-0.8e6),
                q(500e3, 9.0).at(-0.25e6),
                q(1.5e6, 9.0).at(1.0e6),
            ],
        ),
    );
    for (m, es) in [("16APSK 3/4", 14.0), ("32APSK 4/5", 18.0)] {
        let mut s = Scene::new(3e6, 400_000, 14, vec![Sent::new(m, Short, true, 1e6, es)]);
        s.phase_noise = PLAIN_LNB;
        add(&format!("{m} phase noise"), s);
    }
    let mut s = Scene::new(2e6, 400_000, 15, vec![q(333e3, 8.0).at(-100e3)]);
    s.lo_hz = 300e3;
    add("LO 300k off", s);
    let mut s = Scene::new(1e6, 300_000, 16, vec![q(333e3, 9.0)]);
    s.component = Component::U8;
    s.rms = 0.08;
    s.dc = (0.02, -0.01);
    add("8 bit, dc inside", s);
    let mut s = Scene::new(1e6, 300_000, 17, vec![q(333e3, 9.0)]);
    s.echo = Some((2, 0.15, 0.3));
    add("echo 2 samples", s);
    let mut s = Scene::new(1e6, 300_000, 18, vec![q(333e3, 15.0)]);
    s.echo = Some((12, 0.1, 0.1));
    add("echo 12 samples", s);
    add("3 dB", Scene::new(1e6, 300_000, 19, vec![q(333e3, 3.0)]));
    add(
        "-1 dB",
        Scene::new(
            1e6,
            400_000,
            20,
            vec![Sent::new("QPSK 1/4", Normal, true, 333e3, -1.0)],
        ),
    );
    add(
        "0.3 s at 66k",
        Scene::new(250e3, 75_000, 21, vec![q(66e3, 9.0)]),
    );
    add(
        "20 s at 66k",
        Scene::new(250e3, 5_000_000, 22, vec![q(66e3, 9.0)]),
    );
    let dummy = Frame {
        modcod: 0,
        fecframe: Normal,
        pilots: false,
    };
    let a = frame("QPSK 3/4", Short, true);
    add(
        "some dummies",
        Scene::new(
            1e6,
            400_000,
            23,
            vec![q(333e3, 9.0).turns(vec![a, dummy, a, a, dummy])],
        ),
    );
    add(
        "dummies alone",
        Scene::new(1e6, 300_000, 24, vec![q(333e3, 9.0).turns(vec![dummy])]),
    );
    add(
        "vcm",
        Scene::new(
            1e6,
            600_000,
            25,
            vec![q(333e3, 13.0).turns(vec![
                a,
                frame("8PSK 2/3", Short, true),
                a,
                frame("16APSK 3/4", Short, true),
                frame("8PSK 2/3", Short, true),
            ])],
        ),
    );
    let mut half = vec![a; 12];
    half.extend(vec![frame("8PSK 3/5", Normal, false); 12]);
    add(
        "changes once",
        Scene::new(1e6, 600_000, 26, vec![q(333e3, 10.0).turns(half)]),
    );
    add(
        "starts",
        Scene::new(1e6, 600_000, 27, vec![q(333e3, 10.0).on(0.4, 1.0)]),
    );
    add(
        "stops",
        Scene::new(1e6, 600_000, 28, vec![q(333e3, 10.0).on(0.0, 0.6)]),
    );
    let mut s = Scene::new(1e6, 600_000, 29, vec![q(333e3, 10.0)]);
    s.step = Some((0.5, 3.0));
    add("gain step", s);
    let mut s = Scene::new(1.4e6, 400_000, 30, vec![q(333e3, 18.0).at(250e3)]);
    s.imbalance = Some((0.9, 0.05));
    add("imbalance, beside", s);
    let mut s = Scene::new(1.4e6, 400_000, 31, vec![q(333e3, 18.0).at(20e3)]);
    s.imbalance = Some((0.9, 0.05));
    add("imbalance, on the centre", s);
    let mut s = Scene::new(1e6, 300_000, 32, vec![q(333e3, 12.0)]);
    s.slope = 0.8;
    add("slope", s);
    let mut s = Scene::new(1.4e6, 500_000, 33, vec![q(333e3, 20.0)]);
    s.hump = Some((0.0, 480e3, 4.0));
    add("pedestal edge beside it", s);
    for (m, at) in [("8PSK 3/4", -300e3), ("QPSK 1/2", 0.0)] {
        add(
            &format!("bare {m}"),
            Scene::new(
                2e6,
                800_000,
                34,
                vec![Sent::new(m, Short, true, 250e3, 9.0).at(at).unframed()],
            ),
        );
    }
    for (name, s) in list.iter().filter(|(n, _)| n.contains(only)) {
        let w = run(s, name);
        println!("== {name}");
        for c in &w.carriers {
            let head = format!(
                "   {:.1} kHz {:.3} Bd ± {:.3} a {} ({:.2}) c/n {}",
                c.offset_hz().0 * 1e-3,
                c.clock.rate,
                c.clock.u_rate,
                c.shape.rolloff,
                c.shape.rolloff_confidence,
                c.c_n()
                    .map_or("-".into(), |x| format!("{:.2}", 10.0 * x.0.log10())),
            );
            match &c.lock {
                Ok(l) => println!(
                    "{head} {} es {:.2} ± {:.2} mer {:.2} ± {:.2} known {:.2}, {} headers, slips {}",
                    l.frame.name(),
                    l.es_n0.db(),
                    l.es_n0.u_db(),
                    l.mer.db(),
                    l.mer.u_db(),
                    l.known.db(),
                    l.headers,
                    l.slips
                ),
                Err(e) => println!("{head} {e:?}"),
            }
            for s in c.shoulders.iter() {
                match s {
                    Ok(s) if s.seen() => {
                        println!(
                            "      shoulder {:.1} dBc ± {:.2}",
                            10.0 * s.ratio.log10(),
                            4.3 * s.u / s.ratio
                        )
                    }
                    Ok(_) => {}
                    Err(e) => println!("      shoulder {e:?}"),
                }
            }
        }
        for f in &w.flags {
            println!("   flag {:?}: {}", f.kind, f.evidence);
        }
        if w.carriers.is_empty() {
            println!("   none; {:?}", w.unexplained);
        }
        for a in &w.answers {
            if std::env::var("ANSWERS").is_ok() {
                println!("   {a:?}");
            }
        }
    }
}
