//! `drive`.

use super::{conditions, measure_options};
use crate::drive_args::Drive;
use crate::show::Output;
use slantpath_workflow::WorkflowError;
use slantpath_workflow::drive::{DriveOptions, drive_sheet};
use slantpath_workflow::files::load_station;
use slantpath_workflow::predict::predicted;

/// Plans the transmit side.
pub fn run(a: &Drive, out: &Output) -> Result<u8, WorkflowError> {
    let loaded = load_station(&a.station)?;
    out.warnings(&loaded.warnings);
    let station = loaded.station(a.variant.as_deref())?;
    let options = options(a)?;
    let (conditions, drawing) = conditions(&a.drawn);
    let p = predicted(station, &conditions, drawing, &out.progress("predicting"))?;
    let sheet = drive_sheet(station, &p, &options, &out.progress("planning"))?;
    out.sheets(&[sheet])
}

fn options(a: &Drive) -> Result<DriveOptions, WorkflowError> {
    let pair = |v: &[f64]| match v {
        [a, b] => Some((*a, *b)),
        _ => None,
    };
    let receivers = a
        .receiver
        .iter()
        .map(|r| {
            r.split_once('=')
                .and_then(|(n, g)| Some((n.trim().to_string(), g.trim().parse::<f64>().ok()?)))
                .filter(|(_, g)| g.is_finite())
                .ok_or_else(|| {
                    WorkflowError::argument(
                        format!("--receiver {r} is no name with a G/T"),
                        "for example --receiver club=14.5",
                    )
                })
        })
        .collect::<Result<_, _>>()?;
    Ok(DriveOptions {
        passband: a.passband.clone(),
        shoulder_dbc: a.shoulder,
        window: pair(&a.shoulder_at),
        implementation_db: a.implementation,
        processed: a.processed,
        ramp: a.ramp.clone(),
        log: a.log.clone(),
        desense: a.desense.clone(),
        rounds: a.desense_rounds,
        drift_db: a.drift,
        own: a.own.clone(),
        limits: a.limit_public.zip(a.limit_occupational),
        reflection: a.reflection,
        wind: a.gust.zip(a.force_coefficient),
        lever_m: a.lever,
        bolts: a.bolts_apart.map(|d| (d, a.bolt_pairs)),
        cycle_s: 60.0 * a.cycle,
        usable: a.battery_share,
        charge_w: a.charge,
        receive_w: a.listening,
        receivers,
        seed: a.drawn.seed,
        measure: measure_options(&a.recorded)?,
    })
}
