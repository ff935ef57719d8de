//! The wires of a transmit feed.

use super::{Arrangement, DipoleFeed, Ground, HelixFeed, PatchFeed, Tube, UplinkFeed};
use crate::error::{WireError, require};
use crate::excite::Port;
use crate::feed::patch::grid::PatchGrid;
use crate::feed::{Aperture, Horn};
use crate::geometry::{Division, Structure, Wire, shapes};
use num_complex::Complex64;
use slantpath_antenna::polarisation::Sense;
use slantpath_quantity::{Frequency, Length, Validity};

/// Wires with their sources, and remarks on what is left out.
pub(super) struct Built {
    pub structure: Structure,
    pub ports: Vec<(Port, Complex64)>,
    pub validity: Validity,
}

/// Grid spacings per segment length asked for: at 20 segments per wavelength a 15th of a wavelength, with which the disc is
/// solid to about 0.1 dB in D (an earlier numerical study's solid disc: 9.23 against 9.31 dBi).
const MESH: f64 = 0.75;
/// Arcs at the edge per wavelength, in segments asked for.
const ARCS: f64 = 0.45;
const GRID_WIRE: f64 = 1.0 / 500.0;

/// `like`: whose division it has.
pub(super) fn build(
    feed: &UplinkFeed,
    like: &UplinkFeed,
    f: Frequency,
    per_wavelength: f64,
) -> Result<Built, WireError> {
    let lambda = f.wavelength();
    match feed {
        UplinkFeed::Helix(h) => helix(h, lambda, per_wavelength),
        UplinkFeed::Dipoles(d) => dipoles(d, lambda, per_wavelength),
        UplinkFeed::Patch(p) => {
            let like = match like {
                UplinkFeed::Patch(l) => l,
                _ => p,
            };
            patch(p, like, lambda, per_wavelength)
        }
    }
}

fn patch(
    p: &PatchFeed,
    like: &PatchFeed,
    lambda: Length,
    per_wavelength: f64,
) -> Result<Built, WireError> {
    p.check()?;
    like.check()?;
    let outer = like.ring.outer / lambda;
    let width = 0.5 * (like.ring.outer - like.ring.inner).as_m() / lambda.as_m();
    // whole numbers within the grid's range, which says so itself when passed; a multiple of four around
    let around = std::f64::consts::PI * outer * ARCS * per_wavelength;
    let grid = |of: &PatchFeed| PatchGrid {
        rings: (width * per_wavelength).round().max(4.0) as usize,
        radials: 4 * (0.25 * around).round().max(4.0) as usize,
        feed_radius: of.feed_radius,
        post: of.post,
        posts: of.posts,
        ground: Ground::Disc(of.ring.ground),
    };
    let wires = grid(p).build_as(&p.ring, grid(like).layout(&like.ring)?)?;
    Ok(Built {
        structure: wires.structure,
        ports: wires.ports,
        validity: Validity::Inside,
    })
}

fn helix(h: &HelixFeed, lambda: Length, per_wavelength: f64) -> Result<Built, WireError> {
    let mut coil = h.coil;
    coil.start = slantpath_quantity::Angle::rad(0.0);
    coil.check()?;
    let mm = |l: Length| l.as_m() * 1e3;
    require(
        coil.stub > coil.wire * 0.5 + lambda * GRID_WIRE,
        "coil",
        "height of the first turn over the disc",
        mm(coil.stub),
        "mm",
        "more than the wire's radius: the coil is fed between disc and first turn",
    )?;
    if let Some(t) = h.tube {
        // the same rule as for the receive side, whose aperture fills this tube
        Horn {
            aperture: Aperture::He11,
            radius: t.radius,
            outer_radius: t.radius,
            front: t.front,
        }
        .check(Some(&coil))?;
    }
    let wires = coil.wires(true);
    let foot = coil.diameter * 0.5;
    let mut validity = Validity::Inside;
    let (structure, port) = match h.ground {
        Ground::Plane => (
            Structure::over_plane(wires),
            // the image is the other half of a source as wide as twice the stub
            Port::new("coil, stub", Length::m(0.0), coil.stub * 2.0),
        ),
        Ground::Disc(d) => {
            // A feed wider than the winding stands behind the plate and is hidden by it.
            let through = h.tube.filter(|t| t.radius + lambda * 0.01 < foot);
            if h.tube.is_some() && through.is_none() {
                validity = validity.and(Validity::outside(
                    "uplink feed: the receive feed is wider than the coil and stands behind the disc; its metal is left out",
                ));
            }
            let ground = disc(d, Some(foot), through, lambda, per_wavelength)?;
            (
                Structure::new(wires).with(ground),
                Port::new("coil, stub", coil.stub * 0.5, coil.stub),
            )
        }
    };
    Ok(Built {
        structure,
        ports: vec![(port, Complex64::new(1.0, 0.0))],
        validity,
    })
}

