//! A small drawing surface and its axes.

use super::markup::escape;
use slantpath_quantity::show::fixed;
use std::fmt::Write as _;

/// Width of every figure in user units: narrow enough that a phone shows the text at a readable size.
pub const WIDTH: f64 = 460.0;

/// Colours are variables of the page, with a fallback for a figure that stands alone. Text takes the page's ink.
pub mod ink {
    /// First series.
    pub const A: &str = "var(--fig-a,#1b6a86)";
    /// Second series.
    pub const B: &str = "var(--fig-b,#b3591a)";
    /// Windows behind a curve.
    pub const BAND: &str = "var(--fig-band,#8a8f45)";
    /// Whatever is drawn in the colour of the text.
    pub const TEXT: &str = "currentColor";
}

/// Numbers that can be drawn: finite, and far enough from overflow that differences stay finite.
pub fn usable(x: f64) -> bool {
    x.is_finite() && x.abs() < 1e100
}

/// SVG under construction.
pub struct Canvas {
    out: String,
    height: f64,
}

impl Canvas {
    pub fn new(height: f64) -> Self {
        Self {
            out: String::new(),
            height,
        }
    }

    pub fn line(&mut self, from: (f64, f64), to: (f64, f64), colour: &str, extra: &str) {
        let _ = write!(
            self.out,
            r#"<line x1="{:.1}" y1="{:.1}" x2="{:.1}" y2="{:.1}" stroke="{colour}"{}{extra}/>"#,
            from.0,
            from.1,
            to.0,
            to.1,
            if extra.is_empty() { "" } else { " " },
        );
    }

    pub fn rect(&mut self, x: f64, y: f64, w: f64, h: f64, colour: &str, extra: &str) {
        let _ = write!(
            self.out,
            r#"<rect x="{x:.1}" y="{y:.1}" width="{:.1}" height="{:.1}" fill="{colour}"{}{extra}/>"#,
            w.max(0.0),
            h.max(0.0),
            if extra.is_empty() { "" } else { " " },
        );
    }

    pub fn dot(&mut self, x: f64, y: f64, colour: &str) {
        let _ = write!(
            self.out,
            r#"<circle cx="{x:.1}" cy="{y:.1}" r="4.5" fill="{colour}"/>"#
        );
    }

    /// An open diamond: told from a dot without colour.
    pub fn diamond(&mut self, x: f64, y: f64, colour: &str) {
        let _ = write!(
            self.out,
            r#"<path d="M{:.1} {y:.1}L{x:.1} {:.1}L{:.1} {y:.1}L{x:.1} {:.1}Z" fill="none" stroke="{colour}" stroke-width="2"/>"#,
            x - 6.0,
            y - 6.0,
            x + 6.0,
            y + 6.0,
        );
    }

    pub fn path(&mut self, d: &str, colour: &str, extra: &str) {
        if !d.is_empty() {
            let _ = write!(
                self.out,
                r#"<path d="{d}" fill="none" stroke="{colour}"{}{extra}/>"#,
                if extra.is_empty() { "" } else { " " },
            );
        }
    }

    /// A bar with ends, from `x0` to `x1` at height `y`.
    pub fn whisker(&mut self, x0: f64, x1: f64, y: f64, colour: &str) {
        self.line((x0, y), (x1, y), colour, r#"stroke-width="1.6""#);
        for x in [x0, x1] {
            self.line((x, y - 4.0), (x, y + 4.0), colour, r#"stroke-width="1.6""#);
        }
    }

    /// `anchor` is `start`, `middle` or `end`. The text is escaped here.
    pub fn text(&mut self, x: f64, y: f64, anchor: &str, text: &str, extra: &str) {
        let _ = write!(
            self.out,
            r#"<text x="{x:.1}" y="{y:.1}" text-anchor="{anchor}"{}{extra}>{}</text>"#,
            if extra.is_empty() { "" } else { " " },
            escape(text),
        );
    }

    /// Opens a group whose hover text is `title`; closed by [`Canvas::end`].
    pub fn group(&mut self, title: &str) {
        let _ = write!(self.out, "<g><title>{}</title>", escape(title));
    }

    /// Unseen strips over a frame, each with the values of the curves there as hover text: `say` makes it from the value
    /// across and the curves' names with their values. Drawn first, so that marks keep their own.
    pub fn readings(
        &mut self,
        x: &Axis,
        (top, bottom): (f64, f64),
        curves: &[(&str, &[(f64, f64)])],
        say: impl Fn(f64, &[(&str, f64)]) -> String,
    ) {
        const STRIPS: usize = 32;
        let step = (x.hi - x.lo) / STRIPS as f64;
        for i in 0..STRIPS {
            let at = x.lo + step * (i as f64 + 0.5);
            let near: Vec<(&str, (f64, f64))> = curves
                .iter()
                .filter_map(|(name, points)| {
                    points
                        .iter()
                        .filter(|p| usable(p.0) && usable(p.1) && (p.0 - at).abs() <= 0.75 * step)
                        .min_by(|a, b| (a.0 - at).abs().total_cmp(&(b.0 - at).abs()))
                        .map(|p| (*name, *p))
                })
                .collect();
            let Some((_, (first, _))) = near.first() else {
                continue;
            };
            let values: Vec<(&str, f64)> = near.iter().map(|(n, p)| (*n, p.1)).collect();
            self.group(&say(*first, &values));
            let (a, b) = (x.at(at - 0.5 * step), x.at(at + 0.5 * step));
            self.rect(
                a.min(b),
                top,
                (b - a).abs(),
                bottom - top,
                "transparent",
                "",
            );
            self.end();
        }
    }

    pub fn end(&mut self) {
        self.out.push_str("</g>");
    }

    pub fn finish(self, title: &str) -> String {
        let title = escape(title);
        format!(
            concat!(
                r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w:.0} {h:.0}" role="img" aria-label="{t}" "#,
                r#"font-family="system-ui,sans-serif" font-size="13" fill="currentColor">"#,
                "<title>{t}</title>{body}</svg>"
            ),
            w = WIDTH,
            h = self.height,
            t = title,
            body = self.out,
        )
    }
}

/// A straight scale from values to user units, with its ticks.
pub struct Axis {
    lo: f64,
    hi: f64,
    from: f64,
    to: f64,
}

impl Axis {
    /// Scale over the usable values; `from` and `to` are where its ends lie. Without any value: 0 to 1.
    pub fn over(values: impl IntoIterator<Item = f64>, from: f64, to: f64, margin: f64) -> Self {
        let (mut lo, mut hi) = (f64::INFINITY, f64::NEG_INFINITY);
        for v in values.into_iter().filter(|v| usable(*v)) {
            lo = lo.min(v);
            hi = hi.max(v);
        }
        if lo > hi {
            (lo, hi) = (0.0, 1.0);
        }
        // A width that the ticks can still tell apart in double precision.
        let least = (lo.abs().max(hi.abs()) * 1e-9).max(1e-90);
        if hi - lo < least {
            let pad = if lo.abs().max(hi.abs()) < 1e-80 {
                1.0
            } else {
                lo.abs().max(hi.abs()) * 0.05
            };
            lo -= pad;
            hi += pad;
        }
        let pad = (hi - lo) * margin;
        Self {
            lo: lo - pad,
            hi: hi + pad,
            from,
            to,
        }
    }

