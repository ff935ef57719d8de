//! Recordings of every kind, written byte by byte here and read back.

use std::io::Write;
use std::path::{Path, PathBuf};

use num_complex::Complex;
use proptest::prelude::*;
use slantpath_capture::CaptureError;
use slantpath_capture::source::{self, OpenOptions, SampleFormat, Source, power_log, sigmf};

/// Reads to the end, asking for `steps` samples in turn.
fn drain(s: &mut dyn Source, steps: &[usize]) -> Result<Vec<Complex<f32>>, CaptureError> {
    let mut got = Vec::new();
    let mut part = vec![Complex::default(); steps.iter().copied().max().unwrap_or(1)];
    for step in steps.iter().cycle() {
        let n = s.read(&mut part[..*step])?;
        if n == 0 {
            break;
        }
        got.extend_from_slice(&part[..n]);
    }
    Ok(got)
}

fn read_path(path: &Path, options: &OpenOptions) -> (Vec<Complex<f32>>, source::About) {
    let mut s = source::open(path, options).unwrap();
    let got = drain(&mut s, &[1000]).unwrap();
    (got, s.about().clone())
}

fn stream(bytes: &[u8], options: &OpenOptions) -> Result<Box<dyn Source>, CaptureError> {
    source::open_stream(std::io::Cursor::new(bytes.to_vec()), "in", options)
}

fn format(name: &str) -> SampleFormat {
    name.parse().unwrap()
}

fn ramp(n: i16) -> Vec<u8> {
    (0..2 * n)
        .flat_map(|k| (k * 7 - 300).to_le_bytes())
        .collect()
}

struct Wav {
    id: &'static [u8; 4],
    chunks: Vec<u8>,
    data_size: u32,
    data: Vec<u8>,
}

fn chunk(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let mut c = id.to_vec();
    c.extend((body.len() as u32).to_le_bytes());
    c.extend(body);
    c.extend(std::iter::repeat_n(0, body.len() % 2));
    c
}

fn fmt_chunk(tag: u16, channels: u16, rate: u32, bits: u16) -> Vec<u8> {
    let align = channels * bits / 8;
    let mut b = Vec::new();
    b.extend(tag.to_le_bytes());
    b.extend(channels.to_le_bytes());
    b.extend(rate.to_le_bytes());
    b.extend((rate * u32::from(align)).to_le_bytes());
    b.extend(align.to_le_bytes());
    b.extend(bits.to_le_bytes());
    chunk(b"fmt ", &b)
}

impl Wav {
    fn new(chunks: Vec<u8>, data: Vec<u8>) -> Self {
        Self {
            id: b"RIFF",
            chunks,
            data_size: data.len() as u32,
            data,
        }
    }

    fn bytes(&self) -> Vec<u8> {
        let mut b = self.id.to_vec();
        b.extend((4 + self.chunks.len() as u32 + 8 + self.data.len() as u32).to_le_bytes());
        b.extend(b"WAVE");
        b.extend(&self.chunks);
        b.extend(b"data");
        b.extend(self.data_size.to_le_bytes());
        b.extend(&self.data);
        b
    }
}

#[test]
fn wav_of_every_width() {
    let cases: [(u16, u16, &str); 6] = [
        (1, 8, "cu8"),
        (1, 16, "ci16"),
        (1, 24, "ci24"),
        (1, 32, "ci32"),
        (3, 32, "cf32"),
        (3, 64, "cf64"),
    ];
    for (tag, bits, name) in cases {
        let data: Vec<u8> = (0..4 * bits).map(|k| (k % 53) as u8).collect();
        let wav = Wav::new(fmt_chunk(tag, 2, 24_000, bits), data.clone()).bytes();
        let mut s = stream(&wav, &OpenOptions::new()).unwrap();
        let got = drain(&mut s, &[3]).unwrap();
        let mut raw = stream(&data, &OpenOptions::new().format(format(name))).unwrap();
        assert_eq!(got, drain(&mut raw, &[5]).unwrap(), "{name}");
        assert_eq!(s.about().sample_rate_hz, Some(24_000.0));
        assert_eq!(s.about().format, format(name));
        assert!(s.about().warnings.is_empty(), "{:?}", s.about().warnings);
    }
}

