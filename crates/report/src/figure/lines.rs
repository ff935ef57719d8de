//! Curves over one axis with marked points: an amplifier's curve, a temperature against time.

use super::canvas::{Axis, Canvas, WIDTH, ink, minus, usable};
use super::markup::shorten;
use slantpath_quantity::show::significant;
use std::fmt::Write as _;

/// Curves (label and points) with marked points and a level that should not be passed.
///
/// The first curve is solid, the second dashed; marks are numbered dots whose words stand below the drawing.
pub fn lines(
    title: &str,
    x_name: &str,
    y_name: &str,
    curves: &[(String, Vec<(f64, f64)>)],
    marks: &[(f64, f64, String)],
    limit: Option<(f64, String)>,
) -> String {
    let good = |p: &&(f64, f64)| usable(p.0) && usable(p.1);
    let marks: Vec<_> = marks
        .iter()
        .filter(|m| usable(m.0) && usable(m.1))
        .collect();
    let limit = limit.filter(|l| usable(l.0));
    let all = || curves.iter().flat_map(|c| c.1.iter().filter(good));
    let (left, right, top, bottom) = (48.0, WIDTH - 12.0, 30.0, 240.0);
    let rows = curves.len() + marks.len() + usize::from(limit.is_some());
    let mut c = Canvas::new(bottom + 50.0 + 19.0 * rows as f64);
    let x = Axis::over(
        all().map(|p| p.0).chain(marks.iter().map(|m| m.0)),
        left,
        right,
        0.02,
    );
    let y = Axis::over(
        all()
            .map(|p| p.1)
            .chain(marks.iter().map(|m| m.1))
            .chain(limit.iter().map(|l| l.0)),
        bottom,
        top,
        0.06,
    );
    x.draw_below(&mut c, bottom, top, 6.0, x_name);
    y.draw_left(&mut c, left, right, 5.0, y_name);
    let named: Vec<(&str, &[(f64, f64)])> = curves
        .iter()
        .map(|(n, p)| (n.as_str(), p.as_slice()))
        .collect();
    c.readings(&x, (top, bottom), &named, |at, values| {
        let told: Vec<String> = values
            .iter()
            .map(|(n, v)| format!("{n} {}", minus(&significant(*v, 3))))
            .collect();
        format!(
            "{x_name} {}: {} ({y_name})",
            minus(&significant(at, 3)),
            told.join(", ")
        )
    });
    let mut legend = bottom + 56.0;
    for (i, (label, points)) in curves.iter().enumerate() {
        let (colour, dash) = match i {
            0 => (ink::A, r#"stroke-width="2""#),
            _ => (ink::B, r#"stroke-width="2" stroke-dasharray="7 4""#),
        };
        let mut d = String::new();
        let mut pen = 'M';
        for p in points {
            if good(&p) {
                let _ = write!(d, "{pen}{:.1} {:.1}", x.at(p.0), y.at(p.1));
                pen = 'L';
            } else {
                pen = 'M';
            }
        }
        c.group(label);
        c.path(&d, colour, dash);
        c.end();
        c.line((16.0, legend - 4.0), (38.0, legend - 4.0), colour, dash);
        c.text(
            46.0,
            legend,
            "start",
            &shorten(label, 56),
            r#"font-size="12""#,
        );
        legend += 19.0;
    }
    if let Some((level, label)) = &limit {
        let at = y.at(*level);
        c.group(label);
        c.line(
            (left, at),
            (right, at),
            ink::B,
            r#"stroke-width="1.4" stroke-dasharray="2 3""#,
        );
        c.end();
        c.line(
            (16.0, legend - 4.0),
            (38.0, legend - 4.0),
            ink::B,
            r#"stroke-width="1.4" stroke-dasharray="2 3""#,
        );
        c.text(
            46.0,
            legend,
            "start",
            &shorten(label, 56),
            r#"font-size="12""#,
        );
        legend += 19.0;
    }
    for (i, (mx, my, label)) in marks.iter().enumerate() {
        c.group(&format!(
            "{label}: {}, {}",
            minus(&significant(*mx, 4)),
            minus(&significant(*my, 4))
        ));
        c.dot(x.at(*mx), y.at(*my), ink::B);
        c.text(
            x.at(*mx) - 8.0,
            y.at(*my) - 8.0,
            "end",
            &format!("{}", i + 1),
            r#"font-size="12" font-weight="600""#,
        );
        c.end();
        c.text(
            27.0,
            legend,
            "middle",
            &format!("{}", i + 1),
            r#"font-size="12" font-weight="600""#,
        );
        c.text(
            46.0,
            legend,
            "start",
            &shorten(label, 56),
            r#"font-size="12""#,
        );
        legend += 19.0;
    }
    c.finish(title)
}
