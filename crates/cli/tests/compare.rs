//! `compare` on every figure, with control, set file, readings and one file a side.

mod common;

use common::*;
use serde_json::Value;
use std::fs;
use std::path::Path;

const CN0: &str = "narrow.beacon-psk.cn0@sdr.swap";
const STATION: &str = "narrow.beacon-psk.cn0_station@sdr.swap";
const G_OVER_T: &str = "narrow.g_over_t@sdr.swap";

fn compare(code: i32, more: &[String]) -> Value {
    let mut args = vec!["compare".into(), "--json".into(), demo("qq0aaa.toml")];
    args.extend_from_slice(more);
    document(&expect(code, &args))
}

fn strings(list: &[&str]) -> Vec<String> {
    list.iter().map(|s| s.to_string()).collect()
}

#[test]
fn three_figures_of_one_swap_hold_their_truths() {
    let mut files = trial();
    files.extend([recording("wide-old"), recording("wide-new")]);
    let doc = compare(0, &files);
    let t = truth("trial.set.truth.json");
    let of = |key: &str| t[key].as_f64().unwrap();
    assert_inside(answer(&doc, CN0), of("true_change_cn0_total_db"));
    assert_inside(answer(&doc, STATION), of("true_change_cn0_station_db"));
    assert_inside(answer(&doc, G_OVER_T), of("true_change_g_over_t_db"));
    // The mean step of each side is what its narrow recordings share, and is said.
    assert!(
        doc.to_string()
            .contains("the mean step of its side was used")
    );
    // Taking the satellite's noise off shows more of the gain.
    assert!(value(&doc, STATION) > value(&doc, CN0) + 0.8);
}

#[test]
fn the_measurand_is_chosen_and_a_wrong_one_is_answered_with_what_there_is() {
    let wide = [recording("wide-old"), recording("wide-new")];
    for (word, id) in [
        ("cn0", CN0),
        ("cn0-station", STATION),
        ("g-over-t", G_OVER_T),
        ("noise-step", "narrow.noise_step@sdr.swap"),
    ] {
        let mut args = wide.to_vec();
        args.extend(strings(&["--measurand", word]));
        let doc = compare(0, &args);
        let swaps: Vec<String> = answers(&doc)
            .iter()
            .filter_map(|a| a["measurand"].as_str())
            .filter(|m| m.ends_with(".swap") && !m.contains("beacon-keyed"))
            .map(str::to_string)
            .collect();
        assert_eq!(swaps, [id], "{word}");
    }
    let mut args = vec!["compare".into(), demo("qq0aaa.toml")];
    args.extend(wide);
    args.extend(strings(&["--measurand", "merr"]));
    let text = stderr(&expect(2, &args));
    assert!(
        text.contains("merr") && text.contains("narrow.beacon-psk.cn0@sdr"),
        "{text}"
    );
}

/// Samples without a word of metadata, and a set file beside them that says the rest.
#[test]
fn a_set_file_says_what_raw_recordings_cannot() {
    let dir = tempfile::tempdir().unwrap();
    let mut csv = String::from("file,side,start,remount,branch,center,rate,format\n");
    let mut toml = String::from("format = 1\n");
    for path in trial() {
        let meta: Value = serde_json::from_str(&fs::read_to_string(&path).unwrap()).unwrap();
        let name = Path::new(&path)
            .file_stem()
            .unwrap()
            .to_str()
            .unwrap()
            .to_string();
        fs::copy(
            path.replace("-meta", "-data"),
            dir.path().join(format!("{name}.raw")),
        )
        .unwrap();
        let (side, remount) = (
            &meta["global"]["slantpath:side"],
            &meta["global"]["slantpath:remount"],
        );
        let start = &meta["captures"][0]["core:datetime"];
        csv.push_str(&format!(
            "{name}.raw,{},{},{remount},sdr,722.175 MHz,16 kHz,cu8\n",
            side.as_str().unwrap(),
            start.as_str().unwrap()
        ));
        toml.push_str(&format!(
            "[[recording]]\nfile = \"{name}.raw\"\nside = {side}\nstart = {start}\nremount = {remount}\nbranch = \"sdr\"\n\
             center = \"722.175 MHz\"\nrate = \"16 kHz\"\nformat = \"cu8\"\n"
        ));
    }
    let sigmf = compare(0, &trial());
    for (name, text) in [("set.csv", csv), ("set.toml", toml)] {
        let path = dir.path().join(name);
        fs::write(&path, text).unwrap();
        let doc = compare(0, &["--set".into(), path.display().to_string()]);
        assert_eq!(value(&doc, CN0), value(&sigmf, CN0), "{name}");
        assert_eq!(interval(answer(&doc, CN0)), interval(answer(&sigmf, CN0)));
    }
    // Without it the order in time is not known, and the message says where to write it.
    let raw = dir.path().join("trial-01A.raw").display().to_string();
    let args = [
        "compare",
        &demo("qq0aaa.toml"),
        "--a",
        &raw,
        "--format",
        "cu8",
        "--rate",
        "16000",
        "--center",
        "722.175",
    ];
    let text = stderr(&expect(2, &args));
    assert!(
        text.contains("when it was made") && text.contains("--set"),
        "{text}"
    );
}

