//! Clear air: attenuation and brightness through the atmosphere fitted to the site, and how both grow
//! toward the horizon.

use slantpath_quantity::{Temperature, Validity};

use crate::climate::SiteClimate;
use crate::error::PropagationError;
use crate::p453;
use crate::p618::sky_noise;
use crate::p676::layered::PathSum;
use crate::p676::{self, LayeredPath};
use crate::p835::{Air, Atmosphere};
use crate::path::SlantPath;

/// Relative standard uncertainty of gaseous attenuation and emission: rms by which P.676's own two methods
/// part at 32 sites above 10 deg (the test `two_routes_to_clear_air` measures it), rounded up.
pub const U_GAS_RELATIVE: f64 = 0.10;

/// Lowest elevation of the cosecant law (P.676-12 Annex 2), deg.
pub(crate) const COSECANT_FROM_DEG: f64 = 5.0;
/// Elevation below which the layered path alone is used, deg; between the two they are blended.
const LAYERED_BELOW_DEG: f64 = 3.0;
/// What the atmosphere does in clear air.
#[derive(Debug, Clone, PartialEq)]
pub struct ClearSky {
    /// Attenuation by oxygen, dB.
    pub oxygen_db: f64,
    /// Attenuation by water vapour, dB.
    pub water_db: f64,
    /// Brightness temperature of the sky, cosmic background included.
    pub brightness: Temperature,
    /// Standard uncertainty of the brightness: [`U_GAS_RELATIVE`] of what the atmosphere emits.
    pub u_brightness: Temperature,
    /// Mean radiating temperature of the gases.
    pub mean_radiating: Temperature,
    /// Ranges that were left, and why.
    pub validity: Validity,
}

impl ClearSky {
    /// Attenuation by all gases, dB.
    pub fn gas_db(&self) -> f64 {
        self.oxygen_db + self.water_db
    }
}

impl SlantPath {
    /// Clear air with the vapour exceeded for `p_percent` of the year (50 is the usual day), integrated
    /// through the layered atmosphere fitted to the surface values: attenuation and brightness.
    ///
    /// # Errors
    /// [`PropagationError::MeetsGround`] for a ray below the radio horizon.
    pub fn clear_sky(&self, p_percent: f64) -> Result<ClearSky, PropagationError> {
        let sum =
            LayeredPath::new(self.f_ghz, &fitted(&self.climate, p_percent)).trace(self.el_deg)?;
        Ok(self.clear_sky_of(&sum))
    }

    fn clear_sky_of(&self, sum: &PathSum) -> ClearSky {
        let background = sky_noise::sky_k(sum.total_db(), 0.0);
        ClearSky {
            oxygen_db: sum.oxygen_db,
            water_db: sum.water_db,
            brightness: Temperature::k(sum.brightness_k),
            u_brightness: Temperature::k(U_GAS_RELATIVE * (sum.brightness_k - background)),
            mean_radiating: Temperature::k(sum.mean_radiating_k()),
            validity: p676::gamma::validity(self.f_ghz),
        }
    }

    /// Sky temperature with rain and cloud of `extra_db` before the clear sky of `clear`, and the rise
    /// over it, K. The wet layer radiates at P.618's mean temperature.
    pub fn noise_rise(&self, clear: &ClearSky, extra_db: f64) -> (Temperature, Temperature) {
        let t_mr = sky_noise::mean_radiating_k(self.climate.temperature_k.value);
        let wet = sky_noise::behind_k(clear.brightness.as_k(), extra_db, t_mr);
        (
            Temperature::k(wet),
            Temperature::k(wet - clear.brightness.as_k()),
        )
    }
}

/// The atmosphere fitted to the climate, with the vapour exceeded for `p_percent`.
fn fitted(climate: &SiteClimate, p_percent: f64) -> Atmosphere {
    Atmosphere::fitted(
        climate.height_km.value,
        climate.pressure_hpa.value,
        climate.temperature_k.value,
        climate.vapour_density_gm3.at(p_percent).value,
        Some(climate.vapour_content_kgm2.at(p_percent).value),
    )
}

/// How much longer than the zenith path the slant path is, for oxygen and water vapour.
///
/// From 5 deg up the cosecant of P.676 Annex 2. Below 3 deg the ratio of the layered path (Snell's law
/// through the fitted atmosphere) to its zenith. Between, a linear blend of the two: the cosecant overstates
/// by some 10 % at 5 deg and a sweep must not jump (the blend is our own, no source).
pub(crate) fn air_mass(
    f_ghz: f64,
    el_deg: f64,
    climate: &SiteClimate,
) -> Result<(f64, f64), PropagationError> {
    let cosecant = 1.0 / el_deg.to_radians().sin();
    if el_deg >= COSECANT_FROM_DEG {
        return Ok((cosecant, cosecant));
    }
    let layers = LayeredPath::new(f_ghz, &fitted(climate, 50.0));
    let (slant, zenith) = (layers.trace(el_deg)?, layers.trace(90.0)?);
    let ratio = |a: f64, b: f64| if b > 0.0 { a / b } else { 1.0 };
    let layered = (
        ratio(slant.oxygen_db, zenith.oxygen_db),
        ratio(slant.water_db, zenith.water_db),
    );
    if el_deg <= LAYERED_BELOW_DEG {
        return Ok(layered);
    }
    let w = (el_deg - LAYERED_BELOW_DEG) / (COSECANT_FROM_DEG - LAYERED_BELOW_DEG);
    Ok((
        layered.0 + w * (cosecant - layered.0),
        layered.1 + w * (cosecant - layered.1),
    ))
}

/// Refractivity at the station's surface, N-units, from median vapour (P.453): what bends rays there.
pub fn surface_refractivity(climate: &SiteClimate) -> f64 {
    let air = Air::of_total_pressure(
        climate.pressure_hpa.value,
        climate.temperature_k.value,
        climate.vapour_density_gm3.at(50.0).value,
    );
    p453::refractivity(air.p_dry_hpa, air.e_hpa, air.t_k)
}
