//! Parts without gain besides cable: attenuator, connector, splitter, filter, and mismatch between any two.

use crate::error::{ChainError, Result, finite, fraction, not_negative, positive, rising, rows};
use slantpath_quantity::{
    Distribution, Frequency, Validity, amplitude_from_db, amplitude_to_db, from_db, to_db,
};

/// Typical loss of one connector pair in dB per root gigahertz. Common practice, no source: 0.03..0.07 dB at
/// 1 GHz for a sound coaxial connector, more for one that is wet or badly fitted.
pub const CONNECTOR_DB_PER_ROOT_GHZ: Distribution =
    Distribution::Rectangular { lo: 0.02, hi: 0.08 };

/// Loss of a connector pair at a frequency in dB (common practice, no source; valid to about 12 GHz).
///
/// # Errors
/// Frequency not above zero.
pub fn connector_loss(f: Frequency) -> Result<(Distribution, Validity)> {
    let f_ghz = positive("connector", "f_ghz", f.as_ghz())?;
    Ok((
        CONNECTOR_DB_PER_ROOT_GHZ.affine(f_ghz.sqrt(), 0.0),
        Validity::check("connector loss", "f", f_ghz, 0.05..=12.0, "GHz"),
    ))
}

/// A power splitter.
///
/// Its loss to each port counts as thermal: with the other ports terminated at the same temperature, the noise it
/// adds is that of a matched loss of the same size.
#[derive(Debug, Clone, PartialEq)]
pub struct Splitter {
    /// What a person calls it.
    pub name: String,
    /// Loss from the common port to any one port, dB.
    pub loss_db: f64,
    /// Isolation between two ports, dB; `None` when not known.
    pub isolation_db: Option<f64>,
    /// For each port whether it passes DC.
    pub dc_pass: Vec<bool>,
}

impl Splitter {
    /// A splitter with one flag per port.
    ///
    /// # Errors
    /// Fewer than two ports; a loss below `10 log10 n`, which would be more power out than in; an isolation that
    /// is not finite.
    pub fn new(
        name: impl Into<String>,
        loss_db: f64,
        isolation_db: Option<f64>,
        dc_pass: Vec<bool>,
    ) -> Result<Self> {
        let name = name.into();
        rows(&name, dc_pass.len(), 2)?;
        finite(&name, "loss_db", loss_db)?;
        let ideal = to_db(dc_pass.len() as f64);
        if loss_db < ideal - 1e-9 {
            return Err(ChainError::Undetermined {
                part: name,
                why: format!(
                    "{loss_db} dB to each of {} ports would be more power out than in; even an ideal one loses \
                     {ideal:.2} dB",
                    dc_pass.len()
                ),
            });
        }
        if let Some(i) = isolation_db {
            not_negative(&name, "isolation_db", i)?;
        }
        Ok(Self {
            name,
            loss_db,
            isolation_db,
            dc_pass,
        })
    }
    /// Loss above the ideal `10 log10 n`, dB.
    pub fn excess_db(&self) -> f64 {
        self.loss_db - to_db(self.dc_pass.len() as f64)
    }
    /// Typical loss of an n-way splitter at satellite intermediate frequencies, dB. Common practice, no source:
    /// two-way 3.5..4, four-way 7..8, further doublings 3.5..4 more each.
    ///
    /// # Errors
    /// Fewer than two ways.
    pub fn typical_loss(ways: usize) -> Result<Distribution> {
        rows("splitter", ways, 2)?;
        let stages = (ways as f64).log2();
        Ok(Distribution::Rectangular {
            lo: 3.5 * stages,
            hi: 4.0 * stages,
        })
    }
}

/// A filter given by its insertion loss at some frequencies.
#[derive(Debug, Clone, PartialEq)]
pub struct Filter {
    /// What a person calls it.
    pub name: String,
    rows: Vec<(f64, f64)>,
}

