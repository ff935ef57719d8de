//! `plan acceptance` through the real binary: limits, marks, the page and its recomputation.

mod common;
use common::{demo, document, expect, stderr, stdout};
use std::process::Command;

fn table<'a>(doc: &'a serde_json::Value, key: &str) -> Vec<&'a serde_json::Value> {
    doc["sections"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|s| s["tables"].as_array())
        .flatten()
        .filter(|t| t["key"] == key)
        .flat_map(|t| t["rows"].as_array().unwrap())
        .collect()
}

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn the_sheet_says_what_can_be_passed_with_what_is_at_hand() {
    let station = demo("qq0aaa.toml");
    let args = [
        "plan",
        "acceptance",
        &station,
        "--branch",
        "sdr",
        "--draws",
        "2000",
        "--json",
    ];
    let all = document(&expect(0, &args));
    let (limits, order) = (table(&all, "limits"), table(&all, "order"));
    assert!(limits.len() >= 12 && order.len() == limits.len());
    assert!(table(&all, "results").is_empty());
    let mut fewer = args.to_vec();
    fewer.extend(["--without", "absorber", "--without", "sun"]);
    let fewer = document(&expect(0, &fewer));
    assert_eq!(table(&fewer, "order").len(), order.len() - 2);
    assert_eq!(table(&fewer, "limits").len(), limits.len());
    let e = stderr(&expect(
        2,
        &["plan", "acceptance", &station, "--without", "luck"],
    ));
    assert!(e.contains("absorber, sun, meter or transmitter"), "{e}");
    let e = flat(&stderr(&expect(
        2,
        &[
            "plan",
            "acceptance",
            &station,
            "--draws",
            "2000",
            "--found",
            "luck=1",
        ],
    )));
    assert!(
        e.contains("no such check") && e.contains("isolation"),
        "{e}"
    );
}

#[test]
fn recordings_and_found_figures_are_marked_and_the_page_is_the_same_again() {
    let folder = tempfile::tempdir().unwrap();
    let page = folder.path().join("acceptance.html").display().to_string();
    let (station, wide) = (demo("qq0aaa.toml"), demo("recordings/wide-new.sigmf-meta"));
    // The recording is of the new feed: the old one's promise is not what it shows.
    let args = [
        "plan",
        "acceptance",
        &station,
        &wide,
        "--draws",
        "2000",
        "--found",
        "isolation=0.02+-0.03",
        "--found",
        "pointing_loss=0.9+-0.05",
    ];
    let o = expect(0, &args);
    let text = flat(&stdout(&o));
    assert!(
        text.contains("isolation 0.020 ± 0.030 dB 0.10 dB or less 99.6 % pass"),
        "{text}"
    );
    assert!(
        text.contains("loss by pointing that is left fails"),
        "{text}"
    );
    assert!(
        text.contains("`diagnose` with the same recordings"),
        "{text}"
    );
    // With its own feed the same recording passes.
    let mut new = args.to_vec();
    new.extend(["--variant", "new-feed"]);
    let passed = flat(&stdout(&expect(0, &new)));
    assert!(
        passed.contains("narrow.noise_step 3.063 ± 0.013 dB"),
        "{passed}"
    );
    let mut out = args.to_vec();
    out.extend(["--out", &page]);
    expect(0, &out);
    for threads in ["1", "2"] {
        let o = Command::new(env!("CARGO_BIN_EXE_slantpath"))
            .args(["again", &page])
            .env("RAYON_NUM_THREADS", threads)
            .output()
            .unwrap();
        assert_eq!(o.status.code(), Some(0), "{}{}", stdout(&o), stderr(&o));
    }
}
