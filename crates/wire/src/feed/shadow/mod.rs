//! What the uplink coil costs the receive feed inside it.
//!
//! By reciprocity the receive feed is let radiate: its aperture field induces currents in the coil, the coil's field adds to
//! the feed's, and the dish is lit by the sum. The loss is the change of the dish's own coupling integral (amplitude *and*
//! phase, [`slantpath_antenna::budget`]), per power radiated, with the feed refocused and with the feed left where it was.
//! The loss of the feed's field on its axis is something else; it is given beside, to say so.
//!
//! The coil is a thin wire with an open end, perfectly conducting, in free space: the disc and the horn's metal are left out
//! (see [`Surroundings`] for a plane as an error bar). Fit for wire radii to 0.035 wavelength. An earlier numerical study put
//! the whole at +-0.4 dB, +-0.6 dB for tight coils of thick wire; differences between coils are better than that.

mod dish;
mod map;
mod result;

pub use dish::Dish;
pub use map::{MapPoint, Tolerance, map, map_remarks, tolerance};
pub use result::{Fate, Polarised, Shadow};

use super::sources::Sources;
use super::{Coil, Horn};
use crate::dipoles::DipoleFields;
use crate::error::WireError;
use crate::excite::GivenField;
use crate::geometry::Structure;
use crate::mesh::Density;
use crate::system::System;
use crate::vector::{C3, V3, mirror};
use dish::Coupling;
use slantpath_antenna::pattern::{Field, GridPattern, Pattern};
use slantpath_antenna::polarisation::Polarisation;
use slantpath_quantity::{Frequency, Length, Validity, amplitude_to_db};
use std::f64::consts::PI;

/// Directions of the sampled far field.
const NT: usize = 73;
const NP: usize = 40;
/// The two linear polarisations, along the feed's `x` and `y`.
const BOTH: [Polarisation; 2] = [Polarisation::HORIZONTAL, Polarisation::VERTICAL];

/// What stands around the coil in the calculation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Surroundings {
    /// Winding and its straight piece in free space.
    #[default]
    Free,
    /// The winding alone, without its straight piece.
    WindingAlone,
    /// Over a perfect plane in place of the disc, seen by the coil alone: an error bar, since the real disc is small and has
    /// a hole.
    Plane,
}

/// Division for the shadow: 15 segments per wavelength and 20 per turn; 10 and 30 per wavelength differ by 0.02 dB.
pub fn shadow_density() -> Density {
    Density {
        per_wavelength: 15.0,
        ..Density::default()
    }
}

/// A receive feed on a dish, solved without the coil: any number of coils can then be tried.
#[derive(Debug, Clone)]
pub struct Bench {
    frequency: Frequency,
    horn: Horn,
    dish: Dish,
    fields: DipoleFields<2>,
    directions: Vec<(f64, f64)>,
    direct: Vec<[Field; 2]>,
    bare: [Coupling; 2],
    validity: Validity,
}

impl Bench {
    /// Solves the bare feed on its dish.
    ///
    /// # Errors
    /// [`WireError::Dimension`] for a feed that cannot be; [`WireError::Pattern`] for a dish it does not light.
    pub fn new(horn: &Horn, dish: &Dish, f: Frequency) -> Result<Self, WireError> {
        let sources: Sources = horn.sources(f)?;
        let directions: Vec<(f64, f64)> = (0..NT * NP)
            .map(|n| {
                (
                    PI * (n / NP) as f64 / (NT - 1) as f64,
                    2.0 * PI * (n % NP) as f64 / NP as f64,
                )
            })
            .collect();
        let direct = sources.far_fields(&directions);
        let mut bare = Vec::with_capacity(2);
        for (case, polarisation) in BOTH.into_iter().enumerate() {
            let pattern = grid(&direct, case, polarisation)?;
            bare.push(Coupling::bare(dish, &pattern, f)?);
        }
        let bare: [Coupling; 2] = bare
            .try_into()
            .map_err(|_| WireError::Singular("two polarisations".into()))?;
        let validity = bare
            .iter()
            .fold(sources.validity.clone(), |v, c| v.and(c.validity.clone()));
        Ok(Self {
            frequency: f,
            horn: horn.clone(),
            dish: dish.clone(),
            fields: sources.fields(),
            directions,
            direct,
            bare,
            validity,
        })
    }

    /// Frequency.
    pub fn frequency(&self) -> Frequency {
        self.frequency
    }
    /// The receive feed.
    pub fn horn(&self) -> &Horn {
        &self.horn
    }
    /// The dish.
    pub fn dish(&self) -> &Dish {
        &self.dish
    }

    /// Position of the disc's middle along the axis, towards the dish from its focus, at which the bare feed is in focus: mean
    /// of both polarisations.
    pub fn best_axial(&self) -> Length {
        let [x, y] = &self.bare;
        (x.best + y.best) * 0.5
    }

    /// Far-field pattern of the bare feed in one linear polarisation (0: along `x`, 1: along `y`), phases from the middle of
    /// the disc.
    ///
    /// # Errors
    /// [`WireError::Pattern`], which a bench that exists does not meet.
    pub fn bare_pattern(&self, case: usize) -> Result<Pattern, WireError> {
        let case = case.min(1);
        grid(&self.direct, case, BOTH[case])
    }

    /// What the spilled power of the bare feed sees, mean of both polarisations being close to either: that of `x`.
    pub fn bare_spill(&self) -> &slantpath_antenna::noise::SpillShares {
        let [x, _] = &self.bare;
        &x.spill
    }

    /// Aperture efficiency of the bare feed in its best focus, electric field along `x` and along `y`.
    pub fn bare_efficiency(&self) -> [f64; 2] {
        let [x, y] = &self.bare;
        [x.focused, y.focused]
    }