#[test]
fn wav_extensible_odd_chunks_and_what_follows_the_samples() {
    let mut b = Vec::new();
    b.extend(0xfffeu16.to_le_bytes());
    b.extend(2u16.to_le_bytes());
    b.extend(48_000u32.to_le_bytes());
    b.extend(192_000u32.to_le_bytes());
    b.extend(4u16.to_le_bytes());
    b.extend(16u16.to_le_bytes());
    b.extend(22u16.to_le_bytes());
    b.extend(12u16.to_le_bytes()); // bits in use
    b.extend(3u32.to_le_bytes());
    b.extend([
        1, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71,
    ]);
    let mut chunks = chunk(b"LIST", b"odd");
    chunks.extend(chunk(b"fmt ", &b));
    let mut wav = Wav::new(chunks, ramp(50)).bytes();
    wav.extend(chunk(b"note", b"not samples"));
    let mut s = stream(&wav, &OpenOptions::new()).unwrap();
    assert_eq!(drain(&mut s, &[7]).unwrap().len(), 50);
    assert_eq!(s.about().warnings, ["12 of 16 bits are in use"]);
}

#[test]
fn wav_longer_than_four_gibibytes_is_announced_in_ds64() {
    let mut ds64 = Vec::new();
    ds64.extend(5_000_000_100u64.to_le_bytes());
    ds64.extend(5_000_000_000u64.to_le_bytes());
    ds64.extend(1_250_000_000u64.to_le_bytes());
    ds64.extend(0u32.to_le_bytes());
    for id in [b"RF64", b"BW64"] {
        let mut chunks = chunk(b"ds64", &ds64);
        chunks.extend(fmt_chunk(1, 2, 48_000, 16));
        let wav = Wav {
            id,
            chunks,
            data_size: u32::MAX,
            data: ramp(10),
        }
        .bytes();
        let s = stream(&wav, &OpenOptions::new()).unwrap();
        assert_eq!(s.about().total_samples, Some(1_250_000_000));
        let mut s = s;
        assert_eq!(drain(&mut s, &[64]).unwrap().len(), 10);
        assert!(
            s.about().warnings[0].contains("ends"),
            "{:?}",
            s.about().warnings
        );
    }
}

#[test]
fn wav_of_a_recorder_that_was_stopped_is_read_to_its_end() {
    for size in [0, u32::MAX] {
        let wav = Wav {
            id: b"RIFF",
            chunks: fmt_chunk(1, 2, 8000, 16),
            data_size: size,
            data: ramp(33),
        }
        .bytes();
        let mut s = stream(&wav, &OpenOptions::new()).unwrap();
        assert_eq!(drain(&mut s, &[10]).unwrap().len(), 33);
        assert!(s.about().warnings[0].contains("does not say how long"));
        assert_eq!(s.about().total_samples, Some(33));
    }
}

#[test]
fn wav_refusals_say_what_to_do() {
    let e = |tag, channels, bits| {
        let wav = Wav::new(fmt_chunk(tag, channels, 8000, bits), vec![0; 64]).bytes();
        stream(&wav, &OpenOptions::new())
            .map(|_| ())
            .unwrap_err()
            .to_string()
    };
    assert!(e(1, 1, 16).contains("left I and right Q"));
    assert!(e(7, 2, 8).contains("compress"));
    assert!(e(1, 3, 16).contains("3 channels"));
    assert!(e(1, 4, 16).contains("choose one, 0 to 1"));
    let e = stream(b"RIFF\0\0\0\0WAVEdata\0\0\0\0", &OpenOptions::new())
        .map(|_| ())
        .unwrap_err()
        .to_string();
    assert!(e.contains("byte 12") && e.contains("fmt "), "{e}");
}

