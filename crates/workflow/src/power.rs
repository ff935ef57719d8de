//! `measure` on noise alone: Y factors, and the Sun drifting through the beam.

use crate::WorkflowError;
use crate::measure::MeasureOptions;
use slantpath_capture::power::{
    NoisePower, PowerSeries, Role, SunSettings, YSettings, drift_rate, noise_power, sun_scan,
    y_factor,
};
use slantpath_capture::source::{open, power_log};
use slantpath_chain::source_noise::{beam_correction_gauss_disk, g_over_t_from_source};
use slantpath_chain::y_factor::te_from_y;
use slantpath_quantity::constants::SFU;
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{Angle, Answer, Estimate, Frequency, Temperature, Unit, show, to_db};
use slantpath_report::{Section, Sheet};
use slantpath_sky::{Body, EarthOrientation, Site, apparent};
use slantpath_station::Station;
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

/// Fits a scan in which the Sun drifts through the beam: a recording, or a power log (CSV). The flux of the day at the
/// receive frequency, with its u, gives absolute G/T.
///
/// # Errors
/// A file that cannot be read.
pub fn sun_sheet(
    station: &Station,
    path: &Path,
    flux_sfu: Option<(f64, f64)>,
    options: &MeasureOptions,
    progress: &Progress,
) -> Result<Sheet, WorkflowError> {
    let is_log = path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("csv"));
    let (series, start) = if is_log {
        let file = std::fs::File::open(path).map_err(|cause| WorkflowError::Machine {
            path: path.display().to_string(),
            cause,
        })?;
        let log = power_log::read(file, &path.display().to_string())?;
        let start = log.start;
        let (t_s, p) = log
            .readings
            .iter()
            .map(|(t, db)| (*t, slantpath_quantity::from_db(*db)))
            .unzip();
        let series = PowerSeries {
            name: log.name,
            t_s,
            p,
            relative_u: 0.0,
        };
        (series, start)
    } else {
        let p = read(path, options, progress)?;
        (PowerSeries::of(&p), p.about.start)
    };
    let s = &station.site;
    let site = Site::new(
        s.latitude.as_deg(),
        s.longitude.as_deg(),
        s.height.distribution.mean(),
    )
    .map_err(slantpath_link::LinkError::from)?;
    let mut sheet = Sheet {
        verb: "measure".into(),
        title: format!("{}: Sun drift scan", path.display()),
        ..Sheet::default()
    };
    let Some(start) = options.open.start.or(start) else {
        return Err(WorkflowError::argument(
            format!("{} does not say when it was made", path.display()),
            "give --start: the Sun's declination, and with it the drift, depends on the date",
        ));
    };
    let sun = apparent(Body::Sun, &site, start, EarthOrientation::default())
        .map_err(slantpath_link::LinkError::from)?;
    let settings = SunSettings {
        rate_deg_per_s: drift_rate(sun.declination.as_deg()),
        miss_deg: None,
        gain_drift_db: 0.05,
    };
    match sun_scan(&series, &settings) {
        Err(why) => {
            sheet.refused = true;
            sheet.because.push(why);
        }
        Ok(scan) => {
            let mut answers = scan.answers.clone();
            let f = station
                .satellite
                .passbands
                .first()
                .map_or(Frequency::ghz(10.47), |p| p.downlink.centre());
            if let Some((flux, u_flux)) = flux_sfu {
                answers.push(absolute(&scan, flux, u_flux, f, sun.angular_diameter));
            }
            let mut section = Section::new(
                "sun_scan",
                "baseline, peak and width fitted together",
                answers,
            );
            section.text.push(format!(
                "The Sun's declination is {} deg: it drifts {} deg a minute.",
                show::fixed(sun.declination.as_deg(), 2),
                show::significant(settings.rate_deg_per_s * 60.0, 4)
            ));
            section.text.push(format!(
                "Gain drift over the scan: {} dB (u = {}); chi-square per degree of freedom {}.",
                show::fixed(scan.gain_drift_db.0, 3),
                show::significant(scan.gain_drift_db.1, 1),
                show::fixed(scan.chi2_per_dof, 2)
            ));
            sheet.sections.push(section);
            sheet.next_measurement = Some(if flux_sfu.is_none() {
                "Give the day's flux with --sun-flux for absolute G/T.".into()
            } else {
                "Set it against the noise step of the satellite: two routes to G/T that must agree."
                    .into()
            });
        }
    }
    sheet.cautions.push(
        "Never look at the Sun, and mind the heat that a dish gathers at its feed while the Sun is in the beam.".into(),
    );
    Ok(sheet)
}

/// Absolute G/T: flux of the day, exact correction of a Gaussian beam on a uniform disk.
fn absolute(
    scan: &slantpath_capture::power::SunScan,
    flux: f64,
    u_flux: f64,
    f: Frequency,
    disk: Angle,
) -> Answer {
    let (id, label) = ("sun.g_over_t", "G/T from the Sun");
    let result = beam_correction_gauss_disk(disk, Angle::deg(scan.width_deg.0))
        .and_then(|k| g_over_t_from_source(to_db(scan.y_peak), flux * SFU, f, k));
    match result {
        Ok(gt) => {
            let rise = scan.u_y_peak / (scan.y_peak - 1.0).max(1e-9);
            let u = db_of_relative_u(rise.hypot(u_flux / flux));
            Answer::known(id, label, Unit::DbPerK, Estimate::normal(gt, u))
                .because(format!("Flux {flux} sfu (u = {u_flux}) as given; passing beside the Sun's centre would hide gain."))
        }
        Err(e) => Answer::unknown(
            id,
            label,
            Unit::DbPerK,
            e.to_string(),
            "check the flux and the scan",
        ),
    }
}
