//! Contacts from the command line.

use serde_json::Value;
use std::f64::consts::TAU;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

struct Shack {
    dir: tempfile::TempDir,
}

impl Shack {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo");
        for f in ["petrel-1.toml", "qq0aaa.toml"] {
            fs::copy(demo.join(f), dir.path().join(f)).unwrap();
        }
        Self { dir }
    }
    fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }
    fn expect(&self, code: i32, args: &[&str]) -> Output {
        let o = Command::new(env!("CARGO_BIN_EXE_slantpath"))
            .current_dir(self.dir.path())
            .args(args)
            .output()
            .unwrap();
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
    fn json(&self, code: i32, args: &[&str]) -> Value {
        let mut all = args.to_vec();
        all.push("--json");
        serde_json::from_slice(&self.expect(code, &all).stdout).unwrap()
    }
}

const STATION: &str = "qq0aaa.toml";

fn answer<'a>(doc: &'a Value, id: &str) -> &'a Value {
    doc["sections"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|s| s["answers"].as_array().unwrap())
        .find(|a| a["measurand"] == id)
        .unwrap_or_else(|| panic!("no {id} in {doc}"))
}

#[test]
fn a_contact_is_filled_in_exchanged_and_mapped() {
    let s = Shack::new();
    let added = s.json(
        0,
        &[
            "contact",
            "add",
            STATION,
            "QQ0BBB",
            "--mode",
            "usb",
            "--up",
            "2412.5",
            "--locator",
            "JO22",
            "--sent",
            "59",
            "--at",
            "2026-05-03T14:20:01Z",
        ],
    );
    let text = added.to_string();
    // The other frequency through the demo's transponder (8059.850 MHz between them).
    for there in [
        "FREQ_RX: 10472.350000",
        "SAT_NAME: Petrel-1",
        "SAT_MODE: S/X",
        "STATION_CALLSIGN: QQ0AAA",
        "SUBMODE: USB",
    ] {
        assert!(text.contains(there), "{there}: {text}");
    }
    assert!(
        answer(&added, "contact.distance")["value"]
            .as_f64()
            .unwrap()
            > 500.0
    );
    s.expect(
        2,
        &[
            "contact",
            "add",
            STATION,
            "QQ0CCC",
            "--mode",
            "CW",
            "--up",
            "2412.5",
            "--locator",
            "nonsense",
        ],
    );
    s.expect(0, &["contact", "adif-out", STATION, "--out", "log.adi"]);
    s.expect(2, &["contact", "adif-out", STATION, "--out", "log.adi"]);
    // Into the same book: known already. Into another one: whole, and out again the same.
    let again = s
        .json(0, &["contact", "adif-in", STATION, "log.adi"])
        .to_string();
    assert!(again.contains("0 contact(s) written"), "{again}");
    s.expect(
        0,
        &[
            "contact",
            "adif-in",
            STATION,
            "log.adi",
            "--book",
            "other.book",
        ],
    );
    s.expect(
        0,
        &[
            "contact",
            "adif-out",
            STATION,
            "--book",
            "other.book",
            "--out",
            "other.adi",
        ],
    );
    let records = |f: &str| {
        let t = fs::read_to_string(s.path(f)).unwrap();
        t.split_once("<EOH>").unwrap().1.to_string()
    };
    assert_eq!(records("log.adi"), records("other.adi"));
    s.expect(0, &["contact", "map", STATION, "--out", "map.geojson"]);
    let map: Value =
        serde_json::from_str(&fs::read_to_string(s.path("map.geojson")).unwrap()).unwrap();
    assert_eq!(map["type"], "FeatureCollection");
    assert_eq!(
        map["features"][0]["geometry"]["coordinates"],
        serde_json::json!([-5.0, 57.5])
    );
    assert!(!map.to_string().contains("57.3"));
    s.expect(0, &["contact", "list", STATION]);
}

