//! What takes gain away from a dish, each in closed form and each its own factor, so that an uncertain input (surface,
//! pointing, focus, a splash of solder) acts through one formula on an otherwise solved antenna.
//!
//! Losses are positive decibels.

use crate::aperture::Taper;
use crate::error::{AntennaError, not_negative, positive, require};
use slantpath_quantity::{
    Angle, Decibel, Frequency, Length, amplitude_from_db, amplitude_to_db, to_db,
};
use std::f64::consts::{LN_10, PI};

/// Surface loss `exp(-(4 pi eps / lambda)^2)` = `685.8 (eps/lambda)^2` dB (J. Ruze, Proc. IEEE 54, 1966: from memory).
///
/// `eps` is the effective rms half-path error; errors correlated over distances small against the dish. Above about
/// `eps = lambda/12` (loss above 4.8 dB) the scattered field is no longer negligible and the formula overstates the loss.
///
/// # Errors
/// [`AntennaError::Domain`] for a negative rms or a frequency that is not above 0.
pub fn ruze_loss(eps: Length, f: Frequency) -> Result<Decibel, AntennaError> {
    not_negative("surface error", eps.as_m(), "m")?;
    positive("frequency", f.as_hz(), "Hz")?;
    Ok(Decibel(
        10.0 / LN_10 * (4.0 * PI * (eps / f.wavelength())).powi(2),
    ))
}

/// Effective half-path rms of a surface error measured *normal* to a paraboloid, uniform illumination:
/// `eps_eff = eps_n (4F) sqrt(ln(1 + 1/(4F)^2))`, F = f/D. For a flat dish it tends to `eps_n`.
///
/// A normal error `e` lengthens the path by `2 e cos(t/2)`, and `cos^2(t/2) = 1/(1+(rho/2f)^2)` averaged over the aperture
/// gives the logarithm.
///
/// # Errors
/// [`AntennaError::Domain`] unless `f_over_d > 0`.
pub fn effective_surface_error(normal: Length, f_over_d: f64) -> Result<Length, AntennaError> {
    positive("f/D", f_over_d, "")?;
    let x = (4.0 * f_over_d).powi(2);
    Ok(normal * (x * (1.0 / x).ln_1p()).sqrt())
}

/// Pointing loss `12 (theta/theta_3)^2` dB, Gaussian beam; within 0.3 dB of a real main lobe while the loss is below 3 dB.
///
/// # Errors
/// [`AntennaError::Domain`] unless the beamwidth is above 0.
pub fn pointing_loss(off: Angle, half_power_beamwidth: Angle) -> Result<Decibel, AntennaError> {
    positive("half-power beamwidth", half_power_beamwidth.as_rad(), "rad")?;
    require(true, "pointing error", off.as_rad(), "rad", "finite")?;
    Ok(Decibel(12.0 * (off / half_power_beamwidth).powi(2)))
}

/// Axial defocus, uniform illumination: `-20 log10 sinc(b/2)`, `b = k dz (1 - cos t0)` the phase difference from centre to
/// rim, radian. Good to 2 % in dB up to 2 dB for `t0 <= 62 deg`.
///
/// # Errors
/// [`AntennaError::Domain`] for a half-angle outside (0, 90] deg or a frequency that is not above 0.
pub fn axial_defocus_loss(dz: Length, t0: Angle, f: Frequency) -> Result<Decibel, AntennaError> {
    positive("frequency", f.as_hz(), "Hz")?;
    let t = t0.as_rad();
    require(
        t > 0.0 && t <= 0.5 * PI + 1e-12,
        "half-angle of the rim",
        t0.as_deg(),
        "deg",
        "above 0, at most 90",
    )?;
    let b = 2.0 * PI * (dz / f.wavelength()) * (1.0 - t.cos());
    let x = 0.5 * b;
    let sinc = if x.abs() < 1e-8 { 1.0 } else { x.sin() / x };
    Ok(Decibel(-amplitude_to_db(sinc.abs())))
}

