//! A figure over two dimensions as shaded cells, with the floor of its valley.

use super::canvas::{Axis, Canvas, WIDTH, ink, minus, usable};
use super::markup::shorten;
use slantpath_quantity::show::{fixed, significant};
use std::fmt::Write as _;

/// Values over a raster.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MapFigure {
    /// Name with unit of what is across.
    pub x_name: String,
    /// Name with unit of what is upwards.
    pub y_name: String,
    /// Name with unit of the value.
    pub value_name: String,
    /// Rising values across, one for each column.
    pub xs: Vec<f64>,
    /// Rising values upwards, one for each row.
    pub ys: Vec<f64>,
    /// Values row by row; `None` where there is none.
    pub values: Vec<Option<f64>>,
    /// The floor of the valley, as points.
    pub valley: Vec<(f64, f64)>,
    /// A place to mark.
    pub mark: Option<(f64, f64, String)>,
}

/// Shades of the scale beside the map.
const SHADES: usize = 6;

/// Cells shaded by value, stronger is more; hover text gives each value. A cell without a value is left open with a cross.
pub fn map(title: &str, m: &MapFigure) -> String {
    let (nx, ny) = (m.xs.len(), m.ys.len());
    let sound = nx >= 2
        && ny >= 2
        && m.values.len() == nx * ny
        && m.xs.iter().chain(&m.ys).all(|v| usable(*v))
        && m.xs.windows(2).chain(m.ys.windows(2)).all(|w| w[1] > w[0]);
    if !sound {
        let mut c = Canvas::new(60.0);
        c.text(12.0, 36.0, "start", "undetermined", "");
        return c.finish(title);
    }
    let (left, right, top, bottom) = (50.0, WIDTH - 12.0, 30.0, 290.0);
    let mut c = Canvas::new(bottom + 118.0);
    let half = |v: &[f64]| 0.5 * (v[v.len() - 1] - v[0]) / (v.len() - 1) as f64;
    let (hx, hy) = (half(&m.xs), half(&m.ys));
    let ends = |v: &[f64], h: f64| [v[0] - h, v[v.len() - 1] + h];
    let x = Axis::over(ends(&m.xs, hx), left, right, 0.0);
    let y = Axis::over(ends(&m.ys, hy), bottom, top, 0.0);
    let known = m.values.iter().flatten().copied().filter(|v| usable(*v));
    let (lo, hi) = known.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| {
        (a.min(v), b.max(v))
    });
    let span = if hi > lo { hi - lo } else { 1.0 };
    let shade = |v: f64| 0.06 + 0.84 * ((v - lo) / span).clamp(0.0, 1.0);
    for (j, &b) in m.ys.iter().enumerate() {
        for (i, &a) in m.xs.iter().enumerate() {
            let (x0, x1) = (x.at(a - hx), x.at(a + hx));
            let (y0, y1) = (y.at(b + hy), y.at(b - hy));
            let place = format!(
                "{}, {}",
                minus(&significant(a, 3)),
                minus(&significant(b, 3))
            );
            match m.values.get(j * nx + i).copied().flatten() {
                Some(v) if usable(v) => {
                    c.group(&format!("{place}: {}", minus(&fixed(v, 2))));
                    c.rect(
                        x0,
                        y0,
                        x1 - x0,
                        y1 - y0,
                        ink::A,
                        &format!(
                            r#"fill-opacity="{:.2}" shape-rendering="crispEdges""#,
                            shade(v)
                        ),
                    );
                    c.end();
                }
                _ => {
                    c.group(&format!("{place}: none"));
                    c.line((x0, y0), (x1, y1), ink::TEXT, r#"stroke-opacity="0.3""#);
                    c.end();
                }
            }
        }
    }
    x.draw_below(&mut c, bottom, bottom, 6.0, &m.x_name);
    y.draw_left(&mut c, left, left, 6.0, &m.y_name);
    let mut d = String::new();
    for (i, p) in m
        .valley
        .iter()
        .filter(|p| usable(p.0) && usable(p.1))
        .enumerate()
    {
        let pen = if i == 0 { 'M' } else { 'L' };
        let _ = write!(d, "{pen}{:.1} {:.1}", x.within(p.0), y.within(p.1));
    }
    c.group("floor of the valley");
    c.path(&d, ink::B, r#"stroke-width="2" stroke-dasharray="6 3""#);
    c.end();
    if let Some((a, b, _)) = m.mark.as_ref().filter(|p| usable(p.0) && usable(p.1)) {
        c.diamond(x.within(*a), y.within(*b), ink::B);
    }
    scale(&mut c, bottom + 48.0, (lo, hi), &m.value_name, &shade);
    let told = match &m.mark {
        Some((_, _, text)) => format!("dashed: floor of the valley; diamond: {text}"),
        None => "dashed: floor of the valley".to_string(),
    };
    c.text(
        12.0,
        bottom + 108.0,
        "start",
        &shorten(&told, 66),
        r#"font-size="12""#,
    );
    c.finish(title)
}

fn scale(c: &mut Canvas, y: f64, (lo, hi): (f64, f64), name: &str, shade: &dyn Fn(f64) -> f64) {
    let width = (WIDTH - 24.0) / SHADES as f64;
    c.text(12.0, y + 2.0, "start", name, r#"font-size="12""#);
    if !(usable(lo) && usable(hi)) {
        return;
    }
    for i in 0..SHADES {
        let v = lo + (hi - lo) * i as f64 / (SHADES - 1) as f64;
        let x = 12.0 + width * i as f64;
        c.rect(
            x,
            y + 8.0,
            width,
            14.0,
            ink::A,
            &format!(r#"fill-opacity="{:.2}""#, shade(v)),
        );
        c.text(
            x + 0.5 * width,
            y + 37.0,
            "middle",
            &minus(&fixed(v, 2)),
            r#"font-size="12""#,
        );
    }
}