#[test]
fn a_file_with_mistakes_is_refused_and_shown() {
    let s = Shack::new();
    let log = "log\n<EOH>\n<CALL:6>QQ0BBB<QSO_DATE:8>20260503<TIME_ON:4>1420<BAND:4>13cm<MODE:2>CW<EOR>\n\
        <CALL:6>QQ0CCC<QSO_DATE:8>20260503<TIME_ON:4>9920<BAND:4>13cm<MODE:2>CW<EOR>\n";
    fs::write(s.path("log.adi"), log).unwrap();
    let e = s.json(2, &["contact", "adif-in", STATION, "log.adi"]);
    let p = &e["problems"][0];
    assert_eq!(
        (p["line"].as_u64(), p["text"].as_str()),
        (Some(4), Some("9920")),
        "{e}"
    );
    assert!(
        p["what"].as_str().unwrap().contains("record 2: TIME_ON"),
        "{e}"
    );
    let plain = s.expect(2, &["contact", "adif-in", STATION, "log.adi"]);
    assert!(String::from_utf8_lossy(&plain.stderr).contains("HHMM"));
    let kept = s
        .json(
            0,
            &["contact", "adif-in", STATION, "log.adi", "--skip-faulty"],
        )
        .to_string();
    assert!(kept.contains("1 contact(s) written"), "{kept}");
    // One byte for a character: read, told, counted in bytes of UTF-8 when written.
    let mut latin = b"log\n<EOH>\n<CALL:6>QQ0DDD<QSO_DATE:8>20260503<TIME_ON:4>1420<BAND:4>13cm<MODE:2>CW<NAME:5>J".to_vec();
    latin.extend([0xF6, b'r', b'g', b'!']);
    latin.extend(b"<EOR>\n");
    fs::write(s.path("latin.adi"), latin).unwrap();
    s.expect(0, &["contact", "adif-in", STATION, "latin.adi"]);
    s.expect(0, &["contact", "adif-out", STATION, "--out", "out.adi"]);
    assert!(
        fs::read_to_string(s.path("out.adi"))
            .unwrap()
            .contains("<NAME:6>Jörg!")
    );
    s.expect(2, &["contact", "adif-in", STATION, "nothing.adi"]);
}

/// A WAV of 16 bit, two channels, 8 kHz: babble on the first, the same `delay` samples later on the second.
fn wav(path: &Path, delay: usize) {
    let n = 8000 * 15;
    let mut state = 7u64;
    let mut noise = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as f64 / (1u64 << 31) as f64 - 0.5
    };
    let sent: Vec<f64> = (0..n)
        .map(|i| noise() * (TAU * 3.0 * i as f64 / 8000.0).sin().max(0.0))
        .collect();
    let mut data = Vec::new();
    for i in 0..n {
        let back = if i >= delay { sent[i - delay] } else { 0.0 } + 0.05 * noise();
        for x in [sent[i], back] {
            data.extend(((x * 20_000.0) as i16).to_le_bytes());
        }
    }
    let mut out = b"RIFF".to_vec();
    out.extend((36 + data.len() as u32).to_le_bytes());
    out.extend(b"WAVEfmt ");
    out.extend(16u32.to_le_bytes());
    for x in [1u16, 2] {
        out.extend(x.to_le_bytes());
    }
    out.extend(8000u32.to_le_bytes());
    out.extend(32_000u32.to_le_bytes());
    for x in [4u16, 16] {
        out.extend(x.to_le_bytes());
    }
    out.extend(b"data");
    out.extend((data.len() as u32).to_le_bytes());
    out.extend(data);
    fs::write(path, out).unwrap();
}

#[test]
fn the_echo_is_predicted_measured_and_split() {
    let s = Shack::new();
    let predicted = s.json(0, &["contact", "echo", STATION, "--processing", "60", "20"]);
    let path = answer(&predicted, "site.delay_round_trip")["value"]
        .as_f64()
        .unwrap();
    // Up and down through a geostationary satellite: 239 to 278 ms by geometry.
    assert!((239.0..278.0).contains(&path), "{path}");
    let total = answer(&predicted, "echo.delay");
    assert!((total["value"].as_f64().unwrap() - path - 60.0).abs() < 1e-6);
    wav(&s.path("voice.wav"), 2560);
    let d = s.json(0, &["contact", "echo", STATION, "voice.wav"]);
    let rest = answer(&d, "echo.processing");
    let (v, u) = (rest["value"].as_f64().unwrap(), rest["u"].as_f64().unwrap());
    assert!(
        (v - (320.0 - path)).abs() < 3.0 * u && u < 2.0,
        "{v} {u} {path}"
    );
    s.expect(2, &["contact", "echo", STATION, "nothing.wav"]);
    s.expect(2, &["contact", "echo", STATION, "--processing", "-1", "0"]);
}
