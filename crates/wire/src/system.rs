//! The factored equations and their solutions.

use crate::error::WireError;
use crate::excite::{GivenField, Port, given};
use crate::far_field::Radiator;
use crate::fill::{self, PARALLEL_FROM};
use crate::geometry::{Load, Structure};
use crate::mesh::{Density, Mesh};
use crate::solution::Solution;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::lu::partial_pivoting::{factor, solve};
use faer::perm::PermRef;
use faer::prelude::ReborrowMut;
use faer::{Conj, Mat, MatMut, Par};
use num_complex::Complex64;
use slantpath_quantity::Frequency;

/// A structure at one frequency, filled and factored: any number of excitations is cheap.
#[derive(Debug)]
pub struct System {
    mesh: Mesh,
    /// `L` (unit diagonal) below, `U` above.
    lu: Mat<Complex64>,
    forward: Vec<usize>,
    inverse: Vec<usize>,
    /// 1-norm of the matrix before factoring, for the condition estimate.
    norm1: f64,
    loads: Vec<(Vec<Complex64>, Complex64)>,
}

impl System {
    /// Divides, fills and factors.
    ///
    /// Memory: one complex matrix of `unknowns^2` (256 MB at 4000). From 500 unknowns on the fill and the factoring use all
    /// threads; below, one, so that many cases can run side by side.
    ///
    /// # Errors
    /// As [`Mesh::new`]; [`WireError::NoSuchPlace`] for a load off its wire; [`WireError::Singular`].
    pub fn new(structure: &Structure, f: Frequency, density: Density) -> Result<Self, WireError> {
        let mesh = Mesh::new(structure, f, density)?;
        let loads = structure
            .loads
            .iter()
            .map(|l: &Load| {
                let at = Port::new(l.wire.clone(), l.position, l.width);
                Ok((at.vector(&mesh, "load")?, l.ohm))
            })
            .collect::<Result<Vec<_>, WireError>>()?;
        let mut lu = fill::matrix(&mesh);
        for (e, ohm) in &loads {
            let on: Vec<usize> = (0..e.len()).filter(|&i| e[i].norm_sqr() > 0.0).collect();
            for &j in &on {
                for &i in &on {
                    lu[(i, j)] += e[i] * e[j] * ohm;
                }
            }
        }
        Self::factor(mesh, lu, loads)
    }

    fn factor(
        mesh: Mesh,
        mut lu: Mat<Complex64>,
        loads: Vec<(Vec<Complex64>, Complex64)>,
    ) -> Result<Self, WireError> {
        let n = mesh.unknowns();
        let norm1 = (0..n)
            .map(|j| lu.col_as_slice(j).iter().map(|x| x.norm_sqr().sqrt()).sum())
            .fold(0.0, f64::max);
        if !f64::is_finite(norm1) {
            return Err(WireError::Singular("a coefficient is not finite".into()));
        }
        let (mut forward, mut inverse) = (vec![0_usize; n], vec![0_usize; n]);
        let par = par(n);
        let mut memory = MemBuffer::new(factor::lu_in_place_scratch::<usize, Complex64>(
            n,
            n,
            par,
            Default::default(),
        ));
        factor::lu_in_place(
            lu.as_mut(),
            &mut forward,
            &mut inverse,
            par,
            MemStack::new(&mut memory),
            Default::default(),
        );
        let least = 1e-14 * norm1 / n as f64;
        // a pivot that is not a number is no pivot either
        let usable =
            |i: usize| lu[(i, i)].norm().partial_cmp(&least) == Some(std::cmp::Ordering::Greater);
        if let Some(i) = (0..n).find(|&i| !usable(i)) {
            return Err(WireError::Singular(format!("pivot {i} of {n} vanishes")));
        }
        Ok(Self {
            mesh,
            lu,
            forward,
            inverse,
            norm1,
            loads,
        })
    }

    /// The division.
    pub fn mesh(&self) -> &Mesh {
        &self.mesh
    }

    /// Solves for several right sides at once, in place.
    pub(crate) fn solve_columns(&self, mut rhs: MatMut<'_, Complex64>) {
        let n = self.mesh.unknowns();
        let par = par(n);
        let columns = rhs.ncols();
        let mut memory = MemBuffer::new(solve::solve_in_place_scratch::<usize, Complex64>(
            n, columns, par,
        ));
        solve::solve_in_place_with_conj(
            self.lu.as_ref(),
            self.lu.as_ref(),
            PermRef::new_checked(&self.forward, &self.inverse, n),
            Conj::No,
            rhs.rb_mut(),
            par,
            MemStack::new(&mut memory),
        );
    }

    pub(crate) fn solve_all(&self, v: &[Vec<Complex64>]) -> Vec<Vec<Complex64>> {
        let n = self.mesh.unknowns();
        let mut rhs = Mat::from_fn(n, v.len(), |i, j| v[j][i]);
        self.solve_columns(rhs.as_mut());
        (0..v.len()).map(|j| rhs.col_as_slice(j).to_vec()).collect()
    }

