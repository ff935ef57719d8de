//! Prime-focus paraboloid with a `cos^n` feed, in closed form.
//!
//! Feed gain `G_f(theta) = 2 (n+1) cos^n theta` for `theta <= 90 deg`, zero behind (S. Silver, Microwave Antenna Theory and
//! Design, 1949, sec. 12; Balanis sec. 15.4: from memory, re-derived here). `t0` is the half-angle under which the feed sees
//! the rim.

use crate::error::{AntennaError, not_negative, positive, require};
use crate::quadrature::integrate;
use slantpath_quantity::{Angle, Decibel, to_db};
use std::f64::consts::{FRAC_PI_2, PI};

/// Efficiency of a prime-focus dish with a `cos^n` feed and its parts; `aperture = spill * taper`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CosN {
    /// Aperture efficiency, spill times taper.
    pub aperture: f64,
    /// Share of the feed's power that meets the reflector: `1 - cos^(n+1) t0`.
    pub spill: f64,
    /// Taper efficiency.
    pub taper: f64,
    /// Edge illumination including space attenuation, dB (negative).
    pub edge: Decibel,
}

fn check(n: f64, t0: Angle) -> Result<(), AntennaError> {
    not_negative("feed exponent n", n, "")?;
    let t = t0.as_rad();
    require(
        t > 0.0 && t <= FRAC_PI_2,
        "half-angle of the rim",
        t0.as_deg(),
        "deg",
        "above 0, at most 90",
    )
}

/// Half-angle of the rim seen from the prime focus: `2 atan(1 / (4 f/D))`.
///
/// # Errors
/// [`AntennaError::Domain`] unless `f_over_d > 0`.
pub fn half_angle(f_over_d: f64) -> Result<Angle, AntennaError> {
    positive("f/D", f_over_d, "")?;
    Ok(Angle::rad(2.0 * (0.25 / f_over_d).atan()))
}

/// The parts of the aperture efficiency for any real `n >= 0`, `eta = 2 (n+1) cot^2(t0/2) [int_0^t0 cos^(n/2) t tan(t/2) dt]^2`.
///
/// The integral is done with 32 Gauss-Legendre nodes (1e-10 for n <= 40; the integrand is analytic up to 90 deg when n is
/// an even integer, and has a weak end-point branch for other n only at exactly 90 deg).
///
/// # Errors
/// [`AntennaError::Domain`] for a negative exponent or a half-angle outside (0, 90] deg.
pub fn cos_n(n: f64, t0: Angle) -> Result<CosN, AntennaError> {
    check(n, t0)?;
    let t = t0.as_rad();
    let i = integrate(32, 0.0, t, |x| x.cos().powf(0.5 * n) * (0.5 * x).tan());
    let aperture = 2.0 * (n + 1.0) * (i / (0.5 * t).tan()).powi(2);
    let spill = 1.0 - t.cos().max(0.0).powf(n + 1.0);
    Ok(CosN {
        aperture,
        spill,
        taper: aperture / spill,
        edge: edge_illumination(n, t0)?,
    })
}

/// Edge illumination including space attenuation: `10 n log10 cos t0 + 40 log10 cos(t0/2)`, dB.
///
/// # Errors
/// As [`cos_n`].
pub fn edge_illumination(n: f64, t0: Angle) -> Result<Decibel, AntennaError> {
    check(n, t0)?;
    let t = t0.as_rad();
    Ok(Decibel(
        n * to_db(t.cos().max(0.0)) + 4.0 * to_db((0.5 * t).cos()),
    ))
}

