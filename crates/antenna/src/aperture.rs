//! Circular apertures in closed form: gain, beamwidth, sidelobe, taper.
//!
//! Pedestal family `E(rho) = C + (1-C)(1-rho^2)^p`, rho = radius / edge radius, C the edge field relative to the centre
//! (Balanis, Antenna Theory, sec. 15.4.1, and Stutzman & Thiele sec. 9.5: from memory; the results are checked by number).

use crate::error::{AntennaError, positive, require};
use slantpath_quantity::{
    Angle, Decibel, Frequency, Length, amplitude_from_db, amplitude_to_db, to_db,
};
use std::f64::consts::PI;

/// Gain of an aperture of diameter `d` and efficiency `eta` (0..=1): `eta (pi D / lambda)^2`, as a level over isotropic.
///
/// # Errors
/// [`AntennaError::Domain`] unless diameter and frequency are above 0 and `0 < eta <= 1`.
pub fn gain(d: Length, eta: f64, f: Frequency) -> Result<Decibel, AntennaError> {
    require(
        eta > 0.0 && eta <= 1.0,
        "aperture efficiency",
        eta,
        "",
        "above 0, at most 1",
    )?;
    Ok(Decibel(to_db(eta * area_factor(d, f)?)))
}

/// Efficiency that a stated gain means on a diameter; above 1 where the gain is impossible for it (the caller judges).
///
/// # Errors
/// [`AntennaError::Domain`] unless diameter and frequency are above 0.
pub fn efficiency_of_gain(gain: Decibel, d: Length, f: Frequency) -> Result<f64, AntennaError> {
    Ok(gain.ratio() / area_factor(d, f)?)
}

fn area_factor(d: Length, f: Frequency) -> Result<f64, AntennaError> {
    positive("aperture diameter", d.as_m(), "m")?;
    positive("frequency", f.as_hz(), "Hz")?;
    Ok((PI * (d / f.wavelength())).powi(2))
}

/// Half-power beamwidth by the rule `70 lambda / D` degrees (common practice; about a -12 dB edge).
///
/// # Errors
/// [`AntennaError::Domain`] unless diameter and frequency are above 0.
pub fn hpbw_rule(d: Length, f: Frequency) -> Result<Angle, AntennaError> {
    area_factor(d, f)?;
    Ok(Angle::deg(70.0 * (f.wavelength() / d)))
}

/// Circular aperture with a parabola-on-pedestal taper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Taper {
    /// Edge field relative to the centre, amplitude, 0..=1.
    c: f64,
    /// Exponent of the parabola.
    p: u8,
}

impl Taper {
    /// Uniform illumination.
    pub const UNIFORM: Self = Self { c: 1.0, p: 1 };

    /// Edge level in dB (zero or negative; `-inf` for none) and the exponent `p` (1 or 2 in use, up to 4).
    ///
    /// # Errors
    /// [`AntennaError::Domain`] for a positive edge level or an exponent outside 1..=4.
    pub fn pedestal(edge: Decibel, p: u8) -> Result<Self, AntennaError> {
        let ok = edge.0 <= 0.0;
        if !ok {
            return Err(AntennaError::Domain {
                what: "edge illumination",
                value: edge.0,
                unit: "dB",
                expected: "0 or below",
            });
        }
        require(
            (1..=4).contains(&p),
            "taper exponent",
            p.into(),
            "",
            "1 to 4",
        )?;
        Ok(Self {
            c: amplitude_from_db(edge.0),
            p,
        })
    }

    /// Taper (illumination) efficiency: `[C+(1-C)/(p+1)]^2 / [C^2 + 2C(1-C)/(p+1) + (1-C)^2/(2p+1)]`.
    pub fn efficiency(self) -> f64 {
        let (c, p) = (self.c, f64::from(self.p));
        let mean = c + (1.0 - c) / (p + 1.0);
        mean * mean
            / (c * c + 2.0 * c * (1.0 - c) / (p + 1.0) + (1.0 - c).powi(2) / (2.0 * p + 1.0))
    }

    /// Centre illumination over its mean, as an amplitude ratio (`w` of the blockage formula).
    pub fn centre_over_mean(self) -> f64 {
        1.0 / (self.c + (1.0 - self.c) / (f64::from(self.p) + 1.0))
    }

    /// Mean of the field along a radius over its mean over the area: what a radial strut covers.
    /// `int_0^1 (1-r^2)^p dr = prod_{k=1..p} 2k/(2k+1)`.
    pub fn radial_over_mean(self) -> f64 {
        let along: f64 = (1..=self.p)
            .map(|k| f64::from(2 * k) / f64::from(2 * k + 1))
            .product();
        (self.c + (1.0 - self.c) * along) * self.centre_over_mean()
    }

    /// Far field relative to boresight, signed amplitude, at `u = pi D sin(theta) / lambda`:
    /// `C Lambda_1(u) + (1-C)/(p+1) Lambda_{p+1}(u)`, normalised; `Lambda_v(u) = v! (2/u)^v J_v(u)`.
    pub fn field(self, u: f64) -> f64 {
        let (c, p1) = (self.c, f64::from(self.p) + 1.0);
        let b = (1.0 - c) / p1;
        (c * lambda_fn(1, u) + b * lambda_fn(i32::from(self.p) + 1, u)) / (c + b)
    }

    /// `u` where the main lobe has fallen to half power.
    fn u_half(self) -> f64 {
        bisect(0.1, 3.2, |u| {
            self.field(u) - std::f64::consts::FRAC_1_SQRT_2
        })
    }

