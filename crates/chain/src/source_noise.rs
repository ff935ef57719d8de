//! Noise of known sources (Sun, Moon, radio stars) and the G/T they measure.
//!
//! G/T from a source of flux density S: `G/T = 8 pi k (Y - 1) K / (S lambda^2)`, S being the total flux density of
//! an unpolarised source of which a feed takes half (the form of ITU-R S.733; the Recommendation's own text was
//! not at hand). `K >= 1` corrects for a source that is not small against the beam; some texts use its reciprocal
//! on the flux. S is the flux that reaches the antenna: divide a published flux by the atmosphere's loss first.

use crate::error::{ChainError, Result, finite, positive, rising, rows};
use slantpath_quantity::constants::{BOLTZMANN, SFU};
use slantpath_quantity::{Angle, Frequency, Temperature, Validity, from_db, to_db};
use std::f64::consts::{LN_2, PI};

/// One jansky, W m^-2 Hz^-1.
pub const JANSKY: f64 = 1e-26;

/// Beam correction of a Gaussian beam on a uniform disk, exact: `a/(1 - exp(-a))`, `a = ln2 x^2`, with
/// `x` = disk diameter / half-power beam width.
///
/// # Errors
/// Diameter or beam width not above zero.
pub fn beam_correction_gauss_disk(diameter: Angle, hpbw: Angle) -> Result<f64> {
    let a = LN_2 * beam_ratio(diameter, hpbw)?.powi(2);
    // -expm1 keeps the limit K -> 1 for a small source.
    Ok(a / -(-a).exp_m1())
}

/// Beam correction `1 + 0.38 x^2`, `x` = disk diameter / half-power beam width: the first term of a series, in
/// common use (from memory, no source). Good to 1 % of K for x < 0.7.
///
/// # Errors
/// Diameter or beam width not above zero.
pub fn beam_correction_series(diameter: Angle, hpbw: Angle) -> Result<f64> {
    Ok(1.0 + 0.38 * beam_ratio(diameter, hpbw)?.powi(2))
}

fn beam_ratio(diameter: Angle, hpbw: Angle) -> Result<f64> {
    Ok(
        positive("beam correction", "diameter_rad", diameter.as_rad())?
            / positive("beam correction", "hpbw_rad", hpbw.as_rad())?,
    )
}

/// G/T in dB/K from the Y factor (dB) between a source of flux density `s_w` (W m^-2 Hz^-1) and the cold sky
/// beside it.
///
/// # Errors
/// Y not above 0 dB, flux not above zero, beam correction below 1.
pub fn g_over_t_from_source(y_db: f64, s_w: f64, f: Frequency, k_beam: f64) -> Result<f64> {
    positive("G/T from a source", "y_db", y_db)?;
    let c = source_factor(s_w, f, k_beam)?;
    Ok(to_db((from_db(y_db) - 1.0) / c))
}

/// The Y factor in dB that an antenna of G/T `gt_db` (dB/K) shows on the source: the inverse of
/// [`g_over_t_from_source`].
///
/// # Errors
/// Flux not above zero, beam correction below 1, G/T not finite.
pub fn y_of_source(gt_db: f64, s_w: f64, f: Frequency, k_beam: f64) -> Result<f64> {
    finite("Y of a source", "gt_db", gt_db)?;
    Ok(to_db(1.0 + source_factor(s_w, f, k_beam)? * from_db(gt_db)))
}

/// `S lambda^2 / (8 pi k K)`: the rise in noise over noise per unit of G/T.
fn source_factor(s_w: f64, f: Frequency, k_beam: f64) -> Result<f64> {
    let part = "source";
    positive(part, "s_w", s_w)?;
    positive(part, "f_hz", f.as_hz())?;
    if !(k_beam.is_finite() && k_beam >= 1.0) {
        return Err(ChainError::Impossible {
            part: part.into(),
            symbol: "k_beam",
            value: k_beam,
            must: "1 or more (it divides; the reciprocal multiplies the flux)",
        });
    }
    let lambda = f.wavelength().as_m();
    Ok(s_w * lambda * lambda / (8.0 * PI * BOLTZMANN * k_beam))
}

/// Rise of antenna temperature from a source small against the beam: `S A_e / (2k)`, K.
pub fn source_temperature(s_w: f64, effective_area_m2: f64) -> Temperature {
    Temperature::k(s_w * effective_area_m2 / (2.0 * BOLTZMANN))
}

/// Flux density of a uniform disk of brightness temperature `t_k`: `2 k T Omega / lambda^2`, W m^-2 Hz^-1,
/// `Omega = pi d^2/4` (small disk).
pub fn disk_flux(t: Temperature, diameter: Angle, f: Frequency) -> f64 {
    let lambda = f.wavelength().as_m();
    2.0 * BOLTZMANN * t.as_k() * PI * diameter.as_rad().powi(2) / 4.0 / (lambda * lambda)
}

