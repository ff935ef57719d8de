//! The moment for which a prediction holds.

use crate::LinkError;
use jiff::Timestamp;

/// What the air does.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Air {
    /// No rain and no cloud in the path; gases at their ordinary amount.
    Clear,
    /// Losses that are exceeded for this percentage of an average year (ITU-R P.618).
    Exceeded {
        /// Percent of an average year, 0.001 to 50.
        percent: f64,
    },
}

/// The moment and how to compute for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// The moment; decides where a moving satellite and the Sun stand. `None`: the satellite stands on its slot.
    pub time: Option<Timestamp>,
    /// The air.
    pub air: Air,
    /// Flux of the Sun at the receive frequency in solar flux units, for the Sun's Y factor; `None`: not asked for.
    pub sun_flux_sfu: Option<(f64, f64)>,
    /// Bandwidth in which C/N is wanted, Hz; `None`: not asked for.
    pub bandwidth_hz: Option<f64>,
}

impl Default for Conditions {
    fn default() -> Self {
        Self {
            time: None,
            air: Air::Clear,
            sun_flux_sfu: None,
            bandwidth_hz: None,
        }
    }
}

impl Conditions {
    /// Checks that the conditions make sense.
    ///
    /// # Errors
    /// A percentage outside 0.001..50, a flux or a bandwidth that is not positive.
    pub fn check(&self) -> Result<(), LinkError> {
        if let Air::Exceeded { percent } = self.air
            && !(0.001..=50.0).contains(&percent)
        {
            return Err(LinkError::Conditions {
                what: "percentage of the year",
                why: format!("{percent} % is outside 0.001 % to 50 %, the range of ITU-R P.618-13"),
            });
        }
        if let Some((s, u)) = self.sun_flux_sfu
            && !(s.is_finite() && s > 0.0 && u.is_finite() && u >= 0.0)
        {
            return Err(LinkError::Conditions {
                what: "solar flux",
                why: format!("{s} sfu with u = {u} sfu is not a flux"),
            });
        }
        if let Some(b) = self.bandwidth_hz
            && !(b.is_finite() && b > 0.0)
        {
            return Err(LinkError::Conditions {
                what: "bandwidth",
                why: format!("{b} Hz is not a bandwidth"),
            });
        }
        Ok(())
    }
}

/// How a prediction is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Drawing {
    /// Seed of every random stream.
    pub seed: u64,
    /// Number of Monte Carlo trials (JCGM 101 7.2).
    pub trials: usize,
}

impl Default for Drawing {
    fn default() -> Self {
        Self {
            seed: 1,
            trials: 100_000,
        }
    }
}
