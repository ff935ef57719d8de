//! Ground floor: located text and the problems a person can fix.
//!
//! What a person typed is kept as a [`Source`]; a mistake in it becomes a [`Problem`] that knows where it stands, what
//! was expected and what to do, and is drawn under the line it stands in ([`render`]) or handed on as plain data
//! ([`ProblemData`]). [`toml`] reads TOML into a tree whose every node knows its place, and [`Section`] walks it,
//! collecting every problem rather than the first.
//!
//! Nothing here reads a file: bytes come in, text goes out.

mod data;
mod nearest;
mod problem;
mod render;
mod section;
mod source;
pub mod toml;

pub use data::ProblemData;
pub use nearest::nearest;
pub use problem::{Place, Problem, Problems, Severity};
pub use render::{Style, render, render_all};
pub use section::{Section, written};
pub use source::{MAX_TEXT_BYTES, Source, Span};
