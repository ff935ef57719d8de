//! Antenna noise temperature as a ledger: what each part of the sphere and each loss adds.
//!
//! Temperatures are Rayleigh-Jeans equivalents, additive. Entries are stated at the feed's port: what lies further out is
//! already attenuated by what lies further in.

mod shadow;
mod spill;

pub use shadow::Shadow;
pub use spill::{SkyShare, SpillShares, nominal_spill, spill_shares};

use slantpath_quantity::Temperature;

/// Where a part of the antenna noise comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum NoisePart {
    /// The sky in the main beam.
    MainBeam,
    /// Feed power that passes the rim and sees the sky.
    SpillSky,
    /// Feed power that passes the rim and sees the ground.
    SpillGround,
    /// Power scattered by feed and struts in the aperture.
    Blockage,
    /// Rays shadowed by what stands around the receive feed, beyond what they would have seen without it.
    Shadow,
    /// Absorption in a cover or water film.
    Cover,
    /// Loss in the feed's own conductors.
    Ohmic,
}

impl NoisePart {
    /// All parts, outside in.
    pub const ALL: [Self; 7] = [
        Self::MainBeam,
        Self::SpillSky,
        Self::SpillGround,
        Self::Blockage,
        Self::Shadow,
        Self::Cover,
        Self::Ohmic,
    ];
    /// What a person calls it.
    pub fn name(self) -> &'static str {
        match self {
            Self::MainBeam => "sky in the beam",
            Self::SpillSky => "spillover to the sky",
            Self::SpillGround => "spillover to the ground",
            Self::Blockage => "scatter by feed and struts",
            Self::Shadow => "shadowed rays",
            Self::Cover => "cover and water",
            Self::Ohmic => "feed loss",
        }
    }
    /// Last part of a dotted identity.
    pub fn key(self) -> &'static str {
        match self {
            Self::MainBeam => "main-beam",
            Self::SpillSky => "spill-sky",
            Self::SpillGround => "spill-ground",
            Self::Blockage => "blockage",
            Self::Shadow => "shadow",
            Self::Cover => "cover",
            Self::Ohmic => "ohmic",
        }
    }
}

/// Antenna noise temperature by part, in the order of [`NoisePart::ALL`], at the feed's port.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct NoiseLedger {
    k: [f64; 7],
}

impl NoiseLedger {
    pub(crate) fn of(k: [f64; 7]) -> Self {
        Self { k }
    }
    /// One part. The shadow's may be negative when shadowed rays end on something colder than the rest.
    pub fn part(&self, part: NoisePart) -> Temperature {
        Temperature::from_si(self.k.get(part as usize).copied().unwrap_or(0.0))
    }
    /// Part by part.
    pub fn iter(&self) -> impl Iterator<Item = (NoisePart, Temperature)> + '_ {
        NoisePart::ALL.iter().map(|&p| (p, self.part(p)))
    }
    /// The antenna noise temperature: the sum.
    pub fn total(&self) -> Temperature {
        Temperature::from_si(self.k.iter().sum())
    }
}
