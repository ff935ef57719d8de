//! `drive` through the real binary: dangers first, then levels, heat, exposure.

use serde_json::{Value, json as object};
use slantpath_capture::source::synthetic::{Kind, Scene, SyntheticSource};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../demo")
        .join(name)
}

fn run(code: i32, args: &[&str]) -> Output {
    let o = Command::new(env!("CARGO_BIN_EXE_slantpath"))
        .args(args)
        .output()
        .unwrap();
    let err = String::from_utf8_lossy(&o.stderr);
    assert!(!err.contains("panicked"), "{args:?}: {err}");
    assert_eq!(o.status.code(), Some(code), "{args:?}: {err}");
    o
}

fn json(code: i32, args: &[&str]) -> Value {
    let mut all = vec!["drive", "--json", "--draws", "1000"];
    all.extend(args);
    serde_json::from_slice(&run(code, &all).stdout).unwrap()
}

fn find<'a>(v: &'a Value, measurand: &str) -> Option<&'a Value> {
    match v {
        Value::Object(m) if m.get("measurand").is_some_and(|x| x == measurand) => Some(v),
        Value::Object(m) => m.values().find_map(|x| find(x, measurand)),
        Value::Array(a) => a.iter().find_map(|x| find(x, measurand)),
        _ => None,
    }
}

fn value(v: &Value, measurand: &str) -> f64 {
    find(v, measurand)
        .and_then(|a| a["value"].as_f64())
        .unwrap_or_else(|| panic!("no {measurand}"))
}

#[test]
fn the_club_gets_a_drive_heat_and_distances() {
    let file = demo("qq0aaa.toml");
    let v = json(
        0,
        &[
            file.to_str().unwrap(),
            "--gust",
            "30",
            "--force-coefficient",
            "1.2",
            "--lever",
            "0.5",
        ],
    );
    // The rule binds long before the amplifier does.
    let best = value(&v, "wide.drive.output");
    assert!((20.0..51.0).contains(&best), "{best}");
    // 40 W stated: 24 % at 50 W, so about 190 W of DC
    assert!((150.0..230.0).contains(&value(&v, "wide.heat.dc")));
    assert!(value(&v, "exposure.axis.public") > value(&v, "exposure.axis.occupational"));
    assert!(value(&v, "exposure.between") > 500.0);
    // 1.2 by 1.3 m at 1.2: 0.5 1.25 900 1.2 times the projected ellipse
    assert!((700.0..850.0).contains(&value(&v, "wind.force")));
    let text = String::from_utf8(
        run(
            0,
            &[
                "drive",
                "--plain",
                "--draws",
                "1000",
                file.to_str().unwrap(),
            ],
        )
        .stdout,
    )
    .unwrap();
    assert!(
        text.contains("between feed and dish") && text.contains("local rules"),
        "{text}"
    );
}

#[test]
fn the_camps_afternoon_folds_back() {
    let (file, log) = (demo("qq7bbb.toml"), demo("logs/qq7bbb-afternoon.csv"));
    let v = json(0, &[file.to_str().unwrap(), "--log", log.to_str().unwrap()]);
    // The log was made with 0.9 K/W and 12 min, folding back at 75 degrees.
    assert!((value(&v, "log.resistance") - 0.9).abs() < 0.02);
    assert!((value(&v, "log.time_1") - 12.0).abs() < 0.5);
    assert!((value(&v, "log.foldback") - 75.0).abs() < 1.0);
    assert!(v.to_string().contains("FOLDBACK"));
}

#[test]
fn a_danger_comes_before_any_advice() {
    let dir = tempfile::tempdir().unwrap();
    fs::copy(demo("petrel-1.toml"), dir.path().join("petrel-1.toml")).unwrap();
    let good = fs::read_to_string(demo("qq0aaa.toml")).unwrap();
    let bad = good.replacen("max_input = \"1 W\"", "max_input = \"100 mW\"", 1);
    assert_ne!(good, bad);
    let path = dir.path().join("station.toml");
    fs::write(&path, bad).unwrap();
    let v = json(3, &[path.to_str().unwrap()]);
    assert!(v.to_string().contains("DANGER"));
    assert!(find(&v, "wide.drive.output").unwrap()["value"].is_null());
}