/// A control that sees exactly what the station sees leaves nothing of the difference.
#[test]
fn a_control_is_taken_off_by_argument_and_by_metadata() {
    let mut args = trial();
    args.push("--control".into());
    args.extend(trial());
    let doc = compare(0, &args);
    assert!(value(&doc, CN0).abs() < 1e-9);
    assert!(doc.to_string().contains("each less the control receiver's"));

    let dir = tempfile::tempdir().unwrap();
    let mut files = trial();
    for path in trial() {
        let name = Path::new(&path)
            .file_name()
            .unwrap()
            .to_str()
            .unwrap()
            .to_string();
        let mut meta: Value = serde_json::from_str(&fs::read_to_string(&path).unwrap()).unwrap();
        let global = meta["global"].as_object_mut().unwrap();
        global.remove("slantpath:side");
        global.insert("slantpath:control".into(), true.into());
        let to = dir.path().join(&name);
        fs::write(&to, meta.to_string()).unwrap();
        let data = name.replace("-meta", "-data");
        fs::copy(path.replace("-meta", "-data"), dir.path().join(data)).unwrap();
        files.push(to.display().to_string());
    }
    let doc = compare(0, &files);
    assert!(value(&doc, CN0).abs() < 1e-9);

    // A control of another hour is none, and that is said.
    let mut args = trial();
    args.extend(["--control".to_string(), recording("day-old")]);
    let doc = compare(0, &args);
    assert!(value(&doc, CN0) > 1.0);
    assert!(doc.to_string().contains("The control was not used"));
}

#[test]
fn one_file_a_side_on_different_days_says_what_it_rests_on() {
    let files = [recording("day-old"), recording("day-new")];
    let doc = compare(0, &files);
    let a = answer(&doc, CN0);
    let half = |a: &Value| 0.5 * (interval(a).1 - interval(a).0);
    // Satellite 0.20, air 0.15, remount 0.15 on each of two days: 1.96 sqrt(2 x 0.085) = 0.81 dB.
    assert!((half(a) - 0.81).abs() < 0.05, "{}", half(a));
    let text = doc.to_string();
    for said in [
        "Not resolved",
        "contains zero",
        "cannot be told from the swap",
        "satellite: level from day to day",
        "more pairs",
        "A, B, B, A",
    ] {
        assert!(text.contains(said), "{said}: {text}");
    }
    // Declared otherwise on the command line and in the station file.
    let mut wet = files.to_vec();
    wet.extend(strings(&[
        "--air-u",
        "1.0",
        "--satellite-u",
        "0.1",
        "--remount-u",
        "0",
    ]));
    let by_option = compare(0, &wet);
    assert!((half(answer(&by_option, CN0)) - 1.96 * (2.0f64 * 1.01).sqrt()).abs() < 0.1);
    let dir = tempfile::tempdir().unwrap();
    fs::copy(demo("petrel-1.toml"), dir.path().join("petrel-1.toml")).unwrap();
    let station = fs::read_to_string(demo("qq0aaa.toml")).unwrap()
        + "\n[trial]\nsatellite_level = \"0.1 dB\"\nair = \"1.0 dB\"\nremount = \"0 dB\"\n";
    let path = dir.path().join("station.toml");
    fs::write(&path, station).unwrap();
    let mut args = vec![
        "compare".into(),
        "--json".into(),
        path.display().to_string(),
    ];
    args.extend(files);
    let by_file = document(&expect(0, &args));
    assert_eq!(
        interval(answer(&by_file, CN0)),
        interval(answer(&by_option, CN0))
    );
}

