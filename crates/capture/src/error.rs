//! The room's one error.

use std::path::PathBuf;

/// Why a recording could not be read or measured.
///
/// A problem in a file names the file, the place in it, what was expected there and what to do.
/// Conditions under which a measurement is refused with evidence are not errors; they travel with the
/// measurement.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CaptureError {
    /// The operating system refused to open or read something.
    #[error("{name}: cannot read: {source}")]
    Io {
        /// The file or stream as the user named it.
        name: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// A file was read, and what stands at one place of it is not what the format says.
    #[error("{problem}")]
    Malformed {
        /// Where, what was found, what was expected, what to do.
        problem: Box<Located>,
    },
    /// A well-formed recording of a kind that this tool does not measure.
    #[error("{name}: {what}\n  help: {help}")]
    Unsupported {
        /// The file or stream as the user named it.
        name: String,
        /// What it is.
        what: String,
        /// What to do instead.
        help: String,
    },
    /// Neither the recording nor the caller says something that is needed.
    #[error("{name}: {what} is not known\n  help: {help}")]
    Missing {
        /// The file or stream as the user named it.
        name: String,
        /// What is missing.
        what: String,
        /// How to say it.
        help: String,
    },
    /// An argument is outside what makes sense.
    #[error("{what}\n  help: {help}")]
    Argument {
        /// What was asked for.
        what: String,
        /// What would be accepted.
        help: String,
    },
    /// The work was told to stop.
    #[error("stopped before the end")]
    Stopped,
}

/// A place in a file and what is wrong there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Located {
    /// The file or stream as the user named it.
    pub name: String,
    /// The place.
    pub place: Place,
    /// What was found.
    pub found: String,
    /// What was expected.
    pub expected: String,
    /// What to do; may be empty.
    pub help: String,
}

/// A place in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// Offset in bytes from the start of the file.
    Byte(u64),
    /// Line and column, both counted from 1.
    Line(u64, u64),
    /// A named field of the metadata, such as `captures[1].core:sample_start`.
    Field(String),
    /// The file as a whole.
    Whole,
}

impl std::fmt::Display for Located {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match &self.place {
            Place::Byte(b) => write!(f, "{}: byte {b}: ", self.name)?,
            Place::Line(l, c) => write!(f, "{}:{l}:{c}: ", self.name)?,
            Place::Field(k) => write!(f, "{}: {k}: ", self.name)?,
            Place::Whole => write!(f, "{}: ", self.name)?,
        }
        write!(f, "{}\n  expected: {}", self.found, self.expected)?;
        if !self.help.is_empty() {
            write!(f, "\n  help: {}", self.help)?;
        }
        Ok(())
    }
}

impl CaptureError {
    /// A read error of `name`.
    pub fn io(name: impl Into<String>, source: std::io::Error) -> Self {
        Self::Io {
            name: name.into(),
            source,
        }
    }

    /// A read error of the file at `path`.
    pub fn io_path(path: impl Into<PathBuf>, source: std::io::Error) -> Self {
        Self::io(path.into().display().to_string(), source)
    }

    /// A problem at a place of a file.
    pub fn malformed(
        name: impl Into<String>,
        place: Place,
        found: impl Into<String>,
        expected: impl Into<String>,
        help: impl Into<String>,
    ) -> Self {
        Self::Malformed {
            problem: Box::new(Located {
                name: name.into(),
                place,
                found: found.into(),
                expected: expected.into(),
                help: help.into(),
            }),
        }
    }

    /// Something well-formed that is not measured.
    pub fn unsupported(
        name: impl Into<String>,
        what: impl Into<String>,
        help: impl Into<String>,
    ) -> Self {
        Self::Unsupported {
            name: name.into(),
            what: what.into(),
            help: help.into(),
        }
    }

    /// Something that has to be said.
    pub fn missing(
        name: impl Into<String>,
        what: impl Into<String>,
        help: impl Into<String>,
    ) -> Self {
        Self::Missing {
            name: name.into(),
            what: what.into(),
            help: help.into(),
        }
    }
}
