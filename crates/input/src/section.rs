//! Walks a table, asking for keys; what nobody asked for is unknown.

use crate::toml::{Entry, Node, Table, Value};
use crate::{Place, Problem, Problems, nearest};
use slantpath_quantity::{Dimension, Written, read_written};

/// A table being read. Every key that is asked for becomes known; [`Section::finish`] reports the rest.
#[derive(Debug)]
pub struct Section<'t> {
    node: &'t Node,
    table: &'t Table,
    name: String,
    known: Vec<&'static str>,
    open: bool,
}

static EMPTY: Table = Table {
    entries: Vec::new(),
};

impl<'t> Section<'t> {
    /// Opens `node`, which people know as `name`. What is not a table is a problem and reads as an empty one.
    pub fn open(node: &'t Node, name: impl Into<String>, problems: &mut Problems) -> Self {
        let name = name.into();
        let table = node.as_table().unwrap_or_else(|| {
            problems.push(
                Problem::error(format!("`{name}` must be a table"))
                    .at_place(node.place())
                    .label(format!("this is {}", node.value.kind()))
                    .expected(format!("a heading `[{name}]` with lines under it")),
            );
            &EMPTY
        });
        Self {
            node,
            table,
            name,
            known: Vec::new(),
            open: false,
        }
    }

