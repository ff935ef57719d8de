//! `watch` through the real binary.

mod common;
use common::{answers, demo, document, expect, stdout};
use std::fs;

fn flat(o: &std::process::Output) -> String {
    stdout(o).split_whitespace().collect::<Vec<_>>().join(" ")
}

fn station(folder: &std::path::Path, name: &str) -> String {
    for f in ["petrel-1.toml", "qq0aaa.toml", "qq7bbb.toml"] {
        fs::copy(demo(f), folder.join(f)).unwrap();
    }
    folder.join(name).display().to_string()
}

#[test]
fn a_storm_leaves_a_wet_feed_which_the_readings_tell_alone() {
    let d = tempfile::tempdir().unwrap();
    let file = station(d.path(), "qq0aaa.toml");
    let metrics = d.path().join("figures.prom").display().to_string();
    let args = [
        "watch",
        &file,
        "--readings",
        &demo("logs/qq0aaa-wet-feed.csv"),
        "--weather",
        &demo("logs/qq0aaa-weather.csv"),
        "--plain",
        "--metrics",
        &metrics,
    ];
    // An alarm has a code of its own.
    let text = flat(&expect(4, &args));
    assert!(text.contains("Most probably wet feed"), "{text}");
    assert!(text.contains("goes back with a time constant"), "{text}");
    assert!(text.contains("2031-11-04 13:30Z"), "{text}");
    let prom = fs::read_to_string(&metrics).unwrap();
    assert!(
        prom.contains("measurand=\"watch.alarms\",branch=\"sdr\"") && prom.ends_with("# EOF\n"),
        "{prom}"
    );
    // Once more: nothing is new, and what has dried is no alarm any longer.
    let text = flat(&expect(0, &args));
    assert!(text.contains("0 new entries"), "{text}");
}

#[test]
fn a_hot_day_teaches_how_the_crystal_follows() {
    let d = tempfile::tempdir().unwrap();
    let file = station(d.path(), "qq7bbb.toml");
    let o = expect(
        0,
        &[
            "watch",
            &file,
            "--readings",
            &demo("logs/qq7bbb-beacon.csv"),
            "--weather",
            &demo("logs/qq7bbb-weather.csv"),
            "--json",
            "--tolerance",
            "300",
        ],
    );
    let all = document(&o);
    let value = |id: &str| {
        answers(&all)
            .into_iter()
            .find(|a| a["measurand"] == format!("watch.oscillator.{id}@sdr"))
            .unwrap_or_else(|| panic!("{id}"))
            .clone()
    };
    // Truth: demo/truth/drift.truth.json, 0.21 ppm/K.
    let k = value("per_kelvin");
    let (v, u) = (k["value"].as_f64().unwrap(), k["u"].as_f64().unwrap());
    assert!((v - 0.21).abs() < 3.0 * u && u < 0.004, "{v} {u}");
    assert!(value("retune")["value"].as_f64().unwrap() > 1.0);
}

#[test]
fn recordings_are_entered_once_and_what_is_strange_is_told() {
    let d = tempfile::tempdir().unwrap();
    let file = station(d.path(), "qq0aaa.toml");
    let rec = d.path().join("rec");
    fs::create_dir(&rec).unwrap();
    let copy = |from: &str, to: &str| {
        for e in ["sigmf-meta", "sigmf-data"] {
            fs::copy(
                demo(&format!("recordings/{from}.{e}")),
                rec.join(format!("{to}.{e}")),
            )
            .unwrap();
        }
    };
    copy("trial-01A", "a1");
    copy("trial-04A", "a2");
    copy("trial-01A", "b-copy");
    fs::write(rec.join("c.wav"), "no recording").unwrap();
    let folder = rec.display().to_string();
    let args = ["watch", &file, "--folder", &folder, "--plain"];
    let text = flat(&expect(0, &args));
    assert!(text.contains("3 new entries; 1 stood"), "{text}");
    assert!(text.contains("not entered twice"), "{text}");
    assert!(
        text.contains("cannot be measured and is kept without figures"),
        "{text}"
    );
    assert!(text.contains("still to come"), "{text}");
    let text = flat(&expect(0, &args));
    assert!(text.contains("0 new entries; 4 stood"), "{text}");
    // The station file is replaced in between.
    let new = fs::read_to_string(&file)
        .unwrap()
        .replace("\"0.7 dB \u{b1} 0.1\"", "\"0.5 dB \u{b1} 0.1\"");
    fs::write(&file, new).unwrap();
    copy("trial-05A", "d");
    let text = flat(&expect(0, &args));
    assert!(
        text.contains("The station file differs from the parts in the book"),
        "{text}"
    );
    // A recording of another satellite: a spectrum that holds none of its beacons.
    let mut noise = 12_345u64;
    let bytes: Vec<u8> = (0..64_000)
        .map(|_| {
            noise = noise
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            128u8.wrapping_add(((noise >> 60) as u8).wrapping_sub(8))
        })
        .collect();
    fs::write(rec.join("e.sigmf-data"), bytes).unwrap();
    fs::copy(rec.join("a1.sigmf-meta"), rec.join("e.sigmf-meta")).unwrap();
    let text = flat(&expect(0, &args));
    assert!(
        text.contains("no beacon of this satellite was found"),
        "{text}"
    );
}

#[test]
fn local_times_across_a_clock_change_are_told() {
    let d = tempfile::tempdir().unwrap();
    let file = station(d.path(), "qq0aaa.toml");
    let weather = d.path().join("weather.csv");
    fs::write(
        &weather,
        "time,temperature,rain\n2031-10-26 00:30,9,0\n2031-10-26 01:30,9,0\n2031-10-26 01:00,8,0\n2031-10-26 01:30,8,0\n2031-10-26 02:30,8,0\n",
    )
    .unwrap();
    let w = weather.display().to_string();
    let readings = demo("logs/qq0aaa-wet-feed.csv");
    let args = [
        "watch",
        &file,
        "--readings",
        &readings,
        "--weather",
        &w,
        "--plain",
    ];
    let text = flat(&expect(4, &args));
    assert!(
        text.contains("as a local clock does when summer time ends"),
        "{text}"
    );
    let mut zoned = args.to_vec();
    zoned.extend(["--zone", "Europe/London"]);
    let text = flat(&expect(4, &zoned));
    assert!(text.contains("the order of the rows tells which"), "{text}");
    // Mistakes are the input's.
    fs::write(&weather, "time,temperature\nnever,9\n").unwrap();
    expect(2, &args);
    expect(2, &["watch", &file, "--wind-limit", "0"]);
    expect(
        2,
        &[
            "watch",
            &file,
            "--folder",
            "nowhere-at-all",
            "--zone",
            "No/Where",
        ],
    );
}
