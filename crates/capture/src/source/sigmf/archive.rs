//! Archives: a POSIX.1-2001 tar file with the metadata and the dataset of one or more recordings.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::meta::{MAX_META_BYTES, read_meta};
use super::{check_size, file_from, finish};
use crate::error::{CaptureError, Place};
use crate::source::Source;
use crate::source::options::OpenOptions;

/// Most files in an archive that are looked at.
const MAX_ENTRIES: usize = 100_000;

/// A file in the archive: name, first byte, length.
struct Entry {
    name: String,
    start: u64,
    length: u64,
}

fn entries(path: &Path) -> Result<Vec<Entry>, CaptureError> {
    let shown = path.display().to_string();
    let file = File::open(path).map_err(|e| CaptureError::io_path(path, e))?;
    let whole = file
        .metadata()
        .map_err(|e| CaptureError::io_path(path, e))?
        .len();
    let bad = |e: std::io::Error| {
        CaptureError::malformed(
            &shown,
            Place::Whole,
            format!("no readable tar archive: {e}"),
            "a tar archive with N.sigmf-meta and N.sigmf-data",
            "unpack it by hand and give the metadata file instead",
        )
    };
    let mut archive = tar::Archive::new(file);
    let mut list = Vec::new();
    for entry in archive.entries_with_seek().map_err(bad)?.take(MAX_ENTRIES) {
        let entry = entry.map_err(bad)?;
        if !entry.header().entry_type().is_file() {
            continue;
        }
        let name = String::from_utf8_lossy(&entry.path_bytes()).into_owned();
        let (start, length) = (entry.raw_file_position(), entry.size());
        if start.saturating_add(length) > whole {
            let place = Place::Byte(start);
            let found =
                format!("\"{name}\" says it has {length} bytes, more than the archive holds");
            return Err(CaptureError::malformed(
                &shown,
                place,
                found,
                "the whole file",
                "copy the archive again",
            ));
        }
        list.push(Entry {
            name,
            start,
            length,
        });
    }
    Ok(list)
}

/// The names of the recordings in an archive, in its order.
///
/// # Errors
/// It cannot be read or is no archive.
pub fn recordings(path: &Path) -> Result<Vec<String>, CaptureError> {
    Ok(entries(path)?
        .iter()
        .filter_map(|e| base(&e.name))
        .map(str::to_owned)
        .collect())
}

/// The recording's name: its metadata file's, without folders and ending.
fn base(name: &str) -> Option<&str> {
    let stem = name.strip_suffix(".sigmf-meta")?;
    stem.rsplit('/').next()
}

pub(super) fn open(path: &Path, options: &OpenOptions) -> Result<Box<dyn Source>, CaptureError> {
    let shown = path.display().to_string();
    let list = entries(path)?;
    let metas: Vec<&Entry> = list.iter().filter(|e| base(&e.name).is_some()).collect();
    let names = || {
        metas
            .iter()
            .filter_map(|e| base(&e.name))
            .collect::<Vec<_>>()
            .join(", ")
    };
    let entry = match (options.recording.as_deref(), metas.as_slice()) {
        (None, [only]) => only,
        (_, []) => {
            let expected = "a file that ends in .sigmf-meta";
            return Err(CaptureError::malformed(
                &shown,
                Place::Whole,
                "no metadata in it",
                expected,
                "",
            ));
        }
        (None, _) => {
            return Err(CaptureError::missing(
                &shown,
                "which of its recordings is meant",
                format!("name one of: {}", names()),
            ));
        }
        (Some(want), _) => metas
            .iter()
            .find(|e| base(&e.name) == Some(want))
            .ok_or_else(|| {
                CaptureError::missing(
                    &shown,
                    format!("a recording \"{want}\" in it"),
                    format!("it holds: {}", names()),
                )
            })?,
    };
    check_size(&entry.name, entry.length)?;
    let mut bytes = Vec::new();
    file_from(path, entry.start)?
        .take(entry.length.min(MAX_META_BYTES))
        .read_to_end(&mut bytes)
        .map_err(|e| CaptureError::io_path(path, e))?;
    let stem = entry
        .name
        .strip_suffix(".sigmf-meta")
        .unwrap_or(&entry.name);
    let inside = |name: &str| format!("{shown}:{name}");
    let meta = read_meta(
        &inside(&entry.name),
        &inside(&format!("{stem}.sigmf-data")),
        &bytes,
    )?;
    let wanted = match meta.dataset.as_deref() {
        Some(d) => match stem.rsplit_once('/') {
            Some((folder, _)) => format!("{folder}/{d}"),
            None => d.to_owned(),
        },
        None => format!("{stem}.sigmf-data"),
    };
    let Some(data) = list.iter().find(|e| e.name == wanted) else {
        let what = format!("the dataset \"{wanted}\"");
        return Err(CaptureError::missing(
            &shown,
            what,
            "the archive is not complete",
        ));
    };
    let file = file_from(path, data.start)?.take(data.length);
    finish(meta, file, Some(data.length), &bytes, options)
}
