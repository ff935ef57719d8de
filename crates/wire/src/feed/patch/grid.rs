//! The patch as a polar wire grid with feed posts, for the wire solver.
//!
//! Ring wires have a radius of `1/2 pi` of their spacing, which is the strip's surface that they stand for; the outermost
//! and innermost stand inwards of the plate's edge by twice their radius, a wire being as a strip four times as wide.

use super::{InnerEdge, PatchRing};
use crate::error::{WireError, require};
use crate::excite::Port;
use crate::feed::uplink::Ground;
use crate::geometry::{Structure, Wire, shapes};
use crate::mesh::Density;
use crate::solution::Solution;
use crate::system::System;
use num_complex::Complex64;
use slantpath_antenna::polarisation::Sense;
use slantpath_quantity::{Frequency, Length};
use std::f64::consts::PI;

/// The posts by which the patch is driven.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Posts {
    /// Two opposite posts in antiphase, on `x`: one resonance, electric field along `x`.
    Pair,
    /// Two posts a right angle apart, in quadrature: circular.
    Two(Sense),
    /// Four posts a right angle apart, each a quarter period on: circular, without the modes of even period.
    Four(Sense),
}

/// How finely the patch is made of wires.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PatchGrid {
    /// Rings of wire from edge to edge (5 or more).
    pub rings: usize,
    /// Radials around (a multiple of 4).
    pub radials: usize,
    /// Distance of the posts from the axis.
    pub feed_radius: Length,
    /// Diameter of the posts.
    pub post: Length,
    /// The posts.
    pub posts: Posts,
    /// What is behind the patch.
    pub ground: Ground,
}

/// What steps while the dimensions change: how the grid hangs together. Others near a patch divided alike follow a dimension
/// without steps.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Layout {
    /// The ring that goes through the posts.
    at_posts: usize,
    /// Rings of the disc beyond the patch.
    beyond: usize,
    /// Pieces of a post.
    pieces: usize,
}

/// Wires and sources of a patch.
#[derive(Debug, Clone, PartialEq)]
pub struct PatchWires {
    /// The wires.
    pub structure: Structure,
    /// Sources with their voltages.
    pub ports: Vec<(Port, Complex64)>,
}

/// A resonance found by the wire solver.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Resonance {
    /// Where a post's resistance is greatest.
    pub frequency: Frequency,
    /// Quality of the single-tuned circuit through the resistance's course.
    pub q: f64,
    /// Resistance there, ohm.
    pub resistance: f64,
}

impl PatchGrid {
    /// The wires of a patch on air.
    ///
    /// # Errors
    /// As [`PatchRing::check`]; [`WireError::Dimension`] for a dielectric (which wires cannot hold), posts not under the
    /// patch, or a grid too coarse.
    pub fn build(&self, ring: &PatchRing) -> Result<PatchWires, WireError> {
        self.build_as(ring, self.layout(ring)?)
    }

    /// How the grid of this patch hangs together.
    ///
    /// # Errors
    /// As [`PatchGrid::build`].
    pub(crate) fn layout(&self, ring: &PatchRing) -> Result<Layout, WireError> {
        self.check(ring)?;
        let edges = self.edges(ring)?;
        let at_posts = self.ring_at_posts(edges, ring);
        let radii = self.radii(edges, at_posts);
        let beyond = match self.ground {
            Ground::Plane => 0,
            Ground::Disc(d) => {
                let (last, edge) = (radii.last().copied().unwrap_or(0.0), 0.5 * d.as_m());
                let step = (2.0 * PI * last / self.radials as f64).max(0.1 * (edge - last));
                ((edge - last) / step).ceil().max(1.0) as usize
            }
        };
        Ok(Layout {
            at_posts,
            beyond,
            // as long as thick at least, three at most
            pieces: ((ring.height.as_m() / self.post.as_m()) as usize).clamp(1, 3),
        })
    }

    fn check(&self, ring: &PatchRing) -> Result<(), WireError> {
        ring.check()?;
        let need = |ok, what, value, unit, expected| {
            require(ok, "patch grid", what, value, unit, expected)
        };
        need(
            (ring.permittivity - 1.0).abs() < 1e-9,
            "relative permittivity",
            ring.permittivity,
            "",
            "1: the wire solver knows air only",
        )?;
        need(
            (4..=64).contains(&self.rings),
            "number of rings",
            self.rings as f64,
            "",
            "4 to 64",
        )?;
        let around = self.radials;
        need(
            around.is_multiple_of(4) && (8..=180).contains(&around),
            "number of radials",
            around as f64,
            "",
            "a multiple of 4 from 8 to 180",
        )?;
        need(
            self.post.as_m() > 0.0,
            "diameter of the posts",
            self.post.as_m() * 1e3,
            "mm",
            "above 0",
        )
    }

