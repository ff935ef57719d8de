//! `compare`.

use super::measure_options;
use crate::args::Compare;
use crate::show::Output;
use slantpath_verdict::trial::{Declared, Remounted, Scope, Side, TrialOptions};
use slantpath_workflow::WorkflowError;
use slantpath_workflow::compare::{compare, compare_sheet};
use slantpath_workflow::files::load_station;
use slantpath_workflow::measure::measure_file;

/// Compares side B with side A.
pub fn run(a: &Compare, out: &Output) -> Result<u8, WorkflowError> {
    let loaded = load_station(&a.station)?;
    out.warnings(&loaded.warnings);
    let station = loaded.station(None)?;
    let options = measure_options(&a.recorded)?;
    let files = a
        .recordings
        .iter()
        .map(|p| (None, p))
        .chain(a.a.iter().map(|p| (Some(Side::A), p)))
        .chain(a.b.iter().map(|p| (Some(Side::B), p)));
    let mut recordings = Vec::new();
    for (side, path) in files {
        recordings.push((
            side,
            measure_file(station, path, &options, &out.progress("measuring"))?,
        ));
    }
    if recordings.is_empty() {
        return Err(WorkflowError::argument(
            "no recordings were given",
            "name them after --a and --b, or give recordings whose metadata say their side",
        ));
    }
    let compared = compare(&recordings, a.measurand.as_deref(), &trial_options(a))?;
    out.sheets(&[compare_sheet(&compared)])
}

fn trial_options(a: &Compare) -> TrialOptions {
    let mut o = TrialOptions {
        remounted: match a.remounted.as_str() {
            "yes" => Remounted::Yes,
            "no" => Remounted::No,
            _ => Remounted::Unknown,
        },
        equivalence_db: a.equivalence,
        effect_db: a.effect,
        same_part: a.same,
        ..TrialOptions::default()
    };
    let day = Scope::Day {
        seen_by_control: true,
    };
    for (given, id, label, scope) in [
        (
            a.satellite_u,
            "sat.level.day",
            "satellite: level from day to day",
            day,
        ),
        (a.air_u, "air.path.day", "air: path from day to day", day),
        (a.remount_u, "station.remount", "remount", Scope::Mounting),
    ] {
        if let Some(u) = given {
            o.declared.retain(|d| d.contributor.id.as_str() != id);
            o.declared.push(Declared::new(id, label, u, scope, "given"));
        }
    }
    o
}
