//! A problem that a person can fix, and the collection of all of them.

use crate::{Source, Span};
use std::sync::Arc;

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Severity {
    /// There can be no answer until it is fixed.
    Error,
    /// There is an answer, but look at this.
    Warning,
}

impl Severity {
    /// As written in a message.
    pub fn name(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Warning => "warning",
        }
    }
}

/// A piece of a source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// The text.
    pub source: Arc<Source>,
    /// The bytes.
    pub span: Span,
}

impl Place {
    /// The text of the piece.
    pub fn text(&self) -> &str {
        self.source.slice(&self.span)
    }
    /// Line and column where it begins, from 1.
    pub fn line_column(&self) -> (usize, usize) {
        self.source.line_column(self.span.start)
    }
}

/// `text`, its middle left out when it is longer than anybody reads (what a person typed may be quoted in it).
pub(crate) fn shortened(text: &str) -> String {
    const EDGE: usize = 150;
    let n = text.chars().count();
    if n <= 2 * EDGE + 5 {
        return text.to_string();
    }
    let head: String = text.chars().take(EDGE).collect();
    let tail: String = text.chars().skip(n - EDGE).collect();
    format!("{head} ... {tail}")
}

/// One problem.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// How bad.
    pub severity: Severity,
    /// What is wrong, in one sentence without a full stop.
    pub title: String,
    /// Where; `None` when it belongs to the file as a whole or to no file.
    pub place: Option<Place>,
    /// Text under the underline.
    pub label: String,
    /// What was expected.
    pub expected: Option<String>,
    /// What to do; one entry for each advice.
    pub help: Vec<String>,
    /// The nearest known name, when a name is not known.
    pub nearest: Option<String>,
    /// Other places that belong to it, each with a text.
    pub also: Vec<(Place, String)>,
}

impl Problem {
    fn new(severity: Severity, title: impl Into<String>) -> Self {
        Self {
            severity,
            title: shortened(&title.into()),
            place: None,
            label: String::new(),
            expected: None,
            help: Vec::new(),
            nearest: None,
            also: Vec::new(),
        }
    }
    /// An error.
    pub fn error(title: impl Into<String>) -> Self {
        Self::new(Severity::Error, title)
    }
    /// A warning.
    pub fn warning(title: impl Into<String>) -> Self {
        Self::new(Severity::Warning, title)
    }
    /// Sets the place.
    pub fn at(mut self, source: &Arc<Source>, span: Span) -> Self {
        self.place = Some(source.place(span));
        self
    }
    /// Sets the place.
    pub fn at_place(mut self, place: Place) -> Self {
        self.place = Some(place);
        self
    }
    /// Sets the text under the underline.
    pub fn label(mut self, label: impl Into<String>) -> Self {
        self.label = shortened(&label.into());
        self
    }
    /// Says what was expected.
    pub fn expected(mut self, expected: impl Into<String>) -> Self {
        self.expected = Some(shortened(&expected.into()));
        self
    }
    /// Adds an advice.
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help.push(help.into()); // ours, never a quotation
        self
    }
    /// Names the nearest known name, if there is one.
    pub fn nearest(mut self, nearest: Option<&str>) -> Self {
        self.nearest = nearest.map(str::to_string);
        self
    }
    /// Adds another place.
    pub fn also(mut self, place: Place, text: impl Into<String>) -> Self {
        self.also.push((place, text.into()));
        self
    }
    /// Whether `other` says the same of the same place.
    pub fn is_same_as(&self, other: &Problem) -> bool {
        self.severity == other.severity && self.title == other.title && self.place == other.place
    }
    /// Everything but the place in plain sentences, in the order: expected, nearest name, help.
    pub fn advice(&self) -> Vec<String> {
        let mut out = Vec::new();
        if let Some(n) = &self.nearest {
            out.push(format!("did you mean `{n}`?"));
        }
        if let Some(e) = &self.expected {
            out.push(format!("expected {e}"));
        }
        out.extend(self.help.iter().cloned());
        out
    }
}

