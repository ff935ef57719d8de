//! The real binary, end to end: what a reader types, what comes back, and with which exit code.

use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

fn demo(name: &str) -> String {
    root().join("demo").join(name).display().to_string()
}

fn command(args: &[&str]) -> Command {
    let mut c = Command::new(env!("CARGO_BIN_EXE_slantpath"));
    c.args(args);
    c
}

fn run(args: &[&str]) -> Output {
    command(args).output().unwrap()
}

fn stdout(o: &Output) -> String {
    String::from_utf8(o.stdout.clone()).unwrap()
}

fn stderr(o: &Output) -> String {
    String::from_utf8(o.stderr.clone()).unwrap()
}

/// Runs, wants this exit code and no trace of a panic.
fn expect(code: i32, args: &[&str]) -> Output {
    let o = run(args);
    assert!(!stderr(&o).contains("panicked"), "{args:?}: {}", stderr(&o));
    assert_eq!(o.status.code(), Some(code), "{args:?}: {}", stderr(&o));
    o
}

fn document(o: &Output) -> Value {
    serde_json::from_slice(&o.stdout).unwrap()
}

fn read(path: &Path) -> Value {
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

fn answers(doc: &Value) -> Vec<&Value> {
    doc["sections"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|s| s["answers"].as_array().unwrap())
        .collect()
}

fn answer<'a>(doc: &'a Value, measurand: &str) -> &'a Value {
    answers(doc)
        .into_iter()
        .find(|a| a["measurand"] == measurand)
        .unwrap_or_else(|| panic!("no answer {measurand}"))
}

fn value(doc: &Value, measurand: &str) -> f64 {
    answer(doc, measurand)["value"].as_f64().unwrap()
}

fn assert_inside(answer: &Value, truth: f64) {
    let low = answer["interval"][0].as_f64().unwrap();
    let high = answer["interval"][1].as_f64().unwrap();
    assert!((low..=high).contains(&truth), "{truth}: {low} to {high}");
}

fn signal<'a>(truth: &'a Value, name: &str) -> &'a Value {
    truth["signals"]
        .as_array()
        .unwrap()
        .iter()
        .find(|s| s["name"] == name)
        .unwrap()
}

/// Further recordings with known content; they are large and may be absent.
fn captures(what: &str) -> Option<PathBuf> {
    let dir = root().join("../shared/captures");
    if !dir.exists() {
        println!("skipped: {what}: no further recordings here");
        return None;
    }
    Some(dir)
}

#[test]
fn new_writes_a_pair_that_predicts_and_never_overwrites() {
    let dir = tempfile::tempdir().unwrap();
    let station = dir.path().join("station.toml");
    let satellite = dir.path().join("satellite.toml");
    let (station_s, satellite_s) = (station.to_str().unwrap(), satellite.to_str().unwrap());
    expect(0, &["new", station_s]);
    expect(0, &["new", "--satellite", satellite_s]);
    let o = expect(0, &["predict", "--json", station_s, "--draws", "1000"]);
    assert!(answers(&document(&o)).len() > 10);

    fs::write(&station, "mine").unwrap();
    expect(2, &["new", station_s]);
    assert_eq!(fs::read_to_string(&station).unwrap(), "mine");
    let before = fs::read(&satellite).unwrap();
    expect(2, &["new", "--satellite", satellite_s]);
    assert_eq!(fs::read(&satellite).unwrap(), before);
}

