//! The receive feed inside the coil.

use super::Coil;
use super::sources::{self, Sources};
use crate::error::{WireError, require};
use slantpath_antenna::pattern::Pattern;
use slantpath_quantity::{Frequency, Length};

/// What fills the aperture of the receive feed.
#[derive(Debug, Clone, PartialEq)]
pub enum Aperture {
    /// Open circular waveguide: the TE11 mode with its own wave impedance (S. Silver, Microwave Antenna Theory and Design,
    /// 1949, sec. 10.10: from memory).
    Te11,
    /// Corrugated (scalar) horn: the balanced HE11 mode, `J0(2.405 r/R)`.
    He11,
    /// A measured far-field pattern, turned into a radiating disc that has this far field (least squares on rings).
    Measured(Box<Pattern>),
}

/// A receive feed on the coil's axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Horn {
    /// Field in the aperture.
    pub aperture: Aperture,
    /// Radius of the aperture, inside.
    pub radius: Length,
    /// Radius of its metal, outside.
    pub outer_radius: Length,
    /// Aperture before the disc's plane, positive towards the dish.
    pub front: Length,
}

impl Horn {
    /// Whether the feed can be, and fits into this coil.
    ///
    /// # Errors
    /// [`WireError::Dimension`], [`WireError::CoilHitsHorn`].
    pub fn check(&self, coil: Option<&Coil>) -> Result<(), WireError> {
        let h = "receive feed";
        let mm = |l: Length| l.as_m() * 1e3;
        require(
            self.radius.as_m() > 0.0,
            h,
            "radius of the aperture",
            mm(self.radius),
            "mm",
            "above 0",
        )?;
        require(
            self.outer_radius >= self.radius,
            h,
            "outer radius",
            mm(self.outer_radius),
            "mm",
            "no less than the aperture's",
        )?;
        require(
            self.front.as_m().abs() < 1.0,
            h,
            "position before the disc",
            mm(self.front),
            "mm",
            "within a metre",
        )?;
        let Some(coil) = coil else { return Ok(()) };
        coil.check()?;
        // The metal fills all of z <= front within the outer radius; it meets the winding from its first turn on.
        let meets = self.front > coil.stub - coil.wire * 0.5;
        if meets && coil.clear_radius() <= self.outer_radius {
            return Err(WireError::CoilHitsHorn {
                clear_mm: mm(coil.clear_radius()) * 2.0,
                outer_mm: mm(self.outer_radius) * 2.0,
                front_mm: mm(self.front),
                stub_mm: mm(coil.stub),
            });
        }
        Ok(())
    }

    /// Radiating sources of both linear polarisations (electric field along `x`, along `y`), 8 rings x 24.
    ///
    /// # Errors
    /// [`WireError::Dimension`] for an aperture below cut-off or beyond 2.5 wavelengths; [`WireError::Pattern`] for a
    /// measured pattern that no aperture of this size can have.
    pub(crate) fn sources(&self, f: Frequency) -> Result<Sources, WireError> {
        self.check(None)?;
        sources::of(self, f)
    }
}
