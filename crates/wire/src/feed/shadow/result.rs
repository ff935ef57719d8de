//! Figures of one shadow.

use super::dish::Coupling;
use crate::feed::Coil;
use slantpath_antenna::AntennaError;
use slantpath_antenna::noise::Shadow as NoiseShadow;
use slantpath_quantity::{Decibel, Frequency, Length, Validity, from_db, to_db};

/// Where the power goes that no longer arrives in the beam, as shares of the feed's whole power; they add up to the change of
/// efficiency (within 0.002, the closure of the two integrals). Negative: that path lost power too.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Fate {
    /// Past the rim to the sky.
    pub sky: f64,
    /// Past the rim to the ground.
    pub ground: f64,
    /// Still on the dish, but out of step, unevenly spread or in the wrong polarisation: it leaves towards the sky beside the
    /// beam.
    pub dish: f64,
}

/// One linear polarisation.
#[derive(Debug, Clone, PartialEq)]
pub struct Polarised {
    /// Loss with the feed moved to its new best focus. Negative where the coil helps.
    pub loss: Decibel,
    /// Loss with the feed left in its old focus.
    pub unfocused: Decibel,
    /// Loss of the feed's own field on its axis: *not* what the dish loses.
    pub on_axis: Decibel,
    /// How far the feed is to be moved towards the dish (negative: away) to be in focus again.
    pub refocus: Length,
    /// Cross-polar on the beam's axis relative to co-polar, without and with the coil.
    pub cross_polar: [Decibel; 2],
    /// Share of the power that meets the dish, without and with.
    pub captured: [f64; 2],
    /// Share spilled to the ground, without and with.
    pub spill_ground: [f64; 2],
    /// Share spilled to the sky, without and with.
    pub spill_sky: [f64; 2],
    /// Aperture efficiency in best focus, without and with.
    pub efficiency: [f64; 2],
    /// Where the lost power goes.
    pub fate: Fate,
    /// Change of the power that the same aperture field radiates: a hint of how much the feed's match moves, not counted.
    pub feed_power: Decibel,
    /// (scattered + lost)/drawn by the coil: 1 but for numerical error.
    pub balance: f64,
}

impl Polarised {
    pub(super) fn new(bare: &Coupling, with: &Coupling, balance: f64) -> Self {
        let ground = with.spill.ground - bare.spill.ground;
        let sky = with.spill.above() - bare.spill.above();
        let lost = bare.focused - with.focused;
        Self {
            loss: Decibel(to_db(bare.focused / with.focused)),
            unfocused: Decibel(to_db(bare.placed / with.placed)),
            on_axis: Decibel(bare.axis_db - with.axis_db),
            refocus: with.best - bare.best,
            cross_polar: [Decibel(bare.cross_db), Decibel(with.cross_db)],
            captured: [bare.captured, with.captured],
            spill_ground: [bare.spill.ground, with.spill.ground],
            spill_sky: [bare.spill.above(), with.spill.above()],
            efficiency: [bare.focused, with.focused],
            fate: Fate {
                sky,
                ground,
                dish: lost - sky - ground,
            },
            feed_power: Decibel(to_db(with.power / bare.power)),
            balance,
        }
    }
}

/// The shadow of a coil.
#[derive(Debug, Clone, PartialEq)]
pub struct Shadow {
    /// The coil.
    pub coil: Coil,
    /// Electric field along the feed's `x` and along its `y`.
    pub each: [Polarised; 2],
    /// Inside the model's range, or why not.
    pub validity: Validity,
    /// Change of the loss between two divisions of the wire; `None` when solved at one.
    pub division_u: Option<Decibel>,
    /// Remarks for the person who reads the figures.
    pub remarks: Vec<String>,
}

/// On-axis loss further than this from the dish's is said.
const PROXY_DB: f64 = 0.3;

