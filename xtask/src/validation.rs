//! Holds `docs/validation.md` against the tests it names: every row has a source, a figure and tests that exist. With
//! `--run` it runs those tests and shows what they print beside the figures stated.

use crate::root;
use anyhow::{Context, Result, bail};
use std::fs;
use std::process::Command;

const PAGE: &str = "docs/validation.md";

/// A row of the table: what, against, agreement, tests.
struct Row {
    what: String,
    stated: String,
    tests: Vec<String>,
}

fn rows(text: &str) -> Result<Vec<Row>> {
    let mut out = Vec::new();
    // The page's other tables say how far single figures agree: theirs is the prose around them.
    let table = text
        .lines()
        .skip_while(|l| !l.starts_with("| what | against |"))
        .take_while(|l| l.starts_with('|'))
        .filter(|l| l.starts_with("| "));
    for line in table {
        let cells: Vec<&str> = line.trim_matches('|').split(" | ").map(str::trim).collect();
        let [what, against, stated, tests] = cells.as_slice() else {
            bail!("{PAGE}: a row has not four cells: {line}");
        };
        if *what == "what" {
            continue;
        }
        let tests: Vec<String> = tests
            .split('`')
            .skip(1)
            .step_by(2)
            .map(String::from)
            .collect();
        if against.is_empty() || stated.is_empty() || tests.is_empty() {
            bail!("{PAGE}: a row without source, figure or test: {line}");
        }
        out.push(Row {
            what: (*what).to_string(),
            stated: (*stated).to_string(),
            tests,
        });
    }
    if out.is_empty() {
        bail!("{PAGE}: no table of what was checked against what");
    }
    Ok(out)
}

pub fn run(rest: &[String]) -> Result<bool> {
    let text = fs::read_to_string(root().join(PAGE)).context(PAGE)?;
    let rows = rows(&text)?;
    let mut good = true;
    for test in rows.iter().flat_map(|r| &r.tests) {
        let there = fs::read_to_string(root().join("crates").join(test)).unwrap_or_default();
        let wanted = if is_bench(test) { "fn main" } else { "#[test]" };
        if !there.contains(wanted) {
            eprintln!("validation: crates/{test} is no file with tests");
            good = false;
        }
    }
    println!(
        "validation: {} rows, each with source, figure and test",
        rows.len()
    );
    if !good || !rest.iter().any(|a| a == "--run") {
        return Ok(good);
    }
    for r in &rows {
        println!("\n{}\n  stated: {}", r.what, r.stated);
        for test in &r.tests {
            if is_bench(test) {
                println!("  {test}: a bench, run by hand (cargo bench)");
            } else {
                good &= shown(test)?;
            }
        }
    }
    Ok(good)
}

/// Long runs are benches, not tests.
fn is_bench(test: &str) -> bool {
    test.contains("/benches/")
}

/// Runs one file of tests and shows the lines that they print.
fn shown(test: &str) -> Result<bool> {
    let Some((room, file)) = test.split_once('/') else {
        bail!("{PAGE}: `{test}` is not <room>/<file>");
    };
    let package = if room == "cli" {
        "slantpath".to_string()
    } else {
        format!("slantpath-{room}")
    };
    let mut cargo = Command::new(env!("CARGO"));
    cargo
        .current_dir(root())
        .args(["test", "--quiet", "-p", &package]);
    match file
        .strip_prefix("tests/")
        .and_then(|f| f.strip_suffix(".rs"))
    {
        Some(name) => cargo.args(["--test", name]),
        None => cargo.arg("--lib"),
    };
    let out = cargo
        .args(["--", "--nocapture", "--test-threads=1"])
        .output()
        .context("cargo test did not start")?;
    for line in String::from_utf8_lossy(&out.stdout).lines() {
        let noise =
            line.is_empty() || line.starts_with("running ") || line.starts_with("test result");
        if !noise && line.chars().any(|c| c.is_ascii_digit()) {
            println!("  {test}: {line}");
        }
    }
    if !out.status.success() {
        println!("  {test}: FAILED");
    }
    Ok(out.status.success())
}
