//! The dish from the side with its keep-out distances.

use super::canvas::{Canvas, WIDTH, ink, minus, usable};
use super::markup::shorten;
use slantpath_quantity::show::significant;

/// What a side view shows; lengths in metre.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SideView {
    /// Dish diameter.
    pub diameter_m: f64,
    /// Elevation of the beam, degrees.
    pub elevation_deg: f64,
    /// From the feed to the middle of the dish.
    pub to_feed_m: f64,
    /// In the beam: distances for public and occupational limits.
    pub axis_m: (f64, f64),
    /// Past the rim, behind the dish, from the feed.
    pub rim_m: (f64, f64),
    /// Height of the dish's middle above where people stand.
    pub height_m: f64,
    /// Names of the limits used.
    pub limits: String,
}

/// The dish, its beam as a tube and then a cone, and the distances. Not to scale along the beam where it is long.
pub fn side_view(title: &str, v: &SideView) -> String {
    let mut c = Canvas::new(300.0);
    let ok = [
        v.diameter_m,
        v.elevation_deg,
        v.to_feed_m,
        v.axis_m.0,
        v.axis_m.1,
        v.rim_m.0,
        v.rim_m.1,
        v.height_m,
    ]
    .iter()
    .all(|x| usable(*x));
    if !ok {
        c.text(12.0, 40.0, "start", "undetermined", "");
        return c.finish(title);
    }
    let ground = 232.0;
    let (x0, y0) = (96.0, 172.0);
    let el = v.elevation_deg.clamp(-10.0, 90.0).to_radians();
    let (ux, uy) = (el.cos(), -el.sin());
    let half = 26.0;
    c.line(
        (8.0, ground),
        (WIDTH - 8.0, ground),
        ink::TEXT,
        r#"stroke-width="1.5""#,
    );
    c.line((x0, y0), (x0, ground), ink::TEXT, r#"stroke-width="3""#);
    // The beam: occupational part darker, public part lighter.
    let reach = ((WIDTH - 24.0 - x0) / ux.max(1e-3)).min((y0 - 28.0) / (-uy).max(1e-3));
    let share = if v.axis_m.0 > 0.0 {
        (v.axis_m.1 / v.axis_m.0).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let beam = |length: f64| {
        let (a, b) = (
            (x0 - uy * half, y0 + ux * half),
            (x0 + uy * half, y0 - ux * half),
        );
        let spread = 0.12 * length;
        format!(
            "M{:.1} {:.1}L{:.1} {:.1}L{:.1} {:.1}L{:.1} {:.1}Z",
            a.0,
            a.1,
            a.0 + ux * length - uy * spread,
            a.1 + uy * length + ux * spread,
            b.0 + ux * length + uy * spread,
            b.1 + uy * length - ux * spread,
            b.0,
            b.1
        )
    };
    if v.axis_m.0 > 0.0 {
        c.group("public limit in the beam");
        c.path(
            &beam(reach),
            ink::A,
            r#"stroke-width="1.4" stroke-dasharray="6 4""#,
        );
        c.end();
    }
    if v.axis_m.1 > 0.0 {
        c.group("occupational limit in the beam");
        c.path(&beam(reach * share), ink::B, r#"stroke-width="1.8""#);
        c.end();
    }
    // The dish as an arc, the feed before it.
    let (a, b) = (
        (x0 - uy * half, y0 + ux * half),
        (x0 + uy * half, y0 - ux * half),
    );
    c.path(
        &format!(
            "M{:.1} {:.1}Q{:.1} {:.1} {:.1} {:.1}",
            a.0,
            a.1,
            x0 - ux * 18.0,
            y0 - uy * 18.0,
            b.0,
            b.1
        ),
        ink::TEXT,
        r#"stroke-width="3""#,
    );
    let feed = (x0 + ux * 34.0, y0 + uy * 34.0);
    c.dot(feed.0, feed.1, ink::B);
    let metres = |x: f64| format!("{} m", minus(&significant(x, 2)));
    let told = |x: f64| {
        if x > 0.0 {
            metres(x)
        } else {
            "nowhere reached".to_string()
        }
    };
    let mut y = 20.0;
    for (text, weight) in [
        (
            format!(
                "beam, public: {}; occupational: {}",
                told(v.axis_m.0),
                told(v.axis_m.1)
            ),
            true,
        ),
        (
            format!(
                "past the rim, from the feed: {} and {}",
                told(v.rim_m.0),
                told(v.rim_m.1)
            ),
            false,
        ),
    ] {
        c.text(
            12.0,
            y,
            "start",
            &text,
            if weight { r#"font-weight="600""# } else { "" },
        );
        y += 17.0;
    }
    c.text(
        feed.0 + 8.0,
        (feed.1 + 22.0).min(ground - 6.0),
        "start",
        "never between feed and dish",
        r#"font-size="12" font-weight="600""#,
    );
    c.text(
        12.0,
        ground + 18.0,
        "start",
        &format!(
            "dish {}, {} above where people stand, beam at {} deg",
            metres(v.diameter_m),
            metres(v.height_m),
            minus(&significant(v.elevation_deg, 2))
        ),
        r#"font-size="12""#,
    );
    c.text(
        12.0,
        ground + 36.0,
        "start",
        &shorten(&v.limits, 62),
        r#"font-size="12""#,
    );
    c.text(
        12.0,
        ground + 54.0,
        "start",
        "dashed: public; solid: occupational; not to scale",
        r#"font-size="12""#,
    );
    c.finish(title)
}