#[test]
fn a_wrong_unit_is_shown_where_it_stands() {
    let dir = tempfile::tempdir().unwrap();
    fs::copy(demo("petrel-1.toml"), dir.path().join("petrel-1.toml")).unwrap();
    let good = fs::read_to_string(demo("qq0aaa.toml")).unwrap();
    let bad = good.replacen("height = \"20 m", "height = \"20 kg", 1);
    assert_ne!(good, bad);
    let line = 1 + bad.lines().position(|l| l.contains("20 kg")).unwrap();
    let path = dir.path().join("bad.toml");
    fs::write(&path, bad).unwrap();
    let path = path.to_str().unwrap();

    let text = stderr(&expect(2, &["--plain", "predict", path]));
    assert!(text.contains(&format!("bad.toml:{line}:")), "{text}");
    assert!(text.contains("20 kg"), "{text}");
    // The mark under the text: the line after the quoted one holds the mark below `kg`.
    let lines: Vec<&str> = text.lines().collect();
    let quoted = lines.iter().position(|l| l.contains("20 kg")).unwrap();
    let column = lines[quoted].find("kg").unwrap();
    let mark = lines[quoted + 1].get(column..column + 2).unwrap();
    assert!(
        !mark.contains(' ') && !mark.chars().any(char::is_alphanumeric),
        "{text}"
    );

    let doc = document(&expect(2, &["predict", "--json", path]));
    assert_eq!(doc["schema"], "slantpath.error");
    assert_eq!(doc["problems"].as_array().unwrap().len(), 1);
    assert_eq!(doc["problems"][0]["line"], line);
    assert_eq!(doc["problems"][0]["text"], "kg");
}

#[test]
fn predict_gives_every_answer_its_uncertainty_and_the_same_bytes_again() {
    let station = demo("qq0aaa.toml");
    let args = ["predict", "--json", &station, "--draws", "2000"];
    let first = expect(0, &args);
    let doc = document(&first);
    assert_eq!(doc["schema"], "slantpath.predict");
    let all = answers(&doc);
    assert!(all.len() > 20);
    for a in all {
        let name = &a["measurand"];
        for key in ["value", "unit", "u", "interval"] {
            assert!(a.get(key).is_some(), "{name}: no {key}");
        }
        if a["value"].is_null() {
            // Without a value there is a reason.
            assert!(!a["because"].as_array().unwrap().is_empty(), "{name}");
        } else {
            assert!(a["u"].as_f64().unwrap() >= 0.0, "{name}");
            assert!(a["interval"][0].as_f64() <= a["interval"][1].as_f64());
        }
    }
    assert_eq!(first.stdout, expect(0, &args).stdout);
    let one = command(&args)
        .env("RAYON_NUM_THREADS", "1")
        .output()
        .unwrap();
    assert_eq!(first.stdout, one.stdout);
    let other = expect(0, &[&args[..], &["--seed", "2"]].concat());
    assert_ne!(first.stdout, other.stdout);
}

#[test]
fn plain_prediction_is_ascii_and_80_columns() {
    let station = demo("qq0aaa.toml");
    let o = expect(0, &["predict", "--plain", &station, "--draws", "1000"]);
    for line in stdout(&o).lines() {
        assert!(line.is_ascii(), "{line}");
        assert!(line.len() <= 80, "{} columns: {line}", line.len());
    }
}

#[test]
fn measure_finds_beacon_and_noise_step() {
    let recording = demo("recordings/wide-old.sigmf-meta");
    let o = expect(0, &["measure", "--json", &demo("qq0aaa.toml"), &recording]);
    let (doc, truth) = (
        document(&o),
        read(&root().join("demo/truth/wide-old.truth.json")),
    );
    let cn0 = signal(&truth, "beacon_bpsk")["cn0_dbhz"].as_f64().unwrap();
    assert!((value(&doc, "narrow.beacon-psk.cn0@sdr") - cn0).abs() < 0.1);
    let step = truth["noise_step_db"].as_f64().unwrap();
    assert!((value(&doc, "narrow.noise_step@sdr") - step).abs() < 0.1);
}

