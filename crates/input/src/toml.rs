//! TOML as a tree whose every node knows its place.

use crate::{Place, Problem, Problems, Source, Span};
use std::sync::Arc;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A value and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Node {
    /// The text it stands in.
    pub source: Arc<Source>,
    /// Its bytes; of a table its header.
    pub span: Span,
    /// The value.
    pub value: Value,
    /// The overlay that it came from, if it was laid over another tree (see [`overlay`]).
    pub origin: Option<Arc<str>>,
}

/// A TOML value.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A string.
    Text(String),
    /// A whole number.
    Integer(i64),
    /// A number with a point; never NaN or infinite.
    Float(f64),
    /// `true` or `false`.
    Flag(bool),
    /// A date or time, as written.
    Time(String),
    /// `[ ... ]` or `[[ ... ]]`.
    List(Vec<Node>),
    /// `{ ... }` or `[ ... ]` header.
    Table(Table),
}

impl Value {
    /// What a person calls it.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Text(_) => "a text",
            Self::Integer(_) => "a whole number",
            Self::Float(_) => "a number",
            Self::Flag(_) => "true or false",
            Self::Time(_) => "a date or time",
            Self::List(_) => "a list",
            Self::Table(_) => "a table",
        }
    }
}

/// Entries in the order of the file.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Table {
    /// Key, place of the key, value.
    pub entries: Vec<Entry>,
}

/// One entry of a table.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The key.
    pub key: String,
    /// Where the key stands.
    pub key_span: Span,
    /// The value.
    pub node: Node,
}

impl Table {
    /// The entry of a key.
    pub fn get(&self, key: &str) -> Option<&Entry> {
        self.entries.iter().find(|e| e.key == key)
    }
}

impl Node {
    /// Where it stands.
    pub fn place(&self) -> Place {
        self.source.place(self.span.clone())
    }
    /// Where the bytes `at` of a text stand, if the text is written as it reads; else the whole of it.
    pub fn place_inside(&self, at: &Span) -> Place {
        if let Value::Text(text) = &self.value {
            let raw = self.source.slice(&self.span);
            for quote in ["\"\"\"", "'''", "\"", "'"] {
                if raw.strip_prefix(quote).and_then(|r| r.strip_suffix(quote))
                    == Some(text.as_str())
                {
                    let from = self.span.start + quote.len();
                    // An empty piece underlines the closing quote, so that something is seen.
                    let end = at.end.max(at.start + usize::from(at.is_empty()));
                    return self.source.place(from + at.start..from + end);
                }
            }
        }
        self.place()
    }
    /// The table, if it is one.
    pub fn as_table(&self) -> Option<&Table> {
        match &self.value {
            Value::Table(t) => Some(t),
            _ => None,
        }
    }
}

/// Reads TOML. What can be read is returned even when something cannot; every syntax error is a problem.
pub fn read(source: &Arc<Source>, problems: &mut Problems) -> Node {
    let (table, errors) = DeTable::parse_recoverable(source.text());
    // One slip can make every later line wrong; the first ones say it.
    const SYNTAX_ERRORS_KEPT: usize = 20;
    for e in errors.iter().take(SYNTAX_ERRORS_KEPT) {
        let span = e.span().unwrap_or(0..0);
        problems.push(syntax(source, e.message(), span));
    }
    let root = of_table(source, table.get_ref(), problems);
    Node {
        source: Arc::clone(source),
        span: 0..0,
        value: Value::Table(root),
        origin: None,
    }
}

fn syntax(source: &Arc<Source>, message: &str, span: Span) -> Problem {
    // The parser's messages are one phrase, at times followed by ", expected ...".
    let mut lines = message.splitn(2, ", expected ");
    let what = lines.next().unwrap_or(message).trim();
    let expected = lines.next().map(str::trim);
    let mut p = Problem::error(format!("this is not TOML: {}", what.replace('\n', " ")))
        .at(source, span)
        .label(what.lines().next().unwrap_or("here").to_string());
    if let Some(e) = expected {
        p = p.expected(e.replace('\n', " "));
    }
    if what.contains("duplicate key") {
        p = p.help("a name stands once in a table; rename or remove one of the two");
    } else {
        p = p.help("a line reads `key = \"value with unit\"`; a heading reads `[name]`; `#` begins a comment");
    }
    p
}

fn of_table(source: &Arc<Source>, table: &DeTable<'_>, problems: &mut Problems) -> Table {
    let mut entries: Vec<Entry> = table
        .iter()
        .map(|(k, v)| Entry {
            key: k.get_ref().to_string(),
            key_span: k.span(),
            node: of_value(source, v, problems),
        })
        .collect();
    entries.sort_by_key(|e| e.key_span.start);
    Table { entries }
}

fn of_value(source: &Arc<Source>, v: &Spanned<DeValue<'_>>, problems: &mut Problems) -> Node {
    let span = v.span();
    let mut number = |text: &str| -> Value {
        problems.push(
            Problem::error("this number cannot be used")
                .at(source, span.clone())
                .label(format!("`{text}` is not a finite number of ordinary size"))
                .expected("a finite number"),
        );
        Value::Float(0.0)
    };
    let value = match v.get_ref() {
        DeValue::String(s) => Value::Text(s.to_string()),
        DeValue::Integer(i) => {
            let digits = i.as_str().replace('_', "");
            match i64::from_str_radix(&digits, i.radix()) {
                Ok(n) => Value::Integer(n),
                Err(_) => number(&digits),
            }
        }
        DeValue::Float(x) => match x.as_str().replace('_', "").parse::<f64>() {
            Ok(n) if n.is_finite() => Value::Float(n),
            _ => number(x.as_str()),
        },
        DeValue::Boolean(b) => Value::Flag(*b),
        DeValue::Datetime(t) => Value::Time(t.to_string()),
        DeValue::Array(a) => Value::List(a.iter().map(|x| of_value(source, x, problems)).collect()),
        DeValue::Table(t) => Value::Table(of_table(source, t, problems)),
    };
    Node {
        source: Arc::clone(source),
        span,
        value,
        origin: None,
    }
}

