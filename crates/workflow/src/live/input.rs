//! Where live samples come from.

use super::{BLOCK_S, LiveOptions, Shared};
use crate::WorkflowError;
use slantpath_capture::source::{OpenOptions, Source, open, open_stream};
use std::fmt;
use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Pause before a source that ended or failed is tried again.
const AGAIN: Duration = Duration::from_millis(500);
/// Pause before a file that has not grown is looked at again.
const LOOK: Duration = Duration::from_millis(30);

/// A live source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LiveInput {
    /// Standard input.
    Stdin,
    /// A TCP server that sends samples to whoever connects: `host:port`.
    Tcp(String),
    /// A file that grows.
    File(PathBuf),
    /// A receiver through SoapySDR, by its arguments: `driver=...,serial=...`.
    Soapy(String),
    /// A station that does not exist, with a dish that can be turned.
    Simulated,
}

impl LiveInput {
    /// From `-`, `tcp:HOST:PORT`, `file:PATH`, `soapy:ARGUMENTS` or `simulated`.
    ///
    /// # Errors
    /// None of these.
    pub fn read(text: &str) -> Result<Self, WorkflowError> {
        let bad = || {
            WorkflowError::argument(
                format!("`{text}` is no live source"),
                "one of: - (standard input), tcp:HOST:PORT, file:PATH, soapy:ARGUMENTS, simulated",
            )
        };
        match text {
            "-" => Ok(Self::Stdin),
            "simulated" => Ok(Self::Simulated),
            _ => match text.split_once(':') {
                Some(("tcp", at))
                    if at
                        .rsplit_once(':')
                        .is_some_and(|(h, p)| !h.is_empty() && p.parse::<u16>().is_ok()) =>
                {
                    Ok(Self::Tcp(at.to_string()))
                }
                Some(("soapy", _)) if cfg!(not(feature = "soapy")) => Err(WorkflowError::argument(
                    "this program was built without SoapySDR",
                    "build it with `cargo build --release --features soapy`, or pipe samples in (-, tcp:HOST:PORT)",
                )),
                Some(("soapy", args)) if !args.is_empty() => Ok(Self::Soapy(args.to_string())),
                Some(("file", path)) if !path.is_empty() => Ok(Self::File(PathBuf::from(path))),
                _ => Err(bad()),
            },
        }
    }
}

impl fmt::Display for LiveInput {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Stdin => f.write_str("standard input"),
            Self::Tcp(at) => write!(f, "tcp:{at}"),
            Self::File(p) => write!(f, "{}", p.display()),
            Self::Soapy(args) => write!(f, "receiver {args}"),
            Self::Simulated => f.write_str("simulated station"),
        }
    }
}

/// The reading thread: opens, reads, opens again.
pub(super) fn read(shared: &Arc<Shared>, options: &LiveOptions) {
    let mut left_at: Option<Instant> = None;
    while !shared.stop.is_requested() {
        match start(shared, options) {
            Ok((mut source, dropped)) => {
                let lost = dropped.as_deref();
                if let Err(why) = drain(shared, source.as_mut(), lost, options, &mut left_at) {
                    shared.say(why);
                } else {
                    shared.say("the source has ended; trying again");
                }
            }
            Err(why) => shared.say(format!("{why}; trying again")),
        }
        if options.input == LiveInput::Stdin {
            shared.say("standard input has ended");
            return;
        }
        std::thread::sleep(AGAIN);
    }
}

fn opening(options: &LiveOptions) -> OpenOptions {
    let mut o = OpenOptions::new().without_digests();
    o.format = options.format;
    o.sample_rate_hz = options.rate_hz;
    o.center_hz = options.center_hz;
    o
}

/// A source, and where it counts samples that it dropped itself.
type Started = (Box<dyn Source>, Option<Arc<AtomicU64>>);

fn start(shared: &Arc<Shared>, options: &LiveOptions) -> Result<Started, String> {
    let how = opening(options);
    let plain: Result<Box<dyn Source>, String> = match &options.input {
        LiveInput::Soapy(args) => return soapy(args, options),
        LiveInput::Stdin => open(Path::new("-"), &how).map_err(|e| e.to_string()),
        LiveInput::Tcp(at) => {
            shared.say(format!("connecting to {at}"));
            let stream = TcpStream::connect(at.as_str()).map_err(|e| format!("{at}: {e}"))?;
            open_stream(stream, at, &how).map_err(|e| e.to_string())
        }
        LiveInput::File(path) => {
            let growing = Growing::open(path, options, Arc::clone(shared))
                .map_err(|e| format!("{}: {e}", path.display()))?;
            open_stream(growing, &path.display().to_string(), &how).map_err(|e| e.to_string())
        }
        LiveInput::Simulated => {
            shared.say("making the simulated station");
            shared
                .simulated
                .as_ref()
                .ok_or("there is no simulated station")?
                .source()
                .map_err(|e| e.to_string())
        }
    };
    plain.map(|s| (s, None))
}