/// Beam deviation factor of a prime-focus paraboloid: `(1 + 0.36 q) / (1 + q)`, `q = 1/(4 f/D)^2`
/// (Y. T. Lo, IRE Trans. AP-8, 1960, for a moderate taper: from memory).
///
/// # Errors
/// [`AntennaError::Domain`] unless `f_over_d > 0`.
pub fn beam_deviation_factor(f_over_d: f64) -> Result<f64, AntennaError> {
    positive("f/D", f_over_d, "")?;
    let q = (4.0 * f_over_d).powi(-2);
    Ok((1.0 + 0.36 * q) / (1.0 + q))
}

/// Squint of the beam when the feed stands `lateral` beside the focus: `BDF atan(lateral / f)`, away from the feed's side.
///
/// For an offset dish the distance from feed to reflector centre takes the place of `f` (then good to about 10 %; the
/// aperture integration gives the exact figure).
///
/// # Errors
/// [`AntennaError::Domain`] unless focal length and `f_over_d` are above 0.
pub fn lateral_squint(
    lateral: Length,
    focal: Length,
    f_over_d: f64,
) -> Result<Angle, AntennaError> {
    positive("focal length", focal.as_m(), "m")?;
    Ok(Angle::rad(
        beam_deviation_factor(f_over_d)? * (lateral / focal).atan(),
    ))
}

/// A strut between rim and feed that stands in the aperture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strut {
    /// Width seen from the satellite.
    pub width: Length,
    /// Length of its shadow, from the feed's edge to the rim.
    pub length: Length,
}

/// Central blockage by a feed of diameter `feed` and by struts: field lost = blocked area times local illumination over the
/// whole, loss `-20 log10(1 - b)`. The feed counts with the centre's illumination, struts with the mean along the radius;
/// only the shadow of the plane wave is counted, which is all there is when struts stand on the rim.
///
/// # Errors
/// [`AntennaError::Domain`] for negative sizes, a zero dish, or a blockage that leaves nothing.
pub fn blockage_loss(
    dish: Length,
    feed: Length,
    struts: &[Strut],
    taper: Taper,
) -> Result<Decibel, AntennaError> {
    Ok(Decibel(-amplitude_to_db(
        1.0 - blocked_field(dish, feed, struts, taper)?,
    )))
}

/// Share of the aperture field that [`blockage_loss`] finds blocked.
fn blocked_field(
    dish: Length,
    feed: Length,
    struts: &[Strut],
    taper: Taper,
) -> Result<f64, AntennaError> {
    positive("dish diameter", dish.as_m(), "m")?;
    not_negative("feed diameter", feed.as_m(), "m")?;
    let area = 0.25 * PI * dish.as_m().powi(2);
    let mut b = (feed / dish).powi(2) * taper.centre_over_mean();
    for s in struts {
        not_negative("strut width", s.width.as_m(), "m")?;
        not_negative("strut length", s.length.as_m(), "m")?;
        b += s.width.as_m() * s.length.as_m() / area * taper.radial_over_mean();
    }
    require(b < 1.0, "blocked share of the aperture", b, "", "below 1")?;
    Ok(b)
}

