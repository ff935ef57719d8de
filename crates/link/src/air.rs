//! The path through air and space at one frequency, as a function of the model's inputs.

use crate::LinkError;
use crate::conditions::{Air, Conditions};
use crate::geometry::Geometry;
use crate::inputs::{Inputs, Slot};
use slantpath_propagation::climate::{Gridded, Percentiles};
use slantpath_propagation::p618::sky_noise;
use slantpath_propagation::{PathInput, SiteClimate, SlantPath, climate};
use slantpath_quantity::constants::SPEED_OF_LIGHT;
use slantpath_quantity::{
    Angle, Contributor, Distribution, Frequency, Length, Validity, amplitude_to_db,
};
use slantpath_station::checked::{Polarisation, Site, Station};

/// Day-to-day spread of the air temperature about its annual mean, K (common practice, no source).
const U_AIR_K: f64 = 8.0;

/// Relative standard uncertainty of the gas attenuation (ITU-R P.676-12 states none at these frequencies; own
/// estimate).
const U_GAS_MODEL: f64 = 0.05;

/// Climate of the site: the built-in grid, replaced where the station file says otherwise.
pub(crate) fn site_climate(site: &Site) -> Result<SiteClimate, LinkError> {
    let mut c = climate::at(
        site.latitude.as_deg(),
        site.longitude.as_deg(),
        Some(site.height.distribution.mean() / 1e3),
    )?;
    let own = |k: &Option<Contributor>, scale: f64| {
        k.as_ref()
            .map(|k| Gridded::given(k.distribution.mean() * scale, k.distribution.u() * scale))
    };
    let o = &site.climate;
    let set = |slot: &mut Gridded, v: Option<Gridded>| {
        if let Some(v) = v {
            *slot = v;
        }
    };
    set(&mut c.rain_rate_001_mmh, own(&o.rain_rate_001, 1.0));
    set(&mut c.rain_height_km, own(&o.rain_height, 1e-3));
    set(&mut c.temperature_k, own(&o.temperature, 1.0));
    set(&mut c.pressure_hpa, own(&o.pressure, 1.0));
    set(&mut c.n_wet_50, own(&o.wet_refractivity, 1.0));
    if let Some(v) = own(&o.vapour_density, 1.0) {
        c.vapour_density_gm3 = Percentiles::constant(v.value, v.u);
    }
    if let Some(v) = own(&o.vapour_column, 1.0) {
        c.vapour_content_kgm2 = Percentiles::constant(v.value, v.u);
    }
    if let Some(v) = own(&o.cloud_liquid, 1.0) {
        c.cloud_liquid_kgm2 = Percentiles::constant(v.value, v.u);
    }
    Ok(c)
}

/// Relative standard uncertainty of the water vapour of one day: its spread over the year, and the grid's error.
fn vapour_relative_u(c: &SiteClimate) -> f64 {
    let (v10, v50) = (
        c.vapour_content_kgm2.at(10.0).value,
        c.vapour_content_kgm2.at(50.0),
    );
    if v50.value <= 0.0 {
        return 0.0;
    }
    // The grid ends at the median; the spread is taken from its wet side. 1.2816: the 10 % quantile of a normal
    // distribution.
    let spread = ((v10 - v50.value) / 1.2816 / v50.value).max(0.0);
    spread.hypot(v50.u / v50.value)
}

/// What the clear air takes from a source beyond it.
#[derive(Debug, Clone, PartialEq)]
pub struct ClearLoss {
    /// Gas attenuation, dB.
    pub loss_db: f64,
    /// Its standard uncertainty, dB: the model, the vapour of the day, and cloud that nobody reported.
    pub u_db: f64,
    /// The model's range.
    pub validity: Validity,
}

/// Attenuation by the gases of the clear air between a station and a source at an apparent elevation (ITU-R P.676 on
/// the site's climate, median vapour), as a prediction's budget has it.
///
/// # Errors
/// An elevation below the horizon, a site or frequency outside the models.
pub fn clear_loss(
    station: &Station,
    elevation: Angle,
    f: Frequency,
) -> Result<ClearLoss, LinkError> {
    let c = site_climate(&station.site)?;
    let path = SlantPath::new(
        &PathInput {
            latitude: station.site.latitude,
            elevation,
            frequency: f,
            // Neither polarisation nor antenna has a part in gas attenuation.
            polarisation_tilt: Angle::deg(0.0),
            diameter: Length::m(1.0),
            efficiency: 0.6,
        },
        &c,
    )?;
    let clear = path.clear_sky(50.0)?;
    let loss_db = clear.oxygen_db + clear.water_db;
    Ok(ClearLoss {
        loss_db,
        // Cloud anywhere from none to what is exceeded for a tenth of the year (ITU-R P.840): its root mean square.
        u_db: (U_GAS_MODEL * loss_db)
            .hypot(vapour_relative_u(&c) * clear.water_db)
            .hypot(path.losses(10.0)?.cloud_db / 3f64.sqrt()),
        validity: clear.validity,
    })
}

