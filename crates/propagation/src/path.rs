//! A slant path whole: every loss and the sky's noise, at one moment's climate or as statistics.

use slantpath_quantity::{Angle, Frequency, Length, Temperature, Validity};

use crate::clear::{COSECANT_FROM_DEG, U_GAS_RELATIVE, air_mass};
use crate::climate::SiteClimate;
use crate::error::{PropagationError, possible};
use crate::p618::{RainPath, Scintillation, rain, sky_noise, total};
use crate::p676;
use crate::p676::zenith::Zenith;
use crate::{p838, p840};

/// What the path's geometry and antenna are. Climate comes apart, so that the user's values may replace
/// the grid's field by field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PathInput {
    /// Geodetic latitude of the station.
    pub latitude: Angle,
    /// Apparent elevation of the path (what refraction makes of the geometric one: [`crate::p834`]).
    pub elevation: Angle,
    /// Carrier frequency.
    pub frequency: Frequency,
    /// Tilt of the linear polarisation from the local horizontal; 45 deg for circular.
    pub polarisation_tilt: Angle,
    /// Aperture diameter, for scintillation averaging.
    pub diameter: Length,
    /// Aperture efficiency, 0..1.
    pub efficiency: f64,
}

/// Losses exceeded for one percentage of an average year.
#[derive(Debug, Clone, PartialEq)]
pub struct SlantLosses {
    /// Percentage of an average year for which the total is exceeded.
    pub p_percent: f64,
    /// Oxygen and water vapour, dB.
    pub gas_db: f64,
    /// Cloud, dB.
    pub cloud_db: f64,
    /// Rain, dB.
    pub rain_db: f64,
    /// Scintillation fade, dB.
    pub scint_db: f64,
    /// Their combination, dB (P.618-13 section 2.5).
    pub total_db: f64,
    /// Standard uncertainty of `total_db` from the climate values' own (rain rate, cloud, vapour content,
    /// wet refractivity), dB; rain height, temperature and pressure matter less and are left out.
    pub u_climate_db: f64,
    /// Standard uncertainty of `total_db` as a prediction, dB: the method's own rms error against
    /// measurements (35 %, [`total::RMS_RELATIVE_ERROR`]) on what rain, cloud and scintillation add,
    /// [`U_GAS_RELATIVE`] on gas, and the grid's part.
    pub u_db: f64,
    /// Noise temperature of the sky behind these losses, at the antenna.
    pub sky: Temperature,
    /// Ranges that were left, and why.
    pub validity: Validity,
}

/// Rain and cloud methods use the sine of the elevation; below this they are held to it, deg.
const LOWEST_RAIN_DEG: f64 = 0.5;

/// A path with all that does not depend on the percentage worked out once.
#[derive(Debug, Clone)]
pub struct SlantPath {
    input: PathInput,
    pub(crate) climate: SiteClimate,
    pub(crate) f_ghz: f64,
    pub(crate) el_deg: f64,
    rain: RainPath,
    scintillation: Scintillation,
    k_l: f64,
    /// Oxygen and water vapour at their 1 % values, dB: what every rarer percentage combines with.
    gas_at_1_db: (f64, f64),
    /// `1 / sin(el)` above 5 deg; below, the layered path's ratio to zenith for oxygen and water vapour.
    air_mass: (f64, f64),
    input_validity: Validity,
}

