//! The climate's values as named contributors to uncertainty.

use slantpath_quantity::{Contributor, ContributorId, Distribution};

use super::{Gridded, SiteClimate};

impl SiteClimate {
    /// The values with a spread, as contributors: one identity per place (`site`, a dotted path) and quantity,
    /// percentile quantities at `p_percent`. All paths of one station share them, both directions too.
    ///
    /// `source` of each is the grid and its Recommendation; a caller that replaced a value names its own.
    pub fn contributors(&self, site: &str, p_percent: f64) -> Vec<Contributor> {
        let rows: [(&str, &str, Gridded, &'static str, &str); 7] = [
            (
                "rain-rate",
                "rain rate exceeded for 0.01 % of the year",
                self.rain_rate_001_mmh,
                "mm/h",
                "ITU-R P.837-7",
            ),
            (
                "rain-height",
                "rain height",
                self.rain_height_km,
                "km",
                "ITU-R P.839-4",
            ),
            (
                "cloud-liquid",
                "cloud liquid water",
                self.cloud_liquid_kgm2.at(p_percent),
                "kg/m2",
                "ITU-R P.840-7",
            ),
            (
                "vapour-content",
                "water vapour content",
                self.vapour_content_kgm2.at(p_percent),
                "kg/m2",
                "ITU-R P.836-6",
            ),
            (
                "wet-refractivity",
                "wet refractivity",
                self.n_wet_50,
                "N-units",
                "ITU-R P.453-13",
            ),
            (
                "temperature",
                "mean surface temperature",
                self.temperature_k,
                "K",
                "ITU-R P.1510-1",
            ),
            (
                "pressure",
                "surface pressure",
                self.pressure_hpa,
                "hPa",
                "ITU-R P.835-6",
            ),
        ];
        rows.into_iter()
            .filter(|(_, _, g, _, _)| g.u > 0.0)
            .map(|(name, label, g, unit, source)| Contributor {
                id: ContributorId::new(format!("{site}.climate.{name}")),
                label: format!("climate: {label}"),
                distribution: Distribution::Normal {
                    mean: g.value,
                    u: g.u,
                },
                unit,
                source: format!("{source}, built-in grid"),
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::at;

    #[test]
    fn known_values_contribute_nothing() {
        let mut c = at(50.0, 10.0, Some(0.3)).unwrap();
        let all = c.contributors("site", 1.0);
        assert_eq!(all[0].id.as_str(), "site.climate.rain-rate");
        c.rain_rate_001_mmh.u = 0.0;
        assert_eq!(c.contributors("site", 1.0).len(), all.len() - 1);
    }
}