/// Published solar flux at a few frequencies, interpolated to others.
///
/// Rule: straight line in log flux against log frequency between the neighbouring published frequencies. Outside
/// the table the outermost line is continued and the result marked as outside.
#[derive(Debug, Clone, PartialEq)]
pub struct FluxTable {
    /// (Hz, sfu), rising in frequency.
    rows: Vec<(f64, f64)>,
}

impl FluxTable {
    /// From (frequency, flux in sfu) rising in frequency.
    ///
    /// # Errors
    /// Fewer than two rows, frequencies that do not rise, a flux not above zero.
    pub fn new(rows_sfu: &[(Frequency, f64)]) -> Result<Self> {
        let part = "solar flux table";
        rows(part, rows_sfu.len(), 2)?;
        rising(part, "f_hz", rows_sfu.iter().map(|r| r.0.as_hz()))?;
        for r in rows_sfu {
            positive(part, "f_hz", r.0.as_hz())?;
            positive(part, "flux_sfu", r.1)?;
        }
        Ok(Self {
            rows: rows_sfu.iter().map(|r| (r.0.as_hz(), r.1)).collect(),
        })
    }
    /// Flux at a frequency in sfu.
    ///
    /// # Errors
    /// Frequency not above zero.
    pub fn at(&self, f: Frequency) -> Result<(f64, Validity)> {
        let f_hz = positive("solar flux table", "f_hz", f.as_hz())?;
        let (Some(first), Some(last)) = (self.rows.first(), self.rows.last()) else {
            return Err(ChainError::TooFewRows {
                part: "solar flux table".into(),
                found: 0,
                needed: 2,
            });
        };
        let upper = self
            .rows
            .partition_point(|r| r.0 < f_hz)
            .clamp(1, self.rows.len() - 1);
        let ((f1, s1), (f2, s2)) = (self.rows[upper - 1], self.rows[upper]);
        let slope = (s2 / s1).ln() / (f2 / f1).ln();
        let s = s1 * (f_hz / f1).powf(slope);
        let v = Validity::check(
            "solar flux table",
            "f",
            f_hz / 1e6,
            first.0 / 1e6..=last.0 / 1e6,
            "MHz",
        );
        Ok((s, v))
    }
    /// Flux in W m^-2 Hz^-1.
    ///
    /// # Errors
    /// As [`Self::at`].
    pub fn at_w(&self, f: Frequency) -> Result<(f64, Validity)> {
        self.at(f).map(|(s, v)| (s * SFU, v))
    }
}

/// Strong radio sources (Baars, Genzel, Pauliny-Toth and Witzel 1977, A&A 61:99, table 5).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum RadioSource {
    /// Cassiopeia A, fading.
    CassiopeiaA,
    /// Cygnus A.
    CygnusA,
    /// Taurus A (the Crab).
    TaurusA,
    /// Virgo A.
    VirgoA,
}

impl RadioSource {
    /// All of them.
    pub const ALL: [Self; 4] = [
        Self::CassiopeiaA,
        Self::CygnusA,
        Self::TaurusA,
        Self::VirgoA,
    ];

    /// `log10 S(Jy) = a + b log10 f(MHz)`, and the range in GHz.
    fn spectrum(self) -> (f64, f64, f64, f64) {
        match self {
            Self::CassiopeiaA => (5.745, -0.770, 0.3, 31.0),
            Self::CygnusA => (7.161, -1.244, 2.0, 31.0),
            Self::TaurusA => (3.915, -0.299, 1.0, 35.0),
            Self::VirgoA => (5.023, -0.856, 0.4, 25.0),
        }
    }
    /// Angular size for the beam correction, arcminutes (Baars et al. 1977; from memory).
    pub fn diameter(self) -> Angle {
        Angle::deg(
            match self {
                Self::CassiopeiaA => 5.0,
                Self::CygnusA => 2.0,
                Self::TaurusA => 4.2,
                Self::VirgoA => 1.0,
            } / 60.0,
        )
    }
    /// Flux density in jansky at `year` (a decimal year; only Cassiopeia A changes).
    ///
    /// Cassiopeia A: epoch 1980.0, fading by `0.97 - 0.30 log10 f(GHz)` percent per year, compounded. Later work
    /// finds a slower fading; a date beyond 2000 is therefore marked as outside.
    ///
    /// # Errors
    /// Frequency not above zero or year not finite.
    pub fn flux_jy(self, f: Frequency, year: f64) -> Result<(f64, Validity)> {
        let part = "radio source flux";
        positive(part, "f_hz", f.as_hz())?;
        finite(part, "year", year)?;
        let (a, b, lo, hi) = self.spectrum();
        let model = "Baars 1977";
        let mut validity = Validity::check(model, "f", f.as_ghz(), lo..=hi, "GHz");
        let mut log_s = a + b * f.as_mhz().log10();
        if self == Self::CassiopeiaA {
            let fading = (0.97 - 0.30 * f.as_ghz().log10()) / 100.0;
            log_s += (year - 1980.0) * (1.0 - fading).log10();
            validity = validity.and(Validity::check(model, "year", year, 1960.0..=2000.0, ""));
        }
        // log10 of a flux, not a level: ten to its power.
        Ok(((log_s * std::f64::consts::LN_10).exp(), validity))
    }
}