/// Mismatch loss of a port with reflection `s11` (dB, negative or zero): `-10 log10(1 - |S11|^2)`.
///
/// # Errors
/// [`AntennaError::Domain`] for a reflection of 0 dB or above: nothing passes, and a passive port cannot do more.
pub fn mismatch_loss(s11: Decibel) -> Result<Decibel, AntennaError> {
    if s11.0 == f64::NEG_INFINITY {
        return Ok(Decibel(0.0));
    }
    require(s11.0 < 0.0, "S11", s11.0, "dB", "below 0")?;
    let gamma = amplitude_from_db(s11.0);
    Ok(Decibel(-to_db(1.0 - gamma * gamma)))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: Decibel, b: f64, tol: f64) {
        assert!((a.0 - b).abs() <= tol, "{a} is not {b} +- {tol}");
    }

    #[test]
    fn surface() {
        // 1 mm .833 dB, 2 mm 3.33 dB at 10.45 GHz; 2 mm .176 dB at 2.4 GHz (own numerical study).
        near(
            ruze_loss(Length::mm(1.0), Frequency::ghz(10.45)).unwrap(),
            0.833,
            5e-4,
        );
        near(
            ruze_loss(Length::mm(2.0), Frequency::ghz(10.45)).unwrap(),
            3.333,
            2e-3,
        );
        near(
            ruze_loss(Length::mm(2.0), Frequency::ghz(2.4)).unwrap(),
            0.176,
            5e-4,
        );
        assert!(ruze_loss(Length::mm(-1.0), Frequency::ghz(2.4)).is_err());
        // deep dish f/D 0.25: 4F = 1, sqrt(ln 2)
        let e = effective_surface_error(Length::mm(1.0), 0.25).unwrap();
        assert!((e.as_mm() - 2f64.ln().sqrt()).abs() < 1e-12);
    }

    #[test]
    fn focus() {
        // dz = 10/20 mm at 10.45 GHz: .10/.38 dB (40 deg), .49/2.05 dB (62 deg) (own numerical study).
        let f = Frequency::ghz(10.45);
        for (dz, t0, want) in [
            (10.0, 40.0, 0.10),
            (20.0, 40.0, 0.38),
            (10.0, 62.0, 0.49),
            (20.0, 62.0, 2.05),
        ] {
            near(
                axial_defocus_loss(Length::mm(dz), Angle::deg(t0), f).unwrap(),
                want,
                0.008,
            );
        }
        assert_eq!(
            axial_defocus_loss(Length::mm(0.0), Angle::deg(40.0), f)
                .unwrap()
                .0,
            0.0
        );
        // 10 mm at 720 mm with factor .85: 0.68 deg (common practice, no source)
        assert!((0.85 * (10.0f64 / 720.0).atan().to_degrees() - 0.68).abs() < 0.01);
        assert!((beam_deviation_factor(0.4).unwrap() - 0.82).abs() < 0.02);
    }

    #[test]
    fn blockage() {
        // 0.1 m disc, -10 dB taper: .37 dB (0.6 m), .16 (0.9), .09 (1.2) (own numerical study).
        let t = Taper::pedestal(Decibel(-10.0), 1).unwrap();
        for (d, want) in [(0.6, 0.37), (0.9, 0.16), (1.2, 0.09)] {
            near(
                blockage_loss(Length::m(d), Length::m(0.1), &[], t).unwrap(),
                want,
                0.006,
            );
        }
        let strut = Strut {
            width: Length::mm(20.0),
            length: Length::m(0.55),
        };
        let with = blockage_loss(Length::m(1.2), Length::m(0.1), &[strut; 3], t).unwrap();
        assert!(with.0 > 0.3 && with.0 < 0.45, "{with}");
        assert!(blockage_loss(Length::m(0.1), Length::m(0.1), &[], t).is_err());
    }

    #[test]
    fn pointing_and_match() {
        // theta_3 = 1.67 deg: 0.25 deg 0.27 dB, 0.5 deg 1.1, 1 deg 4.3 (common practice, no source; arithmetic)
        let b = Angle::deg(1.67);
        for (off, want) in [(0.25, 0.27), (0.5, 1.08), (1.0, 4.30)] {
            near(pointing_loss(Angle::deg(off), b).unwrap(), want, 0.005);
        }
        near(mismatch_loss(Decibel(-14.0)).unwrap(), 0.1764, 1e-4);
        near(mismatch_loss(Decibel(f64::NEG_INFINITY)).unwrap(), 0.0, 0.0);
        assert!(mismatch_loss(Decibel(0.0)).is_err());
        assert!(pointing_loss(Angle::deg(1.0), Angle::deg(0.0)).is_err());
        assert!(pointing_loss(Angle::deg(f64::NAN), b).is_err());
    }
}