/// `base` with `over` laid on it: tables are merged, anything else is replaced. What comes from `over` carries `name` as
/// its origin. A table of `over` for which `whole` is true replaces its counterpart entirely.
pub fn overlay(base: &Node, over: &Node, name: &Arc<str>, whole: &dyn Fn(&Table) -> bool) -> Node {
    match (&base.value, &over.value) {
        (Value::Table(b), Value::Table(o)) if !whole(o) => {
            let mut entries = b.entries.clone();
            for e in &o.entries {
                match entries.iter_mut().find(|x| x.key == e.key) {
                    Some(x) => {
                        x.node = overlay(&x.node, &e.node, name, whole);
                        if !matches!(x.node.value, Value::Table(_)) {
                            x.key_span = e.key_span.clone();
                        }
                    }
                    None => entries.push(Entry {
                        node: marked(&e.node, name),
                        ..e.clone()
                    }),
                }
            }
            Node {
                value: Value::Table(Table { entries }),
                ..base.clone()
            }
        }
        _ => marked(over, name),
    }
}

/// `node` with its origin set, all the way down.
pub fn marked(node: &Node, name: &Arc<str>) -> Node {
    let value = match &node.value {
        Value::List(l) => Value::List(l.iter().map(|n| marked(n, name)).collect()),
        Value::Table(t) => Value::Table(Table {
            entries: t
                .entries
                .iter()
                .map(|e| Entry {
                    node: marked(&e.node, name),
                    ..e.clone()
                })
                .collect(),
        }),
        other => other.clone(),
    };
    Node {
        value,
        origin: Some(Arc::clone(name)),
        source: Arc::clone(&node.source),
        span: node.span.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Style, render};

    fn tree(text: &str) -> (Node, Problems) {
        let mut p = Problems::new();
        let n = read(&Source::new("t.toml", text), &mut p);
        (n, p)
    }

    #[test]
    fn every_node_knows_its_place() {
        let (n, p) = tree("a = 1\n[b]\nc = \"x y\"\n[[d]]\ne = 2.5\n");
        assert!(p.is_empty());
        let t = n.as_table().unwrap();
        assert_eq!(
            t.entries.iter().map(|e| e.key.as_str()).collect::<Vec<_>>(),
            ["a", "b", "d"]
        );
        let b = &t.get("b").unwrap().node;
        assert_eq!(b.place().text(), "[b]");
        let c = &b.as_table().unwrap().get("c").unwrap().node;
        assert_eq!(c.place().text(), "\"x y\"");
        assert_eq!(c.place_inside(&(2..3)).text(), "y");
    }

    #[test]
    fn several_syntax_errors_at_once_and_the_rest_still_read() {
        let (n, p) = tree("a = \nb = 2\nc = \"open\nd = 4\n");
        assert!(p.len() >= 2, "{p:?}");
        assert!(n.as_table().unwrap().get("b").is_some());
        let lines: Vec<_> = p
            .iter()
            .map(|x| x.place.as_ref().unwrap().line_column().0)
            .collect();
        assert!(lines.contains(&1) && lines.contains(&3), "{lines:?}");
        for x in &p {
            assert!(render(x, Style::ASCII).contains("t.toml:"));
        }
    }

    #[test]
    fn a_number_out_of_reach_is_a_problem() {
        let (_, p) = tree("a = 99999999999999999999999\nb = inf\nc = nan\n");
        assert_eq!(p.len(), 3);
    }

    #[test]
    fn a_text_with_escapes_is_underlined_whole() {
        let (n, _) = tree("a = \"x\\ty\"\n");
        let a = &n.as_table().unwrap().get("a").unwrap().node;
        assert_eq!(a.place_inside(&(0..1)).text(), "\"x\\ty\"");
    }

    #[test]
    fn laid_over_keeps_and_replaces() {
        let (base, _) = tree("[p]\nkind = \"k\"\nx = 1\ny = 2\n");
        let (over, _) = tree("p.x = 5\nq = 7\n");
        let name: Arc<str> = "v".into();
        let whole = |t: &Table| t.get("kind").is_some();
        let m = overlay(&base, &over, &name, &whole);
        let p = m
            .as_table()
            .unwrap()
            .get("p")
            .unwrap()
            .node
            .as_table()
            .unwrap()
            .clone();
        assert_eq!(p.get("x").unwrap().node.value, Value::Integer(5));
        assert_eq!(p.get("x").unwrap().node.origin.as_deref(), Some("v"));
        assert_eq!(p.get("y").unwrap().node.origin, None);
        assert_eq!(
            m.as_table()
                .unwrap()
                .get("q")
                .unwrap()
                .node
                .origin
                .as_deref(),
            Some("v")
        );
        let (other, _) = tree("[p]\nkind = \"other\"\nz = 3\n");
        let m = overlay(&base, &other, &name, &whole);
        let p = m
            .as_table()
            .unwrap()
            .get("p")
            .unwrap()
            .node
            .as_table()
            .unwrap()
            .clone();
        assert!(p.get("x").is_none() && p.get("z").is_some());
    }
}