#[test]
fn bad_files_are_told() {
    let dir = tempfile::tempdir().unwrap();
    let file = demo("qq7bbb.toml");
    let file = file.to_str().unwrap();
    let log = dir.path().join("log.csv");
    let log = log.to_str().unwrap();
    for (text, word) in [
        ("time,sink\n0,45\n0,46\n", "does not rise"),
        ("time,temperature\n0,45\n", "temperature"),
    ] {
        fs::write(log, text).unwrap();
        let e = run(
            2,
            &["--plain", "drive", "--draws", "1000", file, "--log", log],
        )
        .stderr;
        assert!(String::from_utf8(e).unwrap().contains(word), "{word}");
    }
    run(2, &["drive", file, "--log", "nowhere.csv"]);
    run(2, &["drive", file, "--receiver", "club"]);
    run(
        2,
        &["drive", file, "--passband", "nowhere", "--draws", "1000"],
    );
}

/// A made recording as SigMF: its meta file.
fn record(folder: &Path, scene: &Scene) -> String {
    let base = folder.join(&scene.name);
    let mut data = fs::File::create(base.with_extension("sigmf-data")).unwrap();
    SyntheticSource::new(scene)
        .unwrap()
        .write_to(&mut data)
        .unwrap();
    let mut capture = object!({"core:sample_start": 0});
    if let Some(c) = scene.center_hz {
        capture["core:frequency"] = object!(c);
    }
    let meta = object!({
        "global": {"core:datatype": "ci16_le", "core:sample_rate": scene.sample_rate_hz, "core:version": "1.0.0"},
        "captures": [capture],
        "annotations": [],
    });
    let path = base.with_extension("sigmf-meta");
    fs::write(&path, meta.to_string()).unwrap();
    path.to_str().unwrap().to_string()
}

/// Noise alone, of a density, with a gain error.
fn hiss(folder: &Path, name: &str, density: f64, gain_db: f64, seed: u64) -> String {
    let mut scene = Scene::new(name, 100e3, 3.0, seed);
    scene.receiver_noise = density;
    scene.noise_dbfs += gain_db;
    record(folder, &scene)
}

#[test]
fn desense_from_recordings_tells_loss_and_way() {
    let dir = tempfile::tempdir().unwrap();
    let d = dir.path();
    let file = demo("qq7bbb.toml");
    let file = file.to_str().unwrap();
    // The shack adds a tenth, the feed a quarter of the receiver's own noise.
    let (off, dummy, on) = (
        hiss(d, "off", 1.0, 0.0, 1),
        hiss(d, "dummy", 1.1, 0.0, 2),
        hiss(d, "on", 1.35, 0.0, 3),
    );
    let three = [file, "--drift", "0.02", "--desense", &off, &dummy, &on];
    let v = json(0, &three);
    let near = |v: &Value, id: &str, want: f64| {
        let (got, u) = (value(v, id), find(v, id).unwrap()["u"].as_f64().unwrap());
        assert!(
            (got - want).abs() < 4.0 * u && u < 0.2,
            "{id}: {got} +- {u}, not {want}"
        );
        u
    };
    let u_small = near(&v, "desense.loss", 1.303);
    near(&v, "desense.shack", 0.414);
    near(&v, "desense.feed", 0.969);
    assert!(
        v.to_string()
            .contains("Part of it is there with the dummy load")
    );
    // The drift stated is in the uncertainty.
    let v = json(0, &[file, "--drift", "0.1", "--desense", &off, &dummy, &on]);
    let u = near(&v, "desense.loss", 1.303);
    assert!((0.1..0.13).contains(&u) && u_small < 0.05, "{u} {u_small}");
    // Two states do not tell the way.
    let v = json(0, &[file, "--desense", &off, &on]);
    assert!(
        v.to_string().contains("cannot be told which way")
            && v.to_string().contains("is taken as 0.05 dB")
    );
    // A second round with another gain: what the round shares cancels, the rest tells the drift.
    let (off2, on2) = (hiss(d, "off2", 1.0, 0.5, 4), hiss(d, "on2", 1.35, 0.53, 5));
    let v = json(
        0,
        &[
            file,
            "--desense-rounds",
            "2",
            "--desense",
            &off,
            &on,
            &off2,
            &on2,
        ],
    );
    let got = value(&v, "desense.loss");
    assert!((got - 1.318).abs() < 0.05, "{got}");
    assert!(v.to_string().contains("from 2 rounds"));
    run(
        2,
        &[
            "drive",
            file,
            "--draws",
            "1000",
            "--desense",
            &off,
            &dummy,
            &on,
            &off2,
        ],
    );
}

