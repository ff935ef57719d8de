//! A cross-section to scale: a dish with its feed and rays, or a feed close by.

use super::canvas::{Canvas, WIDTH, ink, minus, usable};
use super::markup::shorten;
use slantpath_quantity::show::fixed;
use std::fmt::Write as _;

/// How an outline is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stroke {
    /// Metal, seen or cut.
    Metal,
    /// A winding or another part that matters.
    Wire,
    /// A ray.
    Ray,
    /// An axis or a part that is hidden.
    Thin,
}

/// A line in the section's plane.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    /// Points, in the section's unit.
    pub points: Vec<(f64, f64)>,
    /// How it is drawn.
    pub stroke: Stroke,
    /// What it is, for the hover text.
    pub label: String,
}

/// A cross-section: lines and named places in one plane, both axes alike.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct CrossSection {
    /// Lines, drawn in order.
    pub outlines: Vec<Outline>,
    /// Named places, numbered in the drawing and told below it.
    pub places: Vec<(f64, f64, String)>,
    /// Unit of both axes.
    pub unit: String,
    /// Sentences below the drawing.
    pub notes: Vec<String>,
}

/// Draws to one scale in both directions, with a grid in round figures.
pub fn cross_section(title: &str, s: &CrossSection) -> String {
    let good = |p: &(f64, f64)| usable(p.0) && usable(p.1);
    let places: Vec<_> = s.places.iter().filter(|p| good(&(p.0, p.1))).collect();
    let all = || {
        s.outlines
            .iter()
            .flat_map(|o| o.points.iter().copied())
            .filter(good)
            .chain(places.iter().map(|p| (p.0, p.1)))
    };
    let rows = places.len() + s.notes.len();
    let (left, right, top) = (46.0, WIDTH - 12.0, 26.0);
    let range = |get: &dyn Fn((f64, f64)) -> f64| {
        all()
            .map(get)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), x| {
                (a.min(x), b.max(x))
            })
    };
    let ((x0, x1), (y0, y1)) = (range(&|p| p.0), range(&|p| p.1));
    if all().next().is_none() || !(x1 - x0).max(y1 - y0).is_normal() {
        let mut c = Canvas::new(60.0);
        c.text(12.0, 36.0, "start", "undetermined", "");
        return c.finish(title);
    }
    // one scale for both, a height that a phone shows at once
    let margin = 0.05 * (x1 - x0).max(y1 - y0);
    let (x0, x1, y0, y1) = (x0 - margin, x1 + margin, y0 - margin, y1 + margin);
    let scale = ((right - left) / (x1 - x0)).min(320.0 / (y1 - y0));
    let height = (y1 - y0) * scale;
    let bottom = top + height;
    let slack = 0.5 * ((right - left) - (x1 - x0) * scale);
    let at = |p: (f64, f64)| {
        (
            left + slack + (p.0 - x0) * scale,
            bottom - (p.1 - y0) * scale,
        )
    };
    let mut c = Canvas::new(bottom + 44.0 + 18.0 * rows as f64);
    grid(&mut c, (x0, x1), (y0, y1), scale, &at, &s.unit);
    for o in &s.outlines {
        let mut d = String::new();
        let mut pen = 'M';
        for p in &o.points {
            if good(p) {
                let (x, y) = at(*p);
                let _ = write!(d, "{pen}{x:.1} {y:.1}");
                pen = 'L';
            } else {
                pen = 'M';
            }
        }
        let (colour, extra) = match o.stroke {
            Stroke::Metal => (ink::TEXT, r#"stroke-width="2.4" stroke-linejoin="round""#),
            Stroke::Wire => (ink::B, r#"stroke-width="2.2" stroke-linejoin="round""#),
            Stroke::Ray => (ink::A, r#"stroke-width="1.2""#),
            Stroke::Thin => (
                ink::TEXT,
                r#"stroke-width="1" stroke-opacity="0.6" stroke-dasharray="5 4""#,
            ),
        };
        c.group(&o.label);
        c.path(&d, colour, extra);
        c.end();
    }
    let mut y = bottom + 54.0;
    for (i, (px, py, text)) in places.iter().enumerate() {
        let (x, at_y) = at((*px, *py));
        c.group(text);
        c.rect(x - 2.5, at_y - 2.5, 5.0, 5.0, ink::B, "");
        c.text(
            x + 6.0,
            at_y - 5.0,
            "start",
            &format!("{}", i + 1),
            r#"font-size="12" font-weight="600""#,
        );
        c.end();
        c.text(
            12.0,
            y,
            "start",
            &shorten(&format!("{}  {text}", i + 1), 58),
            r#"font-size="12""#,
        );
        y += 18.0;
    }
    for n in &s.notes {
        c.text(12.0, y, "start", &shorten(n, 58), r#"font-size="12""#);
        y += 18.0;
    }
    c.finish(title)
}

/// Grid lines at 1, 2 or 5 times a power of ten, the same in both directions.
fn grid(
    c: &mut Canvas,
    (x0, x1): (f64, f64),
    (y0, y1): (f64, f64),
    scale: f64,
    at: &dyn Fn((f64, f64)) -> (f64, f64),
    unit: &str,
) {
    // lines no closer than 44 user units, so that figures fit between
    let raw = 44.0 / scale;
    let unit_step = 10f64.powf(raw.log10().floor());
    let step = unit_step
        * match raw / unit_step {
            r if r <= 1.0 => 1.0,
            r if r <= 2.0 => 2.0,
            r if r <= 5.0 => 5.0,
            _ => 10.0,
        };
    let places = (-(step.log10() + 1e-9).floor()).max(0.0) as i32;
    let values = |lo: f64, hi: f64| {
        let first = (lo / step).ceil();
        (0..24)
            .map(move |i| (first + f64::from(i)) * step)
            .take_while(move |v| *v <= hi + 1e-9 * step)
    };
    for v in values(x0, x1) {
        let (a, b) = (at((v, y0)), at((v, y1)));
        c.line(a, b, ink::TEXT, r#"stroke-opacity="0.15""#);
        c.text(
            a.0,
            a.1 + 16.0,
            "middle",
            &minus(&fixed(v, places)),
            r#"font-size="12""#,
        );
    }
    for v in values(y0, y1) {
        let (a, b) = (at((x0, v)), at((x1, v)));
        c.line(a, b, ink::TEXT, r#"stroke-opacity="0.15""#);
        c.text(
            a.0 - 5.0,
            a.1 + 4.0,
            "end",
            &minus(&fixed(v, places)),
            r#"font-size="12""#,
        );
    }
    let (a, b) = (at((x0, y0)), at((x1, y0)));
    c.text(
        0.5 * (a.0 + b.0),
        a.1 + 33.0,
        "middle",
        &format!("{unit}, to scale"),
        r#"font-size="12""#,
    );
}
