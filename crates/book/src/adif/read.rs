//! Reading an ADI file: everything in it, and every mistake with its place.

use super::check::check;
use super::record::{Field, Record, UserDefined};
use slantpath_input::{Problem, Problems, Source, Span};
use std::sync::Arc;

/// An ADI file as read.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Adi {
    /// Text before the first field of the header.
    pub comment: String,
    /// Fields of the header (without `USERDEFn`).
    pub header: Vec<Field>,
    /// Definitions of user's own fields.
    pub user_defined: Vec<UserDefined>,
    /// Records in order, also those with mistakes.
    pub records: Vec<Record>,
    /// Records (from 0) that have at least one error.
    pub faulty: Vec<usize>,
}

/// A field with the places of its parts.
pub(super) struct Placed {
    pub field: Field,
    pub tag: Span,
    pub data: Span,
}

/// A tag as found.
enum Tag {
    Field(Placed),
    EndOfHeader(Span),
    EndOfRecord(Span),
}

/// Reads an ADI file. Mistakes are collected; a record that has one is kept in `records` and listed in `faulty`.
pub fn read(source: &Arc<Source>) -> (Adi, Problems) {
    let text = source.text();
    let mut problems = Problems::new();
    let mut adi = Adi::default();
    // "ADI File Format": a file whose first character is not `<` begins with a header, which must then be ended.
    let headed = !text.starts_with('<') || has_header_end(text);
    let mut at = 0;
    if headed {
        at = text.find('<').unwrap_or(text.len());
        adi.comment = text.get(..at).unwrap_or_default().to_string();
    }
    let mut in_header = headed;
    let mut open: Vec<Placed> = Vec::new();
    while let Some((tag, next)) = next_tag(source, at, &mut problems) {
        at = next;
        match tag {
            Tag::Field(p) if in_header => header_field(&mut adi, p),
            Tag::Field(p) => open.push(p),
            Tag::EndOfHeader(_) if in_header => in_header = false,
            Tag::EndOfHeader(span) => problems.push(
                Problem::error("a second end of header")
                    .at(source, span)
                    .label("`<EOH>` inside the records")
                    .expected("one `<EOH>` before the first record"),
            ),
            Tag::EndOfRecord(span) if in_header => {
                problems.push(
                    Problem::error("the header is not ended")
                        .at(source, span)
                        .label("a record ends here")
                        .expected("`<EOH>` before the first record"),
                );
                // What stood so far was a record, not a header.
                in_header = false;
                let fields = std::mem::take(&mut adi.header);
                adi.faulty.push(adi.records.len());
                adi.records.push(Record {
                    fields,
                    user_defined: adi.user_defined.clone(),
                });
            }
            Tag::EndOfRecord(span) => {
                finish(
                    &mut adi,
                    source,
                    std::mem::take(&mut open),
                    span,
                    &mut problems,
                );
            }
        }
    }
    if in_header && !text.trim().is_empty() {
        problems.push(
            Problem::error("the file has no end of header")
                .at(source, text.len()..text.len())
                .expected("`<EOH>` after the header, then records that end in `<EOR>`"),
        );
    }
    if let Some(first) = open.first() {
        let span = first.tag.start..text.len();
        problems.push(
            Problem::error(format!("record {} is not ended", adi.records.len() + 1))
                .at(source, first.tag.clone())
                .label("begins here")
                .expected("`<EOR>` after its last field"),
        );
        adi.faulty.push(adi.records.len());
        finish(&mut adi, source, open, span, &mut problems);
    }
    adi.faulty.dedup();
    (adi, problems)
}

fn has_header_end(text: &str) -> bool {
    let lower = text.to_ascii_lowercase();
    match (lower.find("<eoh>"), lower.find("<eor>")) {
        (Some(h), Some(r)) => h < r,
        (Some(_), None) => true,
        _ => false,
    }
}

