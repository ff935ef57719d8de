//! `watch`: short readings, day after day, and when something changed.
//!
//! New recordings and readings go into the station book, each once. Then every entry of the book is looked at again: what
//! Sun, rain, wind, the own transmitter and the satellite did is taken out, and what is left is searched for changes. An
//! alarm rests on entries up to its own day alone, so that a second run tells the same story.

mod cause;
mod judge;
mod moments;
mod record;
mod rows;
mod sheet;
mod sky;
mod take;
#[cfg(test)]
mod tests;
mod weather;

pub use cause::Cause;
pub use judge::{Channel, Finding, Judged, Of, Oscillator};
pub use moments::zone;
pub use record::{Recording, record};
pub use rows::{Mark, Row};
pub use take::{Taken, Writing};
pub use weather::{Over, Overs, Weather};

use crate::WorkflowError;
use crate::files::{check_readings, digest, load_readings, source};
use crate::measure::MeasureOptions;
use jiff::tz::TimeZone;
use judge::{Basis, judge};
use slantpath_book::Book;
use slantpath_link::{Conditions, Model};
use slantpath_report::Sheet;
use slantpath_report::openmetrics::{Sample, text};
use slantpath_station::Station;
use slantpath_station::checked::Reading;
use slantpath_stats::Progress;
use std::path::{Path, PathBuf};

/// A file that was read: kind, name, SHA-256.
pub type InputFile = (String, String, String);
/// A branch with the causes of its findings.
type Branch = (Judged, Vec<Option<Cause>>);

/// What to watch, and how.
#[derive(Debug, Clone)]
pub struct WatchOptions {
    /// Folder of recordings.
    pub folder: Option<PathBuf>,
    /// Readings with moments (CSV).
    pub readings: Option<PathBuf>,
    /// Weather log (CSV).
    pub weather: Option<PathBuf>,
    /// Transmit log (CSV).
    pub transmit: Option<PathBuf>,
    /// Zone of logs whose moments name none.
    pub zone: Option<TimeZone>,
    /// One branch only.
    pub branch: Option<String>,
    /// Wind from which readings are set aside, m/s.
    pub wind_limit: f64,
    /// How far off a frequency may be before it is retuned, Hz.
    pub tolerance_hz: f64,
    /// How recordings are opened and measured.
    pub measure: MeasureOptions,
}

impl Default for WatchOptions {
    fn default() -> Self {
        Self {
            folder: None,
            readings: None,
            weather: None,
            transmit: None,
            zone: None,
            branch: None,
            // A 1.2 m dish on an ordinary mast begins to move (common practice, no source).
            wind_limit: 10.0,
            tolerance_hz: 100.0,
            measure: MeasureOptions::default(),
        }
    }
}

/// What a run of the watch found.
#[derive(Debug)]
pub struct Watched {
    /// A sheet for each branch.
    pub sheets: Vec<Sheet>,
    /// Changes for the worse that nothing accounts for.
    pub alarms: usize,
    /// Figures for a monitoring system, in the OpenMetrics text format.
    pub metrics: String,
    /// Entries written.
    pub written: usize,
}

/// Enters what is new and looks at everything.
///
/// # Errors
/// Files that cannot be read or have mistakes, a station that cannot be modelled, a book that refuses.
pub fn watch(
    book: &mut Book,
    options: &WatchOptions,
    w: &Writing<'_>,
    progress: &Progress,
) -> Result<Watched, WorkflowError> {
    let station = w.station;
    let weather = weather_of(options)?;
    let overs = overs_of(options)?;
    let mut told = Vec::new();
    told.extend(weather.told.iter().cloned());
    told.extend(overs.told.iter().cloned());
    let mut taken: Vec<Taken> = Vec::new();
    if let Some(folder) = &options.folder {
        taken.push(take::recordings_into(
            book,
            folder,
            &options.measure,
            w,
            progress,
        )?);
    }
    if let Some(path) = &options.readings {
        let (readings, file) = dated_readings(station, path)?;
        taken.push(take::readings_into(book, &readings, &file, w)?);
    }
    let written: usize = taken.iter().map(|t| t.written.len()).sum();
    let known: usize = taken.iter().map(|t| t.known).sum();
    if written + known > 0 {
        told.insert(
            0,
            format!("{written} new entries; {known} stood in the book already."),
        );
    }
    told.extend(taken.iter().flat_map(|t| t.told.iter().cloned()));
    let new_from_s = taken
        .iter()
        .flat_map(|t| t.times_s.iter().copied())
        .fold(f64::INFINITY, f64::min);
    let (rows, marks) = rows::of_book(book)?;
    let look = Look {
        station,
        rows: &rows,
        marks: &marks,
        weather: &weather,
        overs: &overs,
        options,
        new_from_s,
    };
    let found = look.all()?;
    let mut out = Watched {
        sheets: Vec::new(),
        alarms: 0,
        metrics: String::new(),
        written,
    };
    let mut samples: Vec<Sample> = Vec::new();
    for (k, (j, causes)) in found.iter().enumerate() {
        let told: &[String] = if k == 0 { &told } else { &[] };
        out.alarms += j.alarms();
        samples.extend(sheet::samples(j));
        out.sheets
            .push(sheet::sheet(station, j, causes, options.tolerance_hz, told));
    }
    if out.sheets.is_empty() {
        let mut s = Sheet {
            verb: "watch".into(),
            title: format!("{}: nothing to look at yet", station.name),
            ..Sheet::default()
        };
        s.sections.push(slantpath_report::Section {
            key: "told".into(),
            title: "what there is to know".into(),
            text: told,
            ..Default::default()
        });
        s.because
            .push("No entry of the book holds a figure that is watched.".into());
        s.next_measurement =
            Some("Put short recordings into the folder, or give --readings.".into());
        out.sheets.push(s);
    }
    samples.extend(crate::book::latest_samples(book)?);
    out.metrics = text(&samples);
    Ok(out)
}