    pub fn at(&self, v: f64) -> f64 {
        self.from + (v - self.lo) / (self.hi - self.lo) * (self.to - self.from)
    }

    /// As [`Axis::at`], held to the ends of the scale: for windows and whiskers that reach beyond the drawing.
    pub fn within(&self, v: f64) -> f64 {
        self.at(v.clamp(self.lo, self.hi))
    }

    /// Round values 1, 2 or 5 times a power of ten apart, about `n` of them, with their labels.
    pub fn ticks(&self, n: f64) -> Vec<(f64, String)> {
        let raw = (self.hi - self.lo) / n;
        let decade = raw.log10().floor();
        let unit = 10f64.powf(decade);
        let step = unit
            * match raw / unit {
                r if r <= 1.0 => 1.0,
                r if r <= 2.0 => 2.0,
                r if r <= 5.0 => 5.0,
                _ => 10.0,
            };
        let places = (-(step.log10() + 1e-9).floor()).max(0.0);
        let plain = self.lo.abs().max(self.hi.abs()) < 1e7 && places <= 6.0;
        let first = (self.lo / step).ceil();
        (0..16)
            .map(|i| (first + f64::from(i)) * step)
            .take_while(|v| *v <= self.hi + step * 1e-6)
            .map(|v| {
                let label = if plain {
                    fixed(v, places as i32)
                } else {
                    format!("{v:.2e}")
                };
                (v, minus(&label))
            })
            .collect()
    }

    /// Horizontal axis at height `y`; grid lines rise to `top`.
    pub fn draw_below(&self, c: &mut Canvas, y: f64, top: f64, n: f64, name: &str) {
        for (v, label) in self.ticks(n) {
            let x = self.at(v);
            c.line((x, top), (x, y), ink::TEXT, r#"stroke-opacity="0.15""#);
            c.line((x, y), (x, y + 4.0), ink::TEXT, "");
            c.text(x, y + 17.0, "middle", &label, r#"font-size="12""#);
        }
        c.line((self.from, y), (self.to, y), ink::TEXT, "");
        c.text(
            0.5 * (self.from + self.to),
            y + 34.0,
            "middle",
            name,
            r#"font-size="12""#,
        );
    }

    /// Vertical axis at `x`; grid lines run to `right`. The name stands above it.
    pub fn draw_left(&self, c: &mut Canvas, x: f64, right: f64, n: f64, name: &str) {
        for (v, label) in self.ticks(n) {
            let y = self.at(v);
            c.line((x, y), (right, y), ink::TEXT, r#"stroke-opacity="0.15""#);
            c.text(x - 5.0, y + 4.0, "end", &label, r#"font-size="12""#);
        }
        c.line((x, self.from), (x, self.to), ink::TEXT, "");
        c.text(2.0, self.to - 9.0, "start", name, r#"font-size="12""#);
    }
}

/// A true minus sign.
pub fn minus(text: &str) -> String {
    text.replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_few_over_any_range() {
        let labels = |lo, hi| {
            Axis::over([lo, hi], 0.0, 100.0, 0.0)
                .ticks(5.0)
                .into_iter()
                .map(|t| t.1)
                .collect::<Vec<_>>()
        };
        assert_eq!(labels(0.0, 10.0), ["0", "2", "4", "6", "8", "10"]);
        assert_eq!(labels(-0.2, 0.2), ["−0.2", "−0.1", "0.0", "0.1", "0.2"]);
        for (lo, hi) in [
            (0.0, 0.0),
            (f64::NAN, f64::INFINITY),
            (1e99, 1e99),
            (-9e99, 9e99),
            (1e-300, 2e-300),
            (1e9, 1e9 + 1e-6),
            (0.0, 5e-324),
            (5e-324, 1.0),
        ] {
            let t = Axis::over([lo, hi], 0.0, 100.0, 0.1).ticks(5.0);
            assert!((1..=16).contains(&t.len()), "{lo} {hi}: {t:?}");
            assert!(
                t.iter().all(|(v, s)| v.is_finite() && s.len() < 12),
                "{t:?}"
            );
        }
    }
}
