//! Loss and resistance of coaxial cable.
//!
//! Loss per metre is `a sqrt(f) + b f`: skin effect in the conductors, and the dielectric (any text on lines;
//! for example Pozar, Microwave Engineering, section 2.7: from memory). Coefficients are fitted to the loss
//! listed at a few frequencies.

use crate::error::{Result, finite, not_negative, positive, rising, rows};
use slantpath_quantity::{Distribution, Frequency, Length, Resistance, Temperature, Validity};

/// How far beyond its listed frequencies a fitted loss still counts as inside: 25 % each way (own choice: there
/// the two terms cannot part by more than a few percent).
const REACH: f64 = 1.25;

/// Loss per metre over frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct LossPerMetre {
    /// dB/m per root hertz.
    a: f64,
    /// dB/m per hertz.
    b: f64,
    f_lo_hz: f64,
    f_hi_hz: f64,
    worst_relative: f64,
}

impl LossPerMetre {
    /// Fits listed losses (frequency, dB/m), frequencies rising.
    ///
    /// One row: skin effect alone. More: least squares of the relative residuals, both coefficients kept at zero
    /// or above (if the unbounded solution has a negative one, that term is left out).
    ///
    /// # Errors
    /// No row, frequencies that do not rise or are not above zero, a negative loss.
    pub fn fit(listed: &[(Frequency, f64)]) -> Result<Self> {
        let part = "cable loss table";
        rows(part, listed.len(), 1)?;
        rising(part, "f_hz", listed.iter().map(|r| r.0.as_hz()))?;
        for (f, l) in listed {
            positive(part, "f_hz", f.as_hz())?;
            positive(part, "loss_db_per_m", *l)?;
        }
        // Columns sqrt(f)/L and f/L against 1; frequency in GHz keeps the normal equations well scaled.
        let (mut s11, mut s12, mut s22, mut t1, mut t2) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (f, l) in listed {
            let (x, y) = (f.as_ghz().sqrt() / l, f.as_ghz() / l);
            s11 += x * x;
            s12 += x * y;
            s22 += y * y;
            t1 += x;
            t2 += y;
        }
        let det = s11 * s22 - s12 * s12;
        let (mut a, mut b) = (t1 / s11, 0.0);
        if listed.len() > 1 && det > 1e-12 * s11 * s22 {
            let (p, q) = ((t1 * s22 - t2 * s12) / det, (t2 * s11 - t1 * s12) / det);
            if p >= 0.0 && q >= 0.0 {
                (a, b) = (p, q);
            } else if p < 0.0 {
                (a, b) = (0.0, t2 / s22);
            }
        }
        let mut fit = Self {
            a: a / 1e9f64.sqrt(),
            b: b / 1e9,
            f_lo_hz: listed
                .iter()
                .map(|r| r.0.as_hz())
                .fold(f64::INFINITY, f64::min),
            f_hi_hz: listed.iter().map(|r| r.0.as_hz()).fold(0.0, f64::max),
            worst_relative: 0.0,
        };
        fit.worst_relative = listed
            .iter()
            .map(|(f, l)| (fit.db_per_m(f.as_hz()) / l - 1.0).abs())
            .fold(0.0, f64::max);
        Ok(fit)
    }
    /// Loss at a frequency in dB/m, inside from 1/1.25 of the lowest to 1.25 times the highest listed frequency.
    ///
    /// # Errors
    /// Frequency not above zero.
    pub fn at(&self, f: Frequency) -> Result<(f64, Validity)> {
        let f_hz = positive("cable loss", "f_hz", f.as_hz())?;
        let v = Validity::check(
            "cable loss fit",
            "f",
            f_hz / 1e6,
            self.f_lo_hz / REACH / 1e6..=self.f_hi_hz * REACH / 1e6,
            "MHz",
        );
        Ok((self.db_per_m(f_hz), v))
    }
    fn db_per_m(&self, f_hz: f64) -> f64 {
        self.a * f_hz.sqrt() + self.b * f_hz
    }
    /// Largest relative difference between a listed loss and the fit.
    pub fn worst_relative_residual(&self) -> f64 {
        self.worst_relative
    }
}

/// A length of cable.
#[derive(Debug, Clone, PartialEq)]
pub struct Cable {
    /// What a person calls it.
    pub name: String,
    /// Loss per metre at 20 degrees Celsius.
    pub loss: LossPerMetre,
    /// Length.
    pub length: Length,
    /// Resistance of both conductors per metre, ohm/m.
    pub loop_ohm_per_m: f64,
    /// Relative change of loss per kelvin. Half of copper's 0.39 %/K for a loss by skin effect (the loss goes
    /// with the root of the resistivity); zero to leave it out.
    pub loss_per_kelvin: f64,
}

/// Half of the temperature coefficient of copper (0.393 %/K at 20 degrees Celsius, IEC 60028): of a skin-effect loss.
pub const COPPER_LOSS_PER_KELVIN: f64 = 0.00393 / 2.0;