    /// The wires of a patch whose grid hangs together as given.
    ///
    /// # Errors
    /// As [`PatchGrid::build`].
    pub(crate) fn build_as(
        &self,
        ring: &PatchRing,
        layout: Layout,
    ) -> Result<PatchWires, WireError> {
        self.check(ring)?;
        let around = self.radials;
        let h = ring.height.as_m();
        let (a, b) = (0.5 * ring.inner.as_m(), 0.5 * ring.outer.as_m());
        let feed = self.feed_radius.as_m();
        let radii = self.radii(self.edges(ring)?, layout.at_posts);
        let spacing = (b - radii[0]) / (radii.len() - 1) as f64;
        let wire = Length::m(spacing / (2.0 * PI));
        let lengths: Vec<Length> = radii.iter().map(|r| Length::m(*r)).collect();
        let top = [0.0, 0.0, h];
        let mut wires = if a > 0.0 {
            shapes::polar_annulus("patch", top, &lengths, around, wire)?
        } else {
            shapes::polar_disc("patch", top, &lengths, around, wire)?
        };
        let at = |r: f64, z: f64, n: usize| {
            let (s, c) = (2.0 * PI * n as f64 / around as f64).sin_cos();
            [r * c, r * s, z]
        };
        if ring.inner_edge == InnerEdge::Joined {
            wires.extend((0..around).map(|n| {
                Wire::straight(format!("tube, bar {n}"), at(a, 0.0, n), at(a, h, n), wire)
            }));
        }
        let mut ports = Vec::new();
        for (quarter, volts) in self.drive() {
            let name = format!("post {quarter}");
            let n = quarter * around / 4;
            wires.push(
                Wire::straight(&name, at(feed, 0.0, n), at(feed, h, n), self.post * 0.5)
                    .divided(layout.pieces),
            );
            let width = ring.height * 0.3;
            let middle = match self.ground {
                Ground::Plane => Length::m(0.0),
                Ground::Disc(_) => width * 0.5,
            };
            ports.push((Port::new(name, middle, width), volts));
        }
        let structure = match self.ground {
            Ground::Plane => Structure::over_plane(wires),
            Ground::Disc(d) => {
                let rings = ground_rings(&radii, 0.5 * d.as_m(), layout.beyond);
                let disc = shapes::polar_disc("disc", [0.0; 3], &rings, around, wire)?;
                Structure::new(wires).with(disc)
            }
        };
        Ok(PatchWires { structure, ports })
    }

    /// Radii of the innermost and the outermost ring, with the posts between them.
    fn edges(&self, ring: &PatchRing) -> Result<(f64, f64), WireError> {
        let (a, b) = (0.5 * ring.inner.as_m(), 0.5 * ring.outer.as_m());
        let feed = self.feed_radius.as_m();
        let step = (b - a) / self.rings as f64;
        // edge wires inwards by twice their radius; a joined edge stands where the tube is
        let inset = step / PI;
        let lo = match ring.inner_edge {
            InnerEdge::Joined => a,
            InnerEdge::Open if a > 0.0 => a + inset,
            InnerEdge::Open => step,
        };
        let hi = b - inset;
        // posts beside a joined tube would be shorted by it, and its bars need their ring
        let least = match ring.inner_edge {
            InnerEdge::Joined => lo + 0.3 * step,
            InnerEdge::Open => lo,
        };
        require(
            feed >= least && feed <= hi + 1e-9,
            "patch grid",
            "distance of the posts from the axis",
            feed * 1e3,
            "mm",
            "under the patch, within the first and last ring of wire and clear of a joined tube",
        )?;
        Ok((lo, hi))
    }

    fn even(&self, (lo, hi): (f64, f64), i: usize) -> f64 {
        lo + (hi - lo) * i as f64 / (self.rings - 1) as f64
    }