fn weather_of(o: &WatchOptions) -> Result<Weather, WorkflowError> {
    o.weather.as_ref().map_or_else(
        || Ok(Weather::default()),
        |p| Weather::load(p, o.zone.as_ref()),
    )
}

fn overs_of(o: &WatchOptions) -> Result<Overs, WorkflowError> {
    o.transmit
        .as_ref()
        .map_or_else(|| Ok(Overs::default()), |p| Overs::load(p, o.zone.as_ref()))
}

/// Readings of a file, checked, with the file as an input.
fn dated_readings(
    station: &Station,
    path: &Path,
) -> Result<(Vec<Reading>, InputFile), WorkflowError> {
    let readings = load_readings(path)?;
    check_readings(&readings, station)?;
    let s = source(path, "readings file")?;
    let file = (
        "readings".to_string(),
        s.name().to_string(),
        digest(s.text().as_bytes()),
    );
    Ok((readings, file))
}

/// Readings judged without a book, for a story told once: sheet and inputs.
///
/// # Errors
/// As [`watch`].
pub fn story(
    station: &Station,
    options: &WatchOptions,
) -> Result<(Sheet, Vec<InputFile>), WorkflowError> {
    let weather = weather_of(options)?;
    let overs = overs_of(options)?;
    let mut told: Vec<String> = weather.told.iter().chain(&overs.told).cloned().collect();
    let Some(path) = &options.readings else {
        return Err(WorkflowError::argument(
            "there are no readings",
            "give a readings file",
        ));
    };
    let (readings, file) = dated_readings(station, path)?;
    let rows = rows::of_readings(station, &readings, &mut told);
    let look = Look {
        station,
        rows: &rows,
        marks: &[],
        weather: &weather,
        overs: &overs,
        options,
        new_from_s: f64::NEG_INFINITY,
    };
    let found = look.all()?;
    let Some((j, causes)) = found.first() else {
        return Err(WorkflowError::argument(
            "no reading is of a branch of the station",
            "name the branch in the readings file",
        ));
    };
    let mut inputs = vec![file];
    inputs.extend(weather.input.clone());
    inputs.extend(overs.input.clone());
    Ok((
        sheet::sheet(station, j, causes, options.tolerance_hz, &told),
        inputs,
    ))
}

/// What a run looks at.
struct Look<'a> {
    station: &'a Station,
    rows: &'a [Row],
    marks: &'a [Mark],
    weather: &'a Weather,
    overs: &'a Overs,
    options: &'a WatchOptions,
    new_from_s: f64,
}

impl Look<'_> {
    /// Every branch with entries, each with the causes of its findings.
    fn all(&self) -> Result<Vec<Branch>, WorkflowError> {
        let mut branches: Vec<String> = self
            .station
            .receive
            .branches
            .iter()
            .map(|b| b.name.clone())
            .filter(|b| self.rows.iter().any(|r| r.branch == *b))
            .collect();
        // Entries whose branch nobody named.
        if branches.is_empty() && !self.rows.is_empty() {
            branches.extend(
                self.station
                    .receive
                    .branches
                    .first()
                    .map(|b| b.name.clone()),
            );
        }
        if let Some(one) = &self.options.branch {
            if self.station.receive.branch(one).is_none() {
                return Err(WorkflowError::argument(
                    format!("there is no branch `{one}`"),
                    "name a branch of the station",
                ));
            }
            branches = vec![one.clone()];
        }
        if branches.is_empty() {
            return Ok(Vec::new());
        }
        let model = Model::new(self.station, &Conditions::default())?;
        let mut hypotheses = None;
        let mut out = Vec::new();
        for branch in &branches {
            let j = judge(&Basis {
                station: self.station,
                model: &model,
                branch,
                rows: self.rows,
                marks: self.marks,
                weather: self.weather,
                overs: self.overs,
                wind_limit: self.options.wind_limit,
                new_from_s: self.new_from_s,
            })?;
            let mut causes = Vec::new();
            for f in &j.findings {
                causes.push(if f.alarm && !f.again {
                    if hypotheses.is_none() {
                        hypotheses = Some(cause::hypotheses(self.station, &model)?);
                    }
                    match &hypotheses {
                        Some(case) => cause::cause(case, &j, f, self.weather)?,
                        None => None,
                    }
                } else {
                    None
                });
            }
            out.push((j, causes));
        }
        Ok(out)
    }
}
