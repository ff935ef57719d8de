//! The feed cut along its axis.

use slantpath_quantity::{Length, show};
use slantpath_report::Figure;
use slantpath_report::figure::{CrossSection, Outline, Stroke, cross_section};
use slantpath_wire::feed::patch::InnerEdge;
use slantpath_wire::feed::uplink::PatchFeed;
use slantpath_wire::feed::{Coil, Horn};
use std::f64::consts::PI;

/// What is drawn of a feed, in its own frame: `z` towards the dish from the disc.
#[derive(Debug, Clone)]
pub struct FeedOutline {
    /// What radiates the uplink.
    pub radiator: Option<UplinkOutline>,
    /// The receive feed.
    pub horn: Option<Horn>,
    /// Diameter of the disc.
    pub disc: Length,
    /// Place of the disc's middle, towards the dish from its focus.
    pub disc_at: Length,
}

/// What radiates the uplink.
#[derive(Debug, Clone, Copy)]
pub enum UplinkOutline {
    /// A coil.
    Coil(Coil),
    /// A patch ring.
    Patch(PatchFeed),
}

impl UplinkOutline {
    /// How far it goes before the disc.
    fn height(&self) -> Length {
        match self {
            Self::Coil(c) => c.height(),
            Self::Patch(p) => p.ring.height,
        }
    }
}

/// Receive feed drawn so far behind the disc.
const BEHIND_M: f64 = 0.025;

impl FeedOutline {
    /// Lines `(x, z)` in metres.
    pub(super) fn lines(&self) -> Vec<Outline> {
        let mut out = Vec::new();
        let line = |points, stroke, label: &str| Outline {
            points,
            stroke,
            label: label.to_string(),
        };
        let edge = 0.5 * self.disc.as_m();
        let hole = self
            .horn
            .as_ref()
            .map_or(0.0, |h| h.outer_radius.as_m())
            .min(edge);
        for side in [-1.0, 1.0] {
            out.push(line(
                vec![(side * hole, 0.0), (side * edge, 0.0)],
                Stroke::Metal,
                "disc",
            ));
        }
        if let Some(h) = &self.horn {
            let (inner, outer, front) = (h.radius.as_m(), h.outer_radius.as_m(), h.front.as_m());
            for side in [-1.0, 1.0] {
                out.push(line(
                    vec![
                        (side * outer, -BEHIND_M),
                        (side * outer, front),
                        (side * inner, front),
                        (side * inner, -BEHIND_M),
                    ],
                    Stroke::Metal,
                    "receive feed",
                ));
            }
        }
        if let Some(UplinkOutline::Patch(p)) = &self.radiator {
            out.extend(patch_lines(p));
        }
        if let Some(UplinkOutline::Coil(c)) = &self.radiator {
            let right = c.sense == slantpath_antenna::polarisation::Sense::Right;
            let n = ((c.turns * 48.0).ceil() as usize).clamp(8, 2400);
            let r = |s: f64| {
                0.5 * (c.diameter.as_m() + (c.end_diameter.as_m() - c.diameter.as_m()) * s)
            };
            let mut points = vec![(r(0.0), 0.0)];
            points.extend((0..=n).map(|i| {
                let s = i as f64 / n as f64;
                let turn = 2.0 * PI * c.turns * s * if right { 1.0 } else { -1.0 };
                (
                    r(s) * turn.cos(),
                    c.stub.as_m() + c.pitch.as_m() * c.turns * s,
                )
            }));
            out.push(line(
                points,
                Stroke::Wire,
                "uplink coil, as seen from the side",
            ));
        }
        out
    }
}

/// Plate, posts and a joined tube of a patch, cut along its axis.
fn patch_lines(p: &PatchFeed) -> Vec<Outline> {
    let line = |points, stroke, label: &str| Outline {
        points,
        stroke,
        label: label.to_string(),
    };
    let (hole, edge) = (0.5 * p.ring.inner.as_m(), 0.5 * p.ring.outer.as_m());
    let (h, post) = (p.ring.height.as_m(), p.feed_radius.as_m());
    let mut out = Vec::new();
    for side in [-1.0, 1.0] {
        let plate = vec![(side * hole, h), (side * edge, h)];
        out.push(line(plate, Stroke::Metal, "uplink patch"));
        let up = vec![(side * post, 0.0), (side * post, h)];
        out.push(line(up, Stroke::Wire, "post, turned into the drawing"));
        if p.ring.inner_edge == InnerEdge::Joined {
            let tube = vec![(side * hole, 0.0), (side * hole, h)];
            out.push(line(tube, Stroke::Metal, "tube joined to the patch"));
        }
    }
    out
}

/// Disc, coil or patch, and receive feed to scale.
pub fn feed_section(o: &FeedOutline) -> Figure {
    let mm = |x: f64| x * 1e3;
    let mut outlines: Vec<Outline> = o
        .lines()
        .into_iter()
        .map(|o| Outline {
            points: o.points.into_iter().map(|(x, z)| (mm(x), mm(z))).collect(),
            ..o
        })
        .collect();
    let top = o
        .radiator
        .map_or(30.0, |r| mm(r.height().as_m()))
        .max(o.horn.as_ref().map_or(0.0, |h| mm(h.front.as_m())));
    outlines.insert(
        0,
        Outline {
            points: vec![(0.0, -mm(BEHIND_M)), (0.0, top + 10.0)],
            stroke: Stroke::Thin,
            label: "axis, to the dish".into(),
        },
    );
    let said = |x: Length| show::significant(mm(x.as_m()), 3);
    let mut places = Vec::new();
    let mut notes = Vec::new();
    if let Some(UplinkOutline::Patch(p)) = &o.radiator {
        places.push((
            mm(0.5 * p.ring.outer.as_m()),
            mm(p.ring.height.as_m()),
            format!("patch, {} mm over the disc", said(p.ring.height)),
        ));
        notes.push(format!(
            "patch {} mm across with a hole of {} mm",
            said(p.ring.outer),
            said(p.ring.inner)
        ));
        notes.push(format!(
            "posts of {} mm, {} mm from the axis",
            said(p.post),
            said(p.feed_radius)
        ));
    }
    if let Some(UplinkOutline::Coil(c)) = &o.radiator {
        places.push((
            mm(0.5 * c.diameter.as_m()),
            mm(c.stub.as_m()),
            format!("first turn, {} mm over the disc", said(c.stub)),
        ));
        notes.push(format!(
            "{} turns, {} mm across to the middle of {} mm wire",
            show::significant(c.turns, 4),
            said(c.diameter),
            said(c.wire)
        ));
        notes.push(format!(
            "rise {} mm a turn; {} mm of wire in all",
            said(c.pitch),
            show::fixed(mm(c.wire_length().as_m()), 0)
        ));
    }
    if let Some(h) = &o.horn {
        let front = mm(h.front.as_m());
        places.push((
            0.0,
            front,
            format!(
                "receive aperture, {} mm across, {} mm {} the disc",
                show::significant(mm(2.0 * h.radius.as_m()), 3),
                show::significant(front.abs(), 2),
                if front < 0.0 { "behind" } else { "before" }
            ),
        ));
    }
    notes.push(format!("disc {} mm", said(o.disc)));
    let section = CrossSection {
        outlines,
        places,
        unit: "mm".into(),
        notes,
    };
    Figure {
        key: "feed_section".into(),
        caption: "The feed from the side, to scale; the dish is above.".into(),
        svg: cross_section("Feed from the side", &section),
    }
}