    /// Half-power beamwidth, exact sine: `2 asin(u_half lambda / (pi D))`.
    ///
    /// # Errors
    /// [`AntennaError::Domain`] for non-positive sizes or an aperture too small to have a half-power beam (D < 0.52 lambda
    /// when uniform).
    pub fn hpbw(self, d: Length, f: Frequency) -> Result<Angle, AntennaError> {
        area_factor(d, f)?;
        let s = self.u_half() * (f.wavelength() / d) / PI;
        require(
            s <= 1.0,
            "aperture diameter",
            d.as_m(),
            "m",
            "about half a wavelength or more",
        )?;
        Ok(Angle::rad(2.0 * s.asin()))
    }

    /// Angle of the first null off boresight.
    ///
    /// # Errors
    /// [`AntennaError::Domain`] for non-positive sizes or an aperture too small to have a null (D < 1.22 lambda when uniform).
    pub fn first_null(self, d: Length, f: Frequency) -> Result<Angle, AntennaError> {
        area_factor(d, f)?;
        let s = self.u_null() * (f.wavelength() / d) / PI;
        require(
            s <= 1.0,
            "aperture diameter",
            d.as_m(),
            "m",
            "large enough to form a null (above 1.2 wavelengths)",
        )?;
        Ok(Angle::rad(s.asin()))
    }

    /// First sign change of the field, by marching then bisection.
    fn u_null(self) -> f64 {
        let mut u = 1.0;
        while self.field(u) > 0.0 && u < 20.0 {
            u += 0.05;
        }
        bisect(u - 0.05, u, |u| self.field(u))
    }

    /// Level of the first sidelobe, dB relative to the peak (negative).
    pub fn first_sidelobe(self) -> Decibel {
        let mut u = self.u_null() + 1e-3;
        let mut peak: f64 = 0.0;
        // March to the extremum; parabolic error of a 1e-3 step is below 1e-6 dB.
        loop {
            let now = self.field(u).abs();
            if now < peak || u > 40.0 {
                break;
            }
            peak = now;
            u += 1e-3;
        }
        Decibel(amplitude_to_db(peak))
    }

    /// Pointing loss at an angle off boresight, dB >= 0, exact for this taper.
    ///
    /// # Errors
    /// [`AntennaError::Domain`] for non-positive sizes.
    pub fn pointing_loss(
        self,
        off: Angle,
        d: Length,
        f: Frequency,
    ) -> Result<Decibel, AntennaError> {
        area_factor(d, f)?;
        let u = PI * (d / f.wavelength()) * off.as_rad().sin();
        Ok(Decibel(-amplitude_to_db(self.field(u).abs())))
    }
}

/// `Lambda_v(u) = v! (2/u)^v J_v(u)`, by its power series near zero.
fn lambda_fn(v: i32, u: f64) -> f64 {
    let u = u.abs();
    if u < 0.5 {
        // sum_k (-u^2/4)^k v! / (k! (v+k)!)
        let x = -0.25 * u * u;
        let (mut term, mut sum) = (1.0, 1.0);
        for k in 1..12 {
            term *= x / (f64::from(k) * f64::from(v + k));
            sum += term;
        }
        return sum;
    }
    let factorial: f64 = (1..=v).map(f64::from).product();
    factorial * (2.0 / u).powi(v) * libm::jn(v, u)
}

/// Root of a function that changes sign on `[lo, hi]`.
pub(crate) fn bisect(mut lo: f64, mut hi: f64, f: impl Fn(f64) -> f64) -> f64 {
    let at_lo = f(lo);
    for _ in 0..100 {
        let mid = 0.5 * (lo + hi);
        if (f(mid) > 0.0) == (at_lo > 0.0) {
            lo = mid;
        } else {
            hi = mid;
        }
    }
    0.5 * (lo + hi)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Small-angle beamwidth constant, degrees times lambda/D.
    fn constant(t: Taper) -> f64 {
        (2.0 * t.u_half() / PI).to_degrees()
    }

    #[test]
    fn uniform_and_pedestal_beams() {
        // Uniform 58.96 deg lambda/D and -17.57 dB; -10 dB pedestal 65.17 and -22.28, taper efficiency .9174
        // (own numerical study, textbook tables from memory agree).
        assert!((constant(Taper::UNIFORM) - 58.96).abs() < 0.01);
        assert!((Taper::UNIFORM.first_sidelobe().0 + 17.57).abs() < 0.005);
        let t = Taper::pedestal(Decibel(-10.0), 1).unwrap();
        // The constant is that of small angles; the study's 65.17 carries the sine of a dish of some 20 wavelengths.
        assert!((constant(t) - 65.17).abs() < 0.015, "{}", constant(t));
        assert!(
            (t.first_sidelobe().0 + 22.28).abs() < 0.01,
            "{:?}",
            t.first_sidelobe()
        );
        assert!((t.efficiency() - 0.9174).abs() < 1e-4);
    }

    #[test]
    fn series_and_library_meet() {
        for v in 1..=5 {
            let direct = |u: f64| {
                (1..=v).map(f64::from).product::<f64>() * (2.0 / u).powi(v) * libm::jn(v, u)
            };
            assert!((lambda_fn(v, 0.499) - direct(0.499)).abs() < 1e-12, "v={v}");
            assert_eq!(lambda_fn(v, 0.0), 1.0);
        }
    }

    #[test]
    fn impossible_figures_are_refused() {
        let f = Frequency::ghz(10.4725);
        assert!(gain(Length::m(0.0), 0.6, f).is_err());
        assert!(gain(Length::m(1.0), 1.2, f).is_err());
        assert!(Taper::pedestal(Decibel(1.0), 1).is_err());
        assert!(Taper::pedestal(Decibel(-10.0), 0).is_err());
        assert!(Taper::UNIFORM.first_null(Length::m(0.02), f).is_err());
        assert!(Taper::pedestal(Decibel(f64::NEG_INFINITY), 2).is_ok());
    }
}
