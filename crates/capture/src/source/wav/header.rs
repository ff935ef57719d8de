//! The header: RIFF (Multimedia Programming Interface and Data Specifications 1.0, 1991), `WAVE_FORMAT_EXTENSIBLE`,
//! and RF64/BW64 with `ds64` (EBU Tech 3306, ITU-R BS.2088) for more than 4 GiB. Read forwards only, so that it
//! works on a pipe.

use std::io::Read;

use jiff::Timestamp;

use crate::error::{CaptureError, Place};
use crate::source::about::{About, Component, SampleFormat};
use crate::source::stream::Region;

/// Most bytes before the samples: recorders leave room for one sector or a few pages of remarks.
const MAX_HEADER: usize = 4 << 20;
/// Most bytes of a chunk that is looked into.
const MAX_CHUNK: u64 = 64 << 10;

/// What the header says.
pub(super) struct Header {
    pub about: About,
    /// IQ pairs side by side.
    pub pairs: usize,
    pub region: Region,
    /// The header's bytes, for the digest.
    pub bytes: Vec<u8>,
}

struct Input<'a, R> {
    reader: &'a mut R,
    name: &'a str,
    bytes: Vec<u8>,
}

impl<R: Read> Input<'_, R> {
    fn wrong(&self, at: usize, found: impl Into<String>, expected: &str) -> CaptureError {
        let help = "if this is a raw recording, name its sample format";
        CaptureError::malformed(self.name, Place::Byte(at as u64), found, expected, help)
    }

    /// The next `n` bytes; also kept for the digest. Grows with what is really there, never by what a header claims.
    fn take(&mut self, n: u64, expected: &str) -> Result<Vec<u8>, CaptureError> {
        let at = self.bytes.len();
        if n > (MAX_HEADER - at.min(MAX_HEADER)) as u64 {
            return Err(self.wrong(
                at,
                format!("a chunk of {n} bytes before the samples"),
                "the chunk \"data\" soon",
            ));
        }
        let mut got = Vec::new();
        self.reader
            .by_ref()
            .take(n)
            .read_to_end(&mut got)
            .map_err(|e| CaptureError::io(self.name, e))?;
        if (got.len() as u64) < n {
            return Err(self.wrong(at + got.len(), "the end of the file", expected));
        }
        self.bytes.extend_from_slice(&got);
        Ok(got)
    }
}

fn u16_at(b: &[u8], at: usize) -> Option<u16> {
    b.get(at..at + 2)?.try_into().ok().map(u16::from_le_bytes)
}

fn u32_at(b: &[u8], at: usize) -> Option<u32> {
    b.get(at..at + 4)?.try_into().ok().map(u32::from_le_bytes)
}

fn u64_at(b: &[u8], at: usize) -> Option<u64> {
    b.get(at..at + 8)?.try_into().ok().map(u64::from_le_bytes)
}

/// Whether a file that begins with these bytes is a WAV file.
pub(in crate::source) fn is_wav(head: &[u8]) -> bool {
    matches!(head.get(..4), Some(b"RIFF" | b"RF64" | b"BW64")) && head.get(8..12) == Some(b"WAVE")
}

