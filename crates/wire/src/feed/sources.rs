//! Aperture fields as pairs of electric and magnetic dipoles (Love's equivalence on the aperture alone).

use super::bessel::{j, j1_over_x};
use super::{Aperture, Horn};
use crate::dipoles::DipoleFields;
use crate::error::{WireError, require};
use crate::far_field::unit_vectors;
use crate::vector::{C3, V3, cdot, dot};
use num_complex::Complex64;
use rayon::prelude::*;
use slantpath_antenna::AntennaError;
use slantpath_antenna::pattern::{Field, Pattern};
use slantpath_antenna::polarisation::Polarisation;
use slantpath_antenna::quadrature::gauss_legendre;
use slantpath_quantity::constants::ETA0_OHM;
use slantpath_quantity::{Frequency, Validity};
use std::f64::consts::PI;

const RINGS: usize = 8;
const AROUND: usize = 24;
/// First zeros of `J1'` and `J0`.
const TE11_ROOT: f64 = 1.841_183_781;
const HE11_ROOT: f64 = 2.404_825_558;

/// Places and moments of a feed in both linear polarisations.
#[derive(Debug, Clone)]
pub(crate) struct Sources {
    places: Vec<V3>,
    /// Per place: polarisation along `x` and along `y`, electric and magnetic moment.
    moments: Vec<[[C3; 2]; 2]>,
    k: f64,
    pub validity: Validity,
}

/// Transverse field of the `x` polarisation at radius and azimuth, V/m: azimuthal order one.
#[derive(Debug, Clone, Copy)]
struct Ring {
    radius: f64,
    area: f64,
    /// `E_x = a + b cos 2 phi`, `E_y = b sin 2 phi`.
    a: Complex64,
    b: Complex64,
}

pub(crate) fn of(horn: &Horn, f: Frequency) -> Result<Sources, WireError> {
    let k = 2.0 * PI / f.wavelength().as_m();
    let r = horn.radius.as_m();
    require(
        k * r <= 16.0,
        "receive feed",
        "radius of the aperture",
        r * 1e3,
        "mm",
        "at most 2.5 wavelengths",
    )?;
    let nodes = gauss_legendre(RINGS, 0.0, r);
    let plain = |e: &dyn Fn(f64) -> [f64; 2]| -> Vec<Ring> {
        nodes
            .iter()
            .map(|&(radius, w)| {
                let [a, b] = e(radius);
                Ring {
                    radius,
                    area: w * radius * 2.0 * PI / AROUND as f64,
                    a: a.into(),
                    b: b.into(),
                }
            })
            .collect()
    };
    let mut validity = Validity::Inside;
    let (rings, admittance) = match &horn.aperture {
        Aperture::Te11 => {
            let kc = TE11_ROOT / r;
            require(
                k > kc,
                "receive feed",
                "radius of the aperture",
                r * 1e3,
                "mm",
                "wide enough for the TE11 wave (radius above 0.293 wavelengths)",
            )?;
            // E_rho = J1(u)/u cos phi, E_phi = -J1'(u) sin phi, J1' = J0 - J1/u
            let rings = plain(&|rho| {
                let u = kc * rho;
                let (over, slope) = (j1_over_x(u), j(0, u) - j1_over_x(u));
                [0.5 * (over + slope), 0.5 * (over - slope)]
            });
            (rings, (1.0 - (kc / k).powi(2)).sqrt())
        }
        Aperture::He11 => (plain(&|rho| [j(0, HE11_ROOT * rho / r), 0.0]), 1.0),
        Aperture::Measured(p) => {
            let (rings, rest) = fit(p, &nodes, k)?;
            validity = validity.and(Validity::check(
                "receive feed from its measured pattern",
                "rest of the fit",
                rest,
                0.0..=0.05,
                "of its field",
            ));
            (rings, 1.0)
        }
    };
    let z = horn.front.as_m();
    let mut places = Vec::with_capacity(RINGS * AROUND);
    let mut moments = Vec::with_capacity(RINGS * AROUND);
    for ring in &rings {
        for i in 0..AROUND {
            let phi = 2.0 * PI * (i as f64 + 0.5) / AROUND as f64;
            let (s, c) = phi.sin_cos();
            places.push([ring.radius * c, ring.radius * s, z]);
            let (s2, c2) = (2.0 * phi).sin_cos();
            let x = [ring.a + ring.b * c2, ring.b * s2];
            // the same aperture turned by 90 deg: E(phi) -> rotated E(phi - 90 deg)
            let y = [ring.b * s2, ring.a - ring.b * c2];
            moments.push([x, y].map(|e| pair(e, ring.area, admittance)));
        }
    }
    Ok(Sources {
        places,
        moments,
        k,
        validity,
    })
}

/// `J = n x H = -Y E`, `M = -n x E` with `n = z`.
fn pair([ex, ey]: [Complex64; 2], area: f64, admittance: f64) -> [C3; 2] {
    let zero = Complex64::default();
    let y = admittance / ETA0_OHM * area;
    [[ex * -y, ey * -y, zero], [ey * area, ex * -area, zero]]
}