#[test]
fn wav_centre_and_start_in_auxi() {
    let mut b = Vec::new();
    for x in [2031u16, 4, 3, 2, 9, 30, 15, 250, 2031, 4, 3, 2, 9, 31, 0, 0] {
        b.extend(x.to_le_bytes());
    }
    for x in [722_175_000u32, 0, 0, 0, 0] {
        b.extend(x.to_le_bytes());
    }
    let make = |auxi: &[u8]| {
        let mut chunks = fmt_chunk(1, 2, 24_000, 16);
        chunks.extend(chunk(b"auxi", auxi));
        stream(&Wav::new(chunks, ramp(5)).bytes(), &OpenOptions::new())
            .unwrap()
            .about()
            .clone()
    };
    let about = make(&b);
    assert_eq!(about.center_hz, Some(722_175_000.0));
    assert_eq!(
        about.start,
        Some("2031-04-02T09:30:15.250Z".parse().unwrap())
    );
    let about = make(b"<xml>something else that is long enough</xml>");
    assert_eq!((about.center_hz, about.start), (None, None));
    assert!(about.warnings[0].contains("auxi"));
}

#[test]
fn one_of_two_pairs_can_be_chosen() {
    let data: Vec<u8> = (0..8 * 10).map(|k| k as u8).collect();
    let wav = Wav::new(fmt_chunk(1, 4, 8000, 16), data.clone()).bytes();
    let mut s = stream(&wav, &OpenOptions::new().channel(1)).unwrap();
    let second: Vec<u8> = data.chunks(8).flat_map(|f| f[4..].to_vec()).collect();
    let mut raw = stream(&second, &OpenOptions::new().format(format("ci16"))).unwrap();
    assert_eq!(drain(&mut s, &[3]).unwrap(), drain(&mut raw, &[4]).unwrap());
}

fn write(folder: &Path, name: &str, bytes: &[u8]) -> PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, bytes).unwrap();
    path
}

const META: &str = r#"{"global": {"core:datatype": "ci16_le", "core:sample_rate": 16000, "core:version": "1.0.0",
  "core:description": "swap", "core:hw": "receiver 1",
  "slantpath:side": "B", "slantpath:remount": 3, "slantpath:block": 2, "slantpath:branch": "sdr", "slantpath:control": true,
  "slantpath:target": "satellite", "slantpath:gain_db": 31.5, "slantpath:transmitting": false},
 "captures": [{"core:sample_start": 0, "core:frequency": 722175000.0, "core:datetime": "2031-04-02T09:00:00.000Z"}],
 "annotations": [{"core:sample_start": 4, "core:sample_count": 3, "core:comment": "cloud", "core:freq_lower_edge": 1, "core:freq_upper_edge": 2}]}"#;

#[test]
fn sigmf_by_any_of_its_names() {
    let dir = tempfile::tempdir().unwrap();
    let meta = write(dir.path(), "day.1.sigmf-meta", META.as_bytes());
    let data = write(dir.path(), "day.1.sigmf-data", &ramp(100));
    let options = OpenOptions::new();
    let (a, about) = read_path(&meta, &options);
    assert_eq!(a.len(), 100);
    assert_eq!(read_path(&data, &options).0, a);
    assert_eq!(read_path(&dir.path().join("day.1"), &options).0, a);
    assert_eq!(about.center_hz, Some(722_175_000.0));
    let m = &about.mount;
    assert_eq!(
        (m.side.as_deref(), m.remount, m.block),
        (Some("B"), Some(3), Some(2))
    );
    assert_eq!(
        (m.branch.as_deref(), m.control, m.gain_db),
        (Some("sdr"), true, Some(31.5))
    );
    assert_eq!(
        (m.target.as_deref(), m.transmitting),
        (Some("satellite"), Some(false))
    );
    assert_eq!(about.annotations[0].text, "cloud");
    assert_eq!(about.annotations[0].edges_hz, Some((1.0, 2.0)));
    assert_eq!(about.duration_s(), Some(100.0 / 16000.0));
    assert_eq!(about.sha256.as_deref().map(str::len), Some(64));
    assert_eq!(about.metadata_sha256.as_deref().map(str::len), Some(64));
    assert!(about.warnings.is_empty(), "{:?}", about.warnings);
}

#[test]
fn what_the_caller_says_wins() {
    let dir = tempfile::tempdir().unwrap();
    let meta = write(dir.path(), "a.sigmf-meta", META.as_bytes());
    write(dir.path(), "a.sigmf-data", &ramp(10));
    let at = "2031-05-01T00:00:00Z".parse().unwrap();
    let mount = source::Mount {
        remount: Some(9),
        ..Default::default()
    };
    let (_, about) = read_path(
        &meta,
        &OpenOptions::new().center_hz(1e9).start(at).mount(mount),
    );
    assert_eq!((about.center_hz, about.start), (Some(1e9), Some(at)));
    assert_eq!(about.segments[0].center_hz, Some(1e9));
    assert_eq!(
        (about.mount.remount, about.mount.side.as_deref()),
        (Some(9), Some("B"))
    );
}

