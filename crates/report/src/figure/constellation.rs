//! Symbols of a digital carrier in the complex plane.

use super::canvas::{Axis, Canvas, ink, usable};
use super::markup::shorten;

/// Points of a constellation: in phase and quadrature, mean power of one.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Constellation {
    /// Where the standard puts them.
    pub ideal: Vec<(f32, f32)>,
    /// Header symbols.
    pub header: Vec<(f32, f32)>,
    /// Pilots.
    pub pilots: Vec<(f32, f32)>,
    /// Payload.
    pub payload: Vec<(f32, f32)>,
}

/// Most points of one kind drawn: more only make the page heavy.
const SHOWN: usize = 900;

/// Constellation with its own points marked; `words` stands below the drawing.
pub fn constellation(title: &str, k: &Constellation, words: &str) -> String {
    let good = |p: &&(f32, f32)| usable(f64::from(p.0)) && usable(f64::from(p.1));
    let kinds = [
        (&k.payload, "payload", ink::A, 0.9),
        (&k.header, "header", ink::BAND, 1.2),
        (&k.pilots, "pilots", ink::B, 1.2),
    ];
    let reach = kinds
        .iter()
        .flat_map(|(p, ..)| p.iter().take(SHOWN).filter(good))
        .chain(k.ideal.iter().filter(good))
        .map(|p| f64::from(p.0.abs().max(p.1.abs())))
        .fold(1.0, f64::max)
        .min(3.0);
    // A square: an ellipse would look like an imbalance.
    let (left, right, top, bottom) = (60.0, 400.0, 30.0, 370.0);
    let shown: Vec<_> = kinds.iter().filter(|(p, ..)| !p.is_empty()).collect();
    let rows = shown.len() + usize::from(!words.is_empty());
    let mut c = Canvas::new(bottom + 50.0 + 19.0 * rows as f64);
    let x = Axis::over([-reach, reach], left, right, 0.05);
    let y = Axis::over([-reach, reach], bottom, top, 0.05);
    x.draw_below(&mut c, bottom, top, 5.0, "in phase");
    y.draw_left(&mut c, left, right, 5.0, "quadrature");
    for (points, name, colour, size) in &shown {
        c.group(name);
        // One path of short strokes with round ends: dots without an element each.
        let mut d = String::new();
        for (i, q) in points
            .iter()
            .take(SHOWN)
            .filter(good)
            .map(|p| (f64::from(p.0), f64::from(p.1)))
            .filter(|(i, q)| i.abs() <= reach && q.abs() <= reach)
        {
            d.push_str(&format!("M{:.1} {:.1}h.01", x.at(i), y.at(q)));
        }
        c.path(
            &d,
            colour,
            &format!(r#"stroke-width="{:.1}" stroke-linecap="round""#, 2.0 * size),
        );
        c.end();
    }
    c.group("where the standard puts the points");
    for p in k.ideal.iter().filter(good) {
        let (px, py) = (x.at(f64::from(p.0)), y.at(f64::from(p.1)));
        c.line(
            (px - 5.0, py),
            (px + 5.0, py),
            ink::TEXT,
            r#"stroke-width="1.2""#,
        );
        c.line(
            (px, py - 5.0),
            (px, py + 5.0),
            ink::TEXT,
            r#"stroke-width="1.2""#,
        );
    }
    c.end();
    let mut legend = bottom + 56.0;
    for (_, name, colour, _) in &shown {
        c.dot(27.0, legend - 4.0, colour);
        c.text(46.0, legend, "start", name, r#"font-size="12""#);
        legend += 19.0;
    }
    if !words.is_empty() {
        c.text(
            16.0,
            legend,
            "start",
            &shorten(words, 64),
            r#"font-size="12""#,
        );
    }
    c.finish(title)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::figure::{self_contained, well_formed};

    #[test]
    fn any_point_gives_a_sound_drawing() {
        let bad = vec![
            (f32::NAN, 0.0),
            (f32::INFINITY, 1.0),
            (0.7, -0.7),
            (1e30, 0.0),
        ];
        let k = Constellation {
            ideal: vec![(0.7, 0.7), (f32::NAN, 0.0)],
            header: bad.clone(),
            pilots: Vec::new(),
            payload: bad,
        };
        let svg = constellation("a <b>", &k, "MER & \"more\"");
        well_formed(&svg).unwrap();
        self_contained(&svg).unwrap();
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
        // One dot of each kind stands within the frame.
        assert_eq!(svg.matches("h.01").count(), 2);
        assert!(!svg.contains("pilots"));
        well_formed(&constellation("", &Constellation::default(), "")).unwrap();
    }
}
