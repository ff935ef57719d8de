//! Hall: one function per verb, the only place where rooms meet files, clock and progress.

pub mod compare;
pub mod demo;
mod error;
pub mod files;
pub mod measure;
pub mod page;
pub mod power;
pub mod predict;
pub mod search;
pub mod survey;
pub mod verdict;
pub mod whatif;

pub use error::WorkflowError;