#[test]
fn a_signal_is_held_against_the_beacon_by_its_peak_envelope_power() {
    let dir = tempfile::tempdir().unwrap();
    // Two tones of 55 dBHz: 58 in the mean, 61 at the crest; the beacon has 49.
    let scene = Scene::narrow_passband("tones", 4.0, 21)
        .with("a", 30_000.0, 55.0, Kind::Carrier)
        .with("b", 30_300.0, 55.0, Kind::Carrier);
    let path = record(dir.path(), &scene);
    let file = demo("qq0aaa.toml");
    let v = json(
        0,
        &[
            file.to_str().unwrap(),
            "--passband",
            "narrow",
            "--own",
            &path,
        ],
    );
    let all = v.to_string();
    let over = value(&v, "narrow.recording_1.carrier_1.over_beacon");
    assert!((over - 12.0).abs() < 0.7, "{over}: {all}");
    let turn = value(&v, "narrow.recording_1.carrier_1.correction");
    assert!((turn + over).abs() < 0.1 && all.contains("It breaks the rule"));
}

/// Carriers of symbol rate, roll-off, offset in Hz and density over the noise in dB, as 16-bit SigMF of 2.6 MS/s.
fn television(folder: &Path, name: &str, center_hz: f64, list: &[(f64, f64, f64, f64)]) -> String {
    use num_complex::Complex;
    use slantpath_quantity::amplitude_from_db;
    use slantpath_stats::stream::{named_stream, normal};
    use slantpath_waveform::{FecFrame, Frame, Modulator, Pulse, modcod};
    let (fs, n) = (2.6e6, 700_000usize);
    let mut x = vec![Complex::<f32>::default(); n];
    for (i, (rate, rolloff, offset, over)) in list.iter().enumerate() {
        let frame = Frame {
            modcod: modcod("QPSK 3/4").unwrap().number,
            fecframe: FecFrame::Short,
            pilots: true,
        };
        let m = Modulator::new(frame, 0, 40 + i as u64).unwrap();
        let symbols = m.symbols((n as f64 * rate / fs) as usize + 200);
        let y = Pulse::new(*rolloff, 32)
            .unwrap()
            .shape(&symbols, 90.3, fs / rate, n);
        let a = amplitude_from_db(*over) * (rate / fs).sqrt();
        for (k, (x, y)) in x.iter_mut().zip(y).enumerate() {
            let turns = (offset / fs * k as f64) % 1.0;
            let z = Complex::<f64>::cis(std::f64::consts::TAU * turns) * a;
            *x += y * Complex::new(z.re as f32, z.im as f32);
        }
    }
    let mut rng = named_stream(7, name, 0);
    let mut data = Vec::with_capacity(4 * n);
    let s = 0.5f64.sqrt();
    for z in x {
        for v in [f64::from(z.re), f64::from(z.im)] {
            let v = ((v + s * normal(&mut rng)) * 900.0).round();
            data.extend((v.clamp(-32767.0, 32767.0) as i16).to_le_bytes());
        }
    }
    let base = folder.join(name);
    fs::write(base.with_extension("sigmf-data"), data).unwrap();
    let meta = object!({
        "global": {"core:datatype": "ci16_le", "core:sample_rate": fs, "core:version": "1.0.0"},
        "captures": [{"core:sample_start": 0, "core:frequency": center_hz}],
        "annotations": [],
    });
    let path = base.with_extension("sigmf-meta");
    fs::write(&path, meta.to_string()).unwrap();
    path.to_str().unwrap().to_string()
}

