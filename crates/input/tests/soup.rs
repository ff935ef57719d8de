//! Whatever bytes come in, the answer is a tree and problems, never a panic.

use proptest::prelude::*;
use slantpath_input::{
    MAX_TEXT_BYTES, ProblemData, Problems, Section, Source, Style, render, render_all, toml,
    written,
};
use slantpath_quantity::Dimension;

fn swallow(bytes: &[u8]) -> Problems {
    let source = match Source::from_bytes("soup", bytes) {
        Ok(s) => s,
        Err(p) => return p,
    };
    let mut problems = Problems::new();
    let root = toml::read(&source, &mut problems);
    let laid = toml::overlay(&root, &root, &"v".into(), &|_| false);
    let mut s = Section::open(&laid, "", &mut problems);
    let _ = s.text("a", &mut problems);
    let _ = s.written("length", Dimension::Length, &mut problems);
    if let Some(mut b) = s.section("b", &mut problems) {
        for e in b.entries() {
            let _ = written(&e.node, "x", Dimension::Ratio, &mut problems);
        }
    }
    s.finish(&mut problems);
    for p in &problems {
        let _ = ProblemData::from(p);
        assert!(render(p, Style::ASCII).is_ascii());
        let _ = render(
            p,
            Style {
                colour: true,
                unicode: true,
                width: 20,
            },
        );
    }
    problems
}

/// Pieces out of which TOML and its mistakes are made.
fn piece() -> impl Strategy<Value = String> {
    prop_oneof![
        "[a-c.]{1,4} = ",
        "\\[{1,2}[a-c.]{0,3}\\]{0,2}\n",
        "\"{1,3}[^\"]{0,5}\"{0,3}",
        "'[^']{0,5}'?",
        "[0-9+_eE.:TZ-]{1,12}",
        Just("±".to_string()),
        Just("\r\n".to_string()),
        Just("\r".to_string()),
        Just("\u{feff}".to_string()),
        Just("\u{0}".to_string()),
        Just("\u{202e}".to_string()),
        "[{},=#\n]{1,6}",
        "length = \"[-+0-9.]{0,6} ?(dB|m|km|%|±)? ?(±|\\+-)? ?[0-9.]{0,3}\"\n",
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn any_bytes(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        swallow(&bytes);
    }

    #[test]
    fn any_text(text in ".{0,200}") {
        swallow(text.as_bytes());
    }

    #[test]
    fn nearly_toml(pieces in proptest::collection::vec(piece(), 0..25)) {
        swallow(pieces.concat().as_bytes());
    }
}

#[test]
fn monsters() {
    let n = 100_000;
    for text in [
        "[".repeat(n),
        format!("a = {}", "[".repeat(n)),
        format!("a = {}", "{a=".repeat(n)),
        "a.".repeat(n),
        "=\n".repeat(n),
        "\"".repeat(n),
        "\0".repeat(n),
        "\r".repeat(n),
        "± ".repeat(n),
        format!("length = \"{}\"", "9".repeat(n)),
    ] {
        let p = swallow(text.as_bytes());
        assert!(!p.is_empty(), "{}", &text[..10]);
        assert!(render_all(&p, Style::PLAIN).len() < 100_000);
    }
    let p = swallow(&vec![b'#'; 10 << 20]);
    assert!(p.has_errors());
    assert!(swallow(&vec![b'#'; MAX_TEXT_BYTES]).is_empty());
}