#[test]
fn sigmf_digest_is_checked() {
    let dir = tempfile::tempdir().unwrap();
    let sum = "0".repeat(128);
    let text = META.replacen(
        "\"global\": {",
        &format!("\"global\": {{\"core:sha512\": \"{sum}\","),
        1,
    );
    let meta = write(dir.path(), "a.sigmf-meta", text.as_bytes());
    write(dir.path(), "a.sigmf-data", &ramp(10));
    let (_, about) = read_path(&meta, &OpenOptions::new());
    assert!(
        about.warnings[0].contains("SHA-512"),
        "{:?}",
        about.warnings
    );
}

#[test]
fn sigmf_dataset_under_another_name() {
    let dir = tempfile::tempdir().unwrap();
    let text = META.replacen(
        "\"global\": {",
        "\"global\": {\"core:dataset\": \"old.bin\", \"core:trailing_bytes\": 6,",
        1,
    );
    let text = text.replacen(
        "\"core:sample_start\": 0,",
        "\"core:sample_start\": 0, \"core:header_bytes\": 3,",
        1,
    );
    let meta = write(dir.path(), "a.sigmf-meta", text.as_bytes());
    let mut bytes = vec![9; 3];
    bytes.extend(ramp(20));
    bytes.extend([7; 6]);
    write(dir.path(), "old.bin", &bytes);
    let (got, about) = read_path(&meta, &OpenOptions::new());
    let mut raw = stream(&ramp(20), &OpenOptions::new().format(format("ci16"))).unwrap();
    assert_eq!(got, drain(&mut raw, &[20]).unwrap());
    assert_eq!(about.total_samples, Some(20));
    assert!(about.warnings.is_empty(), "{:?}", about.warnings);
}

#[test]
fn sigmf_archive_with_several_recordings() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("set.sigmf");
    let mut tar = tar::Builder::new(std::fs::File::create(&path).unwrap());
    let mut add = |name: &str, bytes: &[u8]| {
        let mut h = tar::Header::new_gnu();
        h.set_size(bytes.len() as u64);
        h.set_mode(0o644);
        h.set_cksum();
        tar.append_data(&mut h, name, bytes).unwrap();
    };
    add("first/first.sigmf-data", &ramp(30));
    add("first/first.sigmf-meta", META.as_bytes());
    add("second/second.sigmf-meta", META.as_bytes());
    add("second/second.sigmf-data", &ramp(40));
    tar.into_inner().unwrap().flush().unwrap();
    assert_eq!(sigmf::recordings(&path).unwrap(), ["first", "second"]);
    assert_eq!(
        read_path(&path, &OpenOptions::new().recording("first"))
            .0
            .len(),
        30
    );
    assert_eq!(
        read_path(&path, &OpenOptions::new().recording("second"))
            .0
            .len(),
        40
    );
    let e = source::open(&path, &OpenOptions::new())
        .map(|_| ())
        .unwrap_err()
        .to_string();
    assert!(e.contains("first, second"), "{e}");
    let e = source::open(&path, &OpenOptions::new().recording("third"))
        .map(|_| ())
        .unwrap_err()
        .to_string();
    assert!(e.contains("third"), "{e}");
}

