//! Hall: one function per verb, the only place where rooms meet files, clock and progress.

pub mod book;
pub mod build_sheet;
pub mod compare;
pub mod contacts;
pub mod demo;
pub mod design;
pub mod diagnosis;
pub mod drawings;
pub mod drive;
pub mod echo;
mod error;
mod fields;
pub mod files;
pub mod live;
pub mod measure;
pub mod page;
pub mod planning;
pub mod power;
pub mod predict;
pub mod routes;
pub mod satellite;
pub mod search;
pub mod survey;
pub mod verdict;
pub mod watch;
pub mod whatif;

pub use error::WorkflowError;