impl Shadow {
    pub(super) fn new(coil: Coil, each: [Polarised; 2], validity: Validity, f: Frequency) -> Self {
        let mut s = Self {
            coil,
            each,
            validity,
            division_u: None,
            remarks: Vec::new(),
        };
        let mean = |get: &dyn Fn(&Polarised) -> f64| 0.5 * s.each.iter().map(get).sum::<f64>();
        let (axis, loss) = (mean(&|p| p.on_axis.0), s.loss().0);
        let mut remarks = Vec::new();
        if (axis - loss).abs() > PROXY_DB {
            remarks.push(format!(
                "on the feed's axis the coil takes {axis:.1} dB, of the dish's signal {loss:.1} dB: the loss on the axis is not \
                 the answer"
            ));
        }
        let later = mean(&|p| p.unfocused.0) - loss;
        if later > 0.1 {
            remarks.push(format!(
                "the coil moves the phase centre: without moving the feed by {:.0} mm {} the dish another {later:.1} dB is lost",
                s.refocus().as_m().abs() * 1e3,
                if s.refocus().as_m() > 0.0 { "towards" } else { "away from" },
            ));
        }
        let in_waves = 0.5 * (coil.wire / f.wavelength());
        if in_waves > 0.035 {
            remarks.push(format!(
                "wire of {:.1} mm is {in_waves:.3} wavelengths in radius; beyond 0.035 the thin-wire model reads low by about \
                 0.1 dB",
                coil.wire.as_m() * 1e3
            ));
        }
        s.remarks = remarks;
        s
    }

    fn mean(&self, get: impl Fn(&Polarised) -> f64) -> f64 {
        0.5 * self.each.iter().map(get).sum::<f64>()
    }

    /// Loss in best focus: mean of both linear polarisations in dB.
    pub fn loss(&self) -> Decibel {
        Decibel(self.mean(|p| p.loss.0))
    }
    /// Loss with the feed not refocused, mean of both polarisations.
    pub fn unfocused(&self) -> Decibel {
        Decibel(self.mean(|p| p.unfocused.0))
    }
    /// Loss on the feed's axis, mean of both: not what the dish loses.
    pub fn on_axis(&self) -> Decibel {
        Decibel(self.mean(|p| p.on_axis.0))
    }
    /// Move towards the dish that restores the focus, mean of both.
    pub fn refocus(&self) -> Length {
        Length::m(self.mean(|p| p.refocus.as_m()))
    }
    /// Cross-polar on the beam's axis with the coil, the worse of both polarisations. Below -30 dB the model cannot tell.
    pub fn cross_polar(&self) -> Decibel {
        Decibel(
            self.each
                .iter()
                .map(|p| p.cross_polar[1].0)
                .fold(f64::NEG_INFINITY, f64::max),
        )
    }
    /// Where the lost power goes, mean of both.
    pub fn fate(&self) -> Fate {
        Fate {
            sky: self.mean(|p| p.fate.sky),
            ground: self.mean(|p| p.fate.ground),
            dish: self.mean(|p| p.fate.dish),
        }
    }
    /// Added share of the feed's power that sees the ground: this times ground less sky temperature is the added noise.
    pub fn ground_added(&self) -> f64 {
        self.mean(|p| p.spill_ground[1] - p.spill_ground[0])
    }

    /// Of the lost rays, the share that must end on the ground so that [`NoiseShadow`] adds the noise computed here.
    ///
    /// That type replaces a share `s = 1 - 1/L` of everything the antenna saw by what the lost rays see. With sky and ground
    /// alone, `s (b - g) = dg`, where `g` is the share spilled to the ground without coil and `dg` its change: `b = g + dg/s`.
    /// `None` while the loss is below 0.02 dB, where no share has a meaning.
    pub fn lost_to_ground(&self) -> Option<f64> {
        let loss = self.unfocused().0.max(self.loss().0);
        (loss > 0.02).then(|| {
            let s = 1.0 - from_db(-loss);
            self.mean(|p| p.spill_ground[0]) + self.ground_added() / s
        })
    }

    /// The same as a loss with destinations for the noise ledger, refocused. Nothing is absorbed: the coil scatters.
    ///
    /// # Errors
    /// [`AntennaError`] when the shares are none, which takes a loss so small that it may be taken as 0.
    pub fn noise(&self) -> Result<NoiseShadow, AntennaError> {
        match self.lost_to_ground() {
            None => Ok(NoiseShadow::NONE),
            Some(b) => {
                let b = b.clamp(0.0, 1.0);
                NoiseShadow::new(Decibel(self.loss().0.max(0.0)), 1.0 - b, b, 0.0)
            }
        }
    }
}
