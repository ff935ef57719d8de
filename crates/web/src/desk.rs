//! What was measured and typed since the start: jobs that run, recordings measured, readings.

use slantpath_input::Source;
use slantpath_station::Station;
use slantpath_station::checked::Reading;
use slantpath_stats::{Progress, Stop};
use slantpath_workflow::WorkflowError;
use slantpath_workflow::files::check_readings;
use slantpath_workflow::measure::{MeasureOptions, Measured, measure_until};
use std::path::{Component, Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard};
use tempfile::TempDir;

/// Recordings and readings held at once.
const MOST: usize = 40;
/// Jobs remembered.
const JOBS: usize = 20;

/// How a job stands.
#[derive(Debug, Clone, PartialEq)]
pub enum State {
    /// Part done, and what is being done.
    Running(f64, String),
    /// Its figures are on the sheet.
    Done,
    /// Why not.
    Failed(String),
    /// A person stopped it.
    Stopped,
}

/// A recording that is being measured.
#[derive(Debug)]
pub struct Job {
    /// Number.
    pub id: u64,
    /// The recording's name.
    pub name: String,
    state: Mutex<State>,
    stop: Stop,
}

impl Job {
    /// How it stands.
    pub fn state(&self) -> State {
        self.state
            .lock()
            .map_or(State::Failed("the server has failed".into()), |s| s.clone())
    }
    fn set(&self, state: State) {
        if let Ok(mut s) = self.state.lock() {
            *s = state;
        }
    }
    /// Asks it to end.
    pub fn stop(&self) {
        self.stop.request();
    }
}

/// Everything on the desk.
#[derive(Debug, Default)]
pub struct Held {
    /// Measured recordings, oldest first.
    pub measured: Vec<Measured>,
    /// Typed readings, oldest first.
    pub readings: Vec<Reading>,
    /// Jobs, oldest first.
    pub jobs: Vec<Arc<Job>>,
    /// Where uploaded files lie; removed at the end of the run.
    folder: Option<TempDir>,
    next: u64,
}

/// The desk of a house.
#[derive(Debug, Default)]
pub struct Desk(Mutex<Held>);

fn refused(what: impl Into<String>, help: &str) -> WorkflowError {
    WorkflowError::argument(what, help)
}

impl Desk {
    /// Everything on it.
    ///
    /// # Errors
    /// Another thread failed while it held it.
    pub fn held(&self) -> Result<MutexGuard<'_, Held>, WorkflowError> {
        self.0
            .lock()
            .map_err(|_| refused("the server has failed", "start it again"))
    }

    /// A fresh folder for the files of one upload.
    ///
    /// # Errors
    /// The disk refuses.
    pub fn folder(&self) -> Result<PathBuf, WorkflowError> {
        let machine = |cause| WorkflowError::Machine {
            path: "folder for uploaded recordings".into(),
            cause,
        };
        let mut h = self.held()?;
        if h.folder.is_none() {
            let made = tempfile::Builder::new()
                .prefix("slantpath-")
                .tempdir()
                .map_err(machine)?;
            h.folder = Some(made);
        }
        h.next += 1;
        let root = h
            .folder
            .as_ref()
            .map(|f| f.path().to_path_buf())
            .unwrap_or_default();
        let path = root.join(h.next.to_string());
        std::fs::create_dir(&path).map_err(machine)?;
        Ok(path)
    }

    /// Measures a recording in the background; one at a time.
    ///
    /// # Errors
    /// Another one is being measured.
    pub fn measure(
        self: &Desk,
        house: &Arc<crate::house::House>,
        station: Station,
        path: PathBuf,
        name: String,
        options: MeasureOptions,
    ) -> Result<u64, WorkflowError> {
        let job = {
            let mut h = self.held()?;
            if h.jobs
                .iter()
                .any(|j| matches!(j.state(), State::Running(..)))
            {
                return Err(refused(
                    "a recording is being measured",
                    "wait until it is done, or stop it",
                ));
            }
            if h.measured.len() >= MOST {
                return Err(refused(
                    format!("{MOST} recordings are on the sheet"),
                    "take some off first",
                ));
            }
            h.next += 1;
            let job = Arc::new(Job {
                id: h.next,
                name: name.clone(),
                state: Mutex::new(State::Running(0.0, "opening".into())),
                stop: Stop::new(),
            });
            h.jobs.push(Arc::clone(&job));
            let over = h.jobs.len().saturating_sub(JOBS);
            h.jobs.drain(..over);
            job
        };
        let id = job.id;
        let house = Arc::clone(house);
        std::thread::spawn(move || {
            let told = Arc::clone(&job);
            let progress = Progress::new(move |part, what| {
                told.set(State::Running(part, what.to_string()));
            });
            let result = measure_until(&station, &path, &options, &progress, &job.stop);
            job.set(match result {
                _ if job.stop.is_requested() => State::Stopped,
                Err(e) => State::Failed(crate::layout::Trouble(e).text()),
                Ok(mut m) => {
                    // Where files lie on this disk stands on no page and in no book.
                    m.measurement.about.name.clone_from(&name);
                    if let Some(w) = &mut m.wideband {
                        w.about.name.clone_from(&name);
                    }
                    m.path = PathBuf::from(name);
                    match house.desk.held() {
                        Ok(mut h) => {
                            h.measured.push(m);
                            State::Done
                        }
                        Err(e) => State::Failed(e.to_string()),
                    }
                }
            });
        });
        Ok(id)
    }

    /// A reading that a person typed: the same rules as for a line of a readings file.
    ///
    /// # Errors
    /// Its mistakes.
    pub fn reading(&self, station: &Station, fields: &[(&str, &str)]) -> Result<(), WorkflowError> {
        let quoted = |s: &str| format!("\"{}\"", s.replace('"', "\"\"").replace(['\r', '\n'], " "));
        let given: Vec<&(&str, &str)> = fields.iter().filter(|f| !f.1.is_empty()).collect();
        let names: Vec<&str> = given.iter().map(|f| f.0).collect();
        let values: Vec<String> = given.iter().map(|f| quoted(f.1)).collect();
        let text = format!("{}\n{}\n", names.join(","), values.join(","));
        let source = Source::new("the form", text);
        let (readings, problems) = slantpath_station::read_readings(&source);
        if problems.has_errors() {
            return Err(WorkflowError::Problems(problems));
        }
        check_readings(&readings, station)?;
        let mut h = self.held()?;
        if h.readings.len() + readings.len() > MOST {
            return Err(refused(
                format!("{MOST} readings are on the sheet"),
                "take some off first",
            ));
        }
        h.readings.extend(readings);
        Ok(())
    }
}

