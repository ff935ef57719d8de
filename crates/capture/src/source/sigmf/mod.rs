//! Recordings by the SigMF specification: a metadata file beside a dataset file, or both in an archive.

mod archive;
mod layout;
mod meta;

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use self::meta::{MAX_META_BYTES, Meta, read_meta};
use super::Source;
use super::options::OpenOptions;
use super::stream::{Digests, Stream, hex};
use crate::error::{CaptureError, Place};

pub use archive::recordings;
pub(super) use meta::time;

/// Opens a recording by its metadata file, its dataset file, the name that both share, or an archive.
///
/// # Errors
/// A file cannot be read, the metadata is not what the specification says, or the samples are not complex.
pub fn open(path: &Path, options: &OpenOptions) -> Result<Box<dyn Source>, CaptureError> {
    if path.extension().is_some_and(|e| e == "sigmf") && path.is_file() {
        return archive::open(path, options);
    }
    let (meta_path, data_path) = pair(path);
    let bytes = read_bounded(&meta_path)?;
    let mut meta = read_meta(
        &meta_path.display().to_string(),
        &data_path.display().to_string(),
        &bytes,
    )?;
    let data_path = match meta.dataset.as_deref() {
        Some(name) => meta_path.with_file_name(name),
        None => data_path,
    };
    meta.about.name = data_path.display().to_string();
    if meta.metadata_only && !data_path.exists() {
        return Err(CaptureError::unsupported(
            meta_path.display().to_string(),
            "metadata that was given away without its samples",
            "get the dataset file and put it beside the metadata",
        ));
    }
    let file = File::open(&data_path).map_err(|e| CaptureError::io_path(&data_path, e))?;
    let length = file
        .metadata()
        .ok()
        .filter(std::fs::Metadata::is_file)
        .map(|m| m.len());
    finish(meta, file, length, &bytes, options)
}

/// The metadata file's path and the dataset's for any of the three ways to name a recording.
fn pair(path: &Path) -> (PathBuf, PathBuf) {
    let base = match path.extension().and_then(|e| e.to_str()) {
        Some("sigmf-meta" | "sigmf-data") => path.with_extension(""),
        _ => path.to_path_buf(),
    };
    // The base may hold dots of its own, so that the extension is added, not replaced.
    let add = |ending: &str| {
        let mut name = base.clone().into_os_string();
        name.push(ending);
        PathBuf::from(name)
    };
    (add(".sigmf-meta"), add(".sigmf-data"))
}

/// Whether `path` with the metadata's ending is a file.
pub(super) fn is_base_name(path: &Path) -> bool {
    pair(path).0.is_file()
}

fn read_bounded(path: &Path) -> Result<Vec<u8>, CaptureError> {
    let file = File::open(path).map_err(|e| CaptureError::io_path(path, e))?;
    let mut bytes = Vec::new();
    file.take(MAX_META_BYTES + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| CaptureError::io_path(path, e))?;
    check_size(&path.display().to_string(), bytes.len() as u64)?;
    Ok(bytes)
}

fn check_size(name: &str, length: u64) -> Result<(), CaptureError> {
    if length <= MAX_META_BYTES {
        return Ok(());
    }
    Err(CaptureError::malformed(
        name,
        Place::Whole,
        "more than 32 MiB of metadata",
        "a metadata file of the usual kilobytes",
        "check that this is a metadata file; leave annotations out if it is",
    ))
}

/// Joins metadata and samples.
fn finish(
    mut meta: Meta,
    data: impl Read + Send + 'static,
    length: Option<u64>,
    meta_bytes: &[u8],
    options: &OpenOptions,
) -> Result<Box<dyn Source>, CaptureError> {
    let regions = meta.regions(length);
    let channel = super::choose_channel(&meta.about.name, options.channel, meta.channels)?;
    let mut about = meta.about;
    if options.digests {
        about.metadata_sha256 = Some(hex(&Sha256::digest(meta_bytes)));
    }
    if options.format.is_some_and(|f| f != about.format) {
        about.warnings.push(format!(
            "a sample format was given, but the metadata says {}: that was taken",
            about.format
        ));
    }
    options.apply(&mut about);
    let digests = Digests {
        sha256: options.digests,
        sha512: meta.sha512.filter(|_| options.digests),
    };
    Ok(Box::new(Stream::new(
        data,
        about,
        regions,
        (channel, meta.channels),
        digests,
        &[],
    )))
}

/// A file that begins at `start`.
fn file_from(path: &Path, start: u64) -> Result<File, CaptureError> {
    let mut file = File::open(path).map_err(|e| CaptureError::io_path(path, e))?;
    file.seek(SeekFrom::Start(start))
        .map_err(|e| CaptureError::io_path(path, e))?;
    Ok(file)
}
