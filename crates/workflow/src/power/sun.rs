//! `measure --sun`: the Sun drifts through the beam of a dish at rest, and its published flux turns the rise of the
//! noise into absolute G/T.

use super::read;
use crate::WorkflowError;
use crate::measure::MeasureOptions;
use jiff::{SignedDuration, Timestamp};
use slantpath_capture::power::{OnAxis, PowerSeries, SunScan, SunSettings, drift_rate, sun_scan};
use slantpath_capture::source::power_log;
use slantpath_chain::source_noise::{FluxTable, beam_correction_gauss_disk, g_over_t_from_source};
use slantpath_link::{ClearLoss, Conditions, LinkError, clear_loss};
use slantpath_propagation::p834;
use slantpath_quantity::constants::SFU;
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{
    Angle, Answer, ContributorId, Estimate, Frequency, Share, Unit, Validity, show, to_db,
};
use slantpath_report::{Section, Sheet};
use slantpath_sky::{Body, Direction, EarthOrientation, Site, apparent};
use slantpath_station::Station;
use slantpath_station::checked::PassbandUse;
use slantpath_stats::Progress;
use std::path::Path;

/// Relative uncertainty that interpolation between two published frequencies adds (the Sun's spectrum bends between
/// 5 and 15 GHz; own estimate, no source).
const U_INTERPOLATION: f64 = 0.02;
/// Relative uncertainty of `K - 1`, K the beam correction: a disk of even brightness, while the Sun's rim is brighter
/// and its active regions stand out (own estimate, no source).
const U_BEAM_SHAPE: f64 = 0.3;
/// How far a dish that rests on the satellite may point beside it across the Sun's track, beam widths (one standard
/// deviation; common practice, no source), unless the moment of the peak shows it to point worse along the track.
const POINTING: f64 = 0.05;

/// Flux as an observatory publishes it: at the receive frequency, or at some.
#[derive(Debug, Clone, PartialEq)]
pub enum Published {
    /// Not given.
    None,
    /// Flux at the receive frequency and its standard uncertainty, sfu.
    Here(f64, f64),
    /// Frequency, flux, standard uncertainty in sfu, rising in frequency.
    At(Vec<(Frequency, f64, f64)>),
}

/// Flux above the air at the receive frequency.
struct Flux {
    sfu: f64,
    u_sfu: f64,
    how: String,
    validity: Validity,
}

impl Published {
    /// From what was typed: flux and its u at the receive frequency, or else rows of MHz, flux and u.
    pub fn of(here: &[f64], at: &[f64]) -> Self {
        match (here, at) {
            ([sfu, u], _) => Self::Here(*sfu, *u),
            (_, []) => Self::None,
            _ => Self::At(
                at.chunks_exact(3)
                    .filter_map(|r| match r {
                        [mhz, sfu, u] => Some((Frequency::mhz(*mhz), *sfu, *u)),
                        _ => None,
                    })
                    .collect(),
            ),
        }
    }

