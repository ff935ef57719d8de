//! The design as lines to paste, and figures as words.

use super::Designed;
use slantpath_plan::design::{FrontPoint, Variable};
use slantpath_quantity::show;
use slantpath_wire::feed::{Aperture, after_the_dish, winding};

/// Millimetres with the digits that a bench can hold.
pub(super) fn mm(m: f64) -> String {
    let text = show::fixed(m * 1e3, 2);
    let cut = text.trim_end_matches('0').trim_end_matches('.');
    if cut == "-0" { "0".into() } else { cut.into() }
}

/// A turn to an eighth, or as it is.
pub(super) fn turns(x: f64) -> String {
    let text = show::fixed(x, 3);
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

pub(super) fn value(v: Variable, x: f64) -> String {
    match v {
        Variable::Turns => turns(x),
        _ => mm(x),
    }
}

/// `towards` or `away from` the dish.
pub(super) fn towards(m: f64) -> &'static str {
    if m < 0.0 { "away from" } else { "towards" }
}

/// The station file's sections of a point.
pub(super) fn block(feed: &str, d: &Designed, p: &FrontPoint) -> Vec<String> {
    let s = d.bench.setting();
    let (g, c) = (&p.solved.geometry, &p.solved.geometry.coil);
    let mut out = comment(&format!(
        "{}; {}.",
        winding(c.sense),
        after_the_dish(c.sense)
    ));
    out.extend([
        format!("[feed.{feed}.coil]"),
        format!("turns = {}", turns(c.turns)),
        format!(
            "diameter = \"{} mm ± 0.5\"  # to the middle of the wire: outside {} mm",
            mm(c.diameter.as_m()),
            mm((c.diameter + c.wire).as_m())
        ),
        format!(
            "pitch = \"{} mm ± 0.5\"  # rise per turn",
            mm(c.pitch.as_m())
        ),
        format!("wire = \"{} mm\"", mm(c.wire.as_m())),
        format!(
            "stub = \"{} mm ± 0.5\"  # middle of the first turn over the disc",
            mm(c.stub.as_m())
        ),
        format!("disc = \"{} mm\"", mm(s.disc.as_m())),
        String::new(),
    ]);
    let kind = match s.horn.aperture {
        Aperture::Te11 => "te11",
        Aperture::He11 => "he11",
        Aperture::Measured(_) => "measured",
    };
    out.extend([
        format!("[feed.{feed}.horn]"),
        format!("kind = \"{kind}\""),
        format!("radius = \"{} mm\"", mm(s.horn.radius.as_m())),
        format!("outer_radius = \"{} mm\"", mm(s.horn.outer_radius.as_m())),
        format!(
            "front = \"{} mm ± 1\"  # aperture before the disc, towards the dish",
            mm(g.front.as_m())
        ),
    ]);
    out
}

/// A sentence as comment lines of at most 74 characters.
fn comment(text: &str) -> Vec<String> {
    let mut out = vec![String::from("#")];
    for word in text.split_whitespace() {
        match out.last_mut() {
            Some(line) if line.len() + word.len() < 74 => {
                line.push(' ');
                line.push_str(word);
            }
            _ => out.push(format!("# {word}")),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn millimetres_are_short() {
        assert_eq!(mm(0.0415), "41.5");
        assert_eq!(mm(0.04), "40");
        assert_eq!(mm(-0.00001), "-0.01");
        assert_eq!(mm(-0.000001), "0");
        assert_eq!(turns(3.125), "3.125");
        assert_eq!(turns(3.0), "3");
    }

    #[test]
    fn comments_keep_their_words() {
        let text = "one two three ".repeat(20);
        let lines = comment(&text);
        assert!(lines.iter().all(|l| l.len() <= 74 && l.starts_with('#')));
        let back: Vec<&str> = lines
            .iter()
            .flat_map(|l| l[1..].split_whitespace())
            .collect();
        assert_eq!(back, text.split_whitespace().collect::<Vec<_>>());
    }
}
