//! Where the noise comes from.

use super::canvas::{Axis, Canvas, WIDTH, ink, minus, usable};
use super::markup::shorten;
use slantpath_quantity::show::value_and_u;

/// The noise ledger as horizontal bars: label, noise temperature in K, its standard uncertainty in K, in the order
/// given. A line without a finite value is named and left without a bar.
pub fn ledger(title: &str, lines: &[(String, f64, f64)]) -> String {
    const ROW: f64 = 38.0;
    let top = 6.0;
    let bottom = top + ROW * lines.len().max(1) as f64;
    let mut c = Canvas::new(bottom + 44.0);
    let spread = |u: f64| if usable(u) && u > 0.0 { u } else { 0.0 };
    let ends = lines
        .iter()
        .filter(|l| usable(l.1))
        .flat_map(|(_, k, u)| [k - spread(*u), k + spread(*u)])
        .chain([0.0]);
    let x = Axis::over(ends, 12.0, WIDTH - 12.0, 0.0);
    x.draw_below(
        &mut c,
        bottom,
        top,
        6.0,
        "noise temperature, K (whisker: one standard uncertainty)",
    );
    let zero = x.at(0.0);
    for (i, (label, k, u)) in lines.iter().enumerate() {
        let y = top + ROW * i as f64;
        let figure = if usable(*k) {
            let (v, du) = value_and_u(*k, spread(*u));
            if spread(*u) > 0.0 {
                format!("{} ± {du} K", minus(&v))
            } else {
                format!("{} K", minus(&v))
            }
        } else {
            "undetermined".to_string()
        };
        c.group(&format!("{label}: {figure}"));
        c.text(17.0, y + 13.0, "start", &shorten(label, 42), "");
        c.text(WIDTH - 12.0, y + 13.0, "end", &figure, "");
        if usable(*k) {
            let end = x.at(*k);
            let (left, width) = (zero.min(end), (end - zero).abs());
            c.rect(
                left,
                y + 18.0,
                width,
                13.0,
                ink::A,
                r#"fill-opacity="0.75""#,
            );
            if spread(*u) > 0.0 {
                let (lo, hi) = (x.at(k - spread(*u)), x.at(k + spread(*u)));
                c.whisker(lo, hi, y + 24.5, ink::TEXT);
            }
        }
        c.end();
    }
    c.line((zero, top), (zero, bottom), ink::TEXT, "");
    c.finish(title)
}
