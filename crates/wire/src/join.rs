//! Where wires meet: nodes at one place, and points added where a wire ends on another's straight leg.

use crate::geometry::{Curve, Wire};
use crate::vector::{V3, add, dot, norm, scale, sub};
use std::collections::HashMap;

/// Finds the node at a place, within a tolerance.
pub(crate) struct NodeGrid {
    tolerance: f64,
    cells: HashMap<[i64; 3], Vec<usize>>,
}

impl NodeGrid {
    pub fn new(tolerance: f64) -> Self {
        Self {
            tolerance,
            cells: HashMap::new(),
        }
    }
    pub fn node(&mut self, p: V3, nodes: &mut Vec<V3>) -> usize {
        let cell = p.map(|x| (x / self.tolerance * 0.25).round() as i64);
        for dx in -1..=1 {
            for dy in -1..=1 {
                for dz in -1..=1 {
                    let near = self.cells.get(&[cell[0] + dx, cell[1] + dy, cell[2] + dz]);
                    let hit = near
                        .into_iter()
                        .flatten()
                        .find(|&&i| norm(sub(nodes[i], p)) < self.tolerance);
                    if let Some(&i) = hit {
                        return i;
                    }
                }
            }
        }
        nodes.push(p);
        self.cells.entry(cell).or_default().push(nodes.len() - 1);
        nodes.len() - 1
    }
}

/// Wires with a point added to a straight leg wherever another wire ends on it.
pub(crate) fn tapped(wires: &[Wire]) -> Vec<Wire> {
    let ends: Vec<V3> = wires
        .iter()
        .flat_map(|w| {
            let p = w.points(f64::INFINITY, 1.0, 0.0);
            [p.first().copied(), p.last().copied()]
        })
        .flatten()
        .collect();
    let mut out = wires.to_vec();
    for w in &mut out {
        let tolerance = 1e-3 * w.radius.as_m();
        let Curve::Polyline(points) = &mut w.curve else {
            continue;
        };
        let mut k = 0;
        while k + 1 < points.len() {
            let (a, b) = (points[k], points[k + 1]);
            let d = sub(b, a);
            let l2 = dot(d, d);
            // the nearest end strictly inside this leg
            let hit = ends
                .iter()
                .filter_map(|e| {
                    let s = dot(sub(*e, a), d) / l2;
                    let off = norm(sub(*e, add(a, scale(d, s))));
                    let inside =
                        s * l2.sqrt() > 2.0 * tolerance && (1.0 - s) * l2.sqrt() > 2.0 * tolerance;
                    (inside && off < tolerance).then_some((s, *e))
                })
                .min_by(|x, y| x.0.total_cmp(&y.0));
            if let Some((_, e)) = hit {
                points.insert(k + 1, e);
            }
            k += 1;
        }
    }
    out
}
