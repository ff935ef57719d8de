//! `measure` on recordings of television carriers, run as typed.

mod common;

use common::{answer, demo, document, expect, root, sections, stdout, value};

fn made(name: &str) -> String {
    root()
        .join(format!(
            "crates/capture/tests/data/wideband/{name}.sigmf-meta"
        ))
        .display()
        .to_string()
}

#[test]
fn carriers_are_found_and_measured() {
    let station = demo("qq0aaa.toml");
    let o = expect(
        0,
        &[
            "measure",
            "--json",
            "--branch",
            "sdr",
            &station,
            &made("touching"),
        ],
    );
    let doc = document(&o);
    assert!((value(&doc, "wideband.carriers@sdr") - 2.0).abs() < 1e-9);
    for (n, modcod, es_n0) in [(1, 7.0, 8.99), (2, 13.0, 11.99)] {
        assert_eq!(value(&doc, &format!("carrier.{n}.modcod@sdr")), modcod);
        assert!((value(&doc, &format!("carrier.{n}.symbol_rate@sdr")) / 66e3 - 1.0).abs() < 5e-6);
        let mer = value(&doc, &format!("carrier.{n}.mer@sdr"));
        assert!((mer - es_n0).abs() < 0.35, "{mer} {es_n0}");
        let margin = answer(&doc, &format!("carrier.{n}.margin@sdr"));
        assert!(margin["value"].as_f64().is_some());
    }
    let table = sections(&doc)
        .into_iter()
        .find(|s| s["key"] == "carriers_1")
        .expect("a section of carriers");
    assert!(
        table
            .to_string()
            .contains("QPSK 3/4, short FECFRAME, pilots")
    );
}

#[test]
fn the_same_as_text() {
    let station = demo("qq0aaa.toml");
    let o = expect(0, &["measure", "--branch", "sdr", &station, &made("qpsk")]);
    let text = stdout(&o);
    for word in ["QPSK 1/2", "MER", "kBd", "margin"] {
        assert!(text.contains(word), "{word}: {text}");
    }
}

#[test]
fn a_hump_of_noise_has_no_mer() {
    let station = demo("qq0aaa.toml");
    let o = expect(
        3,
        &[
            "measure",
            "--json",
            "--branch",
            "sdr",
            &station,
            &made("hump"),
        ],
    );
    let doc = document(&o);
    assert!(value(&doc, "wideband.carriers@sdr").abs() < 1e-9);
    let all = doc.to_string();
    assert!(!all.contains(".mer@"), "{all}");
    assert!(all.contains("without a symbol clock"), "{all}");
}