/// Brightness temperature of the Moon averaged over its disk, and the standard uncertainty, K.
///
/// The form is Krotikov and Troitskii's (1963): a constant part and one harmonic of the phase that lags and
/// shrinks with the depth from which the radiation comes,
/// `T = T0 + T1/sqrt(1 + 2d + 2d^2) cos(phase - atan(d/(1 + d)))`, `d = 2.4 lambda(cm)`. The coefficients are
/// from memory, unchecked: `T0 = 210 K + 16.8 K log10(lambda/3.2 cm)` (210 K at 3.2 cm, 218 K at 9.6 cm),
/// `T1 = 104 K` (27 K of swing at 33 GHz). Uncertainty stated: 5 % standard.
///
/// `phase` is zero at full moon, and grows with time through one lunation to a full turn.
///
/// # Errors
/// Frequency not above zero or phase not finite.
pub fn moon_brightness(f: Frequency, phase: Angle) -> Result<(Temperature, Temperature, Validity)> {
    let part = "Moon brightness";
    positive(part, "f_hz", f.as_hz())?;
    finite(part, "phase_rad", phase.as_rad())?;
    let lambda_cm = f.wavelength().as_m() * 100.0;
    let d = 2.4 * lambda_cm;
    let t0 = 210.0 + 16.8 * (lambda_cm / 3.2).log10();
    let swing = 104.0 / (1.0 + 2.0 * d + 2.0 * d * d).sqrt();
    let t = t0 + swing * (phase.as_rad() - (d / (1.0 + d)).atan()).cos();
    let v = Validity::check("Moon brightness", "lambda", lambda_cm, 0.8..=50.0, "cm");
    Ok((Temperature::k(t), Temperature::k(0.05 * t), v))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beam_corrections_agree_for_small_sources() {
        let x = |r: f64| (Angle::deg(r), Angle::deg(1.0));
        for r in [1e-6, 0.1, 0.3] {
            let (d, b) = x(r);
            let (g, s) = (
                beam_correction_gauss_disk(d, b).unwrap(),
                beam_correction_series(d, b).unwrap(),
            );
            assert!((g - s).abs() < 0.4 * r * r * 0.1 + 1e-9, "{r}: {g} {s}");
        }
        assert!(beam_correction_gauss_disk(Angle::deg(0.5), Angle::deg(0.0)).is_err());
    }

    #[test]
    fn the_gaussian_disk_is_the_integral_over_the_disk() {
        // Numerical average of exp(-4 ln2 r^2/hpbw^2) over a disk: its reciprocal is K.
        let (d, h) = (0.53, 1.2);
        let n = 20_000;
        let (mut num, mut den) = (0.0, 0.0);
        for i in 0..n {
            let r = (i as f64 + 0.5) / n as f64 * d / 2.0;
            num += (-4.0 * LN_2 * r * r / (h * h)).exp() * r;
            den += r;
        }
        let k = beam_correction_gauss_disk(Angle::deg(d), Angle::deg(h)).unwrap();
        assert!((k - den / num).abs() < 1e-8);
    }

    #[test]
    fn moon_is_about_half_a_decibel_on_a_small_dish() {
        let f = Frequency::ghz(10.475);
        let (t, u, v) = moon_brightness(f, Angle::deg(0.0)).unwrap();
        assert!(v.is_inside() && u.as_k() > 5.0);
        let s = disk_flux(t, Angle::deg(0.52), f);
        let k = beam_correction_gauss_disk(Angle::deg(0.52), Angle::deg(1.67)).unwrap();
        let y = y_of_source(19.76, s, f, k).unwrap();
        assert!((0.3..0.6).contains(&y), "{y}");
        assert!(
            !moon_brightness(Frequency::ghz(0.1), Angle::deg(0.0))
                .unwrap()
                .2
                .is_inside()
        );
    }

    #[test]
    fn outside_the_tables_it_says_so() {
        let t = FluxTable::new(&[
            (Frequency::mhz(2695.0), 80.0),
            (Frequency::mhz(8800.0), 230.0),
        ])
        .unwrap();
        assert!(t.at(Frequency::mhz(4000.0)).unwrap().1.is_inside());
        assert!(!t.at(Frequency::mhz(10475.0)).unwrap().1.is_inside());
        assert!(FluxTable::new(&[(Frequency::mhz(2.0), 1.0), (Frequency::mhz(1.0), 1.0)]).is_err());
        let cyg = RadioSource::CygnusA
            .flux_jy(Frequency::ghz(1.0), 2026.0)
            .unwrap();
        assert!(!cyg.1.is_inside());
    }
}
