//! Every datatype of SigMF through the file reader, against components written by hand; metadata that says too little.
//!
//! Full scale 1 is the rail; unsigned zero lies between the two middle codes (SigMF specification, "dataset format", names
//! the types; where zero lies is common practice, no source).

use std::path::Path;

use num_complex::Complex;
use slantpath_capture::source::{self, OpenOptions, Source};
use slantpath_capture::{CaptureError, CentreMeaning, SearchPlan, Settings, measure};
use slantpath_stats::{Progress, Stop};

fn open(
    folder: &Path,
    global: &str,
    captures: &str,
    data: &[u8],
) -> Result<Box<dyn Source>, CaptureError> {
    let meta = folder.join("a.sigmf-meta");
    let text = format!("{{\"global\": {{{global}}}, \"captures\": [{captures}]}}");
    std::fs::write(&meta, text).unwrap();
    std::fs::write(folder.join("a.sigmf-data"), data).unwrap();
    source::open(&meta, &OpenOptions::new())
}

fn samples(s: &mut dyn Source) -> Vec<Complex<f32>> {
    let mut all = Vec::new();
    let mut part = [Complex::default(); 3];
    loop {
        let n = s.read(&mut part).unwrap();
        if n == 0 {
            return all;
        }
        all.extend_from_slice(&part[..n]);
    }
}

/// Components of three samples: rail, zero or half a step beside it, a quarter, a negative quarter, and again the rail.
type Written = fn(f64) -> Vec<u8>;

fn code(v: f64, top: f64, zero: f64) -> f64 {
    (zero + v * top).round()
}

#[test]
fn every_datatype_and_both_orders() {
    // Name without order, step of the converter, big-endian bytes of a value.
    let types: [(&str, f64, Written); 8] = [
        ("ci8", 1.0 / 127.0, |v| {
            (code(v, 127.0, 0.0) as i8).to_be_bytes().to_vec()
        }),
        ("cu8", 1.0 / 127.5, |v| vec![code(v, 127.5, 127.5) as u8]),
        ("ci16", 1.0 / 32767.0, |v| {
            (code(v, 32767.0, 0.0) as i16).to_be_bytes().to_vec()
        }),
        ("cu16", 1.0 / 32767.5, |v| {
            (code(v, 32767.5, 32767.5) as u16).to_be_bytes().to_vec()
        }),
        ("ci32", 1e-7, |v| {
            (code(v, 2_147_483_647.0, 0.0) as i32)
                .to_be_bytes()
                .to_vec()
        }),
        ("cu32", 1e-7, |v| {
            (code(v, 2_147_483_647.5, 2_147_483_647.5) as u32)
                .to_be_bytes()
                .to_vec()
        }),
        ("cf32", 1e-7, |v| (v as f32).to_be_bytes().to_vec()),
        ("cf64", 1e-7, |v| v.to_be_bytes().to_vec()),
    ];
    let dir = tempfile::tempdir().unwrap();
    let values = [1.0, 0.0, 0.25, -0.25, -1.0, 0.7];
    for (name, step, written) in types {
        for order in ["_be", "_le", ""] {
            let mut bytes = Vec::new();
            for v in values {
                let mut b = written(v);
                // Without a suffix a type of several bytes is read as the usual little-endian one.
                if order != "_be" {
                    b.reverse();
                }
                bytes.extend(b);
            }
            let single = name.ends_with('8');
            if single != order.is_empty() {
                continue; // an order belongs to types of more than one byte
            }
            let global =
                format!("\"core:datatype\": \"{name}{order}\", \"core:sample_rate\": 1000");
            let mut s = open(dir.path(), &global, "{\"core:sample_start\": 0}", &bytes).unwrap();
            let got = samples(s.as_mut());
            assert_eq!(got.len(), 3, "{name}{order}");
            let read: Vec<f64> = got
                .iter()
                .flat_map(|z| [z.re, z.im])
                .map(f64::from)
                .collect();
            for (r, v) in read.iter().zip(values) {
                assert!((r - v).abs() <= 0.501 * step, "{name}{order}: {r} for {v}");
            }
            assert!(s.about().warnings.is_empty(), "{:?}", s.about().warnings);
        }
    }
}

