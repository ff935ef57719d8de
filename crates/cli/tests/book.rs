//! The station book from the command line.

use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../../demo")
        .join(name)
}

/// A folder with the demo's first station in it.
struct Shack {
    dir: tempfile::TempDir,
}

impl Shack {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        for f in ["petrel-1.toml", "qq0aaa.toml"] {
            fs::copy(demo(f), dir.path().join(f)).unwrap();
        }
        Self { dir }
    }
    fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }
    fn run(&self, args: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_slantpath"))
            .current_dir(self.dir.path())
            .args(args)
            .output()
            .unwrap()
    }
    fn expect(&self, code: i32, args: &[&str]) -> Output {
        let o = self.run(args);
        let err = String::from_utf8_lossy(&o.stderr);
        assert!(!err.contains("panicked"), "{args:?}: {err}");
        assert_eq!(
            o.status.code(),
            Some(code),
            "{args:?}: {err}{}",
            String::from_utf8_lossy(&o.stdout)
        );
        o
    }
    fn json(&self, args: &[&str]) -> Value {
        let mut all = args.to_vec();
        all.push("--json");
        serde_json::from_slice(&self.expect(0, &all).stdout).unwrap()
    }
}

fn rows(doc: &Value) -> Vec<Value> {
    doc["sections"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|s| s["tables"].as_array())
        .flatten()
        .flat_map(|t| t["rows"].as_array().unwrap().clone())
        .collect()
}

const STATION: &str = "qq0aaa.toml";

#[test]
fn what_is_typed_stands_in_the_timeline() {
    let s = Shack::new();
    s.expect(
        0,
        &[
            "book",
            "note",
            STATION,
            "re-pointed after the storm",
            "--at",
            "2026-05-01T10:00:00Z",
        ],
    );
    s.expect(
        0,
        &[
            "book",
            "fault",
            STATION,
            "no horizontal",
            "--part",
            "lnb",
            "--at",
            "2026-05-02T10:00:00Z",
        ],
    );
    s.expect(
        0,
        &[
            "book",
            "weather",
            STATION,
            "--temperature",
            "-3 °C ± 1",
            "--rain",
            "2 mm/h",
            "--at",
            "2026-05-03T10:00:00Z",
        ],
    );
    let list = s.json(&["book", "list", STATION]);
    assert_eq!(list["schema"], "slantpath.book");
    let r = rows(&list);
    assert_eq!(r.len(), 3);
    assert_eq!(r[0]["title"], "re-pointed after the storm");
    assert_eq!(r[2]["kind"], "weather");
    assert_eq!(
        rows(&s.json(&["book", "list", STATION, "--words", "stor"])).len(),
        1
    );
    assert_eq!(
        rows(&s.json(&["book", "list", STATION, "--kind", "fault"])).len(),
        1
    );
    let series = s.json(&["book", "series", STATION, "weather.temperature"]);
    let r = rows(&series);
    let point = r
        .iter()
        .find(|x| x["measured"]["value"].is_number())
        .unwrap();
    assert!(
        (point["measured"]["value"].as_f64().unwrap() + 3.0).abs() < 1e-9,
        "{point}"
    );
    assert_eq!(point["measured"]["unit"], "°C");
    // A correction stands in its place; a withdrawal takes it away.
    s.expect(
        0,
        &[
            "book",
            "note",
            STATION,
            "re-pointed before the storm",
            "--corrects",
            "1",
        ],
    );
    let r = rows(&s.json(&["book", "list", STATION, "--kind", "note"]));
    assert_eq!(
        (r.len(), r[0]["title"].as_str().unwrap()),
        (1, "re-pointed before the storm (instead of 1)")
    );
    s.expect(2, &["book", "note", STATION, "again", "--corrects", "1"]);
    s.expect(
        0,
        &["book", "withdraw", STATION, "4", "was right the first time"],
    );
    assert!(rows(&s.json(&["book", "list", STATION, "--kind", "note"])).is_empty());
    assert_eq!(rows(&s.json(&["book", "list", STATION, "--all"])).len(), 5);
    s.expect(0, &["book", "show", STATION, "1"]);
    s.expect(0, &["book", "check", STATION]);
}

#[test]
fn mistakes_are_told_and_nothing_is_written() {
    let s = Shack::new();
    for args in [
        &["book", "fault", STATION, "x", "--part", "nothing"][..],
        &["book", "weather", STATION, "--rain", "2 m"],
        &["book", "weather", STATION],
        &["book", "note", STATION, " "],
    ] {
        s.expect(2, args);
    }
    assert!(
        !s.path("qq0aaa.book").exists() || rows(&s.json(&["book", "list", STATION])).is_empty()
    );
    s.expect(2, &["book", "list", STATION, "--book", "none.book"]);
    s.expect(2, &["book", "list", STATION, "--book", STATION]);
    s.expect(2, &["book", "series", STATION, "no.such"]);
    s.expect(2, &["book", "show", STATION, "77"]);
    // A station file given as a book is refused and untouched.
    let before = fs::read(s.path(STATION)).unwrap();
    s.expect(2, &["book", "note", STATION, "x", "--book", STATION]);
    assert_eq!(fs::read(s.path(STATION)).unwrap(), before);
}

