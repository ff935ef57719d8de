//! A short recording from a live source into the folder, so that what was measured can be measured again.

use crate::WorkflowError;
use jiff::Timestamp;
use slantpath_capture::source::SampleFormat;
use std::fs::File;
use std::io::{BufWriter, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// A source that sends nothing for so long has ended.
const SILENT: Duration = Duration::from_secs(10);

/// What to record.
#[derive(Debug, Clone)]
pub struct Recording<'a> {
    /// A server that sends raw samples to whoever connects: `tcp:HOST:PORT`.
    pub from: &'a str,
    /// Seconds.
    pub seconds: f64,
    /// Format of the samples.
    pub format: SampleFormat,
    /// Samples a second.
    pub rate_hz: f64,
    /// Centre frequency, Hz.
    pub center_hz: f64,
    /// Branch that they come from.
    pub branch: Option<&'a str>,
}

/// Records into a folder as SigMF, named by its moment. A source that ends early leaves what came, as long as it is a
/// second.
///
/// # Errors
/// No such source, one that sends nothing, a folder that cannot be written.
pub fn record(folder: &Path, r: &Recording<'_>, now: Timestamp) -> Result<PathBuf, WorkflowError> {
    let bad = |what: String| {
        WorkflowError::argument(
            what,
            "for example --record tcp:192.0.2.7:1234 --seconds 20 --format cu8 --rate 1e6 --center 722.35",
        )
    };
    let at = r
        .from
        .strip_prefix("tcp:")
        .ok_or_else(|| bad(format!("`{}` is no source to record from", r.from)))?;
    let samples = (r.seconds * r.rate_hz).round();
    if !(1.0..=1e10).contains(&samples) {
        return Err(bad(format!(
            "{} s at {} samples a second cannot be recorded",
            r.seconds, r.rate_hz
        )));
    }
    let want = samples as u64 * r.format.bytes_per_sample() as u64;
    let machine = |path: &Path| {
        let path = path.display().to_string();
        move |cause: std::io::Error| WorkflowError::Machine {
            path: path.clone(),
            cause,
        }
    };
    let source = machine(Path::new(r.from));
    let stream = TcpStream::connect(at).map_err(&source)?;
    stream.set_read_timeout(Some(SILENT)).map_err(&source)?;
    std::fs::create_dir_all(folder).map_err(machine(folder))?;
    let base = folder.join(now.strftime("%Y-%m-%dT%H%M%SZ").to_string());
    let (data, part) = (
        base.with_extension("sigmf-data"),
        base.with_extension("part"),
    );
    let mut file = BufWriter::new(File::create(&part).map_err(machine(&part))?);
    let got = copied(&stream, &mut file, want).map_err(&source)?;
    file.flush().map_err(machine(&part))?;
    let whole = got - got % r.format.bytes_per_sample() as u64;
    if (whole as f64) < (want as f64 / r.seconds).min(want as f64) {
        let _ = std::fs::remove_file(&part);
        return Err(bad(format!(
            "{} sent less than a second of samples",
            r.from
        )));
    }
    let branch = r.branch.map_or(String::new(), |b| {
        format!(",\"slantpath:branch\":\"{}\"", b.replace(['"', '\\'], ""))
    });
    let meta = format!(
        "{{\"global\":{{\"core:datatype\":\"{}\",\"core:sample_rate\":{},\"core:version\":\"1.0.0\",\"core:extensions\":[{{\"name\":\"slantpath\",\"version\":\"1.0.0\",\"optional\":true}}]{branch}}},\"captures\":[{{\"core:sample_start\":0,\"core:frequency\":{},\"core:datetime\":\"{}\"}}],\"annotations\":[]}}\n",
        r.format,
        r.rate_hz,
        r.center_hz,
        now.strftime("%Y-%m-%dT%H:%M:%S%.3fZ")
    );
    let about = base.with_extension("sigmf-meta");
    std::fs::rename(&part, &data).map_err(machine(&data))?;
    std::fs::write(&about, meta).map_err(machine(&about))?;
    Ok(about)
}

/// Copies until enough, the end, or silence.
fn copied(mut from: impl Read, to: &mut impl Write, want: u64) -> std::io::Result<u64> {
    let mut buffer = vec![0u8; 1 << 16];
    let mut got = 0u64;
    while got < want {
        let most = usize::try_from(want - got)
            .unwrap_or(usize::MAX)
            .min(buffer.len());
        let room = buffer.get_mut(..most).unwrap_or_default();
        match from.read(room) {
            Ok(0) => break,
            Ok(n) => {
                to.write_all(room.get(..n).unwrap_or_default())?;
                got += n as u64;
            }
            Err(e) if e.kind() == std::io::ErrorKind::Interrupted => {}
            Err(e)
                if matches!(
                    e.kind(),
                    std::io::ErrorKind::WouldBlock | std::io::ErrorKind::TimedOut
                ) =>
            {
                break;
            }
            Err(e) => return Err(e),
        }
    }
    Ok(got)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::TcpListener;

    #[test]
    fn a_server_fills_the_folder() {
        let d = tempfile::tempdir().unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let from = format!("tcp:{}", listener.local_addr().unwrap());
        let serve = std::thread::spawn(move || {
            let (mut s, _) = listener.accept().unwrap();
            // More than wanted: the rest is not taken.
            let _ = s.write_all(&vec![100u8; 100_000]);
        });
        let r = Recording {
            from: &from,
            seconds: 2.0,
            format: "cu8".parse().unwrap(),
            rate_hz: 10_000.0,
            center_hz: 722.35e6,
            branch: Some("sdr"),
        };
        let at: Timestamp = "2026-05-03T14:20:00Z".parse().unwrap();
        let meta = record(d.path(), &r, at).unwrap();
        serve.join().unwrap();
        let data = meta.with_extension("sigmf-data");
        assert_eq!(std::fs::metadata(&data).unwrap().len(), 40_000);
        let open =
            slantpath_capture::source::open(&meta, &slantpath_capture::source::OpenOptions::new())
                .unwrap();
        assert_eq!(open.about().sample_rate_hz, Some(10_000.0));
        assert_eq!(open.about().start, Some(at));
        assert_eq!(open.about().mount.branch.as_deref(), Some("sdr"));
        assert!(
            record(
                d.path(),
                &Recording {
                    from: "disk",
                    ..r.clone()
                },
                at
            )
            .is_err()
        );
        assert!(record(d.path(), &Recording { seconds: 0.0, ..r }, at).is_err());
    }
}
