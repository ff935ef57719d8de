//! New recordings and readings into the book, each once.

use super::moments::{day, shown};
use super::rows::{GAIN, ON, grouped, watched};
use crate::WorkflowError;
use crate::book::{change, named};
use crate::files::digest;
use crate::measure::{MeasureOptions, Measured, measure_file};
use crate::page::written_by;
use jiff::Timestamp;
use sha2::{Digest, Sha256};
use slantpath_book::{Body, Book, EntryId, Figure, Kind, NewEntry, Provenance, Role};
use slantpath_quantity::{Answer, Estimate, Unit};
use slantpath_station::Station;
use slantpath_station::checked::Reading;
use slantpath_stats::Progress;
use std::collections::BTreeMap;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

/// What was entered.
#[derive(Debug, Default)]
pub struct Taken {
    /// Entries written now.
    pub written: Vec<EntryId>,
    /// Times of them, s since 1970.
    pub times_s: Vec<f64>,
    /// Files and groups of readings that stand in the book already.
    pub known: usize,
    /// What a person should know.
    pub told: Vec<String>,
    /// The same for many files: what, and which.
    repeated: BTreeMap<&'static str, Vec<String>>,
}

impl Taken {
    /// Tells what happened to many files in one sentence each.
    fn summed(mut self) -> Self {
        for (what, names) in std::mem::take(&mut self.repeated) {
            self.told.push(match names.as_slice() {
                [one] => format!("{one}: {what}"),
                [first, .., last] => format!("{} files, {first} to {last}: {what}", names.len()),
                [] => continue,
            });
        }
        self
    }
}

/// A recording in the folder.
struct Candidate {
    /// What is opened.
    path: PathBuf,
    /// The file that holds the samples.
    data: PathBuf,
    bytes: u64,
    modified_ms: i64,
}

fn machine(path: &Path, cause: std::io::Error) -> WorkflowError {
    WorkflowError::Machine {
        path: path.display().to_string(),
        cause,
    }
}

/// Recordings of a folder in the order of their names: SigMF, WAV, and anything else when a raw format was named.
fn recordings(folder: &Path, raw: bool) -> Result<Vec<Candidate>, WorkflowError> {
    let mut out = Vec::new();
    for e in std::fs::read_dir(folder).map_err(|e| machine(folder, e))? {
        let path = e.map_err(|e| machine(folder, e))?.path();
        let name = path.file_name().and_then(|n| n.to_str()).unwrap_or("");
        let ending = path.extension().and_then(|x| x.to_str()).unwrap_or("");
        let data = match ending {
            "sigmf-meta" => path.with_extension("sigmf-data"),
            "sigmf" | "wav" | "WAV" => path.clone(),
            "sigmf-data" | "csv" | "toml" | "json" | "txt" | "md" | "html" | "book" | "prom"
            | "part" | "tmp" => continue,
            _ if raw && !name.starts_with('.') => path.clone(),
            _ => continue,
        };
        let Ok(about) = std::fs::metadata(&data) else {
            // A dataset under another name, or not written yet: opening it will say.
            if ending == "sigmf-meta" {
                out.push(Candidate {
                    data: path.clone(),
                    path,
                    bytes: 0,
                    modified_ms: 0,
                });
            }
            continue;
        };
        if about.is_file() {
            out.push(Candidate {
                path,
                data,
                bytes: about.len(),
                modified_ms: about
                    .modified()
                    .ok()
                    .and_then(|t| t.duration_since(UNIX_EPOCH).ok())
                    .map_or(0, |d| d.as_millis() as i64),
            });
        }
    }
    out.sort_by(|a, b| a.path.cmp(&b.path));
    Ok(out)
}

/// SHA-256 of a file, and how many bytes it had.
fn file_digest(path: &Path) -> std::io::Result<(String, u64)> {
    let mut file = std::fs::File::open(path)?;
    let mut hash = Sha256::new();
    let mut buffer = vec![0u8; 1 << 16];
    let mut bytes = 0u64;
    loop {
        let n = file.read(&mut buffer)?;
        if n == 0 {
            break;
        }
        bytes += n as u64;
        hash.update(buffer.get(..n).unwrap_or_default());
    }
    let text = hash.finalize().iter().map(|b| format!("{b:02x}")).collect();
    Ok((text, bytes))
}

/// How an entry is written.
pub struct Writing<'a> {
    /// The station as it is now.
    pub station: &'a Station,
    /// Files that it was read from: kind, name, SHA-256.
    pub files: &'a [(String, String, String)],
    /// The command, for provenance.
    pub command: &'a str,
    /// Now.
    pub now: Timestamp,
}

