//! `[feed.NAME.coil]`, `[feed.NAME.patch]` and `[feed.NAME.horn]`: feeds by their dimensions.

use super::bounds as b;
use super::desk::{DEFAULT, Kind, Scope, about};
use crate::checked::{CoilFeed, HornFeed, HornKind, PatchRingFeed, Radiator};
use slantpath_antenna::polarisation::Sense;
use slantpath_input::Problem;
use slantpath_quantity::{Contributor, Dimension, Length};

const LENGTH: Kind = Kind::Plain(Dimension::Length);
const PLAIN: Kind = Kind::Plain(Dimension::Ratio);

/// The uplink coil or patch, around the receive feed of `[feed.NAME.horn]`.
pub(super) fn radiator(s: &mut Scope<'_, '_>, horn: Option<&HornFeed>) -> Option<Radiator> {
    let twice = s.sec.has("coil") && s.sec.has("patch");
    let coil = s.sub("coil").map(|c| coil(c, horn.cloned()));
    let patch = s.sub("patch").map(|p| patch(p, horn));
    if twice {
        s.problem(
            Problem::error("an uplink feed is a coil or a patch")
                .at_place(s.sec.place_of("patch"))
                .label("there is a `coil` already")
                .help(
                    "keep one; another feed gets another [feed.NAME], and a variant may choose it",
                ),
        );
    }
    coil.map(Radiator::Coil).or(patch.map(Radiator::Patch))
}

/// A patch ring whose hole lets this receive feed through.
fn patch(mut p: Scope<'_, '_>, horn: Option<&HornFeed>) -> PatchRingFeed {
    let posts = p.sec.count("posts", 2..=4, &mut p.desk.problems);
    if let Some(3) = posts {
        p.problem(
            Problem::error("three posts do not make a circular wave")
                .at_place(p.sec.place_of("posts"))
                .label("two a right angle apart, or four")
                .expected("2 or 4"),
        );
    }
    if !p.sec.has("posts") {
        p.sec.missing("posts", "2 or 4", &mut p.desk.problems);
    }
    let out = PatchRingFeed {
        outer: p.required("outer", LENGTH, b::PATCH),
        hole: p.required("hole", LENGTH, b::HOLE),
        height: p.required("height", LENGTH, b::PATCH),
        post_radius: p.required("post_radius", LENGTH, b::PATCH),
        post: p.required("post", LENGTH, b::PATCH),
        four_posts: posts != Some(2),
        joined: p.sec.flag("joined", &mut p.desk.problems).unwrap_or(false),
        disc: Length::m(p.required_exact("disc", LENGTH, b::PATCH)),
    };
    let complete = [
        "outer",
        "hole",
        "height",
        "post_radius",
        "post",
        "disc",
        "posts",
    ]
    .iter()
    .all(|k| p.sec.has(k));
    if complete && !p.desk.problems.has_errors() {
        let best = |x: &Contributor| x.distribution.mean();
        let feed = out.patch(Sense::Right, &best);
        let wrong = feed.check().err().map(|e| e.to_string());
        let hits = horn.and_then(|h| does_not_fit(h, &out));
        if let Some(why) = wrong.or(hits) {
            p.problem(
                Problem::error("this patch cannot be built")
                    .at_place(p.sec.place())
                    .label(why)
                    .help("`outer` and `hole` are diameters, `height` is from metal to metal, `post_radius` from the axis to the middle of a post"),
            );
        }
    }
    p.done();
    out
}

/// Why a receive feed does not go through the hole.
fn does_not_fit(h: &HornFeed, patch: &PatchRingFeed) -> Option<String> {
    let hole = patch.hole.distribution.mean();
    let metal = 2.0 * h.outer_radius.as_m();
    // a joined patch is soldered to it: its hole is as wide
    let fits = if patch.joined {
        metal <= hole * (1.0 + 1e-9)
    } else {
        metal < hole
    };
    let mm = |m: f64| slantpath_quantity::show::significant(m * 1e3, 3);
    (!fits).then(|| {
        format!(
            "the receive feed, {} mm across, does not go through the hole of {} mm",
            mm(metal),
            mm(hole)
        )
    })
}

/// `[feed.NAME.coil]`, around the receive feed of `[feed.NAME.horn]`.
fn coil(mut c: Scope<'_, '_>, horn: Option<HornFeed>) -> CoilFeed {
    let diameter = c.required("diameter", LENGTH, b::COIL);
    let end = c.exact("end_diameter", LENGTH, b::COIL);
    let mean = diameter.distribution.mean();
    let taper = match end {
        Some(e) if mean > 0.0 => e / mean,
        _ => 1.0,
    };
    let out = CoilFeed {
        turns: c.required("turns", PLAIN, b::TURNS),
        diameter,
        taper,
        pitch: c.required("pitch", LENGTH, b::COIL),
        wire: c.required("wire", LENGTH, b::COIL),
        // A bracket's thickness and a bend (common practice, no source).
        stub: c.or_default("stub", LENGTH, b::COIL, about(5e-3, 1e-3), DEFAULT),
        disc: Length::m(c.required_exact("disc", LENGTH, b::COIL)),
        horn,
    };
    let complete = ["turns", "diameter", "pitch", "wire", "disc"]
        .iter()
        .all(|k| c.sec.has(k));
    if complete && !c.desk.problems.has_errors() {
        let best = |x: &Contributor| x.distribution.mean();
        let coil = out.coil(Sense::Right, &best);
        let wrong = match out.receive_feed(&best) {
            Some(h) => h.check(Some(&coil)),
            None => coil.check(),
        };
        let disc = (out.disc <= coil.diameter).then_some(
            "the disc is no wider than the coil; the coil is fed between itself and the disc"
                .to_string(),
        );
        if let Some(why) = wrong.err().map(|e| e.to_string()).or(disc) {
            c.problem(
                Problem::error("this coil cannot be built")
                    .at_place(c.sec.place())
                    .label(why)
                    .help("diameters are taken to the middle of the wire: outside diameter less one wire"),
            );
        }
    }
    c.done();
    out
}

pub(super) fn horn(mut s: Scope<'_, '_>) -> HornFeed {
    let kind = s.sec.choice(
        "kind",
        &[
            ("te11", HornKind::Te11),
            ("he11", HornKind::He11),
            ("measured", HornKind::Measured),
        ],
        &mut s.desk.problems,
    );
    if kind.is_none() && !s.sec.has("kind") {
        s.sec.missing(
            "kind",
            "\"te11\" (open round waveguide), \"he11\" (scalar, corrugated horn) or \"measured\" (from the receive side's `pattern`)",
            &mut s.desk.problems,
        );
    }
    let radius = s.required_exact("radius", LENGTH, b::COIL);
    // A millimetre of metal.
    let outer = s
        .exact("outer_radius", LENGTH, b::COIL)
        .unwrap_or(radius + 1e-3);
    let out = HornFeed {
        kind: kind.unwrap_or(HornKind::Te11),
        radius: Length::m(radius),
        outer_radius: Length::m(outer),
        front: s.or_default("front", LENGTH, b::SHIFT, about(0.0, 1e-3), DEFAULT),
        measured: Vec::new(),
    };
    s.done();
    out
}
