//! The climate at a station, from a built-in grid of about one degree.
//!
//! The digital maps of P.837-7 (rain rate, rain probability), P.839-4 (0 degC height), P.840-7 (cloud
//! liquid), P.453-13 (wet refractivity), P.836-6 (water vapour), P.1510-1 (temperature) and P.1511-2
//! (topography), resampled and quantised by `authority/climate_grid.py`: half a degree for rain rate, with
//! the full map kept where that smears an edge; a degree for topography; 0.75 to 1.5 degrees, which is the
//! maps' own raster, for the rest.
//!
//! Each value carries the standard uncertainty that the resampling costs, measured against the full maps at
//! 2000 random land points; what the maps themselves are off by is not in it. Anything known better at the
//! station replaces a value.

mod contributors;
mod grid;
mod layers;

pub use grid::Loss;

use crate::error::{PropagationError, possible};
use crate::{p835, p839};

/// A value of the grid with the standard uncertainty of the resampling.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gridded {
    /// Best estimate.
    pub value: f64,
    /// Standard uncertainty, same unit. Zero for a value given by the user without one.
    pub u: f64,
}

impl Gridded {
    /// A value given rather than read from the grid.
    pub const fn given(value: f64, u: f64) -> Self {
        Self { value, u }
    }
}

/// Percentages of the average year at which percentile quantities are kept; between them they are
/// interpolated in log p (P.836 and P.840), 1 % and 50 % bound what is asked.
pub const PERCENTS: [f64; 7] = layers::PERCENTS;

/// A quantity by the percentage of the average year for which it is exceeded, at [`PERCENTS`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Percentiles(pub [Gridded; 7]);

impl Percentiles {
    /// The same value at every percentage.
    pub const fn constant(value: f64, u: f64) -> Self {
        Self([Gridded::given(value, u); 7])
    }

    /// The value exceeded for `p_percent`, linear in log p between neighbours (P.840-7 section 3.1). Asked
    /// outside 1..50 % it gives the value at the end; the models that use it stay inside (P.618 takes the
    /// 1 % value for anything rarer).
    pub fn at(&self, p_percent: f64) -> Gridded {
        let mut below = (PERCENTS[0], self.0[0]);
        if p_percent <= below.0 {
            return below.1;
        }
        for (p, g) in PERCENTS.iter().copied().zip(self.0).skip(1) {
            if p_percent <= p {
                let x = (p_percent.ln() - below.0.ln()) / (p.ln() - below.0.ln());
                return Gridded {
                    value: below.1.value + x * (g.value - below.1.value),
                    u: below.1.u + x * (g.u - below.1.u),
                };
            }
            below = (p, g);
        }
        below.1
    }
}

/// What the sky is like above one station.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SiteClimate {
    /// Station height above mean sea level, km (as given, or P.1511).
    pub height_km: Gridded,
    /// Rain rate exceeded for 0.01 % of an average year, mm/h (P.837).
    pub rain_rate_001_mmh: Gridded,
    /// Probability of rain in an average year, % (P.837).
    pub rain_probability_percent: Gridded,
    /// Mean annual rain height above sea level, km (P.839).
    pub rain_height_km: Gridded,
    /// Median wet term of surface refractivity, N-units (P.453).
    pub n_wet_50: Gridded,
    /// Annual mean surface temperature, K (P.1510).
    pub temperature_k: Gridded,
    /// Total pressure at the station, hPa: P.835 reference atmosphere at its height. `u` is that of the
    /// weather, 8 hPa (common practice, no source).
    pub pressure_hpa: Gridded,
    /// Reduced columnar cloud liquid water, kg/m2 (P.840).
    pub cloud_liquid_kgm2: Percentiles,
    /// Surface water vapour density at the station's height, g/m3 (P.836).
    pub vapour_density_gm3: Percentiles,
    /// Total water vapour content above the station's height, kg/m2 (P.836).
    pub vapour_content_kgm2: Percentiles,
}

/// Spread of sea-level pressure with the weather, hPa (common practice, no source).
const U_PRESSURE_HPA: f64 = 8.0;

fn read(layer: &grid::Layer, lat_deg: f64, lon_deg: f64) -> Gridded {
    let value = layer.value(lat_deg, lon_deg);
    Gridded {
        value,
        u: layer.loss.u(value),
    }
}

/// Rain rate: the refined cell where there is one (coasts under mountains), else the half-degree raster.
fn rain_rate(lat_deg: f64, lon_deg: f64) -> Gridded {
    match layers::RAIN_DETAIL.value(&layers::R001, lat_deg, lon_deg) {
        Some(value) => Gridded {
            value,
            u: layers::R001.loss.u(value),
        },
        None => read(&layers::R001, lat_deg, lon_deg),
    }
}