/// Enters the new recordings of a folder. One that cannot be read is entered without figures, and told; one that still
/// grows is left for the next time.
///
/// # Errors
/// The folder cannot be read, the book refuses.
pub fn recordings_into(
    book: &mut Book,
    folder: &Path,
    options: &MeasureOptions,
    w: &Writing<'_>,
    progress: &Progress,
) -> Result<Taken, WorkflowError> {
    let mut out = Taken::default();
    let all = recordings(folder, options.open.format.is_some())?;
    let mut last: Option<(f64, String)> = None;
    let many = all.len().max(1) as f64;
    for (k, c) in all.iter().enumerate() {
        progress.report(k as f64 / many, "");
        let name = c.path.display().to_string();
        // Looked at before: the same name, size and moment of writing.
        let stamp = digest(format!("{name}|{}|{}", c.bytes, c.modified_ms).as_bytes());
        if !book.with_input(&stamp)?.is_empty() {
            out.known += 1;
            continue;
        }
        let (sha, bytes) = match file_digest(&c.data) {
            Ok(x) => x,
            Err(e) => {
                out.told
                    .push(format!("{name}: {e}; left for the next time."));
                continue;
            }
        };
        if c.bytes != 0 && bytes != c.bytes {
            out.told
                .push(format!("{name} still grows: left for the next time."));
            continue;
        }
        let before = book.with_input(&sha)?;
        if let Some(id) = before.first() {
            out.known += 1;
            let other = book.entry(*id)?;
            if let Body::Measurement { recording, .. } = &other.entry.body
                && *recording != name
            {
                out.told.push(format!(
                    "{name} holds the same samples as {recording} (entry {id}): not entered twice."
                ));
            }
            continue;
        }
        let inputs = vec![
            ("file".to_string(), name.clone(), sha),
            ("listing".to_string(), name.clone(), stamp),
        ];
        let entry = match measure_file(w.station, &c.path, options, &Progress::silent()) {
            Ok(m) => measured_entry(&m, c, w, &mut out.repeated),
            Err(WorkflowError::Capture(why)) => {
                out.told.push(format!(
                    "{name} cannot be measured and is kept without figures: {why}."
                ));
                let mut e = NewEntry::new(
                    Kind::Measurement,
                    c.modified_ms,
                    &named(w.station),
                    format!("{name}: cannot be measured"),
                );
                e.text = why.to_string();
                e.body = Body::Measurement {
                    recording: name.clone(),
                    findings: vec![why.to_string()],
                };
                e
            }
            Err(e) => return Err(e),
        };
        let t_s = entry.at_ms as f64 / 1e3;
        if let Some((t, before)) = &last
            && t_s < t - 60.0
        {
            out.told.push(format!(
                "{name} says {}, but {before}, whose name comes before, says {}: a recorder's clock went back, or names do not follow the time. Both are kept where they say they stand.",
                shown(t_s),
                shown(*t)
            ));
        }
        last = Some((t_s, name));
        append(book, entry, inputs, w, &mut out)?;
    }
    progress.report(1.0, "");
    Ok(out.summed())
}

/// Enters readings that carry a moment.
///
/// # Errors
/// The book refuses.
pub fn readings_into(
    book: &mut Book,
    readings: &[Reading],
    file: &(String, String, String),
    w: &Writing<'_>,
) -> Result<Taken, WorkflowError> {
    let mut out = Taken::default();
    let mut new = Vec::new();
    for g in grouped(w.station, readings, &mut out.told) {
        let sha = digest(g.text.as_bytes());
        if !book.with_input(&sha)?.is_empty()
            || new
                .iter()
                .any(|(_, i): &(NewEntry, Vec<(String, String, String)>)| {
                    i.iter().any(|i| i.2 == sha)
                })
        {
            out.known += 1;
            continue;
        }
        let mut e = NewEntry::new(
            Kind::Measurement,
            (g.t_s * 1e3) as i64,
            &named(w.station),
            format!("readings of {}", shown(g.t_s)),
        );
        e.branch = g.branch.clone();
        e.figures = g
            .answers
            .iter()
            .map(|a| figure(a, g.branch.as_deref()))
            .collect();
        let inputs = vec![("readings".to_string(), file.1.clone(), sha)];
        new.push((e, inputs));
    }
    if new.is_empty() {
        return Ok(out);
    }
    let first = new.iter().map(|n| n.0.at_ms).min().unwrap_or_default();
    let mut all = Vec::with_capacity(new.len() + 1);
    if let Some(c) = change(book, w.station, "station file read", first)? {
        told_change(&c, &mut out);
        all.push(c);
    }
    let changes = all.len();
    for (mut e, inputs) in new {
        out.times_s.push(e.at_ms as f64 / 1e3);
        e.provenance = Some(provenance(inputs, w));
        all.push(e);
    }
    let ids = book.append_all(&all, w.now.as_millisecond())?;
    out.written.extend(ids.into_iter().skip(changes));
    Ok(out)
}

