//! Which outside table stands behind which test: every table in a room's `tests/data` names its source and is read by
//! a test, and agrees with the larger collection in `../shared/refs` where that is present. With `--scripts` the
//! scripts in `crates/*/authority` are run first (they need Python and the libraries that they name).

use crate::root;
use anyhow::{Context, Result};
use std::collections::HashSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

const SHARED: &str = "../shared/refs";

pub fn run(rest: &[String]) -> Result<bool> {
    let mut wrong = Vec::new();
    if rest.iter().any(|a| a == "--scripts") {
        scripts(&mut wrong)?;
    }
    let shared = root().join(SHARED);
    if !shared.is_dir() {
        println!("skipped: comparison with {SHARED}: the folder is not here");
    }
    let (mut tables, mut compared) = (0, 0);
    for room in folders(&root().join("crates"))? {
        let name = name_of(&room);
        let code = sources(&room)?;
        for path in files(&room.join("tests/data"), &["csv", "json"])? {
            let file = name_of(&path);
            // Recordings' truth belongs to the recordings beside it.
            if file.ends_with(".truth.json") {
                continue;
            }
            tables += 1;
            let text = fs::read_to_string(&path).with_context(|| path.display().to_string())?;
            let source = source_of(&text);
            let stem = file.rsplit_once('.').map_or(file.as_str(), |x| x.0);
            let readers: Vec<&str> = code
                .iter()
                .filter(|(_, text)| text.contains(&file) || text.contains(&format!("\"{stem}\"")))
                .map(|(n, _)| n.as_str())
                .collect();
            println!("{name}: {file}");
            println!("    source  {}", source.as_deref().unwrap_or("NOT NAMED"));
            println!("    read by {}", readers.join(", "));
            if source.is_none() {
                wrong.push(format!("{name}: {file} does not name its source"));
            }
            if readers.is_empty() {
                wrong.push(format!("{name}: {file} is read by no test"));
            }
            let larger = shared.join(&file);
            if larger.is_file() {
                compared += 1;
                let odd = strangers(&text, &fs::read_to_string(&larger)?);
                if odd > 0 {
                    wrong.push(format!(
                        "{name}: {file}: {odd} rows are not in {SHARED}/{file}"
                    ));
                }
            }
        }
    }
    println!("references: {tables} tables, {compared} compared with {SHARED}");
    for w in &wrong {
        eprintln!("references: {w}");
    }
    Ok(wrong.is_empty())
}

/// Runs every authority script in its folder.
fn scripts(wrong: &mut Vec<String>) -> Result<()> {
    for room in folders(&root().join("crates"))? {
        for script in files(&room.join("authority"), &["py"])? {
            println!("running {}", script.display());
            let done = Command::new("python3")
                .arg(&script)
                .current_dir(room.join("authority"))
                .status();
            if !done.is_ok_and(|s| s.success()) {
                wrong.push(format!("{} did not run", script.display()));
            }
        }
    }
    Ok(())
}

/// The lines of a table's head that name its source.
fn source_of(text: &str) -> Option<String> {
    if text.trim_start().starts_with('{') || text.trim_start().starts_with('[') {
        return text
            .lines()
            .take(12)
            .find(|l| {
                l.to_lowercase().contains("source") || l.contains("NIST") || l.contains("JCGM")
            })
            .map(|l| l.trim().chars().take(110).collect());
    }
    let head: Vec<&str> = text
        .lines()
        .take_while(|l| l.starts_with('#'))
        .map(|l| l.trim_start_matches('#').trim())
        .collect();
    let named = head.iter().find(|l| l.to_lowercase().contains("source"));
    named
        .or_else(|| head.first())
        .map(|l| l.chars().take(110).collect())
}

/// Rows of `ours` that do not stand in `theirs`, when both have the same columns; a copy may be shorter.
fn strangers(ours: &str, theirs: &str) -> usize {
    let rows = |t: &str| -> Vec<String> {
        let mut lines = t
            .lines()
            .filter(|l| !l.starts_with('#') && !l.trim().is_empty());
        let head = lines.next().unwrap_or_default().trim().to_string();
        // A last column of remarks may be worded otherwise.
        let kept = match head.rsplit_once(',') {
            Some((before, "note" | "notes" | "remark" | "remarks" | "status")) => {
                before.split(',').count()
            }
            _ => usize::MAX,
        };
        let row = |l: &str| -> String {
            // So may remarks in quotes.
            let plain: String = l.split('"').step_by(2).collect();
            let cells: Vec<&str> = plain.trim().split(',').take(kept).collect();
            cells.join(",")
        };
        std::iter::once(head.clone())
            .chain(lines.map(row))
            .collect()
    };
    let (ours, theirs) = (rows(ours), rows(theirs));
    if ours.first() != theirs.first() {
        return 0; // Columns were trimmed: rows cannot be held against each other.
    }
    let known: HashSet<String> = theirs.into_iter().collect();
    ours.iter().filter(|r| !known.contains(*r)).count()
}

/// Names and texts of a room's sources and tests.
fn sources(room: &Path) -> Result<Vec<(String, String)>> {
    let mut out = Vec::new();
    for folder in ["src", "tests"] {
        for path in deep(&room.join(folder))? {
            if path.extension().is_some_and(|e| e == "rs") {
                let shown = path.strip_prefix(room).unwrap_or(&path);
                out.push((shown.display().to_string(), fs::read_to_string(&path)?));
            }
        }
    }
    Ok(out)
}

fn deep(folder: &Path) -> Result<Vec<PathBuf>> {
    let mut out = Vec::new();
    for path in entries(folder)? {
        if path.is_dir() {
            out.extend(deep(&path)?);
        } else {
            out.push(path);
        }
    }
    Ok(out)
}

fn entries(folder: &Path) -> Result<Vec<PathBuf>> {
    if !folder.is_dir() {
        return Ok(Vec::new());
    }
    let mut out: Vec<PathBuf> = fs::read_dir(folder)?
        .map(|e| e.map(|e| e.path()))
        .collect::<std::io::Result<_>>()?;
    out.sort();
    Ok(out)
}

fn folders(folder: &Path) -> Result<Vec<PathBuf>> {
    Ok(entries(folder)?
        .into_iter()
        .filter(|p| p.is_dir())
        .collect())
}

fn files(folder: &Path, endings: &[&str]) -> Result<Vec<PathBuf>> {
    let is = |p: &PathBuf| {
        p.extension()
            .and_then(|e| e.to_str())
            .is_some_and(|e| endings.contains(&e))
    };
    Ok(entries(folder)?.into_iter().filter(is).collect())
}

fn name_of(path: &Path) -> String {
    path.file_name()
        .map(|n| n.to_string_lossy().into_owned())
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_changed_row_is_a_stranger_and_a_missing_one_is_not() {
        let theirs = "# x\na,b\n1,2\n3,4\n";
        assert_eq!(strangers("a,b\n3,4\n", theirs), 0);
        assert_eq!(strangers("# y\na,b\n3,5\n", theirs), 1);
        let remarked = "a,note\n1,old\n";
        assert_eq!(strangers("a,note\n1,new\n", remarked), 0);
        assert_eq!(strangers("a,note\n2,old\n", remarked), 1);
        assert_eq!(
            source_of("# title\n# Source: a book\na\n").unwrap(),
            "Source: a book"
        );
        assert!(source_of("a,b\n1,2\n").is_none());
    }
}