#[test]
fn compare_holds_the_true_change_of_the_trial() {
    let mut files: Vec<String> = fs::read_dir(demo("recordings"))
        .unwrap()
        .map(|e| e.unwrap().path().display().to_string())
        .filter(|p| p.contains("trial-") && p.ends_with(".sigmf-meta"))
        .collect();
    files.sort();
    assert_eq!(files.len(), 12);
    let station = demo("qq0aaa.toml");
    let mut args = vec!["compare", "--json", &station];
    args.extend(files.iter().map(String::as_str));
    let doc = document(&expect(0, &args));
    let truth = read(&root().join("demo/truth/trial.set.truth.json"));
    assert_inside(
        answer(&doc, "narrow.beacon-psk.cn0@sdr.swap"),
        truth["true_change_cn0_total_db"].as_f64().unwrap(),
    );
}

#[test]
fn further_recordings_give_level_and_frequency() {
    let Some(dir) = captures("level and frequency") else {
        return;
    };
    for name in ["o03", "o08"] {
        let recording = dir.join(format!("{name}.sigmf-meta")).display().to_string();
        let station = demo("qq0aaa.toml");
        let doc = document(&expect(
            0,
            &[
                "measure",
                "--json",
                "--branch",
                "sdr",
                "--lo-tolerance",
                "60",
                &station,
                &recording,
            ],
        ));
        let truth = read(&dir.join(format!("{name}.truth.json")));
        let centre = truth["center_frequency_hz"].as_f64().unwrap();
        for (signal_name, beacon) in [
            ("beacon_bpsk", "beacon-psk"),
            ("beacon_carrier", "beacon-keyed"),
        ] {
            let s = signal(&truth, signal_name);
            let cn0 = value(&doc, &format!("narrow.{beacon}.cn0@sdr"));
            let true_cn0 = s["cn0_dbhz"].as_f64().unwrap();
            assert!((cn0 - true_cn0).abs() < 0.1, "{name} {beacon}: {cn0}");
            let f = value(&doc, &format!("narrow.{beacon}.frequency@sdr"));
            let true_f = centre + s["measured_hz_mid"].as_f64().unwrap();
            assert!((f - true_f).abs() < 1.0, "{name} {beacon}: {f}");
        }
    }
}

#[test]
fn a_recording_with_automatic_gain_is_refused_with_evidence() {
    let Some(dir) = captures("automatic gain") else {
        return;
    };
    let recording = dir.join("o09.sigmf-meta").display().to_string();
    let station = demo("qq0aaa.toml");
    let args = ["measure", "--json", "--branch", "sdr", &station, &recording];
    let doc = document(&expect(3, &args));
    assert!(answer(&doc, "narrow.noise_step@sdr")["value"].is_null());
    assert!(answer(&doc, "narrow.beacon-psk.cn0@sdr")["value"].is_null());
    let text = doc["sections"][0]["text"].to_string();
    assert!(text.contains("Refused") && text.contains("gain"), "{text}");
    assert!(text.contains("dB rms"), "the evidence in figures: {text}");
}

#[test]
fn compare_sees_through_the_fade_of_further_recordings() {
    let Some(dir) = captures("fading pair") else {
        return;
    };
    let names = |side: char| -> Vec<String> {
        (0..10)
            .map(|i| dir.join(format!("o07_{i:02}{side}.sigmf-meta")))
            .filter(|p| p.exists())
            .map(|p| p.display().to_string())
            .collect()
    };
    let (a, b, station) = (names('A'), names('B'), demo("qq0aaa.toml"));
    assert_eq!((a.len(), b.len()), (5, 5));
    let mut args = vec!["compare", "--json", "--branch", "sdr", "--remounted", "no"];
    args.extend([station.as_str(), "--a"]);
    args.extend(a.iter().map(String::as_str));
    args.push("--b");
    args.extend(b.iter().map(String::as_str));
    let doc = document(&expect(0, &args));
    assert_inside(answer(&doc, "narrow.beacon-psk.cn0@sdr.swap"), -0.70);
}

