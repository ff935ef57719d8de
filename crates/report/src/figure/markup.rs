//! Escaping, and a strict reader that says whether markup is well formed and self-contained.
//!
//! XML 1.0 (fifth edition): 2.2 for the characters that may stand in a document, 3.1 for tags and attributes.

use thiserror::Error;

/// What is wrong with a piece of markup.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum MarkupError {
    /// A tag that is never closed, closed twice, or out of order.
    #[error("tag `{0}` is not balanced")]
    Unbalanced(String),
    /// Something that is not a tag, an attribute or an entity where one is expected.
    #[error("malformed near `{0}`")]
    Malformed(String),
    /// An element that a drawing does not need and a page does not take.
    #[error("element `{0}` has no place in a drawing")]
    Element(String),
    /// An attribute that runs code or points outside the document.
    #[error("attribute `{0}` runs code or points outside the drawing")]
    Attribute(String),
}

/// Text made safe inside an element and inside a quoted attribute.
///
/// Characters that XML does not admit, and those that reverse the direction of the text after them, become U+FFFD.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' => out.push(c),
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{fffe}' | '\u{ffff}' => {
                out.push('\u{fffd}');
            }
            c if c.is_control() => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    out
}

/// At most `n` characters; what is cut off is marked by an ellipsis. Not escaped.
pub(crate) fn shorten(text: &str, n: usize) -> String {
    if text.chars().count() <= n {
        return text.to_string();
    }
    let mut out: String = text.chars().take(n.saturating_sub(1)).collect();
    out.push('…');
    out
}

/// An opening tag.
struct Open<'a> {
    name: &'a str,
    attributes: Vec<(&'a str, &'a str)>,
}

fn near(text: &str) -> MarkupError {
    MarkupError::Malformed(text.chars().take(24).collect())
}

fn is_name(text: &str) -> bool {
    !text.is_empty()
        && text
            .chars()
            .all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | ':' | '.'))
}

fn attributes(mut rest: &str) -> Result<Vec<(&str, &str)>, MarkupError> {
    let mut out: Vec<(&str, &str)> = Vec::new();
    loop {
        rest = rest.trim_start();
        if rest.is_empty() {
            return Ok(out);
        }
        let (name, after) = rest.split_once('=').ok_or_else(|| near(rest))?;
        let quote = after.chars().next().filter(|c| matches!(c, '"' | '\''));
        let quote = quote.ok_or_else(|| near(rest))?;
        let body = after.get(1..).unwrap_or_default();
        let (value, tail) = body.split_once(quote).ok_or_else(|| near(rest))?;
        if !is_name(name) || value.contains('<') || out.iter().any(|(n, _)| *n == name) {
            return Err(near(rest));
        }
        entities(value)?;
        out.push((name, value));
        rest = tail;
    }
}

fn entities(text: &str) -> Result<(), MarkupError> {
    for part in text.split('&').skip(1) {
        let name = part.split(';').next().unwrap_or_default();
        let known = matches!(name, "amp" | "lt" | "gt" | "quot" | "apos")
            || name.strip_prefix('#').is_some_and(|n| {
                !n.is_empty() && n.chars().all(|c| c.is_ascii_alphanumeric()) && n.len() < 8
            });
        if !known || !part.contains(';') {
            return Err(near(part));
        }
    }
    Ok(())
}

/// The end of a tag: the first `>` outside quotes.
fn tag_end(text: &str) -> Option<usize> {
    let mut quote = None;
    for (i, c) in text.char_indices() {
        match (quote, c) {
            (None, '>') => return Some(i),
            (None, '"' | '\'') => quote = Some(c),
            (Some(q), c) if q == c => quote = None,
            _ => {}
        }
    }
    None
}

fn walk<'a>(
    markup: &'a str,
    mut on_open: impl FnMut(&Open<'a>, usize) -> Result<(), MarkupError>,
) -> Result<(), MarkupError> {
    let mut open: Vec<&str> = Vec::new();
    let mut rest = markup;
    while let Some((text, after)) = rest.split_once('<') {
        if text.contains('\0') {
            return Err(near(text));
        }
        entities(text)?;
        if let Some(comment) = after.strip_prefix("!--") {
            rest = comment.split_once("-->").ok_or_else(|| near(after))?.1;
            continue;
        }
        let end = tag_end(after).ok_or_else(|| near(after))?;
        let (tag, tail) = after.split_at(end);
        rest = tail.get(1..).unwrap_or_default();
        if tag.starts_with("!DOCTYPE ") && open.is_empty() && !tag.contains('[') {
            continue;
        }
        if let Some(name) = tag.strip_prefix('/') {
            if open.pop() != Some(name.trim_end()) {
                return Err(MarkupError::Unbalanced(name.to_string()));
            }
            continue;
        }
        let alone = tag.ends_with('/');
        let tag = tag.strip_suffix('/').unwrap_or(tag);
        let (name, attrs) = tag.split_once(char::is_whitespace).unwrap_or((tag, ""));
        if !is_name(name) {
            return Err(near(tag));
        }
        let element = Open {
            name,
            attributes: attributes(attrs)?,
        };
        on_open(&element, open.len())?;
        if !alone {
            open.push(name);
        }
    }
    entities(rest)?;
    match open.last() {
        Some(name) => Err(MarkupError::Unbalanced((*name).to_string())),
        None => Ok(()),
    }
}

