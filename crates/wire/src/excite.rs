//! What drives the wires: sources of a stated width, plane waves, any given field.

use crate::error::WireError;
use crate::kernel::{G2, G3};
use crate::mesh::Mesh;
use crate::vector::{C3, V3, along, cdot, dot, mirror, scale};
use num_complex::Complex64;
use slantpath_quantity::Length;
use std::f64::consts::PI;

/// A voltage in series with a wire, spread over a length of it.
///
/// A source of no width has an infinite capacitance in the limit of fine segments, so its impedance would depend on the
/// division; with a width (the real gap, or the length of wire on which the connector acts) it converges.
#[derive(Debug, Clone, PartialEq)]
pub struct Port {
    /// Name of the wire.
    pub wire: String,
    /// Distance from the wire's start to the middle of the gap. At 0 on the perfect plane the image is the other half.
    pub position: Length,
    /// Width of the gap (on both sides of the middle together).
    pub width: Length,
}

impl Port {
    /// A gap in a wire.
    pub fn new(wire: impl Into<String>, position: Length, width: Length) -> Self {
        Self {
            wire: wire.into(),
            position,
            width,
        }
    }

    /// Vector `e` of the gap: `e_n` is the mean of function `n` over the gap, so that `V e` excites and `e . I` is the
    /// current. A gap that begins on the plane acts on its upper half only, the image being the other.
    pub(crate) fn vector(
        &self,
        mesh: &Mesh,
        what: &'static str,
    ) -> Result<Vec<Complex64>, WireError> {
        let s = self.position.as_m();
        let missing = |length: f64| WireError::NoSuchPlace {
            what,
            wire: self.wire.clone(),
            position_mm: s * 1e3,
            length_mm: length * 1e3,
        };
        let wire = mesh.wire_index(&self.wire).ok_or_else(|| missing(0.0))?;
        let length = mesh.lengths[wire];
        let inside = (0.0..=length * (1.0 + 1e-9)).contains(&s) && self.width.as_m().is_finite();
        if !inside {
            return Err(missing(length));
        }
        let half = 0.5 * self.width.as_m().abs().max(1e-6 * length);
        let (lo, hi) = ((s - half).max(0.0), (s + half).min(length));
        let mut e = vec![Complex64::default(); mesh.unknowns()];
        for (i, seg) in mesh
            .segments
            .iter()
            .enumerate()
            .filter(|(_, g)| g.wire == wire)
        {
            let (u0, u1) = ((lo - seg.s0) / seg.len, (hi - seg.s0) / seg.len);
            let (u0, u1) = (u0.clamp(0.0, 1.0), u1.clamp(0.0, 1.0));
            if u1 <= u0 {
                continue;
            }
            let whole = u1 - u0;
            let up = 0.5 * (u1 * u1 - u0 * u0);
            for h in mesh.halves_on(i) {
                let mean = if h.end == 1 { up } else { whole - up };
                e[h.basis] += mean * seg.len / (hi - lo) * h.sign;
            }
        }
        if e.iter().all(|x| x.norm_sqr() == 0.0) {
            return Err(missing(length));
        }
        Ok(e)
    }
}

/// An electric field in space, peak phasors, V/m, `exp(+j omega t)`.
pub trait GivenField: Sync {
    /// Field at a place (m).
    fn electric(&self, at: V3) -> C3;
}

impl<F: Fn(V3) -> C3 + Sync> GivenField for F {
    fn electric(&self, at: V3) -> C3 {
        self(at)
    }
}

/// A plane wave `e exp(-j k n . r)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneWave {
    /// Unit vector of travel.
    pub travel: V3,
    /// Complex amplitude at the origin, V/m, across `travel`.
    pub amplitude: C3,
    /// Wavenumber, rad/m.
    pub k: f64,
}

impl GivenField for PlaneWave {
    fn electric(&self, at: V3) -> C3 {
        let phase = Complex64::from_polar(1.0, -self.k * dot(self.travel, at));
        self.amplitude.map(|a| a * phase)
    }
}

/// A field and its image in the plane `z = 0`, together as a perfect plane makes them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mirrored<F>(pub F);

impl<F: GivenField> GivenField for Mirrored<F> {
    fn electric(&self, at: V3) -> C3 {
        let (e, i) = (self.0.electric(at), self.0.electric(mirror(at)));
        [e[0] - i[0], e[1] - i[1], e[2] + i[2]]
    }
}

impl PlaneWave {
    /// From a direction of arrival (spherical angles of where it comes from) with components along theta and phi.
    pub fn arriving(theta: f64, phi: f64, e_theta: Complex64, e_phi: Complex64, k: f64) -> Self {
        let (r, t, p) = crate::far_field::unit_vectors(theta, phi);
        Self {
            travel: scale(r, -1.0),
            amplitude: std::array::from_fn(|i| e_theta * t[i] + e_phi * p[i]),
            k,
        }
    }
}

/// Excitation vector of a given field: its mean over the wire's surface, weighted with each function.
pub(crate) fn given(mesh: &Mesh, field: &dyn GivenField) -> Vec<Complex64> {
    let mut all = given_joint(mesh, &|at| [field.electric(at)]);
    all.pop().unwrap_or_default()
}

/// Excitation vectors of `N` fields sampled together.
///
/// Two nodes along a segment (three from 0.1 wavelength); around it the axis alone while `ka < 0.03`, else four places,
/// exact to order `(ka)^4`. A structure over the plane needs a field that already satisfies the plane.
pub(crate) fn given_joint<const N: usize>(
    mesh: &Mesh,
    sample: &(dyn Fn(V3) -> [C3; N] + Sync),
) -> Vec<Vec<Complex64>> {
    let k = 2.0 * PI / mesh.lambda;
    let mut v = vec![vec![Complex64::default(); mesh.unknowns()]; N];
    for (i, s) in mesh.segments.iter().enumerate() {
        let rule: &[(f64, f64)] = if s.len > 0.1 * mesh.lambda { &G3 } else { &G2 };
        let mut ramp = [[Complex64::default(); 2]; N];
        for &(u, w) in rule {
            let at = s.point(u);
            let mut mean = [Complex64::default(); N];
            if k * s.radius < 0.03 {
                mean = sample(at).map(|e| cdot(s.t, e));
            } else {
                for (side, d) in [(1.0, 0), (1.0, 1), (-1.0, 0), (-1.0, 1)] {
                    let around = sample(along(at, s.across[d], side * s.radius));
                    for (m, e) in mean.iter_mut().zip(around) {
                        *m += cdot(s.t, e) * 0.25;
                    }
                }
            }
            for (r, m) in ramp.iter_mut().zip(mean) {
                let x = m * (w * s.len);
                r[0] += x * (1.0 - u);
                r[1] += x * u;
            }
        }
        for h in mesh.halves_on(i) {
            for (v, r) in v.iter_mut().zip(&ramp) {
                v[h.basis] += r[h.end] * h.sign;
            }
        }
    }
    v
}
