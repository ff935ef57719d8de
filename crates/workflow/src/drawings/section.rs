//! The dish cut through its plane of symmetry, with the feed and the rays.

use super::FeedOutline;
use slantpath_antenna::reflector::{Arm, Reflector};
use slantpath_quantity::{Angle, show};
use slantpath_report::Figure;
use slantpath_report::figure::{CrossSection, Outline, Stroke, cross_section};

type P = (f64, f64);

fn line(points: Vec<P>, stroke: Stroke, label: &str) -> Outline {
    Outline {
        points,
        stroke,
        label: label.to_string(),
    }
}

/// Dish, feed and rays to scale, turned as the dish stands: the beam at its elevation, the ground below.
pub fn dish_section(
    dish: &Reflector,
    feed: Option<&FeedOutline>,
    elevation: Angle,
    arm: Arm,
) -> Figure {
    let f = dish.focal_length().as_m();
    let (a, h) = (0.5 * dish.diameter().as_m(), dish.centre_offset().as_m());
    // dish frame: z along the beam, y in the plane of symmetry, focus in the origin; turned by the elevation. With the arm at
    // the bottom the aperture lies above the axis through the focus.
    let (s, c) = elevation.as_rad().sin_cos();
    let side = match arm {
        Arm::Top => -1.0,
        _ => 1.0,
    };
    let world = |y: f64, z: f64| (z * c - side * y * s, z * s + side * y * c);
    let surface = |y: f64| y * y / (4.0 * f) - f;
    let mut outlines = Vec::new();
    // where the rays of the beam end: a little before the feed
    let plane = 0.25 * a + surface(h + a).max(0.0);
    for i in 0..5 {
        let y = h + a * (-0.9 + 0.45 * f64::from(i));
        outlines.push(line(
            vec![world(0.0, 0.0), world(y, surface(y)), world(y, plane)],
            Stroke::Ray,
            "ray from the focus, and where the dish sends it",
        ));
    }
    let (near, far) = (h - a, h + a);
    for y in [near, far] {
        outlines.push(line(
            vec![world(0.0, 0.0), world(y, surface(y))],
            Stroke::Thin,
            "edge of the cone under which the feed sees the dish",
        ));
    }
    let dish_line = (0..=48)
        .map(|i| {
            let y = near + (far - near) * f64::from(i) / 48.0;
            world(y, surface(y))
        })
        .collect();
    outlines.push(line(dish_line, Stroke::Metal, "reflector"));
    let aim = dish.bisector_angle().as_rad();
    // along the feed's axis towards the dish, and across it
    let to = (aim.sin(), -aim.cos());
    let across = (aim.cos(), aim.sin());
    let feed_at = |along: f64, side: f64| {
        world(
            along * to.0 + side * across.0,
            along * to.1 + side * across.1,
        )
    };
    match feed {
        Some(o) => outlines.extend(o.lines().into_iter().map(|part| {
            let d = o.disc_at.as_m();
            Outline {
                points: part
                    .points
                    .into_iter()
                    .map(|(x, z)| feed_at(d + z, x))
                    .collect(),
                ..part
            }
        })),
        None => {
            let r = 0.03 * a;
            outlines.push(line(
                vec![
                    feed_at(0.0, -r),
                    feed_at(0.0, r),
                    feed_at(-2.5 * r, 0.6 * r),
                    feed_at(-2.5 * r, -0.6 * r),
                    feed_at(0.0, -r),
                ],
                Stroke::Metal,
                "feed (its size is not described)",
            ));
        }
    }
    let centre = world(h, surface(h));
    let metre = |x: f64| show::significant(x, 3);
    let kind = if dish.is_offset() {
        "offset"
    } else {
        "prime focus"
    };
    let (lo, hi) = dish.edge_angles();
    let section = CrossSection {
        outlines,
        places: vec![
            (0.0, 0.0, "focus".into()),
            (centre.0, centre.1, "middle of the dish".into()),
        ],
        unit: "m".into(),
        notes: vec![
            format!(
                "{kind}, {} m wide, focal length {} m, beam at {} deg",
                metre(dish.diameter().as_m()),
                metre(f),
                show::fixed(elevation.as_deg(), 1)
            ),
            format!(
                "from the focus: {} to {} deg from the dish's axis",
                show::fixed(lo.as_deg(), 1),
                show::fixed(hi.as_deg(), 1)
            ),
            format!(
                "feed looks {} deg off that axis, half its cone {} deg",
                show::fixed(dish.bisector_angle().as_deg(), 1),
                show::fixed(dish.half_angle().as_deg(), 1)
            ),
        ],
    };
    Figure {
        key: "dish_section".into(),
        caption: "Dish and feed from the side, to scale, with rays from the focus: what passes the dish's edge is lost or sees \
                  the ground."
            .into(),
        svg: cross_section("Dish and feed from the side", &section),
    }
}
