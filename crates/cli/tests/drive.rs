//! `drive` through the real binary: dangers first, then levels, heat, exposure.

use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo").join(name)
}

fn run(code: i32, args: &[&str]) -> Output {
    let o = Command::new(env!("CARGO_BIN_EXE_slantpath")).args(args).output().unwrap();
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
    let v = json(0, &[file.to_str().unwrap(), "--gust", "30", "--force-coefficient", "1.2", "--lever", "0.5"]);
    // The rule binds long before the amplifier does.
    let best = value(&v, "wide.drive.output");
    assert!((20.0..51.0).contains(&best), "{best}");
    // 40 W stated: 24 % at 50 W, so about 190 W of DC
    assert!((150.0..230.0).contains(&value(&v, "wide.heat.dc")));
    assert!(value(&v, "exposure.axis.public") > value(&v, "exposure.axis.occupational"));
    assert!(value(&v, "exposure.between") > 500.0);
    // 1.2 by 1.3 m at 1.2: 0.5 1.25 900 1.2 times the projected ellipse
    assert!((700.0..850.0).contains(&value(&v, "wind.force")));
    let text = String::from_utf8(run(0, &["drive", "--plain", "--draws", "1000", file.to_str().unwrap()]).stdout).unwrap();
    assert!(text.contains("between feed and dish") && text.contains("local rules"), "{text}");
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
        let e = run(2, &["--plain", "drive", "--draws", "1000", file, "--log", log]).stderr;
        assert!(String::from_utf8(e).unwrap().contains(word), "{word}");
    }
    run(2, &["drive", file, "--log", "nowhere.csv"]);
    run(2, &["drive", file, "--receiver", "club"]);
    run(2, &["drive", file, "--passband", "nowhere", "--draws", "1000"]);
}
