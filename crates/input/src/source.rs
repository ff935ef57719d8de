//! A text with a name and its lines.

use crate::{Place, Problem, Problems};
use std::ops::Range;
use std::sync::Arc;

/// Bytes of a source.
pub type Span = Range<usize>;

/// Longest text that is read as something a person wrote. A recording given in place of a station file stops here.
pub const MAX_TEXT_BYTES: usize = 4 << 20;

/// A named text.
#[derive(Debug, PartialEq, Eq)]
pub struct Source {
    name: String,
    text: String,
    /// Where each line begins.
    lines: Vec<usize>,
}

impl Source {
    /// From text; a byte order mark at its start is dropped.
    pub fn new(name: impl Into<String>, text: impl Into<String>) -> Arc<Self> {
        let mut text: String = text.into();
        if text.starts_with('\u{feff}') {
            text.drain(..'\u{feff}'.len_utf8());
        }
        let lines = std::iter::once(0)
            .chain(text.match_indices('\n').map(|(i, _)| i + 1))
            .collect();
        Arc::new(Self {
            name: name.into(),
            text,
            lines,
        })
    }

    /// From the bytes of a file.
    ///
    /// # Errors
    /// One problem: when there are more than [`MAX_TEXT_BYTES`], or at the first place that is not UTF-8.
    pub fn from_bytes(name: impl Into<String>, bytes: &[u8]) -> Result<Arc<Self>, Problems> {
        let name = name.into();
        if bytes.len() > MAX_TEXT_BYTES {
            return Err(Problem::error(format!(
                "`{name}` is too long for a text that a person wrote: {} bytes",
                bytes.len()
            ))
            .expected(format!("a text of at most {MAX_TEXT_BYTES} bytes"))
            .help("is this the right file? recordings are given to `measure`")
            .into());
        }
        match std::str::from_utf8(bytes) {
            Ok(text) => Ok(Self::new(name, text)),
            Err(e) => {
                let good = e.valid_up_to();
                let bad = bytes.get(good).copied().unwrap_or(0);
                let end = (good + 200).min(bytes.len());
                let shown = String::from_utf8_lossy(bytes.get(..end).unwrap_or(bytes)).into_owned();
                let bom = bytes.starts_with("\u{feff}".as_bytes());
                let at = if bom { good.saturating_sub(3) } else { good };
                let source = Self::new(name, shown);
                Err(Problem::error("this is not UTF-8 text")
                    .at(&source, at..at + '\u{fffd}'.len_utf8())
                    .label(format!("byte {bad:#04x} cannot stand here"))
                    .expected("plain text in UTF-8")
                    .help(
                        "save the file as UTF-8 in your editor, or check that it is the right file",
                    )
                    .into())
            }
        }
    }

    /// Name, normally the path as given.
    pub fn name(&self) -> &str {
        &self.name
    }
    /// The text.
    pub fn text(&self) -> &str {
        &self.text
    }
    /// The bytes of `span`, cut to the text and to character boundaries.
    pub fn slice(&self, span: &Span) -> &str {
        let s = self.clip(span);
        self.text.get(s).unwrap_or("")
    }
    /// `span` cut to the text and widened to character boundaries.
    pub fn clip(&self, span: &Span) -> Span {
        let mut lo = span.start.min(self.text.len());
        while !self.text.is_char_boundary(lo) {
            lo -= 1;
        }
        let mut hi = span.end.clamp(lo, self.text.len());
        while !self.text.is_char_boundary(hi) {
            hi += 1;
        }
        lo..hi
    }
    /// Line and column (both from 1, columns in characters) of a byte.
    pub fn line_column(&self, byte: usize) -> (usize, usize) {
        let at = self.clip(&(byte..byte)).start;
        let line = self.lines.partition_point(|&l| l <= at).max(1);
        let start = self.lines.get(line - 1).copied().unwrap_or(0);
        (line, self.slice(&(start..at)).chars().count() + 1)
    }
    /// Bytes of a line (from 1), without its end.
    pub fn line_span(&self, line: usize) -> Span {
        let start = self
            .lines
            .get(line.saturating_sub(1))
            .copied()
            .unwrap_or(self.text.len());
        let end = self.lines.get(line).copied().unwrap_or(self.text.len());
        let text = self.text.get(start..end).unwrap_or("");
        start..start + text.trim_end_matches(['\n', '\r']).len()
    }
    /// Number of lines.
    pub fn line_count(&self) -> usize {
        self.lines.len()
    }
    /// A place in this source.
    pub fn place(self: &Arc<Self>, span: Span) -> Place {
        Place {
            source: Arc::clone(self),
            span: self.clip(&span),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refused(name: &str, bytes: &[u8]) -> Problem {
        let all = Source::from_bytes(name, bytes).unwrap_err();
        assert_eq!(all.len(), 1);
        all.into_iter().next().unwrap()
    }

    #[test]
    fn lines_and_columns() {
        let s = Source::new("a", "one\r\n± two\n\nend");
        assert_eq!(s.line_column(0), (1, 1));
        let two = s.text().find("two").unwrap();
        assert_eq!(s.line_column(two), (2, 3));
        assert_eq!(s.slice(&s.line_span(1)), "one");
        assert_eq!(s.slice(&s.line_span(4)), "end");
        assert_eq!(s.slice(&s.line_span(3)), "");
        assert_eq!(s.line_column(999), (4, 4));
        assert_eq!(s.line_span(99), s.text().len()..s.text().len());
    }

    #[test]
    fn byte_order_mark_is_dropped_and_spans_still_fit() {
        let s = Source::from_bytes("a", b"\xef\xbb\xbfx = 1").unwrap();
        assert_eq!(s.text(), "x = 1");
        let p = refused("a", b"\xef\xbb\xbfab\xff");
        assert_eq!(p.place.as_ref().unwrap().line_column(), (1, 3));
    }

    #[test]
    fn what_is_not_text_is_refused_with_a_place() {
        let p = refused("a.toml", b"ab\ncd\xff\xfe");
        assert_eq!(p.place.as_ref().unwrap().line_column(), (2, 3));
        assert!(p.label.contains("0xff"));
        let p = refused("big", &vec![b'x'; MAX_TEXT_BYTES + 1]);
        assert!(p.title.contains("too long") && p.place.is_none());
    }

    #[test]
    fn spans_inside_characters_are_widened() {
        let s = Source::new("a", "±±");
        assert_eq!(s.clip(&(1..3)), 0..4);
        assert_eq!(s.slice(&(3..4)), "±");
        let reversed = Span { start: 3, end: 1 };
        assert_eq!(s.slice(&reversed), "");
    }
}