impl Cable {
    /// A cable.
    ///
    /// # Errors
    /// Negative length or resistance, or a coefficient that is not finite.
    pub fn new(
        name: impl Into<String>,
        loss: LossPerMetre,
        length: Length,
        loop_ohm_per_m: f64,
    ) -> Result<Self> {
        let name = name.into();
        not_negative(&name, "length_m", length.as_m())?;
        not_negative(&name, "loop_ohm_per_m", loop_ohm_per_m)?;
        Ok(Self {
            name,
            loss,
            length,
            loop_ohm_per_m,
            loss_per_kelvin: 0.0,
        })
    }
    /// With a temperature coefficient of loss (relative per kelvin, referred to 20 degrees Celsius).
    ///
    /// # Errors
    /// Not finite.
    pub fn with_loss_per_kelvin(mut self, per_k: f64) -> Result<Self> {
        self.loss_per_kelvin = finite(&self.name, "loss_per_kelvin", per_k)?;
        Ok(self)
    }
    /// Loss in dB at a frequency and physical temperature.
    ///
    /// # Errors
    /// Frequency or temperature not above zero.
    pub fn loss_db(&self, f: Frequency, t: Temperature) -> Result<(f64, Validity)> {
        positive(&self.name, "t_k", t.as_k())?;
        let (per_m, v) = self.loss.at(f)?;
        let warm = 1.0 + self.loss_per_kelvin * (t.as_celsius() - 20.0);
        let v = v.and(Validity::check(
            &self.name,
            "t",
            t.as_celsius(),
            -60.0..=120.0,
            "degC",
        ));
        Ok((per_m * self.length.as_m() * warm.max(0.0), v))
    }
    /// Resistance there and back at a conductor temperature, by copper's 0.393 %/K from 20 degrees Celsius
    /// (IEC 60028; copper-clad steel is near it).
    pub fn loop_resistance_at(&self, t: Temperature) -> Resistance {
        self.loop_resistance() * (1.0 + 0.00393 * (t.as_celsius() - 20.0))
    }
    /// Resistance there and back at 20 degrees Celsius.
    pub fn loop_resistance(&self) -> Resistance {
        Resistance::from_si(self.loop_ohm_per_m * self.length.as_m())
    }
}

/// A generic kind of cable, described by what it is made of. Common practice, no source: use the maker's table
/// where there is one. Standard uncertainty of the loss stated: 15 %.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GenericCable {
    /// The key in a station file.
    pub key: &'static str,
    /// Description.
    pub description: &'static str,
    /// Characteristic impedance, ohm.
    pub impedance_ohm: f64,
    /// (MHz, dB/m) at 20 degrees Celsius.
    pub loss_mhz_db_per_m: &'static [(f64, f64)],
    /// Resistance of both conductors per metre, ohm/m.
    pub loop_ohm_per_m: f64,
}

/// Relative standard uncertainty of a generic cable's loss.
pub const GENERIC_RELATIVE_U: f64 = 0.15;

/// The generic kinds. Common practice, no source.
pub const GENERIC_CABLES: &[GenericCable] = &[
    GenericCable {
        key: "75-ohm-foam-7mm",
        description: "75 ohm, 7 mm, foam polyethylene, solid copper core",
        impedance_ohm: 75.0,
        loss_mhz_db_per_m: &[(740.0, 0.18), (2150.0, 0.32)],
        loop_ohm_per_m: 0.038,
    },
    GenericCable {
        key: "75-ohm-foam-7mm-steel-core",
        description: "75 ohm, 7 mm, foam polyethylene, copper-clad steel core",
        impedance_ohm: 75.0,
        loss_mhz_db_per_m: &[(740.0, 0.18), (2150.0, 0.33)],
        loop_ohm_per_m: 0.124,
    },
    GenericCable {
        key: "50-ohm-solid-5mm",
        description: "50 ohm, 5 mm, solid polyethylene, single braid",
        impedance_ohm: 50.0,
        loss_mhz_db_per_m: &[(100.0, 0.16), (2400.0, 1.0)],
        loop_ohm_per_m: 0.053,
    },
    GenericCable {
        key: "50-ohm-solid-10mm",
        description: "50 ohm, 10 mm, solid polyethylene, single braid",
        impedance_ohm: 50.0,
        loss_mhz_db_per_m: &[(100.0, 0.068), (2400.0, 0.45)],
        loop_ohm_per_m: 0.011,
    },
    GenericCable {
        key: "50-ohm-foam-10mm",
        description: "50 ohm, 10 mm, foam polyethylene, foil and braid",
        impedance_ohm: 50.0,
        loss_mhz_db_per_m: &[(100.0, 0.040), (2400.0, 0.22)],
        loop_ohm_per_m: 0.010,
    },
    GenericCable {
        key: "50-ohm-corrugated-half-inch",
        description: "50 ohm, half inch, foam polyethylene, corrugated copper outer conductor",
        impedance_ohm: 50.0,
        loss_mhz_db_per_m: &[(100.0, 0.022), (2400.0, 0.12)],
        loop_ohm_per_m: 0.0034,
    },
];

