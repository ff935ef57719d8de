//! `[reflector]`.

use super::bounds as b;
use super::desk::{DEFAULT, Kind, Scope, about, between};
use crate::checked::{Blockage, FeedArm, Reflector, ReflectorShape, Surface};
use slantpath_input::Problem;
use slantpath_quantity::{Contributor, Dimension, Distribution};

const LENGTH: Kind = Kind::Plain(Dimension::Length);
const ANGLE: Kind = Kind::Plain(Dimension::Angle);

pub(crate) fn reflector(mut s: Scope<'_, '_>) -> Reflector {
    if !s.sec.has("kind") {
        s.sec.missing(
            "kind",
            "\"offset\" or \"prime-focus\"",
            &mut s.desk.problems,
        );
    }
    let offset = s
        .sec
        .choice(
            "kind",
            &[("offset", true), ("prime-focus", false)],
            &mut s.desk.problems,
        )
        .unwrap_or(true);
    let shape = if offset {
        offset_shape(&mut s)
    } else {
        prime_shape(&mut s)
    };
    let feed_arm = s
        .sec
        .choice(
            "feed_arm",
            &[("bottom", FeedArm::Bottom), ("top", FeedArm::Top)],
            &mut s.desk.problems,
        )
        .unwrap_or(FeedArm::Bottom);
    let surface = s
        .sec
        .choice(
            "surface",
            &[("solid", Surface::Solid), ("mesh", Surface::Mesh)],
            &mut s.desk.problems,
        )
        .unwrap_or(Surface::Solid);
    let surface_rms = s.or_default(
        "surface_rms",
        LENGTH,
        b::SURFACE,
        between(0.2e-3, 1.0e-3),
        DEFAULT,
    );
    // One tenth of a degree is what a careful peaking by hand reaches (common practice, no source).
    let tenth = 0.1f64.to_radians();
    let pointing_error = s.or_default(
        "pointing_error",
        ANGLE,
        b::POINTING,
        about(tenth, 0.5 * tenth),
        DEFAULT,
    );
    let usual = match surface {
        Surface::Solid => between(0.0, 0.05),
        Surface::Mesh => between(0.0, 1.0),
    };
    let reflection_loss_receive =
        s.or_default("reflection_loss_receive", Kind::Db, b::LOSS, usual, DEFAULT);
    let reflection_loss_transmit = s.or_default(
        "reflection_loss_transmit",
        Kind::Db,
        b::LOSS,
        usual,
        DEFAULT,
    );
    let blockage = blockage(&mut s, offset);
    s.done();
    Reflector {
        shape,
        feed_arm,
        surface,
        surface_rms,
        pointing_error,
        reflection_loss_receive,
        reflection_loss_transmit,
        blockage,
    }
}

fn offset_shape(s: &mut Scope<'_, '_>) -> ReflectorShape {
    let by_tape = ["width", "height", "depth"].iter().any(|k| s.sec.has(k));
    let by_sheet = ["diameter", "focal_length", "clearance"]
        .iter()
        .any(|k| s.sec.has(k));
    if by_tape && by_sheet {
        twice(s);
    }
    if by_sheet && !by_tape {
        let exact = Distribution::Exact(0.0);
        return ReflectorShape::Offset {
            diameter: s.required("diameter", LENGTH, b::SIZE),
            focal_length: s.required("focal_length", LENGTH, b::SIZE),
            clearance: s.or_default("clearance", LENGTH, b::LENGTH, exact, DEFAULT),
        };
    }
    let width = s.required("width", LENGTH, b::SIZE);
    let height = s.required("height", LENGTH, b::SIZE);
    let depth = s.required("depth", LENGTH, b::SIZE);
    if s.sec.has("width") && s.sec.has("height") && !below(&width, &height) {
        s.problem(
            Problem::error("an offset dish is higher than it is wide")
                .at_place(s.sec.place_of("width"))
                .label("the width is the short axis of the rim")
                .help("measure the height along the rim's plane, from the feed arm's end to the far edge; swap the two if they are interchanged")
                .help("a round rim belongs to `kind = \"prime-focus\"`, or give `diameter`, `focal_length` and `clearance`"),
        );
    }
    if s.sec.has("width") && s.sec.has("depth") && !below(&depth, &width) {
        deep(s);
    }
    ReflectorShape::OffsetByTape {
        width,
        height,
        depth,
    }
}

fn prime_shape(s: &mut Scope<'_, '_>) -> ReflectorShape {
    let diameter = s.required("diameter", LENGTH, b::SIZE);
    if s.sec.has("depth") {
        if s.sec.has("focal_length") {
            twice(s);
            let _ = s.optional("focal_length", LENGTH, b::SIZE);
        }
        let depth = s.required("depth", LENGTH, b::SIZE);
        if s.sec.has("diameter") && !below(&depth, &diameter) {
            deep(s);
        }
        ReflectorShape::PrimeFocusByTape { diameter, depth }
    } else {
        ReflectorShape::PrimeFocus {
            diameter,
            focal_length: s.required("focal_length", LENGTH, b::SIZE),
        }
    }
}

/// Whether `a` is below `b`; true while either is a stand-in, whose problem is noted already.
fn below(a: &Contributor, b: &Contributor) -> bool {
    let (x, y) = (a.distribution.mean(), b.distribution.mean());
    x == 0.0 || y == 0.0 || x < y
}

fn twice(s: &mut Scope<'_, '_>) {
    s.problem(
        Problem::error("the shape of the dish is given twice")
            .at_place(s.sec.place())
            .label("figures from a sheet and from a tape measure")
            .help("keep one: what the tape says is normally nearer to this dish"),
    );
}

fn deep(s: &mut Scope<'_, '_>) {
    s.problem(
        Problem::error("a dish is not as deep as it is wide")
            .at_place(s.sec.place_of("depth"))
            .label("measured from the plane of the rim to the deepest point?")
            .help("lay a straight edge across the rim and measure down from it"),
    );
}

fn blockage(s: &mut Scope<'_, '_>, offset: bool) -> Blockage {
    let disc_default = if offset {
        Distribution::Exact(0.0)
    } else {
        between(0.05, 0.15)
    };
    let Some(mut k) = s.sub("blockage") else {
        return Blockage {
            disc: block_made(s, "disc", disc_default),
            struts: 0,
            strut_width: block_made(s, "strut_width", Distribution::Exact(0.0)),
        };
    };
    let disc = k.or_default("disc", LENGTH, b::SMALL_SIZE, disc_default, DEFAULT);
    let struts = k
        .sec
        .count("struts", 0..=12, &mut k.desk.problems)
        .unwrap_or(0);
    let strut_width = if struts > 0 {
        k.required("strut_width", LENGTH, b::SMALL_SIZE)
    } else {
        k.or_default(
            "strut_width",
            LENGTH,
            b::SMALL_SIZE,
            Distribution::Exact(0.0),
            DEFAULT,
        )
    };
    k.done();
    Blockage {
        disc,
        struts,
        strut_width,
    }
}

fn block_made(s: &Scope<'_, '_>, key: &str, d: Distribution) -> Contributor {
    s.made(&format!("blockage.{key}"), "m", d, DEFAULT)
}
