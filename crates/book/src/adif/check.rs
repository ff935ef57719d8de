//! What a record must hold, and what its fields may.

use super::lists::{
    FIELDS, KnownMode, MODE_NAMES, PROPAGATION, Shape, band_named, band_of, known_mode,
};
use super::read::Placed;
use super::record::UserDefined;
use slantpath_input::{Problem, Problems, Source, Span, nearest};
use std::sync::Arc;

/// Checks one record; every problem names the record, the field and what was expected.
pub(super) fn check(
    source: &Arc<Source>,
    number: usize,
    fields: &[Placed],
    user: &[UserDefined],
    end: Span,
) -> Problems {
    let mut out = Problems::new();
    let get = |name: &str| {
        fields
            .iter()
            .find(|p| p.field.name.eq_ignore_ascii_case(name))
            .filter(|p| !p.field.value.trim().is_empty())
    };
    for (i, p) in fields.iter().enumerate() {
        let name = &p.field.name;
        if fields
            .iter()
            .take(i)
            .any(|q| q.field.name.eq_ignore_ascii_case(name))
        {
            out.push(
                Problem::error(format!("record {number}: {name} is given twice"))
                    .at(source, p.tag.clone())
                    .expected("every field once in a record"),
            );
        }
        if let Some(problem) = field(source, number, p, user) {
            out.push(problem);
        }
    }
    // "Minimum QSO data": what a contact is without these nobody can tell.
    for name in ["CALL", "QSO_DATE", "TIME_ON", "MODE"] {
        if get(name).is_none() {
            out.push(
                Problem::error(format!("record {number}: {name} is missing"))
                    .at(source, end.clone())
                    .label("the record ends here")
                    .expected(format!("`<{name}:LENGTH>` with its data")),
            );
        }
    }
    if get("BAND").is_none() && get("FREQ").is_none() {
        out.push(
            Problem::error(format!("record {number}: neither BAND nor FREQ is given"))
                .at(source, end)
                .label("the record ends here")
                .expected("`<BAND:4>13cm` or `<FREQ:8>2412.500`"),
        );
    }
    for (f, b) in [("FREQ", "BAND"), ("FREQ_RX", "BAND_RX")] {
        if let (Some(f), Some(b)) = (get(f), get(b))
            && let (Ok(mhz), Some(band)) = (
                f.field.value.trim().parse::<f64>(),
                band_named(b.field.value.trim()),
            )
            && !(band.lo_mhz <= mhz && mhz <= band.hi_mhz)
        {
            out.push(
                Problem::warning(format!(
                    "record {number}: {} MHz is not in the {} band",
                    f.field.value.trim(),
                    band.name
                ))
                .at(source, f.data.clone())
                .expected(match band_of(mhz) {
                    Some(other) => format!("{} MHz lies in {}", f.field.value.trim(), other.name),
                    None => format!("{}..{} MHz", band.lo_mhz, band.hi_mhz),
                }),
            );
        }
    }
    // PROP_MODE and SAT_NAME belong together ("QSO Fields").
    let by_satellite =
        get("PROP_MODE").is_some_and(|p| p.field.value.trim().eq_ignore_ascii_case("SAT"));
    match (by_satellite, get("SAT_NAME"), get("PROP_MODE")) {
        (true, None, Some(p)) => out.push(
            Problem::warning(format!(
                "record {number}: by satellite, but SAT_NAME is missing"
            ))
            .at(source, p.tag.clone())
            .expected("`<SAT_NAME:LENGTH>` with the satellite's name"),
        ),
        (false, Some(s), _) => out.push(
            Problem::warning(format!("record {number}: SAT_NAME without PROP_MODE"))
                .at(source, s.tag.clone())
                .expected("`<PROP_MODE:3>SAT`"),
        ),
        _ => {}
    }
    out
}

