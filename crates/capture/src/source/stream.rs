//! The engine behind every file and stream: bytes in order, digests on the way, whole samples out.

use std::io::Read;

use num_complex::Complex;
use sha2::{Digest, Sha256, Sha512};

use super::about::About;
use super::convert::convert;
use crate::error::CaptureError;

/// Bytes read at once. Large enough for the disk, small enough for the cache.
const BLOCK: usize = 256 * 1024;

/// Where samples lie among the bytes of a file: so many bytes to skip, then so many of samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Region {
    /// Bytes that are no samples.
    pub skip: u64,
    /// Bytes of samples; up to the end when not known.
    pub take: Option<u64>,
}

/// What the metadata says of the file's digest.
#[derive(Debug, Clone, Default)]
pub(crate) struct Digests {
    /// Compute the SHA-256.
    pub sha256: bool,
    /// The SHA-512 that it ought to have.
    pub sha512: Option<String>,
}

/// A source on any [`Read`].
pub(crate) struct Stream<R> {
    reader: R,
    about: About,
    regions: std::collections::VecDeque<Region>,
    /// Interleaved complex channels, and the one that is wanted.
    channels: usize,
    channel: usize,
    buffer: Vec<u8>,
    /// Part of `buffer` that was read and not yet converted.
    from: usize,
    to: usize,
    sha256: Option<Sha256>,
    sha512: Option<(Sha512, String)>,
    samples: u64,
    non_finite: u64,
    ended: bool,
}

impl<R: Read + Send> Stream<R> {
    /// `head` are bytes that were already taken from `reader` and belong before it only for the digest.
    pub(crate) fn new(
        reader: R,
        about: About,
        regions: Vec<Region>,
        (channel, channels): (usize, usize),
        digests: Digests,
        head: &[u8],
    ) -> Self {
        let frame = about.format.bytes_per_sample() * channels;
        let mut stream = Self {
            reader,
            regions: regions.into(),
            channels,
            channel,
            buffer: vec![0; BLOCK.max(frame).next_multiple_of(frame)],
            from: 0,
            to: 0,
            sha256: digests.sha256.then(Sha256::new),
            sha512: digests.sha512.map(|want| (Sha512::new(), want)),
            samples: 0,
            non_finite: 0,
            ended: false,
            about,
        };
        stream.digest(0, 0, Some(head));
        stream
    }

    fn frame(&self) -> usize {
        self.about.format.bytes_per_sample() * self.channels
    }

    fn digest(&mut self, from: usize, to: usize, head: Option<&[u8]>) {
        let bytes = head.or(self.buffer.get(from..to)).unwrap_or_default();
        if let Some(h) = &mut self.sha256 {
            h.update(bytes);
        }
        if let Some((h, _)) = &mut self.sha512 {
            h.update(bytes);
        }
    }

    /// Reads once into `buffer[at..at + most]`; 0 is the end of the stream.
    fn read_some(&mut self, at: usize, most: usize) -> Result<usize, CaptureError> {
        let end = at.saturating_add(most).min(self.buffer.len());
        loop {
            let space = self.buffer.get_mut(at..end).unwrap_or_default();
            match self.reader.read(space) {
                Ok(n) => {
                    self.digest(at, at + n, None);
                    return Ok(n);
                }
                Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
                Err(e) => return Err(CaptureError::io(&self.about.name, e)),
            }
        }
    }

    /// Skips what stands before the current region's samples. False at the end of the stream.
    fn skip(&mut self) -> Result<bool, CaptureError> {
        while let Some(left) = self.regions.front().map(|r| r.skip).filter(|n| *n > 0) {
            let most = usize::try_from(left).unwrap_or(BLOCK).min(BLOCK);
            let n = self.read_some(0, most)?;
            if n == 0 {
                return Ok(false);
            }
            if let Some(r) = self.regions.front_mut() {
                r.skip -= n as u64;
            }
        }
        Ok(true)
    }

    /// Makes at least one whole frame stand in the buffer. False when there is none left.
    fn fill(&mut self) -> Result<bool, CaptureError> {
        while self.to - self.from < self.frame() {
            if self.from > 0 {
                self.buffer.copy_within(self.from..self.to, 0);
                self.to -= self.from;
                self.from = 0;
            }
            let left = match self.regions.front() {
                None => return Ok(false),
                Some(r) => r.take,
            };
            if left == Some(0) {
                // The region is used up; a piece of a frame cannot be continued behind a header.
                self.torn();
                self.regions.pop_front();
                continue;
            }
            if self.to == 0 && !self.skip()? {
                self.short();
                return Ok(false);
            }
            let room = (self.buffer.len() - self.to) as u64;
            let most = left.map_or(room, |n| n.min(room)) as usize;
            let n = self.read_some(self.to, most)?;
            if n == 0 {
                self.short();
                return Ok(false);
            }
            self.to += n;
            if let Some(r) = self.regions.front_mut() {
                r.take = r.take.map(|t| t - n as u64);
            }
        }
        Ok(true)
    }

    /// Bytes are left that make no whole sample.
    fn torn(&mut self) {
        let rest = self.to - self.from;
        if rest > 0 {
            self.about.warnings.push(format!(
                "{rest} byte(s) after sample {} make no whole sample and were left out: the recording was cut, or its \
                 format is not {}",
                self.samples, self.about.format
            ));
        }
        self.from = 0;
        self.to = 0;
    }

    /// The stream ended before its header says.
    fn short(&mut self) {
        self.torn();
        let missing: u64 = self.regions.iter().filter_map(|r| r.take).sum();
        if missing > 0 {
            self.about.warnings.push(format!(
                "the recording ends {missing} bytes before its header says: {} whole samples were read",
                self.samples
            ));
        }
        self.regions.clear();
    }

