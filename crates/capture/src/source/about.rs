//! What is known of a recording beside its samples.

use jiff::Timestamp;

/// One component (I or Q) as it is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Component {
    /// Unsigned 8 bit, zero at 127.5.
    U8,
    /// Signed 8 bit.
    I8,
    /// Unsigned 16 bit, zero at 32767.5.
    U16,
    /// Signed 16 bit.
    I16,
    /// Signed 24 bit, packed in three bytes.
    I24,
    /// Unsigned 32 bit, zero at 2147483647.5.
    U32,
    /// Signed 32 bit.
    I32,
    /// IEEE 754 single.
    F32,
    /// IEEE 754 double.
    F64,
}

impl Component {
    /// Bytes of one component.
    pub const fn bytes(self) -> usize {
        match self {
            Self::U8 | Self::I8 => 1,
            Self::U16 | Self::I16 => 2,
            Self::I24 => 3,
            Self::U32 | Self::I32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }

    /// Bits of one component.
    pub const fn bits(self) -> u32 {
        self.bytes() as u32 * 8
    }

    /// Whether a component is a floating-point number: it has no rail and no quantiser of its own.
    pub const fn is_float(self) -> bool {
        matches!(self, Self::F32 | Self::F64)
    }
}

/// How samples are stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SampleFormat {
    /// One component.
    pub component: Component,
    /// Most significant byte first.
    pub big_endian: bool,
}

impl SampleFormat {
    /// Little-endian (or single-byte) complex samples of `component`.
    pub const fn little(component: Component) -> Self {
        Self {
            component,
            big_endian: false,
        }
    }

    /// Bits of one component as stored.
    pub const fn bits(self) -> u32 {
        self.component.bits()
    }

    /// Whether components are floating-point numbers.
    pub const fn is_float(self) -> bool {
        self.component.is_float()
    }

    /// Bytes of one complex sample.
    pub const fn bytes_per_sample(self) -> usize {
        2 * self.component.bytes()
    }

    /// The step of the quantiser in units of full scale, or `None` for floating-point samples.
    pub fn lsb(self) -> Option<f64> {
        Some(match self.component {
            Component::U8 => 1.0 / 127.5,
            Component::I8 => 1.0 / 127.0,
            Component::U16 => 1.0 / 32767.5,
            Component::I16 => 1.0 / 32767.0,
            Component::I24 => 1.0 / 8_388_607.0,
            Component::U32 => 1.0 / 2_147_483_647.5,
            Component::I32 => 1.0 / 2_147_483_647.0,
            Component::F32 | Component::F64 => return None,
        })
    }
}

impl std::fmt::Display for SampleFormat {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let name = match self.component {
            Component::U8 => "cu8",
            Component::I8 => "ci8",
            Component::U16 => "cu16",
            Component::I16 => "ci16",
            Component::I24 => "ci24",
            Component::U32 => "cu32",
            Component::I32 => "ci32",
            Component::F32 => "cf32",
            Component::F64 => "cf64",
        };
        f.write_str(name)?;
        if self.component.bytes() == 1 {
            Ok(())
        } else if self.big_endian {
            f.write_str("_be")
        } else {
            f.write_str("_le")
        }
    }
}

impl std::str::FromStr for SampleFormat {
    type Err = String;

    /// The names of the SigMF specification's dataset formats, and `ci24` for the packed three-byte integers of
    /// WAV. Without `_le` or `_be` a multi-byte type is little-endian.
    fn from_str(text: &str) -> Result<Self, String> {
        let (name, big_endian) = if let Some(n) = text.strip_suffix("_be") {
            (n, true)
        } else {
            (text.strip_suffix("_le").unwrap_or(text), false)
        };
        let component = match name {
            "cu8" => Component::U8,
            "ci8" => Component::I8,
            "cu16" => Component::U16,
            "ci16" => Component::I16,
            "ci24" => Component::I24,
            "cu32" => Component::U32,
            "ci32" => Component::I32,
            "cf32" => Component::F32,
            "cf64" => Component::F64,
            _ => {
                return Err(
                    "cu8, ci8, cu16, ci16, ci24, cu32, ci32, cf32 or cf64, with _le or _be".into(),
                );
            }
        };
        Ok(Self {
            component,
            big_endian,
        })
    }
}