#[test]
fn real_samples_are_refused_with_a_way_out() {
    let dir = tempfile::tempdir().unwrap();
    for name in ["ri16_le", "rf32_le", "ru8"] {
        let global = format!("\"core:datatype\": \"{name}\", \"core:sample_rate\": 1000");
        let e = open(dir.path(), &global, "", &[0; 64])
            .err()
            .unwrap()
            .to_string();
        assert!(e.contains(name) || e.contains("real"), "{e}");
    }
}

#[test]
fn metadata_that_says_too_little() {
    let dir = tempfile::tempdir().unwrap();
    let e = |global: &str, captures: &str| -> String {
        open(dir.path(), global, captures, &[0; 64])
            .err()
            .map_or_else(String::new, |e| format!("{e:?} {e}"))
    };
    // Without the datatype nothing can be read; the message names the field.
    assert!(e("\"core:sample_rate\": 1000", "").contains("core:datatype"));
    assert!(e("\"core:datatype\": \"ci12\"", "").contains("ci12"));
    assert!(
        e(
            "\"core:datatype\": \"cu8\", \"core:sample_rate\": \"fast\"",
            ""
        )
        .contains("core:sample_rate")
    );
    assert!(
        e(
            "\"core:datatype\": \"cu8\"",
            "{\"core:sample_start\": 5}, {\"core:sample_start\": 2}"
        )
        .contains("captures[1]")
    );
    // Rate, captures and centre may be missing: the samples are there, what is not known is `None`.
    let mut s = open(dir.path(), "\"core:datatype\": \"cu8\"", "", &[0; 64]).unwrap();
    assert_eq!(samples(s.as_mut()).len(), 32);
    assert_eq!(
        (s.about().sample_rate_hz, s.about().center_hz),
        (None, None)
    );
}

#[test]
fn captures_of_different_centre_and_a_torn_end() {
    let dir = tempfile::tempdir().unwrap();
    // 7 samples of 4 bytes and half of an eighth.
    let mut s = open(
        dir.path(),
        "\"core:datatype\": \"ci16_le\", \"core:sample_rate\": 1000",
        "{\"core:sample_start\": 0, \"core:frequency\": 1e9}, {\"core:sample_start\": 4, \"core:frequency\": 1.1e9}",
        &[1; 30],
    )
    .unwrap();
    assert_eq!(samples(s.as_mut()).len(), 7);
    let centres: Vec<Option<f64>> = s.about().segments.iter().map(|s| s.center_hz).collect();
    assert_eq!(centres, [Some(1e9), Some(1.1e9)]);
    assert_eq!(s.about().segments[1].start_sample, 4);
    assert!(
        s.about().warnings.iter().any(|w| w.contains("2 byte")),
        "{:?}",
        s.about().warnings
    );
}

#[test]
fn a_recording_that_was_retuned_is_not_measured_as_one() {
    let dir = tempfile::tempdir().unwrap();
    let mut s = open(
        dir.path(),
        "\"core:datatype\": \"ci16_le\", \"core:sample_rate\": 1000",
        "{\"core:sample_start\": 0, \"core:frequency\": 1e9}, {\"core:sample_start\": 4000, \"core:frequency\": 1.1e9}",
        &[1; 32_000],
    )
    .unwrap();
    let plan = SearchPlan::new(vec![CentreMeaning::TrueRf], Vec::new(), Vec::new());
    let e = measure(
        s.as_mut(),
        &plan,
        &Settings::default(),
        &Progress::silent(),
        &Stop::new(),
    )
    .err()
    .unwrap()
    .to_string();
    assert!(e.contains("1000.000000 and 1100.000000 MHz"), "{e}");
}