/// Closed forms for `n` = 2, 4, 6, 8 (Silver; Balanis (15-59): from memory), `None` for another `n` or a bad angle.
///
/// With `u = cos t`: `int cos^m t tan(t/2) dt = int u^m / (1+u) du`, m = n/2, expanded by polynomial division.
pub fn cos_n_closed(n: u8, t0: Angle) -> Option<f64> {
    let t = t0.as_rad();
    if !(t > 0.0 && t < PI) {
        return None;
    }
    let u = t.cos();
    // P(u) = int_u^1 v^m/(1+v) dv
    let ln = (2.0 / (1.0 + u)).ln();
    let (u2, u3, u4) = (u * u, u * u * u, u * u * u * u);
    let i = match n {
        2 => (1.0 - u) - ln,
        4 => (1.0 - u2) / 2.0 - (1.0 - u) + ln,
        6 => (1.0 - u3) / 3.0 - (1.0 - u2) / 2.0 + (1.0 - u) - ln,
        8 => (1.0 - u4) / 4.0 - (1.0 - u3) / 3.0 + (1.0 - u2) / 2.0 - (1.0 - u) + ln,
        _ => return None,
    };
    Some(2.0 * (f64::from(n) + 1.0) * (i / (0.5 * t).tan()).powi(2))
}

/// Half-angle at which a `cos^n` feed gives the greatest aperture efficiency, by golden section on 5..90 deg.
///
/// # Errors
/// [`AntennaError::Domain`] for a negative exponent or one above 200 (whose best half-angle is below 10 deg).
pub fn best_half_angle(n: f64) -> Result<Angle, AntennaError> {
    require(
        (0.0..=200.0).contains(&n),
        "feed exponent n",
        n,
        "",
        "0 to 200",
    )?;
    let eta = |deg: f64| cos_n(n, Angle::deg(deg)).map(|c| c.aperture);
    const R: f64 = 0.618_033_988_749_894_8;
    let (mut lo, mut hi) = (5.0, 90.0);
    for _ in 0..60 {
        let (a, b) = (hi - R * (hi - lo), lo + R * (hi - lo));
        if eta(a)? > eta(b)? {
            hi = b;
        } else {
            lo = a;
        }
    }
    Ok(Angle::deg(0.5 * (lo + hi)))
}

/// Exponent `n` of the `cos^n` feed whose own pattern is down by `taper` (negative dB) at the angle `at` off its axis:
/// `n = taper / (10 log10 cos at)`. Space attenuation is not included: this is the feed's pattern, not the edge illumination.
///
/// # Errors
/// [`AntennaError::Domain`] for a level of 0 dB or above or an angle outside (0, 90) deg.
pub fn exponent_of_taper(taper: Decibel, at: Angle) -> Result<f64, AntennaError> {
    require(taper.0 < 0.0, "feed taper", taper.0, "dB", "below 0")?;
    let t = at.as_rad();
    require(
        t > 0.0 && t < FRAC_PI_2 - 1e-6,
        "angle of the feed taper",
        at.as_deg(),
        "deg",
        "between 0 and 90",
    )?;
    Ok(taper.0 / to_db(t.cos()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quadrature_meets_closed_form() {
        for n in [2u8, 4, 6, 8] {
            for deg in [20.0, 38.0, 53.13, 71.0, 88.0] {
                let t0 = Angle::deg(deg);
                let q = cos_n(n.into(), t0).unwrap().aperture;
                let c = cos_n_closed(n, t0).unwrap();
                assert!((q - c).abs() < 1e-10, "n={n} {deg} deg: {q} {c}");
            }
        }
        assert_eq!(cos_n_closed(3, Angle::deg(50.0)), None);
    }

    #[test]
    fn taper_becomes_exponent_and_back() {
        let n = exponent_of_taper(Decibel(-10.0), Angle::deg(40.0)).unwrap();
        assert!((n * to_db(40f64.to_radians().cos()) + 10.0).abs() < 1e-12);
        assert!(exponent_of_taper(Decibel(0.0), Angle::deg(40.0)).is_err());
        assert!(exponent_of_taper(Decibel(-10.0), Angle::deg(90.0)).is_err());
    }

    #[test]
    fn bad_angles_are_refused() {
        assert!(cos_n(2.0, Angle::deg(0.0)).is_err());
        assert!(cos_n(2.0, Angle::deg(91.0)).is_err());
        assert!(cos_n(-1.0, Angle::deg(40.0)).is_err());
        assert!(half_angle(0.0).is_err());
    }
}
