//! Development tasks of the workspace: `cargo xtask <task>`.

mod floors;
mod references;
mod schemas;
mod screenshots;
mod test;
mod validation;

use std::path::{Path, PathBuf};
use std::process::ExitCode;

const HELP: &str = "\
cargo xtask <task>

  test     every test of the workspace; says what had to be skipped and why
           (with CI=true in the environment nothing may be skipped)
  floors   checks that every room opens only the doors it may (docs/ARCHITECTURE.md)
  schemas  writes docs/schema from the types
  references   lists which outside table stands behind which test and checks the
               copies (--scripts: runs the scripts of the authorities first)
  validation   checks that docs/validation.md names source, figure and test of each
               row (--run: runs them and shows what they print)
  screenshots  the demo's report as desktop, phone and paper show it (Chromium)
";

/// The workspace's folder.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .map_or_else(|| PathBuf::from("."), Path::to_path_buf)
}

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1);
    let task = args.next().unwrap_or_default();
    let rest: Vec<String> = args.collect();
    let outcome = match task.as_str() {
        "test" => test::run(&rest),
        "floors" => floors::run(),
        "schemas" => schemas::run(),
        "references" => references::run(&rest),
        "validation" => validation::run(&rest),
        "screenshots" => screenshots::run(),
        _ => {
            eprint!("{HELP}");
            return ExitCode::from(2);
        }
    };
    match outcome {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(e) => {
            eprintln!("xtask {task}: {e:#}");
            ExitCode::FAILURE
        }
    }
}
