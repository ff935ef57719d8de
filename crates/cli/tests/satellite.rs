//! `new --satellite` from what is published, and the better values that a measurement proposes for the guesses.

mod common;

use common::*;
use std::fs;

const NARROW: &str = "name=narrow; use=narrow; uplink=2412.300..2412.700 MHz; downlink=10472.150..10472.550 MHz; \
                      uplink_polarisation=LHCP; downlink_polarisation=horizontal";
const PSK: &str = "passband=narrow; name=beacon-psk; frequency=10472.175 MHz; kind=bpsk; symbol_rate=1200 Bd; rolloff=0.5; \
                   differential=yes";
const KEYED: &str =
    "passband=narrow; name=beacon-keyed; frequency=10472.525 MHz; kind=keyed-carrier";
const WIDE: &str = "name=wide; use=wide; uplink=2420..2432 MHz; downlink=10476..10488 MHz; uplink_polarisation=LHCP; \
                    downlink_polarisation=vertical";

#[test]
fn published_figures_by_option_make_a_file_that_measure_betters() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("petrel-1.toml");
    let file = path.to_str().unwrap();
    expect(
        0,
        &[
            "new",
            "--satellite",
            file,
            "--name",
            "Petrel-1",
            "--slot",
            "11.7 deg W",
            "--tilt",
            "3.5 deg",
            "--passband",
            NARROW,
            "--passband",
            WIDE,
            "--beacon",
            PSK,
            "--beacon",
            KEYED,
        ],
    );
    let written = fs::read(&path).unwrap();
    let station = dir.path().join("station.toml");
    fs::copy(demo("qq0aaa.toml"), &station).unwrap();
    let station = station.to_str().unwrap();
    for verb in ["measure", "verdict"] {
        let doc = document(&expect(
            0,
            &[verb, "--json", station, &recording("wide-old")],
        ));
        let guesses = sections(&doc)
            .into_iter()
            .find(|s| s["key"] == "guesses")
            .unwrap_or_else(|| panic!("{verb}: no guesses"));
        let lines: Vec<&str> = guesses["text"]
            .as_array()
            .unwrap()
            .iter()
            .filter_map(|t| t.as_str())
            .collect();
        // The truth of the recording's satellite (demo/petrel-1.toml).
        for (key, unit, truth) in [("noise_density", "dBW/Hz", -43.8), ("eirp", "dBW", 15.0)] {
            let line = lines
                .iter()
                .find(|l| l.starts_with(&format!("{key} = \"")))
                .unwrap_or_else(|| panic!("{verb}: no line for {key} in {lines:?}"));
            let (v, u) = line
                .trim_start_matches(&format!("{key} = \""))
                .trim_end_matches('"')
                .split_once(&format!(" {unit} ± "))
                .unwrap();
            let (v, u): (f64, f64) = (v.parse().unwrap(), u.parse().unwrap());
            assert!(
                (v - truth).abs() < 2.5 * u && u < 2.0,
                "{verb} {key}: {v} ± {u}"
            );
        }
        assert!(lines.iter().any(|l| l.contains("Nothing was written")));
        assert!(
            lines
                .iter()
                .any(|l| l.contains("Still a guess") && l.contains("g over t")),
            "{lines:?}"
        );
    }
    assert_eq!(fs::read(&path).unwrap(), written, "never silently");
}

/// Answers as typed, two of them wrong at first.
#[test]
fn questions_are_asked_again_until_the_answer_can_be() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("sat.toml");
    let file = path.to_str().unwrap();
    let typed = "Petrel-1\n11.7\n11.7 deg W\n3.5 deg\n\n\n2412.3..2412.7 MHz\n10472.15..10472.65 MHz\n10472.15..10472.55 MHz\n\nLHCP\n\
                 horizontal\n\n10472.175 MHz\nbeacon-psk\nbpsk\n1200 Bd\n0.5\nyes\n\nno\nyes\n\n\n2420..2432 MHz\n10476..10488 MHz\nno\n\
                 LHCP\nvertical\nyes\n10487.3 MHz\n\ndvb-s2\n800 kBd\n8PSK 3/5\n0.25\nno\nno\n";
    let o = expect_with(0, &["new", "--satellite", "--ask", file], typed);
    let asked = stderr(&o);
    assert!(asked.contains("equally wide"), "{asked}");
    assert!(
        !asked.to_lowercase().contains("eirp"),
        "only what is published: {asked}"
    );
    let text = fs::read_to_string(&path).unwrap();
    for line in [
        "longitude = \"11.7 deg W\"",
        "[passband.narrow]",
        "[passband.wide]",
        "modcod = \"8PSK 3/5\"",
        "differential = true",
    ] {
        assert!(text.contains(line), "{line}: {text}");
    }
    let station = fs::read_to_string(demo("qq0aaa.toml"))
        .unwrap()
        .replace("petrel-1.toml", "sat.toml");
    let at = dir.path().join("station.toml");
    fs::write(&at, station).unwrap();
    expect(0, &["predict", at.to_str().unwrap(), "--draws", "1000"]);
}

#[test]
fn answers_that_end_early_or_options_that_cannot_be_write_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("sat.toml");
    let file = path.to_str().unwrap();
    let text = stderr(&expect_with(
        2,
        &["new", "--satellite", "--ask", file],
        "Petrel-1\n",
    ));
    assert!(text.contains("Orbit slot"), "{text}");
    for (passband, beacon, said) in [
        ("use=narrow", KEYED, "no name"),
        ("name=narrow; uses=narrow", KEYED, "`use`?"),
        (NARROW, "passband=wide; name=b", "no passband"),
        (
            NARROW,
            "name=b; frequency=740 MHz; kind=carrier",
            "outside its passband",
        ),
        (NARROW, "name=b; frequency=10472.3 MHz; kind=cw", "kind"),
        ("narrow", KEYED, "key"),
    ] {
        let o = expect(
            2,
            &[
                "--plain",
                "new",
                "--satellite",
                file,
                "--name",
                "x",
                "--slot",
                "11.7 deg W",
                "--passband",
                passband,
                "--beacon",
                beacon,
            ],
        );
        assert!(
            stderr(&o).contains(said),
            "{passband} {beacon}: {}",
            stderr(&o)
        );
    }
    assert!(!path.exists());
}
