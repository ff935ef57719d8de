//! `measure` on noise alone: Y factors, and the Sun drifting through the beam.

mod moon;
mod sun;

pub use moon::moon_g_over_t;
pub use sun::{Published, sun_sheet};

use crate::WorkflowError;
use crate::measure::MeasureOptions;
use slantpath_capture::power::{NoisePower, Role, YSettings, noise_power, y_factor};
use slantpath_capture::source::open;
use slantpath_chain::y_factor::te_from_y;
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{Answer, Estimate, Temperature, Unit, show, to_db};
use slantpath_report::{Section, Sheet};
use slantpath_stats::{Progress, Stop};
use std::path::{Path, PathBuf};

fn read(
    path: &Path,
    options: &MeasureOptions,
    progress: &Progress,
) -> Result<NoisePower, WorkflowError> {
    let mut source = open(path, &options.open)?;
    Ok(noise_power(&mut *source, progress, &Stop::new())?)
}

fn epoch_s(p: &NoisePower) -> f64 {
    p.about
        .start
        .map_or(0.0, |t| t.as_millisecond() as f64 / 1e3)
}

/// Compares hot with cold recordings. Temperatures of the two loads with their u, K, give the receiver's temperature.
///
/// # Errors
/// A recording that cannot be read.
pub fn y_sheet(
    hot: &[PathBuf],
    cold: &[PathBuf],
    loads_k: Option<((f64, f64), (f64, f64))>,
    options: &MeasureOptions,
    progress: &Progress,
) -> Result<Sheet, WorkflowError> {
    let mut all = Vec::new();
    for (role, paths) in [(Role::Hot, hot), (Role::Cold, cold)] {
        for p in paths {
            all.push((role, read(p, options, progress)?));
        }
    }
    let readings: Vec<(Role, f64, &NoisePower)> =
        all.iter().map(|(r, p)| (*r, epoch_s(p), p)).collect();
    let mut sheet = Sheet {
        verb: "measure".into(),
        title: "Y factor: hot against cold".into(),
        ..Sheet::default()
    };
    match y_factor(&readings, YSettings::default()) {
        Err(why) => {
            sheet.refused = true;
            sheet.because.push(why);
        }
        Ok(y) => {
            let mut answers = vec![y.answer.clone()];
            if let Some(((th, uh), (tc, uc))) = loads_k {
                let y_db = to_db(y.ratio);
                let id = "receiver.temperature";
                let label = "receiver noise temperature";
                answers.push(
                    match te_from_y(y_db, Temperature::k(th), Temperature::k(tc)) {
                        Ok(te) => Answer::known(
                            id,
                            label,
                            Unit::K,
                            Estimate::normal(
                                te.te_k,
                                te.u_k(db_of_relative_u(y.relative_u), uh, uc),
                            ),
                        ),
                        Err(e) => Answer::unknown(
                            id,
                            label,
                            Unit::K,
                            e.to_string(),
                            "check the loads' temperatures",
                        ),
                    },
                );
            }
            let mut s = Section::new("y_factor", "noise power, hot over cold", answers);
            s.text.push(format!(
                "{} of bandwidth compared; {} lines that do not belong to the noise left out.",
                kilohertz(y.band_hz),
                y.birdies
            ));
            if let Some((d, u)) = y.drift_db_per_min {
                s.text.push(format!(
                    "Gain drift taken out: {} dB per minute (u = {}).",
                    show::fixed(d, 3),
                    show::significant(u, 1)
                ));
            }
            sheet.sections.push(s);
            sheet.because.extend(y.answer.because.iter().cloned());
            sheet.next_measurement = y.answer.next_measurement.clone();
        }
    }
    flags(&mut sheet, all.iter().map(|(_, p)| p));
    Ok(sheet)
}

fn kilohertz(hz: f64) -> String {
    format!("{} kHz", show::significant(hz / 1e3, 3))
}

fn flags<'a>(sheet: &mut Sheet, powers: impl Iterator<Item = &'a NoisePower>) {
    let text: Vec<String> = powers
        .flat_map(|p| {
            p.flags
                .iter()
                .map(|f| format!("{}: {}. {}", p.about.name, f.title, f.evidence))
        })
        .collect();
    if !text.is_empty() {
        let mut s = Section::new("health", "health of the recordings", Vec::new());
        s.text = text;
        sheet.sections.push(s);
    }
}