impl SlantPath {
    /// Checks the input and prepares the path.
    ///
    /// # Errors
    /// [`PropagationError::Impossible`] for what cannot be: latitude beyond 90 deg, frequency outside
    /// 0.1..1000 GHz, elevation outside -5..90 deg, diameter outside 0.01..100 m, efficiency outside
    /// 0..1, climate values below zero or not finite. [`PropagationError::MeetsGround`] for a ray below
    /// the station's radio horizon.
    pub fn new(input: &PathInput, climate: &SiteClimate) -> Result<Self, PropagationError> {
        let lat_deg = possible("latitude", input.latitude.as_deg(), -90.0, 90.0, "deg")?;
        let f_ghz = possible("f", input.frequency.as_ghz(), 0.1, 1000.0, "GHz")?;
        let el_deg = possible("elevation", input.elevation.as_deg(), -5.0, 90.0, "deg")?;
        let tau_deg = possible(
            "polarisation tilt",
            input.polarisation_tilt.as_deg(),
            -360.0,
            360.0,
            "deg",
        )?;
        let d_m = possible("D", input.diameter.as_m(), 0.01, 100.0, "m")?;
        let eta = possible("eta", input.efficiency, 1e-3, 1.0, "")?;
        check_climate(climate)?;
        let el_rain_deg = el_deg.max(LOWEST_RAIN_DEG);
        let mut input_validity = Validity::Inside;
        if el_deg < LOWEST_RAIN_DEG {
            input_validity = Validity::outside(format!(
                "rain, cloud and scintillation: elevation = {el_deg} deg is outside {LOWEST_RAIN_DEG}..90 deg (taken at {LOWEST_RAIN_DEG} deg)"
            ));
        }
        let mut path = Self {
            input: *input,
            climate: *climate,
            f_ghz,
            el_deg,
            rain: RainPath::new(
                f_ghz,
                el_rain_deg,
                tau_deg,
                lat_deg,
                climate.height_km.value,
                climate.rain_height_km.value,
                climate.rain_rate_001_mmh.value,
            ),
            scintillation: Scintillation::new(f_ghz, el_rain_deg, d_m, eta, climate.n_wet_50.value),
            k_l: p840::k_l(f_ghz, 273.15) / el_rain_deg.to_radians().sin(),
            gas_at_1_db: (0.0, 0.0),
            air_mass: air_mass(f_ghz, el_deg, climate)?,
            input_validity,
        };
        path.gas_at_1_db = path.gas_db(1.0);
        Ok(path)
    }

    /// The rain part on its own (steps 1 to 9 of P.618).
    pub fn rain(&self) -> &RainPath {
        &self.rain
    }

    /// The scintillation part on its own.
    pub fn scintillation(&self) -> &Scintillation {
        &self.scintillation
    }

    /// The input it was made from.
    pub fn input(&self) -> &PathInput {
        &self.input
    }

    /// Attenuation by oxygen and by water vapour, dB, with the vapour exceeded for `p_percent`.
    pub fn gas_db(&self, p_percent: f64) -> (f64, f64) {
        let c = &self.climate;
        let z = Zenith::new(
            self.f_ghz,
            // The line formulas take dry pressure. The total is what P.835 gives and P.676 Annex 2 is
            // tabled with; the vapour's 1 % of it stays in, as in the reference tables.
            c.pressure_hpa.value,
            c.temperature_k.value,
            c.vapour_density_gm3.at(p_percent).value,
            c.height_km.value,
            Some(c.vapour_content_kgm2.at(p_percent).value),
        );
        (z.oxygen_db * self.air_mass.0, z.water_db * self.air_mass.1)
    }

    /// The losses exceeded for `p_percent` of an average year.
    ///
    /// # Errors
    /// [`PropagationError::Impossible`] for a percentage outside 1e-5..100.
    pub fn losses(&self, p_percent: f64) -> Result<SlantLosses, PropagationError> {
        possible("p", p_percent, 1e-5, 100.0, "%")?;
        let c = &self.climate;
        let p_gc = total::gas_cloud_percent(p_percent);
        let (oxygen_db, water_db) = if p_gc > 1.0 {
            self.gas_db(p_gc)
        } else {
            self.gas_at_1_db
        };
        let gas_db = oxygen_db + water_db;
        let liquid = c.cloud_liquid_kgm2.at(p_gc);
        let cloud_db = liquid.value * self.k_l;
        let rain_db = self.rain.attenuation_db(p_percent);
        let scint_db = self.scintillation.fade_db(p_percent);
        let total_db = total::combine_db(gas_db, cloud_db, rain_db, scint_db);

        // First order: rain goes about as R^alpha, cloud as L, water vapour as V, scintillation as
        // sigma_ref; the combination's own derivative weights them.
        let wet_db = (rain_db + cloud_db).hypot(scint_db);
        let weight = |part: f64| if wet_db > 0.0 { part / wet_db } else { 0.0 };
        let (_, alpha) = p838::k_alpha(
            self.f_ghz,
            self.el_deg,
            self.input.polarisation_tilt.as_deg(),
        );
        let relative = |value: f64, u: f64| if value > 0.0 { u / value } else { 0.0 };
        let rain_rate = c.rain_rate_001_mmh;
        let content = c.vapour_content_kgm2.at(p_gc);
        let u_rain = rain_db * alpha * relative(rain_rate.value, rain_rate.u);
        let u_cloud = self.k_l * liquid.u;
        let u_scint = scint_db * 1e-4 * c.n_wet_50.u / (3.6e-3 + 1e-4 * c.n_wet_50.value);
        let u_gas = water_db * relative(content.value, content.u);
        let u_climate_db = (weight(rain_db + cloud_db) * u_rain.hypot(u_cloud))
            .hypot(weight(scint_db) * u_scint)
            .hypot(u_gas);
        let u_db = (total::RMS_RELATIVE_ERROR * wet_db)
            .hypot(U_GAS_RELATIVE * gas_db)
            .hypot(u_climate_db);

        let t_mr = sky_noise::mean_radiating_k(c.temperature_k.value);
        Ok(SlantLosses {
            p_percent,
            gas_db,
            cloud_db,
            rain_db,
            scint_db,
            total_db,
            u_climate_db,
            u_db,
            // Scintillation is no absorption: it adds no noise.
            sky: Temperature::k(sky_noise::sky_k(gas_db + cloud_db + rain_db, t_mr)),
            validity: self.validity(p_percent),
        })
    }