/// All problems found, in the order found; the same problem is kept once.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Problems {
    list: Vec<Problem>,
    left_out: usize,
}

impl Problems {
    /// More than this many are counted, not kept: nobody reads the thousandth.
    pub const KEPT: usize = 200;

    /// None yet.
    pub fn new() -> Self {
        Self::default()
    }
    /// Adds a problem unless it is there already.
    pub fn push(&mut self, problem: Problem) {
        if self.list.iter().any(|p| p.is_same_as(&problem)) {
            return;
        }
        // An error is never lost behind warnings.
        if self.list.len() < Self::KEPT
            || (problem.severity == Severity::Error && !self.has_errors())
        {
            self.list.push(problem);
        } else {
            self.left_out += 1;
        }
    }
    /// Adds all of `other`.
    pub fn extend(&mut self, other: Problems) {
        self.left_out += other.left_out;
        for p in other.list {
            self.push(p);
        }
    }
    /// The problems.
    pub fn iter(&self) -> std::slice::Iter<'_, Problem> {
        self.list.iter()
    }
    /// How many are kept.
    pub fn len(&self) -> usize {
        self.list.len()
    }
    /// True when there is none.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }
    /// How many were counted but not kept.
    pub fn left_out(&self) -> usize {
        self.left_out
    }
    /// Whether any is an error.
    pub fn has_errors(&self) -> bool {
        self.list.iter().any(|p| p.severity == Severity::Error)
    }
    /// Whether `problem` is among them.
    pub fn contains(&self, problem: &Problem) -> bool {
        self.list.iter().any(|p| p.is_same_as(problem))
    }
    /// Errors before warnings, each by file (in order of appearance) and place.
    pub fn sorted(mut self) -> Self {
        let mut names: Vec<String> = Vec::new();
        for p in &self.list {
            if let Some(pl) = &p.place
                && !names.iter().any(|n| n == pl.source.name())
            {
                names.push(pl.source.name().to_string());
            }
        }
        self.list.sort_by_key(|p| {
            let file = p
                .place
                .as_ref()
                .and_then(|pl| names.iter().position(|n| n == pl.source.name()));
            (
                p.severity,
                file,
                p.place.as_ref().map_or(0, |pl| pl.span.start),
            )
        });
        self
    }
}

impl From<Problem> for Problems {
    fn from(p: Problem) -> Self {
        let mut all = Self::new();
        all.push(p);
        all
    }
}

impl IntoIterator for Problems {
    type Item = Problem;
    type IntoIter = std::vec::IntoIter<Problem>;
    fn into_iter(self) -> Self::IntoIter {
        self.list.into_iter()
    }
}

impl<'a> IntoIterator for &'a Problems {
    type Item = &'a Problem;
    type IntoIter = std::slice::Iter<'a, Problem>;
    fn into_iter(self) -> Self::IntoIter {
        self.list.iter()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_problem_is_kept_once_and_errors_come_first() {
        let s = Source::new("f", "abc\ndef");
        let mut all = Problems::new();
        all.push(Problem::warning("w").at(&s, 0..1));
        all.push(Problem::error("late").at(&s, 4..5));
        all.push(Problem::error("early").at(&s, 1..2));
        all.push(Problem::error("early").at(&s, 1..2));
        assert_eq!(all.len(), 3);
        let titles: Vec<_> = all.sorted().into_iter().map(|p| p.title).collect();
        assert_eq!(titles, ["early", "late", "w"]);
    }

    #[test]
    fn a_flood_is_counted_and_an_error_is_not_lost_in_it() {
        let mut all = Problems::new();
        for i in 0..Problems::KEPT + 50 {
            all.push(Problem::warning(format!("w{i}")));
        }
        all.push(Problem::error("e"));
        assert!(all.has_errors());
        assert_eq!(all.left_out(), 50);
    }
}
