//! Plane layers before a feed: covers, radomes, water films. Closed form, any number of layers, any angle.
//!
//! Permittivity is `eps = eps' - j eps''` with `exp(+j omega t)`. The stack stands in air on both sides; layers are laterally
//! infinite and flat, so a cover smaller than a wavelength or curved close to the feed is outside this model.

use crate::error::{AntennaError, not_negative, positive, require};
use num_complex::Complex64;
use slantpath_quantity::{Angle, Decibel, Frequency, Length, Temperature, Validity, to_db};
use std::f64::consts::{FRAC_PI_2, PI};

/// One layer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layer {
    /// Relative permittivity `eps' - j eps''`.
    pub permittivity: Complex64,
    /// Thickness.
    pub thickness: Length,
}

impl Layer {
    /// A dielectric from its real permittivity and loss tangent.
    ///
    /// # Errors
    /// [`AntennaError::Domain`] for a permittivity below 1, or a negative loss tangent or thickness.
    pub fn dielectric(eps_r: f64, tan_delta: f64, thickness: Length) -> Result<Self, AntennaError> {
        require(
            eps_r >= 1.0,
            "relative permittivity",
            eps_r,
            "",
            "1 or above",
        )?;
        not_negative("loss tangent", tan_delta, "")?;
        not_negative("layer thickness", thickness.as_m(), "m")?;
        Ok(Self {
            permittivity: Complex64::new(eps_r, -eps_r * tan_delta),
            thickness,
        })
    }

    /// A film of pure water, [`water_permittivity`].
    ///
    /// # Errors
    /// As [`water_permittivity`], and [`AntennaError::Domain`] for a negative thickness.
    pub fn water(thickness: Length, f: Frequency, t: Temperature) -> Result<Self, AntennaError> {
        not_negative("water film", thickness.as_m(), "m")?;
        Ok(Self {
            permittivity: water_permittivity(f, t)?,
            thickness,
        })
    }
}

/// Component of the field relative to the plane of incidence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Incidence {
    /// Electric field across the plane of incidence.
    Te,
    /// Electric field in the plane of incidence.
    Tm,
}

/// What a stack does to a wave: shares of the power that sum to 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Passage {
    /// Share transmitted.
    pub transmitted: f64,
    /// Share reflected.
    pub reflected: f64,
    /// Share absorbed: it adds noise at the stack's physical temperature.
    pub absorbed: f64,
    /// Phase of the transmitted field relative to the same path in air, radian (negative: delayed).
    pub insertion_phase_rad: f64,
}

impl Passage {
    /// Transmission loss, dB >= 0.
    pub fn loss(&self) -> Decibel {
        Decibel(-to_db(self.transmitted))
    }
}

/// Passage of a plane wave through layers in air at `angle` from the normal, by the product of the layers' characteristic
/// (ABCD) matrices (Born & Wolf, Principles of Optics, sec. 1.6: from memory).
///
/// # Errors
/// [`AntennaError::Domain`] for a frequency that is not above 0 or an angle outside 0..90 deg.
pub fn passage(
    layers: &[Layer],
    f: Frequency,
    angle: Angle,
    incidence: Incidence,
) -> Result<Passage, AntennaError> {
    positive("frequency", f.as_hz(), "Hz")?;
    let a = angle.as_rad();
    require(
        (0.0..FRAC_PI_2).contains(&a),
        "angle of incidence",
        angle.as_deg(),
        "deg",
        "0 or above, below 90",
    )?;
    let k0 = 2.0 * PI / f.wavelength().as_m();
    let sin2 = a.sin().powi(2);
    // Wave admittance relative to free space: TE n cos, TM n / cos, with n cos = sqrt(eps - sin^2).
    let admittance = |eps: Complex64, ncos: Complex64| match incidence {
        Incidence::Te => ncos,
        Incidence::Tm => eps / ncos,
    };
    let one = Complex64::new(1.0, 0.0);
    let y0 = admittance(one, Complex64::new(a.cos(), 0.0));
    let j = Complex64::i();
    let mut m = [[one, Complex64::default()], [Complex64::default(), one]];
    let mut total = 0.0;
    for layer in layers {
        not_negative("layer thickness", layer.thickness.as_m(), "m")?;
        let d = layer.thickness.as_m();
        total += d;
        let eps = layer.permittivity;
        let mut ncos = (eps - sin2).sqrt();
        if ncos.im > 0.0 {
            ncos = -ncos; // decaying branch for exp(+j omega t)
        }
        let delta = ncos * (k0 * d);
        let y = admittance(eps, ncos);
        let (c, s) = (delta.cos(), delta.sin());
        let l = [[c, j * s / y], [j * s * y, c]];
        m = std::array::from_fn(|r| std::array::from_fn(|q| m[r][0] * l[0][q] + m[r][1] * l[1][q]));
    }
    let b = m[0][0] + m[0][1] * y0;
    let c = m[1][0] + m[1][1] * y0;
    let den = y0 * b + c;
    let t = 2.0 * y0 / den;
    let r = (y0 * b - c) / den;
    let (transmitted, reflected) = (t.norm_sqr(), r.norm_sqr());
    let air = Complex64::from_polar(1.0, k0 * total * a.cos());
    Ok(Passage {
        transmitted,
        reflected,
        absorbed: (1.0 - transmitted - reflected).max(0.0),
        insertion_phase_rad: (t * air).arg(),
    })
}

