//! IQ recordings in WAV files: left is I, right is Q.

mod header;

pub(super) use header::is_wav;

use std::io::Read;

use super::Source;
use super::options::OpenOptions;
use super::stream::{Digests, Stream};
use crate::error::CaptureError;

/// Opens a WAV stream; `length` is the whole file's, where it is known.
///
/// # Errors
/// The header is not that of a WAV file, or the samples are not IQ pairs in a type that is read.
pub fn open(
    mut reader: impl Read + Send + 'static,
    name: &str,
    length: Option<u64>,
    options: &OpenOptions,
) -> Result<Box<dyn Source>, CaptureError> {
    let header = header::read(&mut reader, name, length)?;
    let channel = super::choose_channel(name, options.channel, header.pairs)?;
    let mut about = header.about;
    if options.format.is_some_and(|f| f != about.format) {
        about.warnings.push(format!(
            "a sample format was given, but the header says {}: that was taken",
            about.format
        ));
    }
    options.apply(&mut about);
    let digests = Digests {
        sha256: options.digests,
        sha512: None,
    };
    let stream = Stream::new(
        reader,
        about,
        vec![header.region],
        (channel, header.pairs),
        digests,
        &header.bytes,
    );
    Ok(Box::new(stream))
}
