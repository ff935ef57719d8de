//! The metadata file (SigMF specification 1.x): what of it matters here, each field checked where it stands.

use jiff::Timestamp;
use serde_json::{Map, Value};

use crate::error::{CaptureError, Place};
use crate::source::about::{About, Annotation, Mount, SampleFormat};

/// Largest metadata file that is read; real ones have a few kilobytes, annotated ones a few megabytes.
pub(super) const MAX_META_BYTES: u64 = 32 << 20;
/// Most interleaved channels.
pub(super) const MAX_CHANNELS: u64 = 64;

/// One entry of `captures`, by index into the dataset file.
#[derive(Debug, Clone)]
pub(super) struct Capture {
    pub start: u64,
    pub header_bytes: u64,
    pub center_hz: Option<f64>,
    pub datetime: Option<Timestamp>,
    pub global_index: Option<u64>,
}

/// A metadata file, read.
#[derive(Debug)]
pub(super) struct Meta {
    pub about: About,
    pub channels: usize,
    pub dataset: Option<String>,
    pub sha512: Option<String>,
    pub metadata_only: bool,
    pub(super) trailing_bytes: u64,
    pub(super) captures: Vec<Capture>,
}

struct Fields<'a> {
    name: &'a str,
    at: String,
    map: &'a Map<String, Value>,
}

impl Fields<'_> {
    fn wrong(&self, key: &str, found: &Value, expected: &str) -> CaptureError {
        let mut shown = found.to_string();
        if shown.len() > 60 {
            shown = shown.chars().take(57).chain("...".chars()).collect();
        }
        CaptureError::malformed(
            self.name,
            Place::Field(format!("{}.{key}", self.at)),
            format!("found {shown}"),
            expected,
            "correct the metadata file; it is plain JSON",
        )
    }

    fn text(&self, key: &str) -> Result<Option<String>, CaptureError> {
        match self.map.get(key) {
            None | Some(Value::Null) => Ok(None),
            Some(Value::String(s)) => Ok(Some(s.clone())),
            Some(v) => Err(self.wrong(key, v, "text in quotes")),
        }
    }

    fn number(&self, key: &str) -> Result<Option<f64>, CaptureError> {
        match self.map.get(key) {
            None | Some(Value::Null) => Ok(None),
            Some(v) => match v.as_f64().filter(|x| x.is_finite()) {
                Some(x) => Ok(Some(x)),
                None => Err(self.wrong(key, v, "a number")),
            },
        }
    }

    fn count(&self, key: &str) -> Result<Option<u64>, CaptureError> {
        match self.map.get(key) {
            None | Some(Value::Null) => Ok(None),
            Some(v) => {
                // Some writers put counts as floating-point numbers.
                let whole = v
                    .as_f64()
                    .filter(|x| x.fract() == 0.0 && (0.0..9.0e15).contains(x));
                match v.as_u64().or(whole.map(|x| x as u64)) {
                    Some(n) => Ok(Some(n)),
                    None => Err(self.wrong(key, v, "a whole number, 0 or more")),
                }
            }
        }
    }

    fn flag(&self, key: &str) -> Result<Option<bool>, CaptureError> {
        match self.map.get(key) {
            None | Some(Value::Null) => Ok(None),
            Some(Value::Bool(b)) => Ok(Some(*b)),
            Some(v) => Err(self.wrong(key, v, "true or false")),
        }
    }
}