    /// The shadow of a coil at one density, both linear polarisations.
    ///
    /// # Errors
    /// [`WireError`] for a coil that cannot be, is too thick for the model, or hits the receive feed.
    pub fn shadow(
        &self,
        coil: &Coil,
        density: Density,
        around: Surroundings,
    ) -> Result<Shadow, WireError> {
        Ok(self.shadow_and_patterns(coil, density, around)?.0)
    }

    /// The same with the patterns of the feed behind the coil, electric field along `x` and along `y`, phases from the middle
    /// of the disc.
    ///
    /// # Errors
    /// As [`Bench::shadow`].
    pub fn shadow_and_patterns(
        &self,
        coil: &Coil,
        density: Density,
        around: Surroundings,
    ) -> Result<(Shadow, [Pattern; 2]), WireError> {
        self.horn.check(Some(coil))?;
        let wires = coil.wires(around != Surroundings::WindingAlone);
        let structure = if around == Surroundings::Plane {
            Structure::over_plane(wires)
        } else {
            Structure::new(wires)
        };
        let system = System::new(&structure, self.frequency, density)?;
        let plane = around == Surroundings::Plane;
        let induced = system.illuminate_joint(&|at| self.near(at, plane));
        let mut each = Vec::with_capacity(2);
        let mut patterns = Vec::with_capacity(2);
        for (case, (polarisation, current)) in BOTH.into_iter().zip(&induced).enumerate() {
            let scattered = current.far_fields(&self.directions);
            let whole: Vec<Field> = self
                .direct
                .iter()
                .zip(&scattered)
                .map(|(d, s)| {
                    let d = d.get(case).copied().unwrap_or_default();
                    Field {
                        theta: d.theta + s.theta,
                        phi: d.phi + s.phi,
                    }
                })
                .collect();
            let pattern = Pattern::grid(GridPattern::new(NT, NP, &whole)?, polarisation);
            let bare = &self.bare[case];
            let with = bare.again(&self.dish, &pattern, self.frequency)?;
            // what the coil takes from the feed's field it must scatter: optical theorem
            let alone = Pattern::grid(GridPattern::new(NT, NP, &scattered)?, polarisation);
            let balance = (alone.power() / (2.0 * slantpath_quantity::constants::ETA0_OHM)
                + current.lost())
                / current.drawn();
            each.push(Polarised::new(bare, &with, balance));
            patterns.push(pattern);
        }
        let missing = || WireError::Singular("two polarisations".into());
        let each: [Polarised; 2] = each.try_into().map_err(|_| missing())?;
        let patterns: [Pattern; 2] = patterns.try_into().map_err(|_| missing())?;
        let validity = self.validity.clone().and(system.mesh().validity().clone());
        Ok((Shadow::new(*coil, each, validity, self.frequency), patterns))
    }

    /// The shadow at [`shadow_density`] and 1.5 times finer: the fine one, with the change of its loss as uncertainty.
    ///
    /// # Errors
    /// As [`Bench::shadow`].
    pub fn shadow_refined(&self, coil: &Coil, around: Surroundings) -> Result<Shadow, WireError> {
        let density = shadow_density();
        let (coarse, fine) = rayon::join(
            || self.shadow(coil, density, around),
            || self.shadow(coil, density.finer(crate::REFINEMENT), around),
        );
        let (coarse, mut fine) = (coarse?, fine?);
        fine.division_u = Some(slantpath_quantity::Decibel(
            (fine.loss().0 - coarse.loss().0).abs(),
        ));
        Ok(fine)
    }

    /// Current along the coil, segment by segment: middle (m) and amplitude (A per unit aperture field), both polarisations.
    ///
    /// # Errors
    /// As [`Bench::shadow`].
    pub fn currents(
        &self,
        coil: &Coil,
        density: Density,
    ) -> Result<Vec<(V3, [f64; 2])>, WireError> {
        self.horn.check(Some(coil))?;
        let system = System::new(&Structure::new(coil.wires(true)), self.frequency, density)?;
        let induced = system.illuminate_joint(&|at| self.near(at, false));
        let mean = |case: usize, i: usize| {
            induced
                .get(case)
                .and_then(|s| s.currents().get(i))
                .map_or(0.0, |[a, b]| (0.5 * (a + b)).norm())
        };
        Ok(system
            .mesh()
            .places()
            .enumerate()
            .map(|(i, (mid, ..))| (mid, [mean(0, i), mean(1, i)]))
            .collect())
    }

    fn near(&self, at: V3, plane: bool) -> [C3; 2] {
        let direct = self.fields.electric_all(at);
        if !plane {
            return direct;
        }
        let image = self.fields.electric_all(mirror(at));
        let mut out = direct;
        for (e, i) in out.iter_mut().zip(image) {
            *e = [e[0] - i[0], e[1] - i[1], e[2] + i[2]];
        }
        out
    }
}

impl GivenField for Bench {
    /// Field of the bare feed polarised along `x`.
    fn electric(&self, at: V3) -> C3 {
        let [x, _] = self.fields.electric_all(at);
        x
    }
}

fn grid(
    fields: &[[Field; 2]],
    case: usize,
    polarisation: Polarisation,
) -> Result<Pattern, WireError> {
    let one: Vec<Field> = fields
        .iter()
        .map(|both| both.get(case).copied().unwrap_or_default())
        .collect();
    Ok(Pattern::grid(GridPattern::new(NT, NP, &one)?, polarisation))
}

/// Level of a pattern on its axis per radiated power, dB.
fn on_axis_db(p: &Pattern) -> f64 {
    amplitude_to_db((p.field(0.0, 0.0).intensity() / p.power()).sqrt())
}