fn header_field(adi: &mut Adi, p: Placed) {
    let upper = p.field.name.to_ascii_uppercase();
    let number = upper.strip_prefix("USERDEF");
    if number.is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit())) {
        // `<USERDEF1:19:E>SHOESIZE,{5:20}`: name, then an enumeration or a range.
        let (name, domain) = match p.field.value.split_once(',') {
            Some((n, d)) => (n.trim().to_string(), Some(d.trim().to_string())),
            None => (p.field.value.trim().to_string(), None),
        };
        adi.user_defined.push(UserDefined {
            name,
            kind: p.field.kind,
            domain,
        });
    } else {
        adi.header.push(p.field);
    }
}

fn finish(
    adi: &mut Adi,
    source: &Arc<Source>,
    fields: Vec<Placed>,
    end: Span,
    problems: &mut Problems,
) {
    let number = adi.records.len() + 1;
    let found = check(source, number, &fields, &adi.user_defined, end);
    if found.has_errors() {
        adi.faulty.push(adi.records.len());
    }
    problems.extend(found);
    let fields: Vec<Field> = fields.into_iter().map(|p| p.field).collect();
    let user_defined = adi
        .user_defined
        .iter()
        .filter(|u| fields.iter().any(|f| f.name.eq_ignore_ascii_case(&u.name)))
        .cloned()
        .collect();
    adi.records.push(Record {
        fields,
        user_defined,
    });
}

/// The next tag from `at` on and where to go on; text between fields is free ("ADI File Format").
fn next_tag(source: &Arc<Source>, mut at: usize, problems: &mut Problems) -> Option<(Tag, usize)> {
    let text = source.text();
    loop {
        let from = at + text.get(at..)?.find('<')?;
        let Some(close) = text.get(from..)?.find('>').map(|i| from + i) else {
            problems.push(
                Problem::error("a tag is not closed")
                    .at(source, from..(from + 1).min(text.len()))
                    .expected("`>` after the tag"),
            );
            return None;
        };
        let tag = from..close + 1;
        let inside = text.get(from + 1..close).unwrap_or_default();
        if inside.trim().eq_ignore_ascii_case("eoh") {
            return Some((Tag::EndOfHeader(tag), close + 1));
        }
        if inside.trim().eq_ignore_ascii_case("eor") {
            return Some((Tag::EndOfRecord(tag), close + 1));
        }
        let mut pieces = inside.splitn(3, ':');
        let name = pieces.next().unwrap_or_default().trim();
        let length = pieces.next().map(str::trim);
        let kind = pieces.next().map(|k| k.trim().to_string());
        let n: Option<usize> = length
            .filter(|l| !l.is_empty() && l.bytes().all(|b| b.is_ascii_digit()))
            .and_then(|l| l.parse().ok());
        let (Some(n), false) = (n, name.is_empty()) else {
            problems.push(
                Problem::error(format!("`<{inside}>` is not a field"))
                    .at(source, tag)
                    .expected("`<NAME:LENGTH>` or `<NAME:LENGTH:TYPE>`, the length in bytes, `<EOH>` or `<EOR>`"),
            );
            at = close + 1;
            continue;
        };
        let start = close + 1;
        let mut end = start.saturating_add(n).min(text.len());
        if start.saturating_add(n) > text.len() {
            problems.push(
                Problem::error(format!(
                    "{name}: {n} bytes of data announced, the file ends after {}",
                    text.len() - start
                ))
                .at(source, tag.clone())
                .label("this length")
                .expected("the length of the data in bytes"),
            );
        }
        if !text.is_char_boundary(end) {
            while !text.is_char_boundary(end) {
                end += 1;
            }
            problems.push(
                Problem::warning(format!("{name}: the length ends inside a character"))
                    .at(source, tag.clone())
                    .label("counted in characters, not in bytes?")
                    .expected(format!("{} bytes", end - start)),
            );
        }
        let value = text.get(start..end).unwrap_or_default().to_string();
        // A length that is too great swallows the next tag.
        if let Some(i) = value.to_ascii_lowercase().find("<eor>") {
            problems.push(
                Problem::warning(format!("{name}: its data hold an end of record"))
                    .at(source, start + i..start + i + 5)
                    .expected("a length that ends before it"),
            );
        }
        return Some((
            Tag::Field(Placed {
                field: Field {
                    name: name.to_string(),
                    kind: kind.filter(|k| !k.is_empty()),
                    value,
                },
                tag,
                data: start..end,
            }),
            end,
        ));
    }
}
