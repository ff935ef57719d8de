//! Problems drawn under the text they stand in.

use crate::{Place, Problem, Problems, Severity};
use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Element, Group, Level, Renderer, Snippet};

/// How to draw.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Style {
    /// Colour by terminal escapes.
    pub colour: bool,
    /// Signs beyond ASCII.
    pub unicode: bool,
    /// Columns.
    pub width: usize,
}

impl Style {
    /// No colour, Unicode, 80 columns.
    pub const PLAIN: Style = Style {
        colour: false,
        unicode: true,
        width: 80,
    };
    /// No colour, ASCII only, 80 columns.
    pub const ASCII: Style = Style {
        colour: false,
        unicode: false,
        width: 80,
    };
}

/// Draws one problem; ends with a line feed.
pub fn render(problem: &Problem, style: Style) -> String {
    let renderer = if style.colour {
        Renderer::styled()
    } else {
        Renderer::plain()
    };
    let renderer = renderer
        .term_width(style.width)
        .decor_style(if style.unicode {
            DecorStyle::Unicode
        } else {
            DecorStyle::Ascii
        });
    let level = match problem.severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
    };
    let say = |text: &str| readable(text, style.unicode);
    let mut elements: Vec<Element<'_>> = Vec::new();
    if let Some(place) = &problem.place {
        elements.push(snippet(place, &problem.label, AnnotationKind::Primary, style).into());
    }
    for (place, text) in &problem.also {
        elements.push(snippet(place, text, AnnotationKind::Context, style).into());
    }
    for text in problem.advice() {
        elements.push(Level::HELP.message(say(&text)).into());
    }
    let group: Group<'_> = level.primary_title(say(&problem.title)).elements(elements);
    let mut text = renderer.render(&[group]);
    if !text.ends_with('\n') {
        text.push('\n');
    }
    text
}

/// Draws all problems, an empty line between them and a count at the end.
pub fn render_all(problems: &Problems, style: Style) -> String {
    let mut out = String::new();
    for p in problems {
        out.push_str(&render(p, style));
        out.push('\n');
    }
    let errors = problems
        .iter()
        .filter(|p| p.severity == Severity::Error)
        .count();
    let warnings = problems.len() - errors;
    let count = |n: usize, what: &str| format!("{n} {what}{}", if n == 1 { "" } else { "s" });
    let mut parts = Vec::new();
    if errors > 0 {
        parts.push(count(errors, "error"));
    }
    if warnings > 0 {
        parts.push(count(warnings, "warning"));
    }
    if problems.left_out() > 0 {
        parts.push(format!("{} more not shown", problems.left_out()));
    }
    if !parts.is_empty() {
        out.push_str(&parts.join(", "));
        out.push('\n');
    }
    out
}

/// The lines of a place with its underline. Only those lines are handed to the drawing, and of a long line only the
/// part around the place, so that a file of any size costs nothing.
fn snippet<'a>(
    place: &Place,
    label: &str,
    kind: AnnotationKind,
    style: Style,
) -> Snippet<'a, annotate_snippets::Annotation<'a>> {
    const AROUND: usize = 120;
    const LINES: usize = 4;
    let source = &place.source;
    let span = source.clip(&place.span);
    let (first, _) = source.line_column(span.start);
    let (mut last, _) = source.line_column(span.end.saturating_sub(1).max(span.start));
    let mut end = span.end;
    if last >= first + LINES {
        last = first + LINES - 1;
        end = source.line_span(last).end;
    }
    let first_line = source.line_span(first);
    let last_line = source.line_span(last);
    // An empty place at the end of the text is drawn behind the last character of its line.
    let lo = first_line.start.max(span.start.saturating_sub(AROUND));
    let hi = last_line.end.min(end.saturating_add(AROUND)).max(lo);
    let window = source.clip(&(lo..hi));
    let raw = source.slice(&window);
    let (text, map) = drawable(raw, style.unicode);
    let rel = |b: usize| {
        map.get(b.saturating_sub(window.start))
            .copied()
            .unwrap_or(text.len())
    };
    let mark = rel(span.start)..rel(end.min(window.end)).max(rel(span.start));
    Snippet::source(text)
        .line_start(first)
        .path(readable(source.name(), style.unicode))
        .fold(false)
        .annotation(kind.span(mark).label(readable(label, style.unicode)))
}

