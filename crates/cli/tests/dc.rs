//! The DC side of hand-made stations, as `predict` tells it: who feeds the LNB, what polarisation comes out, what the cable
//! takes.

mod common;

use common::*;
use std::fs;

/// The demo station with changes; its DC section as one text.
fn dc(changes: &[(&str, &str)]) -> String {
    let dir = tempfile::tempdir().unwrap();
    fs::copy(demo("petrel-1.toml"), dir.path().join("petrel-1.toml")).unwrap();
    let mut text = fs::read_to_string(demo("qq0aaa.toml")).unwrap();
    for (a, b) in changes {
        assert!(text.contains(a), "{a}");
        text = text.replacen(a, b, 1);
    }
    let path = dir.path().join("station.toml");
    fs::write(&path, text).unwrap();
    let o = expect(
        0,
        &[
            "predict",
            "--json",
            path.to_str().unwrap(),
            "--draws",
            "1000",
        ],
    );
    let doc = document(&o);
    sections(&doc)
        .into_iter()
        .filter(|s| s["key"] == "dc")
        .map(|s| s["text"].to_string())
        .collect::<String>()
        + &stderr(&o)
}

const SECOND: &str = "from = \"splitter.3\"\nchain = [\"sdr-2\"]";

#[test]
fn volts_and_what_the_cable_takes_carry_their_uncertainty() {
    // 22 m of 0.04 ohm/m at 130 mA take 0.114 V; u of volts is that of the far end, 0.3 V.
    let text = dc(&[]);
    assert!(
        text.contains("lnb: 12.9 V ± 0.3") || text.contains("lnb: 12.89 V ± 0.30"),
        "{text}"
    );
    assert!(
        text.contains("0.11") && text.contains("lost on the way"),
        "{text}"
    );
}

#[test]
fn two_supplies_contend() {
    let both = format!("{SECOND}\nvolts = \"18 V ± 0.3\"");
    let text = dc(&[("dc_ports = [1]", "dc_ports = [1, 3]"), (SECOND, &both)]);
    assert!(
        text.contains("both put volts on lnb") && text.contains("the higher wins"),
        "{text}"
    );
    assert!(text.contains("sdr and sdr-2"), "{text}");
}

#[test]
fn polarisation_follows_the_port_that_feeds() {
    let wide = format!("{SECOND}\nreceives = [\"wide\"]");
    let text = dc(&[
        (SECOND, &wide),
        ("[branch.sdr] ", "[branch.sdr]\nreceives = [\"narrow\"] "),
    ]);
    assert!(text.contains("lnb follows sdr, not sdr-2"), "{text}");
    assert!(text.contains("sdr-2 needs"), "{text}");
}

#[test]
fn a_long_thin_cable_leaves_the_polarisation_in_doubt() {
    // 15.6 V at 60 m of 0.11 ohm/m: 0.86 V are lost, and 14.7 V stand in the middle of 14.5..15 V.
    let text = dc(&[
        (
            "length = \"22 m ± 0.5\"\nresistance = \"0.04 ohm/m ± 0.005\"",
            "length = \"60 m ± 1\"\nresistance = \"0.11 ohm/m ± 0.01\"",
        ),
        (
            "volts_vertical = \"13 V ± 0.3\"\nvolts_horizontal = \"18 V ± 0.3\"",
            "volts = \"16.2 V ± 0.3\"",
        ),
    ]);
    assert!(text.contains("either polarisation may come out"), "{text}");
}