/// A stretch of a recording without a gap.
#[derive(Debug, Clone, PartialEq)]
pub struct Segment {
    /// First sample of the stretch, counted from the start of the recording as read.
    pub start_sample: u64,
    /// Frequency at the middle of the recorded band, if said.
    pub center_hz: Option<f64>,
    /// When the first sample was taken, if said.
    pub datetime: Option<Timestamp>,
    /// Whether it follows the stretch before it without a gap in time, as far as the recording says; true for
    /// the first.
    pub contiguous: bool,
}

/// A remark in the recording about some of its samples.
#[derive(Debug, Clone, PartialEq)]
pub struct Annotation {
    /// First sample it is about.
    pub start_sample: u64,
    /// How many samples; to the next one or the end when not said.
    pub count: Option<u64>,
    /// Lower and upper frequency edge.
    pub edges_hz: Option<(f64, f64)>,
    /// What it says.
    pub text: String,
}

/// What a recording says of the set-up behind it (fields `slantpath:` of the metadata, or the caller).
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Mount {
    /// Side of a swap trial: `A`, `B` or a name.
    pub side: Option<String>,
    /// Number of the mounting: counts up each time the part was taken off and put back.
    pub remount: Option<u64>,
    /// Number of the recording within its mounting.
    pub block: Option<u64>,
    /// Branch of the receive chain that was recorded.
    pub branch: Option<String>,
    /// Whether this is the untouched control receiver's recording.
    pub control: bool,
    /// What the antenna looked at, such as `satellite`, `cold-sky`, `absorber`, `sun`.
    pub target: Option<String>,
    /// Gain setting of the receiver in decibel, as its operator reads it.
    pub gain_db: Option<f64>,
    /// Whether the own transmitter was on, if said.
    pub transmitting: Option<bool>,
}

/// What is known of a recording beside its samples.
#[derive(Debug, Clone, PartialEq)]
pub struct About {
    /// The file or stream as the user named it.
    pub name: String,
    /// How its samples are stored.
    pub format: SampleFormat,
    /// Complex samples per second.
    pub sample_rate_hz: Option<f64>,
    /// Frequency at the middle of the recorded band: true or intermediate, as the recording says it.
    pub center_hz: Option<f64>,
    /// When the first sample was taken.
    pub start: Option<Timestamp>,
    /// Samples in the recording, where a header says so or the file's length shows it.
    pub total_samples: Option<u64>,
    /// Stretches without a gap; at least one, the first starts at sample 0.
    pub segments: Vec<Segment>,
    /// Remarks in the recording.
    pub annotations: Vec<Annotation>,
    /// What it says of the set-up behind it.
    pub mount: Mount,
    /// Free description.
    pub description: Option<String>,
    /// Receiver hardware as the recording names it.
    pub hardware: Option<String>,
    /// Program that recorded it.
    pub recorder: Option<String>,
    /// SHA-256, hexadecimal, of the file that holds the samples (in an archive: of the dataset in it); known
    /// once all of it was read.
    pub sha256: Option<String>,
    /// SHA-256, hexadecimal, of the metadata file, where there is one.
    pub metadata_sha256: Option<String>,
    /// What was wrong but could be lived with; each says what was done about it.
    pub warnings: Vec<String>,
}

impl About {
    /// A recording of which only the name and the format are known.
    pub fn new(name: impl Into<String>, format: SampleFormat) -> Self {
        Self {
            name: name.into(),
            format,
            sample_rate_hz: None,
            center_hz: None,
            start: None,
            total_samples: None,
            segments: vec![Segment {
                start_sample: 0,
                center_hz: None,
                datetime: None,
                contiguous: true,
            }],
            annotations: Vec::new(),
            mount: Mount::default(),
            description: None,
            hardware: None,
            recorder: None,
            sha256: None,
            metadata_sha256: None,
            warnings: Vec::new(),
        }
    }

    /// Length in seconds, where rate and number of samples are known.
    pub fn duration_s(&self) -> Option<f64> {
        Some(self.total_samples? as f64 / self.sample_rate_hz?)
    }
}
