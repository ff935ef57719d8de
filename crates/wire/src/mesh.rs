//! Straight segments, nodes and triangle functions.
//!
//! A *half* is a ramp on one segment, 1 at one of its ends and 0 at the other. A function is two halves that meet in a node
//! (current flows in on one and out on the other); where `m` ends meet, `m - 1` functions share the first end, so that
//! Kirchhoff's law holds by construction. On the perfect plane a single half is completed by its image.

use crate::check;
use crate::error::WireError;
use crate::geometry::{MOST_SEGMENTS, Structure, Wire};
use crate::join::{NodeGrid, tapped};
use crate::vector::{V3, across, along, norm, scale, sub};
use num_complex::Complex64;
use slantpath_quantity::{Frequency, Validity};

/// How finely to divide what [`crate::Division::Auto`] leaves open, and a factor on everything.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Density {
    /// Segments per wavelength.
    pub per_wavelength: f64,
    /// Segments per turn of a helix or circle.
    pub per_turn: f64,
    /// Factor on both and on fixed numbers of segments.
    pub factor: f64,
}

impl Default for Density {
    /// 20 per wavelength and per turn: directivity of an axial helix within 0.05 dB (own numerical study).
    fn default() -> Self {
        Self {
            per_wavelength: 20.0,
            per_turn: 20.0,
            factor: 1.0,
        }
    }
}

impl Density {
    /// So many segments per wavelength and per turn.
    pub fn per_wavelength(n: f64) -> Self {
        Self {
            per_wavelength: n,
            per_turn: n,
            factor: 1.0,
        }
    }
    /// Finer by a factor.
    pub fn finer(self, factor: f64) -> Self {
        Self {
            factor: self.factor * factor,
            ..self
        }
    }
}

/// A straight piece of wire.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Segment {
    pub a: V3,
    pub mid: V3,
    /// Unit tangent, first to last point of the wire.
    pub t: V3,
    pub across: [V3; 2],
    pub len: f64,
    pub radius: f64,
    pub nodes: [usize; 2],
    pub wire: usize,
    /// Counted along the wire.
    pub index: usize,
    /// Distance of its start from the wire's start.
    pub s0: f64,
}

impl Segment {
    pub fn new(a: V3, b: V3, radius: f64) -> Self {
        let d = sub(b, a);
        let len = norm(d);
        let t = scale(d, 1.0 / len);
        Self {
            a,
            mid: along(a, d, 0.5),
            t,
            across: across(t),
            len,
            radius,
            nodes: [usize::MAX; 2],
            wire: 0,
            index: 0,
            s0: 0.0,
        }
    }
    pub fn point(&self, u: f64) -> V3 {
        along(self.a, self.t, self.len * u)
    }
    pub fn b(&self) -> V3 {
        self.point(1.0)
    }
    /// Mirrored in `z = 0`.
    pub fn mirrored(&self) -> Self {
        use crate::vector::mirror;
        let t = mirror(self.t);
        Self {
            a: mirror(self.a),
            mid: mirror(self.mid),
            t,
            across: across(t),
            ..*self
        }
    }
}

/// One ramp of a function.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Half {
    pub basis: usize,
    pub segment: usize,
    /// 0: the ramp is 1 at the segment's start; 1: at its end.
    pub end: usize,
    /// +1 when the current runs along the segment's tangent.
    pub sign: f64,
}

/// A structure divided for one frequency.
#[derive(Debug, Clone)]
pub struct Mesh {
    pub(crate) segments: Vec<Segment>,
    pub(crate) nodes: Vec<V3>,
    /// Sorted by segment.
    pub(crate) halves: Vec<Half>,
    /// `halves[first[p]..first[p + 1]]` lie on segment `p`.
    pub(crate) first: Vec<usize>,
    /// Halves of each function, as indices into `halves`.
    pub(crate) of_basis: Vec<Vec<usize>>,
    pub(crate) wires: Vec<Wire>,
    pub(crate) lengths: Vec<f64>,
    pub(crate) plane: bool,
    pub(crate) lambda: f64,
    pub(crate) validity: Validity,
    /// Remarks that are no faults (an open end close to another wire).
    pub(crate) remarks: Vec<String>,
}