    /// What people know it as, for example `part.lnb`.
    pub fn name(&self) -> &str {
        &self.name
    }
    /// The node.
    pub fn node(&self) -> &'t Node {
        self.node
    }
    /// Where it begins.
    pub fn place(&self) -> Place {
        self.node.place()
    }
    /// The overlay that the whole table came from.
    pub fn origin(&self) -> Option<&'t str> {
        self.node.origin.as_deref()
    }
    /// Whether a key is written; does not make it known.
    pub fn has(&self, key: &str) -> bool {
        self.table.get(key).is_some()
    }
    /// The value of a key.
    pub fn get(&mut self, key: &'static str) -> Option<&'t Node> {
        if !self.known.contains(&key) {
            self.known.push(key);
        }
        self.table.get(key).map(|e| &e.node)
    }
    /// Where a key's value stands, else the whole section.
    pub fn place_of(&self, key: &str) -> Place {
        self.table
            .get(key)
            .map_or_else(|| self.place(), |e| e.node.place())
    }
    /// Where the key itself stands, else the whole section.
    pub fn place_of_key(&self, key: &str) -> Place {
        self.table
            .get(key)
            .map_or_else(|| self.place(), |e| e.node.source.place(e.key_span.clone()))
    }
    /// All entries; every key is then known (names that a person chose).
    pub fn entries(&mut self) -> &'t [Entry] {
        self.open = true;
        &self.table.entries
    }
    /// Opens the table under a key.
    pub fn section(&mut self, key: &'static str, problems: &mut Problems) -> Option<Section<'t>> {
        let name = if self.name.is_empty() {
            key.to_string()
        } else {
            format!("{}.{key}", self.name)
        };
        self.get(key).map(|n| Section::open(n, name, problems))
    }

    /// Reports a key that must be there.
    pub fn missing(&self, key: &str, expected: &str, problems: &mut Problems) {
        let of = if self.name.is_empty() {
            "the file".to_string()
        } else {
            format!("`[{}]`", self.name)
        };
        problems.push(
            Problem::error(format!("{of} has no `{key}`"))
                .at_place(self.place())
                .label(format!("`{key}` is missing here"))
                .expected(format!("`{key} = ...`: {expected}")),
        );
    }

    fn wrong_kind(&self, key: &str, node: &Node, expected: &str, problems: &mut Problems) {
        problems.push(
            Problem::error(format!("`{key}` must be {expected}"))
                .at_place(node.place())
                .label(format!("this is {}", node.value.kind()))
                .expected(expected.to_string()),
        );
    }

    /// A text.
    pub fn text(&mut self, key: &'static str, problems: &mut Problems) -> Option<&'t str> {
        let n = self.get(key)?;
        match &n.value {
            Value::Text(t) => Some(t),
            _ => {
                self.wrong_kind(key, n, "a text in quotes", problems);
                None
            }
        }
    }
    /// A text that must be there and not be empty.
    pub fn required_text(
        &mut self,
        key: &'static str,
        what: &str,
        problems: &mut Problems,
    ) -> Option<&'t str> {
        if self.get(key).is_none() {
            self.missing(key, what, problems);
            return None;
        }
        let t = self.text(key, problems)?;
        if t.trim().is_empty() {
            problems.push(
                Problem::error(format!("`{key}` is empty"))
                    .at_place(self.place_of(key))
                    .expected(what.to_string()),
            );
            return None;
        }
        Some(t)
    }
    /// `true` or `false`.
    pub fn flag(&mut self, key: &'static str, problems: &mut Problems) -> Option<bool> {
        let n = self.get(key)?;
        match n.value {
            Value::Flag(b) => Some(b),
            _ => {
                self.wrong_kind(key, n, "`true` or `false` (without quotes)", problems);
                None
            }
        }
    }
    /// A whole number within `range`.
    pub fn count(
        &mut self,
        key: &'static str,
        range: std::ops::RangeInclusive<u32>,
        problems: &mut Problems,
    ) -> Option<u32> {
        let n = self.get(key)?;
        let expected = format!("a whole number from {} to {}", range.start(), range.end());
        match n.value {
            Value::Integer(i) => match u32::try_from(i).ok().filter(|v| range.contains(v)) {
                Some(v) => Some(v),
                None => {
                    problems.push(
                        Problem::error(format!("`{key}` = {i} is not possible"))
                            .at_place(n.place())
                            .expected(expected),
                    );
                    None
                }
            },
            _ => {
                self.wrong_kind(key, n, &expected, problems);
                None
            }
        }
    }
    /// One of some words (case and `-`/`_` as written); a word that is not known gets the nearest one.
    pub fn choice<T: Copy>(
        &mut self,
        key: &'static str,
        words: &[(&str, T)],
        problems: &mut Problems,
    ) -> Option<T> {
        let text = self.text(key, problems)?;
        if let Some((_, t)) = words.iter().find(|(w, _)| w.eq_ignore_ascii_case(text)) {
            return Some(*t);
        }
        let list: Vec<String> = words.iter().map(|(w, _)| format!("\"{w}\"")).collect();
        problems.push(
            Problem::error(format!("`{key}` cannot be \"{text}\""))
                .at_place(self.place_of(key))
                .label("not known")
                .expected(one_of(&list))
                .nearest(nearest(text, words.iter().map(|(w, _)| *w))),
        );
        None
    }
    /// A list of texts, each with its node.
    pub fn texts(
        &mut self,
        key: &'static str,
        problems: &mut Problems,
    ) -> Option<Vec<(&'t str, &'t Node)>> {
        let n = self.get(key)?;
        let Value::List(list) = &n.value else {
            self.wrong_kind(key, n, "a list of texts: [\"a\", \"b\"]", problems);
            return None;
        };
        let mut out = Vec::new();
        for item in list {
            match &item.value {
                Value::Text(t) => out.push((t.as_str(), item)),
                _ => self.wrong_kind(key, item, "a text in quotes", problems),
            }
        }
        Some(out)
    }
    /// A list of anything.
    pub fn list(&mut self, key: &'static str, problems: &mut Problems) -> Option<&'t [Node]> {
        let n = self.get(key)?;
        match &n.value {
            Value::List(l) => Some(l),
            _ => {
                self.wrong_kind(key, n, "a list: [ ... ]", problems);
                None
            }
        }
    }
    /// A value of a dimension, as written, with its node.
    pub fn written(
        &mut self,
        key: &'static str,
        dim: Dimension,
        problems: &mut Problems,
    ) -> Option<(Written, &'t Node)> {
        let n = self.get(key)?;
        written(n, key, dim, problems).map(|w| (w, n))
    }

    /// Reports every key that nobody asked for.
    pub fn finish(self, problems: &mut Problems) {
        if self.open {
            return;
        }
        for e in &self.table.entries {
            if self.known.contains(&e.key.as_str()) {
                continue;
            }
            let near = nearest(&e.key, self.known.iter().copied());
            let of = if self.name.is_empty() {
                "at the top of the file".to_string()
            } else {
                format!("in `[{}]`", self.name)
            };
            let mut p = Problem::error(format!("`{}` is not known {of}", e.key))
                .at_place(e.node.source.place(e.key_span.clone()))
                .label("not known here")
                .nearest(near);
            if near.is_none() && !self.known.is_empty() {
                let list: Vec<String> = self.known.iter().map(|k| format!("`{k}`")).collect();
                p = p.expected(one_of(&list));
            }
            problems.push(p);
        }
    }
}

/// A value of a dimension out of any node. Bare numbers are taken for ratios only.
pub fn written(n: &Node, key: &str, dim: Dimension, problems: &mut Problems) -> Option<Written> {
    let text = match &n.value {
        Value::Text(t) => t.clone(),
        Value::Integer(i) if dim == Dimension::Ratio => i.to_string(),
        Value::Float(x) if dim == Dimension::Ratio => x.to_string(),
        other => {
            problems.push(
                Problem::error(format!("`{key}` must be {} with its unit", dim.name()))
                    .at_place(n.place())
                    .label(match other {
                        Value::Integer(_) | Value::Float(_) => {
                            "a bare number: the unit is missing".to_string()
                        }
                        _ => format!("this is {}", other.kind()),
                    })
                    .expected(format!("{}, written like {}", dim.name(), dim.example())),
            );
            return None;
        }
    };
    match read_written(&text, dim) {
        Ok(w) => Some(w),
        Err(e) => {
            let mut p = Problem::error(format!("`{key}` cannot be read as {}", dim.name()))
                .at_place(n.place_inside(&e.at))
                .label(e.what)
                .expected(e.expected);
            if let Some(with_point) = with_decimal_point(&text) {
                p = p.help(format!(
                    "the decimal sign is a point: did you mean \"{with_point}\"?"
                ));
            }
            problems.push(p);
            None
        }
    }
}

/// The text with a point for every comma between two digits, if there is one.
fn with_decimal_point(text: &str) -> Option<String> {
    let b = text.as_bytes();
    let is_decimal = |i: usize| {
        let digit = |j: Option<usize>| j.and_then(|j| b.get(j)).is_some_and(u8::is_ascii_digit);
        b.get(i) == Some(&b',') && digit(i.checked_sub(1)) && digit(i.checked_add(1))
    };
    (0..b.len()).any(is_decimal).then(|| {
        text.char_indices()
            .map(|(i, c)| if is_decimal(i) { '.' } else { c })
            .collect()
    })
}

fn one_of(list: &[String]) -> String {
    match list {
        [] => "nothing".to_string(),
        [one] => one.clone(),
        [rest @ .., last] => format!("{} or {last}", rest.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Source, toml};

    #[test]
    fn collects_every_problem_with_its_place() {
        let mut p = Problems::new();
        let text =
            "length = \"22 dB\"\nlos = \"3 dB\"\nways = 99\non = \"yes\"\nkind = \"solit\"\n";
        let root = toml::read(&Source::new("t", text), &mut p);
        let mut s = Section::open(&root, "part.cable", &mut p);
        assert!(s.written("length", Dimension::Length, &mut p).is_none());
        assert!(s.written("loss", Dimension::Ratio, &mut p).is_none());
        assert!(s.count("ways", 2..=16, &mut p).is_none());
        assert!(s.flag("on", &mut p).is_none());
        assert!(
            s.choice("kind", &[("solid", 1), ("mesh", 2)], &mut p)
                .is_none()
        );
        s.missing("resistance", "ohm per metre", &mut p);
        s.finish(&mut p);
        let at: Vec<_> = p
            .iter()
            .map(|x| {
                (
                    x.place.as_ref().unwrap().text().to_string(),
                    x.nearest.clone(),
                )
            })
            .collect();
        assert_eq!(at[0], ("dB".to_string(), None));
        assert_eq!(at[1].0, "99");
        assert_eq!(at[2].0, "\"yes\"");
        assert_eq!(at[3], ("\"solit\"".to_string(), Some("solid".to_string())));
        assert!(p.iter().any(|x| x.title.contains("no `resistance`")));
        assert_eq!(
            at.last().unwrap(),
            &("los".to_string(), Some("loss".to_string()))
        );
        assert_eq!(p.len(), 6);
    }
}
