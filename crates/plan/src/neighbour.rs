//! What the operating rule allows, and by how much a drive must change to keep it.

use crate::error::{PlanError, Result, finite, not_negative, positive};
use crate::known::Known;
use slantpath_quantity::to_db;

/// The rule of a passband, as the satellite file gives it.
#[derive(Debug, Clone, PartialEq)]
pub enum Rule {
    /// The peak envelope power of a signal stays so far (dB) against the beacon's power in the same bandwidth.
    Peak {
        /// Highest level relative to the beacon, dB.
        limit_db: f64,
    },
    /// The power spectral density stays so far (dB) against the beacon's.
    Density {
        /// Highest level relative to the beacon, dB.
        limit_db: f64,
        /// The beacon's symbol rate, Bd.
        beacon_rate: f64,
    },
}

impl Rule {
    /// Highest mean power of a signal relative to the beacon's mean power, dB: with a peak to mean ratio `crest_db`, or
    /// with the symbol rate `rate`.
    ///
    /// # Errors
    /// A density rule without a symbol rate; figures that cannot be.
    pub fn allowed_db(&self, crest_db: f64, rate: Option<f64>) -> Result<f64> {
        match self {
            Self::Peak { limit_db } => {
                finite("the rule's limit", *limit_db, "dB")?;
                not_negative("the peak to mean ratio", crest_db, "dB")?;
                Ok(limit_db - crest_db)
            }
            Self::Density {
                limit_db,
                beacon_rate,
            } => {
                finite("the rule's limit", *limit_db, "dB")?;
                positive("the beacon's symbol rate", *beacon_rate, "Bd")?;
                let rate = rate.ok_or_else(|| PlanError::Missing {
                    what: "the own symbol rate".into(),
                    remedy:
                        "write `symbol_rate` in `[transmit.PASSBAND]`: the rule is a power density"
                            .into(),
                })?;
                positive("the symbol rate", rate, "Bd")?;
                Ok(limit_db + to_db(rate / beacon_rate))
            }
        }
    }
}

/// Where a carrier stands against the rule.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// Change of level that just keeps the rule, dB (negative: turn down), with standard uncertainty.
    pub correction_db: Known,
    /// What can be said at 95 %.
    pub verdict: Verdict,
}

/// Whether a carrier keeps the rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// It keeps the rule.
    Keeps,
    /// It breaks it.
    Breaks,
    /// The measurement cannot tell.
    Unresolved,
}

/// The level change that brings a carrier to the rule, from its measured density (or peak power) over the beacon's in
/// the same bandwidth. `over_beacon_db` is one ratio of one recording, so that gain and path are not in it.
///
/// # Errors
/// Figures that are not finite.
pub fn standing(over_beacon_db: Known, limit_db: f64) -> Result<Standing> {
    finite("the level over the beacon", over_beacon_db.value, "dB")?;
    not_negative("its uncertainty", over_beacon_db.u, "dB")?;
    finite("the rule's limit", limit_db, "dB")?;
    let correction_db = Known::new(limit_db - over_beacon_db.value, over_beacon_db.u);
    let reach = 1.959_963_984_540_054 * correction_db.u;
    Ok(Standing {
        verdict: if correction_db.value > reach {
            Verdict::Keeps
        } else if correction_db.value < -reach {
            Verdict::Breaks
        } else {
            Verdict::Unresolved
        },
        correction_db,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn allowed_power_goes_with_the_symbol_rate() {
        let wide = Rule::Density {
            limit_db: -1.0,
            beacon_rate: 800e3,
        };
        assert!((wide.allowed_db(4.0, Some(800e3)).unwrap() + 1.0).abs() < 1e-12);
        // 333 kBd: 3.81 dB less than the beacon's rate
        let p = wide.allowed_db(4.0, Some(333e3)).unwrap();
        assert!((p - (-1.0 - 3.8067)).abs() < 1e-3, "{p}");
        assert!(wide.allowed_db(4.0, None).is_err());
        let narrow = Rule::Peak { limit_db: 0.0 };
        assert_eq!(narrow.allowed_db(12.0, None).unwrap(), -12.0);
    }

    #[test]
    fn a_correction_is_resolved_or_not() {
        let s = standing(Known::new(1.4, 0.1), -1.0).unwrap();
        assert!((s.correction_db.value + 2.4).abs() < 1e-12 && s.verdict == Verdict::Breaks);
        assert_eq!(
            standing(Known::new(-1.1, 0.1), -1.0).unwrap().verdict,
            Verdict::Unresolved
        );
        assert_eq!(
            standing(Known::new(-3.0, 0.1), -1.0).unwrap().verdict,
            Verdict::Keeps
        );
        assert!(standing(Known::new(f64::NAN, 0.1), 0.0).is_err());
    }
}
