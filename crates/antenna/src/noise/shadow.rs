//! Rays that a structure around the receive feed takes away, and where they end instead.

use crate::error::{AntennaError, not_negative, require};
use slantpath_quantity::{Decibel, Temperature, from_db};

/// A receive shadow: its loss and the destination of the lost share.
///
/// A loss of `L` dB means that `1 - 10^(-L/10)` of the feed's sensitivity no longer goes to the dish. The figure alone does not
/// fix the outcome: scattered to cold sky it costs gain only, scattered to the ground or absorbed it adds noise as well.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shadow {
    loss: Decibel,
    to_sky: f64,
    to_ground: f64,
    absorbed: f64,
}

impl Default for Shadow {
    fn default() -> Self {
        Self::NONE
    }
}

impl Shadow {
    /// No shadow.
    pub const NONE: Self = Self {
        loss: Decibel(0.0),
        to_sky: 1.0,
        to_ground: 0.0,
        absorbed: 0.0,
    };

    /// Loss in dB (0 or above) and the shares of the lost rays that see the sky, the ground, or are absorbed.
    ///
    /// # Errors
    /// [`AntennaError::Domain`] for a negative loss or share, [`AntennaError::Shares`] unless they add up to 1 within 1e-6.
    pub fn new(
        loss: Decibel,
        to_sky: f64,
        to_ground: f64,
        absorbed: f64,
    ) -> Result<Self, AntennaError> {
        not_negative("receive shadow", loss.0, "dB")?;
        for (what, s) in [
            ("share of shadowed rays to the sky", to_sky),
            ("share of shadowed rays to the ground", to_ground),
            ("share of shadowed rays absorbed", absorbed),
        ] {
            require((0.0..=1.0).contains(&s), what, s, "", "0 to 1")?;
        }
        let sum = to_sky + to_ground + absorbed;
        if (sum - 1.0).abs() > 1e-6 {
            return Err(AntennaError::Shares {
                what: "shadowed rays",
                sum,
            });
        }
        Ok(Self {
            loss,
            to_sky,
            to_ground,
            absorbed,
        })
    }

    /// The same destinations with another loss: for draws.
    ///
    /// # Errors
    /// [`AntennaError::Domain`] for a negative loss.
    pub fn with_loss(self, loss: Decibel) -> Result<Self, AntennaError> {
        not_negative("receive shadow", loss.0, "dB")?;
        Ok(Self { loss, ..self })
    }

    /// Gain lost.
    pub fn loss(&self) -> Decibel {
        self.loss
    }
    /// Share of rays lost.
    pub fn share(&self) -> f64 {
        1.0 - from_db(-self.loss.0)
    }
    /// Mean temperature at which the lost rays end.
    pub fn sees(
        &self,
        sky: Temperature,
        ground: Temperature,
        physical: Temperature,
    ) -> Temperature {
        sky * self.to_sky + ground * self.to_ground + physical * self.absorbed
    }
    /// Noise added to an antenna whose temperature without shadow is `unshadowed`; negative when the lost rays end on
    /// something colder than the antenna saw before.
    pub fn added(
        &self,
        unshadowed: Temperature,
        sky: Temperature,
        ground: Temperature,
        physical: Temperature,
    ) -> Temperature {
        (self.sees(sky, ground, physical) - unshadowed) * self.share()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_quantity::to_db;

    #[test]
    fn the_same_1_4_db_three_ways() {
        // 85 K of system noise without shadow, 2.1 dB of shadow replaced by 0.7: G/T improves by 1.4 dB when the shadowed
        // rays see cold sky, about 2.5 when half see the ground, about 3.2 when absorbed (common practice, no source:
        // plausibility). The antenna sees 10 K of the 85.
        let (sky, hot) = (Temperature::from_si(10.0), Temperature::from_si(290.0));
        let gt = |db: f64, s: f64, g: f64, a: f64| {
            let w = Shadow::new(Decibel(db), s, g, a).unwrap();
            -db - to_db(85.0 + w.added(sky, sky, hot, hot).si())
        };
        for ((s, g, a), want) in [
            ((1.0, 0.0, 0.0), 1.40),
            ((0.5, 0.5, 0.0), 2.55),
            ((0.0, 0.0, 1.0), 3.2),
        ] {
            let gained = gt(0.7, s, g, a) - gt(2.1, s, g, a);
            assert!((gained - want).abs() < 0.06, "{s} {g} {a}: {gained}");
        }
    }

    #[test]
    fn shares_must_be_parts_of_one_whole() {
        assert!(matches!(
            Shadow::new(Decibel(1.0), 0.5, 0.2, 0.2),
            Err(AntennaError::Shares { .. })
        ));
        assert!(Shadow::new(Decibel(-1.0), 1.0, 0.0, 0.0).is_err());
        assert!(Shadow::new(Decibel(1.0), 1.5, -0.5, 0.0).is_err());
        assert!(Shadow::NONE.with_loss(Decibel(f64::NAN)).is_err());
    }
}