fn figure(a: &Answer, branch: Option<&str>) -> Figure {
    let mut f = Figure::of_answer(a, Role::Measured);
    if let Some(b) = branch
        && f.branch.is_empty()
    {
        f.branch = b.to_string();
    }
    f
}

fn provenance(inputs: Vec<(String, String, String)>, w: &Writing<'_>) -> Provenance {
    let mut all = w.files.to_vec();
    all.extend(inputs);
    Provenance {
        written_by: written_by(),
        command: w.command.to_string(),
        seed: None,
        trials: None,
        inputs: all,
    }
}

fn told_change(c: &NewEntry, out: &mut Taken) {
    if let Body::Change { changes, .. } = &c.body
        && !changes.is_empty()
    {
        out.told.push(format!(
            "The station file differs from the parts in the book since {}: {}. Levels before and after are not compared.",
            day(c.at_ms as f64 / 1e3),
            c.title
        ));
    }
}

fn append(
    book: &mut Book,
    mut entry: NewEntry,
    inputs: Vec<(String, String, String)>,
    w: &Writing<'_>,
    out: &mut Taken,
) -> Result<(), WorkflowError> {
    let mut all = Vec::new();
    if let Some(c) = change(book, w.station, "station file read", entry.at_ms)? {
        told_change(&c, out);
        all.push(c);
    }
    out.times_s.push(entry.at_ms as f64 / 1e3);
    entry.provenance = Some(provenance(inputs, w));
    all.push(entry);
    let ids = book.append_all(&all, w.now.as_millisecond())?;
    out.written.extend(ids.last().copied());
    Ok(())
}

const UNDATED: &str =
    "no moment is said: dated by the file, which was written when the recording ended.";
const TO_COME: &str = "the moment said is still to come: a clock is wrong, here or at the recorder. Kept where they say they stand.";
const NOT_FOUND: &str = "no beacon of this satellite was found: another satellite, a dish that has moved, a dead converter, or an oscillator further off than was looked for. Kept without figures.";

/// The few figures of a recording, and what is strange about it.
fn measured_entry(
    m: &Measured,
    c: &Candidate,
    w: &Writing<'_>,
    told: &mut BTreeMap<&'static str, Vec<String>>,
) -> NewEntry {
    let name = c.path.display().to_string();
    let mut findings: Vec<String> = m
        .measurement
        .flags
        .iter()
        .map(|f| format!("{}: {}", f.title, f.evidence))
        .collect();
    let mut tell = |what: &'static str| {
        told.entry(what).or_default().push(name.clone());
        findings.push(what.into());
    };
    let at_ms = match m.time_s() {
        Some(s) => (s * 1e3) as i64,
        None => {
            tell(UNDATED);
            c.modified_ms - (500.0 * m.measurement.duration_s) as i64
        }
    };
    if at_ms > w.now.as_millisecond() + 600_000 {
        tell(TO_COME);
    }
    if m.measurement.location.is_none() {
        tell(NOT_FOUND);
    }
    let mut e = NewEntry::new(
        Kind::Measurement,
        at_ms,
        &named(w.station),
        format!("{name} watched"),
    );
    e.branch = m.branch.clone();
    e.figures = m
        .answers()
        .iter()
        .filter(|a| watched(a.measurand.split('@').next().unwrap_or("")))
        .map(|a| figure(a, m.branch.as_deref()))
        .collect();
    let mount = &m.measurement.about.mount;
    if let Some(g) = mount.gain_db {
        let a = Answer::known(GAIN, "receiver's gain as set", Unit::Db, Estimate::exact(g));
        e.figures.push(figure(&a, m.branch.as_deref()));
    }
    if mount.transmitting == Some(true) {
        let a = Answer::known(ON, "own transmitter on", Unit::One, Estimate::exact(1.0));
        e.figures.push(figure(&a, m.branch.as_deref()));
    }
    e.text = findings.join("\n");
    e.body = Body::Measurement {
        recording: name,
        findings,
    };
    e
}
