//! Where samples come from: files, streams and the synthetic receiver, behind one trait.
//!
//! Everything downstream sees complex samples whose full scale 1.0 is the rail of one component, in the order
//! in which they were recorded, and an [`About`] with what the recording says of itself. Reading is sequential
//! with flat memory, and the samples do not depend on how many are asked for at a time.

mod about;
mod convert;
mod options;
pub mod power_log;
pub mod raw;
pub mod sigmf;
mod stream;
pub mod synthetic;
pub mod wav;

use std::fs::File;
use std::io::Read;
use std::path::Path;

use sigmf::time as sigmf_time;

pub use about::{About, Annotation, Component, Mount, SampleFormat, Segment};
pub use options::OpenOptions;

use crate::error::CaptureError;

/// A recording or a stream that is read once, from its start to its end.
pub trait Source: Send {
    /// What is known of the recording. Before reading: what its headers say. After the end was reached, also
    /// the digest of what was read and the warnings that came up on the way.
    fn about(&self) -> &About;

    /// Fills `out` with the next samples and returns how many there were; 0 is the end.
    ///
    /// Full scale 1.0 is the rail of one component: an unsigned component of `b` bits is `(x - h) / h` with
    /// `h = (2^b - 1) / 2` (so that cu8 zero is 127.5), a signed one is `x / (2^(b-1) - 1)` (so that the lowest
    /// code lies slightly below -1), a floating one is taken as it is.
    ///
    /// # Errors
    /// The file cannot be read.
    fn read(&mut self, out: &mut [num_complex::Complex<f32>]) -> Result<usize, CaptureError>;
}

impl<S: Source + ?Sized> Source for Box<S> {
    fn about(&self) -> &About {
        (**self).about()
    }

    fn read(&mut self, out: &mut [num_complex::Complex<f32>]) -> Result<usize, CaptureError> {
        (**self).read(out)
    }
}

/// Opens a recording by its path, whatever its kind; `-` is standard input.
///
/// SigMF is known by its endings or by the common name of its two files, WAV by its first bytes; anything else
/// is raw and needs [`OpenOptions::format`].
///
/// # Errors
/// The file cannot be read, is not what its format says, or is raw and no format was given.
pub fn open(path: &Path, options: &OpenOptions) -> Result<Box<dyn Source>, CaptureError> {
    if path.as_os_str() == "-" {
        return open_stream(std::io::stdin(), "standard input", options);
    }
    let ending = path
        .extension()
        .and_then(|e| e.to_str())
        .unwrap_or_default();
    let is_sigmf = matches!(ending, "sigmf" | "sigmf-meta" | "sigmf-data");
    if is_sigmf || (!path.is_file() && sigmf::is_base_name(path)) {
        return sigmf::open(path, options);
    }
    let file = File::open(path).map_err(|e| CaptureError::io_path(path, e))?;
    let length = file
        .metadata()
        .ok()
        .filter(std::fs::Metadata::is_file)
        .map(|m| m.len());
    open_any(file, &path.display().to_string(), length, options)
}

/// Opens a stream that is a WAV file or, with [`OpenOptions::format`], raw samples.
///
/// # Errors
/// It is neither, or cannot be read.
pub fn open_stream(
    reader: impl Read + Send + 'static,
    name: &str,
    options: &OpenOptions,
) -> Result<Box<dyn Source>, CaptureError> {
    open_any(reader, name, None, options)
}

fn open_any(
    mut reader: impl Read + Send + 'static,
    name: &str,
    length: Option<u64>,
    options: &OpenOptions,
) -> Result<Box<dyn Source>, CaptureError> {
    let mut head = Vec::new();
    reader
        .by_ref()
        .take(12)
        .read_to_end(&mut head)
        .map_err(|e| CaptureError::io(name, e))?;
    let is_wav = wav::is_wav(&head);
    let head_is_text = head.len() == 12
        && head
            .iter()
            .all(|b| b.is_ascii_graphic() || b.is_ascii_whitespace());
    let reader = std::io::Cursor::new(head).chain(reader);
    if is_wav {
        return wav::open(reader, name, length, options);
    }
    let Some(format) = options.format else {
        if head_is_text {
            return Err(CaptureError::unsupported(
                name,
                "it is text, not samples",
                "give a recording: SigMF, WAV, or raw samples with their format",
            ));
        }
        return Err(CaptureError::missing(
            name,
            "how its samples are stored",
            "name the sample format (such as cu8, ci16 or cf32), or give a SigMF or WAV recording",
        ));
    };
    raw::open(reader, name, format, length, options)
}

/// The channel to read, or why not.
fn choose_channel(name: &str, wanted: Option<usize>, there: usize) -> Result<usize, CaptureError> {
    match wanted {
        None if there <= 1 => Ok(0),
        None => Err(CaptureError::missing(
            name,
            format!("which of its {there} channels is meant"),
            format!("choose one, 0 to {}", there - 1),
        )),
        Some(c) if c < there => Ok(c),
        Some(c) => Err(CaptureError::Argument {
            what: format!("{name} has no channel {c}"),
            help: format!("it has {there}, counted from 0"),
        }),
    }
}
