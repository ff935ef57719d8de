//! Wind on a dish: force, moment at its mount, pull on a bolt.
//!
//! Gust and force coefficient come from the local code; nothing here replaces it.

use crate::AntennaError;
use crate::error::{not_negative, positive};
use slantpath_quantity::{Length, Speed};
use std::f64::consts::PI;

/// Density of air that EN 1991-1-4 recommends for wind loads, kg/m3 (clause 4.5; from memory).
pub const CODE_AIR_KG_M3: f64 = 1.25;

/// What the wind does to a dish.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WindLoad {
    /// Area that the wind meets, m2.
    pub area_m2: f64,
    /// Velocity pressure `rho v^2/2`, Pa.
    pub pressure_pa: f64,
    /// Force `c A rho v^2/2`, N.
    pub force_n: f64,
    /// Moment at the mount, N m.
    pub moment_n_m: f64,
}

impl WindLoad {
    /// Force on an elliptic face `width` by `height` in a gust, with force coefficient `c` on that area, and the moment
    /// of it on a lever from the mount's clamp to the dish's middle.
    ///
    /// # Errors
    /// Sizes, coefficient or density not above zero, negative gust or lever.
    pub fn on_face(
        width: Length,
        height: Length,
        gust: Speed,
        c: f64,
        lever: Length,
        air_kg_m3: f64,
    ) -> Result<Self, AntennaError> {
        positive("the dish's width", width.as_m(), "m")?;
        positive("the dish's height", height.as_m(), "m")?;
        not_negative("the gust", gust.si(), "m/s")?;
        positive("the force coefficient", c, "")?;
        not_negative("the lever", lever.as_m(), "m")?;
        positive("the density of air", air_kg_m3, "kg/m3")?;
        let area_m2 = 0.25 * PI * width.as_m() * height.as_m();
        let pressure_pa = 0.5 * air_kg_m3 * gust.si().powi(2);
        let force_n = c * area_m2 * pressure_pa;
        Ok(Self {
            area_m2,
            pressure_pa,
            force_n,
            moment_n_m: force_n * lever.as_m(),
        })
    }
    /// Pull on one bolt when the moment is held by `pairs` pairs of bolts a distance apart, N: `M/(n d)`. Preload and
    /// shear come on top.
    ///
    /// # Errors
    /// Distance or number not above zero.
    pub fn bolt_n(&self, apart: Length, pairs: u32) -> Result<f64, AntennaError> {
        positive("the distance of the bolts", apart.as_m(), "m")?;
        positive("the number of bolt pairs", f64::from(pairs), "")?;
        Ok(self.moment_n_m / (f64::from(pairs) * apart.as_m()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_dish_in_a_gust() {
        // 1.2 m, 30 m/s, coefficient 1.2: 0.5 1.25 30^2 1.2 pi/4 1.2^2 = 763.4 N.
        let d = Length::m(1.2);
        let w = WindLoad::on_face(d, d, Speed::from_si(30.0), 1.2, Length::m(0.5), 1.25).unwrap();
        assert!((w.force_n - 763.4).abs() < 0.1, "{}", w.force_n);
        assert!((w.moment_n_m - 0.5 * w.force_n).abs() < 1e-9);
        assert!((w.bolt_n(Length::m(0.1), 2).unwrap() - w.moment_n_m / 0.2).abs() < 1e-9);
        // twice the gust, four times the force
        let g = WindLoad::on_face(d, d, Speed::from_si(60.0), 1.2, Length::m(0.5), 1.25).unwrap();
        assert!((g.force_n / w.force_n - 4.0).abs() < 1e-12);
        assert!(WindLoad::on_face(d, d, Speed::from_si(-1.0), 1.2, d, 1.25).is_err());
        assert!(w.bolt_n(d, 0).is_err());
    }
}
