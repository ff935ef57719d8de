//! Losses that act on a solved antenna through closed forms.

use super::DishAntenna;
use crate::degradation::{mismatch_loss, pointing_loss, ruze_loss};
use crate::error::{AntennaError, not_negative};
use crate::noise::Shadow;
use crate::slab::Passage;
use slantpath_quantity::{Angle, Decibel, Length, from_db, to_db};

/// A cover or water film before the feed: shares of the power.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cover {
    /// Share that passes.
    pub transmitted: f64,
    /// Share absorbed; the rest is reflected and sees the feed again.
    pub absorbed: f64,
}

impl Cover {
    /// No cover.
    pub const NONE: Self = Self {
        transmitted: 1.0,
        absorbed: 0.0,
    };
    /// A stated loss, all of it absorbed: the cautious reading of a single figure.
    ///
    /// # Errors
    /// [`AntennaError::Domain`] for a negative loss.
    pub fn absorbing(loss: Decibel) -> Result<Self, AntennaError> {
        not_negative("loss of the cover", loss.0, "dB")?;
        let t = from_db(-loss.0);
        Ok(Self {
            transmitted: t,
            absorbed: 1.0 - t,
        })
    }
}
impl From<Passage> for Cover {
    fn from(p: Passage) -> Self {
        Self {
            transmitted: p.transmitted,
            absorbed: p.absorbed,
        }
    }
}
impl Default for Cover {
    fn default() -> Self {
        Self::NONE
    }
}

/// Everything that takes gain from a solved antenna, each zero by default.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Losses {
    /// Effective rms of the surface (half path).
    pub surface: Length,
    /// Beam's peak off the satellite.
    pub pointing: Angle,
    /// Polarisation mismatch loss between beam and wave.
    pub polarisation: Decibel,
    /// Receive shadow.
    pub shadow: Shadow,
    /// Cover and water film.
    pub cover: Cover,
    /// Loss in the feed's conductors.
    pub ohmic: Decibel,
    /// Reflection of the feed's port; `None` when matched or unknown.
    pub s11: Option<Decibel>,
    /// Any further stated loss of gain that adds no noise.
    pub other: Decibel,
}

/// One of [`Losses`] by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Step {
    /// Surface.
    Surface,
    /// Pointing.
    Pointing,
    /// Polarisation mismatch.
    Polarisation,
    /// Receive shadow.
    Shadow,
    /// Cover and water.
    Cover,
    /// Conductors of the feed.
    Ohmic,
    /// Mismatch at the port.
    Mismatch,
    /// Stated otherwise.
    Other,
}

impl Step {
    /// All, outside in.
    pub const ALL: [Self; 8] = [
        Self::Surface,
        Self::Pointing,
        Self::Polarisation,
        Self::Shadow,
        Self::Cover,
        Self::Ohmic,
        Self::Mismatch,
        Self::Other,
    ];
    /// What a person calls it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Surface => "surface",
            Self::Pointing => "pointing",
            Self::Polarisation => "polarisation mismatch",
            Self::Shadow => "shadow before the feed",
            Self::Cover => "cover and water",
            Self::Ohmic => "feed loss",
            Self::Mismatch => "mismatch",
            Self::Other => "other",
        }
    }
}

impl DishAntenna {
    /// Each loss in dB, in the order of [`Step::ALL`].
    ///
    /// # Errors
    /// [`AntennaError::Domain`] for a negative loss or a reflection of 0 dB or above.
    pub fn steps(&self, l: &Losses) -> Result<[Decibel; 8], AntennaError> {
        not_negative("polarisation mismatch", l.polarisation.0, "dB")?;
        not_negative("feed loss", l.ohmic.0, "dB")?;
        not_negative("other loss", l.other.0, "dB")?;
        not_negative("absorbed share of the cover", l.cover.absorbed, "")?;
        crate::error::require(
            l.cover.transmitted > 0.0 && l.cover.transmitted + l.cover.absorbed <= 1.0 + 1e-9,
            "transmitted share of the cover",
            l.cover.transmitted,
            "",
            "above 0, with the absorbed share at most 1",
        )?;
        Ok([
            ruze_loss(l.surface, self.frequency)?,
            pointing_loss(l.pointing, self.beamwidth)?,
            l.polarisation,
            l.shadow.loss(),
            Decibel(-to_db(l.cover.transmitted)),
            l.ohmic,
            l.s11.map_or(Ok(Decibel(0.0)), mismatch_loss)?,
            l.other,
        ])
    }

    /// Realised gain at the feed's port towards the satellite, over isotropic: for transmit, and the gain of receive.
    ///
    /// # Errors
    /// As [`DishAntenna::steps`].
    pub fn gain(&self, l: &Losses) -> Result<Decibel, AntennaError> {
        let sum: f64 = self.steps(l)?.iter().map(|d| d.0).sum();
        Ok(Decibel(self.base_gain.0 - sum))
    }
}