fn field(source: &Arc<Source>, number: usize, p: &Placed, user: &[UserDefined]) -> Option<Problem> {
    let (name, value) = (&p.field.name, p.field.value.trim());
    let upper = name.to_ascii_uppercase();
    let wrong = |expected: String| {
        Problem::error(format!("record {number}: {name} is `{value}`"))
            .at(source, p.data.clone())
            .expected(expected)
    };
    if let Some(k) = &p.field.kind
        && !(k.len() == 1 && "BNDTSIMGELbndtsimgel".contains(k.as_str()))
    {
        return Some(
            Problem::error(format!("record {number}: {name} has the data type `{k}`"))
                .at(source, p.tag.clone())
                .expected("one of B, N, D, T, S, I, M, G, E, L (\"Data Types\")"),
        );
    }
    if let Some(own) = upper.strip_prefix("APP_") {
        // "Application-defined Fields": APP_{PROGRAMID}_{FIELDNAME}.
        let (program, rest) = own.split_once('_').unwrap_or((own, ""));
        return (program.is_empty() || rest.is_empty()).then(|| {
            Problem::error(format!(
                "record {number}: {name} is not an application's field"
            ))
            .at(source, p.tag.clone())
            .expected("APP_PROGRAM_FIELD")
        });
    }
    if value.is_empty() {
        return None;
    }
    if let Some(u) = user.iter().find(|u| u.name.eq_ignore_ascii_case(name)) {
        return user_defined(u, value).map(wrong);
    }
    if upper.ends_with("_INTL") {
        return Some(
            Problem::warning(format!(
                "record {number}: {name} has no place in an ADI file"
            ))
            .at(source, p.tag.clone())
            .expected("international characters in the XML form of the format only"),
        );
    }
    let shape = FIELDS.iter().find(|(n, _)| *n == upper).map(|(_, s)| *s)?;
    if let (Shape::Mode, KnownMode::SubmodeOf(mode)) = (shape, known_mode(value)) {
        return Some(
            Problem::warning(format!("record {number}: {value} is a submode"))
                .at(source, p.data.clone())
                .expected(format!("MODE {mode} with SUBMODE {value}")),
        );
    }
    if shape == Shape::Mode && known_mode(value) == KnownMode::Unknown {
        return Some(
            Problem::warning(format!(
                "record {number}: the mode `{value}` is not known here"
            ))
            .at(source, p.data.clone())
            .nearest(nearest(value, MODE_NAMES.iter().copied()))
            .expected("a mode of the \"Mode\" enumeration"),
        );
    }
    if matches!(shape, Shape::Text | Shape::Lines)
        && let Some(c) = value.chars().find(|c| {
            let line_end = shape == Shape::Lines && matches!(c, '\r' | '\n');
            !((' '..='~').contains(c) || line_end)
        })
    {
        return Some(
            Problem::warning(format!("record {number}: {name} holds the character {c:?}"))
                .at(source, p.data.clone())
                .expected("ASCII characters 32 to 126"),
        );
    }
    shape_of(shape, value).map(wrong)
}

/// What was expected, when `value` does not have the shape.
fn shape_of(shape: Shape, value: &str) -> Option<String> {
    let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    let ok = match shape {
        Shape::Text | Shape::Lines | Shape::Mode => true,
        Shape::Number(lo, hi) => match number(value) {
            None => {
                return Some(
                    "a number: digits with at most one decimal point, perhaps a minus".into(),
                );
            }
            Some(x) if x < lo || x > hi => {
                return Some(match (lo.is_finite(), hi.is_finite()) {
                    (true, true) => format!("a number from {lo} to {hi}"),
                    (true, false) => format!("a number of {lo} or more"),
                    _ => format!("a number of {hi} or less"),
                });
            }
            Some(_) => true,
        },
        Shape::Date => return (!is_date(value)).then(|| "a date YYYYMMDD, from 1930 on".into()),
        Shape::Time => {
            let two = |i: usize| value.get(i..i + 2).and_then(|s| s.parse::<u32>().ok());
            let fits = (value.len() == 4 || value.len() == 6)
                && digits(value)
                && two(0).is_some_and(|h| h < 24)
                && two(2).is_some_and(|m| m < 60)
                && (value.len() == 4 || two(4).is_some_and(|s| s < 60));
            return (!fits).then(|| "a time HHMM or HHMMSS (UTC)".into());
        }
        Shape::Yes => {
            return (!"YNyn".contains(value) || value.len() != 1).then(|| "Y or N".into());
        }
        Shape::Grid => {
            let fits = value.len() <= 8 && value.parse::<slantpath_sky::Locator>().is_ok();
            return (!fits).then(|| "a locator of 2, 4, 6 or 8 characters, like IO77ex".into());
        }
        Shape::GridExtension => {
            let b = value.as_bytes();
            let letter =
                |c: Option<&u8>| c.is_some_and(|c| (b'A'..=b'X').contains(&c.to_ascii_uppercase()));
            let digit = |c: Option<&u8>| c.is_some_and(u8::is_ascii_digit);
            let fits = letter(b.first())
                && letter(b.get(1))
                && (b.len() == 2 || (b.len() == 4 && digit(b.get(2)) && digit(b.get(3))));
            return (!fits).then(|| "two letters A to X, perhaps two digits".into());
        }
        Shape::Location => {
            return (!is_location(value)).then(|| "XDDD MM.MMM, like N057 18.000".into());
        }
        Shape::Band => {
            return band_named(value)
                .is_none()
                .then(|| "a band of the \"Band\" enumeration, like 13cm".into());
        }
        Shape::Propagation => {
            return (!PROPAGATION.iter().any(|m| m.eq_ignore_ascii_case(value)))
                .then(|| format!("one of {}", PROPAGATION.join(", ")));
        }
    };
    (!ok).then(String::new)
}