    /// Which ring goes to the posts: the nearest; the edges stay.
    fn ring_at_posts(&self, edges: (f64, f64), ring: &PatchRing) -> usize {
        let n = self.rings;
        let feed = self.feed_radius.as_m();
        let step = 0.5 * (ring.outer - ring.inner).as_m() / n as f64;
        // posts at an edge move the edge's wire, by less than a third of the spacing
        for (i, r) in [(0, edges.0), (n - 1, edges.1)] {
            if (r - feed).abs() < 0.3 * step {
                return i;
            }
        }
        let off = |i: usize| (self.even(edges, i) - feed).abs();
        (1..n - 1)
            .min_by(|&i, &k| off(i).total_cmp(&off(k)))
            .unwrap_or(0)
    }

    /// Ring radii, that of `at_posts` through the posts.
    fn radii(&self, (lo, hi): (f64, f64), at_posts: usize) -> Vec<f64> {
        let n = self.rings;
        let feed = self.feed_radius.as_m();
        let edge = at_posts == 0 || at_posts == n - 1;
        // the rings on both sides of it share the rest evenly
        (0..n)
            .map(|i| match i.cmp(&at_posts) {
                std::cmp::Ordering::Equal => feed,
                _ if edge => self.even((lo, hi), i),
                std::cmp::Ordering::Less => lo + (feed - lo) * i as f64 / at_posts as f64,
                std::cmp::Ordering::Greater => {
                    feed + (hi - feed) * (i - at_posts) as f64 / (n - 1 - at_posts) as f64
                }
            })
            .collect()
    }

    /// Which quarters have a post, and its voltage.
    fn drive(&self) -> Vec<(usize, Complex64)> {
        let one = Complex64::new(1.0, 0.0);
        // right: y lags x
        let turn = |s: Sense| match s {
            Sense::Right => Complex64::new(0.0, -1.0),
            Sense::Left => Complex64::new(0.0, 1.0),
        };
        match self.posts {
            Posts::Pair => vec![(0, one), (2, -one)],
            Posts::Two(s) => vec![(0, one), (1, turn(s))],
            Posts::Four(s) => vec![(0, one), (1, turn(s)), (2, -one), (3, -turn(s))],
        }
    }