    /// Every range that this path and percentage leave.
    fn validity(&self, p_percent: f64) -> Validity {
        let mut v = self
            .input_validity
            .clone()
            .and(total::validity(self.f_ghz, p_percent))
            .and(p840::validity(self.f_ghz, self.el_deg))
            .and(p676::gamma::validity(self.f_ghz));
        if self.el_deg < COSECANT_FROM_DEG {
            v = v.and(p676::zenith::validity(self.f_ghz, self.el_deg));
        }
        if self.rain.a_001_db > 0.0 {
            v = v
                .and(p838::validity(self.f_ghz))
                .and(self.rain.validity(p_percent));
        }
        v.and(self.scintillation.validity(p_percent))
    }

    /// Percentage of an average year for which the total loss `loss_db` is exceeded, between 0.001 and
    /// 50 %: the inverse of [`losses`](Self::losses). `None` when it is exceeded for more than 50 % (a
    /// loss that is there on most days) or less than 0.001 % of the year.
    pub fn percent_exceeding(&self, loss_db: f64) -> Option<f64> {
        let total = |p: f64| self.losses(p).ok().map(|l| l.total_db);
        let (mut lo, mut hi) = (0.001f64.ln(), 50f64.ln());
        if !loss_db.is_finite() || total(0.001)? < loss_db || total(50.0)? > loss_db {
            return None;
        }
        for _ in 0..50 {
            let mid = 0.5 * (lo + hi);
            if total(mid.exp())? > loss_db {
                lo = mid;
            } else {
                hi = mid;
            }
        }
        Some((0.5 * (lo + hi)).exp())
    }

    /// Percentage of an average year in which it rains somewhere on the path (P.618-13 section 2.2.1.2).
    pub fn rain_probability_percent(&self) -> f64 {
        rain::probability_on_path_percent(
            self.climate.rain_probability_percent.value,
            self.rain.l_s_km,
            self.el_deg,
        )
    }
}

/// [`SlantPath::new`] and [`SlantPath::losses`] in one step.
///
/// # Errors
/// As those two.
pub fn slant_path(
    input: &PathInput,
    climate: &SiteClimate,
    p_percent: f64,
) -> Result<SlantLosses, PropagationError> {
    SlantPath::new(input, climate)?.losses(p_percent)
}

/// Values a user may have replaced.
fn check_climate(c: &SiteClimate) -> Result<(), PropagationError> {
    possible("h", c.height_km.value, -0.5, 10.0, "km")?;
    possible("R_0.01", c.rain_rate_001_mmh.value, 0.0, 500.0, "mm/h")?;
    possible("P_0", c.rain_probability_percent.value, 0.0, 100.0, "%")?;
    possible("h_R", c.rain_height_km.value, 0.0, 10.0, "km")?;
    possible("N_wet", c.n_wet_50.value, 0.0, 300.0, "N-units")?;
    possible("T", c.temperature_k.value, 180.0, 340.0, "K")?;
    possible("P", c.pressure_hpa.value, 100.0, 1200.0, "hPa")?;
    for (liquid, (rho, v)) in c
        .cloud_liquid_kgm2
        .0
        .iter()
        .zip(c.vapour_density_gm3.0.iter().zip(&c.vapour_content_kgm2.0))
    {
        possible("L_red", liquid.value, 0.0, 20.0, "kg/m2")?;
        possible("rho", rho.value, 0.0, 60.0, "g/m3")?;
        possible("V", v.value, 0.0, 150.0, "kg/m2")?;
    }
    Ok(())
}
