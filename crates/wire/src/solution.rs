//! Currents, and what follows from them: far field, powers, reactions.

use crate::error::WireError;
use crate::excite::{GivenField, Port, given};
use crate::far_field::{self, Radiator};
use crate::fill;
use crate::system::System;
use num_complex::Complex64;
use slantpath_antenna::pattern::{Field, GridPattern};
use slantpath_quantity::Length;

/// Currents of one excitation.
#[derive(Debug, Clone)]
pub struct Solution<'s> {
    pub(crate) system: &'s System,
    pub(crate) coefficients: Vec<Complex64>,
    pub(crate) currents: Vec<[Complex64; 2]>,
    pub(crate) radiator: Radiator,
    /// Power drawn from the excitation, W: `Re(V^H I)/2`.
    pub(crate) drawn: f64,
}

impl Solution<'_> {
    /// Current at the start and end of every segment along its wire, A peak, in the order of [`Mesh::places`].
    pub fn currents(&self) -> &[[Complex64; 2]] {
        &self.currents
    }

    /// Function coefficients, A.
    pub fn coefficients(&self) -> &[Complex64] {
        &self.coefficients
    }

    /// Current through a port's gap (mean over its width), A.
    ///
    /// # Errors
    /// As [`System::drive`].
    pub fn current(&self, port: &Port) -> Result<Complex64, WireError> {
        let e = port.vector(self.system.mesh(), "source")?;
        Ok(e.iter().zip(&self.coefficients).map(|(a, b)| a * b).sum())
    }

    /// Reaction `sum V_n I_n` of these currents with another field, V A: by reciprocity, what a source of that field
    /// receives from them.
    pub fn reaction(&self, field: &dyn GivenField) -> Complex64 {
        given(self.system.mesh(), field)
            .iter()
            .zip(&self.coefficients)
            .map(|(v, i)| v * i)
            .sum()
    }

    /// Far field `r E exp(jkr)` in a direction, V, phases from the coordinates' origin. Scattered field when illuminated.
    pub fn far_field(&self, theta: f64, phi: f64) -> Field {
        self.radiator.field(theta, phi)
    }

    /// Far field in many directions `(theta, phi)`, radian; parallel on large structures.
    pub fn far_fields(&self, directions: &[(f64, f64)]) -> Vec<Field> {
        use rayon::prelude::*;
        let at = |&(t, p): &(f64, f64)| self.far_field(t, p);
        if self.system.parallel() {
            directions.par_iter().map(at).collect()
        } else {
            directions.iter().map(at).collect()
        }
    }

    /// Far field on the grid of [`GridPattern`].
    ///
    /// # Errors
    /// [`WireError::Pattern`] for a grid too small or a field of nothing.
    pub fn grid(&self, nt: usize, np: usize) -> Result<GridPattern, WireError> {
        self.radiator.grid(nt, np, self.system.parallel())
    }

    /// Power radiated (or scattered), by integration of the far field, W.
    pub fn radiated(&self) -> f64 {
        self.radiator.power(self.system.parallel())
    }

    /// Power drawn from the excitation, W: input power, or extinction when illuminated.
    pub fn drawn(&self) -> f64 {
        self.drawn
    }

    /// Power lost in conductors and loads, W.
    pub fn lost(&self) -> f64 {
        let mesh = self.system.mesh();
        let k = 2.0 * std::f64::consts::PI / mesh.lambda;
        let metal: f64 = mesh
            .segments
            .iter()
            .zip(&self.currents)
            .filter_map(|(s, [a, b])| {
                let sigma = mesh.wires[s.wire].conductivity?;
                let r = fill::surface_ohm_per_m(s.radius, sigma, k).re;
                let square = (a.norm_sqr() + b.norm_sqr() + (a.conj() * b).re) / 3.0;
                Some(0.5 * r * s.len * square)
            })
            .sum();
        let loads: f64 = self
            .system
            .loads()
            .iter()
            .map(|(e, z)| {
                let i: Complex64 = e.iter().zip(&self.coefficients).map(|(a, b)| a * b).sum();
                0.5 * z.re * i.norm_sqr()
            })
            .sum();
        metal + loads
    }

    /// The same currents seen from another origin: factor for the far field, `exp(-jk r0 . n)`.
    pub fn shift_phase(&self, origin: [Length; 3], theta: f64, phi: f64) -> Complex64 {
        let k = 2.0 * std::f64::consts::PI / self.system.mesh().lambda;
        let (n, _, _) = far_field::unit_vectors(theta, phi);
        let path: f64 = n.iter().zip(origin).map(|(n, o)| n * o.as_m()).sum();
        Complex64::from_polar(1.0, -k * path)
    }
}