impl GenericCable {
    /// The kind with this key.
    pub fn named(key: &str) -> Option<&'static Self> {
        GENERIC_CABLES.iter().find(|c| c.key == key)
    }
    /// A length of it.
    ///
    /// # Errors
    /// As [`Cable::new`].
    pub fn cut(&self, length: Length) -> Result<Cable> {
        let listed: Vec<(Frequency, f64)> = self
            .loss_mhz_db_per_m
            .iter()
            .map(|&(mhz, l)| (Frequency::mhz(mhz), l))
            .collect();
        Cable::new(
            self.description,
            LossPerMetre::fit(&listed)?,
            length,
            self.loop_ohm_per_m,
        )?
        .with_loss_per_kelvin(COPPER_LOSS_PER_KELVIN)
    }
    /// What is known of the loss of a length of it, dB.
    ///
    /// # Errors
    /// As [`Cable::loss_db`].
    pub fn loss(
        &self,
        length: Length,
        f: Frequency,
        t: Temperature,
    ) -> Result<(Distribution, Validity)> {
        let (mean, v) = self.cut(length)?.loss_db(f, t)?;
        let u = GENERIC_RELATIVE_U * mean;
        Ok((
            if u > 0.0 {
                Distribution::Normal { mean, u }
            } else {
                Distribution::Exact(mean)
            },
            v,
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const T20: Temperature = Temperature::celsius(20.0);

    #[test]
    fn two_rows_are_met_exactly_and_one_gives_the_root() {
        let m = LossPerMetre::fit(&[
            (Frequency::mhz(100.0), 0.068),
            (Frequency::mhz(2400.0), 0.45),
        ])
        .unwrap();
        assert!(m.worst_relative_residual() < 1e-12);
        let one = LossPerMetre::fit(&[(Frequency::mhz(400.0), 0.1)]).unwrap();
        assert!((one.at(Frequency::mhz(1600.0)).unwrap().0 - 0.2).abs() < 1e-14);
        assert!(!one.at(Frequency::mhz(1600.0)).unwrap().1.is_inside());
        assert!(one.at(Frequency::mhz(450.0)).unwrap().1.is_inside());
        assert!(LossPerMetre::fit(&[]).is_err());
        assert!(LossPerMetre::fit(&[(Frequency::mhz(1.0), -0.1)]).is_err());
        assert!(one.at(Frequency::hz(0.0)).is_err());
    }

    #[test]
    fn a_table_flatter_than_the_root_has_no_dielectric_part() {
        let m = LossPerMetre::fit(&[(Frequency::mhz(100.0), 0.1), (Frequency::mhz(400.0), 0.15)])
            .unwrap();
        assert_eq!(m.b, 0.0);
        assert!(m.worst_relative_residual() > 0.1);
    }

    #[test]
    fn generic_kinds_are_near_common_practice() {
        // Common practice, no source: loss per metre at 740 MHz and 2.4 GHz.
        for (key, mhz, per_m) in [
            ("75-ohm-foam-7mm", 740.0, 0.18),
            ("50-ohm-solid-5mm", 2400.0, 1.0),
            ("50-ohm-solid-10mm", 2400.0, 0.45),
            ("50-ohm-foam-10mm", 2400.0, 0.22),
            ("50-ohm-corrugated-half-inch", 2400.0, 0.12),
        ] {
            let (d, v) = GenericCable::named(key)
                .unwrap()
                .loss(Length::m(10.0), Frequency::mhz(mhz), T20)
                .unwrap();
            assert!(
                (d.mean() - 10.0 * per_m).abs() < 0.01 * 10.0 * per_m,
                "{key}"
            );
            assert!((d.u() / d.mean() - 0.15).abs() < 1e-12 && v.is_inside());
        }
        // 30 m with a steel core drop about 0.56 V at 150 mA.
        let steel = GenericCable::named("75-ohm-foam-7mm-steel-core")
            .unwrap()
            .cut(Length::m(30.0))
            .unwrap();
        assert!((steel.loop_resistance().si() * 0.150 - 0.56).abs() < 0.005);
        for c in GENERIC_CABLES {
            assert!(
                c.cut(Length::m(1.0))
                    .unwrap()
                    .loss
                    .worst_relative_residual()
                    < 0.02,
                "{}",
                c.key
            );
        }
    }

    #[test]
    fn warm_cable_loses_more() {
        let c = GenericCable::named("50-ohm-foam-10mm")
            .unwrap()
            .cut(Length::m(20.0))
            .unwrap();
        let f = Frequency::mhz(2400.0);
        let (cold, _) = c.loss_db(f, T20).unwrap();
        let (warm, _) = c.loss_db(f, Temperature::celsius(60.0)).unwrap();
        assert!((warm / cold - 1.0 - 40.0 * COPPER_LOSS_PER_KELVIN).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn loss_goes_with_length(cut in 0.0..1.0f64, len in 0.0..100.0f64, mhz in 50.0..3000.0f64) {
            let kind = GenericCable::named("75-ohm-foam-7mm").unwrap();
            let f = Frequency::mhz(mhz);
            let l = |m: f64| kind.cut(Length::m(m)).unwrap().loss_db(f, T20).unwrap().0;
            prop_assert!((l(len * cut) + l(len * (1.0 - cut)) - l(len)).abs() < 1e-11);
        }
    }
}