    /// At a frequency: straight line in log flux over log frequency between the neighbouring published ones.
    fn at(&self, f: Frequency) -> Result<Option<Flux>, WorkflowError> {
        match self {
            Self::None => Ok(None),
            Self::Here(sfu, u_sfu) => {
                if !(sfu.is_finite() && *sfu > 0.0 && u_sfu.is_finite() && *u_sfu >= 0.0) {
                    return Err(not_a_flux(*sfu, *u_sfu));
                }
                Ok(Some(Flux {
                    sfu: *sfu,
                    u_sfu: *u_sfu,
                    how: format!("Flux {sfu} sfu (u = {u_sfu}) as given"),
                    validity: Validity::Inside,
                }))
            }
            Self::At(rows) => {
                if let Some((_, s, u)) = rows
                    .iter()
                    .find(|(_, s, u)| !(s.is_finite() && *s > 0.0 && u.is_finite() && *u >= 0.0))
                {
                    return Err(not_a_flux(*s, *u));
                }
                let value =
                    |shift: &dyn Fn(usize) -> f64| -> Result<(f64, Validity), WorkflowError> {
                        let table: Vec<(Frequency, f64)> = rows
                            .iter()
                            .enumerate()
                            .map(|(k, r)| (r.0, r.1 + shift(k)))
                            .collect();
                        FluxTable::new(&table).and_then(|t| t.at(f)).map_err(|e| {
                            WorkflowError::argument(
                                e.to_string(),
                                "give --sun-flux-at for two or more frequencies, each once",
                            )
                        })
                    };
                let mut rows = rows.clone();
                rows.sort_by(|a, b| a.0.as_hz().total_cmp(&b.0.as_hz()));
                let (sfu, validity) = value(&|_| 0.0)?;
                let mut var = (U_INTERPOLATION * sfu).powi(2);
                for (k, r) in rows.iter().enumerate() {
                    // A hundredth of the uncertainty keeps the difference linear and every flux above zero.
                    let h = 0.01 * r.2;
                    let moved = value(&|j| if j == k { h } else { 0.0 })?.0;
                    var += ((moved - sfu) * 100.0).powi(2);
                }
                let u_sfu = var.sqrt();
                Ok(Some(Flux {
                    sfu,
                    u_sfu,
                    how: format!(
                        "Flux {} sfu (u = {}) at {} MHz, on a straight line in log flux over log frequency",
                        show::significant(sfu, 4),
                        show::significant(u_sfu, 2),
                        show::fixed(f.as_mhz(), 0)
                    ),
                    validity,
                }))
            }
        }
    }
}

fn not_a_flux(sfu: f64, u: f64) -> WorkflowError {
    WorkflowError::argument(
        format!("{sfu} sfu with u = {u} is not a flux"),
        "give the day's published flux and its standard uncertainty in solar flux units (some 250 to 400 at 10 GHz)",
    )
}

