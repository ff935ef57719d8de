//! Wires as a person describes them: curves with a radius, metres, axes as the feed's frame (`z` where it looks).

pub mod shapes;

use crate::error::{WireError, require};
use crate::vector::{V3, add, along, norm, sub};
use slantpath_antenna::polarisation::Sense;
use slantpath_quantity::Length;
use std::f64::consts::PI;

/// How a wire runs. Places in metres.
#[derive(Debug, Clone, PartialEq)]
pub enum Curve {
    /// Straight legs through these points.
    Polyline(Vec<V3>),
    /// A helix along `+z`.
    Helix(Helix),
    /// Part of a circle: `centre + u cos t + v sin t` for `t` from `from` to `to` radians, `u` and `v` as long as its
    /// radius and at a right angle.
    Arc {
        /// Centre of the circle.
        centre: V3,
        /// Where `t = 0` is, from the centre.
        u: V3,
        /// Where `t = pi/2` is, from the centre.
        v: V3,
        /// First parameter, radian.
        from: f64,
        /// Last parameter, radian.
        to: f64,
    },
}

/// A helix along `+z`, with taper. Wound right (as a common screw) it radiates right-hand circular off its end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Helix {
    /// Centre of the winding's lowest plane, m.
    pub base: V3,
    /// Radius of the winding (to the wire's axis) at the start.
    pub radius: Length,
    /// Radius at the end: another value tapers the winding linearly with the turn.
    pub end_radius: Length,
    /// Rise per turn.
    pub pitch: Length,
    /// Number of turns, need not be whole.
    pub turns: f64,
    /// Azimuth of the start, radian from `x`.
    pub start_rad: f64,
    /// Winding sense, as the wave it radiates.
    pub sense: Sense,
}

impl Helix {
    /// Point at a fraction `s` of the turns.
    pub fn point(&self, s: f64) -> V3 {
        let sign = match self.sense {
            Sense::Right => 1.0,
            Sense::Left => -1.0,
        };
        let angle = self.start_rad + sign * 2.0 * PI * self.turns * s;
        let r = self.radius.as_m() * (1.0 - s) + self.end_radius.as_m() * s;
        let (sin, cos) = angle.sin_cos();
        add(
            self.base,
            [r * cos, r * sin, self.pitch.as_m() * self.turns * s],
        )
    }

    /// Length of the wire, m (at the mean radius when tapered).
    pub fn length(&self) -> f64 {
        let r = 0.5 * (self.radius.as_m() + self.end_radius.as_m());
        self.turns * (2.0 * PI * r).hypot(self.pitch.as_m())
    }

    fn check(&self, name: &str) -> Result<(), WireError> {
        let mm = |l: Length| l.as_m() * 1e3;
        require(
            self.turns > 0.0 && self.turns <= 1000.0,
            name,
            "number of turns",
            self.turns,
            "",
            "above 0, at most 1000",
        )?;
        require(
            self.radius.as_m() > 0.0,
            name,
            "radius of the winding",
            mm(self.radius),
            "mm",
            "above 0",
        )?;
        require(
            self.end_radius.as_m() > 0.0,
            name,
            "radius of the winding at its end",
            mm(self.end_radius),
            "mm",
            "above 0",
        )?;
        require(
            self.pitch.as_m() >= 0.0,
            name,
            "pitch",
            mm(self.pitch),
            "mm",
            "0 or above",
        )
    }
}

/// A matrix of about a gigabyte.
pub(crate) const MOST_SEGMENTS: usize = 8000;

/// How finely a wire is divided.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Division {
    /// By the density asked for when the structure is solved.
    #[default]
    Auto,
    /// So many segments at density factor 1 (rounded when refined). A polyline shares them out over its legs.
    Count(usize),
}

/// One wire.
#[derive(Debug, Clone, PartialEq)]
pub struct Wire {
    /// Name used in every message.
    pub name: String,
    /// How it runs.
    pub curve: Curve,
    /// Radius of the conductor.
    pub radius: Length,
    /// Conductivity, S/m; `None` is a perfect conductor. Copper 5.8e7 (IACS, from memory).
    pub conductivity: Option<f64>,
    /// Segments.
    pub division: Division,
}

impl Wire {
    /// A perfectly conducting wire divided by density.
    pub fn new(name: impl Into<String>, curve: Curve, radius: Length) -> Self {
        Self {
            name: name.into(),
            curve,
            radius,
            conductivity: None,
            division: Division::Auto,
        }
    }
    /// A straight wire.
    pub fn straight(name: impl Into<String>, from: V3, to: V3, radius: Length) -> Self {
        Self::new(name, Curve::Polyline(vec![from, to]), radius)
    }
    /// With a fixed number of segments.
    pub fn divided(mut self, segments: usize) -> Self {
        self.division = Division::Count(segments);
        self
    }
    /// With a finite conductivity, S/m.
    pub fn conducting(mut self, siemens_per_m: f64) -> Self {
        self.conductivity = Some(siemens_per_m);
        self
    }

