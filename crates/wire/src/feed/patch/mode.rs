//! The field between patch and ground: eigenvalue, radial law, stored energy.

use super::bessel::{GREATEST, j1_slope, y, y1_slope};
use crate::feed::bessel::j;

/// What bounds the patch inside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum InnerEdge {
    /// A free edge, or none (inner diameter 0): magnetic wall. The tube in the hole touches neither.
    Open,
    /// The receive feed's tube runs through ground and patch and is soldered to both: electric wall.
    Joined,
}

/// Which resonance with one period around.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PatchMode {
    /// The lowest: half a wave across a disc, one wave around a ring.
    Tm11,
    /// The next, with half a wave more between the edges.
    Tm12,
}

/// `E_z = E_0 R(rho) cos phi` between radii `a` and `b`; `R = 1` at the outer edge.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Radial {
    /// Eigenvalue, rad/m.
    pub k: f64,
    a: f64,
    b: f64,
    inner: InnerEdge,
    /// Factors of `J_1` and `Y_1`.
    factors: [f64; 2],
}

/// Characteristic function with free outer edge: `J_1'(ka) Y_1'(kb) - J_1'(kb) Y_1'(ka)` for a free inner edge (W. C. Chew,
/// IEEE Trans. AP-30 (1982) 918, from memory), `J_1(ka) Y_1'(kb) - J_1'(kb) Y_1(ka)` for one joined to the tube, `J_1'(kb)`
/// without hole.
fn characteristic(ka: f64, kb: f64, inner: InnerEdge) -> f64 {
    if ka <= 0.0 {
        return j1_slope(kb);
    }
    match inner {
        InnerEdge::Open => j1_slope(ka) * y1_slope(kb) - j1_slope(kb) * y1_slope(ka),
        InnerEdge::Joined => j(1, ka) * y1_slope(kb) - j1_slope(kb) * y(1, ka),
    }
}

/// `k b` of a mode for `a/b`; `None` when it is beyond the range of the Bessel functions (a ring too narrow for TM12).
pub(super) fn eigenvalue(ratio: f64, inner: InnerEdge, mode: PatchMode) -> Option<f64> {
    let f = |kb: f64| characteristic(kb * ratio, kb, inner);
    let mut wanted = match mode {
        PatchMode::Tm11 => 1,
        PatchMode::Tm12 => 2,
    };
    let step = 0.02;
    let mut lo = 0.1;
    while lo + step <= GREATEST {
        let hi = lo + step;
        if f(lo).is_sign_positive() != f(hi).is_sign_positive() {
            wanted -= 1;
            if wanted == 0 {
                return Some(bisect(f, lo, hi));
            }
        }
        lo = hi;
    }
    None
}

fn bisect(f: impl Fn(f64) -> f64, mut lo: f64, mut hi: f64) -> f64 {
    let low = f(lo).is_sign_positive();
    for _ in 0..60 {
        let mid = 0.5 * (lo + hi);
        if f(mid).is_sign_positive() == low {
            lo = mid;
        } else {
            hi = mid;
        }
    }
    0.5 * (lo + hi)
}

impl Radial {
    /// The mode between (effective) radii `a` and `b`, m; `a = 0` is a full disc.
    pub fn new(a: f64, b: f64, inner: InnerEdge, mode: PatchMode) -> Option<Self> {
        let kb = eigenvalue(a / b, inner, mode)?;
        let k = kb / b;
        // this pair has no slope at b whatever k; Y_1 falls out without a hole
        let factors = if a > 0.0 {
            [y1_slope(kb), -j1_slope(kb)]
        } else {
            [1.0, 0.0]
        };
        let mut radial = Self {
            k,
            a,
            b,
            inner,
            factors,
        };
        let edge = radial.at(b);
        radial.factors = factors.map(|c| c / edge);
        (edge != 0.0).then_some(radial)
    }

    /// `R` at a radius within the patch.
    pub fn at(&self, rho: f64) -> f64 {
        let x = self.k * rho;
        let second = if self.factors[1] == 0.0 || x <= 0.0 {
            0.0
        } else {
            self.factors[1] * y(1, x)
        };
        self.factors[0] * j(1, x) + second
    }