#[test]
fn demo_writes_a_page_that_needs_nothing_else_and_runs_again() {
    let dir = tempfile::tempdir().unwrap();
    let into = dir.path().join("out");
    let page = into.join("report.html");
    let mut first = None;
    for _ in 0..2 {
        expect(0, &["demo", "--plain", "--into", into.to_str().unwrap()]);
        let html = fs::read_to_string(&page).unwrap();
        assert!(html.len() > 10_000);
        for reference in ["http://", "https://"] {
            assert!(!html.contains(reference), "{reference}");
        }
        assert_eq!(*first.get_or_insert(html.clone()), html);
    }
}

#[test]
fn wrong_arguments_and_missing_files_exit_2() {
    let station = demo("qq0aaa.toml");
    for args in [
        &["nonsense"][..],
        &["predict"],
        &["predict", &station, "--draws", "few"],
        &["predict", &station, "--draws", "10"],
        &["predict", &station, "--exceeded", "-3", "--draws", "1000"],
        &[
            "predict",
            &station,
            "--variant",
            "no-such",
            "--draws",
            "1000",
        ],
        &["predict", "no-such.toml"],
        &["survey", "no-such.toml"],
        &["measure", &station],
        &["measure", &station, "no-such.sigmf-meta"],
        &["compare", &station],
        &["compare", &station, "--remounted", "perhaps"],
    ] {
        let o = expect(2, args);
        assert!(!stderr(&o).is_empty(), "{args:?}");
    }
}

#[test]
fn byte_soup_is_refused_in_order() {
    let dir = tempfile::tempdir().unwrap();
    let soup: Vec<u8> = (0..4096u32)
        .map(|i| (i.wrapping_mul(2_654_435_761) >> 13) as u8)
        .collect();
    let station = demo("qq0aaa.toml");
    for name in ["x.toml", "x.wav", "x.sigmf-meta", "x.csv", "x"] {
        let path = dir.path().join(name);
        fs::write(&path, &soup).unwrap();
        let path = path.to_str().unwrap();
        expect(2, &["predict", path]);
        expect(2, &["measure", &station, path]);
    }
}

#[test]
fn mistakes_of_a_tired_hand_are_told() {
    let station = demo("qq0aaa.toml");
    let text = |code: i32, args: &[&str]| {
        let e = stderr(&expect(code, args));
        e.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let e = text(2, &["predict", &station, "--branch", "nosuch"]);
    assert!(
        e.contains("no branch `nosuch`") && e.contains("the station has: "),
        "{e}"
    );
    let e = text(2, &["predict", &demo("petrel-1.toml")]);
    assert!(e.contains("is a satellite file"), "{e}");
    let e = text(2, &["measure", &station, &station]);
    assert!(e.contains("it is text, not samples"), "{e}");
    let e = text(2, &["survey", &station, "--at", "yesterday"]);
    assert!(e.contains("2026-03-01T12:00:00Z"), "{e}");
    // Raw samples say nothing of the branch they come from.
    let raw = demo("recordings/day-old.sigmf-data");
    let folder = tempfile::tempdir().unwrap();
    let copy = folder.path().join("day.cu8");
    std::fs::copy(raw, &copy).unwrap();
    let copy = copy.to_str().unwrap();
    let of = ["--format", "cu8", "--rate", "16000", "--center", "722.175"];
    let mut args = vec!["verdict", &station, copy, "--draws", "1000"];
    args.extend(of);
    let said = stdout(&expect(3, &args));
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        said.contains("--branch with one of sdr, tv, sdr-2"),
        "{said}"
    );
    let e = text(2, &["verdict", &station, "--draws", "1000"]);
    assert!(e.contains("no recording and no reading was given"), "{e}");
}

#[test]
fn a_report_needs_no_recording() {
    let folder = tempfile::tempdir().unwrap();
    let page = folder.path().join("plan.html");
    let out = page.display().to_string();
    expect(
        0,
        &[
            "report",
            &demo("qq0aaa.toml"),
            "--draws",
            "1000",
            "--out",
            &out,
        ],
    );
    let html = std::fs::read_to_string(&page).unwrap();
    assert!(html.contains("prediction through Petrel-1") && !html.contains("side by side"));
}
