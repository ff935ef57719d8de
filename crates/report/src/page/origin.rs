//! The provenance of a page, written and read back.

use crate::figure::escape;
use crate::sheet::Provenance;
use std::fmt::Write as _;

/// Writes the table.
pub(super) fn write(out: &mut String, p: &Provenance) {
    out.push_str(
        "<h2 id=\"origin\">Provenance</h2>\n<p>The same inputs, seed and version give the same result bit for bit.</p>\n<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"provenance\"><table>\n<caption>What this page was computed from</caption>\n<thead><tr><th scope=\"col\">input</th><th scope=\"col\">name</th><th scope=\"col\">SHA-256</th></tr></thead>\n<tbody>\n",
    );
    for (what, name, hash) in &p.inputs {
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{}</th><td>{}</td><td class=\"mono\">{}</td></tr>",
            escape(what),
            escape(name),
            escape(hash)
        );
    }
    out.push_str("</tbody></table></div>\n<div class=\"scroll\"><table>\n<tbody>\n");
    for (what, value) in [
        ("seed", p.seed.to_string()),
        ("Monte Carlo trials", p.trials.to_string()),
        ("written by", p.written_by.clone()),
    ] {
        let _ = writeln!(
            out,
            "<tr><th scope=\"row\">{what}</th><td>{}</td></tr>",
            escape(&value)
        );
    }
    let _ = write!(
        out,
        "<tr><th scope=\"row\">command</th><td><code>{}</code></td></tr>\n</tbody></table></div>\n",
        escape(&p.command)
    );
}

/// The provenance that stands on a page of this program; `None` when the text is no such page.
pub fn read(page: &str) -> Option<Provenance> {
    let (_, table) = page.split_once("<h2 id=\"origin\">")?;
    let mut p = Provenance::default();
    for row in table.split("<tr>").skip(1) {
        let row = row.split("</tr>").next()?;
        let mut cells = Vec::new();
        for cell in row.split("</th>").flat_map(|c| c.split("</td>")) {
            if let Some((_, text)) = cell.trim_end_matches("</code>").rsplit_once('>') {
                cells.push(unescape(text));
            }
        }
        match cells.as_slice() {
            [what, name, hash] if row.contains("class=\"mono\"") => {
                p.inputs.push((what.clone(), name.clone(), hash.clone()));
            }
            [what, value] => match what.as_str() {
                "seed" => p.seed = value.parse().ok()?,
                "Monte Carlo trials" => p.trials = value.parse().ok()?,
                "written by" => p.written_by = value.clone(),
                "command" => p.command = value.clone(),
                _ => {}
            },
            _ => {}
        }
    }
    (!p.command.is_empty()).then_some(p)
}

fn unescape(text: &str) -> String {
    text.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&#39;", "'")
        .replace("&amp;", "&")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_read_back() {
        let p = Provenance {
            inputs: vec![
                ("station file".into(), "a & <b>.toml".into(), "00ff".into()),
                ("recording".into(), "x.sigmf-meta".into(), String::new()),
            ],
            seed: 7,
            trials: 1000,
            written_by: "slantpath 0".into(),
            command: "slantpath report \"a & <b>.toml\" --seed 7".into(),
        };
        let mut page = String::new();
        write(&mut page, &p);
        assert_eq!(read(&page), Some(p));
        assert_eq!(read("<p>another page</p>"), None);
    }
}
