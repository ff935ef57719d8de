//! Power flux density around a transmitting dish and its feed.
//!
//! Source: FCC OET Bulletin 65, edition 97-01, aperture antennas (equation numbers from memory; the formulas themselves
//! were checked against a published compliance exhibit). All densities are averages over time when `p_w` is; free
//! space, without reflection from the ground.
//!
//! The formulas jump upwards by 2.8 % where the far field begins: a distance for a limit is the largest at which the
//! limit is reached.

use crate::AntennaError;
use crate::error::{not_negative, positive, require};
use slantpath_quantity::{Frequency, Length, from_db};
use std::f64::consts::PI;

/// Which formula holds at a distance on the axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Zone {
    /// Up to `D^2/(4 lambda)`: the beam is still a tube.
    Near,
    /// Between near and far: density falls with distance.
    Transition,
    /// From `0.6 D^2/lambda`: density falls with the square of distance.
    Far,
}

/// A dish lit with `p_w` at its feed's flange.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LitAperture {
    diameter_m: f64,
    efficiency: f64,
    lambda_m: f64,
    p_w: f64,
}

impl LitAperture {
    /// Diameter, aperture efficiency, frequency and mean power at the flange in watt.
    ///
    /// # Errors
    /// Diameter, frequency or power not above zero, efficiency outside 0..1.
    pub fn new(
        diameter: Length,
        efficiency: f64,
        f: Frequency,
        p_w: f64,
    ) -> Result<Self, AntennaError> {
        positive("the dish's diameter", diameter.as_m(), "m")?;
        positive("the frequency", f.as_hz(), "Hz")?;
        positive("the power at the feed", p_w, "W")?;
        require(
            efficiency > 0.0 && efficiency <= 1.0,
            "the aperture efficiency",
            efficiency,
            "",
            "above 0 and up to 1",
        )?;
        Ok(Self {
            diameter_m: diameter.as_m(),
            efficiency,
            lambda_m: f.wavelength().as_m(),
            p_w,
        })
    }
    /// Gain `eta (pi D/lambda)^2`, as a ratio.
    pub fn gain(&self) -> f64 {
        self.efficiency * (PI * self.diameter_m / self.lambda_m).powi(2)
    }
    /// The most that can stand at the reflector's surface, `4 P/A` (eq. 11), W/m2.
    pub fn surface_w_m2(&self) -> f64 {
        4.0 * self.p_w / (0.25 * PI * self.diameter_m.powi(2))
    }
    /// End of the near field, `D^2/(4 lambda)` (eq. 12).
    pub fn near_end(&self) -> Length {
        Length::m(self.diameter_m.powi(2) / (4.0 * self.lambda_m))
    }
    /// Density in the near field on the axis, `16 eta P/(pi D^2)` (eq. 13), W/m2.
    pub fn near_w_m2(&self) -> f64 {
        16.0 * self.efficiency * self.p_w / (PI * self.diameter_m.powi(2))
    }
    /// Begin of the far field, `0.6 D^2/lambda` (eq. 16).
    pub fn far_begin(&self) -> Length {
        Length::m(0.6 * self.diameter_m.powi(2) / self.lambda_m)
    }
    /// Density on the axis at a distance (eq. 13, 17 and 18), W/m2, and the zone.
    ///
    /// # Errors
    /// Negative distance.
    pub fn on_axis_w_m2(&self, distance: Length) -> Result<(f64, Zone), AntennaError> {
        let r = distance.as_m();
        not_negative("the distance", r, "m")?;
        Ok(if r <= self.near_end().as_m() {
            (self.near_w_m2(), Zone::Near)
        } else if r < self.far_begin().as_m() {
            (
                self.near_w_m2() * self.near_end().as_m() / r,
                Zone::Transition,
            )
        } else {
            (self.p_w * self.gain() / (4.0 * PI * r * r), Zone::Far)
        })
    }
    /// Largest distance on the axis at which the density reaches a limit; zero when it stays below everywhere.
    ///
    /// # Errors
    /// Limit not above zero.
    pub fn distance_for(&self, limit_w_m2: f64) -> Result<Length, AntennaError> {
        positive("the limit", limit_w_m2, "W/m2")?;
        let far = (self.p_w * self.gain() / (4.0 * PI * limit_w_m2)).sqrt();
        if far >= self.far_begin().as_m() {
            return Ok(Length::m(far));
        }
        let between = self.near_w_m2() * self.near_end().as_m() / limit_w_m2;
        if between >= self.near_end().as_m() {
            // Below the jump at the beginning of the far field.
            return Ok(Length::m(between.min(self.far_begin().as_m())));
        }
        Ok(Length::m(0.0))
    }
}

