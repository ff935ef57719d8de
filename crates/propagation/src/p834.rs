//! ITU-R P.834 (revisions 7 to 9 carry the same fit): bending of rays by the troposphere.
//!
//! Two routes. The fit of section 4 holds for stations to 3 km and elevations to 10 deg, in the average
//! atmosphere. The integral of Snell's law through an exponential atmosphere (P.453) holds anywhere and
//! for any surface refractivity; it is used outside the fit's range and to check the fit. The two stand
//! within 0.02 deg of each other over the fit's range (tested).

use slantpath_quantity::Validity;

use crate::error::{PropagationError, possible};
use crate::p453;
use crate::p676::layered::R_EARTH_KM;

/// Height above which refraction is neglected, km.
const TOP_KM: f64 = 100.0;
/// Simpson intervals over the square root of height.
const STEPS: u32 = 400;

/// An exponential refractivity profile `N(h) = N0 exp(-h / h0)` (P.453-14 equation 8).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Refractivity {
    /// Refractivity at sea level, N-units.
    pub n0: f64,
    /// Scale height, km.
    pub scale_height_km: f64,
}

impl Refractivity {
    /// The average atmosphere of P.453: 315 N-units, 7.35 km.
    pub const AVERAGE: Self = Self {
        n0: p453::REFERENCE_N0,
        scale_height_km: p453::REFERENCE_SCALE_HEIGHT_KM,
    };

    /// The average profile scaled so that it passes through `n_s` N-units at station height `h_km`.
    pub fn of_surface(n_s: f64, h_km: f64) -> Self {
        Self {
            n0: n_s * (h_km / p453::REFERENCE_SCALE_HEIGHT_KM).exp(),
            scale_height_km: p453::REFERENCE_SCALE_HEIGHT_KM,
        }
    }

    /// Refractive index at height `h_km`.
    fn index(&self, h_km: f64) -> f64 {
        1.0 + 1e-6 * self.n0 * (-h_km / self.scale_height_km).exp()
    }

    /// Bending, rad, of the part of a ray from `h_km` upward, for a ray of invariant
    /// `k = n r cos(elevation)` that does not turn above `h_km`.
    ///
    /// `tau = - int (n'/n) cot(elevation) dh` (P.834 equation 7) in the variable `u = sqrt(h - h_km)`,
    /// which takes away the singularity of a horizontal ray.
    fn bending_above_rad(&self, h_km: f64, k: f64) -> f64 {
        let u_top = (TOP_KM - h_km).sqrt();
        let du = u_top / f64::from(STEPS);
        let integrand = |u: f64| {
            let h = h_km + u * u;
            let n = self.index(h);
            let nr = n * (R_EARTH_KM + h);
            let gradient =
                -1e-6 * self.n0 / self.scale_height_km * (-h / self.scale_height_km).exp();
            // cot(el) = k / sqrt((nr)^2 - k^2)
            let leg = ((nr - k) * (nr + k)).max(0.0).sqrt();
            if leg > 0.0 {
                -gradient / n * k / leg * 2.0 * u
            } else {
                // Horizontal start: (nr)^2 - k^2 = 2 k (nr)' u^2 near u = 0.
                let slope = n + (R_EARTH_KM + h) * gradient;
                -gradient / n * k * 2.0 / (2.0 * k * slope).sqrt()
            }
        };
        let mut sum = integrand(0.0) + integrand(u_top);
        for i in 1..STEPS {
            let weight = if i % 2 == 1 { 4.0 } else { 2.0 };
            sum += weight * integrand(f64::from(i) * du);
        }
        sum * du / 3.0
    }

    /// Bending, deg, of a ray that leaves height `h_km` at *apparent* elevation `el_deg` and runs to
    /// space, by integration. A ray that starts downward is followed through its lowest point.
    ///
    /// # Errors
    /// [`PropagationError::MeetsGround`] when that point lies below sea level (a smooth sphere).
    pub fn bending_deg(&self, h_km: f64, el_deg: f64) -> Result<f64, PropagationError> {
        let nr_station = self.index(h_km) * (R_EARTH_KM + h_km);
        let k = nr_station * el_deg.to_radians().cos();
        if el_deg >= 0.0 {
            return Ok(self.bending_above_rad(h_km, k).to_degrees());
        }
        let nr = |h: f64| self.index(h) * (R_EARTH_KM + h);
        if k < nr(0.0) {
            return Err(PropagationError::MeetsGround {
                height_km: h_km,
                elevation_deg: el_deg,
            });
        }
        // Lowest point: nr(h_t) = k; nr grows with height in any profile without ducts.
        let (mut lo, mut hi) = (0.0, h_km);
        for _ in 0..60 {
            let mid = 0.5 * (lo + hi);
            if nr(mid) < k {
                lo = mid;
            } else {
                hi = mid;
            }
        }
        let h_t = 0.5 * (lo + hi);
        // The stretch below the station counts twice: down to the lowest point and up again.
        let from_lowest = self.bending_above_rad(h_t, nr(h_t));
        let from_station = self.bending_above_rad(h_km, k);
        Ok((2.0 * from_lowest - from_station).to_degrees())
    }

