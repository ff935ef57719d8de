//! Why a verb gave no answer, and with which exit code it ends.

use slantpath_book::BookError;
use slantpath_capture::CaptureError;
use slantpath_input::Problems;
use slantpath_link::LinkError;
use slantpath_plan::PlanError;
use slantpath_stats::StatsError;
use slantpath_verdict::trial::TrialError;
use thiserror::Error;

/// Why a verb gave no answer.
#[derive(Debug, Error)]
pub enum WorkflowError {
    /// What a person wrote has mistakes; all of them are listed.
    #[error("the input has mistakes")]
    Problems(Problems),
    /// An argument cannot be used.
    #[error("{what}\n  {help}")]
    Argument {
        /// What is wrong.
        what: String,
        /// What to do.
        help: String,
    },
    /// The machine failed: disk, permission.
    #[error("{path}: {cause}")]
    Machine {
        /// Path concerned.
        path: String,
        /// What the system said.
        cause: std::io::Error,
    },
    /// The station book cannot be opened, read or written.
    #[error(transparent)]
    Book(#[from] BookError),
    /// A recording cannot be read or used.
    #[error(transparent)]
    Capture(#[from] CaptureError),
    /// The station cannot be modelled.
    #[error(transparent)]
    Link(#[from] LinkError),
    /// No plan can be given.
    #[error(transparent)]
    Plan(#[from] PlanError),
    /// Observations cannot be compared.
    #[error(transparent)]
    Trial(#[from] TrialError),
    /// Statistics cannot be done.
    #[error(transparent)]
    Stats(#[from] StatsError),
}

impl From<slantpath_waveform::WaveformError> for WorkflowError {
    fn from(e: slantpath_waveform::WaveformError) -> Self {
        Self::Plan(e.into())
    }
}

impl WorkflowError {
    /// 1: the machine failed; 2: bad input; 3: cannot conclude or refused.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Machine { .. } => 1,
            Self::Book(e) if e.is_machine() => 1,
            Self::Book(_) => 2,
            Self::Problems(_) | Self::Argument { .. } => 2,
            Self::Plan(PlanError::Nothing { .. } | PlanError::Stopped(_)) => 3,
            Self::Capture(_) | Self::Plan(_) => 2,
            Self::Link(LinkError::BelowHorizon { .. }) | Self::Trial(_) | Self::Stats(_) => 3,
            Self::Link(_) => 2,
        }
    }
    /// An argument that cannot be used.
    pub fn argument(what: impl Into<String>, help: impl Into<String>) -> Self {
        Self::Argument {
            what: what.into(),
            help: help.into(),
        }
    }
}
