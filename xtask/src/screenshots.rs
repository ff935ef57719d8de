//! Pictures of the demo's report as a desktop and a phone show it, the report on paper, and every page of the server,
//! into `target/screenshots`.

use crate::root;
use anyhow::{Context, Result};
use std::fs;
use std::path::Path;
use std::process::Command;

const BROWSERS: [&str; 4] = ["chromium", "chromium-browser", "chrome", "google-chrome"];

/// Nothing but the page: no network, no first-run questions.
const QUIET: [&str; 9] = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
];

pub fn run() -> Result<bool> {
    let found = BROWSERS
        .iter()
        .find(|b| Command::new(b).arg("--version").output().is_ok());
    let Some(browser) = found else {
        println!(
            "skipped: no Chromium on this machine (looked for {})",
            BROWSERS.join(", ")
        );
        return Ok(true);
    };
    let folder = root().join("target/screenshots");
    fs::create_dir_all(&folder)?;
    let demo = folder.join("demo");
    let status = Command::new(env!("CARGO"))
        .current_dir(root())
        .args(["run", "--quiet", "--release", "--", "demo", "--into"])
        .arg(&demo)
        .status()
        .context("cargo run did not start")?;
    if !status.success() {
        return Ok(false);
    }
    let page = format!("file://{}", demo.join("report.html").display());
    let mut good = true;
    for (name, size) in [("desktop", "1280,800"), ("phone", "390,844")] {
        let to = folder.join(format!("{name}.png"));
        let args = [
            format!("--window-size={size}"),
            format!("--screenshot={}", to.display()),
        ];
        good &= shoot(browser, &folder, &args, &page, &to)?;
    }
    let to = folder.join("paper.pdf");
    let args = [format!("--print-to-pdf={}", to.display())];
    good &= shoot(browser, &folder, &args, &page, &to)?;
    Ok(good & pages(&folder)?)
}

/// Every page of a running server, with measured recordings, a book and a simulated station, in both sizes and lights: the
/// browser tests know how.
fn pages(folder: &Path) -> Result<bool> {
    let into = folder.join("pages");
    let status = Command::new(env!("CARGO"))
        .current_dir(root())
        .env("SLANTPATH_PICTURES", &into)
        .args([
            "test",
            "--quiet",
            "-p",
            "slantpath",
            "--test",
            "browser",
            "--",
        ])
        .args(["--ignored", "--exact", "pictures::pictures_of_every_page"])
        .status()
        .context("cargo test did not start")?;
    println!(
        "{} {}",
        if status.success() { "wrote" } else { "FAILED" },
        into.display()
    );
    Ok(status.success())
}

fn shoot(browser: &str, folder: &Path, args: &[String], page: &str, to: &Path) -> Result<bool> {
    let out = Command::new(browser)
        .args(QUIET)
        .arg(format!(
            "--user-data-dir={}",
            folder.join("profile").display()
        ))
        .args(args)
        .arg(page)
        .output()
        .with_context(|| format!("{browser} did not start"))?;
    let made = out.status.success() && to.is_file();
    println!("{} {}", if made { "wrote" } else { "FAILED" }, to.display());
    Ok(made)
}