    pub(crate) fn check(&self) -> Result<(), WireError> {
        require(
            self.radius.as_m() > 0.0,
            &self.name,
            "wire radius",
            self.radius.as_m() * 1e3,
            "mm",
            "above 0",
        )?;
        if let Some(s) = self.conductivity {
            require(s > 0.0, &self.name, "conductivity", s, "S/m", "above 0")?;
        }
        if self.division == Division::Count(0) {
            require(
                false,
                &self.name,
                "number of segments",
                0.0,
                "",
                "1 or more",
            )?;
        }
        match &self.curve {
            Curve::Helix(h) => h.check(&self.name),
            Curve::Arc { u, v, from, to, .. } => {
                require(
                    norm(*u) > 0.0 && norm(*v) > 0.0,
                    &self.name,
                    "radius of the arc",
                    norm(*u) * 1e3,
                    "mm",
                    "above 0",
                )?;
                require(
                    (to - from).abs() > 0.0,
                    &self.name,
                    "angle of the arc",
                    to - from,
                    "rad",
                    "other than 0",
                )
            }
            Curve::Polyline(p) => {
                require(
                    p.len() >= 2,
                    &self.name,
                    "number of points",
                    p.len() as f64,
                    "",
                    "2 or more",
                )?;
                p.windows(2).try_for_each(|w| match w {
                    [a, b] => require(
                        norm(sub(*b, *a)) > 0.0,
                        &self.name,
                        "length of a leg",
                        norm(sub(*b, *a)) * 1e3,
                        "mm",
                        "above 0",
                    ),
                    _ => Ok(()),
                })
            }
        }
    }

    /// About how many segments [`Wire::points`] makes, before they are made.
    pub(crate) fn count(&self, step: f64, per_turn: f64, factor: f64) -> f64 {
        if let Division::Count(n) = self.division {
            return n as f64 * factor;
        }
        match &self.curve {
            Curve::Helix(h) => (h.length() / step).max(h.turns * per_turn),
            Curve::Arc { u, from, to, .. } => {
                let angle = (to - from).abs();
                (norm(*u) * angle / step).max(angle / (2.0 * PI) * per_turn)
            }
            Curve::Polyline(p) => p
                .windows(2)
                .map(|w| (norm(sub(w[1], w[0])) / step).max(1.0))
                .sum(),
        }
    }

    /// Points of the divided wire, first to last. `step` is the longest segment wished, m.
    pub(crate) fn points(&self, step: f64, per_turn: f64, factor: f64) -> Vec<V3> {
        let fixed = match self.division {
            Division::Count(n) => Some(((n as f64 * factor).round() as usize).max(1)),
            Division::Auto => None,
        };
        let smooth = |length: f64, turns: f64, at: &dyn Fn(f64) -> V3| -> Vec<V3> {
            let n = fixed.unwrap_or(
                ((length / step).ceil().max((turns * per_turn - 1e-9).ceil()) as usize).max(1),
            );
            (0..=n).map(|i| at(i as f64 / n as f64)).collect()
        };
        match &self.curve {
            Curve::Helix(h) => smooth(h.length(), h.turns, &|s| h.point(s)),
            Curve::Arc {
                centre,
                u,
                v,
                from,
                to,
            } => {
                let angle = (to - from).abs();
                smooth(norm(*u) * angle, angle / (2.0 * PI), &|s| {
                    let (sin, cos) = (from + s * (to - from)).sin_cos();
                    along(along(*centre, *u, cos), *v, sin)
                })
            }
            Curve::Polyline(p) => {
                let legs: Vec<f64> = p.windows(2).map(|w| norm(sub(w[1], w[0]))).collect();
                let whole: f64 = legs.iter().sum();
                let mut out = vec![p[0]];
                for (w, len) in p.windows(2).zip(&legs) {
                    let n = match fixed {
                        Some(n) => ((n as f64 * len / whole).round() as usize).max(1),
                        None => ((len / step - 1e-9).ceil() as usize).max(1),
                    };
                    let d = sub(w[1], w[0]);
                    out.extend((1..n).map(|i| along(w[0], d, i as f64 / n as f64)));
                    out.push(w[1]);
                }
                out
            }
        }
    }
}

/// Lumped series impedance in a wire.
#[derive(Debug, Clone, PartialEq)]
pub struct Load {
    /// Name of the wire.
    pub wire: String,
    /// Distance from the wire's start to the middle of the load.
    pub position: Length,
    /// Length over which it is spread.
    pub width: Length,
    /// Impedance, ohm.
    pub ohm: num_complex::Complex64,
}

/// Several wires, joined where their ends meet, over nothing or over a perfect plane.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Structure {
    /// The wires.
    pub wires: Vec<Wire>,
    /// A perfectly conducting infinite plane at `z = 0`; wires stand above it, ends on it are connected to it.
    pub plane: bool,
    /// Lumped loads.
    pub loads: Vec<Load>,
}

impl Structure {
    /// In free space.
    pub fn new(wires: Vec<Wire>) -> Self {
        Self {
            wires,
            plane: false,
            loads: Vec::new(),
        }
    }
    /// Over a perfect plane at `z = 0`.
    pub fn over_plane(wires: Vec<Wire>) -> Self {
        Self {
            plane: true,
            ..Self::new(wires)
        }
    }
    /// Together with more wires.
    pub fn with(mut self, wires: impl IntoIterator<Item = Wire>) -> Self {
        self.wires.extend(wires);
        self
    }
    /// With a lumped load.
    pub fn loaded(mut self, load: Load) -> Self {
        self.loads.push(load);
        self
    }
}