/// Reads a metadata file; `name` is how errors call it, `data_name` how the recording is called.
pub(super) fn read_meta(name: &str, data_name: &str, bytes: &[u8]) -> Result<Meta, CaptureError> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let top: Value = serde_json::from_slice(bytes).map_err(|e| {
        let place = if e.line() > 0 {
            Place::Line(e.line() as u64, e.column().max(1) as u64)
        } else {
            Place::Whole
        };
        CaptureError::malformed(
            name,
            place,
            e.to_string(),
            "JSON",
            "correct the metadata file",
        )
    })?;
    let top = top.as_object().ok_or_else(|| {
        let help = "a metadata file begins with { \"global\": { ... }, \"captures\": [ ... ] }";
        CaptureError::malformed(
            name,
            Place::Whole,
            "no JSON object",
            "one JSON object",
            help,
        )
    })?;
    let object = |v: &'_ Value, at: &str| -> Result<(), CaptureError> {
        if v.is_object() {
            return Ok(());
        }
        let place = Place::Field(at.into());
        Err(CaptureError::malformed(
            name,
            place,
            "no JSON object",
            "{ \"core:...\": ... }",
            "",
        ))
    };
    let empty = Value::Null;
    let global = top.get("global").unwrap_or(&empty);
    object(global, "global")?;
    let none = Map::new();
    let g = Fields {
        name,
        at: "global".into(),
        map: global.as_object().unwrap_or(&none),
    };
    let mut meta = read_global(&g, data_name)?;

    let list = |key: &str| -> Result<&[Value], CaptureError> {
        match top.get(key) {
            None | Some(Value::Null) => Ok(&[]),
            Some(Value::Array(a)) => Ok(a),
            Some(_) => {
                let place = Place::Field(key.into());
                Err(CaptureError::malformed(
                    name,
                    place,
                    "no JSON array",
                    "[ ... ]",
                    "",
                ))
            }
        }
    };
    let offset = g.count("core:offset")?.unwrap_or(0);
    for (k, v) in list("captures")?.iter().enumerate() {
        let at = format!("captures[{k}]");
        object(v, &at)?;
        let c = Fields {
            name,
            at,
            map: v.as_object().unwrap_or(&none),
        };
        let capture = read_capture(&c, offset, &mut meta.about.warnings)?;
        if let Some(before) = meta.captures.last()
            && capture.start < before.start
        {
            let place = Place::Field(format!("captures[{k}].core:sample_start"));
            return Err(CaptureError::malformed(
                name,
                place,
                format!("{} after {}", capture.start + offset, before.start + offset),
                "captures in ascending order of their first sample",
                "sort the captures",
            ));
        }
        meta.captures.push(capture);
    }
    for (k, v) in list("annotations")?.iter().enumerate() {
        let at = format!("annotations[{k}]");
        object(v, &at)?;
        let a = Fields {
            name,
            at,
            map: v.as_object().unwrap_or(&none),
        };
        meta.about.annotations.push(read_annotation(&a, offset)?);
    }
    meta.settle();
    Ok(meta)
}

fn read_global(g: &Fields<'_>, data_name: &str) -> Result<Meta, CaptureError> {
    let Some(datatype) = g.text("core:datatype")? else {
        return Err(CaptureError::malformed(
            g.name,
            Place::Field("global.core:datatype".into()),
            "nothing",
            "how samples are stored, such as \"ci16_le\" or \"cu8\"",
            "write the format into the metadata; without it the samples cannot be read",
        ));
    };
    if datatype.starts_with('r') {
        return Err(CaptureError::unsupported(
            data_name,
            format!(
                "real samples ({datatype}) do not tell frequencies above the centre from those below"
            ),
            "record complex (IQ) samples",
        ));
    }
    let format: SampleFormat = datatype.parse().map_err(|expected: String| {
        g.wrong("core:datatype", &Value::String(datatype.clone()), &expected)
    })?;
    let mut about = About::new(data_name, format);
    if format.component.bytes() > 1 && !datatype.contains('_') {
        about.warnings.push(format!(
            "\"{datatype}\" does not say its byte order; little-endian was taken"
        ));
    }
    about.sample_rate_hz = g.number("core:sample_rate")?;
    if let Some(fs) = about.sample_rate_hz.filter(|fs| *fs <= 0.0) {
        return Err(g.wrong(
            "core:sample_rate",
            &Value::from(fs),
            "samples per second, above 0",
        ));
    }
    about.description = g.text("core:description")?;
    about.hardware = g.text("core:hw")?;
    about.recorder = g.text("core:recorder")?;
    about.mount = Mount {
        side: g.text("slantpath:side")?,
        remount: g.count("slantpath:remount")?,
        block: g.count("slantpath:block")?,
        branch: g.text("slantpath:branch")?,
        control: g.flag("slantpath:control")?.unwrap_or(false),
        target: g.text("slantpath:target")?,
        gain_db: g.number("slantpath:gain_db")?,
        transmitting: g.flag("slantpath:transmitting")?,
    };
    required_extensions(g)?;
    let channels = g.count("core:num_channels")?.unwrap_or(1);
    if !(1..=MAX_CHANNELS).contains(&channels) {
        return Err(g.wrong(
            "core:num_channels",
            &Value::from(channels),
            "1 to 64 channels",
        ));
    }
    let dataset = g.text("core:dataset")?;
    if let Some(d) = dataset.as_deref()
        && (d.is_empty() || d == ".." || d == "." || d.contains(['/', '\\', ':', '\0']))
    {
        let expected = "a file name without folders: the dataset lies beside its metadata";
        return Err(g.wrong("core:dataset", &Value::from(d), expected));
    }
    let sha512 = g.text("core:sha512")?.map(|s| s.trim().to_owned());
    if let Some(s) = sha512.as_deref()
        && (s.len() != 128 || !s.bytes().all(|b| b.is_ascii_hexdigit()))
    {
        return Err(g.wrong("core:sha512", &Value::from(s), "128 hexadecimal digits"));
    }
    Ok(Meta {
        about,
        channels: channels as usize,
        dataset,
        sha512,
        metadata_only: g.flag("core:metadata_only")?.unwrap_or(false),
        trailing_bytes: g.count("core:trailing_bytes")?.unwrap_or(0),
        captures: Vec::new(),
    })
}

