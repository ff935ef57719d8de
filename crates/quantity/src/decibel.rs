//! The only place where decibels and ratios meet.

use std::fmt;

/// Nepers' way: an exponential and a logarithm to base e cost half of those to base ten, at some 1e-15 of the ratio.
const LN_PER_DB: f64 = std::f64::consts::LN_10 / 10.0;
const DB_PER_LN: f64 = 10.0 * std::f64::consts::LOG10_E;

/// Power ratio of a level difference in dB: `10^(db/10)`.
#[inline]
pub fn from_db(db: f64) -> f64 {
    (db * LN_PER_DB).exp()
}

/// Level difference in dB of a power ratio: `10 log10(ratio)`.
///
/// A ratio of zero gives negative infinity, a negative one NaN: neither is hidden.
#[inline]
pub fn to_db(ratio: f64) -> f64 {
    ratio.ln() * DB_PER_LN
}

/// Amplitude (field, voltage) ratio of a level difference in dB: `10^(db/20)`.
#[inline]
pub fn amplitude_from_db(db: f64) -> f64 {
    (db * 0.5 * LN_PER_DB).exp()
}

/// Level difference in dB of an amplitude ratio: `20 log10(ratio)`.
#[inline]
pub fn amplitude_to_db(ratio: f64) -> f64 {
    ratio.ln() * (2.0 * DB_PER_LN)
}

/// dB change of a level whose linear value changes by `relative` (small or large): `10 log10(1 + relative)`.
#[inline]
pub fn relative_to_db(relative: f64) -> f64 {
    10.0 * relative.ln_1p() / std::f64::consts::LN_10
}

/// Standard uncertainty in dB of a linear power with relative standard uncertainty `u_rel` (first order, GUM 5.1.2).
#[inline]
pub fn db_of_relative_u(u_rel: f64) -> f64 {
    10.0 / std::f64::consts::LN_10 * u_rel
}

/// Relative standard uncertainty of a linear power known to `u_db` (first order, GUM 5.1.2).
#[inline]
pub fn relative_u_of_db(u_db: f64) -> f64 {
    u_db * std::f64::consts::LN_10 / 10.0
}

/// A level difference in dB (power ratio).
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct Decibel(pub f64);

impl Decibel {
    /// From a power ratio.
    pub fn of_ratio(ratio: f64) -> Self {
        Self(to_db(ratio))
    }
    /// The power ratio.
    pub fn ratio(self) -> f64 {
        from_db(self.0)
    }
}

impl fmt::Display for Decibel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match f.precision() {
            Some(p) => write!(f, "{:.p$} dB", self.0),
            None => write!(f, "{} dB", self.0),
        }
    }
}

impl std::ops::Add for Decibel {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        Self(self.0 + o.0)
    }
}
impl std::ops::Sub for Decibel {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        Self(self.0 - o.0)
    }
}
impl std::ops::Neg for Decibel {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_pairs() {
        assert!((from_db(30.0) / 1000.0 - 1.0).abs() < 2e-15);
        assert!((to_db(100.0) - 20.0).abs() < 1e-14);
        assert_eq!(from_db(0.0), 1.0);
        assert_eq!(to_db(1.0), 0.0);
        assert!((amplitude_from_db(6.0) - 1.995_262_314_968_88).abs() < 1e-12);
        assert!((relative_to_db(1.0) - to_db(2.0)).abs() < 1e-12);
        assert!((relative_u_of_db(db_of_relative_u(0.05)) - 0.05).abs() < 1e-15);
        assert_eq!(to_db(0.0), f64::NEG_INFINITY);
        assert!(to_db(-1.0).is_nan());
    }
}
