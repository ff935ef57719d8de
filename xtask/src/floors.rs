//! The rule of the house, checked from `cargo metadata`, dev-dependencies included.

use anyhow::{Context, Result, bail};
use serde_json::Value;
use std::process::Command;

const PREFIX: &str = "slantpath-";

/// Room and floor. A room that is missing here, or here and not in the workspace, is an error.
const FLOORS: &[(&str, u8)] = &[
    ("quantity", 0),
    ("input", 0),
    ("stats", 0),
    ("signal", 0),
    ("sky", 1),
    ("propagation", 1),
    ("antenna", 1),
    ("wire", 1),
    ("chain", 1),
    ("waveform", 1),
    ("station", 2),
    ("link", 3),
    ("capture", 3),
    ("verdict", 4),
    ("plan", 4),
    ("book", 5),
    ("report", 5),
    ("workflow", 6),
    ("cli", 7),
    ("web", 7),
];

/// Crates that must never reach a room: no serialisation, clock or files in physics, link, verdict, plan.
const NO_SERDE: &[&str] = &[
    "quantity",
    "stats",
    "signal",
    "sky",
    "propagation",
    "antenna",
    "wire",
    "chain",
    "waveform",
    "link",
    "verdict",
    "plan",
];
const WRITTEN_FORMS: &[&str] = &[
    "serde",
    "serde_json",
    "toml",
    "toml_edit",
    "schemars",
    "rusqlite",
];

fn floor_of(room: &str) -> Option<u8> {
    FLOORS.iter().find(|(r, _)| *r == room).map(|(_, f)| *f)
}

/// Whether `room` may open a door to `other`; the reason when not.
pub fn may_use(room: &str, other: &str) -> Result<(), String> {
    let (Some(from), Some(to)) = (floor_of(room), floor_of(other)) else {
        return Err(format!("`{room}` or `{other}` has no floor"));
    };
    // Exceptions first, each as the architecture states it.
    if from == 0 {
        return if other == "quantity" && room != "quantity" {
            Ok(())
        } else {
            Err("a ground-floor room may use `quantity` only".into())
        };
    }
    if from == 1 {
        return if to == 0 || (room == "wire" && other == "antenna") {
            Ok(())
        } else {
            Err("a physics room uses the ground floor only (`wire` may also use `antenna`)".into())
        };
    }
    if room == "capture" {
        return if to == 0 || other == "sky" || other == "waveform" {
            Ok(())
        } else {
            Err("`capture` uses the ground floor, `sky` and `waveform` only: it never learns what was expected".into())
        };
    }
    // The command line may open the page: both are doors, and one binary is what a user gets.
    if room == "cli" && other == "web" {
        return Ok(());
    }
    if to < from {
        Ok(())
    } else {
        Err(format!("floor {from} may not use floor {to}"))
    }
}

pub fn run() -> Result<bool> {
    let out = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--no-deps"])
        .output()
        .context("cargo metadata did not start")?;
    if !out.status.success() {
        bail!(
            "cargo metadata failed: {}",
            String::from_utf8_lossy(&out.stderr)
        );
    }
    let meta: Value = serde_json::from_slice(&out.stdout).context("cargo metadata is not JSON")?;
    let packages = meta["packages"]
        .as_array()
        .context("no packages in cargo metadata")?;
    let mut wrong = Vec::new();
    let mut seen = Vec::new();
    let mut doors = 0;
    for p in packages {
        let name = p["name"].as_str().unwrap_or_default();
        let room = match name {
            "slantpath" => "cli",
            "xtask" => continue,
            _ => match name.strip_prefix(PREFIX) {
                Some(r) => r,
                None => {
                    wrong.push(format!("package `{name}` is not named {PREFIX}<room>"));
                    continue;
                }
            },
        };
        if floor_of(room).is_none() {
            wrong.push(format!("room `{room}` has no floor"));
        }
        seen.push(room.to_string());
        for d in p["dependencies"].as_array().into_iter().flatten() {
            let dep = d["name"].as_str().unwrap_or_default();
            let kind = d["kind"].as_str().unwrap_or("normal");
            if let Some(other) = dep.strip_prefix(PREFIX) {
                doors += 1;
                if let Err(why) = may_use(room, other) {
                    wrong.push(format!("`{room}` -> `{other}` ({kind}): {why}"));
                }
            } else if kind == "normal" && WRITTEN_FORMS.contains(&dep) && NO_SERDE.contains(&room) {
                wrong.push(format!(
                    "`{room}` -> `{dep}`: this room has no written form"
                ));
            }
        }
    }
    for (room, _) in FLOORS {
        if !seen.iter().any(|s| s == room) {
            wrong.push(format!(
                "room `{room}` is on the plan but not in the workspace"
            ));
        }
    }
    for w in &wrong {
        eprintln!("floors: {w}");
    }
    if wrong.is_empty() {
        println!(
            "floors: {} rooms, {doors} doors, all as the plan allows",
            seen.len()
        );
    }
    Ok(wrong.is_empty())
}

#[cfg(test)]
mod tests {
    use super::may_use;

    #[test]
    fn the_rule() {
        assert!(may_use("stats", "quantity").is_ok());
        assert!(may_use("stats", "signal").is_err());
        assert!(may_use("chain", "antenna").is_err());
        assert!(may_use("wire", "antenna").is_ok());
        assert!(may_use("antenna", "wire").is_err());
        assert!(may_use("capture", "waveform").is_ok());
        assert!(may_use("capture", "station").is_err());
        assert!(may_use("capture", "chain").is_err());
        assert!(may_use("link", "capture").is_err());
        assert!(may_use("verdict", "plan").is_err());
        assert!(may_use("report", "verdict").is_ok());
        assert!(may_use("workflow", "report").is_ok());
        assert!(may_use("workflow", "cli").is_err());
        assert!(may_use("cli", "web").is_ok());
        assert!(may_use("web", "cli").is_err());
    }
}
