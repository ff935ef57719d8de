//! Development tasks of the workspace: `cargo xtask <task>`.

mod floors;
mod test;

use std::process::ExitCode;

const HELP: &str = "\
cargo xtask <task>

  test     every test of the workspace; says what had to be skipped and why
           (with CI=true in the environment nothing may be skipped)
  floors   checks that every room opens only the doors it may (docs/ARCHITECTURE.md)
";

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1);
    let task = args.next().unwrap_or_default();
    let rest: Vec<String> = args.collect();
    let outcome = match task.as_str() {
        "test" => test::run(&rest),
        "floors" => floors::run(),
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
