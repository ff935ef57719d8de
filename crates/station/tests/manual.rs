//! The manual names every key that is read, and no key that is not.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// Words in back quotes, single names only (also those inside an example such as `cover = { thickness = ... }`).
fn named(text: &str) -> BTreeSet<String> {
    let mut out = BTreeSet::new();
    for (i, piece) in text.split('`').enumerate() {
        if i % 2 == 1 {
            for word in piece.split(|c: char| !(c.is_ascii_alphanumeric() || c == '_')) {
                if word.starts_with(|c: char| c.is_ascii_lowercase()) {
                    out.insert(word.to_string());
                }
            }
        }
    }
    out
}

/// Keys that the reading code asks a section for.
fn asked() -> BTreeSet<String> {
    let dir = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/read");
    let mut out = BTreeSet::new();
    for f in fs::read_dir(dir).unwrap() {
        let text: String = fs::read_to_string(f.unwrap().path())
            .unwrap()
            .split_whitespace()
            .collect();
        for call in [
            "optional(",
            "required(",
            "or_default(",
            "exact(",
            "required_exact(",
            ".sub(",
            ".text(",
            ".flag(",
            ".count(",
            ".choice(",
            ".texts(",
            ".list(",
            ".get(",
            ".section(",
            "required_text(",
            "band(",
            "flag(s,",
            "required_band(s,",
            "power(s,",
            "tolerance_hz(s,",
            "text(",
            "geographic(s,",
            "required_polarisation(&muts,",
            "geographic(&muts,",
        ] {
            for (i, _) in text.match_indices(call) {
                let rest = &text[i + call.len()..];
                if let Some(key) = rest.strip_prefix('"').and_then(|r| r.split('"').next())
                    && !key.is_empty()
                    && key
                        .chars()
                        .all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_')
                {
                    out.insert(key.to_string());
                }
            }
        }
    }
    out
}

#[test]
fn every_key_is_in_the_manual() {
    let mut manual = BTreeSet::new();
    for f in ["station-file.md", "satellite-file.md"] {
        manual.extend(named(
            &fs::read_to_string(root().join("docs/manual").join(f)).unwrap(),
        ));
    }
    let asked = asked();
    assert!(asked.len() > 120, "{}", asked.len());
    let missing: Vec<_> = asked.difference(&manual).collect();
    assert!(missing.is_empty(), "not in the manual: {missing:?}");
}

#[test]
fn every_key_in_the_manuals_tables_is_read() {
    let asked = asked();
    // The first column of the tables is keys only; headings there are skipped.
    for f in ["station-file.md", "satellite-file.md"] {
        let text = fs::read_to_string(root().join("docs/manual").join(f)).unwrap();
        let mut in_keys = false;
        for line in text.lines() {
            if line.starts_with("| key |") {
                in_keys = true;
            } else if !line.starts_with('|') {
                in_keys = false;
            } else if in_keys && let Some(first) = line.split('|').nth(1) {
                for key in named(first) {
                    assert!(asked.contains(&key), "{f}: `{key}` is not read");
                }
            }
        }
    }
}
