//! `demo`.

use crate::args::Demo;
use crate::show::Output;
use slantpath_link::Drawing;
use slantpath_report::Provenance;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::demo::{self, Demo as Story};
use slantpath_workflow::files::write_over_own;
use slantpath_workflow::page::written_by;
use std::path::Path;

/// Runs the story and writes its report. As text it is told in short; JSON and report have all of it.
pub fn run(a: &Demo, out: &Output) -> Result<u8, WorkflowError> {
    let (mut story, page) = page(&a.into, out)?;
    let path = a.into.join("report.html");
    write_over_own(&path, &page)?;
    if let Some(short) = story.sheets.first_mut() {
        short.next_measurement = Some(format!(
            "Open the report: {}. Its station file is {}; try `slantpath predict` and `slantpath measure` on it.",
            path.display(),
            a.into.join("qq0aaa.toml").display()
        ));
    }
    if out.is_json() {
        out.sheets(&story.sheets)
    } else {
        out.sheets(story.sheets.get(..1).unwrap_or_default())
    }
}

/// The story in a folder, and its page.
pub fn page(folder: &Path, out: &Output) -> Result<(Story, String), WorkflowError> {
    let drawing = Drawing::default();
    let story = demo::run(folder, drawing, &out.progress("the demo"))?;
    let provenance = Provenance {
        inputs: story.inputs.clone(),
        seed: drawing.seed,
        trials: drawing.trials,
        written_by: written_by(),
        command: "slantpath demo".into(),
    };
    let page = story.page(&provenance);
    Ok((story, page))
}
