//! Slant path through a layered atmosphere: P.676-12 Annex 1 section 2, by Snell's law on spherical shells.

use slantpath_quantity::constants::T_CMB_K;
use slantpath_quantity::from_db;

use super::gamma::{gamma_oxygen_db_km, gamma_water_db_km};
use crate::error::PropagationError;
use crate::p835::{Atmosphere, TOP_KM};

/// Mean radius of the Earth used by the Recommendation, km.
pub const R_EARTH_KM: f64 = 6371.0;
/// Thickness of the lowest layer, km: at the horizon a ray still crosses it within 5 km.
const FIRST_LAYER_KM: f64 = 0.002;
/// Each layer is thicker than the one below by this factor, up to 1 km.
const GROWTH: f64 = 1.06;

/// One spherical shell with the state of the air at its middle.
#[derive(Debug, Clone, Copy)]
struct Shell {
    bottom_km: f64,
    top_km: f64,
    n: f64,
    t_k: f64,
    oxygen_db_km: f64,
    water_db_km: f64,
}

/// The atmosphere above a station at one frequency, cut into shells once for every elevation.
///
/// The Recommendation's own cut (922 layers, equation 14) serves large frequencies too; this one has
/// about a sixth of the layers and stands within 0.1 % of it (tested).
#[derive(Debug, Clone)]
pub struct LayeredPath {
    shells: Vec<Shell>,
    /// Shells below the station, for a ray that first descends; downward from the station.
    below: Vec<Shell>,
    h_s_km: f64,
    n_station: f64,
    sea_level_n: f64,
}

/// What a ray gathers on its way out.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PathSum {
    /// Attenuation by dry air, dB.
    pub oxygen_db: f64,
    /// Attenuation by water vapour, dB.
    pub water_db: f64,
    /// Brightness temperature at the station, K, with the cosmic background behind the atmosphere.
    pub brightness_k: f64,
    /// Length of the path inside the atmosphere, km.
    pub length_km: f64,
}

impl PathSum {
    /// Attenuation by all gases, dB.
    pub fn total_db(&self) -> f64 {
        self.oxygen_db + self.water_db
    }
    /// Mean radiating temperature of the path, K: that of an isothermal absorber of the same attenuation
    /// and brightness.
    pub fn mean_radiating_k(&self) -> f64 {
        let transmission = from_db(-self.total_db());
        (self.brightness_k - T_CMB_K * transmission) / (1.0 - transmission)
    }
}

impl LayeredPath {
    /// Cuts `atmosphere` into shells at `f_ghz`.
    pub fn new(f_ghz: f64, atmosphere: &Atmosphere) -> Self {
        let h_s_km = atmosphere.station_height_km();
        let shell = |bottom_km: f64, top_km: f64| {
            let air = atmosphere.at(0.5 * (bottom_km + top_km));
            Shell {
                bottom_km,
                top_km,
                n: 1.0 + 1e-6 * air.refractivity(),
                t_k: air.t_k,
                oxygen_db_km: gamma_oxygen_db_km(f_ghz, air.p_dry_hpa, air.t_k, air.rho_gm3),
                water_db_km: gamma_water_db_km(f_ghz, air.p_dry_hpa, air.t_k, air.rho_gm3),
            }
        };
        let mut shells = Vec::new();
        let (mut h, mut d) = (h_s_km, FIRST_LAYER_KM);
        while h < TOP_KM {
            let top = (h + d).min(TOP_KM);
            shells.push(shell(h, top));
            h = top;
            d = (d * GROWTH).min(1.0);
        }
        let mut below = Vec::new();
        let (mut h, mut d) = (h_s_km, FIRST_LAYER_KM);
        while h > 0.0 {
            let bottom = (h - d).max(0.0);
            below.push(shell(bottom, h));
            h = bottom;
            d *= GROWTH;
        }
        let n_at = |h_km: f64| 1.0 + 1e-6 * atmosphere.at(h_km).refractivity();
        Self {
            shells,
            below,
            h_s_km,
            n_station: n_at(h_s_km),
            sea_level_n: n_at(0.0),
        }
    }

    /// Follows the ray that leaves the station at *apparent* elevation `el_deg`, -5 to 90 deg. A ray that
    /// starts downward runs to its lowest point and up again; if that lies below sea level (a smooth
    /// sphere) it meets the ground.
    ///
    /// # Errors
    /// [`PropagationError::MeetsGround`].
    pub fn trace(&self, el_deg: f64) -> Result<PathSum, PropagationError> {
        let mut ray = Ray::new(self.n_station, R_EARTH_KM + self.h_s_km, el_deg);
        if el_deg < 0.0 {
            let floor = self.sea_level_n * R_EARTH_KM;
            if self.below.is_empty() || ray.invariant < floor {
                return Err(PropagationError::MeetsGround {
                    height_km: self.h_s_km,
                    elevation_deg: el_deg,
                });
            }
            // Down to the turning point and up again: the same shells twice.
            let crossed: Vec<(Shell, f64)> = self
                .below
                .iter()
                .map(|s| (*s, ray.length_in(s)))
                .take_while(|(_, l)| *l > 0.0)
                .collect();
            for (s, l) in &crossed {
                ray.add(s, *l);
            }
            for (s, l) in crossed.iter().rev() {
                ray.add(s, *l);
            }
        }
        for s in &self.shells {
            let l = ray.length_in(s);
            ray.add(s, l);
        }
        let mut sum = ray.sum;
        sum.brightness_k += T_CMB_K * ray.transmission;
        Ok(sum)
    }
}

/// A ray under way: its invariant `n r cos(elevation)` (Snell's law on spheres) and what it gathered.
struct Ray {
    invariant: f64,
    transmission: f64,
    sum: PathSum,
}

impl Ray {
    fn new(n: f64, r_km: f64, el_deg: f64) -> Self {
        Self {
            invariant: n * r_km * el_deg.to_radians().cos(),
            transmission: 1.0,
            sum: PathSum::default(),
        }
    }
    /// Length of the ray inside a shell of constant index, km: the chord between its two spheres, from
    /// the ray's closest point `invariant / n` to the Earth's centre. Zero where it does not reach.
    fn length_in(&self, s: &Shell) -> f64 {
        let q = self.invariant / s.n;
        let leg = |h_km: f64| {
            let r = R_EARTH_KM + h_km;
            ((r - q) * (r + q)).max(0.0).sqrt()
        };
        leg(s.top_km) - leg(s.bottom_km)
    }
    /// Adds a length of shell: attenuation, and emission seen through what lies in front of it.
    fn add(&mut self, s: &Shell, l_km: f64) {
        let (oxygen, water) = (s.oxygen_db_km * l_km, s.water_db_km * l_km);
        let through = from_db(-(oxygen + water));
        self.sum.oxygen_db += oxygen;
        self.sum.water_db += water;
        self.sum.length_km += l_km;
        self.sum.brightness_k += self.transmission * s.t_k * (1.0 - through);
        self.transmission *= through;
    }
}