/// An extension that is said to be needed for reading, and is not ours, is not passed over.
fn required_extensions(g: &Fields<'_>) -> Result<(), CaptureError> {
    let Some(Value::Array(list)) = g.map.get("core:extensions") else {
        return Ok(());
    };
    for e in list {
        let name = e.get("name").and_then(Value::as_str).unwrap_or_default();
        if e.get("optional") == Some(&Value::Bool(false)) && name != "slantpath" {
            return Err(CaptureError::unsupported(
                g.name,
                format!(
                    "the recording says that it cannot be read without the extension \"{name}\""
                ),
                "record without it, or mark it optional if the samples are plain",
            ));
        }
    }
    Ok(())
}

fn read_capture(
    c: &Fields<'_>,
    offset: u64,
    warnings: &mut Vec<String>,
) -> Result<Capture, CaptureError> {
    let Some(start) = c.count("core:sample_start")? else {
        let found = Value::String("nothing".into());
        return Err(c.wrong("core:sample_start", &found, "the index of the first sample"));
    };
    let Some(start) = start.checked_sub(offset) else {
        let expected = format!("at least core:offset, which is {offset}");
        return Err(c.wrong("core:sample_start", &Value::from(start), &expected));
    };
    let datetime = c.text("core:datetime")?.and_then(|text| {
        let at = time(&text);
        if at.is_none() {
            let shown: String = text.chars().take(40).collect();
            warnings.push(format!(
                "{}.core:datetime: \"{shown}\" is not a UTC time; taken as unknown",
                c.at
            ));
        }
        at
    });
    Ok(Capture {
        start,
        header_bytes: c.count("core:header_bytes")?.unwrap_or(0),
        center_hz: c.number("core:frequency")?,
        datetime,
        global_index: c.count("core:global_index")?,
    })
}

/// RFC 3339 in UTC; a time that names no zone is UTC as well.
pub(in crate::source) fn time(text: &str) -> Option<Timestamp> {
    let text = text.trim();
    text.parse().ok().or_else(|| {
        let civil: jiff::civil::DateTime = text.parse().ok()?;
        jiff::tz::TimeZone::UTC.to_timestamp(civil).ok()
    })
}

fn read_annotation(a: &Fields<'_>, offset: u64) -> Result<Annotation, CaptureError> {
    let text = match a.text("core:comment")? {
        Some(t) => Some(t),
        None => a.text("core:label")?.or(a.text("core:description")?),
    };
    Ok(Annotation {
        start_sample: a
            .count("core:sample_start")?
            .unwrap_or(0)
            .saturating_sub(offset),
        count: a.count("core:sample_count")?,
        edges_hz: a
            .number("core:freq_lower_edge")?
            .zip(a.number("core:freq_upper_edge")?),
        text: text.unwrap_or_default(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn meta(text: &str) -> Result<Meta, CaptureError> {
        read_meta("x.sigmf-meta", "x", text.as_bytes())
    }

    fn with(global: &str, captures: &str) -> Result<Meta, CaptureError> {
        meta(&format!(
            "{{\"global\":{{\"core:datatype\":\"cu8\"{global}}},\"captures\":[{captures}]}}"
        ))
    }

    #[test]
    fn problems_name_their_place() {
        let e = meta("{\"global\": {\n  \"core:datatype\" \"cu8\"}}")
            .unwrap_err()
            .to_string();
        assert!(e.contains("x.sigmf-meta:2:"), "{e}");
        let e = with(",\"core:sample_rate\":\"fast\"", "")
            .unwrap_err()
            .to_string();
        assert!(
            e.contains("global.core:sample_rate") && e.contains("a number"),
            "{e}"
        );
        let e = with("", "{\"core:sample_start\":5},{\"core:sample_start\":2}")
            .unwrap_err()
            .to_string();
        assert!(
            e.contains("captures[1].core:sample_start") && e.contains("2 after 5"),
            "{e}"
        );
        let e = with(",\"core:dataset\":\"../x.bin\"", "")
            .unwrap_err()
            .to_string();
        assert!(e.contains("core:dataset"), "{e}");
        let e = meta("{\"global\":{\"core:datatype\":\"ri16_le\"}}")
            .unwrap_err()
            .to_string();
        assert!(e.contains("real samples") && e.contains("IQ"), "{e}");
        let e = with(
            ",\"core:extensions\":[{\"name\":\"zip\",\"version\":\"1\",\"optional\":false}]",
            "",
        );
        assert!(e.unwrap_err().to_string().contains("zip"));
    }

    #[test]
    fn times_without_a_zone_are_utc_and_nonsense_is_a_warning() {
        assert_eq!(time("2031-04-02T09:00:00"), time("2031-04-02T09:00:00Z"));
        let m = with(
            "",
            "{\"core:sample_start\":0,\"core:datetime\":\"yesterday\"}",
        )
        .unwrap();
        assert_eq!(m.about.start, None);
        assert!(m.about.warnings[0].contains("yesterday"));
    }
}
