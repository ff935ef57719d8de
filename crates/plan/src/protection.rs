//! What the chain can break, told before any drive is advised.

use crate::error::{Result, finite, within};
use slantpath_chain::level::{Danger, TransmitStage, dangers};
use slantpath_quantity::amplitude_from_db;

/// What protects the parts, or does not.
#[derive(Debug, Clone, PartialEq)]
pub struct Protection {
    /// What can be driven or reflected beyond what a part survives. Nothing may be advised until this is empty.
    pub dangers: Vec<Danger>,
    /// Parts with gain that state no largest input.
    pub unknown_input: Vec<String>,
    /// The power amplifier, when it states no largest reflected power.
    pub unknown_reflected: Option<String>,
    /// Return loss that the load was taken with, dB.
    pub return_loss_db: f64,
}

/// Looks for dangers when the source is turned to its highest output and the load reflects what the feed's return loss
/// says; and again for a load that has come off (everything comes back), which is told apart.
///
/// # Errors
/// Source not finite, return loss negative.
pub fn protection(
    stages: &[TransmitStage],
    max_source_dbm: f64,
    return_loss_db: f64,
) -> Result<Protection> {
    finite("the transmitter's largest output", max_source_dbm, "dBm")?;
    within(
        "the feed's return loss",
        return_loss_db,
        "dB",
        0.0..=200.0,
        "zero or more",
    )?;
    let gamma = amplitude_from_db(-return_loss_db);
    let amplifiers = || stages.iter().filter(|s| s.curve.gain_db() > 0.0);
    Ok(Protection {
        dangers: dangers(stages, max_source_dbm, gamma)?,
        unknown_input: amplifiers()
            .filter(|s| s.max_input_dbm.is_none())
            .map(|s| s.label.clone())
            .collect(),
        unknown_reflected: amplifiers()
            .next_back()
            .filter(|s| s.max_reflected_dbm.is_none())
            .map(|s| s.label.clone()),
        return_loss_db,
    })
}

/// What comes back when the antenna's plug comes off or the feed fills with water: dangers of a total reflection.
///
/// # Errors
/// As [`protection`].
pub fn open_load(stages: &[TransmitStage], max_source_dbm: f64) -> Result<Vec<Danger>> {
    Ok(protection(stages, max_source_dbm, 0.0)?
        .dangers
        .into_iter()
        .filter(|d| matches!(d, Danger::Reflected { .. }))
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_chain::amplifier::{Curve, Rapp};
    use slantpath_quantity::ContributorId;

    #[test]
    fn what_is_not_stated_is_asked_for() {
        let part = |label: &str, curve, max_in, max_back| TransmitStage {
            id: ContributorId::new(label),
            label: label.into(),
            curve,
            max_input_dbm: max_in,
            max_reflected_dbm: max_back,
        };
        let rapp = |g, s| Curve::Rapp(Rapp::new(g, s, 2.0).unwrap());
        let stages = [
            part("driver", rapp(30.0, 33.0), None, None),
            part("amplifier", rapp(20.0, 51.0), Some(31.0), Some(43.0)),
            part("cable", Curve::Linear(-1.0), None, None),
        ];
        let p = protection(&stages, 10.0, 14.0).unwrap();
        // The driver saturates 2 dB above what the amplifier survives.
        assert!(
            matches!(p.dangers.as_slice(), [Danger::Input { part, .. }] if part == "amplifier")
        );
        assert_eq!(p.unknown_input, ["driver"]);
        assert!(p.unknown_reflected.is_none());
        // 51 dBm - 2 dB of cable both ways come back when the plug is off.
        let open = open_load(&stages, 10.0).unwrap();
        assert!(
            matches!(open.as_slice(), [Danger::Reflected { reach_dbm, .. }] if (reach_dbm - 49.0).abs() < 1e-9)
        );
        assert!(protection(&stages, f64::NAN, 14.0).is_err());
    }
}