#[test]
fn changes_come_from_the_files() {
    let s = Shack::new();
    s.expect(
        0,
        &["book", "change", STATION, "--at", "2026-05-01T10:00:00Z"],
    );
    let same = s.json(&["book", "change", STATION]);
    assert!(
        same["title"].as_str().unwrap().contains("0 entry"),
        "{same}"
    );
    fs::copy(s.path(STATION), s.path("old.toml")).unwrap();
    let text = fs::read_to_string(s.path(STATION)).unwrap();
    let text = text.replacen(
        "noise_figure = \"0.7 dB ± 0.1\"",
        "noise_figure = \"0.5 dB ± 0.1\"",
        1,
    );
    fs::write(s.path(STATION), text).unwrap();
    s.expect(
        0,
        &[
            "book",
            "change",
            STATION,
            "a better LNB",
            "--at",
            "2026-05-05T10:00:00Z",
        ],
    );
    let shown = s.json(&["book", "show", STATION, "2"]).to_string();
    assert!(
        shown.contains("noise_figure 0.70 ± 0.10 dB -> 0.50 ± 0.10 dB"),
        "{shown}"
    );
    assert!(shown.contains("a better LNB"));
    // The swap of a variant is the change of the feed alone.
    let v = s.json(&[
        "book",
        "change",
        STATION,
        "--variant",
        "new-feed",
        "--before",
        STATION,
    ]);
    assert!(v.to_string().contains("changed: feed"), "{v}");
    // From two files, without a book's list.
    let two = s.json(&[
        "book", "change", STATION, "--before", "old.toml", "--book", "two.book",
    ]);
    assert!(two.to_string().contains("changed: LNB"), "{two}");
}

#[test]
fn measurements_are_kept_with_the_prediction_of_their_day() {
    let s = Shack::new();
    let recording = demo("recordings/day-old.sigmf-meta");
    let recording = recording.to_str().unwrap();
    s.expect(0, &["measure", STATION, recording, "--keep"]);
    let r = rows(&s.json(&["book", "list", STATION]));
    let kinds: Vec<&str> = r.iter().map(|x| x["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds.iter().filter(|k| **k == "change").count(), 1);
    assert_eq!(kinds.iter().filter(|k| **k == "measurement").count(), 1);
    let all = rows(&s.json(&["book", "series", STATION]));
    assert!(
        all.iter()
            .any(|x| x["measurand"] == "narrow.beacon-psk.cn0"),
        "{all:?}"
    );
    let series = rows(&s.json(&["book", "series", STATION, "narrow.beacon-psk.cn0"]));
    let point = series
        .iter()
        .find(|x| x["measured"]["value"].is_number())
        .unwrap();
    let (m, p) = (&point["measured"], &point["predicted"]);
    assert!(
        m["u"].as_f64().unwrap() > 0.0 && p["u"].as_f64().unwrap() > 0.0,
        "{point}"
    );
    assert!(
        (m["value"].as_f64().unwrap() - p["value"].as_f64().unwrap()).abs() < 10.0,
        "{point}"
    );
    // Again: kept and told.
    let again = s
        .json(&["measure", STATION, recording, "--keep"])
        .to_string();
    assert!(again.contains("stands in the book already"), "{again}");
    let metrics = s.expect(0, &["book", "metrics", STATION]);
    let text = String::from_utf8(metrics.stdout).unwrap();
    assert!(
        text.contains("slantpath_measured{measurand=\"") && text.ends_with("# EOF\n"),
        "{text}"
    );
    // The build sheet shows it, and not where the station stands.
    s.expect(
        0,
        &["sheet", STATION, "--out", "sheet.html", "--draws", "2000"],
    );
    let html = fs::read_to_string(s.path("sheet.html")).unwrap();
    for there in [
        "cable to the shack",
        "22.0",
        "IO77",
        "four-way splitter",
        "18.",
    ] {
        assert!(html.contains(there), "{there}");
    }
    for not in ["57.3", "gym roof", s.dir.path().to_str().unwrap()] {
        assert!(!html.contains(not), "{not}");
    }
    let exact = s.expect(0, &["sheet", STATION, "--exact-place", "--draws", "2000"]);
    assert!(String::from_utf8_lossy(&exact.stdout).contains("57.30000"));
}

#[cfg(unix)]
#[test]
fn a_disk_that_refuses_to_grow_is_told_and_loses_nothing() {
    let s = Shack::new();
    s.expect(0, &["book", "note", STATION, "kept"]);
    let long = "x".repeat(120_000);
    // A limit on the size of files stands for a full disk; with its signal ignored, writes fail as they do there.
    let blocks = fs::metadata(s.path("qq0aaa.book")).unwrap().len() / 512 + 8;
    let o = Command::new("sh")
        .current_dir(s.dir.path())
        .args([
            "-c",
            "trap '' XFSZ; ulimit -f $1; exec \"$0\" book note qq0aaa.toml \"$2\"",
        ])
        .args([env!("CARGO_BIN_EXE_slantpath"), &blocks.to_string(), &long])
        .output()
        .unwrap();
    let err = String::from_utf8_lossy(&o.stderr);
    assert_eq!(o.status.code(), Some(1), "{err}");
    assert!(err.contains("nothing was added"), "{err}");
    assert_eq!(rows(&s.json(&["book", "list", STATION])).len(), 1);
    s.expect(0, &["book", "check", STATION]);
}
