//! Writes `docs/schema/*.json` from the types; the test that finds them stale is the writer as well.

use crate::root;
use anyhow::{Context, Result};
use std::process::Command;

pub fn run() -> Result<bool> {
    let status = Command::new(env!("CARGO"))
        .current_dir(root())
        .env("SLANTPATH_WRITE_SCHEMAS", "1")
        .args([
            "test",
            "--quiet",
            "-p",
            "slantpath-report",
            "--test",
            "schemas",
        ])
        .status()
        .context("cargo test did not start")?;
    if status.success() {
        println!("schemas: docs/schema is what the types say");
    }
    Ok(status.success())
}
