//! `again`: a report recomputed from its own provenance.

use super::{acceptance, demo, report};
use crate::args::{Again, Cli, Verb};
use crate::command_line::words;
use crate::plan_args::{Plan, PlanWhat};
use crate::show::Output;
use clap::Parser;
use slantpath_report::page::provenance_of;
use slantpath_report::{Provenance, Section, Sheet};
use slantpath_workflow::WorkflowError;
use std::path::Path;

/// Reads the command from the page, computes the page anew and says whether it is the same to the last byte.
pub fn run(a: &Again, out: &Output) -> Result<u8, WorkflowError> {
    let name = a.page.display();
    let old = std::fs::read_to_string(&a.page).map_err(|e| {
        WorkflowError::argument(
            format!("{name} cannot be read: {e}"),
            "name a report that `report` or `demo` wrote",
        )
    })?;
    let no_report = || {
        WorkflowError::argument(
            format!("{name} has no provenance table"),
            "name a report that `report` or `demo` wrote",
        )
    };
    let before = provenance_of(&old).ok_or_else(no_report)?;
    let cli = Cli::try_parse_from(words(&before.command)).map_err(|_| no_report())?;
    let new = match &cli.verb {
        Verb::Report(r) => {
            let at = r.verdict.drawn.at.ok_or_else(no_report)?;
            report::page(r, at, before.command.clone(), out)?
        }
        Verb::Plan(Plan {
            what: PlanWhat::Acceptance(x),
        }) => {
            let at = x.drawn.at.ok_or_else(no_report)?;
            acceptance::page(x, at, before.command.clone(), out)?
        }
        Verb::Demo(_) => {
            let folder = a.page.parent().unwrap_or_else(|| Path::new("."));
            demo::page(folder, out)?.1
        }
        _ => return Err(no_report()),
    };
    let after = provenance_of(&new).ok_or_else(no_report)?;
    let same = old == new;
    let mut sheet = Sheet {
        verb: "again".into(),
        title: if same {
            format!("{name}: recomputed, the same to the last byte")
        } else {
            format!("{name}: recomputed, and it differs")
        },
        refused: !same,
        ..Sheet::default()
    };
    let mut section = Section::new("command", "Computed again with", Vec::new());
    section.text.push(before.command.clone());
    sheet.sections.push(section);
    if !same {
        sheet.because = differences(&before, &after);
        sheet.next_measurement = Some(
            "Run it in the folder where the report was made, with the same files and the same version.".into(),
        );
    }
    out.sheets(&[sheet])
}

/// Why two pages may differ.
fn differences(before: &Provenance, after: &Provenance) -> Vec<String> {
    let mut out = Vec::new();
    if before.written_by != after.written_by {
        out.push(format!(
            "It was written by {}, this is {}.",
            before.written_by, after.written_by
        ));
    }
    for (what, name, hash) in &before.inputs {
        if !after.inputs.iter().any(|(_, n, h)| n == name && h == hash) {
            out.push(format!("The {what} {name} is not the file it was."));
        }
    }
    if out.is_empty() {
        out.push("Inputs and version are the same: the page was changed, or computed on another kind of processor.".into());
    }
    out
}
