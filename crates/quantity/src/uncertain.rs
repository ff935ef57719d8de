//! Contributors to uncertainty, by identity.
//!
//! A contributor is *this* cable's loss or *that* satellite's EIRP. Two variants or two days that share
//! the identity share the draw, so that a difference is as certain as it really is.

use std::fmt;

/// Identity of a contributor: dotted path, for example `rx.main.cable.loss` or `sat.narrow.beacon-psk.eirp`.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct ContributorId(pub String);

impl ContributorId {
    /// From a dotted path.
    pub fn new(path: impl Into<String>) -> Self {
        Self(path.into())
    }
    /// The dotted path.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}
impl fmt::Display for ContributorId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// What is known of a quantity (JCGM 101:2008, 6.4).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Distribution {
    /// Known exactly.
    Exact(f64),
    /// Best estimate and standard uncertainty (JCGM 101 6.4.7).
    Normal {
        /// Best estimate.
        mean: f64,
        /// Standard uncertainty, > 0.
        u: f64,
    },
    /// Limits only (JCGM 101 6.4.2).
    Rectangular {
        /// Lower limit.
        lo: f64,
        /// Upper limit, > lo.
        hi: f64,
    },
}

impl Distribution {
    /// Expectation.
    pub fn mean(&self) -> f64 {
        match *self {
            Self::Exact(v) => v,
            Self::Normal { mean, .. } => mean,
            Self::Rectangular { lo, hi } => 0.5 * (lo + hi),
        }
    }
    /// Standard deviation. Rectangular: `(hi - lo)/sqrt(12)` (GUM 4.3.7).
    pub fn u(&self) -> f64 {
        match *self {
            Self::Exact(_) => 0.0,
            Self::Normal { u, .. } => u,
            Self::Rectangular { lo, hi } => (hi - lo) / 12f64.sqrt(),
        }
    }
    /// True when there is no spread.
    pub fn is_exact(&self) -> bool {
        self.u() == 0.0
    }
    /// The same knowledge of `a x + b`.
    pub fn affine(self, a: f64, b: f64) -> Self {
        match self {
            Self::Exact(v) => Self::Exact(a * v + b),
            Self::Normal { mean, u } => Self::Normal {
                mean: a * mean + b,
                u: a.abs() * u,
            },
            Self::Rectangular { lo, hi } => {
                let (p, q) = (a * lo + b, a * hi + b);
                Self::Rectangular {
                    lo: p.min(q),
                    hi: p.max(q),
                }
            }
        }
    }
}

/// A named input of the model with what is known of it, in the unit stated.
#[derive(Debug, Clone, PartialEq)]
pub struct Contributor {
    /// Identity, shared between variants and days when it is the same thing.
    pub id: ContributorId,
    /// What a person calls it, for example "feed: receive shadow".
    pub label: String,
    /// What is known of it.
    pub distribution: Distribution,
    /// Unit symbol of the distribution's values.
    pub unit: &'static str,
    /// Where the figure comes from: "station file", "guess (wide prior)", "ITU-R P.618-13", "default".
    pub source: String,
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn rectangular_u_is_gum_4_3_7() {
        let d = Distribution::Rectangular { lo: 0.5, hi: 1.0 };
        assert!((d.mean() - 0.75).abs() < 1e-15);
        assert!((d.u() - 0.5 / 12f64.sqrt()).abs() < 1e-15);
        assert_eq!(
            d.affine(-2.0, 1.0),
            Distribution::Rectangular { lo: -1.0, hi: 0.0 }
        );
    }
}
