//! What a page shows, as its address says it.

use slantpath_workflow::whatif::{Edit, StationText};
use std::fmt::Write as _;

/// The state of a page. Everything in it stands in the address, so that it can be kept as a bookmark.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct View {
    /// Variant looked at; `None` is the base.
    pub variant: Option<String>,
    /// Branch looked at.
    pub branch: Option<String>,
    /// Place in the file of the part that is open.
    pub part: Option<String>,
    /// Values changed against the file.
    pub edits: Vec<Edit>,
}

impl View {
    /// From the pairs of a query or a form. A pair whose name has a dot names a place in the file; it is a change only
    /// when its text differs from what the file says there.
    pub fn read(pairs: &[(String, String)], text: &StationText) -> Self {
        let mut v = Self::default();
        let some = |s: &str| (!s.is_empty()).then(|| s.to_string());
        for (name, value) in pairs {
            match name.as_str() {
                "variant" => v.variant = some(value),
                "branch" => v.branch = some(value),
                "part" => v.part = some(value),
                place if place.contains('.') => {
                    v.edits.retain(|e| e.place != *place);
                    v.edits.push(Edit {
                        place: place.to_string(),
                        text: value.trim().to_string(),
                    });
                }
                _ => {}
            }
        }
        let variant = v.variant.clone();
        v.edits
            .retain(|e| text.written(variant.as_deref(), &e.place).as_deref() != Some(&e.text));
        v
    }

    /// The address of this view under `path`.
    pub fn address(&self, path: &str) -> String {
        let mut out = path.to_string();
        let mut lead = '?';
        let mut put = |name: &str, value: &str| {
            let _ = write!(out, "{lead}{}={}", encode(name), encode(value));
            lead = '&';
        };
        if let Some(v) = &self.variant {
            put("variant", v);
        }
        if let Some(v) = &self.branch {
            put("branch", v);
        }
        for e in &self.edits {
            put(&e.place, &e.text);
        }
        if let Some(v) = &self.part {
            put("part", v);
        }
        out
    }

    /// The same view with another part open.
    pub fn with_part(&self, part: Option<&str>) -> Self {
        Self {
            part: part.map(str::to_string),
            ..self.clone()
        }
    }

    /// The same view of another variant.
    pub fn with_variant(&self, variant: Option<&str>) -> Self {
        Self {
            variant: variant.map(str::to_string),
            ..self.clone()
        }
    }

    /// The same view of the file as it stands.
    pub fn without_edits(&self) -> Self {
        Self {
            edits: Vec::new(),
            ..self.clone()
        }
    }
}

/// Percent encoding of RFC 3986 for everything but unreserved characters.
fn encode(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for b in text.bytes() {
        match b {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => {
                out.push(char::from(b));
            }
            _ => {
                let _ = write!(out, "%{b:02X}");
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn text() -> StationText {
        StationText::new(
            Path::new("s.toml"),
            "[part.lnb]\nnoise_figure = \"0.7 dB ± 0.1\"\n[variant.v]\npart.lnb.noise_figure = \"0.5 dB\"\n".into(),
        )
    }
    fn pair(a: &str, b: &str) -> (String, String) {
        (a.into(), b.into())
    }

    #[test]
    fn only_what_differs_from_the_file_is_a_change() {
        let place = "part.lnb.noise_figure";
        let same = View::read(&[pair(place, " 0.7 dB ± 0.1 ")], &text());
        assert!(same.edits.is_empty());
        // Seen from the variant, the variant's own value is what the file says.
        let v = View::read(&[pair(place, "0.5 dB"), pair("variant", "v")], &text());
        assert!(v.edits.is_empty());
        let v = View::read(
            &[pair(place, "0.7 dB ± 0.1"), pair("variant", "v")],
            &text(),
        );
        assert_eq!(v.edits.len(), 1);
    }

    #[test]
    fn an_address_comes_back_as_the_view_it_was_made_from() {
        let v = View {
            variant: Some("v".into()),
            branch: Some("sdr 1&2".into()),
            part: Some("part.lnb".into()),
            edits: vec![Edit {
                place: "part.lnb.gain".into(),
                text: "55 dB ± 3=?#".into(),
            }],
        };
        let address = v.address("/");
        assert!(address.is_ascii());
        let uri: axum::http::Uri = address.parse().expect("an address");
        let pairs: axum::extract::Query<Vec<(String, String)>> =
            axum::extract::Query::try_from_uri(&uri).expect("pairs");
        assert_eq!(View::read(&pairs.0, &text()), v);
    }
}
