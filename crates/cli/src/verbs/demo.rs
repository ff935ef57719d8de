//! `demo`.

use crate::args::Demo;
use crate::show::Output;
use slantpath_link::Drawing;
use slantpath_report::Provenance;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::demo;
use slantpath_workflow::files::write_over_own;
use slantpath_workflow::page::written_by;

/// Runs the story and writes its report.
pub fn run(a: &Demo, out: &Output) -> Result<u8, WorkflowError> {
    let drawing = Drawing::default();
    let story = demo::run(&a.into, drawing, &out.progress("the demo"))?;
    let code = out.sheets(&story.sheets)?;
    let provenance = Provenance {
        inputs: story.inputs.clone(),
        seed: drawing.seed,
        trials: drawing.trials,
        written_by: written_by(),
        command: "slantpath demo".into(),
    };
    let path = a.into.join("report.html");
    write_over_own(&path, &story.page(&provenance))?;
    out.line(&format!(
        "\nThe report with its figures: {}\n",
        path.display()
    ));
    Ok(code)
}
