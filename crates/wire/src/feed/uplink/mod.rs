//! The transmit side of a feed from its dimensions: pattern, gain, axial ratio, phase centres, impedance.
//!
//! A helix over a disc (with the receive feed's metal inside it when there is one), dipoles or a patch ring over a disc. The disc is a polar
//! wire grid with the source between its inner ring and the foot of the coil. Directivity and axial ratio agree with NEC-2 on
//! equal wires within 0.05 dB; the impedance of the source region does not to better than 15 %, and says so.

mod solve;
mod structure;

pub use solve::{Cone, Spread, Uplink, return_loss};

use super::patch::PatchRing;
use super::patch::grid::Posts;
use super::{Coil, Metal};
use crate::error::{WireError, require};
use crate::mesh::Density;
use slantpath_antenna::polarisation::Sense;
use slantpath_quantity::{Angle, Frequency, Length, Validity};

/// Standard uncertainty of any computed impedance, relative: what two thin-wire codes differ by, and what the source's own
/// shape (clamp, connector, strip) changes. Own judgement from such comparisons, no source.
pub const IMPEDANCE_U: f64 = 0.15;

/// What stands behind the winding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ground {
    /// A metal disc of this diameter.
    Disc(Length),
    /// An infinite plane: no back lobe, beam 7 to 12 degrees too wide; for comparison only.
    Plane,
}

/// The receive feed's metal seen by the uplink.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tube {
    /// Outer radius.
    pub radius: Length,
    /// Where it ends before the disc, positive towards the dish.
    pub front: Length,
    /// How far it goes on behind the disc in the calculation.
    pub behind: Length,
}

/// An axial helix, or a helix ring around a receive feed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HelixFeed {
    /// The winding. It is taken to start at azimuth 0.
    pub coil: Coil,
    /// What is behind it.
    pub ground: Ground,
    /// The receive feed inside it.
    pub tube: Option<Tube>,
}

/// How dipoles stand over the disc.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Arrangement {
    /// Two crossed at one place, fed with equal voltages in quadrature: circular.
    Crossed(Sense),
    /// Two side by side (electric field along `x`), fed alike, so far apart: linear.
    Pair(Length),
}

/// Half-wave dipoles over a disc.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DipoleFeed {
    /// Length from tip to tip.
    pub length: Length,
    /// Height over the disc.
    pub height: Length,
    /// Diameter of the rods.
    pub wire: Length,
    /// Crossed or side by side.
    pub arrangement: Arrangement,
    /// What is behind them.
    pub ground: Ground,
    /// What they are made of.
    pub metal: Metal,
}

/// A patch ring on air over its ground disc, as a wire grid. Metal is taken as perfect: a plate of copper some millimetres
/// over its ground loses below 0.05 dB (see [`super::patch::Cavity::efficiency`]).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PatchFeed {
    /// Patch and ground.
    pub ring: PatchRing,
    /// How it is driven.
    pub posts: Posts,
    /// Distance of the posts from the axis.
    pub feed_radius: Length,
    /// Diameter of the posts.
    pub post: Length,
}

impl PatchFeed {
    /// Whether it can be built.
    ///
    /// # Errors
    /// As [`PatchRing::check`]; [`WireError::Dimension`] for posts that are not wholly under the metal.
    pub fn check(&self) -> Result<(), WireError> {
        self.ring.check()?;
        let mm = |l: Length| l.as_m() * 1e3;
        let (from, to) = (self.ring.inner * 0.5, self.ring.outer * 0.5);
        let half = self.post * 0.5;
        require(
            self.post.as_m() > 0.0,
            "patch ring",
            "diameter of the posts",
            mm(self.post),
            "mm",
            "above 0",
        )?;
        require(
            self.feed_radius - half >= from && self.feed_radius + half <= to,
            "patch ring",
            "distance of the posts from the axis",
            mm(self.feed_radius),
            "mm",
            "so that the whole post is under the metal, between hole and outer edge",
        )
    }

    /// Whether its wires can be made at a frequency, and whether its model is good for it.
    ///
    /// # Errors
    /// As [`PatchFeed::check`], [`PatchRing::validity_at`] and the making of the grid.
    pub fn validity_at(&self, f: Frequency) -> Result<Validity, WireError> {
        self.check()?;
        let validity = self.ring.validity_at(f)?;
        structure::build(
            &UplinkFeed::Patch(*self),
            &UplinkFeed::Patch(*self),
            f,
            Density::default().per_wavelength,
        )?;
        Ok(validity)
    }
}

/// A transmit feed by its dimensions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum UplinkFeed {
    /// A winding.
    Helix(HelixFeed),
    /// Dipoles.
    Dipoles(DipoleFeed),
    /// A patch ring.
    Patch(PatchFeed),
}

impl UplinkFeed {
    /// Solves the feed at a frequency. `cone` is the half-angle under which it sees the dish.
    ///
    /// # Errors
    /// [`WireError`] for dimensions that cannot be built or solved.
    pub fn solve(&self, f: Frequency, cone: Angle, density: Density) -> Result<Uplink, WireError> {
        solve::solve(self, self, f, cone, density)
    }

    /// The same with the wires of a patch divided as those of another, near it in its dimensions, so that figures follow a
    /// dimension without the steps of whole numbers of wires. Windings and dipoles are divided as ever.
    ///
    /// # Errors
    /// As [`UplinkFeed::solve`].
    pub fn solve_like(
        &self,
        like: &Self,
        f: Frequency,
        cone: Angle,
        density: Density,
    ) -> Result<Uplink, WireError> {
        solve::solve(self, like, f, cone, density)
    }

    /// Solves at [`Density::default`] and 1.5 times finer: the finer, with the change of every figure as uncertainty.
    ///
    /// # Errors
    /// As [`UplinkFeed::solve`].
    pub fn solve_refined(&self, f: Frequency, cone: Angle) -> Result<Uplink, WireError> {
        let density = Density::default();
        let coarse = self.solve(f, cone, density)?;
        let mut fine = self.solve(f, cone, density.finer(crate::REFINEMENT))?;
        fine.spread = Some(Spread::between(&coarse, &fine));
        Ok(fine)
    }

    /// Solves at several frequencies, side by side, in their order.
    ///
    /// # Errors
    /// The first that [`UplinkFeed::solve`] gives.
    pub fn sweep(
        &self,
        frequencies: &[Frequency],
        cone: Angle,
        density: Density,
    ) -> Result<Vec<Uplink>, WireError> {
        use rayon::prelude::*;
        frequencies
            .par_iter()
            .map(|f| self.solve(*f, cone, density))
            .collect()
    }

    /// Sense that it radiates towards the dish; `None` when linear.
    pub fn sense(&self) -> Option<Sense> {
        match self {
            Self::Helix(h) => Some(h.coil.sense),
            Self::Dipoles(d) => match d.arrangement {
                Arrangement::Crossed(s) => Some(s),
                Arrangement::Pair(_) => None,
            },
            Self::Patch(p) => match p.posts {
                Posts::Two(s) | Posts::Four(s) => Some(s),
                Posts::Pair => None,
            },
        }
    }
}
