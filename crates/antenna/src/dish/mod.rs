//! The whole antenna: solved once for a reflector, a feed, a frequency and an elevation, then evaluated cheaply for changed
//! losses and skies.
//!
//! [`DishAntenna::solve`] does the integrals (a few milliseconds); [`DishAntenna::receive`] and [`DishAntenna::gain`] are
//! closed forms without allocation, meant to be called for every draw of a Monte Carlo run: every uncertain input that is not
//! a dimension (shadow, surface, pointing, loss, cover, match) acts through its own factor.

mod losses;
mod receive;

pub use losses::{Cover, Losses, Step};
pub use receive::{Receive, Scene};

use crate::aperture;
use crate::budget::{self, Blockage, Budget, Part, Placement, budget};
use crate::error::{AntennaError, not_negative, positive, require};
use crate::noise::{SpillShares, spill_shares};
use crate::pattern::Pattern;
use crate::reflector::{Arm, Reflector};
use slantpath_quantity::{Angle, Decibel, Frequency, Length, Validity, to_db};

/// A feed as it is mounted.
#[derive(Debug, Clone, Copy)]
pub struct Feed<'a> {
    /// Its pattern.
    pub pattern: &'a Pattern,
    /// Where it stands and looks.
    pub placement: Placement,
    /// What it and its struts shade.
    pub blockage: &'a Blockage,
}

/// How the dish stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stand {
    /// Elevation of the beam.
    pub elevation: Angle,
    /// Side of the feed arm.
    pub arm: Arm,
}

/// A solved dish antenna at one frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct DishAntenna {
    frequency: Frequency,
    elevation: Angle,
    /// Gain without surface, pointing and the other losses applied later.
    base_gain: Decibel,
    /// Efficiency factors behind it, in the order of [`Part::ALL`]; a stated total efficiency stands under taper.
    factors: [f64; 9],
    beamwidth: Angle,
    squint: [Angle; 2],
    best_axial: Option<Length>,
    spill: SpillShares,
    blocked_power: f64,
    accounted: Option<f64>,
    validity: Validity,
}

/// A dish known by figures alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figures {
    /// Diameter of the (projected) aperture.
    pub diameter: Length,
    /// Aperture efficiency, 0..=1, without the surface.
    pub efficiency: f64,
    /// Half-power beamwidth; the `70 lambda / D` rule when not known.
    pub beamwidth: Option<Angle>,
    /// Share of the feed's power spilled to the ground.
    pub spill_ground: f64,
    /// Share spilled to the sky, taken to see it at the beam's elevation.
    pub spill_sky: f64,
}

impl DishAntenna {
    /// Solves a feed on a reflector. The surface is left to [`Losses`].
    ///
    /// # Errors
    /// As [`budget()`] and [`spill_shares`].
    pub fn solve(
        reflector: &Reflector,
        feed: &Feed<'_>,
        f: Frequency,
        stand: &Stand,
    ) -> Result<Self, AntennaError> {
        let b: Budget = budget(
            reflector,
            feed.pattern,
            &feed.placement,
            feed.blockage,
            Length::m(0.0),
            f,
        )?;
        let spill = spill_shares(
            reflector,
            feed.pattern,
            &feed.placement,
            stand.elevation,
            stand.arm,
        )?;
        let beam = budget::beam_width(reflector, feed.pattern, &feed.placement, f)?;
        let accounted = b.captured + spill.total();
        let validity = b.validity.clone().and(Validity::check(
            "reflector budget",
            "power accounted for",
            accounted,
            0.998..=1.002,
            "of what is radiated",
        ));
        Ok(Self {
            frequency: f,
            elevation: stand.elevation,
            base_gain: b.gain,
            factors: b.factors,
            beamwidth: beam.mean_beamwidth(),
            squint: b.squint,
            best_axial: Some(b.best_axial),
            spill,
            blocked_power: b.blocked_power,
            accounted: Some(accounted),
            validity,
        })
    }

    /// An antenna from stated figures, for when nothing of the feed is known but its result.
    ///
    /// # Errors
    /// [`AntennaError::Domain`] for figures that cannot be, such as an efficiency above 1 or more spill than it leaves.
    pub fn from_figures(
        figures: &Figures,
        f: Frequency,
        elevation: Angle,
    ) -> Result<Self, AntennaError> {
        let gain = aperture::gain(figures.diameter, figures.efficiency, f)?;
        not_negative("spill to the ground", figures.spill_ground, "")?;
        not_negative("spill to the sky", figures.spill_sky, "")?;
        let spilled = figures.spill_ground + figures.spill_sky;
        require(
            spilled <= 1.0 - figures.efficiency,
            "share of power spilled",
            spilled,
            "",
            "no more than the stated efficiency leaves",
        )?;
        let beamwidth = match figures.beamwidth {
            Some(b) => {
                positive("half-power beamwidth", b.as_rad(), "rad")?;
                b
            }
            None => aperture::hpbw_rule(figures.diameter, f)?,
        };
        let mut spill = SpillShares {
            ground: figures.spill_ground,
            ..SpillShares::default()
        };
        if let Some(s) = spill.sky.last_mut() {
            s.share = figures.spill_sky;
            s.elevation = elevation;
        }
        let mut factors = [1.0; 9];
        if let Some(x) = factors.get_mut(Part::Spill as usize) {
            *x = 1.0 - spilled;
        }
        if let Some(x) = factors.get_mut(Part::Taper as usize) {
            *x = figures.efficiency / (1.0 - spilled);
        }
        Ok(Self {
            frequency: f,
            elevation,
            base_gain: gain,
            factors,
            beamwidth,
            squint: [Angle::default(); 2],
            best_axial: None,
            spill,
            blocked_power: 0.0,
            accounted: None,
            validity: Validity::Inside,
        })
    }

    /// Frequency for which it was solved.
    pub fn frequency(&self) -> Frequency {
        self.frequency
    }
    /// Elevation for which the spill was sorted.
    pub fn elevation(&self) -> Angle {
        self.elevation
    }
    /// Gain at the beam's peak before any of [`Losses`].
    pub fn base_gain(&self) -> Decibel {
        self.base_gain
    }
    /// Efficiency part by part (surface is 1 here: it is one of [`Losses`]).
    pub fn parts(&self) -> impl Iterator<Item = (Part, Decibel)> + '_ {
        Part::ALL
            .iter()
            .zip(self.factors)
            .map(|(&p, x)| (p, Decibel(-to_db(x))))
    }
    /// Half-power beamwidth, mean of the principal planes.
    pub fn half_power_beamwidth(&self) -> Angle {
        self.beamwidth
    }
    /// Peak of the beam off the paraboloid's axis, in the dish's `x` and `y`.
    pub fn squint(&self) -> [Angle; 2] {
        self.squint
    }
    /// Best axial position of the pattern's origin; `None` for an antenna from figures.
    pub fn best_axial(&self) -> Option<Length> {
        self.best_axial
    }
    /// What the spilled power sees.
    pub fn spill(&self) -> &SpillShares {
        &self.spill
    }
    /// Captured plus spilled power over the radiated, by two independent integrals; 1 within 0.002. `None` from figures.
    pub fn accounted(&self) -> Option<f64> {
        self.accounted
    }
    /// Whether every model was inside its range.
    pub fn validity(&self) -> &Validity {
        &self.validity
    }
}