impl Filter {
    /// From (frequency, insertion loss in dB) rising in frequency.
    ///
    /// # Errors
    /// Fewer than two rows, frequencies that do not rise, a negative loss.
    pub fn new(name: impl Into<String>, table: &[(Frequency, f64)]) -> Result<Self> {
        let name = name.into();
        rows(&name, table.len(), 2)?;
        rising(&name, "f_hz", table.iter().map(|r| r.0.as_hz()))?;
        for (_, l) in table {
            not_negative(&name, "loss_db", *l)?;
        }
        Ok(Self {
            rows: table.iter().map(|r| (r.0.as_hz(), r.1)).collect(),
            name,
        })
    }
    /// Loss at a frequency, dB: straight lines in dB over frequency between the rows. Beyond the table the last
    /// row is held and the result marked as outside.
    ///
    /// # Errors
    /// Frequency not finite.
    pub fn loss_db(&self, f: Frequency) -> Result<(f64, Validity)> {
        let f_hz = finite(&self.name, "f_hz", f.as_hz())?;
        let (Some(&first), Some(&last)) = (self.rows.first(), self.rows.last()) else {
            return Err(ChainError::TooFewRows {
                part: self.name.clone(),
                found: 0,
                needed: 2,
            });
        };
        let v = Validity::check(
            &self.name,
            "f",
            f_hz / 1e6,
            first.0 / 1e6..=last.0 / 1e6,
            "MHz",
        );
        let up = self.rows.partition_point(|r| r.0 < f_hz);
        let loss = if up == 0 {
            first.1
        } else if up == self.rows.len() {
            last.1
        } else {
            let ((f1, l1), (f2, l2)) = (self.rows[up - 1], self.rows[up]);
            l1 + (l2 - l1) * (f_hz - f1) / (f2 - f1)
        };
        Ok((loss, v))
    }
    /// The frequencies between which the loss stays below `limit_db`, around `f` where it does; `None` when it is
    /// not below it at `f`. Ends are the table's where it does not rise above the limit.
    ///
    /// # Errors
    /// As [`Self::loss_db`].
    pub fn pass_band(&self, f: Frequency, limit_db: f64) -> Result<Option<(Frequency, Frequency)>> {
        let (at, v) = self.loss_db(f)?;
        if at > limit_db || !v.is_inside() {
            return Ok(None);
        }
        let f_hz = f.as_hz();
        let cross = |inner: (f64, f64), outer: (f64, f64)| {
            inner.0 + (outer.0 - inner.0) * (limit_db - inner.1) / (outer.1 - inner.1)
        };
        let mut hi = f_hz;
        let mut before = (f_hz, at);
        for &r in self.rows.iter().filter(|r| r.0 > f_hz) {
            if r.1 > limit_db {
                hi = cross(before, r);
                break;
            }
            hi = r.0;
            before = r;
        }
        let mut lo = f_hz;
        before = (f_hz, at);
        for &r in self.rows.iter().rev().filter(|r| r.0 < f_hz) {
            if r.1 > limit_db {
                lo = cross(before, r);
                break;
            }
            lo = r.0;
            before = r;
        }
        Ok(Some((Frequency::hz(lo), Frequency::hz(hi))))
    }
}

/// Magnitude of a reflection coefficient from a return loss in dB (positive).
///
/// # Errors
/// Negative return loss.
pub fn reflection_of_return_loss(rl_db: f64) -> Result<f64> {
    Ok(amplitude_from_db(-not_negative(
        "return loss",
        "rl_db",
        rl_db,
    )?))
}

/// Magnitude of a reflection coefficient from a standing wave ratio.
///
/// # Errors
/// Below 1.
pub fn reflection_of_vswr(s: f64) -> Result<f64> {
    if !(s.is_finite() && s >= 1.0) {
        return Err(ChainError::Impossible {
            part: "standing wave ratio".into(),
            symbol: "s",
            value: s,
            must: "1 or more",
        });
    }
    Ok((s - 1.0) / (s + 1.0))
}

/// Power that does not enter a load of reflection magnitude `gamma`, from a matched source: `-10 log10(1 - gamma^2)`, dB.
///
/// # Errors
/// `gamma` outside 0..1.
pub fn mismatch_loss_db(gamma: f64) -> Result<f64> {
    fraction("mismatch", "gamma", gamma)?;
    Ok(-to_db(1.0 - gamma * gamma))
}

/// What two reflections at the ends of a line of unknown length do to the level, besides the mean loss.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MismatchRipple {
    /// Lowest level relative to no interaction, dB (negative).
    pub lo_db: f64,
    /// Highest level, dB.
    pub hi_db: f64,
    /// Standard uncertainty of the level with the phase unknown: `20/ln10 * g/sqrt(2)`, dB (the U-shaped
    /// distribution of a sine's values, GUM F.2.2; first order in g).
    pub u_db: f64,
}