    fn solutions(&self, v: &[Vec<Complex64>]) -> Vec<Solution<'_>> {
        self.solve_all(v)
            .into_iter()
            .zip(v)
            .map(|(x, v)| {
                let drawn = 0.5
                    * v.iter()
                        .zip(&x)
                        .map(|(v, i)| (v.conj() * i).re)
                        .sum::<f64>();
                let currents = self.mesh.currents(&x);
                Solution {
                    system: self,
                    radiator: Radiator::new(&self.mesh, &currents),
                    currents,
                    coefficients: x,
                    drawn,
                }
            })
            .collect()
    }

    /// Currents when ports are driven by voltages (V, peak).
    ///
    /// # Errors
    /// [`WireError::NoSuchPlace`] for a port off its wire.
    pub fn drive(&self, ports: &[(Port, Complex64)]) -> Result<Solution<'_>, WireError> {
        let mut v = vec![Complex64::default(); self.mesh.unknowns()];
        for (port, volt) in ports {
            for (v, e) in v.iter_mut().zip(port.vector(&self.mesh, "source")?) {
                *v += e * volt;
            }
        }
        Ok(self.single(v))
    }

    fn single(&self, v: Vec<Complex64>) -> Solution<'_> {
        let mut all = self.solutions(std::slice::from_ref(&v));
        // one right side gives one solution
        all.pop().unwrap_or_else(|| Solution {
            system: self,
            coefficients: v,
            currents: Vec::new(),
            radiator: Radiator::new(&self.mesh, &[]),
            drawn: 0.0,
        })
    }

    /// Currents induced by a given field; the solution's far field is the *scattered* one.
    pub fn illuminate(&self, field: &dyn GivenField) -> Solution<'_> {
        self.single(given(&self.mesh, field))
    }

    /// Currents for several fields, solved together.
    pub fn illuminate_all(&self, fields: &[&dyn GivenField]) -> Vec<Solution<'_>> {
        let v: Vec<_> = fields.iter().map(|f| given(&self.mesh, *f)).collect();
        self.solutions(&v)
    }

    /// Currents for several fields sampled in one pass (both polarisations of one feed, say): `sample` gives the fields at a
    /// place, one per case.
    pub fn illuminate_joint<const N: usize>(
        &self,
        sample: &(dyn Fn([f64; 3]) -> [crate::vector::C3; N] + Sync),
    ) -> Vec<Solution<'_>> {
        self.solutions(&crate::excite::given_joint(&self.mesh, sample))
    }

    /// Admittance matrix between ports, S; entry `[i][j]` is the current in port `i` per volt at port `j`.
    ///
    /// # Errors
    /// As [`System::drive`].
    pub fn admittance(&self, ports: &[Port]) -> Result<Vec<Vec<Complex64>>, WireError> {
        let e = ports
            .iter()
            .map(|p| p.vector(&self.mesh, "source"))
            .collect::<Result<Vec<_>, _>>()?;
        let x = self.solve_all(&e);
        Ok(e.iter()
            .map(|e| {
                x.iter()
                    .map(|x| e.iter().zip(x).map(|(a, b)| a * b).sum())
                    .collect()
            })
            .collect())
    }

    /// Input impedance at a port, everything else as loaded, ohm.
    ///
    /// # Errors
    /// As [`System::drive`].
    pub fn impedance(&self, port: &Port) -> Result<Complex64, WireError> {
        let y = self.admittance(std::slice::from_ref(port))?;
        let y = y
            .first()
            .and_then(|r| r.first())
            .copied()
            .unwrap_or_default();
        if y.norm_sqr() > 0.0 {
            Ok(1.0 / y)
        } else {
            Err(WireError::Singular("no current flows in the source".into()))
        }
    }

    /// Estimate of the 1-norm condition number (W. W. Hager 1984, N. J. Higham 1988): a few extra solves.
    pub fn condition(&self) -> f64 {
        let n = self.mesh.unknowns();
        let mut x = vec![Complex64::new(1.0 / n as f64, 0.0); n];
        let mut best = 0.0_f64;
        for _ in 0..5 {
            let y = self.solve_all(&[x]).pop().unwrap_or_default();
            let size: f64 = y.iter().map(|v| v.norm()).sum();
            if size <= best {
                break;
            }
            best = size;
            // the matrix is its own transpose: A^-H s = conj(A^-1 conj s)
            let s: Vec<_> = y
                .iter()
                .map(|v| {
                    if v.norm() > 0.0 {
                        v.conj() / v.norm()
                    } else {
                        Complex64::new(1.0, 0.0)
                    }
                })
                .collect();
            let z = self.solve_all(&[s]).pop().unwrap_or_default();
            let top = (0..n)
                .max_by(|&a, &b| z[a].norm().total_cmp(&z[b].norm()))
                .unwrap_or(0);
            x = vec![Complex64::default(); n];
            x[top] = Complex64::new(1.0, 0.0);
        }
        best * self.norm1
    }

    pub(crate) fn loads(&self) -> &[(Vec<Complex64>, Complex64)] {
        &self.loads
    }
    pub(crate) fn parallel(&self) -> bool {
        self.mesh.unknowns() >= PARALLEL_FROM
    }
}

/// A fixed number of shares, whatever the number of threads that work on them: the sums are then the same to the last bit.
fn par(n: usize) -> Par {
    const SHARES: usize = 4;
    if n >= PARALLEL_FROM {
        Par::rayon(SHARES)
    } else {
        Par::Seq
    }
}