    /// Lowest apparent elevation, deg, at which a ray from `h_km` clears a smooth sea-level sphere.
    pub fn horizon_deg(&self, h_km: f64) -> f64 {
        let ratio = self.index(0.0) * R_EARTH_KM / (self.index(h_km) * (R_EARTH_KM + h_km));
        -ratio.min(1.0).acos().to_degrees()
    }
}

/// Bending, deg, for *apparent* elevation `el_deg` at station height `h_km`: the fit of section 4
/// (equation 10). Stated range: see [`fit_validity`].
pub fn bending_fit_deg(h_km: f64, el_deg: f64) -> f64 {
    let (h, t) = (h_km, el_deg);
    1.0 / (1.314
        + 0.6437 * t
        + 0.02869 * t * t
        + h * (0.2305 + 0.09428 * t + 0.01096 * t * t)
        + 0.008583 * h * h)
}

/// Bending, deg, for *free-space* (geometric) elevation `el0_deg` at station height `h_km`: the fit of
/// section 4 (equation 12).
pub fn bending_fit_free_space_deg(h_km: f64, el0_deg: f64) -> f64 {
    let (h, t) = (h_km, el0_deg);
    1.0 / (1.728
        + 0.5411 * t
        + 0.03723 * t * t
        + h * (0.1815 + 0.06272 * t + 0.01380 * t * t)
        + h * h * (0.01727 + 0.008288 * t))
}

/// Apparent elevation of the horizon in the fit's atmosphere, deg: `-0.875 sqrt(h)` (equation 11).
pub fn horizon_fit_deg(h_km: f64) -> f64 {
    -0.875 * h_km.max(0.0).sqrt()
}

/// Stated range of the fit: station height 0 to 3 km, apparent elevation from the horizon to 10 deg.
pub fn fit_validity(h_km: f64, el_deg: f64) -> Validity {
    Validity::check("ITU-R P.834 fit", "h", h_km, 0.0..=3.0, "km").and(Validity::check(
        "ITU-R P.834 fit",
        "elevation",
        el_deg,
        horizon_fit_deg(h_km)..=10.0,
        "deg",
    ))
}

/// How the bending was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// The fit of P.834 section 4, inside its range.
    Fit,
    /// Snell's law integrated through the exponential atmosphere.
    Integrated,
}

/// What refraction makes of a geometric elevation.
#[derive(Debug, Clone, PartialEq)]
pub struct Apparent {
    /// Elevation at which the ray arrives at the station, deg.
    pub elevation_deg: f64,
    /// Bending, deg: apparent less free-space elevation.
    pub bending_deg: f64,
    /// Standard uncertainty of the bending, deg: the weather (15 N-units of surface refractivity, about
    /// 5 %) and what the fit differs from the integral.
    pub u_deg: f64,
    /// Which route was taken.
    pub method: Method,
    /// True when the ray clears a smooth sea-level sphere; `false` means below the radio horizon, and the
    /// elevation given is that of the horizon itself.
    pub visible: bool,
    /// Outside when the fit's range was left (the value then comes from integration).
    pub validity: Validity,
}

/// Relative spread of bending with the weather, common practice, no source: bending goes with surface
/// refractivity, whose spread through a year is some 5 % at most places. Near the horizon ducts do more.
const U_WEATHER: f64 = 0.05;

