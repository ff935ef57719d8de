//! What cannot be solved, found before it is tried.

use crate::error::WireError;
use crate::geometry::Wire;
use crate::mesh::{Mesh, Segment};
use crate::vector::{gap, norm, sub};
use slantpath_quantity::Validity;

/// Good to 0.035, warned from 0.04, refused from 0.06 wavelength (own numerical study: m = 0 current against the full
/// cylinder series 0.08 dB at 0.052, 0.19 dB at 0.07).
const WARN_RADIUS: f64 = 0.04;
const REFUSE_RADIUS: f64 = 0.06;

pub(crate) fn thickness(wires: &[Wire], lambda: f64) -> Result<Validity, WireError> {
    let mut validity = Validity::Inside;
    for w in wires {
        let a = w.radius.as_m() / lambda;
        if a > REFUSE_RADIUS {
            return Err(WireError::TooThick {
                wire: w.name.clone(),
                radius_mm: w.radius.as_m() * 1e3,
                in_wavelengths: a,
            });
        }
        validity = validity.and(Validity::check(
            "thin wire",
            "wire radius",
            a,
            0.0..=WARN_RADIUS,
            "wavelengths",
        ));
    }
    Ok(validity)
}

pub(crate) fn mesh(m: &mut Mesh) -> Result<(), WireError> {
    short_segments(m)?;
    if m.plane {
        plane(m)?;
    }
    let remarks = closeness(m)?;
    m.remarks.extend(remarks);
    let longest = m.segments.iter().map(|s| s.len).fold(0.0, f64::max) / m.lambda;
    m.validity = std::mem::take(&mut m.validity).and(Validity::check(
        "thin wire",
        "longest segment",
        longest,
        0.0..=0.125,
        "wavelengths",
    ));
    Ok(())
}

fn short_segments(m: &Mesh) -> Result<(), WireError> {
    match m.segments.iter().find(|s| s.len < s.radius * (1.0 - 1e-9)) {
        None => Ok(()),
        Some(s) => Err(WireError::ShortSegment {
            wire: m.wires[s.wire].name.clone(),
            segment: s.index,
            at: s.mid,
            length_mm: s.len * 1e3,
            radius_mm: s.radius * 1e3,
        }),
    }
}

fn plane(m: &Mesh) -> Result<(), WireError> {
    for s in &m.segments {
        for (node, p) in s.nodes.iter().zip([s.a, s.b()]) {
            if m.on_plane(*node) && s.t[2].abs() > 1e-3 {
                continue;
            }
            if p[2] < s.radius {
                return Err(WireError::InPlane {
                    wire: m.wires[s.wire].name.clone(),
                    at: p,
                    z_mm: p[2] * 1e3,
                    radius_mm: s.radius * 1e3,
                });
            }
        }
    }
    Ok(())
}

/// Pairs closer than their radii away from a common node; and open ends that come close to another wire.
fn closeness(m: &Mesh) -> Result<Vec<String>, WireError> {
    let mut ends = vec![0_u32; m.nodes.len()];
    for n in m.segments.iter().flat_map(|s| s.nodes) {
        ends[n] += 1;
    }
    let mut neighbours: Vec<Vec<usize>> = vec![Vec::new(); m.nodes.len()];
    for s in &m.segments {
        neighbours[s.nodes[0]].push(s.nodes[1]);
        neighbours[s.nodes[1]].push(s.nodes[0]);
    }
    let mut tips = vec![[usize::MAX; 2]; m.wires.len()];
    for s in &m.segments {
        if let Some(t) = tips.get_mut(s.wire) {
            if s.index == 0 {
                t[0] = s.nodes[0];
            }
            t[1] = s.nodes[1];
        }
    }
    // Way along the metal from the middle of a segment over a node where two wires end, when they share one.
    let way = |p: &Segment, q: &Segment| -> f64 {
        let to = |s: &Segment, tip: usize| {
            let from_start = s.s0 + 0.5 * s.len;
            if tip == 0 {
                from_start
            } else {
                m.lengths[s.wire] - from_start
            }
        };
        let mut least = f64::INFINITY;
        for (i, a) in tips[p.wire].iter().enumerate() {
            for (j, b) in tips[q.wire].iter().enumerate() {
                if a == b {
                    least = least.min(to(p, i) + to(q, j));
                }
            }
        }
        least
    };
    let mut remarks = Vec::new();
    for (i, p) in m.segments.iter().enumerate() {
        for q in m.segments.iter().skip(i + 1) {
            let radii = p.radius + q.radius;
            let reach = 0.5 * (p.len + q.len) + 3.0 * radii;
            let d = sub(p.mid, q.mid);
            if d[0].abs() > reach || norm(d) > reach {
                continue;
            }
            if p.nodes.iter().any(|n| q.nodes.contains(n)) {
                continue;
            }
            let (distance, at) = gap(p.a, p.b(), q.a, q.b());
            if distance >= 3.0 * radii {
                continue;
            }
            // Neighbours but one along the metal, on short segments or at a hub, are near by nature.
            let linked = p
                .nodes
                .iter()
                .any(|&n| neighbours[n].iter().any(|k| q.nodes.contains(k)));
            let same = p.wire == q.wire && (p.s0 - q.s0).abs() < p.len + q.len + 6.0 * radii;
            // a wire bent on into another: the inside of the bend is near by nature too
            let bent = p.wire != q.wire && way(p, q) < p.len + q.len + 6.0 * radii;
            if linked || same || bent {
                continue;
            }
            let (first, second) = (m.wires[p.wire].name.clone(), m.wires[q.wire].name.clone());
            if distance < radii {
                return Err(WireError::Touching {
                    first,
                    second,
                    at,
                    gap_mm: distance * 1e3,
                    radii_mm: radii * 1e3,
                });
            }
            let open = |s: &crate::mesh::Segment| {
                s.nodes
                    .iter()
                    .any(|&n| ends[n] == 1 && norm(sub(m.nodes[n], at)) < 3.0 * radii)
            };
            if open(p) || open(q) {
                remarks.push(format!(
                    "an open end lies {:.3} mm from another wire ({first} and {second}); where a joint is meant, both must \
                     meet in one point",
                    distance * 1e3
                ));
            }
        }
    }
    Ok(remarks)
}
