//! Shapes of the trade, built of plain wires with nodes where they meet.

use super::{Curve, Helix, Wire};
use crate::error::{WireError, require};
use crate::vector::V3;
use slantpath_quantity::Length;
use std::f64::consts::PI;

/// A polar wire grid in a plane `z`: concentric rings and radials, joined at every crossing, hub included.
///
/// The electrically equal solid disc: holes well below a tenth of a wavelength. Rings at the given radii (rising, from the
/// inside); one radial lies on `phi = 0`.
///
/// # Errors
/// [`WireError::Dimension`] for fewer than 3 radials, no ring, or radii that do not rise from above 0.
pub fn polar_disc(
    name: &str,
    centre: V3,
    rings: &[Length],
    radials: usize,
    wire: Length,
) -> Result<Vec<Wire>, WireError> {
    grid(name, centre, rings, radials, wire, true)
}

/// As [`polar_disc`], without the hub: a plate with a hole as wide as the first ring.
///
/// # Errors
/// As [`polar_disc`].
pub fn polar_annulus(
    name: &str,
    centre: V3,
    rings: &[Length],
    radials: usize,
    wire: Length,
) -> Result<Vec<Wire>, WireError> {
    grid(name, centre, rings, radials, wire, false)
}

fn grid(
    name: &str,
    centre: V3,
    rings: &[Length],
    radials: usize,
    wire: Length,
    hub: bool,
) -> Result<Vec<Wire>, WireError> {
    require(
        (3..=720).contains(&radials),
        name,
        "number of radials",
        radials as f64,
        "",
        "3 to 720",
    )?;
    require(
        !rings.is_empty(),
        name,
        "number of rings",
        0.0,
        "",
        "1 or more",
    )?;
    let mut last = 0.0;
    for r in rings {
        require(
            r.as_m() > last,
            name,
            "radius of a ring",
            r.as_m() * 1e3,
            "mm",
            "above the ring inside it",
        )?;
        last = r.as_m();
    }
    let at = |r: f64, j: usize| polar(centre, r, 2.0 * PI * (j % radials) as f64 / radials as f64);
    let mut out = Vec::with_capacity(2 * radials * rings.len());
    for (i, r) in rings.iter().enumerate() {
        let inner = if i == 0 { 0.0 } else { rings[i - 1].as_m() };
        for j in 0..radials {
            if i > 0 || hub {
                let from = if i == 0 { centre } else { at(inner, j) };
                out.push(Wire::straight(
                    format!("{name}, radial {j} inside ring {i}"),
                    from,
                    at(r.as_m(), j),
                    wire,
                ));
            }
            out.push(Wire::straight(
                format!("{name}, ring {i} from radial {j}"),
                at(r.as_m(), j),
                at(r.as_m(), j + 1),
                wire,
            ));
        }
    }
    Ok(out)
}

/// A wire-grid tube along `z` (the metal of a horn or waveguide seen from outside): rings at the given heights and straight
/// bars between them.
///
/// # Errors
/// [`WireError::Dimension`] for fewer than 3 bars, fewer than 2 heights, or heights that do not rise.
pub fn tube(
    name: &str,
    axis: V3,
    radius: Length,
    heights: &[Length],
    bars: usize,
    wire: Length,
) -> Result<Vec<Wire>, WireError> {
    require(
        (3..=720).contains(&bars),
        name,
        "number of bars",
        bars as f64,
        "",
        "3 to 720",
    )?;
    require(
        heights.len() >= 2,
        name,
        "number of rings",
        heights.len() as f64,
        "",
        "2 or more",
    )?;
    require(
        radius.as_m() > 0.0,
        name,
        "radius of the tube",
        radius.as_m() * 1e3,
        "mm",
        "above 0",
    )?;
    for w in heights.windows(2) {
        require(
            w[1] > w[0],
            name,
            "height of a ring",
            w[1].as_m() * 1e3,
            "mm",
            "above the ring below it",
        )?;
    }
    let at = |z: Length, j: usize| {
        let mut p = polar(
            axis,
            radius.as_m(),
            2.0 * PI * (j % bars) as f64 / bars as f64,
        );
        p[2] += z.as_m();
        p
    };
    let mut out = Vec::with_capacity(2 * bars * heights.len());
    for (i, &z) in heights.iter().enumerate() {
        for j in 0..bars {
            if i > 0 {
                out.push(Wire::straight(
                    format!("{name}, bar {j} below ring {i}"),
                    at(heights[i - 1], j),
                    at(z, j),
                    wire,
                ));
            }
            out.push(Wire::straight(
                format!("{name}, ring {i} from bar {j}"),
                at(z, j),
                at(z, j + 1),
                wire,
            ));
        }
    }
    Ok(out)
}

/// A closed circular ring in a plane `z`.
pub fn ring(name: &str, centre: V3, radius: Length, wire: Length) -> Wire {
    let r = radius.as_m();
    let curve = Curve::Arc {
        centre,
        u: [r, 0.0, 0.0],
        v: [0.0, r, 0.0],
        from: 0.0,
        to: 2.0 * PI,
    };
    Wire::new(name, curve, wire)
}

/// A helix with its straight feed stub: the stub rises from `stub` below the winding's start. The source belongs at the
/// foot of the stub, between it and the plane or disc.
pub fn helix_with_stub(name: &str, helix: Helix, stub: Length, wire: Length) -> Vec<Wire> {
    let start = helix.point(0.0);
    let mut foot = start;
    foot[2] -= stub.as_m();
    vec![
        Wire::straight(format!("{name}, stub"), foot, start, wire),
        Wire::new(name, Curve::Helix(helix), wire),
    ]
}

/// A straight dipole about a centre, along a unit direction.
pub fn dipole(name: &str, centre: V3, direction: V3, length: Length, wire: Length) -> Wire {
    let h = 0.5 * length.as_m();
    let end = |s: f64| std::array::from_fn(|i| centre[i] + s * h * direction[i]);
    Wire::straight(name, end(-1.0), end(1.0), wire)
}

fn polar(c: V3, r: f64, phi: f64) -> V3 {
    let (s, co) = phi.sin_cos();
    [c[0] + r * co, c[1] + r * s, c[2]]
}