/// What tells one day's air from another's in an identity: days share no weather, one day does.
fn of_day(c: &Conditions) -> String {
    c.time
        .map_or_else(String::new, |t| format!(".{}", t.strftime("%Y-%m-%d")))
}

/// What tells one moment from another: scintillation goes on for seconds, and whatever is measured in the same second of
/// the same path sees the same of it.
fn of_moment(c: &Conditions) -> String {
    c.time
        .map_or_else(String::new, |t| format!(".{}", t.as_second()))
}

/// Inputs that every frequency shares: one gas model error, one amount of vapour, one air temperature.
#[derive(Debug, Clone, Copy)]
pub(crate) struct SharedAir {
    pub gas_model: Slot,
    pub vapour: Slot,
    pub rain_model: Slot,
    pub temperature: Slot,
}

impl SharedAir {
    pub fn new(inputs: &mut Inputs, site: &Site, c: &SiteClimate, conditions: &Conditions) -> Self {
        let air = conditions.air;
        let day = of_day(conditions);
        let vapour_u = vapour_relative_u(c);
        let factor = |u: f64| {
            if u > 0.0 {
                Distribution::Normal { mean: 1.0, u }
            } else {
                Distribution::Exact(1.0)
            }
        };
        let rain_u = match air {
            Air::Clear => 0.0,
            // P.618-13: rms error of the prediction method against measurements.
            Air::Exceeded { .. } => slantpath_propagation::p618::total::RMS_RELATIVE_ERROR,
        };
        let temperature = match &site.climate.temperature {
            Some(t) => inputs.slot(t),
            None => inputs.own(
                format!("air.temperature{day}"),
                "air temperature at the station",
                Distribution::Normal {
                    mean: c.temperature_k.value,
                    u: U_AIR_K.hypot(c.temperature_k.u),
                },
                "K",
                "ITU-R P.1510-1 annual mean, day-to-day spread 8 K",
            ),
        };
        Self {
            gas_model: inputs.own(
                "air.gas_model",
                "gas attenuation model",
                factor(U_GAS_MODEL),
                "",
                "ITU-R P.676-12; 5 %, own estimate",
            ),
            vapour: inputs.own(
                format!("air.vapour{day}"),
                "water vapour of the day",
                factor(vapour_u),
                "",
                "ITU-R P.836-6",
            ),
            rain_model: inputs.own(
                "air.rain_model",
                "rain, cloud and scintillation model",
                factor(rain_u),
                "",
                "ITU-R P.618-13, rms error of the method",
            ),
            temperature,
        }
    }
}

/// The path at one frequency.
#[derive(Debug, Clone)]
pub(crate) struct PathModel {
    /// Free-space loss, dB (ITU-R P.525: `20 log10(4 pi d / lambda)`).
    pub free_space_db: f64,
    oxygen_db: f64,
    water_db: f64,
    /// Rain and cloud, dB: attenuate and radiate.
    absorbing_db: f64,
    /// Scintillation fade at the percentage asked for, dB: attenuates only.
    scint_db: f64,
    t_gas_k: f64,
    t_wet_k: f64,
    shared: SharedAir,
    /// Scintillation of the moment, dB, mean zero.
    scintillation: Slot,
    /// Ranges that were left.
    pub validity: Validity,
}

/// What the path does for one set of inputs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PathFigures {
    /// Gas attenuation, dB.
    pub gas_db: f64,
    /// Rain, cloud and scintillation, dB.
    pub weather_db: f64,
    /// Sky brightness seen by the main beam, K.
    pub sky_k: f64,
}

