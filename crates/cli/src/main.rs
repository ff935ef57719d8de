//! Door: the command line. `main` reads as the data flow: arguments, verb, rendering, exit code.

mod args;
mod book_args;
mod command_line;
mod design_args;
mod drive_args;
mod plan_args;
mod show;
mod verbs;
mod watch_args;

use args::{Cli, Verb};
use clap::Parser;
use std::process::ExitCode;

fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(e) => {
            let code = if e.use_stderr() { 2 } else { 0 };
            if code == 2 && std::env::args_os().any(|a| a == "--json") {
                print!("{}", show::argument_error(&e.to_string()));
            } else {
                // clap writes to the right stream itself; a closed pipe is no reason to fail differently.
                let _ = e.print();
            }
            return ExitCode::from(code);
        }
    };
    let out = show::Output::new(&cli.common);
    let outcome = match &cli.verb {
        Verb::New(a) => verbs::new::run(a, &out),
        Verb::Survey(a) => verbs::survey::run(a, &out),
        Verb::Predict(a) => verbs::predict::run(a, &out),
        Verb::Measure(a) => verbs::measure::run(a, &out),
        Verb::Compare(a) => verbs::compare::run(a, &out),
        Verb::Verdict(a) => verbs::verdict::run(a, &out),
        Verb::Drive(a) => verbs::drive::run(a, &out),
        Verb::Diagnose(a) => verbs::diagnose::run(a, &out),
        Verb::Routes(a) => verbs::routes::run(a, &out),
        Verb::Plan(a) => verbs::plan::run(a, &out),
        Verb::Design(a) => verbs::design::run(a, &out),
        Verb::Watch(a) => verbs::watch::run(a, &out),
        Verb::Report(a) => verbs::report::run(a, &out),
        Verb::Book(a) => verbs::book::run(a, &out),
        Verb::Contact(a) => verbs::contact::run(a, &out),
        Verb::Sheet(a) => verbs::sheet::run(a, &out),
        Verb::Again(a) => verbs::again::run(a, &out),
        Verb::Serve(a) => verbs::serve::run(a, &out),
        Verb::Demo(a) => verbs::demo::run(a, &out),
    };
    match outcome {
        Ok(code) => ExitCode::from(code),
        Err(e) => ExitCode::from(out.error(&e)),
    }
}
