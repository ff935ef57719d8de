//! A sheet as text.

use super::{Paper, Tone, answer_table};
use crate::sheet::Sheet;

/// The whole sheet for a terminal.
pub fn sheet(paper: &Paper, s: &Sheet) -> String {
    let mut out = paper.tone(Tone::Heading, &s.title);
    out.push('\n');
    for section in &s.sections {
        out.push_str(&paper.heading(&section.title));
        for t in &section.text {
            out.push_str(&paper.paragraph(2, t));
        }
        if !section.answers.is_empty() {
            out.push_str(&answer_table(paper, &section.answers));
        }
    }
    if !s.because.is_empty() || s.next_measurement.is_some() || !s.cautions.is_empty() {
        out.push('\n');
    }
    for b in &s.because {
        out.push_str(&paper.hanging("because", b));
    }
    if let Some(n) = &s.next_measurement {
        out.push_str(&paper.hanging("next", n));
    }
    for c in &s.cautions {
        out.push_str(&paper.tone(Tone::Warning, &paper.hanging("caution", c)));
    }
    out
}