impl PathModel {
    /// Builds the path. `band` is `down` or `up` and names the scintillation's identity with the passband's frequency.
    pub fn new(
        inputs: &mut Inputs,
        shared: SharedAir,
        geometry: &Geometry,
        site: &Site,
        c: &SiteClimate,
        conditions: &Conditions,
        f: Frequency,
        polarisation: Polarisation,
        diameter: Length,
        band: &str,
    ) -> Result<Self, LinkError> {
        // Tilt from the local horizontal for the rain coefficients (ITU-R P.838): 45 deg for circular.
        let skew = geometry.skew.unwrap_or(Angle::deg(0.0));
        let tilt = match polarisation {
            Polarisation::Horizontal => skew,
            Polarisation::Vertical => Angle::deg(90.0) + skew,
            Polarisation::Rhcp | Polarisation::Lhcp => Angle::deg(45.0),
        };
        let path = SlantPath::new(
            &PathInput {
                latitude: site.latitude,
                elevation: Angle::deg(geometry.apparent.elevation_deg.max(0.0)),
                frequency: f,
                polarisation_tilt: tilt,
                diameter,
                // Only antenna averaging of scintillation uses it; a few percent do not matter there.
                efficiency: 0.6,
            },
            c,
        )?;
        let clear = path.clear_sky(50.0)?;
        let mut validity = clear.validity.clone();
        let (mut absorbing_db, mut scint_db) = (0.0, 0.0);
        let (mut oxygen_db, mut water_db) = (clear.oxygen_db, clear.water_db);
        let mut sigma = path.scintillation().sigma_db;
        if let Air::Exceeded { percent } = conditions.air {
            let l = path.losses(percent)?;
            absorbing_db = l.rain_db + l.cloud_db;
            scint_db = l.scint_db;
            (oxygen_db, water_db) = path.gas_db(
                slantpath_propagation::p618::total::gas_cloud_percent(percent),
            );
            // The fade at this percentage already holds the scintillation.
            sigma = 0.0;
            validity = validity.and(l.validity);
        }
        let scintillation = inputs.own(
            format!("air.scintillation.{band}{}", of_moment(conditions)),
            format!("scintillation, {band}link"),
            if sigma > 0.0 {
                Distribution::Normal {
                    mean: 0.0,
                    u: sigma,
                }
            } else {
                Distribution::Exact(0.0)
            },
            "dB",
            "ITU-R P.618-13 section 2.4.1",
        );
        Ok(Self {
            free_space_db: free_space_loss_db(geometry.range, f),
            oxygen_db,
            water_db,
            absorbing_db,
            scint_db,
            t_gas_k: clear.mean_radiating.as_k(),
            t_wet_k: sky_noise::mean_radiating_k(c.temperature_k.value),
            shared,
            scintillation,
            validity,
        })
    }

    /// Rain and cloud in the path, dB.
    #[inline]
    pub fn absorbing_db(&self, x: &[f64]) -> f64 {
        self.absorbing_db * self.shared.rain_model.of(x).max(0.0)
    }

    /// Mean radiating temperature of rain and cloud, K.
    pub fn wet_k(&self) -> f64 {
        self.t_wet_k
    }

    /// Evaluates the path.
    #[inline]
    pub fn figures(&self, x: &[f64]) -> PathFigures {
        let s = &self.shared;
        let gas_db = ((self.oxygen_db + self.water_db * s.vapour.of(x).max(0.0))
            * s.gas_model.of(x))
        .max(0.0);
        let rain = s.rain_model.of(x).max(0.0);
        let absorbing = self.absorbing_db(x);
        let weather_db = absorbing.hypot(self.scint_db * rain) + self.scintillation.of(x);
        let clear_k = sky_noise::sky_k(gas_db, self.t_gas_k);
        PathFigures {
            gas_db,
            weather_db,
            sky_k: sky_noise::behind_k(clear_k, absorbing, self.t_wet_k),
        }
    }
}

/// Free-space basic transmission loss, dB: `20 log10(4 pi d f / c)` (ITU-R P.525-4, equation 3).
pub fn free_space_loss_db(range: Length, f: Frequency) -> f64 {
    amplitude_to_db(4.0 * std::f64::consts::PI * range.as_m() * f.as_hz() / SPEED_OF_LIGHT)
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn free_space_loss_of_p525() {
        // ITU-R P.525-4 equation 4: 32.4 + 20 log f_MHz + 20 log d_km (the Recommendation rounds 32.45 to 32.4).
        let l = free_space_loss_db(Length::km(38_000.0), Frequency::mhz(10_489.0));
        assert!(
            (l - (32.447_78 + 20.0 * 10_489f64.log10() + 20.0 * 38_000f64.log10())).abs() < 1e-4
        );
    }
}