#[cfg(feature = "soapy")]
fn soapy(args: &str, options: &LiveOptions) -> Result<Started, String> {
    let (Some(rate), Some(centre)) = (options.rate_hz, options.center_hz) else {
        return Err("a receiver needs --rate and --center".into());
    };
    let s = slantpath_capture::live::SoapySource::open(args, rate, centre)
        .map_err(|e| e.to_string())?;
    let lost = s.lost();
    Ok((Box::new(s), Some(lost)))
}

#[cfg(not(feature = "soapy"))]
fn soapy(_: &str, _: &LiveOptions) -> Result<Started, String> {
    Err("this program was built without SoapySDR".into())
}

/// Reads until the source ends. What passed unseen between two openings is counted as lost.
fn drain(
    shared: &Shared,
    source: &mut dyn Source,
    dropped: Option<&AtomicU64>,
    options: &LiveOptions,
    left_at: &mut Option<Instant>,
) -> Result<(), String> {
    let about = source.about();
    let rate = about
        .sample_rate_hz
        .ok_or("the sample rate is not known: give --rate")?;
    let centre = about
        .center_hz
        .ok_or("the centre frequency is not known: give --center")?;
    shared.tune(rate, centre);
    if let Some(t) = left_at.take() {
        shared
            .feed
            .lost((t.elapsed().as_secs_f64() * rate).round() as u64);
    }
    let mut pace = (options.input == LiveInput::Simulated).then(Instant::now);
    let mut sent = 0.0;
    let mut block = vec![Default::default(); ((BLOCK_S * rate) as usize).clamp(64, 1 << 20)];
    shared.say("receiving");
    while !shared.stop.is_requested() {
        let n = source.read(&mut block).map_err(|e| e.to_string());
        let n = match n {
            Ok(n) => n,
            Err(e) => {
                *left_at = Some(Instant::now());
                return Err(e);
            }
        };
        if n == 0 {
            break;
        }
        if let Some(d) = dropped {
            match d.swap(0, Ordering::Relaxed) {
                0 => {}
                gone => shared.feed.lost(gone),
            }
        }
        let got = block.get(..n).unwrap_or_default().to_vec();
        if !shared.feed.put(got) {
            break;
        }
        if let Some(start) = &mut pace {
            // A simulation runs no faster than a receiver would; on a busy machine it runs slower, and loses nothing.
            sent += n as f64 / rate;
            let ahead = sent - start.elapsed().as_secs_f64();
            if ahead > 0.0 {
                std::thread::sleep(Duration::from_secs_f64(ahead));
            } else if ahead < -0.2 {
                (*start, sent) = (Instant::now(), 0.0);
            }
        }
    }
    *left_at = Some(Instant::now());
    Ok(())
}

/// A file that is written while it is read: its end is not the end.
struct Growing {
    file: File,
    at: u64,
    shared: Arc<Shared>,
}

impl Growing {
    /// A raw file is taken up a second before its end, any other at its beginning, where its header is.
    fn open(path: &Path, options: &LiveOptions, shared: Arc<Shared>) -> std::io::Result<Self> {
        let mut file = File::open(path)?;
        let mut at = 0;
        let mut head = [0u8; 12];
        let headed = file.read(&mut head)? == head.len() && head.starts_with(b"RIFF")
            || head.starts_with(b"RF64")
            || head.starts_with(b"BW64");
        if let (Some(f), Some(rate), false) = (options.format, options.rate_hz, headed) {
            let frame = f.bytes_per_sample() as u64;
            let back = rate.max(0.0) as u64 * frame;
            let length = file.metadata()?.len();
            at = length.saturating_sub(back) / frame * frame;
        }
        file.seek(SeekFrom::Start(at))?;
        Ok(Self { file, at, shared })
    }
}

impl Read for Growing {
    fn read(&mut self, buf: &mut [u8]) -> std::io::Result<usize> {
        loop {
            let n = self.file.read(buf)?;
            self.at += n as u64;
            if n > 0 || buf.is_empty() || self.shared.stop.is_requested() {
                return Ok(n);
            }
            // Shorter than before: it was begun anew, and is opened again.
            if self.file.metadata()?.len() < self.at {
                return Ok(0);
            }
            std::thread::sleep(LOOK);
        }
    }
}
