//! Gain and noise of a solved antenna on receive.

use super::{DishAntenna, Losses};
use crate::error::{AntennaError, not_negative};
use crate::noise::NoiseLedger;
use slantpath_quantity::{Angle, Decibel, Temperature, from_db};

/// What surrounds the antenna.
#[derive(Clone, Copy)]
pub struct Scene<'a> {
    /// Brightness temperature of the sky at an elevation.
    pub sky: &'a (dyn Fn(Angle) -> Temperature + Sync),
    /// Brightness of the ground.
    pub ground: Temperature,
    /// Physical temperature of feed, cover and what stands around them.
    pub physical: Temperature,
}

impl std::fmt::Debug for Scene<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Scene")
            .field("ground", &self.ground)
            .field("physical", &self.physical)
            .finish_non_exhaustive()
    }
}

/// A receiving antenna at its port. Signal and noise are both *realised*: a mismatch weakens both alike, and the noise that
/// a receiver sends out and gets back is not counted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Receive {
    /// Realised gain towards the satellite, over isotropic.
    pub gain: Decibel,
    /// The losses inside it, in the order of [`super::Step::ALL`].
    pub steps: [Decibel; 8],
    /// Antenna noise by part.
    pub noise: NoiseLedger,
}

impl DishAntenna {
    /// Gain and noise ledger for one set of losses under one sky. Closed form; 13 calls of the sky's function.
    ///
    /// The main beam sees the sky at the beam's elevation. Power scattered by feed and struts in the aperture is taken to
    /// see sky and ground half and half (common practice, no source). Shadowed rays that reach the sky see it at the beam's
    /// elevation.
    ///
    /// # Errors
    /// As [`DishAntenna::steps`], and [`AntennaError::Domain`] for a negative temperature.
    pub fn receive(&self, l: &Losses, scene: &Scene<'_>) -> Result<Receive, AntennaError> {
        not_negative("ground temperature", scene.ground.si(), "K")?;
        not_negative("physical temperature", scene.physical.si(), "K")?;
        let steps = self.steps(l)?;
        let sky = (scene.sky)(self.elevation);
        not_negative("sky temperature", sky.si(), "K")?;
        let captured = 1.0 - self.spill.total();
        let scatter = captured * self.blocked_power;
        let outside = [
            (captured - scatter) * sky.si(),
            self.spill.sky_k(scene.sky),
            self.spill.ground_k(scene.ground),
            scatter * 0.5 * (sky.si() + scene.ground.si()),
        ];
        let unshadowed = Temperature::from_si(outside.iter().sum());
        let shadow = l
            .shadow
            .added(unshadowed, sky, scene.ground, scene.physical)
            .si();
        // Inwards: the cover passes and absorbs, the conductors absorb, the mismatch turns away.
        let pass = from_db(-l.ohmic.0);
        let port = from_db(-steps[6].0);
        let through = l.cover.transmitted * pass * port;
        let t_p = scene.physical.si();
        Ok(Receive {
            gain: Decibel(self.base_gain.0 - steps.iter().map(|d| d.0).sum::<f64>()),
            steps,
            noise: NoiseLedger::of([
                outside[0] * through,
                outside[1] * through,
                outside[2] * through,
                outside[3] * through,
                shadow * through,
                l.cover.absorbed * t_p * pass * port,
                (1.0 - pass) * t_p * port,
            ]),
        })
    }
}
