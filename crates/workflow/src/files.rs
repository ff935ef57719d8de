//! Reading station files, and keeping account of what was read.

use crate::WorkflowError;
use crate::measure::MeasureOptions;
use sha2::{Digest, Sha256};
use slantpath_capture::source::SampleFormat;
use slantpath_input::{Problem, Problems, Source};
use slantpath_station::checked::{Reading, SetEntry};
use slantpath_station::{Station, StationFile, read_readings, read_set, read_station};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A station as read, with warnings and the digests of the files it came from.
#[derive(Debug)]
pub struct Loaded {
    /// Base and variants.
    pub file: StationFile,
    /// Warnings.
    pub warnings: Problems,
    /// What was read: kind, name, SHA-256.
    pub inputs: Vec<(String, String, String)>,
}

impl Loaded {
    /// The base or the variant of that name.
    ///
    /// # Errors
    /// No such variant.
    pub fn station(&self, variant: Option<&str>) -> Result<&Station, WorkflowError> {
        self.file.variant(variant).ok_or_else(|| {
            let known = self.file.variant_names();
            WorkflowError::argument(
                format!("there is no variant `{}`", variant.unwrap_or_default()),
                if known.is_empty() {
                    "the station file has no variants".to_string()
                } else {
                    format!("the station file has: {}", known.join(", "))
                },
            )
        })
    }
}

/// SHA-256 in hex.
pub fn digest(bytes: &[u8]) -> String {
    Sha256::digest(bytes)
        .iter()
        .map(|b| format!("{b:02x}"))
        .collect()
}

/// Reads a station file and the satellite file it names, relative to it.
///
/// # Errors
/// A file that cannot be read, or mistakes in one of them (all listed).
pub fn load_station(path: &Path) -> Result<Loaded, WorkflowError> {
    let read = |p: &Path| {
        std::fs::read(p).map_err(|cause| WorkflowError::Machine {
            path: p.display().to_string(),
            cause,
        })
    };
    let bytes = match read(path) {
        Ok(b) => b,
        Err(WorkflowError::Machine { cause, .. })
            if cause.kind() == std::io::ErrorKind::NotFound =>
        {
            return Err(WorkflowError::argument(
                format!("there is no file {}", path.display()),
                "name a station file, or write one to start from with `slantpath new station.toml`",
            ));
        }
        Err(e) => return Err(e),
    };
    let folder: PathBuf = path.parent().map(Path::to_path_buf).unwrap_or_default();
    load_from(&path.display().to_string(), &bytes, &mut |name| {
        std::fs::read(folder.join(name)).map_err(|e| e.to_string())
    })
}

/// Reads a station from bytes; `fetch` gives the bytes of the satellite file it names.
///
/// # Errors
/// Mistakes in one of the files.
pub fn load_from(
    name: &str,
    bytes: &[u8],
    fetch: &mut dyn FnMut(&str) -> Result<Vec<u8>, String>,
) -> Result<Loaded, WorkflowError> {
    let source = Source::from_bytes(name, bytes).map_err(WorkflowError::Problems)?;
    let has = |heading: &str| {
        source
            .text()
            .lines()
            .any(|l| l.trim_start().starts_with(heading))
    };
    if has("[satellite]") && !has("[station]") {
        return Err(WorkflowError::argument(
            format!("{name} is a satellite file"),
            "name the station file; it names its satellite file itself (satellite = \"...\")",
        ));
    }
    let mut inputs = vec![("station file".to_string(), name.to_string(), digest(bytes))];
    let mut broken: Option<Problems> = None;
    let (file, problems) = read_station(&source, &mut |p: &str| -> Result<Arc<Source>, String> {
        let b = fetch(p)?;
        let kind = if p.to_ascii_lowercase().ends_with(".s1p") {
            "measured reflection"
        } else {
            "satellite file"
        };
        // variants ask for the same file again
        let input = (kind.to_string(), p.to_string(), digest(&b));
        if !inputs.contains(&input) {
            inputs.push(input);
        }
        Source::from_bytes(p, &b).map_err(|e| {
            broken = Some(e);
            "it is not text".to_string()
        })
    });
    match file {
        Some(mut file) => {
            crate::fields::remember(&mut file);
            Ok(Loaded {
                file,
                warnings: problems,
                inputs,
            })
        }
        None => {
            let mut all = problems;
            if let Some(b) = broken {
                all.extend(b);
            }
            if all.is_empty() {
                all.push(Problem::error(format!("{name} is not a station file")));
            }
            Err(WorkflowError::Problems(all))
        }
    }
}

/// Reads typed readings from a CSV file.
///
/// # Errors
/// A file that cannot be read, or mistakes in it (all listed).
pub fn load_readings(path: &Path) -> Result<Vec<Reading>, WorkflowError> {
    let source = source(path, "readings file")?;
    let (readings, problems) = read_readings(&source);
    if problems.has_errors() {
        return Err(WorkflowError::Problems(problems));
    }
    Ok(readings)
}

