//! The sheet that text is set on.

use comfy_table::{Cell, CellAlignment, ContentArrangement, Table};
use textwrap::Options;

/// What a piece of text is, for colour.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// Ordinary text.
    Plain,
    /// A heading.
    Heading,
    /// Something good.
    Good,
    /// Something to look at.
    Warning,
    /// Something wrong.
    Bad,
    /// Something of little weight.
    Quiet,
}

/// How text is set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Paper {
    /// Columns; at least 40 are used.
    pub width: usize,
    /// Whether characters beyond ASCII may be used.
    pub unicode: bool,
    /// Whether colour may be used.
    pub colour: bool,
}

impl Default for Paper {
    fn default() -> Self {
        Self {
            width: 80,
            unicode: true,
            colour: false,
        }
    }
}

impl Paper {
    fn columns(&self) -> usize {
        self.width.max(40)
    }

    /// The sign before a standard uncertainty.
    pub fn plus_minus(&self) -> &'static str {
        if self.unicode { "±" } else { "+-" }
    }

    /// Replaces what is not ASCII when only ASCII may be used.
    pub fn plain(&self, text: &str) -> String {
        if self.unicode {
            return text.to_string();
        }
        let mut out = String::with_capacity(text.len());
        for c in text.chars() {
            match c {
                '±' => out.push_str("+-"),
                '°' => out.push_str(" deg"),
                'Ω' => out.push_str("ohm"),
                'λ' => out.push_str("lambda"),
                'µ' | 'μ' => out.push('u'),
                '²' => out.push('2'),
                '³' => out.push('3'),
                '−' | '–' | '—' => out.push('-'),
                '·' | '×' => out.push('x'),
                '≤' => out.push_str("<="),
                '≥' => out.push_str(">="),
                '≈' => out.push('~'),
                '→' => out.push_str("->"),
                '…' => out.push_str("..."),
                '“' | '”' => out.push('"'),
                '‘' | '’' => out.push('\''),
                '\u{a0}' => out.push(' '),
                c if c.is_ascii() => out.push(c),
                _ => out.push('?'),
            }
        }
        out
    }

    /// Text in a tone; unchanged without colour.
    pub fn tone(&self, tone: Tone, text: &str) -> String {
        let text = self.plain(text);
        if !self.colour {
            return text;
        }
        let code = match tone {
            Tone::Plain => return text,
            Tone::Heading => "1",
            Tone::Good => "32",
            Tone::Warning => "33",
            Tone::Bad => "31",
            Tone::Quiet => "2",
        };
        format!("\x1b[{code}m{text}\x1b[0m")
    }

    /// A heading with a blank line before it.
    pub fn heading(&self, text: &str) -> String {
        format!("\n{}\n", self.tone(Tone::Heading, text))
    }

    /// A paragraph wrapped to the width, every line after `indent` spaces.
    pub fn paragraph(&self, indent: usize, text: &str) -> String {
        let pad = " ".repeat(indent);
        let options = Options::new(self.columns())
            .initial_indent(&pad)
            .subsequent_indent(&pad);
        let mut out = textwrap::fill(&self.plain(text), options);
        out.push('\n');
        out
    }

    /// A labelled paragraph: `because  text text` with the text hanging under itself.
    pub fn hanging(&self, label: &str, text: &str) -> String {
        let first = format!("{label:<10}");
        let pad = " ".repeat(10.max(label.len() + 1));
        let first = if label.len() >= 10 {
            format!("{label} ")
        } else {
            first
        };
        let options = Options::new(self.columns())
            .initial_indent(&first)
            .subsequent_indent(&pad);
        let mut out = textwrap::fill(&self.plain(text), options);
        out.push('\n');
        out
    }

    /// A table without frame. `right` names the columns set flush right. Long cells wrap inside the width.
    pub fn table(&self, header: &[&str], right: &[usize], rows: &[Vec<String>]) -> String {
        let mut t = Table::new();
        t.load_preset(comfy_table::presets::NOTHING)
            .set_content_arrangement(ContentArrangement::Dynamic)
            .set_width(u16::try_from(self.columns()).unwrap_or(80));
        let align = |i: usize| {
            if right.contains(&i) {
                CellAlignment::Right
            } else {
                CellAlignment::Left
            }
        };
        if !header.is_empty() {
            t.set_header(
                header
                    .iter()
                    .enumerate()
                    .map(|(i, h)| Cell::new(self.plain(h)).set_alignment(align(i))),
            );
        }
        for r in rows {
            t.add_row(
                r.iter()
                    .enumerate()
                    .map(|(i, c)| Cell::new(self.plain(c)).set_alignment(align(i))),
            );
        }
        let mut out = String::new();
        for line in t.to_string().lines() {
            out.push_str(line.trim_end());
            out.push('\n');
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fits_the_width_in_ascii() {
        let p = Paper {
            width: 60,
            unicode: false,
            colour: false,
        };
        let text = p.hanging(
            "because",
            &"a long sentence with ± and ° and λ in it, ".repeat(6),
        );
        assert!(text.is_ascii());
        assert!(text.lines().all(|l| l.len() <= 60), "{text}");
        let t = p.table(
            &["part", "value"],
            &[1],
            &[vec![
                "a part with a rather long name ".repeat(4),
                "1.0 ± 0.2 dB".into(),
            ]],
        );
        assert!(t.is_ascii() && t.lines().all(|l| l.len() <= 60), "{t}");
    }
}