#[test]
fn wide_carriers_are_held_against_the_beacon_by_their_density() {
    let dir = tempfile::tempdir().unwrap();
    let file = demo("qq0aaa.toml");
    let file = file.to_str().unwrap();
    // Beacon at 10487.3 MHz; the station's 333 kBd 1.5 dB above it, another carrier 4 dB below; the rule is 1 dB below.
    let beacon = (800e3, 0.25, 600e3, 12.0);
    let own = (333e3, 0.2, -300e3, 13.5);
    let other = (250e3, 0.35, -800e3, 8.0);
    let path = television(dir.path(), "three", 10_486.7e6, &[beacon, own, other]);
    let v = json(0, &[file, "--passband", "wide", "--own", &path]);
    let all = v.to_string();
    for (n, over, turn, word) in [
        (1, -4.0, 3.0, "It keeps the rule"),
        (2, 1.5, -2.5, "It breaks the rule"),
    ] {
        let id = format!("wide.recording_1.carrier_{n}");
        for (what, want) in [("over_beacon", over), ("correction", turn)] {
            let a = find(&v, &format!("{id}.{what}")).unwrap_or_else(|| panic!("{id}: {all}"));
            let (got, u) = (a["value"].as_f64().unwrap(), a["u"].as_f64().unwrap());
            println!("{id}.{what}: {got} ± {u}, sent {want}");
            assert!(
                (got - want).abs() < 3.0 * u && u < 0.15,
                "{id}.{what}: {got} ± {u}"
            );
        }
        assert!(all.contains(word), "{word}");
    }
    // What it takes at the drive, where the amplifier compresses: no less than the level's own change.
    assert!(all.contains("less level takes"), "{all}");
    // Without the beacon in the recording there is nothing to compare with, which is said.
    let path = television(dir.path(), "alone", 10_486.7e6, &[own]);
    let v = json(0, &[file, "--passband", "wide", "--own", &path]);
    assert!(find(&v, "wide.recording_1.carrier_1.over_beacon").is_none());
    assert!(v.to_string().contains("no shoulder is seen"), "{v}");
}

#[test]
fn the_camps_carrier_is_driven_too_hard() {
    let (file, recording) = (
        demo("qq7bbb.toml"),
        demo("recordings/camp-overdriven.sigmf-meta"),
    );
    let recording = recording.to_str().unwrap();
    let truth: Value =
        serde_json::from_slice(&fs::read(demo("truth/camp-overdriven.truth.json")).unwrap())
            .unwrap();
    let want = |k: &str| truth[k].as_f64().unwrap();
    let v = json(
        0,
        &[
            file.to_str().unwrap(),
            "--passband",
            "wide",
            "--own",
            recording,
        ],
    );
    let shoulder = value(&v, "wide.recording_1.carrier_1.shoulder");
    assert!((shoulder - want("shoulder_dbc")).abs() < 0.7, "{shoulder}");
    let turn = value(&v, "wide.recording_1.carrier_1.drive_correction");
    assert!((turn - want("drive_correction_db")).abs() < 0.5, "{turn}");
    let text = v.to_string();
    let (_, rest) = text.split_once("OVER-DRIVEN").expect("said first");
    let (_, rest) = rest
        .split_once("turn the drive down by ")
        .expect("by how much");
    assert!(
        rest.split_once(" dB")
            .is_some_and(|(x, _)| x.contains(" ± ")),
        "{rest}"
    );
    // `measure` shows the same shoulders.
    let m = run(0, &["measure", "--json", file.to_str().unwrap(), recording]);
    let m: Value = serde_json::from_slice(&m.stdout).unwrap();
    let seen =
        ["carrier.1.shoulder_low@sdr", "carrier.1.shoulder_high@sdr"].map(|id| value(&m, id));
    assert!((seen[0].max(seen[1]) - shoulder).abs() < 0.1, "{seen:?}");
}