    /// Slope `dR/d(k rho)`.
    fn slope(&self, rho: f64) -> f64 {
        let x = self.k * rho;
        let second = if self.factors[1] == 0.0 || x <= 0.0 {
            0.0
        } else {
            self.factors[1] * y1_slope(x)
        };
        self.factors[0] * j1_slope(x) + second
    }

    /// `int R^2 rho d rho` over the patch, m^2: Lommel's integral (Abramowitz & Stegun 11.4.2; from memory).
    pub fn energy(&self) -> f64 {
        let primitive = |rho: f64| {
            if rho <= 0.0 {
                return 0.0;
            }
            let (r, s) = (self.at(rho), self.slope(rho));
            0.5 * ((rho * rho - 1.0 / (self.k * self.k)) * r * r + rho * rho * s * s)
        };
        primitive(self.b) - primitive(self.a)
    }

    /// Radiating edges: radius and field, signed as seen by the ring of magnetic current.
    pub fn edges(&self) -> [(f64, f64); 2] {
        let inner = match self.inner {
            InnerEdge::Open if self.a > 0.0 => -self.at(self.a),
            _ => 0.0,
        };
        [(self.b, self.at(self.b)), (self.a, inner)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_antenna::quadrature::integrate;

    /// The ring's TM11 and the coaxial line's TE11 have the same roots: `(c + 1) k a / 2` for `c = b/a` from N. Marcuvitz,
    /// Waveguide Handbook (1951), table 2.4 (from memory). No hole: 1.84118, 5.33144 (Abramowitz & Stegun 9.5).
    #[test]
    fn roots() {
        for (c, root) in [(1.2, 1.002), (1.5, 1.007), (2.0, 1.016), (3.0, 1.027)] {
            let kb = eigenvalue(1.0 / c, InnerEdge::Open, PatchMode::Tm11).unwrap();
            assert!(
                (0.5 * kb * (1.0 + 1.0 / c) - root).abs() < 2e-3,
                "{c}: {kb}"
            );
        }
        for inner in [InnerEdge::Open, InnerEdge::Joined] {
            for (mode, root) in [(PatchMode::Tm11, 1.841_184), (PatchMode::Tm12, 5.331_443)] {
                assert!((eigenvalue(0.0, inner, mode).unwrap() - root).abs() < 1e-6);
                assert!((eigenvalue(0.002, inner, mode).unwrap() - root).abs() < 1e-3);
            }
        }
        // narrow ring: half a wave between the edges (McMahon's expansion, Abramowitz & Stegun 9.5.31)
        let (c, beta) = (1.4_f64, std::f64::consts::PI / 0.4);
        let p = 7.0 / (8.0 * c);
        let q = (16.0 + 184.0 - 63.0) * (c * c * c - 1.0) / (6.0 * (4.0 * c).powi(3) * (c - 1.0));
        let ka = beta + p / beta + (q - p * p) / beta.powi(3);
        let kb = eigenvalue(1.0 / c, InnerEdge::Open, PatchMode::Tm12).unwrap();
        assert!((kb / c - ka).abs() < 2e-3, "{} {ka}", kb / c);
        assert!(eigenvalue(0.9, InnerEdge::Open, PatchMode::Tm12).is_none());
    }

    #[test]
    fn energy_is_the_integral() {
        for inner in [InnerEdge::Open, InnerEdge::Joined] {
            for mode in [PatchMode::Tm11, PatchMode::Tm12] {
                for a in [0.0, 0.011, 0.02] {
                    let r = Radial::new(a, 0.034, inner, mode).unwrap();
                    let sum = integrate(40, a, 0.034, |rho| r.at(rho).powi(2) * rho);
                    assert!(
                        (sum / r.energy() - 1.0).abs() < 1e-6,
                        "{inner:?} {mode:?} {a}"
                    );
                    assert!((r.at(0.034) - 1.0).abs() < 1e-9);
                }
            }
        }
    }
}