fn readings(rows: &[(&str, &str, f64, u32)], ceiling: &str) -> (tempfile::TempDir, String) {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("mer.csv");
    let mut text = String::from(
        "quantity,value,u,time,branch,instrument,ceiling,passband,beacon,set,mounting\n",
    );
    for (set, time, db, mounting) in rows {
        text.push_str(&format!(
            "mer,{db} dB,0.1 dB,2031-10-11T{time}Z,tv,receiver,{ceiling},wide,beacon-tv,{set},m{mounting}\n"
        ));
    }
    fs::write(&path, text).unwrap();
    let path = path.display().to_string();
    (dir, path)
}

#[test]
fn typed_readings_are_compared_with_the_receivers_own_mer_taken_off() {
    // True 10.0 and 11.0 dB behind a receiver of 20 dB: shown 9.59 and 10.49.
    let shown = |x: f64| {
        // As a receiver adds its own imperfections: 1/shown = 1/true + 1/own.
        let p = |db: f64| (db / 10.0 * std::f64::consts::LN_10).exp();
        -10.0 * (1.0 / p(x) + 1.0 / p(20.0)).log10()
    };
    let (a, b) = (shown(10.0), shown(11.0));
    let rows = [
        ("A", "09:00:00", a, 1),
        ("B", "09:20:00", b, 2),
        ("B", "09:40:00", b, 3),
        ("A", "10:00:00", a, 4),
        ("A", "10:20:00", a, 5),
        ("B", "10:40:00", b, 6),
    ];
    let (_dir, csv) = readings(&rows, "");
    let doc = compare(0, &["--readings".into(), csv]);
    let swap = answer(&doc, "wide.beacon-tv.mer@tv.swap");
    assert!(
        (swap["value"].as_f64().unwrap() - 1.0).abs() < 0.01,
        "{swap}"
    );
    assert_inside(swap, 1.0);
    assert!(doc.to_string().contains("own MER of 20 dB"));
}

#[test]
fn a_reading_at_its_ceiling_is_no_number() {
    let rows = [
        ("A", "09:00:00", 12.0, 1),
        ("B", "09:20:00", 15.0, 2),
        ("B", "09:40:00", 15.0, 3),
        ("A", "10:00:00", 12.2, 4),
    ];
    let (_dir, csv) = readings(&rows, "15 dB");
    let doc = compare(3, &["--readings".into(), csv]);
    let a = answer(&doc, "wide.beacon-tv.mer@tv.swap");
    assert!(a["value"].is_null());
    let text = a.to_string();
    assert!(
        text.contains("ceiling") && text.contains("or more"),
        "{text}"
    );
}

#[test]
fn sides_may_have_names_of_their_own() {
    let dir = tempfile::tempdir().unwrap();
    let mut files = Vec::new();
    for (name, side) in [("day-old", "coil"), ("day-new", "ring")] {
        let meta = fs::read_to_string(recording(name)).unwrap();
        let mut meta: Value = serde_json::from_str(&meta).unwrap();
        meta["global"]["slantpath:side"] = side.into();
        let to = dir.path().join(format!("{name}.sigmf-meta"));
        fs::write(&to, meta.to_string()).unwrap();
        fs::copy(
            demo(&format!("recordings/{name}.sigmf-data")),
            dir.path().join(format!("{name}.sigmf-data")),
        )
        .unwrap();
        files.push(to.display().to_string());
    }
    let mut args = vec!["compare".to_string(), demo("qq0aaa.toml")];
    args.extend(files.clone());
    let text = stderr(&expect(2, &args));
    assert!(
        text.contains("`coil`") && text.contains("--sides"),
        "{text}"
    );
    files.extend(strings(&["--sides", "coil", "ring"]));
    let doc = compare(0, &files);
    assert!(doc.to_string().contains("A is coil, B is ring"));
}
