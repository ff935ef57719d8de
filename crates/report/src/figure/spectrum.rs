//! Power spectral density with what was fitted to it.

use super::canvas::{Axis, Canvas, WIDTH, ink, minus, usable};
use super::markup::shorten;
use slantpath_quantity::show::{fixed, significant};
use std::fmt::Write as _;

const LEFT: f64 = 46.0;
const RIGHT: f64 = WIDTH - 10.0;

/// How frequencies are written: divisor, unit, and the frequency that the scale counts from (Hz).
fn scale(lo: f64, hi: f64) -> (f64, &'static str, f64) {
    let span = hi - lo;
    let reach = lo.abs().max(hi.abs());
    let (unit, name) = match span {
        s if s >= 2e6 => (1e6, "MHz"),
        s if s >= 2e3 => (1e3, "kHz"),
        _ => (1.0, "Hz"),
    };
    // Labels of more than four figures before the step of the scale are hard to read: count from the centre instead.
    let centre = if reach / unit >= 1e4 || reach > 50.0 * span {
        (0.5 * (lo + hi) / unit).round() * unit
    } else {
        0.0
    };
    (unit, name, centre)
}

/// Path through the points, broken where a value is missing. More points than the drawing can show are reduced to the
/// lowest and highest of each column, so that neither a spur nor a notch is lost.
fn curve(points: &[(f64, f64)], x: &Axis, y: &Axis) -> String {
    const COLUMNS: usize = 500;
    let mut d = String::new();
    let mut pen_down = false;
    let mut step = |to: Option<(f64, f64)>, d: &mut String| match to {
        Some((f, p)) => {
            let letter = if pen_down { 'L' } else { 'M' };
            let _ = write!(d, "{letter}{:.1} {:.1}", x.within(f), y.within(p));
            pen_down = true;
        }
        None => pen_down = false,
    };
    if points.len() <= 2 * COLUMNS {
        for (f, p) in points {
            step(usable(*p).then_some((*f, *p)), &mut d);
        }
        return d;
    }
    for column in points.chunks(points.len().div_ceil(COLUMNS)) {
        let shown = || column.iter().filter(|(_, p)| usable(*p));
        let low = shown().min_by(|a, b| a.1.total_cmp(&b.1));
        let high = shown().max_by(|a, b| a.1.total_cmp(&b.1));
        match (low, high) {
            (Some(a), Some(b)) => {
                let (a, b) = if a.0 <= b.0 { (a, b) } else { (b, a) };
                step(Some(*a), &mut d);
                step(Some(*b), &mut d);
            }
            _ => step(None, &mut d),
        }
    }
    d
}

fn sorted(f_hz: &[f64], values: &[f64]) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = f_hz
        .iter()
        .copied()
        .zip(values.iter().copied())
        .filter(|(f, _)| usable(*f))
        .collect();
    out.sort_by(|a, b| a.0.total_cmp(&b.0));
    out
}

