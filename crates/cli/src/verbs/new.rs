//! `new`.

use crate::args::New;
use crate::show::Output;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::{template, write_new};

/// Writes a file to start from; never over an existing one.
pub fn run(a: &New, out: &Output) -> Result<u8, WorkflowError> {
    write_new(&a.path, template(a.satellite))?;
    out.done(
        "new",
        &format!(
            "wrote {}; every value in it is an example: replace what you know, delete what you do not have",
            a.path.display()
        ),
    )
}
