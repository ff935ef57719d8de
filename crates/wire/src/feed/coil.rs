//! A coil as a person measures it.

use crate::error::{WireError, require};
use crate::geometry::{Curve, Helix, Wire, shapes};
use slantpath_antenna::polarisation::Sense;
use slantpath_quantity::{Angle, Frequency, Length, Validity};

/// What the wire is made of.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Metal {
    /// No loss.
    Perfect,
    /// 5.8e7 S/m (IACS, from memory).
    #[default]
    Copper,
    /// So many siemens per metre.
    Conductivity(f64),
}

impl Metal {
    pub(crate) fn of(self) -> Option<f64> {
        match self {
            Self::Perfect => None,
            Self::Copper => Some(5.8e7),
            Self::Conductivity(s) => Some(s),
        }
    }
}

/// A winding over the disc.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coil {
    /// Number of turns, need not be whole.
    pub turns: f64,
    /// Diameter to the middle of the wire, at the disc's end.
    pub diameter: Length,
    /// Diameter at the open end: another value is a taper.
    pub end_diameter: Length,
    /// Rise per turn.
    pub pitch: Length,
    /// Diameter of the wire itself.
    pub wire: Length,
    /// Height of the winding's start over the disc: the straight piece from which it is fed.
    pub stub: Length,
    /// Azimuth of the start, from `x`.
    pub start: Angle,
    /// Winding sense, as the wave it radiates towards the dish; see [`super::winding`].
    pub sense: Sense,
    /// What it is made of.
    pub metal: Metal,
}

/// A dimension of the coil that a person can change or measure wrongly.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum CoilDimension {
    /// Number of turns.
    Turns,
    /// Diameter to the middle of the wire; a taper keeps its ratio.
    Diameter,
    /// Rise per turn.
    Pitch,
    /// Diameter of the wire.
    Wire,
    /// Height of the start over the disc.
    Stub,
}

impl CoilDimension {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Turns,
        Self::Diameter,
        Self::Pitch,
        Self::Wire,
        Self::Stub,
    ];
    /// What a person calls it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Turns => "turns",
            Self::Diameter => "coil diameter",
            Self::Pitch => "pitch",
            Self::Wire => "wire diameter",
            Self::Stub => "height of the first turn",
        }
    }
}

impl Coil {
    /// An untapered copper coil that starts at azimuth 0.
    pub fn new(
        turns: f64,
        diameter: Length,
        pitch: Length,
        wire: Length,
        stub: Length,
        sense: Sense,
    ) -> Self {
        Self {
            turns,
            diameter,
            end_diameter: diameter,
            pitch,
            wire,
            stub,
            start: Angle::rad(0.0),
            sense,
            metal: Metal::Copper,
        }
    }

    /// One dimension; lengths in metres, turns as a number.
    pub fn get(&self, d: CoilDimension) -> f64 {
        match d {
            CoilDimension::Turns => self.turns,
            CoilDimension::Diameter => self.diameter.as_m(),
            CoilDimension::Pitch => self.pitch.as_m(),
            CoilDimension::Wire => self.wire.as_m(),
            CoilDimension::Stub => self.stub.as_m(),
        }
    }
    /// With one dimension changed; lengths in metres, turns as a number.
    pub fn with(mut self, d: CoilDimension, value: f64) -> Self {
        let m = Length::m(value);
        match d {
            CoilDimension::Turns => self.turns = value,
            CoilDimension::Diameter => {
                let ratio = self.end_diameter / self.diameter;
                (self.diameter, self.end_diameter) = (m, m * ratio);
            }
            CoilDimension::Pitch => self.pitch = m,
            CoilDimension::Wire => self.wire = m,
            CoilDimension::Stub => self.stub = m,
        }
        self
    }

    /// Height of the open end over the disc, to the middle of the wire.
    pub fn height(&self) -> Length {
        self.stub + self.pitch * self.turns
    }
    /// Clear radius inside the winding, at its narrowest.
    pub fn clear_radius(&self) -> Length {
        let d = self.diameter.as_m().min(self.end_diameter.as_m());
        Length::m(0.5 * (d - self.wire.as_m()))
    }
    /// Length of the wire, stub included.
    pub fn wire_length(&self) -> Length {
        Length::m(self.helix().length()) + self.stub
    }

    pub(crate) fn helix(&self) -> Helix {
        Helix {
            base: [0.0, 0.0, self.stub.as_m()],
            radius: self.diameter * 0.5,
            end_radius: self.end_diameter * 0.5,
            pitch: self.pitch,
            turns: self.turns,
            start_rad: self.start.as_rad(),
            sense: self.sense,
        }
    }

    /// Winding and, when `stub`, the straight piece down to the disc. The wires are called `coil` and `coil, stub`.
    pub(crate) fn wires(&self, stub: bool) -> Vec<Wire> {
        let radius = self.wire * 0.5;
        let mut wires = if stub && self.stub.as_m() > 0.0 {
            shapes::helix_with_stub("coil", self.helix(), self.stub, radius)
        } else {
            vec![Wire::new("coil", Curve::Helix(self.helix()), radius)]
        };
        for w in &mut wires {
            w.conductivity = self.metal.of();
        }
        wires
    }

    /// Whether the thin-wire model holds for this wire at a frequency: outside above a radius of 0.04 wavelength.
    ///
    /// # Errors
    /// [`WireError::TooThick`] above 0.06 wavelength.
    pub fn validity(&self, f: Frequency) -> Result<Validity, WireError> {
        crate::check::thickness(&self.wires(false), f.wavelength().as_m())
    }

    /// Whether the dimensions make a coil at all.
    ///
    /// # Errors
    /// [`WireError::Dimension`] naming the dimension and the range.
    pub fn check(&self) -> Result<(), WireError> {
        let mm = |l: Length| l.as_m() * 1e3;
        let c = "coil";
        require(
            self.turns > 0.0 && self.turns <= 50.0,
            c,
            "number of turns",
            self.turns,
            "",
            "above 0, at most 50: without a turn there is no coil, so leave its section out",
        )?;
        for (what, d) in [
            ("diameter", self.diameter),
            ("diameter at the open end", self.end_diameter),
        ] {
            require(
                d > self.wire,
                c,
                what,
                mm(d),
                "mm",
                "wider than its wire (it is measured to the middle of the wire)",
            )?;
        }
        require(
            self.wire.as_m() > 0.0,
            c,
            "wire diameter",
            mm(self.wire),
            "mm",
            "above 0",
        )?;
        require(
            self.turns < 1.0 || self.pitch > self.wire,
            c,
            "pitch",
            mm(self.pitch),
            "mm",
            "more than the wire's diameter: the turns touch; space them or take thinner wire",
        )?;
        require(
            self.stub.as_m() >= 0.0,
            c,
            "height of the first turn over the disc",
            mm(self.stub),
            "mm",
            "0 or above",
        )
    }
}
