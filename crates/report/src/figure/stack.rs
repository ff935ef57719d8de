//! What an ideal aperture loses on its way to the real gain, part by part, for up to two bands.

use super::canvas::{Axis, Canvas, WIDTH, ink, minus, usable};
use super::markup::shorten;
use slantpath_quantity::show::fixed;

/// One band's losses by part, dB, in the order of the parts.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Stack {
    /// The band.
    pub label: String,
    /// Parts with their losses, dB.
    pub parts: Vec<(String, f64)>,
}

/// Bars for every part that any band has, first band solid, second open; below them the sums.
pub fn efficiency_stack(title: &str, bands: &[Stack]) -> String {
    const ROW: f64 = 42.0;
    let bands = &bands[..bands.len().min(2)];
    let mut names: Vec<&str> = Vec::new();
    for (name, _) in bands.iter().flat_map(|b| &b.parts) {
        if !names.contains(&name.as_str()) {
            names.push(name);
        }
    }
    let value = |b: &Stack, name: &str| {
        b.parts
            .iter()
            .find(|p| p.0 == name)
            .map(|p| p.1)
            .filter(|v| usable(*v))
    };
    let (top, head) = (8.0, 20.0 * bands.len() as f64);
    let bottom = top + head + ROW * names.len().max(1) as f64;
    let mut c = Canvas::new(bottom + 44.0);
    let all = bands.iter().flat_map(|b| b.parts.iter().map(|p| p.1));
    let x = Axis::over(all.chain([0.0]), 12.0, WIDTH - 12.0, 0.0);
    for (i, b) in bands.iter().enumerate() {
        let y = top + 20.0 * i as f64;
        key(&mut c, 12.0, y, i);
        let sum: f64 = b.parts.iter().map(|p| p.1).filter(|v| usable(*v)).sum();
        c.text(34.0, y + 11.0, "start", &shorten(&b.label, 40), "");
        c.text(
            WIDTH - 12.0,
            y + 11.0,
            "end",
            &format!("{} dB in all", minus(&fixed(sum, 2))),
            "",
        );
    }
    x.draw_below(&mut c, bottom, top + head, 6.0, "loss, dB");
    let zero = x.at(0.0);
    for (i, name) in names.iter().enumerate() {
        let y = top + head + ROW * i as f64;
        let told: Vec<String> = bands
            .iter()
            .map(|b| value(b, name).map_or_else(|| "none".into(), |v| minus(&fixed(v, 2))))
            .collect();
        c.group(&format!("{name}: {} dB", told.join(" and ")));
        c.text(17.0, y + 15.0, "start", &shorten(name, 36), "");
        c.text(
            WIDTH - 12.0,
            y + 15.0,
            "end",
            &format!("{} dB", told.join(" | ")),
            "",
        );
        for (k, b) in bands.iter().enumerate() {
            if let Some(v) = value(b, name) {
                let end = x.at(v);
                bar(
                    &mut c,
                    zero.min(end),
                    y + 19.0 + 9.0 * k as f64,
                    (end - zero).abs(),
                    k,
                );
            }
        }
        c.end();
    }
    c.line((zero, top + head), (zero, bottom), ink::TEXT, "");
    c.finish(title)
}

fn bar(c: &mut Canvas, x: f64, y: f64, width: f64, k: usize) {
    if k == 0 {
        c.rect(x, y, width, 7.0, ink::A, r#"fill-opacity="0.75""#);
    } else {
        c.rect(
            x,
            y + 0.5,
            width,
            6.0,
            "none",
            &format!(r#"stroke="{}" stroke-width="1.5""#, ink::B),
        );
    }
}

fn key(c: &mut Canvas, x: f64, y: f64, k: usize) {
    bar(c, x, y + 3.0, 16.0, k);
}