/// Whether tags balance, attributes are quoted and entities are known.
///
/// # Errors
/// The first fault found.
pub fn well_formed(markup: &str) -> Result<(), MarkupError> {
    walk(markup, |_, _| Ok(()))
}

/// Elements a drawing is made of. No script, no style sheet (it would reach the whole page), no raster, no foreign part.
const DRAWING: &[&str] = &[
    "svg",
    "g",
    "path",
    "line",
    "rect",
    "circle",
    "ellipse",
    "polyline",
    "polygon",
    "text",
    "tspan",
    "title",
    "desc",
    "defs",
    "clipPath",
    "linearGradient",
    "radialGradient",
    "stop",
    "pattern",
    "marker",
    "use",
    "symbol",
];

/// Whether an SVG text may stand in a page: well formed, one `svg` root, only drawing elements, no code, no reference
/// outside itself.
///
/// # Errors
/// The first fault found.
pub fn self_contained(svg: &str) -> Result<(), MarkupError> {
    let mut roots = 0;
    let body = svg.trim();
    if !(body.starts_with("<svg") && body.ends_with("</svg>")) {
        return Err(near(body));
    }
    walk(body, |element, depth| {
        if depth == 0 {
            roots += 1;
        }
        if !DRAWING.contains(&element.name) || (depth == 0) != (element.name == "svg") || roots > 1
        {
            return Err(MarkupError::Element(element.name.to_string()));
        }
        for (name, value) in &element.attributes {
            let lower = value.to_ascii_lowercase();
            let bad = match *name {
                "xmlns" | "xmlns:xlink" => !lower.starts_with("http://www.w3.org/"),
                "href" | "xlink:href" => !value.starts_with('#'),
                // Words for a reader only.
                "aria-label" => false,
                n if n.to_ascii_lowercase().starts_with("on") => true,
                _ => {
                    lower.contains("&#")
                        || lower.contains('\\')
                        || lower.contains("//")
                        || lower.contains("import")
                        || lower.contains("script:")
                        || lower.replace("url(#", "").contains("url(")
                }
            };
            if bad {
                return Err(MarkupError::Attribute((*name).to_string()));
            }
        }
        Ok(())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_cannot_leave_its_place() {
        assert_eq!(
            escape("<b a=\"1\">&'\u{0}\u{202e}"),
            "&lt;b a=&quot;1&quot;&gt;&amp;&#39;\u{fffd}\u{fffd}"
        );
        assert_eq!(shorten("abcdef", 4), "abc…");
        assert_eq!(shorten("äöü", 3), "äöü");
    }

    #[test]
    fn faults_are_found() {
        assert!(well_formed("<!DOCTYPE html><a b=\"x > y\">t &amp; u<br/></a><!-- c -->").is_ok());
        for bad in [
            "<a>",
            "</a>",
            "<a></b>",
            "<a><b></a></b>",
            "<a b=c/>",
            "<a b/>",
            "<a b=\"1\" b=\"2\"/>",
            "<a>&</a>",
            "<a>&nbsp;</a>",
            "<a",
            "< a/>",
            "<!-- x",
        ] {
            assert!(well_formed(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn a_drawing_neither_runs_nor_reaches_out() {
        let wrap = |inner: &str| format!("<svg xmlns=\"http://www.w3.org/2000/svg\">{inner}</svg>");
        assert!(self_contained(&wrap("<g fill=\"url(#a)\"><use href=\"#b\"/></g>")).is_ok());
        for bad in [
            "<script>x</script>",
            "<style>a</style>",
            "<image href=\"x.png\"/>",
            "<foreignObject/>",
            "<use href=\"https://a.example/b\"/>",
            "<rect onload=\"x\"/>",
            "<rect fill=\"url(https:x)\"/>",
            "<rect style=\"fill:u&#114;l(x)\"/>",
            "</svg><svg>",
            "<svg/>",
        ] {
            assert!(self_contained(&wrap(bad)).is_err(), "{bad}");
        }
        assert!(self_contained("<p>x</p>").is_err());
    }
}