    /// Solves at a frequency and measures.
    ///
    /// # Errors
    /// As [`PatchGrid::build`] and [`System::new`].
    pub fn solve<T>(
        &self,
        ring: &PatchRing,
        f: Frequency,
        density: Density,
        measure: impl Fn(&Solution<'_>, &PatchWires) -> Result<T, WireError>,
    ) -> Result<T, WireError> {
        let wires = self.build(ring)?;
        let system = System::new(&wires.structure, f, density)?;
        measure(&system.drive(&wires.ports)?, &wires)
    }

    /// Finds the resonance near a frequency: a single-tuned circuit through the posts' conductance course, solved at five
    /// frequencies over `span` (relative) around it and once more around what was found.
    ///
    /// `1/Re Z = (1 + Q^2 (f/f_0 - f_0/f)^2)/R` for a tuned circuit behind any series reactance: a parabola near `f_0`.
    ///
    /// # Errors
    /// As [`PatchGrid::solve`]; [`WireError::Singular`] when the resistance has no peak there.
    pub fn resonance(
        &self,
        ring: &PatchRing,
        near: Frequency,
        span: f64,
        density: Density,
    ) -> Result<Resonance, WireError> {
        let first = self.fit(ring, near, span, density)?;
        self.fit(ring, first.frequency, 0.6 * span, density)
    }

    fn fit(
        &self,
        ring: &PatchRing,
        near: Frequency,
        span: f64,
        density: Density,
    ) -> Result<Resonance, WireError> {
        let wires = self.build(ring)?;
        let mut points = Vec::new();
        for i in -2..=2 {
            let x = span * 0.25 * f64::from(i);
            let f = Frequency::hz(near.as_hz() * (1.0 + x));
            let system = System::new(&wires.structure, f, density)?;
            let on = system.drive(&wires.ports)?;
            if let Some((port, volts)) = wires.ports.first() {
                points.push((x, 1.0 / (volts / on.current(port)?).re));
            }
        }
        let [c0, c1, c2] = parabola(&points);
        let x0 = -0.5 * c1 / c2;
        let least = c0 + 0.5 * c1 * x0;
        if !(c2 > 0.0 && least > 0.0 && x0.abs() < 3.0 * span) {
            return Err(WireError::Singular(format!(
                "the patch has no resonance within {:.0} % of {:.3} GHz",
                150.0 * span,
                near.as_hz() * 1e-9
            )));
        }
        // (f/f0 - f0/f)^2 = 4 (dx/(1 + x0))^2 to first order
        Ok(Resonance {
            frequency: Frequency::hz(near.as_hz() * (1.0 + x0)),
            q: 0.5 * (c2 / least).sqrt() * (1.0 + x0),
            resistance: 1.0 / least,
        })
    }
}

/// The disc's rings: those of the patch (so that posts and tube stand on nodes), then so many more to its edge.
fn ground_rings(patch: &[f64], edge: f64, more: usize) -> Vec<Length> {
    let last = patch.last().copied().unwrap_or(0.0);
    let beyond = (1..=more).map(|i| last + (edge - last) * i as f64 / more as f64);
    patch.iter().copied().chain(beyond).map(Length::m).collect()
}

/// Least squares of `c0 + c1 x + c2 x^2` through points whose abscissas are symmetric about 0.
fn parabola(points: &[(f64, f64)]) -> [f64; 3] {
    let n = points.len() as f64;
    let s = |f: &dyn Fn(f64, f64) -> f64| points.iter().map(|(x, y)| f(*x, *y)).sum::<f64>();
    let (x2, x4) = (s(&|x, _| x * x), s(&|x, _| x.powi(4)));
    let (y, xy, x2y) = (s(&|_, y| y), s(&|x, y| x * y), s(&|x, y| x * x * y));
    let c2 = (n * x2y - x2 * y) / (n * x4 - x2 * x2);
    [(y - c2 * x2) / n, xy / x2, c2]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rings rise from edge to edge with one through the posts, wherever those are.
    #[test]
    fn rings_through_the_posts() {
        for inner in [InnerEdge::Open, InnerEdge::Joined] {
            for feed in [13.2, 14.0, 17.3, 20.0, 22.5, 27.9, 28.5] {
                let g = PatchGrid {
                    rings: 5,
                    radials: 20,
                    feed_radius: Length::mm(feed),
                    post: Length::mm(2.0),
                    posts: Posts::Pair,
                    ground: Ground::Plane,
                };
                let (outer, hole, height) = (Length::mm(60.0), Length::mm(22.0), Length::mm(5.0));
                let ring = PatchRing::air(outer, hole, height, Length::mm(110.0));
                let ring = ring.with_inner_edge(inner);
                let edges = g.edges(&ring).unwrap();
                let r = g.radii(edges, g.ring_at_posts(edges, &ring));
                assert_eq!(r.len(), 5);
                assert!(r.windows(2).all(|w| w[1] - w[0] > 1e-3), "{feed} {r:?}");
                assert!(r.iter().any(|x| (x - feed * 1e-3).abs() < 1e-12));
            }
        }
    }

    /// A post midway between two rings, and as many times longer than thick as would be cut otherwise: both neighbours of the
    /// patch are divided as it is.
    #[test]
    fn neighbours_are_divided_alike() {
        let ring = |outer: f64, height: f64| {
            let (hole, disc) = (Length::mm(22.0), Length::mm(110.0));
            PatchRing::air(Length::mm(outer), hole, Length::mm(height), disc)
        };
        let g = PatchGrid {
            rings: 4,
            radials: 20,
            feed_radius: Length::mm(20.5),
            post: Length::mm(2.0),
            posts: Posts::Two(Sense::Right),
            ground: Ground::Disc(Length::mm(110.0)),
        };
        let (below, above) = (ring(59.5, 5.9), ring(60.5, 6.1));
        let layout = g.layout(&ring(60.0, 6.0)).unwrap();
        assert!(g.layout(&below).unwrap() != layout || g.layout(&above).unwrap() != layout);
        let [a, b] = [below, above].map(|r| g.build_as(&r, layout).unwrap().structure.wires);
        assert_eq!(a.len(), b.len());
        assert!(
            a.iter()
                .zip(&b)
                .all(|(a, b)| a.name == b.name && a.division == b.division)
        );
    }

    #[test]
    fn parabola_is_found() {
        let points: Vec<_> = [-2.0, -1.0, 0.0, 1.0, 2.0]
            .map(|x: f64| (x, 3.0 - x + 0.5 * x * x))
            .to_vec();
        let c = parabola(&points);
        assert!((c[0] - 3.0).abs() + (c[1] + 1.0).abs() + (c[2] - 0.5).abs() < 1e-12);
    }
}