/// "Number" of the "Data Types": no exponent, no plus sign.
pub(super) fn number(value: &str) -> Option<f64> {
    let bare = value.strip_prefix('-').unwrap_or(value);
    let fits = bare.bytes().any(|b| b.is_ascii_digit())
        && bare.bytes().all(|b| b.is_ascii_digit() || b == b'.')
        && bare.bytes().filter(|b| *b == b'.').count() <= 1;
    fits.then(|| value.parse().ok()).flatten()
}

fn is_date(value: &str) -> bool {
    let part = |a: usize, b: usize| value.get(a..b).and_then(|s| s.parse::<i16>().ok());
    if value.len() != 8 || !value.bytes().all(|b| b.is_ascii_digit()) {
        return false;
    }
    let (Some(y), Some(m), Some(d)) = (part(0, 4), part(4, 6), part(6, 8)) else {
        return false;
    };
    let small = |x: i16| i8::try_from(x).unwrap_or(0);
    y >= 1930 && jiff::civil::Date::new(y, small(m), small(d)).is_ok()
}

fn is_location(value: &str) -> bool {
    let Some((head, minutes)) = value.split_once(' ') else {
        return false;
    };
    let (side, degrees) = head.split_at_checked(1).unwrap_or(("", ""));
    let limit = match side.to_ascii_uppercase().as_str() {
        "N" | "S" => 90.0,
        "E" | "W" => 180.0,
        _ => return false,
    };
    let shape = degrees.len() == 3
        && degrees.bytes().all(|b| b.is_ascii_digit())
        && minutes.len() == 6
        && minutes.as_bytes().get(2) == Some(&b'.');
    match (degrees.parse::<f64>(), number(minutes)) {
        (Ok(d), Some(m)) => shape && m < 60.0 && d + m / 60.0 <= limit,
        _ => false,
    }
}

/// What a user's own definition expects, when `value` is something else.
fn user_defined(u: &UserDefined, value: &str) -> Option<String> {
    let kind = u.kind.as_deref().unwrap_or("S").to_ascii_uppercase();
    let by_type = match kind.as_str() {
        "N" => shape_of(Shape::Number(ANY.0, ANY.1), value),
        "D" => shape_of(Shape::Date, value),
        "T" => shape_of(Shape::Time, value),
        "B" => shape_of(Shape::Yes, value),
        "L" => shape_of(Shape::Location, value),
        _ => None,
    };
    if by_type.is_some() {
        return by_type;
    }
    let inside = u
        .domain
        .as_deref()?
        .trim()
        .strip_prefix('{')?
        .strip_suffix('}')?;
    if let Some((lo, hi)) = inside.split_once(':') {
        let (lo, hi) = (number(lo.trim())?, number(hi.trim())?);
        let fits = number(value).is_some_and(|x| lo <= x && x <= hi);
        return (!fits).then(|| format!("a number from {lo} to {hi}, as {} is defined", u.name));
    }
    let known = inside.split(',').map(str::trim);
    (!known.clone().any(|k| k.eq_ignore_ascii_case(value)))
        .then(|| format!("one of {inside}, as {} is defined", u.name))
}

const ANY: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);
