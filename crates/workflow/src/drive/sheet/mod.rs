//! The sheet of the transmit side.

mod heat;
mod level;
mod surroundings;

use self::heat::{log_section, plant_section};
use self::level::segment_sections;
use self::surroundings::{exposure_section, wind_section};
use super::plan::planned;
use super::surroundings::{surroundings, wind};
use super::{DriveOptions, desense, own};
use crate::WorkflowError;
use crate::predict::Predicted;
use slantpath_plan::Known;
use slantpath_plan::exposure::cautions;
use slantpath_quantity::{Answer, Estimate, Power, Unit};
use slantpath_report::Sheet;
use slantpath_report::sheet::Cell;
use slantpath_station::Station;
use slantpath_stats::Progress;

/// Plans the transmit side and writes it down.
///
/// # Errors
/// As [`planned`]; recordings and logs that cannot be read.
pub fn drive_sheet(
    station: &Station,
    p: &Predicted,
    o: &DriveOptions,
    progress: &Progress,
) -> Result<Sheet, WorkflowError> {
    let plan = planned(station, p, o)?;
    let mut sheet = Sheet {
        verb: "drive".into(),
        title: format!("{}: the transmit side", station.name),
        cautions: cautions(),
        ..Sheet::default()
    };
    for s in &plan.segments {
        segment_sections(&mut sheet, s);
    }
    if let Some(l) = &plan.plant.learned {
        sheet.sections.push(log_section(l));
    }
    for s in &plan.segments {
        plant_section(&mut sheet, &plan, s, o)?;
    }
    if !o.desense.is_empty() {
        sheet
            .sections
            .push(desense::section(&o.desense, o.rounds, o.drift_db, &o.measure, progress)?.0);
    }
    if !o.own.is_empty() {
        sheet.sections.push(own::section(
            station,
            &plan.segments,
            &o.own,
            &o.measure,
            progress,
        )?);
    }
    if let Some(x) = surroundings(station, p, &plan, o)? {
        exposure_section(&mut sheet, station, p, &x);
    }
    sheet.sections.push(wind_section(wind(station, o)?));
    sheet.refused = plan
        .segments
        .iter()
        .any(|s| !s.protection.dangers.is_empty());
    if sheet.refused {
        sheet.because.insert(
            0,
            "A part can be driven or reflected beyond what it survives: nothing is advised until that is mended.".into(),
        );
    }
    sheet.next_measurement = Some(
        if plan.plant.learned.is_none() {
            "Log sink temperature, air and output from cold for some time constants (two hours), then give it with --log: it \
             replaces the written thermal figures."
        } else {
            "Record the amplifier's output through a coupler and attenuator: through the satellite shoulders below -25 dBc \
             are rarely seen."
        }
        .into(),
    );
    Ok(sheet)
}

fn answer(id: String, label: &str, unit: Unit, k: Known) -> Answer {
    let e = if k.u > 0.0 {
        Estimate::normal(k.value, k.u)
    } else {
        Estimate::exact(k.value)
    };
    Answer::known(id, label, unit, e)
}

fn number(value: f64, places: i32, unit: &str) -> Cell {
    if value.is_finite() {
        Cell::Number {
            value,
            places,
            unit: unit.into(),
        }
    } else {
        Cell::Missing("none".into())
    }
}

fn watts(dbm: f64) -> f64 {
    Power::dbm(dbm).as_w()
}