/// Polar grid with a ring at `foot`; around the tube a hole, with the tube's grid joined to its edge.
fn disc(
    diameter: Length,
    foot: Option<Length>,
    tube: Option<Tube>,
    lambda: Length,
    per_wavelength: f64,
) -> Result<Vec<Wire>, WireError> {
    let edge = diameter * 0.5;
    let spacing = lambda * (1.0 / (MESH * per_wavelength));
    let least = foot.unwrap_or(lambda * 0.1);
    require(
        edge > least + lambda * 0.01 && edge < lambda * 1.5,
        "disc",
        "diameter",
        diameter.as_m() * 1e3,
        "mm",
        "wider than the coil and below 3 wavelengths (a larger one acts as a plane)",
    )?;
    let mut rings = Vec::new();
    let mut from = match tube {
        Some(t) => {
            rings.push(t.radius);
            t.radius
        }
        None => Length::m(0.0),
    };
    for to in foot.into_iter().chain([edge]) {
        let n = ((to - from) / spacing - 1e-6).ceil().max(1.0);
        rings.extend((1..=n as usize).map(|i| from + (to - from) * (i as f64 / n)));
        from = to;
    }
    let wire = lambda * GRID_WIRE;
    let around = std::f64::consts::PI * (diameter / lambda) * ARCS * per_wavelength;
    let radials = ((0.5 * around).ceil() as usize * 2).clamp(12, 48);
    let mut out = match tube {
        Some(_) => shapes::polar_annulus("disc", [0.0; 3], &rings, radials, wire)?,
        None => shapes::polar_disc("disc", [0.0; 3], &rings, radials, wire)?,
    };
    if let Some(t) = tube {
        let mut heights = Vec::new();
        let back = t.behind.as_m().max(0.0);
        let down = (back / spacing.as_m()).ceil().max(1.0);
        if back > 0.0 {
            heights.extend((0..down as usize).map(|i| Length::m(-back * (1.0 - i as f64 / down))));
        }
        let edge_ring = heights.len();
        heights.push(Length::m(0.0));
        let front = t.front.as_m().max(0.0);
        if front > lambda.as_m() * 0.005 {
            let up = (front / spacing.as_m()).ceil();
            heights.extend((1..=up as usize).map(|i| Length::m(front * i as f64 / up)));
        }
        if heights.len() > 1 {
            let mut grid =
                shapes::tube("receive feed", [0.0; 3], t.radius, &heights, radials, wire)?;
            // the ring in the disc's plane is the disc's own
            let own = format!("receive feed, ring {edge_ring} from");
            grid.retain(|w| !w.name.starts_with(&own));
            out.extend(grid);
        }
    }
    for w in &mut out {
        w.division = Division::Count(1);
    }
    Ok(out)
}

fn dipoles(d: &DipoleFeed, lambda: Length, per_wavelength: f64) -> Result<Built, WireError> {
    let mm = |l: Length| l.as_m() * 1e3;
    let (h, a) = (d.height.as_m(), d.wire.as_m() * 0.5);
    require(
        d.length > d.wire * 4.0,
        "dipole",
        "length",
        mm(d.length),
        "mm",
        "more than four times its wire",
    )?;
    require(
        h > 4.0 * a + 1e-3 * lambda.as_m(),
        "dipole",
        "height over the disc",
        mm(d.height),
        "mm",
        "well above its wire's radius",
    )?;
    let one = Complex64::new(1.0, 0.0);
    let gap = d.length * 0.02;
    let rod = |name: &str, at: [f64; 3], along: [f64; 3]| {
        let mut w = shapes::dipole(name, at, along, d.length, d.wire * 0.5);
        w.conductivity = d.metal.of();
        (w, Port::new(name, d.length * 0.5, gap))
    };
    let (x, y) = ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0]);
    let (rods, volts) = match d.arrangement {
        // crossed rods pass each other by two diameters; right-hand is x - j y
        Arrangement::Crossed(s) => {
            let second = match s {
                Sense::Right => Complex64::new(0.0, -1.0),
                Sense::Left => Complex64::new(0.0, 1.0),
            };
            (
                [
                    rod("dipole x", [0.0, 0.0, h - 2.0 * a], x),
                    rod("dipole y", [0.0, 0.0, h + 2.0 * a], y),
                ],
                [one, second],
            )
        }
        Arrangement::Pair(apart) => {
            require(
                apart > d.wire * 4.0,
                "dipoles",
                "distance",
                mm(apart),
                "mm",
                "more than four times the wire",
            )?;
            let s = 0.5 * apart.as_m();
            (
                [
                    rod("dipole left", [0.0, -s, h], x),
                    rod("dipole right", [0.0, s, h], x),
                ],
                [one, one],
            )
        }
    };
    let [(w1, p1), (w2, p2)] = rods;
    let structure = match d.ground {
        Ground::Plane => Structure::over_plane(vec![w1, w2]),
        Ground::Disc(diameter) => {
            Structure::new(vec![w1, w2]).with(disc(diameter, None, None, lambda, per_wavelength)?)
        }
    };
    let [v1, v2] = volts;
    Ok(Built {
        structure,
        ports: vec![(p1, v1), (p2, v2)],
        validity: Validity::Inside,
    })
}