impl Mesh {
    /// Divides a structure for a frequency, joins what meets and checks what cannot be solved.
    ///
    /// # Errors
    /// [`WireError`] for dimensions without meaning, wire thicker than 0.06 wavelength, segments shorter than their radius,
    /// wires that cross or touch, wires in the perfect plane, or nothing to solve.
    pub fn new(structure: &Structure, f: Frequency, density: Density) -> Result<Self, WireError> {
        crate::error::require(
            f.as_hz() > 0.0,
            "structure",
            "frequency",
            f.as_hz(),
            "Hz",
            "above 0",
        )?;
        crate::error::require(
            density.per_wavelength > 2.0 && density.per_turn >= 4.0 && density.factor > 0.0,
            "structure",
            "segments per wavelength",
            density.per_wavelength * density.factor,
            "",
            "above 2 (and 4 or more per turn)",
        )?;
        let lambda = f.wavelength().as_m();
        for w in &structure.wires {
            w.check()?;
        }
        let validity = check::thickness(&structure.wires, lambda)?;
        let wires = tapped(&structure.wires);
        let (per_wave, per_turn) = (
            density.per_wavelength * density.factor,
            density.per_turn * density.factor,
        );
        let mut count = 0.0;
        for w in &wires {
            count += w.count(lambda / per_wave, per_turn, density.factor);
            if count > MOST_SEGMENTS as f64 {
                return Err(WireError::TooLarge {
                    wire: w.name.clone(),
                    limit: MOST_SEGMENTS,
                });
            }
        }
        let mut mesh = Self {
            segments: Vec::new(),
            nodes: Vec::new(),
            halves: Vec::new(),
            first: Vec::new(),
            of_basis: Vec::new(),
            lengths: Vec::new(),
            plane: structure.plane,
            lambda,
            validity,
            remarks: Vec::new(),
            wires: Vec::new(),
        };
        let thinnest = wires
            .iter()
            .map(|w| w.radius.as_m())
            .fold(f64::INFINITY, f64::min);
        let mut grid = NodeGrid::new(1e-3 * thinnest);
        for (i, w) in wires.iter().enumerate() {
            let points = w.points(lambda / per_wave, per_turn, density.factor);
            mesh.add_wire(i, w.radius.as_m(), &points, &mut grid);
        }
        mesh.wires = wires;
        check::mesh(&mut mesh)?;
        mesh.build_functions();
        if mesh.of_basis.is_empty() {
            return Err(WireError::Empty);
        }
        Ok(mesh)
    }

    fn add_wire(&mut self, wire: usize, radius: f64, points: &[V3], grid: &mut NodeGrid) {
        let mut s0 = 0.0;
        let mut from = points.first().map(|&p| grid.node(p, &mut self.nodes));
        for (index, w) in points.windows(2).enumerate() {
            let to = grid.node(w[1], &mut self.nodes);
            let mut seg = Segment::new(w[0], w[1], radius);
            seg.nodes = [from.unwrap_or(usize::MAX), to];
            (seg.wire, seg.index, seg.s0) = (wire, index, s0);
            s0 += seg.len;
            from = Some(to);
            self.segments.push(seg);
        }
        self.lengths.push(s0);
    }

    fn build_functions(&mut self) {
        let mut ends: Vec<Vec<(usize, usize)>> = vec![Vec::new(); self.nodes.len()];
        for (p, s) in self.segments.iter().enumerate() {
            for (end, &node) in s.nodes.iter().enumerate() {
                if let Some(e) = ends.get_mut(node) {
                    e.push((p, end));
                }
            }
        }
        let towards = |end: usize| if end == 1 { 1.0 } else { -1.0 };
        let mut halves = Vec::new();
        let mut basis = 0;
        for (node, at) in ends.iter().enumerate() {
            if self.plane && self.on_plane(node) {
                for &(segment, end) in at {
                    halves.push(Half {
                        basis,
                        segment,
                        end,
                        sign: -towards(end),
                    });
                    basis += 1;
                }
                continue;
            }
            let Some((&(s0, e0), rest)) = at.split_first() else {
                continue;
            };
            for &(segment, end) in rest {
                halves.push(Half {
                    basis,
                    segment: s0,
                    end: e0,
                    sign: towards(e0),
                });
                halves.push(Half {
                    basis,
                    segment,
                    end,
                    sign: -towards(end),
                });
                basis += 1;
            }
        }
        halves.sort_by_key(|h| (h.segment, h.basis));
        let mut first = vec![0; self.segments.len() + 1];
        for h in &halves {
            first[h.segment + 1] += 1;
        }
        for i in 1..first.len() {
            first[i] += first[i - 1];
        }
        self.of_basis = vec![Vec::new(); basis];
        for (i, h) in halves.iter().enumerate() {
            self.of_basis[h.basis].push(i);
        }
        (self.halves, self.first) = (halves, first);
    }

    pub(crate) fn on_plane(&self, node: usize) -> bool {
        self.nodes
            .get(node)
            .is_some_and(|p| p[2].abs() < 1e-9 + 1e-6 * self.lambda)
    }
    pub(crate) fn halves_on(&self, segment: usize) -> &[Half] {
        self.halves
            .get(self.first[segment]..self.first[segment + 1])
            .unwrap_or(&[])
    }
    /// Unknowns.
    pub fn unknowns(&self) -> usize {
        self.of_basis.len()
    }
    /// Segments.
    pub fn segments(&self) -> usize {
        self.segments.len()
    }
    /// Wavelength, m.
    pub fn wavelength_m(&self) -> f64 {
        self.lambda
    }
    /// Inside the thin-wire range, or why not.
    pub fn validity(&self) -> &Validity {
        &self.validity
    }
    /// Remarks that are no faults, such as an open end close to another wire.
    pub fn remarks(&self) -> &[String] {
        &self.remarks
    }
    /// Middle, tangent, length (m) and wire index of every segment, in the order of [`crate::Solution::currents`].
    pub fn places(&self) -> impl Iterator<Item = (V3, V3, f64, usize)> + '_ {
        self.segments.iter().map(|s| (s.mid, s.t, s.len, s.wire))
    }
    pub(crate) fn wire_index(&self, name: &str) -> Option<usize> {
        self.wires.iter().position(|w| w.name == name)
    }
    /// Segment currents at start and end from function coefficients.
    pub(crate) fn currents(&self, x: &[Complex64]) -> Vec<[Complex64; 2]> {
        let mut out = vec![[Complex64::default(); 2]; self.segments.len()];
        for h in &self.halves {
            out[h.segment][h.end] += x[h.basis] * h.sign;
        }
        out
    }
}