/// Apparent elevation of a source at *free-space* (geometric) elevation `el0_deg`, seen from `h_km`.
///
/// Inside the fit's range the fit is used; outside (above 10 deg, above 3 km, below sea level) Snell's law
/// is integrated through [`Refractivity::AVERAGE`] and validity says so. Sources at finite distance are
/// taken as infinitely far, which for a geostationary satellite errs by less than 0.001 deg.
///
/// # Errors
/// An elevation outside -90..90 deg or a height outside -0.5..10 km.
pub fn apparent_elevation(h_km: f64, el0_deg: f64) -> Result<Apparent, PropagationError> {
    possible("elevation", el0_deg, -90.0, 90.0, "deg")?;
    possible("h", h_km, -0.5, 10.0, "km")?;
    // Land below sea level: the fit and the sphere begin at 0; the validity below says so.
    let h = h_km.max(0.0);
    let average = Refractivity::AVERAGE;
    let horizon = horizon_fit_deg(h);
    let horizon_free_space = horizon - bending_fit_deg(h, horizon);
    if (0.0..=3.0).contains(&h_km) && el0_deg >= horizon_free_space {
        let bending = bending_fit_free_space_deg(h, el0_deg);
        if el0_deg + bending <= 10.0 {
            return Ok(Apparent {
                elevation_deg: el0_deg + bending,
                bending_deg: bending,
                u_deg: (U_WEATHER * bending).hypot(FIT_RMS_DEG),
                method: Method::Fit,
                visible: true,
                validity: Validity::Inside,
            });
        }
    }
    let horizon = average.horizon_deg(h);
    let at_horizon = average.bending_deg(h, horizon * (1.0 - 1e-9))?;
    let visible = el0_deg >= horizon - at_horizon;
    let elevation = if visible {
        integrated_apparent_deg(&average, h, el0_deg, horizon)?
    } else {
        horizon
    };
    let bending = if visible {
        elevation - el0_deg
    } else {
        at_horizon
    };
    let mut validity = fit_validity(h_km, elevation);
    if !visible {
        validity = validity.and(Validity::outside(format!(
            "below the radio horizon of a smooth Earth at h = {h_km} km: diffraction is not modelled"
        )));
    }
    Ok(Apparent {
        elevation_deg: elevation,
        bending_deg: bending,
        u_deg: U_WEATHER * bending,
        method: Method::Integrated,
        visible,
        validity,
    })
}

/// rms of fit less integral over the fit's range, deg (the test `fit_against_integral` measures it).
const FIT_RMS_DEG: f64 = 0.01;

/// Solves `apparent - bending(apparent) = el0` by bisection; the left side grows with elevation.
fn integrated_apparent_deg(
    profile: &Refractivity,
    h_km: f64,
    el0_deg: f64,
    horizon_deg: f64,
) -> Result<f64, PropagationError> {
    let (mut lo, mut hi) = (
        el0_deg.max(horizon_deg * (1.0 - 1e-9)),
        (el0_deg + 2.0).min(90.0),
    );
    for _ in 0..40 {
        let mid = 0.5 * (lo + hi);
        if mid - profile.bending_deg(h_km, mid)? < el0_deg {
            lo = mid;
        } else {
            hi = mid;
        }
    }
    Ok(0.5 * (lo + hi))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The fit is the Recommendation's own approximation of this integral (P.834 section 4).
    #[test]
    fn fit_against_integral() {
        let (mut worst, mut squares, mut count) = (0.0f64, 0.0, 0.0);
        for h in [0.0, 0.3, 1.0, 2.0, 3.0] {
            let horizon = horizon_fit_deg(h);
            for i in 0..=40 {
                let el = (horizon + f64::from(i) * 0.25)
                    .max(Refractivity::AVERAGE.horizon_deg(h) + 1e-6);
                let d = bending_fit_deg(h, el) - Refractivity::AVERAGE.bending_deg(h, el).unwrap();
                worst = worst.max(d.abs());
                squares += d * d;
                count += 1.0;
                let free = el - bending_fit_deg(h, el);
                let back = bending_fit_free_space_deg(h, free);
                assert!(
                    (back - bending_fit_deg(h, el)).abs() < 0.03,
                    "h {h} el {el}"
                );
            }
        }
        println!(
            "fit - integral: worst {worst:.4} deg, rms {:.4} deg",
            f64::sqrt(squares / count)
        );
        assert!(worst < 0.03, "{worst}");
        assert!(f64::sqrt(squares / count) < FIT_RMS_DEG);
    }

    /// Horizontal ray at sea level: the fit gives 1/1.314 = 0.761 deg.
    #[test]
    fn horizon_at_sea_level() {
        let b = Refractivity::AVERAGE.bending_deg(0.0, 0.0).unwrap();
        assert!((b - 0.761).abs() < 0.03, "{b}");
        let a = apparent_elevation(0.0, -0.70).unwrap();
        assert!(a.visible && a.elevation_deg.abs() < 0.1, "{a:?}");
        assert!(!apparent_elevation(0.0, -0.9).unwrap().visible);
        // 30 m up, a little lower is still seen.
        assert!(apparent_elevation(0.03, -0.9).unwrap().visible);
    }

    #[test]
    fn outside_the_fit_says_so_and_joins() {
        let a = apparent_elevation(0.1, 9.8).unwrap();
        let b = apparent_elevation(0.1, 10.2).unwrap();
        assert_eq!((a.method, b.method), (Method::Fit, Method::Integrated));
        assert!(!b.validity.is_inside());
        assert!((a.bending_deg - b.bending_deg).abs() < 0.01);
        let top = apparent_elevation(0.0, 90.0).unwrap();
        assert!(top.bending_deg.abs() < 1e-6 && top.elevation_deg <= 90.0);
        assert!(apparent_elevation(0.0, f64::NAN).is_err());
    }
}