pub(super) fn read<R: Read>(
    reader: &mut R,
    name: &str,
    length: Option<u64>,
) -> Result<Header, CaptureError> {
    let mut input = Input {
        reader,
        name,
        bytes: Vec::new(),
    };
    let head = input.take(12, "the 12 bytes that begin a WAV file")?;
    if !is_wav(&head) {
        return Err(input.wrong(
            0,
            "no WAV file",
            "\"RIFF\", \"RF64\" or \"BW64\", then \"WAVE\"",
        ));
    }
    let long = head.get(..4) != Some(b"RIFF");
    let mut format: Option<Format> = None;
    let mut data_64: Option<u64> = None;
    let mut auxi: Option<(Option<Timestamp>, Option<f64>)> = None;
    let mut warnings = Vec::new();
    loop {
        let at = input.bytes.len();
        let chunk = input.take(8, "a chunk header; there is no chunk \"data\" yet")?;
        let size = u32_at(&chunk, 4).unwrap_or(0);
        let id = chunk.get(..4).unwrap_or_default();
        if id == b"data" {
            let Some(f) = format else {
                return Err(input.wrong(
                    at,
                    "samples before their format",
                    "the chunk \"fmt \" before \"data\"",
                ));
            };
            let size = if long && size == u32::MAX {
                data_64.unwrap_or(u64::from(size))
            } else {
                u64::from(size)
            };
            let start = input.bytes.len() as u64;
            let take = data_length(size, long, start, length, &mut warnings);
            let mut about = f.about(name);
            about.warnings.append(&mut warnings);
            if let Some((time, center)) = auxi {
                about.start = time;
                about.center_hz = center;
            }
            if let Some(s) = about.segments.first_mut() {
                s.center_hz = about.center_hz;
                s.datetime = about.start;
            }
            let frame = (f.format.bytes_per_sample() * f.pairs) as u64;
            let there = length.map(|n| n.saturating_sub(start));
            let bytes = match (take, there) {
                (Some(a), Some(b)) => Some(a.min(b)),
                (a, b) => a.or(b),
            };
            about.total_samples = bytes.map(|b| b / frame);
            let region = Region { skip: 0, take };
            return Ok(Header {
                about,
                pairs: f.pairs,
                region,
                bytes: input.bytes,
            });
        }
        let id: [u8; 4] = id.try_into().unwrap_or_default();
        // Chunks are padded to even lengths; the padding is not counted in the size.
        let body = input.take(u64::from(size), "the rest of the chunk")?;
        if size % 2 == 1 {
            input.take(1, "the padding byte of a chunk of odd length")?;
        }
        let small = u64::from(size) <= MAX_CHUNK;
        match &id {
            b"ds64" if small => {
                data_64 = u64_at(&body, 8);
                if data_64.is_none() {
                    return Err(input.wrong(
                        at,
                        "a chunk \"ds64\" that is too short",
                        "at least 28 bytes",
                    ));
                }
            }
            b"fmt " if small => format = Some(read_format(&input, at + 8, &body)?),
            b"auxi" if small => {
                auxi = read_auxi(&body);
                if auxi.is_none() {
                    warnings.push(
                        "the chunk \"auxi\" was not understood; give centre and start yourself"
                            .into(),
                    );
                }
            }
            _ => {}
        }
    }
}

/// Bytes of samples, `None` for "up to the end".
fn data_length(
    size: u64,
    long: bool,
    start: u64,
    length: Option<u64>,
    warnings: &mut Vec<String>,
) -> Option<u64> {
    // A recorder that was stopped hard, or wrote to a pipe, leaves 0 or all ones.
    if size == 0 || size == u64::from(u32::MAX) || size == u64::MAX {
        if length.is_none_or(|n| n > start) {
            warnings.push(
                "the header does not say how long the recording is; it was read to its end".into(),
            );
        }
        return None;
    }
    if !long
        && length
            .is_some_and(|n| n.saturating_sub(start).saturating_sub(size) > u64::from(u32::MAX))
    {
        warnings.push("the file is longer than its header can say; it was read to its end".into());
        return None;
    }
    Some(size)
}

#[derive(Debug, Clone, Copy)]
struct Format {
    format: SampleFormat,
    rate: u32,
    pairs: usize,
    valid_bits: u16,
}

impl Format {
    fn about(self, name: &str) -> About {
        let mut about = About::new(name, self.format);
        about.sample_rate_hz = (self.rate > 0).then_some(f64::from(self.rate));
        let bits = self.format.bits();
        if self.valid_bits > 0 && u32::from(self.valid_bits) < bits {
            about
                .warnings
                .push(format!("{} of {bits} bits are in use", self.valid_bits));
        }
        about
    }
}

/// Tail of the sub-format identifiers of `WAVE_FORMAT_EXTENSIBLE` (after the two bytes of the format tag).
const SUBFORMAT_TAIL: [u8; 14] = [0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71];