#[test]
fn the_supply_limits_the_drive_and_both_levels_show_their_heat() {
    let dir = tempfile::tempdir().unwrap();
    fs::copy(demo("petrel-1.toml"), dir.path().join("petrel-1.toml")).unwrap();
    let text = fs::read_to_string(demo("qq7bbb.toml")).unwrap();
    let small = text.replacen("max_current = \"6 A\"", "max_current = \"1 A\"", 1)
        + "\n[limits]\npublic = \"5 W/m2\"\noccupational = \"25 W/m2\"\n\n[wind]\ngust = \"40 m/s\"\nforce_coefficient = 1.2\nlever = \"0.4 m\"\n";
    let path = dir.path().join("station.toml");
    fs::write(&path, small).unwrap();
    let args = [path.to_str().unwrap(), "--passband", "wide"];
    let v = json(0, &args);
    let all = v.to_string();
    assert!(
        all.contains("Limited by: the supply's largest current (1.0 A)"),
        "{all}"
    );
    // 1 A is below what the heat of this afternoon allows (1.4 A); the current at the best drive is just that.
    let now = value(&v, "wide.supply.current");
    assert!(now > 2.0 && value(&v, "wide.drive.change") < 0.0, "{now}");
    let rows = v["sections"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|s| s["tables"].as_array())
        .flatten()
        .filter_map(|t| t["rows"].as_array())
        .flatten();
    let best = rows
        .filter(|r| r["what"] == "current while transmitting")
        .find_map(|r| r["best"]["value"].as_f64())
        .unwrap();
    assert!((best - 1.0).abs() < 0.01, "{best}");
    assert!(all.contains("at the best drive") && all.contains("battery at this duty"));
    // Limits and wind of the station file, and an option before them.
    assert!(all.contains("limits of the station file") && value(&v, "wind.moment") > 100.0);
    let stricter = json(
        0,
        &[
            args[0],
            args[1],
            args[2],
            "--limit-public",
            "1",
            "--limit-occupational",
            "5",
        ],
    );
    assert!(value(&stricter, "exposure.axis.public") > value(&v, "exposure.axis.public"));
}

#[test]
fn a_report_holds_the_transmit_side_and_its_dangers() {
    let dir = tempfile::tempdir().unwrap();
    fs::copy(demo("petrel-1.toml"), dir.path().join("petrel-1.toml")).unwrap();
    let text = fs::read_to_string(demo("qq0aaa.toml")).unwrap();
    let path = dir.path().join("station.toml");
    let page = dir.path().join("page.html");
    let recording = demo("recordings/day-old.sigmf-meta");
    for (name, max, word) in [
        ("good", "1 W", "at the best drive"),
        ("bad", "100 mW", "DANGER"),
    ] {
        fs::write(
            &path,
            text.replacen("max_input = \"1 W\"", &format!("max_input = \"{max}\""), 1),
        )
        .unwrap();
        let _ = fs::remove_file(&page);
        run(
            0,
            &[
                "report",
                "--draws",
                "1000",
                path.to_str().unwrap(),
                recording.to_str().unwrap(),
                "--out",
                page.to_str().unwrap(),
            ],
        );
        let html = fs::read_to_string(&page).unwrap();
        assert!(
            html.contains("the transmit side") && html.contains("Keep-out distances"),
            "{name}"
        );
        assert!(html.contains(word), "{name}: no {word}");
    }
}