/// Ripple between two reflections of magnitudes `gamma1` and `gamma2` with `between_db` of loss (one way) between
/// them: the level moves within `-20 log10(1 +- g)`, `g = gamma1 gamma2 10^(-2 between/20)`.
///
/// # Errors
/// Magnitudes outside 0..1, both total with no loss between, or a negative loss.
pub fn mismatch_ripple(gamma1: f64, gamma2: f64, between_db: f64) -> Result<MismatchRipple> {
    fraction("mismatch", "gamma1", gamma1)?;
    fraction("mismatch", "gamma2", gamma2)?;
    not_negative("mismatch", "between_db", between_db)?;
    let g = gamma1 * gamma2 * from_db(-between_db);
    if g >= 1.0 {
        return Err(ChainError::Impossible {
            part: "mismatch".into(),
            symbol: "gamma1*gamma2",
            value: g,
            must: "below 1",
        });
    }
    Ok(MismatchRipple {
        lo_db: -amplitude_to_db(1.0 + g),
        hi_db: -amplitude_to_db(1.0 - g),
        u_db: 20.0 / std::f64::consts::LN_10 * g / std::f64::consts::SQRT_2,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_splitter_cannot_give_more_than_it_takes() {
        assert!(Splitter::new("s", 2.9, None, vec![true, false]).is_err());
        let s = Splitter::new("s", 7.5, Some(20.0), vec![true, false, false, false]).unwrap();
        assert!((s.excess_db() - 1.479_400_086_720_375).abs() < 1e-12);
        assert_eq!(
            Splitter::typical_loss(4).unwrap(),
            Distribution::Rectangular { lo: 7.0, hi: 8.0 }
        );
        assert!(Splitter::new("s", 7.5, None, vec![true]).is_err());
    }

    #[test]
    fn filter_table_and_pass_band() {
        let f = Filter::new(
            "band filter",
            &[
                (Frequency::mhz(600.0), 40.0),
                (Frequency::mhz(700.0), 2.0),
                (Frequency::mhz(750.0), 1.0),
                (Frequency::mhz(850.0), 41.0),
            ],
        )
        .unwrap();
        assert!((f.loss_db(Frequency::mhz(725.0)).unwrap().0 - 1.5).abs() < 1e-12);
        let (lo, hi) = f.pass_band(Frequency::mhz(725.0), 3.0).unwrap().unwrap();
        assert!((lo.as_mhz() - (700.0 - 100.0 / 38.0)).abs() < 1e-9);
        assert!((hi.as_mhz() - 755.0).abs() < 1e-9);
        assert!(f.pass_band(Frequency::mhz(600.0), 3.0).unwrap().is_none());
        assert!(!f.loss_db(Frequency::mhz(900.0)).unwrap().1.is_inside());
    }

    #[test]
    fn reflections() {
        // A standing wave ratio of 2 reflects a third of the wave, a ninth of the power: 0.5115 dB.
        let g = reflection_of_vswr(2.0).unwrap();
        assert!((g - 1.0 / 3.0).abs() < 1e-15);
        assert!((mismatch_loss_db(g).unwrap() - 0.511_525_224_473_812_9).abs() < 1e-12);
        assert!((reflection_of_return_loss(20.0).unwrap() - 0.1).abs() < 1e-15);
        assert!(reflection_of_vswr(0.9).is_err() && mismatch_loss_db(1.1).is_err());
        let r = mismatch_ripple(0.3, 0.3, 0.0).unwrap();
        assert!(r.lo_db < 0.0 && r.hi_db > -r.lo_db);
        // phase average of the squared excursion is the stated variance, to first order in g
        let n = 1000;
        let g = 0.09f64;
        let var: f64 = (0..n)
            .map(|i| {
                let p = std::f64::consts::TAU * i as f64 / n as f64;
                let db = to_db(1.0 + g * g - 2.0 * g * p.cos());
                db * db
            })
            .sum::<f64>()
            / n as f64;
        assert!((var.sqrt() / r.u_db - 1.0).abs() < 0.01);
        // 10 dB of line on both passages takes the ripple down by 20 dB in amplitude terms of 0.1
        assert!((mismatch_ripple(0.3, 0.3, 10.0).unwrap().u_db / r.u_db - 0.1).abs() < 1e-12);
    }
}
