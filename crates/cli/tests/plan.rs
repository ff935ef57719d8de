//! `plan` through the real binary.

mod common;
use common::{demo, document, expect, sections, stderr, stdout, value};
use serde_json::Value;

fn table<'a>(doc: &'a Value, key: &str) -> &'a Vec<Value> {
    sections(doc)
        .into_iter()
        .flat_map(|s| s["tables"].as_array().into_iter().flatten())
        .find(|t| t["key"] == key)
        .and_then(|t| t["rows"].as_array())
        .unwrap_or_else(|| panic!("no table {key}: {doc}"))
}

#[test]
fn the_clubs_channels_stand_where_arithmetic_puts_them() {
    let o = expect(
        0,
        &[
            "plan",
            "frequencies",
            &demo("qq0aaa.toml"),
            "--beacon",
            "beacon-psk",
            "--found",
            "722.1808",
            "0.00001",
            "--json",
        ],
    );
    let doc = document(&o);
    // By hand: 722.1808 - (10472.175 - 9750) = +5.8 kHz found too high: the oscillator is 5.8 kHz low, 0.595 ppm.
    assert!((value(&doc, "lnb.9750.error") + 5800.0).abs() < 1.0);
    assert!((value(&doc, "lnb.9750.error_ppm") + 0.595).abs() < 0.001);
    let text = doc.to_string();
    // The phones of band 28 reach into 722.15 to 722.55 MHz.
    assert!(text.contains("band 28 (hand-held)"), "{text}");
    assert!(!table(&doc, "channels").is_empty());
    // The same, shown as a true frequency.
    let o = expect(
        0,
        &[
            "plan",
            "frequencies",
            &demo("qq0aaa.toml"),
            "--beacon",
            "beacon-psk",
            "--found",
            "10472.1808",
            "0.00001",
            "--json",
        ],
    );
    assert!((value(&document(&o), "lnb.9750.error") + 5800.0).abs() < 1.0);
}

#[test]
fn a_clocks_harmonic_is_found_and_the_order_is_kept() {
    // By hand: 18 x 40.13 = 722.34 MHz.
    let with = |order: &str| {
        stdout(&expect(
            0,
            &[
                "plan",
                "frequencies",
                &demo("qq0aaa.toml"),
                "--source",
                "bus clock=40.13",
                "--order",
                order,
                "--plain",
            ],
        ))
    };
    assert!(with("18").contains("18 x bus clock"));
    assert!(!with("17").contains("18 x bus clock"));
}

#[test]
fn a_trial_is_fixed_beforehand_and_drawn_the_same_again() {
    let args = [
        "plan",
        "trial",
        &demo("qq0aaa.toml"),
        "--sides",
        "old feed",
        "new feed",
        "--pilot",
        "0.3",
        "0.7",
        "0.4",
        "0.6",
        "--json",
    ];
    let a = expect(0, &args);
    assert_eq!(a.stdout, expect(0, &args).stdout);
    let doc = document(&a);
    assert!((5.0..=8.0).contains(&value(&doc, "trial.pairs")), "{doc}");
    let order = table(&doc, "order");
    assert_eq!(order.len() % 4, 0);
    assert!(
        doc.to_string()
            .contains("whatever the pairs show until then")
    );
}

#[test]
fn nonsense_is_told() {
    let file = demo("qq0aaa.toml");
    for (args, word) in [
        (vec!["--source", "clock"], "clock"),
        (vec!["--service", "mast=800..700"], "mast"),
        (vec!["--branch", "attic"], "attic"),
        (
            vec!["--beacon", "nobody", "--found", "722", "0.1"],
            "nobody",
        ),
        (
            vec!["--beacon", "beacon-psk", "--found", "400", "0.1"],
            "oscillator",
        ),
        (vec!["--step", "0"], "step"),
    ] {
        let mut all = vec!["plan", "frequencies", &file];
        all.extend(args);
        let o = expect(2, &all);
        assert!(stderr(&o).contains(word), "{all:?}: {}", stderr(&o));
    }
    let o = expect(3, &["plan", "trial", &file, "--scatter", "20"]);
    assert!(stderr(&o).contains("no number of pairs"));
}

#[test]
fn routes_that_agree_are_combined_and_one_that_does_not_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let csv = folder.path().join("readings.csv");
    // The prediction's own figures of the club: every route must lead back to its G/T of 18.13 dB/K.
    std::fs::write(&csv, "quantity,value,u,branch,passband,beacon\nnoise_step,2.183 dB,0.05 dB,sdr,narrow,\ncn0,54.717 dBHz,0.1 dB,sdr,narrow,beacon-psk\ny_factor,4.604 dB,0.1 dB,sdr,narrow,\n").unwrap();
    let args = [
        "routes",
        &demo("qq0aaa.toml"),
        "--branch",
        "sdr",
        "--readings",
        csv.to_str().unwrap(),
        "--json",
    ];
    let doc = document(&expect(0, &args));
    for route in ["route.1", "route.2", "route.3", "g_over_t.combined"] {
        assert!(
            (value(&doc, route) - 18.13).abs() < 0.1,
            "{route}: {}",
            value(&doc, route)
        );
    }
    let mut wrong = args.to_vec();
    wrong.extend(["--route", "Sun=14.0+-0.3"]);
    let o = expect(3, &wrong);
    assert!(
        stdout(&o).contains("without \\\"Sun\\\" the others agree"),
        "{}",
        stdout(&o)
    );
}
