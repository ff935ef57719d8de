//! Running the real binary.
#![allow(dead_code, missing_docs)] // each test file uses its part

use serde_json::Value;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

pub fn demo(name: &str) -> String {
    root().join("demo").join(name).display().to_string()
}

pub fn recording(name: &str) -> String {
    demo(&format!("recordings/{name}.sigmf-meta"))
}

pub fn truth(name: &str) -> Value {
    let path = root().join("demo/truth").join(name);
    serde_json::from_str(&fs::read_to_string(path).unwrap()).unwrap()
}

/// The twelve recordings of the demo's trial.
pub fn trial() -> Vec<String> {
    let mut files: Vec<String> = fs::read_dir(demo("recordings"))
        .unwrap()
        .map(|e| e.unwrap().path().display().to_string())
        .filter(|p| p.contains("trial-") && p.ends_with(".sigmf-meta"))
        .collect();
    files.sort();
    assert_eq!(files.len(), 12);
    files
}

/// Runs, wants this exit code and no trace of a panic.
pub fn expect<S: AsRef<str>>(code: i32, args: &[S]) -> Output {
    expect_with(code, args, "")
}

/// The same with something on standard input.
pub fn expect_with<S: AsRef<str>>(code: i32, args: &[S], input: &str) -> Output {
    let args: Vec<&str> = args.iter().map(AsRef::as_ref).collect();
    let mut child = Command::new(env!("CARGO_BIN_EXE_slantpath"))
        .args(&args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A program that does not read may be gone already.
    let _ = child.stdin.take().unwrap().write_all(input.as_bytes());
    let o = child.wait_with_output().unwrap();
    let err = stderr(&o);
    assert!(!err.contains("panicked"), "{args:?}: {err}");
    assert_eq!(
        o.status.code(),
        Some(code),
        "{args:?}: {err}\n{}",
        stdout(&o)
    );
    o
}

pub fn stdout(o: &Output) -> String {
    String::from_utf8(o.stdout.clone()).unwrap()
}

pub fn stderr(o: &Output) -> String {
    String::from_utf8(o.stderr.clone()).unwrap()
}

pub fn document(o: &Output) -> Value {
    serde_json::from_slice(&o.stdout).unwrap()
}

/// Every sheet's sections: of one sheet, or of several in one document.
pub fn sections(doc: &Value) -> Vec<&Value> {
    let list = |v: &'_ Value| v["sections"].as_array().map(|a| a.len());
    if list(doc).is_some() {
        return doc["sections"].as_array().unwrap().iter().collect();
    }
    doc["sheets"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|s| s["sections"].as_array().unwrap())
        .collect()
}

pub fn answers(doc: &Value) -> Vec<&Value> {
    sections(doc)
        .into_iter()
        .flat_map(|s| s["answers"].as_array().unwrap())
        .collect()
}

pub fn answer<'a>(doc: &'a Value, measurand: &str) -> &'a Value {
    answers(doc)
        .into_iter()
        .find(|a| a["measurand"] == measurand)
        .unwrap_or_else(|| {
            let there: Vec<_> = answers(doc)
                .iter()
                .map(|a| a["measurand"].to_string())
                .collect();
            panic!("no answer {measurand}: {}", there.join(" "))
        })
}

pub fn value(doc: &Value, measurand: &str) -> f64 {
    answer(doc, measurand)["value"].as_f64().unwrap()
}

/// The 95 % interval.
pub fn interval(a: &Value) -> (f64, f64) {
    (
        a["interval"][0].as_f64().unwrap(),
        a["interval"][1].as_f64().unwrap(),
    )
}

pub fn assert_inside(a: &Value, truth: f64) {
    let (low, high) = interval(a);
    assert!((low..=high).contains(&truth), "{truth}: {low} to {high}");
}
