//! `new`.

use crate::args::New;
use crate::show::Output;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::{template, write_new};
use slantpath_workflow::satellite;
use std::io::IsTerminal;

/// Writes a file to start from; never over an existing one.
pub fn run(a: &New, out: &Output) -> Result<u8, WorkflowError> {
    if a.path.exists() {
        return Err(WorkflowError::argument(
            format!("{} is there already", a.path.display()),
            "choose another name; nothing was overwritten",
        ));
    }
    let Some(answers) = answers(a)? else {
        write_new(&a.path, template(a.satellite))?;
        return out.done(
            "new",
            &format!(
                "wrote {}; every value in it is an example: replace what you know, delete what you do not have",
                a.path.display()
            ),
        );
    };
    write_new(&a.path, &satellite::text(&answers)?)?;
    out.done(
        "new",
        &format!(
            "wrote {}; EIRP, G/T and noise density are wide guesses, marked as such: `measure` proposes better ones",
            a.path.display()
        ),
    )
}

/// What is published, if it was said in options or is to be asked for.
fn answers(
    a: &New,
) -> Result<Option<slantpath_station::template::SatelliteAnswers>, WorkflowError> {
    if let (Some(name), Some(slot)) = (&a.name, &a.slot) {
        let said = satellite::from_options(name, slot, a.tilt.as_deref(), &a.passband, &a.beacon);
        return said.map(Some);
    }
    let stdin = std::io::stdin();
    if a.satellite && (a.ask || stdin.is_terminal()) {
        // Questions go to standard error: standard output stays the answer's, also as JSON.
        return satellite::ask(&mut stdin.lock(), &mut std::io::stderr()).map(Some);
    }
    Ok(None)
}