    /// Reads what stands behind the samples, so that the digests are the file's, and settles the account.
    fn end(&mut self) -> Result<(), CaptureError> {
        if self.ended {
            return Ok(());
        }
        self.ended = true;
        if self.sha256.is_some() || self.sha512.is_some() {
            while self.read_some(0, BLOCK)? > 0 {}
        }
        if let Some(h) = self.sha256.take() {
            self.about.sha256 = Some(hex(&h.finalize()));
        }
        if let Some((h, want)) = self.sha512.take()
            && !hex(&h.finalize()).eq_ignore_ascii_case(&want)
        {
            self.about.warnings.push(
                "the samples do not have the SHA-512 that the metadata states: they were changed after recording, or \
                 the metadata belongs to another file"
                    .into(),
            );
        }
        if self.non_finite > 0 {
            self.about.warnings.push(format!(
                "{} component(s) are not finite numbers and were read as zero",
                self.non_finite
            ));
        }
        self.about.total_samples = Some(self.samples);
        let samples = self.samples;
        self.about
            .segments
            .retain(|s| s.start_sample == 0 || s.start_sample < samples);
        Ok(())
    }
}

impl<R: Read + Send> super::Source for Stream<R> {
    fn about(&self) -> &About {
        &self.about
    }

    fn read(&mut self, out: &mut [Complex<f32>]) -> Result<usize, CaptureError> {
        let mut done = 0;
        while done < out.len() {
            if self.ended || !self.fill()? {
                self.end()?;
                break;
            }
            let rest = out.get_mut(done..).unwrap_or_default();
            let frames = ((self.to - self.from) / self.frame()).min(rest.len());
            let target = rest.get_mut(..frames).unwrap_or_default();
            let end = self.from + frames * self.frame();
            let bytes = self.buffer.get_mut(self.from..end).unwrap_or_default();
            let bytes = pick(
                bytes,
                self.channel,
                self.channels,
                self.about.format.bytes_per_sample(),
            );
            self.non_finite += convert(self.about.format, bytes, target);
            self.from = end;
            self.samples += frames as u64;
            done += frames;
        }
        Ok(done)
    }
}

/// The bytes of one channel, moved together in place.
fn pick(bytes: &mut [u8], channel: usize, channels: usize, sample: usize) -> &[u8] {
    if channels > 1 {
        for k in 0..bytes.len() / (sample * channels) {
            let at = (k * channels + channel) * sample;
            bytes.copy_within(at..at + sample, k * sample);
        }
    }
    bytes
}

/// Lower-case hexadecimal.
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes
        .iter()
        .fold(String::with_capacity(2 * bytes.len()), |mut s, b| {
            s.push_str(&format!("{b:02x}"));
            s
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::{SampleFormat, Source};

    /// A reader that gives a few bytes at a time, as a pipe may.
    struct Dribble<'a>(&'a [u8], usize);
    impl Read for Dribble<'_> {
        fn read(&mut self, buf: &mut [u8]) -> std::io::Result<usize> {
            self.1 = self.1 % 5 + 1;
            let n = self.0.len().min(buf.len()).min(self.1);
            buf[..n].copy_from_slice(&self.0[..n]);
            self.0 = &self.0[n..];
            Ok(n)
        }
    }

    fn all(s: &mut impl Source, step: usize) -> Vec<Complex<f32>> {
        let mut got = Vec::new();
        let mut part = vec![Complex::default(); step];
        loop {
            let n = s.read(&mut part).unwrap();
            if n == 0 {
                return got;
            }
            got.extend_from_slice(&part[..n]);
        }
    }

    fn stream<'a>(bytes: &'a [u8], format: &str, regions: Vec<Region>) -> Stream<Dribble<'a>> {
        let format: SampleFormat = format.parse().unwrap();
        let digests = Digests {
            sha256: true,
            sha512: None,
        };
        Stream::new(
            Dribble(bytes, 0),
            About::new("x", format),
            regions,
            (0, 1),
            digests,
            &[],
        )
    }

    #[test]
    fn headers_inside_are_skipped_and_the_digest_is_the_files() {
        let bytes: Vec<u8> = (0..40).collect();
        let regions = vec![
            Region {
                skip: 3,
                take: Some(8),
            },
            Region {
                skip: 5,
                take: Some(6),
            },
            Region {
                skip: 1,
                take: Some(2),
            },
        ];
        let mut s = stream(&bytes, "cu8", regions);
        let got = all(&mut s, 3);
        let want: Vec<u8> = [3..11, 16..22, 23..25].into_iter().flatten().collect();
        let mut exact = vec![Complex::default(); 8];
        convert("cu8".parse().unwrap(), &want, &mut exact);
        assert_eq!(got, exact);
        assert_eq!(
            s.about().sha256.as_deref(),
            Some(hex(&Sha256::digest(&bytes)).as_str())
        );
        assert!(s.about().warnings.is_empty());
    }

    #[test]
    fn a_cut_recording_gives_its_whole_samples_and_says_so() {
        let bytes = [0u8; 10];
        let mut s = stream(
            &bytes,
            "ci16",
            vec![Region {
                skip: 0,
                take: Some(400),
            }],
        );
        assert_eq!(all(&mut s, 7).len(), 2);
        assert_eq!(s.about().warnings.len(), 2, "{:?}", s.about().warnings);
        assert_eq!(s.about().total_samples, Some(2));
    }

    #[test]
    fn digest_of_abc_is_the_published_one() {
        // FIPS 180-4, example of the NIST cryptographic toolkit.
        assert_eq!(
            hex(&Sha256::digest(b"abc")),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }
}
