//! What the caller knows better than the recording.

use jiff::Timestamp;

use super::about::{About, Mount, SampleFormat};

/// What to take from the caller instead of from the recording, and how to read it.
#[derive(Debug, Clone, PartialEq)]
#[non_exhaustive]
pub struct OpenOptions {
    /// Frequency at the middle of the recorded band.
    pub center_hz: Option<f64>,
    /// When the first sample was taken.
    pub start: Option<Timestamp>,
    /// Complex samples per second.
    pub sample_rate_hz: Option<f64>,
    /// How samples are stored; needed for raw recordings only.
    pub format: Option<SampleFormat>,
    /// Which of several interleaved complex channels, counted from 0.
    pub channel: Option<usize>,
    /// Which recording of an archive that holds several.
    pub recording: Option<String>,
    /// Fields of the set-up; each one given here wins over the recording's.
    pub mount: Mount,
    /// Whether to compute the SHA-256 and to check the SHA-512 of the metadata.
    pub digests: bool,
}

impl Default for OpenOptions {
    fn default() -> Self {
        Self {
            center_hz: None,
            start: None,
            sample_rate_hz: None,
            format: None,
            channel: None,
            recording: None,
            mount: Mount::default(),
            digests: true,
        }
    }
}

impl OpenOptions {
    /// Everything as the recording says.
    pub fn new() -> Self {
        Self::default()
    }

    /// The frequency at the middle of the band, true or intermediate.
    pub fn center_hz(mut self, hz: f64) -> Self {
        self.center_hz = Some(hz);
        self
    }

    /// When the first sample was taken.
    pub fn start(mut self, at: Timestamp) -> Self {
        self.start = Some(at);
        self
    }

    /// Complex samples per second.
    pub fn sample_rate_hz(mut self, hz: f64) -> Self {
        self.sample_rate_hz = Some(hz);
        self
    }

    /// How raw samples are stored.
    pub fn format(mut self, format: SampleFormat) -> Self {
        self.format = Some(format);
        self
    }

    /// Which of several interleaved complex channels, counted from 0.
    pub fn channel(mut self, channel: usize) -> Self {
        self.channel = Some(channel);
        self
    }

    /// Which recording of an archive.
    pub fn recording(mut self, name: impl Into<String>) -> Self {
        self.recording = Some(name.into());
        self
    }

    /// The set-up behind the recording.
    pub fn mount(mut self, mount: Mount) -> Self {
        self.mount = mount;
        self
    }

    /// Leaves digests uncomputed, for a first look that is thrown away.
    pub fn without_digests(mut self) -> Self {
        self.digests = false;
        self
    }

    /// Lets what the caller said win.
    pub(crate) fn apply(&self, about: &mut About) {
        if let Some(hz) = self.center_hz {
            let mut stated = about.segments.iter().filter_map(|s| s.center_hz);
            if let Some(first) = stated.next()
                && stated.any(|hz| hz != first)
            {
                about.warnings.push(
                    "the recording changes its centre on the way; the centre given for it was taken for all of it".into(),
                );
            }
            about.center_hz = Some(hz);
            for s in &mut about.segments {
                s.center_hz = Some(hz);
            }
        }
        if let Some(at) = self.start {
            // A correction of the clock moves every stretch by the same time.
            let shift = about.start.map(|was| at.duration_since(was));
            about.start = Some(at);
            for (k, s) in about.segments.iter_mut().enumerate() {
                s.datetime = if k == 0 {
                    Some(at)
                } else {
                    s.datetime
                        .zip(shift)
                        .and_then(|(t, d)| t.checked_add(d).ok())
                };
            }
        }
        if let Some(hz) = self.sample_rate_hz {
            if let Some(was) = about.sample_rate_hz.filter(|was| *was != hz) {
                about.warnings.push(format!(
                    "the recording says {was} samples per second; {hz} was given and taken"
                ));
            }
            about.sample_rate_hz = Some(hz);
        }
        let (m, said) = (&mut about.mount, &self.mount);
        m.side = said.side.clone().or(m.side.take());
        m.remount = said.remount.or(m.remount);
        m.block = said.block.or(m.block);
        m.branch = said.branch.clone().or(m.branch.take());
        m.control |= said.control;
        m.target = said.target.clone().or(m.target.take());
        m.gain_db = said.gain_db.or(m.gain_db);
        m.transmitting = said.transmitting.or(m.transmitting);
    }
}