/// Refuses typed readings that name what the station does not have.
///
/// # Errors
/// Every unknown branch, passband or beacon.
pub fn check_readings(readings: &[Reading], station: &Station) -> Result<(), WorkflowError> {
    let mut all = Problems::new();
    for r in readings {
        for (_, p) in slantpath_station::unknown_names(r, station) {
            all.push(p.help(format!("in {}", r.value.source)));
        }
    }
    if all.is_empty() {
        Ok(())
    } else {
        Err(WorkflowError::Problems(all))
    }
}

/// Reads a set file: its recordings with paths as they are reached from here.
///
/// # Errors
/// A file that cannot be read, or mistakes in it (all listed).
pub fn load_set(path: &Path) -> Result<Vec<(PathBuf, SetEntry)>, WorkflowError> {
    let source = source(path, "set file")?;
    let (entries, problems) = read_set(&source);
    if problems.has_errors() {
        return Err(WorkflowError::Problems(problems));
    }
    let folder: PathBuf = path.parent().map(Path::to_path_buf).unwrap_or_default();
    Ok(entries
        .into_iter()
        .map(|e| (folder.join(&e.file), e))
        .collect())
}

/// How to open a recording of a set: what the set says of it wins.
///
/// # Errors
/// A start or a sample format that cannot be.
pub fn set_options(base: &MeasureOptions, e: &SetEntry) -> Result<MeasureOptions, WorkflowError> {
    let mut o = base.clone();
    if let Some(t) = &e.start {
        o.open.start = Some(t.parse().map_err(|why| {
            WorkflowError::argument(
                format!(
                    "`{}`: the start `{t}` is not in the calendar: {why}",
                    e.file
                ),
                "write it as 2026-05-03T14:20:00Z",
            )
        })?);
    }
    if let Some(f) = &e.format {
        o.open.format = Some(f.parse::<SampleFormat>().map_err(|why| {
            WorkflowError::argument(
                format!("`{}`: `{f}` is not a sample format", e.file),
                format!("known are {why}"),
            )
        })?);
    }
    o.open.center_hz = e.center_hz.or(o.open.center_hz);
    o.open.sample_rate_hz = e.rate_hz.or(o.open.sample_rate_hz);
    let m = &mut o.open.mount;
    m.side = e.side.clone();
    m.remount = e.remount.map(u64::from);
    m.block = e.block.map(u64::from);
    m.control = e.control;
    o.branch = e.branch.clone().or(o.branch);
    Ok(o)
}

pub(crate) fn source(path: &Path, what: &str) -> Result<Arc<Source>, WorkflowError> {
    let name = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|cause| {
        if cause.kind() == std::io::ErrorKind::NotFound {
            WorkflowError::argument(format!("there is no file {name}"), format!("name a {what}"))
        } else {
            WorkflowError::Machine {
                path: name.clone(),
                cause,
            }
        }
    })?;
    Source::from_bytes(&name, &bytes).map_err(WorkflowError::Problems)
}

/// A commented file to start from.
pub fn template(satellite: bool) -> &'static str {
    if satellite {
        slantpath_station::template::satellite()
    } else {
        slantpath_station::template::station()
    }
}

/// Writes a file that must not be there yet.
///
/// # Errors
/// It is there already, or cannot be written.
pub fn write_new(path: &Path, text: &str) -> Result<(), WorkflowError> {
    let mut file = std::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path)
        .map_err(|cause| match cause.kind() {
            std::io::ErrorKind::AlreadyExists => WorkflowError::argument(
                format!("{} is there already", path.display()),
                "choose another name; nothing was overwritten",
            ),
            _ => WorkflowError::Machine {
                path: path.display().to_string(),
                cause,
            },
        })?;
    file.write_all(text.as_bytes())
        .map_err(|cause| WorkflowError::Machine {
            path: path.display().to_string(),
            cause,
        })
}

/// Writes a page that may replace an older page of this program, and nothing else.
///
/// # Errors
/// Another file stands there, or it cannot be written.
pub fn write_over_own(path: &Path, text: &str) -> Result<(), WorkflowError> {
    match std::fs::read_to_string(path) {
        Ok(old) if !is_report(&old) => {
            return Err(WorkflowError::argument(
                format!("{} is there already and is not a report", path.display()),
                "choose another folder; nothing was overwritten",
            ));
        }
        _ => {}
    }
    std::fs::write(path, text).map_err(|cause| WorkflowError::Machine {
        path: path.display().to_string(),
        cause,
    })
}

/// Writes a file that others read while it is replaced: beside it first, then exchanged in one step. It is as readable as
/// any file of this person.
///
/// # Errors
/// It cannot be written.
pub fn write_whole(path: &Path, text: &str) -> Result<(), WorkflowError> {
    let machine = |cause: std::io::Error| WorkflowError::Machine {
        path: path.display().to_string(),
        cause,
    };
    let mut beside = path.as_os_str().to_owned();
    beside.push(".part");
    let beside = PathBuf::from(beside);
    std::fs::write(&beside, text).map_err(machine)?;
    std::fs::rename(&beside, path).map_err(machine)
}

fn is_report(text: &str) -> bool {
    let head = text.to_lowercase();
    head.starts_with("<!doctype html>") && head.contains("slantpath")
}
