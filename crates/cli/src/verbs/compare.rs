//! `compare`.

use super::measure_options;
use crate::args::Compare;
use crate::show::Output;
use slantpath_station::Station;
use slantpath_verdict::trial::{Remounted, Side, TrialOptions};
use slantpath_workflow::WorkflowError;
use slantpath_workflow::compare::{Role, Trial, compare, compare_sheet, declare, options_of};
use slantpath_workflow::files::{
    check_readings, load_readings, load_set, load_station, set_options,
};
use slantpath_workflow::measure::{Measured, measure_file};

/// Compares side B with side A.
pub fn run(a: &Compare, out: &Output) -> Result<u8, WorkflowError> {
    let loaded = load_station(&a.station)?;
    out.warnings(&loaded.warnings);
    let station = loaded.station(None)?;
    let recordings = recordings(a, station, out)?;
    let mut readings = station.readings.clone();
    if let Some(p) = &a.readings {
        let typed = load_readings(p)?;
        check_readings(&typed, station)?;
        readings.extend(typed);
    }
    if recordings.is_empty() && readings.iter().all(|r| r.set.is_none()) {
        return Err(WorkflowError::argument(
            "no recordings were given, and no readings of a side",
            "name recordings after --a and --b, list them in a --set file, or give recordings whose metadata say their side",
        ));
    }
    let sides = match a.sides.as_slice() {
        [x, y] if !x.eq_ignore_ascii_case(y) => [x.as_str(), y.as_str()],
        _ => {
            return Err(WorkflowError::argument(
                "--sides needs two different names",
                "for example --sides old new",
            ));
        }
    };
    let trial = Trial {
        station,
        recordings: &recordings,
        readings: &readings,
        sides,
        measurand: a.measurand.as_deref(),
    };
    out.sheets(&[compare_sheet(&compare(&trial, &trial_options(a, station))?)])
}

/// Every recording measured, with its role where the command line says it.
fn recordings(
    a: &Compare,
    station: &Station,
    out: &Output,
) -> Result<Vec<(Option<Role>, Measured)>, WorkflowError> {
    let options = measure_options(&a.recorded)?;
    let given = |role: Option<Role>, paths: &'_ [std::path::PathBuf]| {
        let of: Vec<_> = paths
            .iter()
            .map(|p| (role, p.clone(), options.clone()))
            .collect();
        of
    };
    let mut files = given(None, &a.recordings);
    files.extend(given(Some(Role::Side(Side::A)), &a.a));
    files.extend(given(Some(Role::Side(Side::B)), &a.b));
    files.extend(given(Some(Role::Control), &a.control));
    if let Some(set) = &a.set {
        for (path, entry) in load_set(set)? {
            files.push((None, path, set_options(&options, &entry)?));
        }
    }
    let mut measured = Vec::new();
    for (role, path, options) in &files {
        let m = measure_file(station, path, options, &out.progress("measuring"))?;
        measured.push((*role, m));
    }
    Ok(measured)
}

fn trial_options(a: &Compare, station: &Station) -> TrialOptions {
    let mut o = TrialOptions {
        remounted: match a.remounted.as_str() {
            "yes" => Remounted::Yes,
            "no" => Remounted::No,
            _ => Remounted::Unknown,
        },
        equivalence_db: a.equivalence,
        effect_db: a.effect,
        same_part: a.same,
        ..options_of(station)
    };
    for (given, id) in [
        (a.satellite_u, "sat.level.day"),
        (a.air_u, "air.path.day"),
        (a.remount_u, "station.remount"),
    ] {
        if let Some(u) = given {
            declare(&mut o, id, u, "given");
        }
    }
    o
}
