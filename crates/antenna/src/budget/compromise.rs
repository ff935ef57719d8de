//! Two bands on one mount: where to put an assembly whose feeds have different phase centres.

use super::illuminate::{Illumination, Pose, golden};
use super::{Aim, Nodes};
use crate::error::{AntennaError, not_negative, positive, require};
use crate::pattern::Pattern;
use crate::reflector::Reflector;
use slantpath_quantity::{Decibel, Frequency, Length, to_db};
use std::f64::consts::PI;

/// One band's feed on a common mount.
#[derive(Debug, Clone, Copy)]
pub struct BandFeed<'a> {
    /// Its pattern.
    pub pattern: &'a Pattern,
    /// Its frequency.
    pub frequency: Frequency,
    /// Where its pattern's origin stands on the mount, along the feed axis towards the reflector.
    pub on_mount: Length,
    /// Weight of a decibel lost in this band.
    pub weight: f64,
}

/// Losses of all bands at one position of the mount.
#[derive(Debug, Clone, PartialEq)]
pub struct FocusPoint {
    /// Position of the mount's zero along the feed axis from the focus, positive towards the reflector.
    pub position: Length,
    /// Loss of each band against its own best position.
    pub losses: Vec<Decibel>,
}

/// The compromise and the curve it was chosen from.
#[derive(Debug, Clone, PartialEq)]
pub struct Compromise {
    /// The position with the least weighted sum of decibels.
    pub best: FocusPoint,
    /// The best position for each band alone.
    pub alone: Vec<Length>,
    /// Losses over the range between and around the single best positions.
    pub curve: Vec<FocusPoint>,
}

/// Best common axial position of several feeds on one mount, aimed alike.
///
/// # Errors
/// [`AntennaError::Domain`] for no band, a frequency not above 0, a negative weight or all weights zero.
pub fn compromise(
    reflector: &Reflector,
    aim: Aim,
    bands: &[BandFeed<'_>],
) -> Result<Compromise, AntennaError> {
    require(!bands.is_empty(), "number of bands", 0.0, "", "1 or more")?;
    for b in bands {
        positive("frequency", b.frequency.as_hz(), "Hz")?;
        not_negative("weight of a band", b.weight, "")?;
    }
    let sum: f64 = bands.iter().map(|b| b.weight).sum();
    positive("sum of the weights", sum, "")?;
    let nodes = Nodes::smooth(reflector);
    let nominal = Pose::new(reflector, aim, [0.0; 2], [0.0; 3]);
    let power = |b: &BandFeed<'_>, z: f64| {
        let k = 2.0 * PI / b.frequency.wavelength().as_m();
        let pose = Pose::new(reflector, aim, [0.0; 2], [0.0, 0.0, z + b.on_mount.as_m()]);
        Illumination::new(&nodes, b.pattern, &pose, k)
            .peak(&nodes, k)
            .1
    };
    let alone: Vec<f64> = bands
        .iter()
        .map(|b| {
            let k = 2.0 * PI / b.frequency.wavelength().as_m();
            Illumination::new(&nodes, b.pattern, &nominal, k).best_axial(&nodes, &nominal, k)
                - b.on_mount.as_m()
        })
        .collect();
    let best_power: Vec<f64> = bands
        .iter()
        .zip(&alone)
        .map(|(b, &z)| power(b, z))
        .collect();
    let losses = |z: f64| -> Vec<Decibel> {
        bands
            .iter()
            .zip(&best_power)
            .map(|(b, p)| Decibel(to_db(p / power(b, z))))
            .collect()
    };
    let cost = |z: f64| -> f64 {
        losses(z)
            .iter()
            .zip(bands)
            .map(|(l, b)| l.0 * b.weight)
            .sum()
    };
    let (lo, hi) = alone
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &z| {
            (l.min(z), h.max(z))
        });
    // Each band's loss is close to a parabola between its own best and its neighbours': one minimum in between.
    let best = if hi - lo < 1e-9 {
        lo
    } else {
        golden(lo, hi, |z| -cost(z))
    };
    let margin = (0.5 * (hi - lo)).max(5e-3);
    let curve = (0..=24)
        .map(|i| lo - margin + (hi - lo + 2.0 * margin) * f64::from(i) / 24.0)
        .map(|z| FocusPoint {
            position: Length::m(z),
            losses: losses(z),
        })
        .collect();
    Ok(Compromise {
        best: FocusPoint {
            position: Length::m(best),
            losses: losses(best),
        },
        alone: alone.into_iter().map(Length::m).collect(),
        curve,
    })
}