#[test]
fn a_raw_stream_needs_its_format() {
    let e = stream(&[1, 2, 3], &OpenOptions::new())
        .map(|_| ())
        .unwrap_err()
        .to_string();
    assert!(e.contains("sample format"), "{e}");
    let mut s = stream(
        &[1, 2, 3],
        &OpenOptions::new().format(format("cu8")).sample_rate_hz(1e6),
    )
    .unwrap();
    assert_eq!(drain(&mut s, &[9]).unwrap().len(), 1);
    assert!(s.about().warnings[0].contains("no whole sample"));
    assert_eq!(s.about().sample_rate_hz, Some(1e6));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn reading_does_not_depend_on_the_chunk_size(
        bytes in proptest::collection::vec(any::<u8>(), 0..4000),
        steps in proptest::collection::vec(1usize..300, 1..6),
        kind in 0usize..6,
        header in 0u64..9,
    ) {
        let name = ["cu8", "ci8", "ci16_be", "cf32_le", "cf64_be", "cu32_le"][kind];
        let dir = tempfile::tempdir().unwrap();
        let text = format!(r#"{{"global": {{"core:datatype": "{name}", "core:dataset": "d"}}, "captures": [
            {{"core:sample_start": 0}}, {{"core:sample_start": 5, "core:header_bytes": {header}}}]}}"#);
        let meta = write(dir.path(), "a.sigmf-meta", text.as_bytes());
        write(dir.path(), "d", &bytes);
        let bits = |steps: &[usize]| -> (Vec<(u32, u32)>, Vec<String>) {
            let mut s = source::open(&meta, &OpenOptions::new()).unwrap();
            let got = drain(&mut s, steps).unwrap();
            (got.iter().map(|z| (z.re.to_bits(), z.im.to_bits())).collect(), s.about().warnings.clone())
        };
        prop_assert_eq!(bits(&steps), bits(&[1 << 16]));
    }

    #[test]
    fn byte_soup_is_an_error_or_samples_but_never_a_panic(mut soup in proptest::collection::vec(any::<u8>(), 0..600), kind in 0usize..4) {
        // Headers of the right shape lead deeper into the parsers.
        match kind {
            0 => soup.splice(0..0, *b"RIFF\x10\0\0\0WAVEfmt \x10\0\0\0").for_each(drop),
            1 => soup.splice(0..0, *b"RF64\xff\xff\xff\xffWAVEds64\x1c\0\0\0").for_each(drop),
            _ => {}
        }
        if let Ok(mut s) = stream(&soup, &OpenOptions::new().format(format("ci16"))) {
            let _ = drain(&mut s, &[64]);
        }
        let dir = tempfile::tempdir().unwrap();
        for name in ["a.sigmf", "b.sigmf-meta"] {
            let path = write(dir.path(), name, &soup);
            write(dir.path(), "b.sigmf-data", &soup);
            if let Ok(mut s) = source::open(&path, &OpenOptions::new()) {
                let _ = drain(&mut s, &[64]);
            }
        }
        let _ = power_log::read(&soup[..], "log");
    }

    #[test]
    fn a_damaged_header_is_an_error_or_samples_but_never_a_panic(at in 0usize..400, with in any::<u8>(), cut in 0usize..700) {
        let dir = tempfile::tempdir().unwrap();
        let mut text = META.as_bytes().to_vec();
        let k = at % text.len();
        text[k] = with;
        let meta = write(dir.path(), "a.sigmf-meta", &text);
        write(dir.path(), "a.sigmf-data", &ramp(10));
        if let Ok(mut s) = source::open(&meta, &OpenOptions::new()) {
            let _ = drain(&mut s, &[4]);
        }
        let mut chunks = chunk(b"ds64", &[3; 28]);
        chunks.extend(fmt_chunk(1, 2, 48_000, 16));
        chunks.extend(chunk(b"auxi", &[1; 60]));
        let mut wav = Wav { id: b"RF64", chunks, data_size: u32::MAX, data: ramp(10) }.bytes();
        let k = at % wav.len();
        wav[k] = with;
        wav.truncate(cut);
        if let Ok(mut s) = stream(&wav, &OpenOptions::new()) {
            let _ = drain(&mut s, &[4]);
        }
        let path = dir.path().join("t.sigmf");
        let mut tar = tar::Builder::new(Vec::new());
        for (name, body) in [("r/r.sigmf-meta", META.as_bytes()), ("r/r.sigmf-data", &ramp(9)[..])] {
            let mut h = tar::Header::new_ustar();
            h.set_size(body.len() as u64);
            h.set_cksum();
            tar.append_data(&mut h, name, body).unwrap();
        }
        let mut bytes = tar.into_inner().unwrap();
        let k = at * 7 % bytes.len();
        bytes[k] = with;
        std::fs::write(&path, &bytes).unwrap();
        if let Ok(mut s) = source::open(&path, &OpenOptions::new()) {
            let _ = drain(&mut s, &[4]);
        }
    }

    #[test]
    fn number_soup_in_metadata_is_never_a_panic(start in any::<u64>(), header in any::<u64>(), offset in any::<u64>(), trailing in any::<u64>(), rate in any::<f64>()) {
        let dir = tempfile::tempdir().unwrap();
        let rate = if rate.is_finite() { rate } else { 1.0 };
        let text = format!(r#"{{"global": {{"core:datatype": "cf64_le", "core:sample_rate": {rate:e}, "core:offset": {offset}, "core:trailing_bytes": {trailing}}},
            "captures": [{{"core:sample_start": {offset}, "core:header_bytes": {header}}}, {{"core:sample_start": {start}, "core:header_bytes": {header}}}]}}"#);
        let meta = write(dir.path(), "a.sigmf-meta", text.as_bytes());
        write(dir.path(), "a.sigmf-data", &ramp(100));
        if let Ok(mut s) = source::open(&meta, &OpenOptions::new()) {
            let _ = drain(&mut s, &[4]);
        }
    }
}

