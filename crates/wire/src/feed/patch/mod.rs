//! A patch ring around the receive feed: an annular (or full) disc half a wave wide over a ground disc.
//!
//! Two roads to the same figures. [`PatchRing::cavity`] is the closed-form cavity model: a cavity with free (magnetic) walls
//! at edges moved outwards by the fringing field, radiating by two rings of magnetic current over an infinite plane.
//! [`grid`] is the same patch as a polar wire grid with feed posts for the wire solver, over a plane or a real disc: it knows
//! the posts, the back lobe and the disc's edge, and takes a thousand times longer. Where both apply, the grid is the
//! better; by how much they differ is published in the validation notes.
//!
//! Sources, all from memory: W. C. Chew, A broad-band annular-ring microstrip antenna, IEEE Trans. AP-30 (1982) 918;
//! C. A. Balanis, Antenna Theory (3rd ed. 2005), chapter 14.
//!
//! ```
//! use slantpath_antenna::polarisation::Sense;
//! use slantpath_quantity::{Frequency, Length};
//! use slantpath_wire::feed::patch::{Feeding, InnerEdge, PatchMode, PatchRing};
//!
//! let ring = PatchRing::air(Length::mm(72.0), Length::mm(22.0), Length::mm(5.0), Length::mm(130.0))
//!     .with_inner_edge(InnerEdge::Joined);
//! let patch = ring.cavity(PatchMode::Tm11)?;
//! assert!((2.3..2.5).contains(&(patch.frequency.as_hz() / 1e9)));
//! let at = patch.at(Frequency::ghz(2.4), Feeding::quadrature(Sense::Right))?;
//! assert!(at.axial_ratio.0 < 0.01 && (9.5..11.0).contains(&at.directivity.0));
//! # Ok::<(), slantpath_wire::WireError>(())
//! ```

mod bessel;
mod cavity;
mod feeding;
pub mod grid;
mod mode;

pub use cavity::{Cavity, PatchField};
pub use feeding::Feeding;
pub use mode::{InnerEdge, PatchMode};

use super::Metal;
use crate::error::{WireError, require};
use slantpath_quantity::{Frequency, Length, Validity};

/// Standard uncertainty of the gain of a patch as wires over its disc, dB: spread between them and the cavity model over seven
/// patches, and tube and edge left out. Own judgement.
pub const GAIN_MODEL_DB: f64 = 0.4;
/// The same of the axial ratio.
pub const AXIAL_RATIO_MODEL_DB: f64 = 0.5;

/// A patch ring by what a person measures. Centre over the ground's centre.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PatchRing {
    /// Outer diameter.
    pub outer: Length,
    /// Diameter of the hole; 0 for a full disc.
    pub inner: Length,
    /// Height of the patch over the ground (metal to metal).
    pub height: Length,
    /// What is between: relative permittivity, 1 for air.
    pub permittivity: f64,
    /// Its loss tangent.
    pub loss_tangent: f64,
    /// What bounds the patch inside.
    pub inner_edge: InnerEdge,
    /// Metal of patch and ground.
    pub metal: Metal,
    /// Diameter of the ground disc. The cavity model takes it as infinite and says where that is too bold.
    pub ground: Length,
}

impl PatchRing {
    /// A copper patch on air with a free inner edge.
    pub fn air(outer: Length, inner: Length, height: Length, ground: Length) -> Self {
        Self {
            outer,
            inner,
            height,
            permittivity: 1.0,
            loss_tangent: 0.0,
            inner_edge: InnerEdge::Open,
            metal: Metal::Copper,
            ground,
        }
    }

    /// With another inner edge.
    pub fn with_inner_edge(mut self, inner_edge: InnerEdge) -> Self {
        self.inner_edge = inner_edge;
        self
    }

    /// On a dielectric: relative permittivity and loss tangent.
    pub fn on(mut self, permittivity: f64, loss_tangent: f64) -> Self {
        self.permittivity = permittivity;
        self.loss_tangent = loss_tangent;
        self
    }

    /// What can be built at all.
    ///
    /// # Errors
    /// [`WireError::Dimension`] for a dimension without meaning, a hole as wide as the patch, a ground narrower than the
    /// patch, or a joined edge without a tube.
    pub fn check(&self) -> Result<(), WireError> {
        let mm = |l: Length| l.as_m() * 1e3;
        let need = |ok: bool, what, value, unit, expected| {
            require(ok, "patch ring", what, value, unit, expected)
        };
        let (outer, inner) = (self.outer.as_m(), self.inner.as_m());
        need(
            outer > 0.0,
            "outer diameter",
            mm(self.outer),
            "mm",
            "above 0",
        )?;
        need(
            inner >= 0.0 && inner < outer,
            "inner diameter",
            mm(self.inner),
            "mm",
            "0 (a full disc) or above, and below the outer diameter",
        )?;
        need(
            inner > 0.0 || self.inner_edge == InnerEdge::Open,
            "inner diameter",
            mm(self.inner),
            "mm",
            "above 0 when the tube is joined to the patch",
        )?;
        need(
            self.height.as_m() > 0.0,
            "height",
            mm(self.height),
            "mm",
            "above 0",
        )?;
        need(
            (1.0..=100.0).contains(&self.permittivity),
            "relative permittivity",
            self.permittivity,
            "",
            "1 (air) to 100",
        )?;
        need(
            (0.0..1.0).contains(&self.loss_tangent),
            "loss tangent",
            self.loss_tangent,
            "",
            "0 or above and below 1",
        )?;
        if let Some(s) = self.metal.of() {
            need(s > 0.0, "conductivity", s, "S/m", "above 0")?;
        }
        need(
            self.ground > self.outer,
            "diameter of the ground",
            mm(self.ground),
            "mm",
            "above the patch's outer diameter",
        )
    }

