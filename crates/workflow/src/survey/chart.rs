//! The sky chart: azimuth across, elevation up, centred on the satellite. Lines take the page's own colour, so that it
//! prints and works in the dark.

use slantpath_sky::body::PathPoint;
use slantpath_sky::{Direction, HorizonMask};
use std::fmt::Write;

const WIDTH: f64 = 720.0;
const LEFT: f64 = 40.0;
const TOP: f64 = 20.0;
/// Pixels per degree.
const X_SCALE: f64 = (WIDTH - LEFT - 10.0) / 360.0;
const Y_SCALE: f64 = 3.4;
/// Lowest elevation drawn, degrees.
const FLOOR_DEG: f64 = -10.0;

/// A Sun path with its name.
pub(super) struct SunPath<'a> {
    /// Named in the legend.
    pub name: String,
    /// Dash pattern, empty for a solid line.
    pub dash: &'a str,
    /// Points in time order.
    pub points: &'a [PathPoint],
}

/// What is drawn.
pub(super) struct Chart<'a> {
    /// The satellite's name and where it is seen.
    pub satellite: (&'a str, Direction),
    /// The skyline.
    pub mask: Option<&'a HorizonMask>,
    /// The Sun.
    pub suns: &'a [SunPath<'a>],
}

impl Chart<'_> {
    fn x(&self, az_deg: f64) -> f64 {
        let d = (az_deg - self.satellite.1.azimuth.as_deg() + 180.0).rem_euclid(360.0);
        LEFT + d * X_SCALE
    }

    fn y(el_deg: f64) -> f64 {
        TOP + (90.0 - el_deg) * Y_SCALE
    }

    /// The SVG text.
    pub(super) fn svg(&self) -> String {
        let bottom = Self::y(FLOOR_DEG);
        let height = bottom + 36.0 + 16.0 * (self.suns.len() + 1) as f64;
        let mut s = String::new();
        let _ = write!(
            s,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height:.0}\" role=\"img\" \
             font-family=\"sans-serif\" font-size=\"11\" fill=\"currentColor\" stroke=\"none\">\
             <title>Sky seen from the dish: satellite, horizon and Sun</title>"
        );
        self.grid(&mut s, bottom);
        self.skyline(&mut s, bottom);
        for sun in self.suns {
            self.sun(&mut s, sun);
        }
        self.mark(&mut s);
        self.legend(&mut s, bottom);
        s.push_str("</svg>");
        s
    }

    fn grid(&self, s: &mut String, bottom: f64) {
        let right = WIDTH - 10.0;
        for el in (0..=90).step_by(15).map(f64::from) {
            let y = Self::y(el);
            let strong = if el == 0.0 { 0.9 } else { 0.2 };
            let _ = write!(
                s,
                "<path d=\"M{LEFT} {y:.1}H{right}\" stroke=\"currentColor\" stroke-opacity=\"{strong}\" fill=\"none\"/>\
                 <text x=\"{:.0}\" y=\"{:.1}\" text-anchor=\"end\">{el}°</text>",
                LEFT - 4.0,
                y + 4.0
            );
        }
        let names = ["N", "NE", "E", "SE", "S", "SW", "W", "NW"];
        for (k, name) in names.iter().enumerate() {
            let az = 45.0 * k as f64;
            let x = self.x(az);
            let _ = write!(
                s,
                "<path d=\"M{x:.1} {TOP}V{bottom:.1}\" stroke=\"currentColor\" stroke-opacity=\"0.2\" fill=\"none\"/>\
                 <text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{name} {az}°</text>",
                bottom + 14.0
            );
        }
    }

    fn skyline(&self, s: &mut String, bottom: f64) {
        let Some(mask) = self.mask else { return };
        let centre = self.satellite.1.azimuth.as_deg();
        let mut d = format!("M{LEFT} {bottom:.1}");
        for k in 0..=180 {
            let off = 2.0 * f64::from(k);
            let az = slantpath_quantity::Angle::deg(centre - 180.0 + off);
            let el = mask.elevation_at(az).as_deg().max(FLOOR_DEG);
            let _ = write!(d, "L{:.1} {:.1}", LEFT + off * X_SCALE, Self::y(el));
        }
        let _ = write!(
            s,
            "<path d=\"{d}L{:.1} {bottom:.1}Z\" fill=\"currentColor\" fill-opacity=\"0.25\" stroke=\"currentColor\"/>",
            LEFT + 360.0 * X_SCALE
        );
    }

    fn sun(&self, s: &mut String, sun: &SunPath<'_>) {
        let mut d = String::new();
        let mut labels = String::new();
        let mut last: Option<f64> = None;
        for p in sun.points {
            let el = p.direction.elevation.as_deg();
            if el < FLOOR_DEG {
                last = None;
                continue;
            }
            let (x, y) = (self.x(p.direction.azimuth.as_deg()), Self::y(el));
            // A step across the chart's edge begins a new line.
            let draw = last.is_some_and(|l| (x - l).abs() < 90.0 * X_SCALE);
            let _ = write!(d, "{}{x:.1} {y:.1}", if draw { 'L' } else { 'M' });
            last = Some(x);
            let of_day = p.at.as_second().rem_euclid(86_400);
            if sun.dash.is_empty() && of_day % 7200 < 60 && el > 0.0 {
                let _ = write!(
                    labels,
                    "<g><title>Sun at {:02} UTC: azimuth {:.0}°, elevation {el:.0}°</title>\
                     <circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"2\"/><text x=\"{x:.1}\" y=\"{:.1}\" \
                     text-anchor=\"middle\" font-size=\"9\">{:02}h</text></g>",
                    of_day / 3600,
                    p.direction.azimuth.as_deg(),
                    y - 5.0,
                    of_day / 3600
                );
            }
        }
        let _ = write!(
            s,
            "<path d=\"{d}\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"1.5\" stroke-dasharray=\"{}\"/>{labels}",
            sun.dash
        );
    }

    fn mark(&self, s: &mut String) {
        let (name, at) = self.satellite;
        let (x, el) = (self.x(at.azimuth.as_deg()), at.elevation.as_deg());
        // A satellite below the chart is marked at its lower edge; the label tells where it really is.
        let y = Self::y(el.max(FLOOR_DEG));
        let _ = write!(
            s,
            "<g><title>{}: azimuth {:.1}°, elevation {el:.1}°</title>\
             <path d=\"M{:.1} {y:.1}h14M{x:.1} {:.1}v14\" stroke=\"currentColor\" stroke-width=\"2\"/>\
             <circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"5\" fill=\"none\" stroke=\"currentColor\" stroke-width=\"2\"/>\
             <text x=\"{:.1}\" y=\"{:.1}\" font-weight=\"bold\">{}, {el:.1}°</text></g>",
            escape(name),
            at.azimuth.as_deg(),
            x - 7.0,
            y - 7.0,
            x + 10.0,
            y - 8.0,
            escape(name)
        );
    }

    fn legend(&self, s: &mut String, bottom: f64) {
        let mut y = bottom + 32.0;
        for sun in self.suns {
            let _ = write!(
                s,
                "<path d=\"M{LEFT} {:.1}h40\" stroke=\"currentColor\" stroke-width=\"1.5\" stroke-dasharray=\"{}\"/>\
                 <text x=\"{:.0}\" y=\"{y:.1}\">Sun, {}</text>",
                y - 4.0,
                sun.dash,
                LEFT + 48.0,
                escape(&sun.name)
            );
            y += 16.0;
        }
        let skyline = if self.mask.is_some() {
            "shaded: horizon mask of the station file; hours in UTC"
        } else {
            "no horizon mask in the station file; hours in UTC"
        };
        let _ = write!(s, "<text x=\"{LEFT}\" y=\"{y:.1}\">{skyline}</text>");
    }
}

fn escape(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}
