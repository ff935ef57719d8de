//! Files with one mistake each, which carry the message expected inside them.
//!
//! A fixture in `tests/bad/` holds blocks of TOML that replace the blocks of the same heading in `tests/base/` (or are
//! added), so that it shows the mistake and nothing else. A block whose first line is only `# drop` after its heading is
//! taken away. `# file: satellite` puts the fixture into the satellite file.
//!
//! `key = value  # expect: error: text | more text` expects a problem of that severity on that line whose drawing holds
//! all the texts; `# expect above: ...` speaks of the line before, `# elsewhere: ...` of a problem with no place here.
//! Every problem must be expected, and every expectation met.

use slantpath_input::{Problem, Problems, Source, Style, render};
use slantpath_station::{read_satellite, read_station};
use std::fs;
use std::path::{Path, PathBuf};

fn here(dir: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests")
        .join(dir)
}

/// Heading and lines; the part before the first heading has an empty one. Comments before a heading belong to it.
fn blocks(text: &str) -> Vec<(String, String)> {
    let mut out: Vec<(String, String)> = vec![(String::new(), String::new())];
    for line in text.lines() {
        if line.starts_with('[') {
            let heading = line.split('#').next().unwrap().trim().to_string();
            out.push((heading, String::new()));
        }
        let last = out.last_mut().unwrap();
        last.1.push_str(line);
        last.1.push('\n');
    }
    out
}

fn merged(base: &str, fixture: &str) -> String {
    let mut all = blocks(base);
    let mut replaced: Vec<String> = Vec::new();
    for (heading, text) in blocks(fixture) {
        if heading.is_empty() {
            // The top of the file: replaced only by a fixture that writes keys there.
            if text
                .lines()
                .any(|l| !l.trim().is_empty() && !l.starts_with('#'))
            {
                all[0].1 = text;
            } else {
                all[0].1.insert_str(0, &text);
            }
            continue;
        }
        let drop = text.lines().nth(1).is_some_and(|l| l.trim() == "# drop");
        // Arrays of tables are replaced as a whole by the first, then added to.
        let again = replaced.contains(&heading);
        match all.iter().position(|b| b.0 == heading) {
            Some(i) if drop => {
                all.remove(i);
            }
            Some(i) if !again => all[i].1 = text,
            _ => all.push((heading.clone(), text)),
        }
        replaced.push(heading);
    }
    all.into_iter().map(|b| b.1).collect()
}

struct Expected {
    line: Option<usize>,
    severity: String,
    texts: Vec<String>,
}

fn expectations(text: &str) -> Vec<Expected> {
    let mut out = Vec::new();
    for (i, line) in text.lines().enumerate() {
        for (mark, at) in [
            ("# expect: ", Some(i + 1)),
            ("# expect above: ", Some(i)),
            ("# elsewhere: ", None),
        ] {
            if let Some((_, rest)) = line.split_once(mark) {
                let (severity, rest) = rest.split_once(": ").unwrap_or(("no severity", rest));
                out.push(Expected {
                    line: at,
                    severity: severity.to_string(),
                    texts: rest.split(" | ").map(|t| t.trim().to_string()).collect(),
                });
            }
        }
    }
    out
}

fn check(name: &str, fixture: &str) -> Result<(), String> {
    let base = |f: &str| fs::read_to_string(here("base").join(f)).unwrap();
    let in_satellite = fixture.contains("# file: satellite");
    let whole = fixture.contains("# whole file");
    let subject = if in_satellite {
        "satellite.toml"
    } else {
        "station.toml"
    };
    let text = if whole {
        fixture.to_string()
    } else {
        merged(&base(subject), fixture)
    };
    let source = Source::new(subject, text.clone());
    let problems: Problems = if in_satellite {
        read_satellite(&source).1
    } else {
        read_station(&source, &mut |p| {
            if p == "satellite.toml" {
                Ok(Source::new(p, base("satellite.toml")))
            } else {
                Err("there is no such file".into())
            }
        })
        .1
    };
    let expected = expectations(&text);
    if expected.is_empty() {
        return Err(format!("{name}: expects nothing"));
    }
    let meets = |p: &Problem, e: &Expected| {
        let line = p
            .place
            .as_ref()
            .filter(|x| x.source.name() == subject)
            .map(|x| x.line_column().0);
        // The drawing without the source lines, in which the expectation itself stands.
        let shown: String = render(p, Style::PLAIN)
            .lines()
            .filter(|l| !l.contains("# expect") && !l.contains("# elsewhere"))
            .map(|l| format!("{l}\n"))
            .collect();
        (e.line == line || (e.line.is_none() && line.is_none()))
            && e.severity == p.severity.name()
            && e.texts.iter().all(|t| shown.contains(t.as_str()))
    };
    let drawn = |p: &Problem| render(p, Style::PLAIN);
    for e in &expected {
        if !problems.iter().any(|p| meets(p, e)) {
            let all: String = problems.iter().map(drawn).collect();
            return Err(format!(
                "{name}: expected at {:?}: {:?}, found\n{all}",
                e.line, e.texts
            ));
        }
    }
    for p in &problems {
        if !expected.iter().any(|e| meets(p, e)) {
            return Err(format!("{name}: not expected\n{}", drawn(p)));
        }
    }
    Ok(())
}

#[test]
fn every_mistake_gets_its_message() {
    let mut files: Vec<PathBuf> = fs::read_dir(here("bad"))
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|x| x == "toml"))
        .collect();
    files.sort();
    assert!(files.len() >= 60, "only {} fixtures", files.len());
    let wrong: Vec<String> = files
        .iter()
        .filter_map(|p| {
            let name = p.file_name().unwrap().to_string_lossy().into_owned();
            check(&name, &fs::read_to_string(p).unwrap()).err()
        })
        .collect();
    assert!(
        wrong.is_empty(),
        "{} of {}:\n{}",
        wrong.len(),
        files.len(),
        wrong.join("\n")
    );
}

#[test]
fn the_base_itself_is_sound() {
    let base = |f: &str| Source::new(f, fs::read_to_string(here("base").join(f)).unwrap());
    let (file, problems) = read_station(&base("station.toml"), &mut |p| Ok(base(p)));
    assert!(problems.is_empty() && file.is_some(), "{problems:?}");
}

#[test]
fn a_fixture_that_expects_wrongly_fails() {
    assert!(
        check(
            "a",
            "[part.cable]\nkind = \"cable\"\n# expect above: error: nonsense\n"
        )
        .is_err()
    );
    assert!(check("b", "# nothing expected\n").is_err());
}