/// Text without control signs, or also without signs beyond ASCII, and for every old byte where it went.
fn drawable(raw: &str, unicode: bool) -> (String, Vec<usize>) {
    let mut text = String::with_capacity(raw.len());
    let mut map = Vec::with_capacity(raw.len() + 1);
    for c in raw.chars() {
        for _ in 0..c.len_utf8() {
            map.push(text.len());
        }
        match c {
            '\n' | '\t' => text.push(c),
            c if c.is_control() => text.push(if unicode { '\u{fffd}' } else { '?' }),
            c if unicode || c.is_ascii() => text.push(c),
            c => text.push_str(&ascii(c)),
        }
    }
    map.push(text.len());
    (text, map)
}

/// A message in the signs allowed. Control signs never reach a terminal.
fn readable(text: &str, unicode: bool) -> String {
    text.chars()
        .map(|c| match c {
            '\n' | '\t' => c.to_string(),
            c if c.is_control() => "?".to_string(),
            c if unicode || c.is_ascii() => c.to_string(),
            c => ascii(c),
        })
        .collect()
}

fn ascii(c: char) -> String {
    match c {
        '±' => "+-",
        '°' => "deg",
        '−' | '–' => "-",
        'Ω' => "ohm",
        '²' => "2",
        '³' => "3",
        '×' => "x",
        'µ' | 'μ' => "u",
        _ => "?",
    }
    .to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Source;

    fn example() -> Problem {
        let text = "[part.cable]\nlength = \"22 dB ± 1\"\n";
        let s = Source::new("roof.toml", text);
        let at = text.find("dB").unwrap();
        Problem::error("`length` does not fit")
            .at(&s, at..at + 2)
            .label("`dB` is the unit of a ratio, not of a length")
            .expected("a length, written like \"22 m\"")
            .help("measure the cable")
    }

    #[test]
    fn drawn_plain() {
        let text = render(&example(), Style::ASCII);
        assert_eq!(
            text,
            "\
error: `length` does not fit
 --> roof.toml:2:14
  |
2 | length = \"22 dB +- 1\"
  |              ^^ `dB` is the unit of a ratio, not of a length
  |
  = help: expected a length, written like \"22 m\"
  = help: measure the cable
"
        );
    }

    #[test]
    fn ascii_is_ascii_and_plain_has_no_escapes() {
        let p = example().help("turn by 3° ± 1");
        let a = render(&p, Style::ASCII);
        assert!(a.is_ascii(), "{a}");
        assert!(!render(&p, Style::PLAIN).contains('\u{1b}'));
        let coloured = Style {
            colour: true,
            ..Style::PLAIN
        };
        assert!(render(&p, coloured).contains('\u{1b}'));
        assert!(render(&p, Style::PLAIN).contains('±'));
    }

    #[test]
    fn a_place_at_the_very_end_and_an_endless_line_can_be_drawn() {
        let s = Source::new("x", "a = \"");
        assert!(render(&Problem::error("open").at(&s, 5..5), Style::ASCII).contains("x:1:6"));
        let empty = Source::new("e", "");
        assert!(render(&Problem::error("empty").at(&empty, 0..0), Style::ASCII).contains("e:1:1"));
        let long = Source::new("l", "y".repeat(3_000_000));
        let text = render(
            &Problem::error("long").at(&long, 2_000_000..2_000_003),
            Style::ASCII,
        );
        assert!(text.len() < 2000);
        let many = Source::new("m", "z\n".repeat(100_000));
        assert!(render(&Problem::error("many").at(&many, 10..150_000), Style::ASCII).len() < 2000);
    }

    #[test]
    fn terminal_escapes_in_the_text_are_not_passed_on() {
        let s = Source::new("\u{1b}[2J", "a = \u{1b}[31m\u{0}\n");
        let text = render(&Problem::error("bad \u{1b}[1m").at(&s, 4..9), Style::PLAIN);
        assert!(!text.contains('\u{1b}') && !text.contains('\u{0}'));
    }

    #[test]
    fn all_with_a_count() {
        let mut all = Problems::new();
        all.push(Problem::error("one"));
        all.push(Problem::warning("two"));
        assert!(render_all(&all, Style::ASCII).ends_with("1 error, 1 warning\n"));
        assert_eq!(render_all(&Problems::new(), Style::ASCII), "");
    }
}