/// Density before a bare radiator, `P G/(4 pi r^2)` (eq. 3, 18), W/m2; `gain_dbi` in that direction.
///
/// Closer than about a wavelength the true density is lower than this says: it errs to the safe side.
///
/// # Errors
/// Power negative, distance not above zero.
pub fn radiator_w_m2(p_w: f64, gain_dbi: f64, distance: Length) -> Result<f64, AntennaError> {
    not_negative("the power", p_w, "W")?;
    positive("the distance", distance.as_m(), "m")?;
    Ok(p_w * from_db(gain_dbi) / (4.0 * PI * distance.as_m().powi(2)))
}

/// Distance at which a bare radiator's density falls to a limit.
///
/// # Errors
/// Power negative, limit not above zero.
pub fn radiator_distance(p_w: f64, gain_dbi: f64, limit_w_m2: f64) -> Result<Length, AntennaError> {
    not_negative("the power", p_w, "W")?;
    positive("the limit", limit_w_m2, "W/m2")?;
    Ok(Length::m(
        (p_w * from_db(gain_dbi) / (4.0 * PI * limit_w_m2)).sqrt(),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dish(d: f64, eta: f64, f_ghz: f64, p: f64) -> LitAperture {
        LitAperture::new(Length::m(d), eta, Frequency::ghz(f_ghz), p).unwrap()
    }

    #[test]
    fn the_computed_table_is_reproduced() {
        // Closed forms of OET 65 computed elsewhere (table rf_exposure_aperture, 40 rows), relative 1e-4.
        let text = include_str!("../tests/data/rf_exposure_aperture.csv");
        let mut rows = 0;
        for line in text.lines().filter(|l| !l.starts_with('#')).skip(1) {
            let c: Vec<&str> = line.split(',').collect();
            let x = |i: usize| c[i].parse::<f64>().unwrap();
            let a = dish(x(0), x(1), x(2), x(3));
            let close = |got: f64, want: f64| (got - want).abs() <= 1e-4 * want.abs().max(1e-9);
            assert!(close(slantpath_quantity::to_db(a.gain()), x(5)), "{line}");
            assert!(close(a.near_end().as_m(), x(6)) && close(a.far_begin().as_m(), x(7)));
            assert!(close(a.near_w_m2(), x(8)), "{line}");
            if let Some(limit) = c[4].strip_prefix("limit ") {
                let limit: f64 = limit.split(' ').next().unwrap().parse().unwrap();
                assert!(
                    close(a.distance_for(limit).unwrap().as_m(), x(10)),
                    "{line}"
                );
            } else {
                let (s, zone) = a.on_axis_w_m2(Length::m(x(4))).unwrap();
                assert!(close(s, x(10)), "{line}");
                assert_eq!(format!("{zone:?}").to_lowercase(), c[9]);
                let far = radiator_w_m2(x(3), x(5), Length::m(x(4))).unwrap();
                assert!(close(far, x(11)), "{line}");
            }
            rows += 1;
        }
        assert_eq!(rows, 40);
    }

    #[test]
    fn a_published_exhibit_is_reproduced() {
        // FCC ID SBRFL8310, RF exposure exhibit: 5.8 GHz, efficiency 1; it rounds the wavelength: 1 %.
        // diameter, power, surface, near end, near density, far begin
        for (d, p, surface, near_end, near, far) in [
            (0.6096, 0.05, 0.6856, 1.7961, 0.6853, 4.2878),
            (1.2192, 0.05, 0.1714, 7.1845, 0.1713, 17.1513),
            (1.8288, 0.05, 0.0762, 16.1651, 0.0761, 38.5905),
        ] {
            let a = dish(d, 1.0, 5.8, p);
            for (got, want) in [
                (a.surface_w_m2(), surface),
                (a.near_end().as_m(), near_end),
                (a.near_w_m2(), near),
                (a.far_begin().as_m(), far),
            ] {
                assert!((got / want - 1.0).abs() < 0.01, "{got} {want}");
            }
        }
    }

    #[test]
    fn a_distance_keeps_its_limit_beyond_it() {
        let a = dish(1.2, 0.55, 2.41, 50.0);
        for limit in [
            0.1, 1.0, 9.0, 10.0, 24.0, 25.0, 26.0, 80.0, 97.0, 98.0, 500.0,
        ] {
            let r = a.distance_for(limit).unwrap().as_m();
            for k in 1..400 {
                let (s, _) = a.on_axis_w_m2(Length::m(r + 0.05 * f64::from(k))).unwrap();
                assert!(s <= limit * (1.0 + 1e-9), "{limit}: {s} at {r} + {k}");
            }
        }
        // The bare feed: 50 W, 10 dBi: 4 kW/m2 at 0.1 m, 10 W/m2 at 2 m.
        assert!((radiator_w_m2(50.0, 10.0, Length::m(0.1)).unwrap() - 3979.0).abs() < 1.0);
        assert!((radiator_distance(50.0, 10.0, 10.0).unwrap().as_m() - 1.995).abs() < 0.001);
        assert!(LitAperture::new(Length::m(0.0), 0.5, Frequency::ghz(1.0), 1.0).is_err());
        assert!(a.distance_for(0.0).is_err() && radiator_w_m2(1.0, 0.0, Length::m(0.0)).is_err());
    }
}
