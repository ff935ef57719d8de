//! One self-contained page: no network, no script; for a screen, a phone and paper.

mod answers;
mod origin;
#[cfg(test)]
mod tests;

use crate::figure::{ChainSheet, chain_html, escape, self_contained};
use crate::sheet::{Figure, Provenance, Sheet};
use std::fmt::Write as _;

pub use origin::read as provenance_of;

/// The style of the page, for other pages that show the same parts.
pub const STYLE: &str = include_str!("style.css");

/// The page: every sheet in the order given, the chain sheet before them, the provenance after them.
///
/// Drawings that are not self-contained SVG are left out, and the page says so. All text is escaped. The output is
/// also well-formed XML apart from its document type line.
pub fn html(
    title: &str,
    sheets: &[Sheet],
    chain: Option<&ChainSheet>,
    provenance: &Provenance,
) -> String {
    let t = escape(title);
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n<meta name=\"color-scheme\" content=\"light dark\"/>\n<title>{t}</title>\n<style>\n{STYLE}</style>\n</head>\n<body>\n<header>\n<h1>{t}</h1>\n"
    );
    contents(&mut out, sheets, chain.is_some());
    out.push_str("</header>\n<main>\n");
    in_short(&mut out, sheets);
    if let Some(chain) = chain {
        let _ = write!(
            out,
            "<section aria-labelledby=\"chain\">\n<h2 id=\"chain\">The chain, sky to sample</h2>\n<p>Under each part: predicted, measured, and how far they disagree.</p>\n{}</section>\n",
            chain_html(chain)
        );
    }
    for (i, s) in sheets.iter().enumerate() {
        sheet(&mut out, s, &format!("s{}", i + 1));
    }
    out.push_str("</main>\n<footer>\n");
    origin::write(&mut out, provenance);
    out.push_str("</footer>\n</body>\n</html>\n");
    out
}

fn contents(out: &mut String, sheets: &[Sheet], chain: bool) {
    out.push_str("<nav aria-label=\"contents\"><ul>");
    if chain {
        out.push_str("<li><a href=\"#chain\">The chain</a></li>");
    }
    for (i, s) in sheets.iter().enumerate() {
        let _ = write!(
            out,
            "<li><a href=\"#s{}\">{}</a></li>",
            i + 1,
            escape(&s.title)
        );
    }
    out.push_str("<li><a href=\"#origin\">Provenance</a></li></ul></nav>\n");
}

/// What the sheets that conclude something conclude, each in its first sentence.
fn in_short(out: &mut String, sheets: &[Sheet]) {
    let mut items = String::new();
    for (i, s) in sheets.iter().enumerate() {
        let concludes = s.refused || matches!(s.verb.as_str(), "demo" | "compare" | "verdict");
        if let (true, Some(first)) = (concludes, s.because.first()) {
            let _ = write!(
                items,
                "<li><a href=\"#s{}\">{}</a>: {}</li>",
                i + 1,
                escape(&s.title),
                escape(first)
            );
        }
    }
    if !items.is_empty() {
        let _ = writeln!(
            out,
            "<div class=\"say short\"><h2 class=\"plain\">In short</h2><ul>{items}</ul></div>"
        );
    }
    if sheets
        .iter()
        .flat_map(|s| &s.sections)
        .any(|s| !s.answers.is_empty())
    {
        out.push_str(
            "<p class=\"hint\">± is a standard uncertainty. A name with a mark before it unfolds: what its uncertainty is made of, and why.</p>\n",
        );
    }
}

fn list(out: &mut String, class: &str, heading: &str, items: &[String]) {
    if items.is_empty() {
        return;
    }
    let _ = write!(out, "<div class=\"{class}\"><h3>{heading}</h3>");
    if let [only] = items {
        let _ = write!(out, "<p>{}</p>", escape(only));
    } else {
        out.push_str("<ul>");
        for item in items {
            let _ = write!(out, "<li>{}</li>", escape(item));
        }
        out.push_str("</ul>");
    }
    out.push_str("</div>\n");
}

fn sheet(out: &mut String, s: &Sheet, id: &str) {
    let _ = write!(
        out,
        "<section aria-labelledby=\"{id}\">\n<h2 id=\"{id}\">{}</h2>\n<p class=\"verb\">{}</p>\n",
        escape(&s.title),
        escape(&s.verb)
    );
    if s.refused {
        out.push_str(
            "<div class=\"say warn\"><h3>No conclusion</h3><p>The data do not allow an answer; the reasons follow.</p></div>\n",
        );
    }
    list(out, "say", "Because", &s.because);
    list(out, "say warn", "Cautions", &s.cautions);
    let next: Vec<String> = s.next_measurement.iter().cloned().collect();
    list(out, "say", "Next measurement", &next);
    if !s.figures.is_empty() {
        out.push_str("<div class=\"drawings\">\n");
        for f in &s.figures {
            drawing(out, f);
        }
        out.push_str("</div>\n");
    }
    for (i, part) in s.sections.iter().enumerate() {
        let _ = writeln!(out, "<h3>{}</h3>", escape(&part.title));
        for text in &part.text {
            let _ = writeln!(out, "<p>{}</p>", escape(text));
        }
        out.push_str(&answers::table(
            &part.answers,
            &format!("{id}-{}", i + 1),
            &part.title,
        ));
        for t in &part.tables {
            out.push_str(&answers::further(t, &part.title));
        }
        if !part.block.is_empty() {
            let _ = writeln!(
                out,
                "<div class=\"scroll\"><pre>{}</pre></div>",
                escape(&part.block.join("\n"))
            );
        }
    }
    out.push_str("</section>\n");
}

/// One sheet as a part of another page that uses [`STYLE`]; `id` keeps its anchors apart.
pub fn section(s: &Sheet, id: &str) -> String {
    let mut out = String::new();
    sheet(&mut out, s, id);
    out
}

/// One drawing with its caption, as a part of another page.
pub fn figure(f: &Figure) -> String {
    let mut out = String::new();
    drawing(&mut out, f);
    out
}

fn drawing(out: &mut String, f: &Figure) {
    out.push_str("<figure><div class=\"scroll\">");
    match self_contained(&f.svg) {
        // Inside HTML the SVG name space is implied.
        Ok(()) => out.push_str(&f.svg.trim().replacen(
            " xmlns=\"http://www.w3.org/2000/svg\"",
            "",
            1,
        )),
        Err(e) => {
            let _ = write!(out, "<p>Drawing left out: {}.</p>", escape(&e.to_string()));
        }
    }
    let _ = writeln!(
        out,
        "</div><figcaption>{}</figcaption></figure>",
        escape(&f.caption)
    );
}
