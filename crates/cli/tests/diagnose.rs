//! `diagnose` through the real binary.

mod common;
use common::{demo, document, expect, stderr, stdout, trial, value};
use std::fs;

#[test]
fn a_lamp_and_a_log_find_the_overload_and_the_foldback() {
    let file = demo("qq0aaa.toml");
    let o = expect(
        0,
        &[
            "diagnose",
            &file,
            "--seen",
            "transmit_rise=1.5+-0.1",
            "--json",
        ],
    );
    // One reading alone leaves room for what no list has.
    assert!(value(&document(&o), "diagnosis.overload") > 80.0);
    let o = expect(
        0,
        &[
            "diagnose",
            &file,
            "--seen",
            "power_step=2.5+-0.2",
            "--seen",
            "sink=18+-2",
            "--json",
        ],
    );
    assert!(value(&document(&o), "diagnosis.foldback") > 90.0);
}

#[test]
fn joint_loss_asks_for_what_tells_the_feed_from_the_rest() {
    // 3 dB less beacon alone: many faults do that, and it says so, with the measurement that tells most.
    let o = expect(
        0,
        &[
            "diagnose",
            &demo("qq0aaa.toml"),
            "--seen",
            "narrow.beacon-psk.cn0@sdr=51.0+-0.1",
            "--plain",
        ],
    );
    let text = stdout(&o).split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(text.contains("bit about which fault it is"), "{text}");
    // Rain that came with the loss, and the transmit side that suffers with it: the feed.
    let wet = expect(
        0,
        &[
            "diagnose",
            &demo("qq0aaa.toml"),
            "--seen",
            "narrow.beacon-psk.cn0@sdr=50.2+-0.1",
            "--seen",
            "wet=3+-0.2",
            "--seen",
            "reflected=-4+-0.5",
            "--json",
        ],
    );
    assert!(value(&document(&wet), "diagnosis.wet_feed") > 90.0);
}

#[test]
fn readings_count_and_the_answer_is_the_same_again() {
    let folder = tempfile::tempdir().unwrap();
    let csv = folder.path().join("readings.csv");
    fs::write(&csv, "quantity,value,u,branch,beacon\nlnb_volts,13.0 V,0.1 V,sdr,\nbeacon_frequency,10472.4750 MHz,0.0002 MHz,,beacon-psk\ncross_polar,20 dB,1 dB,sdr,beacon-psk\n").unwrap();
    let args = [
        "diagnose",
        &demo("qq0aaa.toml"),
        "--readings",
        csv.to_str().unwrap(),
        "--json",
    ];
    let o = expect(0, &args);
    assert_eq!(o.stdout, expect(0, &args).stdout);
    // 300 kHz off: the oscillator.
    assert!(
        value(&document(&o), "diagnosis.lo_drift") > 80.0,
        "{}",
        stdout(&o)
    );
}

#[test]
fn a_recording_of_a_sound_station_accuses_nobody() {
    let recording = &trial()[0];
    let o = expect(0, &["diagnose", &demo("qq0aaa.toml"), recording, "--json"]);
    let doc = document(&o);
    let sound = value(&doc, "diagnosis.sound");
    assert!(sound > 5.0, "{sound}");
}

#[test]
fn nonsense_is_told() {
    let file = demo("qq0aaa.toml");
    let o = expect(2, &["diagnose", &file]);
    assert!(stderr(&o).contains("nothing to go by"));
    let o = expect(2, &["diagnose", &file, "--seen", "smoke=1"]);
    assert!(stderr(&o).contains("transmit_rise"));
    let o = expect(2, &["diagnose", &file, "--seen", "sink"]);
    assert!(stderr(&o).contains("--seen sink"));
}

#[test]
fn a_meter_at_the_lnb_stands_beside_the_direct_current_graph() {
    let folder = tempfile::tempdir().unwrap();
    let csv = folder.path().join("volts.csv");
    fs::write(
        &csv,
        "quantity,value,u,branch\nlnb_volts,11.0 V,0.1 V,sdr\n",
    )
    .unwrap();
    let csv = csv.display().to_string();
    let args = [
        "verdict",
        &demo("qq0aaa.toml"),
        "--readings",
        &csv,
        "--draws",
        "2000",
        "--json",
    ];
    let doc = document(&expect(0, &args));
    let rows: Vec<&serde_json::Value> = doc["sections"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|s| s["key"] == "supply")
        .flat_map(|s| s["answers"].as_array().unwrap())
        .collect();
    assert_eq!(rows.len(), 3);
    let v = |k: usize| rows[k]["value"].as_f64().unwrap();
    assert!((v(1) - 11.0).abs() < 1e-9 && (v(2) - (v(1) - v(0))).abs() < 1e-9);
    assert!(v(2) < -1.0, "{rows:?}");
}

#[test]
fn a_verdict_that_disagrees_says_whether_a_fault_or_rain_makes_it() {
    let folder = tempfile::tempdir().unwrap();
    let csv = folder.path().join("low.csv");
    let verdict = |rows: &str| {
        fs::write(&csv, format!("quantity,value,u,branch,beacon\n{rows}")).unwrap();
        let csv = csv.display().to_string();
        let o = expect(
            0,
            &[
                "verdict",
                &demo("qq0aaa.toml"),
                "--readings",
                &csv,
                "--draws",
                "2000",
            ],
        );
        stdout(&o).split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let low = verdict("cn0,50.2 dBHz,0.1 dB,sdr,beacon-psk\nnoise_step,0.9 dB,0.05 dB,sdr,\n");
    assert!(low.contains("They disagree by more than stated"), "{low}");
    assert!(
        low.contains("rain or wet snow in the air on the path"),
        "{low}"
    );
    assert!(low.contains("rain gauge"), "{low}");
    let sound = verdict("cn0,54.8 dBHz,0.1 dB,sdr,beacon-psk\n");
    assert!(!sound.contains("diagnosis"), "{sound}");
}