/// The climate at geodetic latitude `lat_deg` (north positive), longitude `lon_deg` (east positive), and
/// height above mean sea level `height_km`; `None` takes the height from the coarse topography, which in
/// mountains may be off by half a kilometre (its `u` says so).
///
/// # Errors
/// [`PropagationError::Impossible`] for a latitude outside -90..90 deg, a longitude outside -360..360 deg
/// or a height outside -0.5..10 km.
pub fn at(
    lat_deg: f64,
    lon_deg: f64,
    height_km: Option<f64>,
) -> Result<SiteClimate, PropagationError> {
    let lat = possible("latitude", lat_deg, -90.0, 90.0, "deg")?;
    let lon = possible("longitude", lon_deg, -360.0, 360.0, "deg")?;
    let height = match height_km {
        Some(h) => Gridded::given(possible("h", h, -0.5, 10.0, "km")?, 0.0),
        None => read(&layers::TOPO, lat, lon),
    };
    let h0 = read(&layers::H0, lat, lon);
    let vapour = |group: &[grid::Layer; 7]| {
        let mut out = Percentiles::constant(0.0, 0.0);
        for ((slot, layer), scale) in out.0.iter_mut().zip(group).zip(&layers::VSCH) {
            let value = layer.value_at_height(scale, &layers::NODE_HEIGHT, lat, lon, height.value);
            *slot = Gridded {
                value,
                u: layer.loss.u(value),
            };
        }
        out
    };
    let mut cloud = Percentiles::constant(0.0, 0.0);
    for (slot, layer) in cloud.0.iter_mut().zip(&layers::L_RED) {
        *slot = read(layer, lat, lon);
    }
    Ok(SiteClimate {
        height_km: height,
        rain_rate_001_mmh: rain_rate(lat, lon),
        rain_probability_percent: read(&layers::P0, lat, lon),
        rain_height_km: Gridded {
            value: p839::rain_height_km(h0.value),
            u: h0.u,
        },
        n_wet_50: read(&layers::NWET_50, lat, lon),
        temperature_k: read(&layers::T_MEAN, lat, lon),
        pressure_hpa: Gridded::given(p835::pressure_hpa(height.value), U_PRESSURE_HPA),
        cloud_liquid_kgm2: cloud,
        vapour_density_gm3: vapour(&layers::RHO),
        vapour_content_kgm2: vapour(&layers::V),
    })
}

/// One layer's name, unit, source and loss against the full map, for a table of what the grid costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LayerLoss {
    /// What the layer holds.
    pub what: &'static str,
    /// Its unit.
    pub unit: &'static str,
    /// The Recommendation whose map it was made from.
    pub source: &'static str,
    /// What resampling and quantising cost.
    pub loss: Loss,
}

/// What each layer of the grid loses (percentile quantities at 1 %).
pub fn losses() -> [LayerLoss; 9] {
    let row = |what, unit, source, layer: &grid::Layer| LayerLoss {
        what,
        unit,
        source,
        loss: layer.loss,
    };
    let [l_red, ..] = &layers::L_RED;
    let [rho, ..] = &layers::RHO;
    let [v, ..] = &layers::V;
    [
        row("rain rate 0.01 %", "mm/h", "ITU-R P.837-7", &layers::R001),
        row("rain probability", "%", "ITU-R P.837-7", &layers::P0),
        row("0 degC height", "km", "ITU-R P.839-4", &layers::H0),
        row(
            "wet refractivity, median",
            "N-units",
            "ITU-R P.453-13",
            &layers::NWET_50,
        ),
        row("mean temperature", "K", "ITU-R P.1510-1", &layers::T_MEAN),
        row("topography", "km", "ITU-R P.1511-2", &layers::TOPO),
        row("cloud liquid 1 %", "kg/m2", "ITU-R P.840-7", l_red),
        row("vapour density 1 %", "g/m3", "ITU-R P.836-6", rho),
        row("vapour content 1 %", "kg/m2", "ITU-R P.836-6", v),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_cannot_be_is_refused_and_poles_answer() {
        assert!(at(90.5, 0.0, None).is_err());
        assert!(at(0.0, f64::INFINITY, None).is_err());
        assert!(at(0.0, 0.0, Some(20.0)).is_err());
        for lat in [-90.0, 90.0] {
            let c = at(lat, 123.0, None).unwrap();
            assert!(c.temperature_k.value > 200.0 && c.rain_rate_001_mmh.value >= 0.0);
        }
    }

    #[test]
    fn percentiles_interpolate_in_log_p() {
        let p = at(10.0, 20.0, Some(0.4)).unwrap().vapour_density_gm3;
        assert_eq!(p.at(0.001), p.0[0]);
        assert_eq!(p.at(99.0), p.0[6]);
        let mid = p.at((1.0f64 * 2.0).sqrt()).value;
        assert!((mid - 0.5 * (p.0[0].value + p.0[1].value)).abs() < 1e-12);
    }
}
