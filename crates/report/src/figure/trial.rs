//! The swap trial.

use super::canvas::{Axis, Canvas, WIDTH, ink, minus, usable};
use super::markup::shorten;
use slantpath_quantity::show::{decimals_for, fixed};

/// A swap trial: above, the values over time as (hours, value, true for side B), dots for A and open diamonds for B;
/// below, the difference B less A (in dB when `unit` is a level in decibels) with its interval `lo..hi` and the line of no difference.
pub fn trial(
    title: &str,
    points: &[(f64, f64, bool)],
    difference: f64,
    lo: f64,
    hi: f64,
    unit: &str,
) -> String {
    let (left, right, top, bottom) = (50.0, WIDTH - 12.0, 42.0, 210.0);
    let mut c = Canvas::new(348.0);
    let unit = shorten(unit, 16);
    // Two levels on one reference (dBHz, dBW, dB/K) differ by plain decibels.
    let between = if unit.starts_with("dB") { "dB" } else { &unit };
    let points: Vec<_> = points
        .iter()
        .filter(|p| usable(p.0) && usable(p.1))
        .collect();
    let x = Axis::over(points.iter().map(|p| p.0), left, right, 0.04);
    let y = Axis::over(points.iter().map(|p| p.1), bottom, top, 0.1);
    x.draw_below(
        &mut c,
        bottom,
        top,
        6.0,
        "time since the first recording, h",
    );
    y.draw_left(&mut c, left, right, 5.0, &format!("value, {unit}"));
    c.dot(250.0, 14.0, ink::A);
    c.text(260.0, 18.0, "start", "side A", r#"font-size="12""#);
    c.diamond(340.0, 14.0, ink::B);
    c.text(352.0, 18.0, "start", "side B", r#"font-size="12""#);
    for (h, v, b) in points {
        let side = if *b { "B" } else { "A" };
        c.group(&format!(
            "side {side}, {} h: {} {unit}",
            fixed(*h, 2),
            minus(&fixed(*v, 3))
        ));
        if *b {
            c.diamond(x.at(*h), y.at(*v), ink::B);
        } else {
            c.dot(x.at(*h), y.at(*v), ink::A);
        }
        c.end();
    }

    let (top, bottom) = (266.0, 308.0);
    let d = Axis::over([difference, lo, hi, 0.0], left, right, 0.08);
    d.draw_below(
        &mut c,
        bottom,
        top,
        6.0,
        &format!("difference B less A, {between}, with its interval"),
    );
    let zero = d.at(0.0);
    c.group("no difference");
    c.line(
        (zero, top - 4.0),
        (zero, bottom),
        ink::TEXT,
        r#"stroke-width="1.6" stroke-dasharray="3 3""#,
    );
    c.end();
    let (side, anchor) = if zero > 0.5 * (left + right) {
        (-5.0, "end")
    } else {
        (5.0, "start")
    };
    c.text(
        zero + side,
        top + 4.0,
        anchor,
        "no difference",
        r#"font-size="11""#,
    );
    let middle = 0.5 * (top + bottom);
    if usable(difference) && usable(lo) && usable(hi) {
        let places = decimals_for(0.25 * (hi - lo)).unwrap_or(2);
        let shown = |v: f64| minus(&fixed(v, places));
        c.group(&format!(
            "difference {} {between}, interval {} to {}",
            shown(difference),
            shown(lo),
            shown(hi)
        ));
        c.line(
            (d.at(lo), middle),
            (d.at(hi), middle),
            ink::B,
            r#"stroke-width="5" stroke-opacity="0.35""#,
        );
        c.whisker(d.at(lo), d.at(hi), middle, ink::B);
        c.dot(d.at(difference), middle, ink::B);
        c.end();
    } else {
        c.text(left + 6.0, middle + 4.0, "start", "undetermined", "");
    }
    c.finish(title)
}
