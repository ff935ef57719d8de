//! Text for a terminal: fits the width, does without colour and without Unicode when asked.

mod answer;
mod paper;
mod sheet;

pub use answer::{answer, answer_row, answer_table, value_text};
pub use paper::{Paper, Tone};
pub use sheet::sheet;