/// Rings whose far field `(1 + cos)/2 [A, B]` fits the E and H planes of a measured pattern up to 85 deg; and the rest.
///
/// With `E_theta = e cos phi`, `E_phi = -h sin phi`: the uniform part has `(e + h)/2 = (1 + cos)/2 int A J0(k rho sin) dS`,
/// the other `(h - e)/2` the same with `B` and `J2`. Ridge regression, since a small disc cannot do everything.
fn fit(p: &Pattern, nodes: &[(f64, f64)], k: f64) -> Result<(Vec<Ring>, f64), WireError> {
    let p = p.clone().with_polarisation(Polarisation::HORIZONTAL);
    let angles = gauss_legendre(40, 0.0, 85_f64.to_radians());
    let mut parts = [Vec::new(), Vec::new()];
    for &(t, w) in &angles {
        let (e, h) = (p.field(t, 0.0).theta, -p.field(t, 0.5 * PI).phi);
        parts[0].push(((e + h) * 0.5, t, w * t.sin()));
        parts[1].push(((h - e) * 0.5, t, w * t.sin()));
    }
    let mut solved = Vec::new();
    let (mut rest, mut all) = (0.0, 0.0);
    for (part, order) in parts.iter().zip([0, 2]) {
        let row = |t: f64| -> Vec<f64> {
            let front = 0.5 * (1.0 + t.cos());
            nodes
                .iter()
                .map(|&(rho, w)| front * j(order, k * rho * t.sin()) * w * rho)
                .collect()
        };
        let n = nodes.len();
        let mut m = vec![vec![0.0; n]; n];
        let mut v = vec![Complex64::default(); n];
        for &(want, t, w) in part {
            let r = row(t);
            for i in 0..n {
                for l in 0..n {
                    m[i][l] += w * r[i] * r[l];
                }
                v[i] += want * (w * r[i]);
            }
        }
        let trace: f64 = (0..n).map(|i| m[i][i]).sum();
        for (i, row) in m.iter_mut().enumerate() {
            row[i] += 1e-7 * trace / n as f64;
        }
        let x = cholesky(m, v).ok_or_else(|| {
            WireError::Pattern(AntennaError::Table(
                "no aperture of this radius radiates the measured pattern; check the radius of the feed".into(),
            ))
        })?;
        for &(want, t, w) in part {
            let got: Complex64 = row(t).iter().zip(&x).map(|(r, x)| x * *r).sum();
            rest += w * (got - want).norm_sqr();
            all += w * want.norm_sqr();
        }
        solved.push(x);
    }
    let [a, b] = [solved.first(), solved.get(1)].map(|s| s.cloned().unwrap_or_default());
    let rings = nodes
        .iter()
        .zip(a.iter().zip(&b))
        .map(|(&(radius, w), (&a, &b))| Ring {
            radius,
            area: w * radius * 2.0 * PI / AROUND as f64,
            a,
            b,
        })
        .collect();
    Ok((rings, (rest / all).sqrt()))
}

/// Solves a small positive definite system; `None` when it is not one.
fn cholesky(mut m: Vec<Vec<f64>>, mut v: Vec<Complex64>) -> Option<Vec<Complex64>> {
    let n = v.len();
    for i in 0..n {
        for l in 0..=i {
            let dot: f64 = (0..l).map(|q| m[i][q] * m[l][q]).sum();
            if i == l {
                let d = m[i][i] - dot;
                if !(d > 0.0 && d.is_finite()) {
                    return None;
                }
                m[i][i] = d.sqrt();
            } else {
                m[i][l] = (m[i][l] - dot) / m[l][l];
            }
        }
    }
    for i in 0..n {
        let known: Complex64 = (0..i).map(|q| v[q] * m[i][q]).sum();
        v[i] = (v[i] - known) / m[i][i];
    }
    for i in (0..n).rev() {
        let known: Complex64 = (i + 1..n).map(|q| v[q] * m[q][i]).sum();
        v[i] = (v[i] - known) / m[i][i];
    }
    Some(v)
}

impl Sources {
    /// Near fields of both polarisations.
    pub fn fields(&self) -> DipoleFields<2> {
        DipoleFields::joint(&self.places, &self.moments, self.k)
    }

    /// `r E exp(jkr)` of both polarisations in a direction, V: `-jk/(4 pi) [eta J_t - r x M] exp(jk r.r')`.
    fn far(&self, theta: f64, phi: f64) -> [Field; 2] {
        let (r, t, p) = unit_vectors(theta, phi);
        let mut sum = [[Complex64::default(); 2]; 2];
        for (at, both) in self.places.iter().zip(&self.moments) {
            let a = Complex64::from_polar(1.0, self.k * dot(r, *at));
            for (sum, [e, m]) in sum.iter_mut().zip(both) {
                // theta . (r x M) = -phi . M, phi . (r x M) = theta . M
                sum[0] += (cdot(t, *e) * ETA0_OHM + cdot(p, *m)) * a;
                sum[1] += (cdot(p, *e) * ETA0_OHM - cdot(t, *m)) * a;
            }
        }
        let front = Complex64::new(0.0, -self.k / (4.0 * PI));
        sum.map(|[t, p]| Field {
            theta: t * front,
            phi: p * front,
        })
    }

    pub fn far_fields(&self, directions: &[(f64, f64)]) -> Vec<[Field; 2]> {
        directions
            .par_iter()
            .map(|&(t, p)| self.far(t, p))
            .collect()
    }
}
