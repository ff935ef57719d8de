//! A section's answers as a table.

use crate::figure::{escape, minus};
use crate::sheet::{Cell, Table};
use slantpath_quantity::show::{decimals_for, fixed, value_and_u};
use slantpath_quantity::{Answer, Estimate, Unit};
use std::fmt::Write as _;

/// Contributors shown per answer.
const SHARES: usize = 5;

fn with_unit(text: &str, unit: Unit) -> String {
    let symbol = unit.symbol();
    let space = if symbol.is_empty() { "" } else { "\u{a0}" };
    escape(&format!("{}{space}{symbol}", minus(text)))
}

fn value(e: &Estimate, unit: Unit) -> String {
    if !e.value.is_finite() {
        return "not finite".to_string();
    }
    let (v, u) = value_and_u(e.value, e.u);
    if e.u > 0.0 && e.u.is_finite() {
        with_unit(&format!("{v} ± {u}"), unit)
    } else if e.u == 0.0 {
        with_unit(&v, unit)
    } else {
        format!("{} (uncertainty not known)", with_unit(&v, unit))
    }
}

fn percent(level: f64) -> String {
    format!("{} %", fixed(level * 100.0, 1).trim_end_matches(".0"))
}

fn interval(e: &Estimate, usual: f64) -> String {
    let i = &e.interval;
    match decimals_for(e.u) {
        Some(p) if i.lo.is_finite() && i.hi.is_finite() => {
            let mut out = minus(&format!("{} to {}", fixed(i.lo, p), fixed(i.hi, p)));
            if (i.level - usual).abs() > 1e-9 {
                let _ = write!(out, " ({})", percent(i.level));
            }
            out
        }
        _ => String::new(),
    }
}

fn unfolds(a: &Answer) -> bool {
    !a.shares.is_empty() || !a.because.is_empty() || a.next_measurement.is_some()
}

/// The label; with contributors, reasons or a next measurement it unfolds to show them.
fn heading(a: &Answer, marks: &str) -> String {
    let label = escape(&a.label);
    if !unfolds(a) {
        return format!("{label}{marks}");
    }
    let mut out = format!("<details><summary>{label}{marks}</summary>");
    if !a.shares.is_empty() {
        out.push_str("<ol>");
        for s in a.shares.iter().take(SHARES) {
            let kind = if s.systematic { ", systematic" } else { "" };
            let u = value_and_u(0.0, s.u).1;
            let _ = write!(
                out,
                "<li>{}: {}{kind}</li>",
                escape(&s.label),
                with_unit(&u, a.unit)
            );
        }
        out.push_str("</ol>");
        let rest = a.shares.len().saturating_sub(SHARES);
        if rest > 0 {
            let _ = write!(out, "<p>and {rest} smaller</p>");
        }
    }
    for b in &a.because {
        let _ = write!(out, "<p>Because: {}</p>", escape(b));
    }
    if let Some(n) = &a.next_measurement {
        let _ = write!(out, "<p>Next measurement: {}</p>", escape(n));
    }
    out.push_str("</details>");
    out
}

/// Answers as a table with numbered notes; `id` keeps the notes' anchors apart.
pub fn table(answers: &[Answer], id: &str, title: &str) -> String {
    if answers.is_empty() {
        return String::new();
    }
    let usual = answers
        .iter()
        .filter_map(Answer::estimate)
        .find(|e| e.u > 0.0)
        .map_or(0.95, |e| e.interval.level);
    let mut notes: Vec<&str> = Vec::new();
    let mut rows = String::new();
    for a in answers {
        let mut marks = String::new();
        for reason in a.validity.reasons() {
            let n = match notes.iter().position(|n| n == reason) {
                Some(i) => i + 1,
                None => {
                    notes.push(reason);
                    notes.len()
                }
            };
            let _ = write!(
                marks,
                "<sup><a href=\"#{id}-n{n}\" title=\"outside a model's range\">†{n}</a></sup>"
            );
        }
        let head = heading(a, &marks);
        match &a.outcome {
            Ok(e) => {
                let _ = writeln!(
                    rows,
                    "<tr><th scope=\"row\">{head}</th><td class=\"n\">{}</td><td class=\"n\">{}</td></tr>",
                    value(e, a.unit),
                    interval(e, usual)
                );
            }
            Err(u) => {
                let _ = writeln!(
                    rows,
                    "<tr class=\"open\"><th scope=\"row\">{head}</th><td colspan=\"2\"><b>undetermined</b>: {} Instead: {}</td></tr>",
                    sentence(&u.reason),
                    sentence(&u.remedy)
                );
            }
        }
    }
    let mut out = format!(
        "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"{name}\"><table>\n<thead><tr><th scope=\"col\">quantity</th><th scope=\"col\">value ± standard uncertainty</th><th scope=\"col\">{} interval</th></tr></thead>\n<tbody>\n{rows}</tbody></table></div>\n",
        percent(usual),
        name = escape(title),
    );
    if !notes.is_empty() {
        out.push_str("<ol class=\"notes\">");
        for (i, n) in notes.iter().enumerate() {
            let _ = write!(out, "<li id=\"{id}-n{0}\">†{0} {1}</li>", i + 1, escape(n));
        }
        out.push_str("</ol>\n");
    }
    out
}

/// A table whose rows are more than one answer each.
pub fn further(t: &Table, title: &str) -> String {
    let mut out = format!(
        "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"{}\"><table class=\"further\">\n<thead><tr>",
        escape(title)
    );
    for (_, heading) in &t.columns {
        let _ = write!(out, "<th scope=\"col\">{}</th>", escape(heading));
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for row in &t.rows {
        out.push_str("<tr>");
        for (i, cell) in row.iter().enumerate() {
            let text = cell_text(cell);
            let _ = match (i, cell) {
                (0, _) => write!(out, "<th scope=\"row\">{text}</th>"),
                (_, Cell::Text(_) | Cell::Missing(_)) => write!(out, "<td>{text}</td>"),
                _ => write!(out, "<td class=\"n\">{text}</td>"),
            };
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table></div>\n");
    out
}

fn cell_text(cell: &Cell) -> String {
    match cell {
        Cell::Text(t) => escape(t),
        Cell::Value(e, unit) => value(e, *unit),
        Cell::Number {
            value,
            places,
            unit,
        } => {
            let space = if unit.is_empty() { "" } else { "\u{a0}" };
            escape(&format!("{}{space}{unit}", minus(&fixed(*value, *places))))
        }
        Cell::Missing(why) => format!("<b>undetermined</b>: {}", escape(why)),
    }
}

/// Escaped, with a full stop if it has no ending of its own.
fn sentence(text: &str) -> String {
    let text = text.trim_end();
    let stop = if text.ends_with(['.', '!', '?', ':']) || text.is_empty() {
        ""
    } else {
        "."
    };
    format!("{}{stop}", escape(text))
}
