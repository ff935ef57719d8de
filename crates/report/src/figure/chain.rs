//! The chain sheet: from sky to sample, and back.

use super::canvas::minus;
use super::markup::escape;
use std::fmt::Write as _;

/// One part of a chain.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Stage {
    /// What the station file calls it.
    pub name: String,
    /// What it is or does, and which quantity stands below it.
    pub what: String,
    /// Predicted, as written: value, u, unit.
    pub predicted: Option<String>,
    /// Measured, as written.
    pub measured: Option<String>,
    /// Disagreement, as written.
    pub disagreement: Option<String>,
    /// Place in the station file that describes it, for example `part.lnb`.
    pub place: Option<String>,
    /// Identity of the predicted figure.
    pub measurand: Option<String>,
}

/// Both chains in the order in which the signal passes them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ChainSheet {
    /// From sky to sample.
    pub receive: Vec<Stage>,
    /// From sample back to sky.
    pub transmit: Vec<Stage>,
}

fn row(out: &mut String, heading: &str, from: &str, to: &str, stages: &[Stage]) {
    if stages.is_empty() {
        return;
    }
    let _ = write!(
        out,
        "<h3>{heading}</h3>\n<ol class=\"chain\">\n<li class=\"end\">{from}</li>\n"
    );
    for s in stages {
        let _ = write!(
            out,
            "<li class=\"part\"><h4>{}</h4><p>{}</p><dl>",
            escape(&s.name),
            escape(&s.what)
        );
        for (name, figure) in [
            ("predicted", &s.predicted),
            ("measured", &s.measured),
            ("disagreement", &s.disagreement),
        ] {
            let (class, text) = match figure {
                Some(t) => (name, escape(&minus(t))),
                None => ("none", "–".to_string()),
            };
            let _ = write!(out, "<dt>{name}</dt><dd class=\"{class}\">{text}</dd>");
        }
        out.push_str("</dl></li>\n");
    }
    let _ = write!(out, "<li class=\"end\">{to}</li>\n</ol>\n");
}

/// The chain sheet as HTML lists that wrap to as many rows as the screen or paper needs; for use inside a page of
/// [`crate::page::html`], whose style it takes.
pub fn chain_html(chain: &ChainSheet) -> String {
    let mut out = String::new();
    row(&mut out, "Receive", "sky", "sample", &chain.receive);
    row(&mut out, "Transmit", "sample", "sky", &chain.transmit);
    out
}