/// Fits a scan in which the Sun drifts through the beam: a recording, or a power log (CSV). The published flux of the
/// day gives absolute G/T.
///
/// # Errors
/// A file that cannot be read, a scan without a date, a flux that is none.
pub fn sun_sheet(
    station: &Station,
    path: &Path,
    flux: &Published,
    options: &MeasureOptions,
    progress: &Progress,
) -> Result<Sheet, WorkflowError> {
    let (series, start) = series(path, options, progress)?;
    let Some(start) = options.open.start.or(start) else {
        return Err(WorkflowError::argument(
            format!("{} does not say when it was made", path.display()),
            "give --start: the Sun's declination, and with it the drift, depends on the date",
        ));
    };
    let f = frequency(station);
    let flux = flux.at(f)?;
    let s = &station.site;
    let site = Site::new(
        s.latitude.as_deg(),
        s.longitude.as_deg(),
        s.height.distribution.mean(),
    )
    .map_err(LinkError::from)?;
    let sun_at = |t_s: f64| -> Result<slantpath_sky::body::Apparent, WorkflowError> {
        let at = start
            .checked_add(SignedDuration::from_secs_f64(t_s))
            .unwrap_or(start);
        Ok(apparent(Body::Sun, &site, at, EarthOrientation::default()).map_err(LinkError::from)?)
    };
    let mut sheet = Sheet {
        verb: "measure".into(),
        title: format!("{}: Sun drift scan", path.display()),
        ..Sheet::default()
    };
    let settings = SunSettings {
        rate_deg_per_s: drift_rate(sun_at(0.0)?.declination.as_deg()),
        miss_deg: None,
        gain_drift_db: 0.05,
    };
    let fitted = sun_scan(&series, &settings).and_then(|first| {
        let miss = passage(station, start, &first, settings.rate_deg_per_s, &sun_at);
        let again = SunSettings {
            miss_deg: miss.as_ref().map(|m| (m.miss_deg, m.u_deg)),
            ..settings
        };
        sun_scan(&series, &again).map(|scan| (scan, miss))
    });
    match fitted {
        Err(why) => {
            sheet.refused = true;
            sheet.because.push(why);
        }
        Ok((scan, passage)) => {
            let sun = sun_at(scan.transit_s.0)?;
            let air = air(station, &site, sun.direction, f)?;
            let mut answers = scan.answers.clone();
            if let Some(flux) = &flux {
                answers.push(absolute(&scan, flux, &air, f, sun.angular_diameter));
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
            section.text.push(passage.map_or_else(
                || {
                    "The Sun did not pass where the satellite stands: how far from the beam's axis it passed is not \
                     known, and the peak may be too low."
                        .to_string()
                },
                |p| p.words(),
            ));
            section.text.push(format!(
                "The clear air takes {} dB (u = {}) from the Sun at {} deg of elevation (ITU-R P.676).",
                show::fixed(air.loss_db, 3),
                show::significant(air.u_db, 1),
                show::fixed(sun.direction.elevation.as_deg(), 1)
            ));
            section.text.push(format!(
                "Gain drift over the scan: {} dB (u = {}); chi-square per degree of freedom {}.",
                show::fixed(scan.gain_drift_db.0, 3),
                show::significant(scan.gain_drift_db.1, 1),
                show::fixed(scan.chi2_per_dof, 2)
            ));
            sheet.sections.push(section);
            sheet.next_measurement = Some(if flux.is_none() {
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

/// Power against time, and when it began.
fn series(
    path: &Path,
    options: &MeasureOptions,
    progress: &Progress,
) -> Result<(PowerSeries, Option<Timestamp>), WorkflowError> {
    let is_log = path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("csv"));
    if !is_log {
        let p = read(path, options, progress)?;
        return Ok((PowerSeries::of(&p), p.about.start));
    }
    let file = std::fs::File::open(path).map_err(|cause| WorkflowError::Machine {
        path: path.display().to_string(),
        cause,
    })?;
    let log = power_log::read(file, &path.display().to_string())?;
    Ok((PowerSeries::of_log(&log), log.start))
}

/// Where the scan is taken to have been made: the middle of the first narrow passband, or of the first of all.
fn frequency(station: &Station) -> Frequency {
    let all = &station.satellite.passbands;
    all.iter()
        .find(|p| p.usage == PassbandUse::Narrow)
        .or_else(|| all.first())
        .map_or(Frequency::ghz(10.47), |p| p.downlink.centre())
}

/// How the Sun passed the satellite's direction.
struct Passage {
    miss_deg: f64,
    u_deg: f64,
    /// Peak after the Sun's closest approach to the satellite, s.
    late_s: f64,
}

impl Passage {
    fn words(&self) -> String {
        format!(
            "The Sun passed the satellite's direction at {} deg; the peak came {} s {}. The dish is taken to rest on \
             the satellite, so that the Sun passed {} deg (u = {}) from the beam's axis.",
            show::fixed(self.miss_deg, 3),
            show::fixed(self.late_s.abs(), 0),
            if self.late_s < 0.0 { "before" } else { "after" },
            show::fixed(self.miss_deg, 2),
            show::significant(self.u_deg, 1)
        )
    }
}

/// The Sun's passage by the satellite, when the scan was made of it: the peak comes within half a beam width of the
/// closest approach, and that is no farther than half a beam width.
fn passage(
    station: &Station,
    start: Timestamp,
    scan: &SunScan,
    rate: f64,
    sun_at: &dyn Fn(f64) -> Result<slantpath_sky::body::Apparent, WorkflowError>,
) -> Option<Passage> {
    let conditions = Conditions {
        time: Some(start),
        ..Conditions::default()
    };
    let satellite = slantpath_link::geometry(station, &conditions).ok()?;
    let width = scan.width_deg.0;
    let away = |t: f64| -> Option<f64> {
        Some(
            sun_at(t)
                .ok()?
                .direction
                .separation(satellite.direction)
                .as_deg(),
        )
    };
    // Within the scan's middle the separation has one valley: golden section.
    let reach = width / rate;
    let (mut a, mut b) = (scan.transit_s.0 - reach, scan.transit_s.0 + reach);
    for _ in 0..40 {
        let (c, d) = (b - 0.618_034 * (b - a), a + 0.618_034 * (b - a));
        if away(c)? < away(d)? {
            b = d;
        } else {
            a = c;
        }
    }
    let closest = 0.5 * (a + b);
    let miss_deg = away(closest)?;
    let late_s = scan.transit_s.0 - closest;
    let along = (late_s * rate).abs();
    (miss_deg < 0.5 * width && along < 0.5 * width).then(|| Passage {
        miss_deg,
        // What the dish is off along the track it may be off across it; so may the satellite be off its slot.
        u_deg: (POINTING * width)
            .max(along)
            .hypot(satellite.daily_excursion.as_deg() / 2f64.sqrt()),
        late_s,
    })
}

/// Loss in the clear air on the way to the Sun.
pub(super) fn air(
    station: &Station,
    site: &Site,
    towards: Direction,
    f: Frequency,
) -> Result<ClearLoss, WorkflowError> {
    let h_km = site.height().as_km().clamp(-0.5, 10.0);
    let seen =
        p834::apparent_elevation(h_km, towards.elevation.as_deg()).map_err(LinkError::from)?;
    Ok(clear_loss(
        station,
        Angle::deg(seen.elevation_deg.max(0.0)),
        f,
    )?)
}

/// Absolute G/T: the day's flux less what the air takes, exact correction of a Gaussian beam on a uniform disk.
fn absolute(scan: &SunScan, flux: &Flux, air: &ClearLoss, f: Frequency, disk: Angle) -> Answer {
    let (id, label) = ("sun.g_over_t", "G/T from the Sun");
    let peak = scan.on_axis.unwrap_or(OnAxis {
        y: scan.y_peak,
        u_fit: scan.u_y_peak,
        u_miss: 0.0,
    });
    // The width seen holds the Sun's disk; second moments add: `h_seen^2 = h^2 + ln2/2 d^2`.
    let d = disk.as_deg();
    let own = (scan.width_deg.0.powi(2) - 0.5 * std::f64::consts::LN_2 * d * d)
        .max(0.0)
        .sqrt();
    let arrives = flux.sfu * slantpath_quantity::from_db(-air.loss_db);
    let result = beam_correction_gauss_disk(disk, Angle::deg(own))
        .and_then(|k| Ok((k, g_over_t_from_source(to_db(peak.y), arrives * SFU, f, k)?)));
    let (k, gt) = match result {
        Ok(x) => x,
        Err(e) => {
            return Answer::unknown(
                id,
                label,
                Unit::DbPerK,
                e.to_string(),
                "check the flux and the scan",
            );
        }
    };
    let rise = (peak.y - 1.0).max(1e-9);
    // To first order K - 1 goes with the inverse square of the width.
    let u_k = (k - 1.0) / k * U_BEAM_SHAPE.hypot(2.0 * scan.width_deg.1 / own.max(1e-9));
    let parts = [
        ("sun.flux", "published flux", flux.u_sfu / flux.sfu, true),
        (
            "sun.fit",
            "scatter of the power and gain drift",
            peak.u_fit / rise,
            false,
        ),
        (
            "sun.miss",
            "distance from the beam's axis",
            peak.u_miss / rise,
            true,
        ),
        ("sun.beam", "beam correction for the Sun's disk", u_k, true),
    ];
    let mut shares: Vec<Share> = parts
        .iter()
        .map(|(part, what, u, systematic)| share(part, what, db_of_relative_u(*u), *systematic))
        .collect();
    shares.push(share(
        "sun.air",
        "clear air between the Sun and the dish",
        air.u_db,
        true,
    ));
    let u = shares.iter().map(|s| s.u * s.u).sum::<f64>().sqrt();
    let mut a = Answer::known(id, label, Unit::DbPerK, Estimate::normal(gt, u))
        .with_shares(shares)
        .because(format!(
            "{}, less {} dB in the clear air.",
            flux.how,
            show::fixed(air.loss_db, 3)
        ));
    if scan.on_axis.is_none() {
        a = a.because(
            "Passing beside the beam's axis would hide gain: the figure is the least there is.",
        );
    }
    a.validity = flux.validity.clone().and(air.validity.clone());
    a
}

pub(super) fn share(id: &str, label: &str, u: f64, systematic: bool) -> Share {
    Share {
        id: ContributorId::new(id),
        label: label.into(),
        u,
        effect: u,
        systematic,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_input::Source;
    use slantpath_station::read_station;
    use slantpath_stats::Progress;

    #[test]
    fn a_flux_between_two_published_ones() {
        let rows = [8_800.0, 200.0, 4.0, 15_400.0, 400.0, 10.0];
        let f = Published::of(&[], &rows)
            .at(Frequency::mhz((8_800.0f64 * 15_400.0).sqrt()))
            .unwrap()
            .unwrap();
        // Half way on the logarithmic axis: the geometric mean, and half of each relative uncertainty.
        let mean = (200.0f64 * 400.0).sqrt();
        assert!((f.sfu / mean - 1.0).abs() < 1e-9, "{}", f.sfu);
        let u = mean * (0.01f64.powi(2) + 0.0125f64.powi(2) + U_INTERPOLATION.powi(2)).sqrt();
        assert!((f.u_sfu / u - 1.0).abs() < 1e-3, "{} {u}", f.u_sfu);
        assert!(f.validity.is_inside());
        let beyond = Published::of(&[], &rows)
            .at(Frequency::ghz(20.0))
            .unwrap()
            .unwrap();
        assert!(!beyond.validity.is_inside());
        assert!(
            Published::of(&[-1.0, 3.0], &[])
                .at(Frequency::ghz(10.0))
                .is_err()
        );
        assert!(
            Published::of(&[], &rows[..3])
                .at(Frequency::ghz(10.0))
                .is_err()
        );
    }

    /// Truth: station.g_over_t_db in demo/truth/sun-old.truth.json and sun-new.truth.json (independent generator; its
    /// air takes 0.3 dB from the Sun).
    #[test]
    fn scans_of_the_shipped_recordings() {
        let root = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../demo"));
        let text = std::fs::read_to_string(root.join("qq0aaa.toml")).unwrap();
        let (file, problems) = read_station(&Source::new("qq0aaa.toml", text), &mut |p: &str| {
            let text = std::fs::read_to_string(root.join(p)).unwrap();
            Ok(Source::new(p, text))
        });
        let station = file.unwrap_or_else(|| panic!("{problems:?}")).base;
        for (log, flux, truth) in [
            ("sun-old.csv", 285.0, 17.6945),
            ("sun-new.csv", 310.0, 20.3376),
        ] {
            let sheet = sun_sheet(
                &station,
                &root.join("recordings").join(log),
                &Published::Here(flux, 0.02 * flux),
                &MeasureOptions::default(),
                &Progress::silent(),
            )
            .unwrap();
            let gt = sheet
                .sections
                .iter()
                .flat_map(|s| &s.answers)
                .find(|a| a.measurand == "sun.g_over_t")
                .and_then(|a| a.estimate())
                .unwrap();
            assert!(
                (gt.value - truth).abs() < 1.96 * gt.u && gt.u < 0.2,
                "{log}: {} u {}",
                gt.value,
                gt.u
            );
        }
    }
}