/// The example recordings beside the repository, where they are.
#[test]
fn example_recordings_are_read_whole() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../../shared/captures");
    if !folder.is_dir() {
        println!("skipped: no folder ../shared/captures");
        return;
    }
    let mut count = 0;
    for entry in std::fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        let ending = path
            .extension()
            .and_then(|e| e.to_str())
            .unwrap_or_default();
        if !matches!(ending, "sigmf-meta" | "wav") {
            continue;
        }
        let truth: serde_json::Value =
            serde_json::from_slice(&std::fs::read(path.with_extension("truth.json")).unwrap())
                .unwrap();
        let (got, about) = read_path(&path, &OpenOptions::new());
        assert_eq!(
            got.len() as u64,
            truth["samples"].as_u64().unwrap(),
            "{}",
            path.display()
        );
        assert_eq!(about.sample_rate_hz, truth["sample_rate_hz"].as_f64());
        assert!(about.warnings.is_empty(), "{:?}", about.warnings);
        count += 1;
    }
    assert!(count > 10);
}

/// Every recording that ships, by the independent generator (`authority/recordings`).
#[test]
fn shipped_recordings_are_read_whole() {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut count = 0;
    for (recordings, truths) in [
        (here.join("tests/data"), here.join("tests/data")),
        (
            here.join("../../demo/recordings"),
            here.join("../../demo/truth"),
        ),
    ] {
        for entry in std::fs::read_dir(&recordings).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_stem().unwrap().to_str().unwrap();
            let truth: serde_json::Value =
                match std::fs::read(truths.join(format!("{name}.truth.json"))) {
                    Ok(text) => serde_json::from_slice(&text).unwrap(),
                    Err(_) => continue,
                };
            match path
                .extension()
                .and_then(|e| e.to_str())
                .unwrap_or_default()
            {
                "csv" => {
                    let log = power_log::read(std::fs::File::open(&path).unwrap(), name).unwrap();
                    assert_eq!(log.readings.len(), 1200);
                    let (lowest, highest) = log
                        .readings
                        .iter()
                        .fold((f64::MAX, f64::MIN), |(a, b), (_, p)| {
                            (a.min(*p), b.max(*p))
                        });
                    let y_db = truth["y_peak_db"].as_f64().unwrap();
                    assert!((highest - lowest - y_db).abs() < 0.1, "{name}");
                    count += 1;
                }
                "sigmf-meta" | "wav" => {
                    let (got, about) = read_path(&path, &OpenOptions::new());
                    assert_eq!(
                        got.len() as u64,
                        truth["samples"].as_u64().unwrap(),
                        "{name}"
                    );
                    assert_eq!(about.sample_rate_hz, truth["sample_rate_hz"].as_f64());
                    if path.extension().unwrap() == "sigmf-meta" {
                        assert_eq!(about.center_hz, truth["center_frequency_hz"].as_f64());
                        assert!(about.start.is_some());
                    }
                    // A matching SHA-512 leaves no warning.
                    assert!(about.warnings.is_empty(), "{name} {:?}", about.warnings);
                    count += 1;
                }
                _ => {}
            }
        }
    }
    assert!(count >= 28, "{count}");
}
