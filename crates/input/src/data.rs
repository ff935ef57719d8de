//! A problem as plain data, for machines.

use crate::{Problem, Severity};

/// A problem as plain data: what a machine-readable report of it needs. Lines and columns count from 1, columns in
/// characters.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProblemData {
    /// `error` or `warning`.
    pub severity: &'static str,
    /// File, if it has a place.
    pub file: Option<String>,
    /// Line, if it has a place.
    pub line: Option<usize>,
    /// Column, if it has a place.
    pub column: Option<usize>,
    /// Line of its end.
    pub end_line: Option<usize>,
    /// Column just behind its end.
    pub end_column: Option<usize>,
    /// The text that is wrong (at most 200 characters of it).
    pub text: Option<String>,
    /// What is wrong.
    pub what: String,
    /// What is said under the underline, when it adds something.
    pub detail: Option<String>,
    /// What was expected.
    pub expected: Option<String>,
    /// Nearest known name.
    pub nearest: Option<String>,
    /// What to do.
    pub help: Vec<String>,
}

impl From<&Problem> for ProblemData {
    fn from(p: &Problem) -> Self {
        let begin = p.place.as_ref().map(|pl| pl.line_column());
        let end = p
            .place
            .as_ref()
            .map(|pl| pl.source.line_column(pl.span.end));
        Self {
            severity: match p.severity {
                Severity::Error => "error",
                Severity::Warning => "warning",
            },
            file: p.place.as_ref().map(|pl| pl.source.name().to_string()),
            line: begin.map(|b| b.0),
            column: begin.map(|b| b.1),
            end_line: end.map(|e| e.0),
            end_column: end.map(|e| e.1),
            text: p
                .place
                .as_ref()
                .map(|pl| pl.text().chars().take(200).collect()),
            what: p.title.clone(),
            detail: (!p.label.is_empty() && p.label != p.title).then(|| p.label.clone()),
            expected: p.expected.clone(),
            nearest: p.nearest.clone(),
            help: p.help.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Source;

    #[test]
    fn carries_place_text_and_advice() {
        let s = Source::new("st.toml", "a = 1\nb = \"22 dB\"\n");
        let at = s.text().find("dB").unwrap();
        let p = Problem::error("wrong unit")
            .at(&s, at..at + 2)
            .label("a ratio")
            .expected("a length")
            .nearest(Some("m"))
            .help("write a length");
        let d = ProblemData::from(&p);
        assert_eq!(
            (d.file.as_deref(), d.line, d.column, d.end_column),
            (Some("st.toml"), Some(2), Some(9), Some(11))
        );
        assert_eq!(d.text.as_deref(), Some("dB"));
        assert_eq!(d.severity, "error");
        assert_eq!(d.nearest.as_deref(), Some("m"));
        assert_eq!(d.help, ["write a length"]);
    }
}