/// Relative permittivity of pure water: double Debye form, ITU-R P.527-4 (2017) sec. 5.1.1 (also Liebe, Hufford & Manabe
/// 1991). Coefficients checked against public implementations, the Recommendation's text not seen.
///
/// Stated for -4..40 deg C and up to 1000 GHz.
///
/// # Errors
/// [`AntennaError::Domain`] for a frequency that is not above 0 or a temperature outside -20..=60 deg C, where the fit loses
/// meaning; use [`water_validity`] for the stated range.
pub fn water_permittivity(f: Frequency, t: Temperature) -> Result<Complex64, AntennaError> {
    positive("frequency", f.as_hz(), "Hz")?;
    let t_k = t.si();
    require(
        (253.15..=333.15).contains(&t_k),
        "water temperature",
        t_k,
        "K",
        "253 to 333 K",
    )?;
    let theta = 300.0 / t_k - 1.0;
    let eps_s = 77.66 + 103.3 * theta;
    let eps_1 = 0.0671 * eps_s;
    let eps_inf = 3.52 - 7.52 * theta;
    let f1_ghz = 20.20 - 146.4 * theta + 316.0 * theta * theta;
    let f2_ghz = 39.8 * f1_ghz;
    let f_ghz = f.as_ghz();
    let debye = |delta: f64, relaxation: f64| delta / Complex64::new(1.0, f_ghz / relaxation);
    Ok(debye(eps_s - eps_1, f1_ghz) + debye(eps_1 - eps_inf, f2_ghz) + eps_inf)
}