    /// The cavity model of a resonance.
    ///
    /// # Errors
    /// As [`PatchRing::check`]; [`WireError::Dimension`] for TM12 of a ring narrower than about a fifth of its radius.
    pub fn cavity(&self, mode: PatchMode) -> Result<Cavity, WireError> {
        Cavity::new(*self, mode)
    }

    /// Effective inner and outer radius: the edges moved by the fringing field.
    ///
    /// Outer edge: L. C. Shen et al. (IEEE Trans. AP-25 (1977) 595) for the circular disc, as Balanis (14-67), `b_e^2 = b^2
    /// (1 + 2h/(pi b e) [ln(pi b/2h) + 1.7726])`. Free inner edge: `a_e = a - 3h/4` (I. J. Bahl, S. S. Stuchly, edges of
    /// ring resonators, 1982). Both from memory. A hole narrower than one and a half heights is thereby closed: a full disc.
    pub fn effective_radii(&self) -> (Length, Length) {
        let (h, e) = (self.height.as_m(), self.permittivity);
        let (a, b) = (0.5 * self.inner.as_m(), 0.5 * self.outer.as_m());
        let bracket = (std::f64::consts::PI * b / (2.0 * h)).ln() + 1.7726;
        let outer = b * (1.0 + 2.0 * h / (std::f64::consts::PI * b * e) * bracket).sqrt();
        let inner = match self.inner_edge {
            InnerEdge::Joined => a,
            InnerEdge::Open => (a - 0.75 * h).max(0.0),
        };
        (Length::m(inner), Length::m(outer))
    }

    /// Whether wires and cavity model were compared over such a patch at a frequency, from which the stated uncertainties of
    /// both come.
    ///
    /// # Errors
    /// [`WireError::Dimension`] for a height of more than twice that of any patch compared: its edge is then most of it.
    pub fn validity_at(&self, f: Frequency) -> Result<Validity, WireError> {
        self.check()?;
        let lambda = f.wavelength();
        let most = 2.0 * cavity::GREATEST_HEIGHT * lambda.as_m();
        require(
            self.height.as_m() <= most,
            "patch ring",
            "height",
            self.height.as_m() * 1e3,
            "mm",
            "at most 0.12 wavelengths: a higher one is no patch",
        )?;
        Ok(self.compared(lambda))
    }

    fn compared(&self, lambda: Length) -> Validity {
        let check = |symbol, value, range| Validity::check("patch ring", symbol, value, range, "");
        let (h, b) = (self.height.as_m(), 0.5 * self.outer.as_m());
        check(
            "height over wavelength",
            h / lambda.as_m(),
            0.003..=cavity::GREATEST_HEIGHT,
        )
        .and(check("height over outer radius", h / b, 0.0..=0.25))
        // wider holes were not compared with the wire grid; a narrow open ring hardly radiates in TM11 anyhow
        .and(check(
            "inner over outer diameter",
            self.inner.as_m() / self.outer.as_m(),
            0.0..=0.45,
        ))
    }

    /// Reasons why the cavity model should not be believed, at a free-space wavelength.
    pub(crate) fn validity(&self, lambda: Length, mode: PatchMode) -> Validity {
        let model = "patch cavity";
        let l = lambda.as_m();
        let h = self.height.as_m();
        let check = |symbol, value, range| Validity::check(model, symbol, value, range, "");
        let mut v = self.compared(lambda).and(check(
            "ground radius less patch radius, over wavelength",
            0.5 * (self.ground.as_m() - self.outer.as_m()) / l,
            0.2..=f64::INFINITY,
        ));
        if mode == PatchMode::Tm12 {
            v = v.and(Validity::outside(format!(
                "{model}: the mode TM12 was not compared with a wire grid"
            )));
        }
        // surface waves are negligible below this height (Balanis chapter 14, from memory); none on air
        if self.permittivity > 1.05 {
            let most = 0.3 / (2.0 * std::f64::consts::PI * self.permittivity.sqrt());
            v = v.and(check(
                "height over wavelength on a dielectric (surface wave)",
                h / l,
                0.0..=most,
            ));
        }
        v
    }
}
