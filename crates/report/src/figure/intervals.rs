//! Prediction against measurement, every measurand on one scale.

use super::canvas::{Axis, Canvas, WIDTH, ink, minus, usable};
use super::markup::shorten;
use slantpath_quantity::show::{fixed, value_and_u};

/// One measurand, predicted and measured.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct IntervalRow {
    /// What a person calls it.
    pub label: String,
    /// Unit of all values, as written.
    pub unit: String,
    /// Predicted value and standard uncertainty.
    pub predicted: Option<(f64, f64)>,
    /// Measured value and standard uncertainty.
    pub measured: Option<(f64, f64)>,
    /// Standard uncertainty of measured less predicted, what both share taken out. Without it the two are taken as
    /// independent (GUM 5.1.2).
    pub u_difference: Option<f64>,
}

/// Coverage factor of the whiskers: 95 % of a normal distribution.
const K95: f64 = 1.959_963_984_540_054;

fn good(pair: Option<(f64, f64)>) -> Option<(f64, f64)> {
    pair.filter(|(v, u)| usable(*v) && usable(*u) && *u >= 0.0)
}

fn words(pair: Option<(f64, f64)>, unit: &str) -> String {
    match pair {
        Some((v, u)) if u > 0.0 => {
            let (v, u) = value_and_u(v, u);
            format!("{} ± {u} {unit}", minus(&v))
        }
        Some((v, _)) => format!("{} {unit}", minus(&value_and_u(v, 0.0).0)),
        None => "undetermined".to_string(),
    }
}

/// Values of a row in units of the difference's standard uncertainty, counted from the prediction:
/// (place of the measurement, reach of the prediction, reach of the measurement).
fn normalised(row: &IntervalRow) -> Option<(f64, f64, f64)> {
    let (p, up) = good(row.predicted)?;
    let (m, um) = good(row.measured)?;
    let u = row.u_difference.unwrap_or_else(|| up.hypot(um));
    if !(usable(u) && u > 0.0) {
        return None;
    }
    let out = ((m - p) / u, K95 * up / u, K95 * um / u);
    (usable(out.0) && usable(out.1) && usable(out.2)).then_some(out)
}

/// Prediction (dot at zero) and measurement (diamond) of each measurand with 95 % whiskers, in units of the standard
/// uncertainty of their difference; the shaded band is where 95 % of agreeing pairs lie. A place beyond ten is drawn at
/// the edge, its figure written out.
pub fn interval_table(title: &str, rows: &[IntervalRow]) -> String {
    const ROW: f64 = 66.0;
    const EDGE: f64 = 10.0;
    let top = 26.0;
    let bottom = top + ROW * rows.len().max(1) as f64;
    let mut c = Canvas::new(bottom + 44.0);
    let (left, right) = (12.0, WIDTH - 12.0);
    let ends = rows
        .iter()
        .filter_map(normalised)
        .flat_map(|(z, p, m)| [-p, p, z - m, z + m])
        .map(|v| v.clamp(-EDGE, EDGE))
        .chain([-3.0, 3.0]);
    let x = Axis::over(ends, left, right, 0.03);
    c.dot(18.0, 11.0, ink::A);
    c.text(28.0, 15.0, "start", "predicted", r#"font-size="12""#);
    c.diamond(118.0, 11.0, ink::B);
    c.text(130.0, 15.0, "start", "measured", r#"font-size="12""#);
    c.group("95 % of agreeing pairs lie here");
    let (a, b) = (x.at(-K95), x.at(K95));
    c.rect(
        a,
        top,
        b - a,
        bottom - top,
        ink::BAND,
        r#"fill-opacity="0.18""#,
    );
    c.end();
    x.draw_below(
        &mut c,
        bottom,
        top,
        7.0,
        "measured less predicted, in standard uncertainties of the difference",
    );
    for (i, row) in rows.iter().enumerate() {
        let y = top + ROW * i as f64;
        let unit = shorten(&row.unit, 12);
        let predicted = words(good(row.predicted), &unit);
        let measured = words(good(row.measured), &unit);
        c.group(&format!(
            "{}: predicted {predicted}, measured {measured}",
            row.label
        ));
        c.text(
            left,
            y + 15.0,
            "start",
            &shorten(&row.label, 50),
            r#"font-weight="600""#,
        );
        match normalised(row) {
            Some((z, p, m)) => {
                c.text(
                    right,
                    y + 15.0,
                    "end",
                    &minus(&format!(
                        "{}{}",
                        if z > 0.0 { "+" } else { "" },
                        fixed(z, 1)
                    )),
                    "",
                );
                c.whisker(x.within(-p), x.within(p), y + 32.0, ink::A);
                c.dot(x.at(0.0), y + 32.0, ink::A);
                c.whisker(x.within(z - m), x.within(z + m), y + 47.0, ink::B);
                c.diamond(x.within(z), y + 47.0, ink::B);
            }
            None => c.text(
                left,
                y + 38.0,
                "start",
                &format!("predicted {predicted}; measured {measured}"),
                r#"font-size="12""#,
            ),
        }
        c.end();
        c.line(
            (left, y + ROW - 4.0),
            (right, y + ROW - 4.0),
            ink::TEXT,
            r#"stroke-opacity="0.15""#,
        );
    }
    c.finish(title)
}