/// Whether [`water_permittivity`] is inside the range stated by ITU-R P.527.
pub fn water_validity(f: Frequency, t: Temperature) -> Validity {
    Validity::check(
        "ITU-R P.527 water",
        "T",
        t.si() - 273.15,
        -4.0..=40.0,
        "deg C",
    )
    .and(Validity::check(
        "ITU-R P.527 water",
        "f",
        f.as_ghz(),
        0.0..=1000.0,
        "GHz",
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn normal(layers: &[Layer], ghz: f64) -> Passage {
        passage(layers, Frequency::ghz(ghz), Angle::deg(0.0), Incidence::Te).unwrap()
    }

    #[test]
    fn half_wave_wall_is_clear_and_quarter_wave_is_the_fresnel_value() {
        // Lossless slab: half a wavelength inside passes everything; a quarter gives T = (2n/(1+n^2))^2.
        let (ghz, eps) = (10.0, 4.0);
        let lambda = Frequency::ghz(ghz).wavelength();
        let half = normal(&[Layer::dielectric(eps, 0.0, lambda / 4.0).unwrap()], ghz);
        assert!((half.transmitted - 1.0).abs() < 1e-12);
        let quarter = normal(&[Layer::dielectric(eps, 0.0, lambda / 8.0).unwrap()], ghz);
        assert!((quarter.transmitted - (4.0f64 / 5.0).powi(2)).abs() < 1e-12);
    }

    #[test]
    fn brewster_angle_reflects_nothing() {
        let a = Angle::rad(2.6f64.sqrt().atan());
        let l = [Layer::dielectric(2.6, 0.0, Length::mm(3.7)).unwrap()];
        let f = Frequency::ghz(10.0);
        assert!(passage(&l, f, a, Incidence::Tm).unwrap().reflected < 1e-20);
        assert!(passage(&l, f, a, Incidence::Te).unwrap().reflected > 0.05);
    }

    #[test]
    fn plastic_wall_and_water_film() {
        // 2 mm plastic about 0.6 dB at 10.5 GHz and 0.05 at 2.4; water film 0.1 mm 3.6 and 0.4 dB (common practice, no source)
        let wall = [Layer::dielectric(3.0, 0.01, Length::mm(2.0)).unwrap()];
        assert!(
            (normal(&wall, 10.5).loss().0 - 0.6).abs() < 0.12,
            "{}",
            normal(&wall, 10.5).loss()
        );
        assert!(
            (normal(&wall, 2.4).loss().0 - 0.05).abs() < 0.02,
            "{}",
            normal(&wall, 2.4).loss()
        );
        let t = Temperature::from_si(288.15);
        for (ghz, want) in [(10.5, 3.6), (2.4, 0.4)] {
            let f = Frequency::ghz(ghz);
            let film = [Layer::water(Length::mm(0.1), f, t).unwrap()];
            let got = normal(&film, ghz).loss().0;
            assert!((got - want).abs() < 0.08 * want + 0.02, "{ghz} GHz: {got}");
        }
    }

    #[test]
    fn water_known_points() {
        // Static permittivity of water at 25 deg C is 78.3-78.4 (CRC Handbook: from memory).
        let t = Temperature::from_si(298.15);
        let e = water_permittivity(Frequency::mhz(1.0), t).unwrap();
        assert!((e.re - 78.36).abs() < 0.15, "{e}");
        // U. Kaatze, J. Chem. Eng. Data 34 (1989), single Debye at 20 deg C: 80.2, 5.2, 9.36 ps (from memory).
        let e = water_permittivity(Frequency::ghz(10.0), Temperature::from_si(293.15)).unwrap();
        let kaatze = 5.2 + 75.0 / Complex64::new(1.0, 2.0 * PI * 10e9 * 9.36e-12);
        assert!((e - kaatze).norm() < 0.01 * kaatze.norm(), "{e} {kaatze}");
        assert!(water_permittivity(Frequency::ghz(10.0), Temperature::from_si(200.0)).is_err());
        assert!(!water_validity(Frequency::ghz(10.0), Temperature::from_si(320.0)).is_inside());
    }

    proptest! {
        #[test]
        fn power_is_conserved(e1 in 1.0f64..80.0, t1 in 0.0f64..0.5, d1 in 0.0f64..5.0,
                              e2 in 1.0f64..10.0, d2 in 0.0f64..20.0, deg in 0.0f64..85.0, ghz in 1.0f64..15.0, te: bool) {
            let inc = if te { Incidence::Te } else { Incidence::Tm };
            let lossy = Layer::dielectric(e1, t1, Length::mm(d1)).unwrap();
            let clear = Layer::dielectric(e2, 0.0, Length::mm(d2)).unwrap();
            let f = Frequency::ghz(ghz);
            let p = passage(&[lossy, clear], f, Angle::deg(deg), inc).unwrap();
            prop_assert!(p.transmitted + p.reflected <= 1.0 + 1e-9);
            // reciprocity: the same transmission from the other side
            let q = passage(&[clear, lossy], f, Angle::deg(deg), inc).unwrap();
            prop_assert!((p.transmitted - q.transmitted).abs() < 1e-9);
            let c = passage(&[clear], f, Angle::deg(deg), inc).unwrap();
            prop_assert!((c.transmitted + c.reflected - 1.0).abs() < 1e-9);
        }
    }
}
