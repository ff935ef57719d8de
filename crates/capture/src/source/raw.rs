//! Raw IQ: nothing but samples; the caller says how they are stored.

use std::io::Read;

use super::Source;
use super::about::{About, SampleFormat};
use super::options::OpenOptions;
use super::stream::{Digests, Region, Stream};
use crate::error::CaptureError;

/// Samples in `format` from any reader; `length` is the number of bytes, where it is known.
///
/// # Errors
/// A channel is asked for: raw streams hold one.
pub fn open(
    reader: impl Read + Send + 'static,
    name: &str,
    format: SampleFormat,
    length: Option<u64>,
    options: &OpenOptions,
) -> Result<Box<dyn Source>, CaptureError> {
    super::choose_channel(name, options.channel, 1)?;
    let mut about = About::new(name, format);
    about.total_samples = length.map(|n| n / format.bytes_per_sample() as u64);
    options.apply(&mut about);
    let digests = Digests {
        sha256: options.digests,
        sha512: None,
    };
    let regions = vec![Region {
        skip: 0,
        take: None,
    }];
    Ok(Box::new(Stream::new(
        reader,
        about,
        regions,
        (0, 1),
        digests,
        &[],
    )))
}