/// A name for an uploaded file: its last part, with nothing in it that means something to a file system.
pub fn safe_name(given: &str) -> Option<String> {
    let last = given.rsplit(['/', '\\']).next().unwrap_or_default();
    let name: String = last
        .chars()
        .map(|c| {
            if c.is_ascii_alphanumeric() || "._-".contains(c) {
                c
            } else {
                '_'
            }
        })
        .take(100)
        .collect();
    let name = name.trim_start_matches('.').to_string();
    (!name.is_empty()).then_some(name)
}

/// A file under `root`, by a relative path that a browser sent.
///
/// # Errors
/// It leads elsewhere, or there is none.
pub fn confined(root: &Path, given: &str) -> Result<PathBuf, WorkflowError> {
    let bad = || {
        refused(
            format!("`{given}` is no recording of this folder"),
            "choose one of the list",
        )
    };
    let path = Path::new(given);
    let plain = path.components().all(|c| matches!(c, Component::Normal(_)));
    if given.is_empty() || !plain {
        return Err(bad());
    }
    let root = root.canonicalize().map_err(|_| bad())?;
    // Links are followed before the comparison.
    let found = root.join(path).canonicalize().map_err(|_| bad())?;
    if !found.starts_with(&root) || !found.is_file() {
        return Err(bad());
    }
    Ok(found)
}

/// Recordings beside the station file and in the folders there, relative to it, in alphabetical order.
pub fn recordings(root: &Path) -> Vec<String> {
    const KINDS: [&str; 12] = [
        "sigmf",
        "sigmf-meta",
        "wav",
        "cu8",
        "ci8",
        "ci16",
        "cs8",
        "cs16",
        "cf32",
        "raw",
        "iq",
        "bin",
    ];
    const MOST_LISTED: usize = 300;
    let mut out = Vec::new();
    let mut folders = vec![(root.to_path_buf(), 0)];
    while let Some((folder, depth)) = folders.pop() {
        let Ok(entries) = std::fs::read_dir(&folder) else {
            continue;
        };
        for e in entries.flatten() {
            let path = e.path();
            let hidden = e.file_name().to_string_lossy().starts_with('.');
            if hidden || out.len() >= MOST_LISTED {
                continue;
            }
            if path.is_dir() && depth < 2 {
                folders.push((path, depth + 1));
            } else if path.is_file()
                && path
                    .extension()
                    .and_then(|x| x.to_str())
                    .is_some_and(|x| KINDS.contains(&x.to_ascii_lowercase().as_str()))
                && let Ok(rel) = path.strip_prefix(root)
                && let Some(text) = rel.to_str()
            {
                out.push(text.to_string());
            }
        }
    }
    out.sort();
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_and_paths_stay_in_their_folder() {
        assert_eq!(safe_name("../../etc/passwd").as_deref(), Some("passwd"));
        assert_eq!(safe_name("C:\\x\\a b.wav").as_deref(), Some("a_b.wav"));
        assert_eq!(safe_name("...").as_deref(), None);
        assert_eq!(safe_name(".hidden").as_deref(), Some("hidden"));
        let out = tempfile::tempdir().expect("a folder");
        let root = out.path().join("in");
        std::fs::create_dir(&root).expect("made");
        std::fs::write(out.path().join("secret.wav"), b"x").expect("written");
        std::fs::write(root.join("a.wav"), b"x").expect("written");
        assert!(confined(&root, "a.wav").is_ok());
        for bad in [
            "",
            "../secret.wav",
            "/etc/passwd",
            "./../secret.wav",
            "b.wav",
            ".",
        ] {
            assert!(confined(&root, bad).is_err(), "{bad}");
        }
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink(out.path().join("secret.wav"), root.join("l.wav"))
                .expect("linked");
            assert!(confined(&root, "l.wav").is_err());
        }
        assert_eq!(recordings(&root).first().map(String::as_str), Some("a.wav"));
    }
}