fn read_format<R: Read>(input: &Input<'_, R>, at: usize, b: &[u8]) -> Result<Format, CaptureError> {
    let short = || {
        input.wrong(
            at,
            format!("a chunk \"fmt \" of {} bytes", b.len()),
            "16 bytes or more",
        )
    };
    let mut tag = u16_at(b, 0).ok_or_else(short)?;
    let channels = u16_at(b, 2).ok_or_else(short)?;
    let rate = u32_at(b, 4).ok_or_else(short)?;
    let align = u16_at(b, 12).ok_or_else(short)?;
    let bits = u16_at(b, 14).ok_or_else(short)?;
    let mut valid_bits = bits;
    if tag == 0xfffe {
        valid_bits = u16_at(b, 18).ok_or_else(short)?;
        tag = u16_at(b, 24).ok_or_else(short)?;
        if b.get(26..40) != Some(&SUBFORMAT_TAIL) {
            return Err(input.wrong(
                at + 24,
                "a private sub-format",
                "integer or floating-point samples",
            ));
        }
    }
    let refuse = |what: String, help: &str| Err(CaptureError::unsupported(input.name, what, help));
    let component = match (tag, bits) {
        (1, 8) => Component::U8,
        (1, 16) => Component::I16,
        (1, 24) => Component::I24,
        (1, 32) => Component::I32,
        (3, 32) => Component::F32,
        (3, 64) => Component::F64,
        (1 | 3, _) => {
            return refuse(
                format!("WAV samples of {bits} bits"),
                "record with 8, 16, 24 or 32 bits, or as floating point",
            );
        }
        _ => {
            let help = "compression would change what is measured: record plain integers or floating point";
            return refuse(format!("compressed sound (WAV format tag {tag})"), help);
        }
    };
    match channels {
        0 => return Err(input.wrong(at + 2, "no channels", "two channels: left I, right Q")),
        1 => {
            return refuse(
                "one channel: a real signal does not tell frequencies above the centre from those below".into(),
                "record IQ as two channels, left I and right Q",
            );
        }
        c if c % 2 == 1 || c > 64 => {
            return refuse(
                format!("{c} channels"),
                "record IQ as pairs of channels, left I and right Q",
            );
        }
        _ => {}
    }
    if usize::from(align) != component.bytes() * usize::from(channels) {
        let expected = format!("{}", component.bytes() * usize::from(channels));
        return Err(input.wrong(at + 12, format!("{align} bytes per frame"), &expected));
    }
    Ok(Format {
        format: SampleFormat::little(component),
        rate,
        pairs: usize::from(channels) / 2,
        valid_bits,
    })
}

/// The chunk `auxi`: two broken-down times of eight 16-bit numbers (start, stop: year, month, day of the week,
/// day, hour, minute, second, millisecond; UTC), then the centre in Hz as a 32-bit number. Common practice, no
/// source; anything that does not look like it is not taken.
fn read_auxi(b: &[u8]) -> Option<(Option<Timestamp>, Option<f64>)> {
    let center = u32_at(b, 32)?;
    let n = |k: usize| u16_at(b, 2 * k).and_then(|x| i16::try_from(x).ok());
    let small = |k: usize| n(k).and_then(|x| i8::try_from(x).ok());
    let year = n(0)?;
    if year == 0 {
        // The recorder had no clock.
        return (center > 0).then(|| (None, Some(f64::from(center))));
    }
    if !(1970..=2200).contains(&year) {
        return None;
    }
    let ns = i32::from(n(7)?).checked_mul(1_000_000)?;
    let civil = jiff::civil::DateTime::new(
        year,
        small(1)?,
        small(3)?,
        small(4)?,
        small(5)?,
        small(6)?,
        ns,
    )
    .ok()?;
    let at = jiff::tz::TimeZone::UTC.to_timestamp(civil).ok()?;
    Some((Some(at), (center > 0).then_some(f64::from(center))))
}
