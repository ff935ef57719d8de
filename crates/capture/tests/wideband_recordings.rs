//! Recordings by independent generators: small ones that ship (`authority/recordings/wideband.py`), and larger ones made
//! with another modulator altogether when they lie beside the workspace.

use serde_json::Value;
use slantpath_capture::source::{OpenOptions, open};
use slantpath_capture::wideband::{Wideband, WidebandPlan, WidebandSettings, measure};
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::from_db;
use slantpath_stats::noise::snr_bound;
use slantpath_stats::{Progress, Stop};
use slantpath_waveform::FecFrame;
use std::path::Path;

fn run(path: &Path) -> Wideband {
    let mut s = open(path, &OpenOptions::default()).unwrap();
    measure(
        s.as_mut(),
        &WidebandPlan::default(),
        &WidebandSettings::default(),
        &Progress::silent(),
        &Stop::new(),
    )
    .unwrap()
}

fn truth(path: &Path) -> Value {
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

/// What a carrier was: MODCOD, short, pilots, roll-off, symbol rate, Es/N0 in dB, start and drift of its offset.
struct Truth {
    modcod: u64,
    short: bool,
    pilots: bool,
    rolloff: f64,
    rate: f64,
    es_n0: f64,
    offset: f64,
    drift: f64,
}

fn judge(name: &str, w: &Wideband, list: &[Truth]) {
    assert_eq!(w.carriers.len(), list.len(), "{name}: {:?}", w.carriers);
    for (c, t) in w.carriers.iter().zip(list) {
        let l = c.lock.as_ref().unwrap_or_else(|e| panic!("{name}: {e:?}"));
        assert_eq!(u64::from(l.frame.modcod), t.modcod, "{name}");
        assert_eq!(l.frame.fecframe == FecFrame::Short, t.short, "{name}");
        assert_eq!(l.frame.pilots, t.pilots, "{name}");
        assert!(l.confidence > 0.999, "{name}: {}", l.confidence);
        assert!(
            (c.shape.rolloff - t.rolloff).abs() < 1e-9,
            "{name}: {}",
            c.shape.rolloff
        );
        let ppm = (c.clock.rate / t.rate - 1.0) * 1e6;
        assert!(ppm.abs() < 5.0, "{name}: {ppm} ppm");
        let offset = t.offset + t.drift * 0.5 * c.seconds;
        assert!(
            (l.carrier_hz - offset).abs() < 1e-3 * t.rate,
            "{name}: {} {offset}",
            l.carrier_hz
        );
        let bound = db_of_relative_u(snr_bound(from_db(t.es_n0), l.known.symbols).unwrap());
        let d = l.mer.db() - t.es_n0;
        println!(
            "{name}: {} ppm {ppm:+.3}, {:+.2} Hz, MER {d:+.3} ± {:.3} dB, known {:+.3} ± {:.3} dB",
            l.frame.name(),
            l.carrier_hz - offset,
            l.mer.u_db(),
            l.known.db() - t.es_n0,
            l.known.u_db()
        );
        // None of them went through an amplifier.
        for s in c.shoulders.iter().flatten() {
            assert!(!s.seen(), "{name}: {s:?}");
        }
        assert!(d.abs() < (3.0 * bound).max(0.2), "{name}: MER off by {d}");
        assert!(
            (l.es_n0.db() - t.es_n0).abs() < 3.0 * l.es_n0.u_db(),
            "{name}: {:?}",
            l.es_n0
        );
    }
}

#[test]
fn recordings_that_ship() {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/wideband");
    for name in ["qpsk", "8psk", "touching", "16apsk", "hump"] {
        let t = truth(&dir.join(format!("{name}.truth.json")));
        let list: Vec<Truth> = t["carriers"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| Truth {
                modcod: c["modcod"].as_u64().unwrap(),
                short: c["short"].as_bool().unwrap(),
                pilots: c["pilots"].as_bool().unwrap(),
                rolloff: c["rolloff"].as_f64().unwrap(),
                rate: c["symbol_rate"].as_f64().unwrap(),
                es_n0: c["es_n0_db_with_quantisation_noise"].as_f64().unwrap(),
                offset: c["offset_hz_start"].as_f64().unwrap(),
                drift: c["drift_hz_per_s"].as_f64().unwrap(),
            })
            .collect();
        judge(name, &run(&dir.join(format!("{name}.sigmf-meta"))), &list);
    }
}

/// The demo's carrier behind a saturating amplifier: what it regrew is a plateau up to one and a half symbol rates, so that
/// the noise shows only beyond.
#[test]
fn regrowth_of_a_saturating_amplifier() {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo");
    let t = truth(&demo.join("truth/camp-overdriven.truth.json"));
    let w = run(&demo.join("recordings/camp-overdriven.sigmf-meta"));
    let c = &w.carriers[0];
    println!("{:?}", c.lock.as_ref().map(|l| (l.es_n0, c.shape.density)));
    let seen = c.shoulders.map(|s| s.expect("judged"));
    for s in &seen {
        println!("{:+.2} dBc, {s:?}", slantpath_quantity::to_db(s.ratio));
        assert!(s.seen());
    }
    let worst = slantpath_quantity::to_db(seen[0].ratio.max(seen[1].ratio));
    let want = t["shoulder_dbc"].as_f64().unwrap();
    assert!((worst - want).abs() < 0.3, "{worst} {want}");
}

#[test]
fn recordings_beside_the_workspace() {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/captures");
    if !dir.is_dir() {
        println!("skipped: no recordings at ../shared/captures");
        return;
    }
    let mut seen = 0;
    for entry in std::fs::read_dir(&dir).unwrap() {
        let path = entry.unwrap().path();
        let Some(name) = path
            .file_name()
            .and_then(|n| n.to_str())
            .and_then(|n| n.strip_suffix(".truth.json"))
        else {
            continue;
        };
        let t = truth(&path);
        if t["kind"] != "wideband DVB-S2" {
            continue;
        }
        let list: Vec<Truth> = t["carriers"]
            .as_array()
            .unwrap()
            .iter()
            .map(|c| Truth {
                modcod: c["modcod"].as_u64().unwrap(),
                short: c["fecframe"] == "short",
                pilots: c["pilots"].as_bool().unwrap(),
                rolloff: c["rolloff"].as_f64().unwrap(),
                rate: c["symbol_rate"].as_f64().unwrap(),
                es_n0: c["esn0_db_with_quantisation_noise"].as_f64().unwrap(),
                offset: c["carrier_hz_start"].as_f64().unwrap(),
                drift: t["lo_drift_hz_per_s"].as_f64().unwrap(),
            })
            .collect();
        judge(name, &run(&dir.join(name)), &list);
        seen += 1;
    }
    assert!(seen > 0);
}