/// Power spectral density: `f_hz` in Hz, `dbfs_per_hz` in dB relative to full scale in 1 Hz, one value each (what has
/// no partner is left out); a fit on the same frequencies; windows as (low Hz, high Hz, label), numbered in the drawing
/// and named below it.
pub fn spectrum(
    title: &str,
    f_hz: &[f64],
    dbfs_per_hz: &[f64],
    fit: Option<&[f64]>,
    marks: &[(f64, f64, String)],
) -> String {
    let data = sorted(f_hz, dbfs_per_hz);
    let model = sorted(f_hz, fit.unwrap_or_default());
    let (lo, hi) = (
        data.first().map_or(0.0, |p| p.0),
        data.last().map_or(1.0, |p| p.0),
    );
    // What lies beside the drawn frequencies is not in the drawing.
    let marks: Vec<_> = marks
        .iter()
        .filter(|m| usable(m.0) && usable(m.1))
        .filter(|m| m.0.max(m.1) >= lo && m.0.min(m.1) <= hi)
        .collect();
    let (top, bottom) = (42.0, 250.0);
    let mut legend_y = bottom + 58.0;
    let mut c = Canvas::new(legend_y + 19.0 * marks.len() as f64 + 6.0);

    let x = Axis::over(data.iter().map(|p| p.0), LEFT, RIGHT, 0.0);
    let y = Axis::over(data.iter().chain(&model).map(|p| p.1), bottom, top, 0.06);
    let (unit, name, centre) = scale(lo, hi);
    let written = |f: f64| fixed((f - centre) / unit, if unit > 1.0 { 3 } else { 0 });
    let shown = Axis::over(data.iter().map(|p| (p.0 - centre) / unit), LEFT, RIGHT, 0.0);
    let axis_name = if centre == 0.0 {
        format!("frequency, {name}")
    } else {
        format!(
            "frequency less {} MHz, {name}",
            significant(centre / 1e6, 10)
        )
    };
    let mut named = vec![("measured", data.as_slice())];
    if fit.is_some() {
        named.push(("fit", model.as_slice()));
    }
    c.readings(&x, (top, bottom), &named, |at, values| {
        let told: Vec<String> = values
            .iter()
            .map(|(n, v)| format!("{n} {}", minus(&fixed(*v, 1))))
            .collect();
        format!(
            "{axis_name} {}: {} dBFS/Hz",
            minus(&written(at)),
            told.join(", ")
        )
    });
    for (i, (a, b, label)) in marks.iter().enumerate() {
        let (a, b) = (a.min(*b), a.max(*b));
        let (xa, xb) = (x.within(a), x.within(b));
        c.group(&format!(
            "{label}: {} to {} {name}",
            minus(&written(a)),
            minus(&written(b))
        ));
        let width = (xb - xa).max(1.5);
        c.rect(
            xa,
            top,
            width,
            bottom - top,
            ink::BAND,
            r#"fill-opacity="0.22""#,
        );
        c.text(
            (xa + 0.5 * width).clamp(LEFT + 4.0, RIGHT - 4.0),
            // Bands inside one another have their numbers on three lines so that they do not touch.
            top + 12.0 + 13.0 * (i % 3) as f64,
            "middle",
            &format!("{}", i + 1),
            r#"font-size="12" font-weight="600""#,
        );
        c.end();
    }
    shown.draw_below(&mut c, bottom, top, 5.0, &axis_name);
    y.draw_left(&mut c, LEFT, RIGHT, 6.0, "power density, dBFS/Hz");
    c.group("measured");
    c.path(&curve(&data, &x, &y), ink::A, r#"stroke-width="1.1""#);
    c.end();
    c.line((250.0, 14.0), (274.0, 14.0), ink::A, r#"stroke-width="2""#);
    c.text(279.0, 18.0, "start", "measured", r#"font-size="12""#);
    if fit.is_some() {
        c.group("fit");
        c.path(
            &curve(&model, &x, &y),
            ink::B,
            r#"stroke-width="2" stroke-dasharray="7 4""#,
        );
        c.end();
        c.line(
            (360.0, 14.0),
            (384.0, 14.0),
            ink::B,
            r#"stroke-width="2" stroke-dasharray="7 4""#,
        );
        c.text(389.0, 18.0, "start", "fit", r#"font-size="12""#);
    }
    for (i, (_, _, label)) in marks.iter().enumerate() {
        let text = format!("{}  {}", i + 1, shorten(label, 60));
        c.text(LEFT, legend_y, "start", &text, r#"font-size="12""#);
        legend_y += 19.0;
    }
    c.finish(title)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_single_spur_survives_the_reduction() {
        let n = 40_000;
        let f: Vec<f64> = (0..n).map(f64::from).collect();
        let mut p = vec![-100.0; f.len()];
        p[12_345] = -20.0;
        let x = Axis::over(f.iter().copied(), 0.0, 400.0, 0.0);
        let y = Axis::over(p.iter().copied(), 200.0, 0.0, 0.0);
        let d = curve(&sorted(&f, &p), &x, &y);
        assert!(d.contains(" 0.0"), "the spur reaches the top");
        assert!(d.len() < 20_000, "{}", d.len());
    }

    #[test]
    fn frequencies_far_from_zero_count_from_the_centre() {
        let s = spectrum("t", &[10_489.5e6, 10_490.0e6], &[-90.0, -91.0], None, &[]);
        assert!(s.contains("frequency less 10489.75 MHz, kHz"), "{s}");
        let s = spectrum("t", &[-300e3, 300e3], &[-90.0, -91.0], None, &[]);
        assert!(s.contains("frequency, kHz") && s.contains("−200"), "{s}");
    }
}
