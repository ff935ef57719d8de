//! Writing an ADI file.

use super::ADIF_VERSION;
use super::record::{Field, Record, UserDefined};
use std::fmt::Write as _;

/// An ADI file of these records, every field as it stands in them.
///
/// `created` is `YYYYMMDD HHMMSS` in UTC (header field `CREATED_TIMESTAMP`). Definitions of users' own fields are
/// gathered from the records. Data outside ASCII are written as UTF-8 with the length in bytes.
pub fn write(records: &[Record], program: &str, version: &str, created: &str) -> String {
    let mut out = format!("Contacts of a station book, {} record(s).\n", records.len());
    for (name, value) in [
        ("ADIF_VER", ADIF_VERSION),
        ("CREATED_TIMESTAMP", created),
        ("PROGRAMID", program),
        ("PROGRAMVERSION", version),
    ] {
        let _ = writeln!(out, "<{name}:{}>{value}", value.len());
    }
    let mut defined: Vec<&UserDefined> = Vec::new();
    for u in records.iter().flat_map(|r| &r.user_defined) {
        if !defined.iter().any(|d| d.name.eq_ignore_ascii_case(&u.name)) {
            defined.push(u);
        }
    }
    for (i, u) in defined.iter().enumerate() {
        let value = match &u.domain {
            Some(d) => format!("{},{d}", u.name),
            None => u.name.clone(),
        };
        let kind = u.kind.as_deref().unwrap_or("S");
        let _ = writeln!(out, "<USERDEF{}:{}:{kind}>{value}", i + 1, value.len());
    }
    out.push_str("<EOH>\n\n");
    for r in records {
        for f in &r.fields {
            field(&mut out, f);
        }
        out.push_str("<EOR>\n");
    }
    out
}

fn field(out: &mut String, f: &Field) {
    let _ = write!(out, "<{}:{}", f.name, f.value.len());
    if let Some(k) = &f.kind {
        let _ = write!(out, ":{k}");
    }
    let _ = write!(out, ">{} ", f.value);
}
