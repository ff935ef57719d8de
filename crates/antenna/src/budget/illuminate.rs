//! The aperture field that one feed in one pose makes.

use super::{Aim, Blockage, Nodes, Placement};
use crate::error::{AntennaError, require};
use crate::pattern::Pattern;
use crate::quadrature::gauss_legendre;
use crate::reflector::Reflector;
use crate::vector::{C3, V3, cdot, compose, dot, norm, resolve, scale, sub};
use num_complex::Complex64;
use slantpath_quantity::{Angle, Decibel, Length, amplitude_to_db};
use std::f64::consts::PI;

/// Feed frame and position in the dish frame.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Pose {
    /// Rows: the feed's x, y, z axes.
    pub frame: [V3; 3],
    /// Position of the pattern's origin, m from the focus.
    pub at: V3,
}

impl Pose {
    /// `shift` is along the nominal feed axes (x, y, z); `tilt` turns the feed about its own origin, in the symmetry plane
    /// towards the farther edge and across it.
    pub fn new(reflector: &Reflector, aim: Aim, tilt: [f64; 2], shift: V3) -> Self {
        let aim = aim.from_axis(reflector).as_rad();
        let nominal = Reflector::feed_frame(aim);
        let turned = Reflector::feed_frame(aim + tilt[0]);
        let (s, c) = tilt[1].sin_cos();
        let [x, y, z] = turned;
        let frame = [
            std::array::from_fn(|i| c * x[i] - s * z[i]),
            y,
            std::array::from_fn(|i| s * x[i] + c * z[i]),
        ];
        Self {
            frame,
            at: compose(&nominal, shift),
        }
    }

    /// The pose of a feed as it is placed.
    pub fn placed(reflector: &Reflector, placement: &Placement) -> Self {
        let shift = [placement.lateral[0], placement.lateral[1], placement.axial].map(Length::as_m);
        Self::new(
            reflector,
            placement.aim,
            placement.tilt.map(Angle::as_rad),
            shift,
        )
    }

    /// Field of the feed at a point, without `exp(-j k r)/r`: vector in the dish frame, unit direction, distance.
    pub fn field(&self, pattern: &Pattern, p: V3) -> (C3, V3, f64) {
        let s = sub(p, self.at);
        let d = norm(s);
        let dir = scale(s, 1.0 / d);
        let [lx, ly, lz] = resolve(&self.frame, dir);
        let (theta, phi) = (lz.clamp(-1.0, 1.0).acos(), ly.atan2(lx));
        let f = pattern.field(theta, phi);
        let (st, ct) = theta.sin_cos();
        let (sp, cp) = phi.sin_cos();
        let local = [
            f.theta * (ct * cp) - f.phi * sp,
            f.theta * (ct * sp) + f.phi * cp,
            f.theta * -st,
        ];
        let e = std::array::from_fn(|i| {
            local[0] * self.frame[0][i] + local[1] * self.frame[1][i] + local[2] * self.frame[2][i]
        });
        (e, dir, d)
    }
}

/// Reflected field by geometrical optics.
fn reflect(n: V3, e: C3) -> C3 {
    let k = cdot(n, e) * 2.0;
    [k * n[0] - e[0], k * n[1] - e[1], k * n[2] - e[2]]
}

/// Co- and cross-polar parts of an aperture field for a feed of this Jones vector: the reflector turns `(p_x, p_y)` of the
/// feed into `(-p_x, p_y)` of the beam, which reverses the sense.
fn split(jones: [Complex64; 2], e: C3) -> (Complex64, Complex64) {
    let [px, py] = jones;
    (
        e[1] * py.conj() - e[0] * px.conj(),
        -(e[0] * py + e[1] * px),
    )
}

/// Aperture field at the nodes of a reflector.
#[derive(Debug, Clone)]
pub(crate) struct Illumination {
    /// Co-polar field per node.
    pub(super) co: Vec<Complex64>,
    /// Cross-polar field per node.
    pub(super) cross: Vec<Complex64>,
    /// Power that meets the reflector, in the pattern's unit.
    pub(super) captured: f64,
    /// Mean direction of the reflected rays, weighted with power.
    mean_ray: [f64; 2],
    pose: Pose,
}

/// Integrals over the aperture.
pub(super) struct Sums {
    /// `int |E_co| dA`
    pub abs: f64,
    /// `int |E_co|^2 dA`
    pub co: f64,
}

impl Illumination {
    pub(crate) fn new(nodes: &Nodes, pattern: &Pattern, pose: &Pose, k: f64) -> Self {
        let jones = pattern.jones();
        let (mut co, mut cross) = (
            Vec::with_capacity(nodes.len()),
            Vec::with_capacity(nodes.len()),
        );
        let (mut captured, mut ray) = (0.0, [0.0; 2]);
        for node in &nodes.all {
            let (e, s, d) = pose.field(pattern, node.p);
            let out = reflect(node.n, e);
            // Path relative to the focus's: the aperture plane is an equiphase of the focused feed.
            let a = Complex64::from_polar(1.0 / d, -k * (d - node.r));
            let (c, x) = split(jones, out);
            co.push(c * a);
            cross.push(x * a);
            let sn = dot(s, node.n);
            let u = (e[0].norm_sqr() + e[1].norm_sqr() + e[2].norm_sqr()) / (d * d);
            // Flux through the surface element dS = w / n_z.
            let flux = u * -sn / node.n[2] * node.w;
            captured += flux;
            for (i, r) in ray.iter_mut().enumerate() {
                *r += flux * (s[i] - 2.0 * sn * node.n[i]);
            }
        }
        Self {
            co,
            cross,
            captured,
            mean_ray: ray.map(|r| if captured > 0.0 { r / captured } else { 0.0 }),
            pose: *pose,
        }
    }

    pub(super) fn sums(&self, nodes: &Nodes) -> Sums {
        let mut s = Sums { abs: 0.0, co: 0.0 };
        for (n, e) in nodes.all.iter().zip(&self.co) {
            let p = e.norm_sqr();
            s.abs += n.w * p.sqrt();
            s.co += n.w * p;
        }
        s
    }

    /// `int E_co exp(j k (u x + v y)) dA`.
    pub(super) fn sum_co(&self, nodes: &Nodes, uv: [f64; 2], k: f64) -> Complex64 {
        transform(nodes, &self.co, uv, k)
    }
    /// The same of the cross-polar field.
    pub(super) fn sum_cross(&self, nodes: &Nodes, uv: [f64; 2], k: f64) -> Complex64 {
        transform(nodes, &self.cross, uv, k)
    }

    /// Direction cosines of the beam's peak and `|sum_co|^2` there: Newton's method from the mean direction of the rays.
    pub(super) fn peak(&self, nodes: &Nodes, k: f64) -> ([f64; 2], f64) {
        let mut uv = self.mean_ray;
        for _ in 0..20 {
            let (mut s, mut su, mut sv) = (
                Complex64::default(),
                Complex64::default(),
                Complex64::default(),
            );
            let (mut suu, mut suv, mut svv) = (
                Complex64::default(),
                Complex64::default(),
                Complex64::default(),
            );
            // Centred coordinates only change a common phase and keep the Hessian well scaled.
            let h = nodes.reflector().centre_offset().as_m();
            for (n, e) in nodes.all.iter().zip(&self.co) {
                let (x, y) = (n.p[0], n.p[1] - h);
                let a = e * n.w * Complex64::from_polar(1.0, k * (uv[0] * x + uv[1] * y));
                let (kx, ky) = (k * x, k * y);
                s += a;
                su += a * kx;
                sv += a * ky;
                suu += a * (kx * kx);
                suv += a * (kx * ky);
                svv += a * (ky * ky);
            }
            let j = Complex64::i();
            let (du, dv) = (j * su, j * sv);
            let g = [2.0 * (s.conj() * du).re, 2.0 * (s.conj() * dv).re];
            let huu = 2.0 * (du.norm_sqr() - (s.conj() * suu).re);
            let hvv = 2.0 * (dv.norm_sqr() - (s.conj() * svv).re);
            let huv = 2.0 * ((du.conj() * dv).re - (s.conj() * suv).re);
            let det = huu * hvv - huv * huv;
            if !(det > 0.0 && huu < 0.0) {
                break; // not on the main lobe's cap: keep the ray's direction
            }
            let step = [
                (g[0] * hvv - g[1] * huv) / det,
                (g[1] * huu - g[0] * huv) / det,
            ];
            uv = [uv[0] - step[0], uv[1] - step[1]];
            if step[0].abs().max(step[1].abs()) < 1e-12 {
                break;
            }
        }
        let p = self.sum_co(nodes, uv, k).norm_sqr();
        (uv, p)
    }

    /// Axial position with the greatest boresight field, by golden section on the phase alone (amplitudes of this pose),
    /// around the best of a coarse scan over four wavelengths to both sides.
    pub(super) fn best_axial(&self, nodes: &Nodes, nominal: &Pose, k: f64) -> f64 {
        let axis = nominal.frame[2];
        // c = s.z per node: moving by d changes the path by -d c to first order.
        let cosines: Vec<f64> = nodes.all.iter().map(|n| dot(n.p, axis) / n.r).collect();
        let gain = |d: f64| -> f64 {
            let mut s = Complex64::default();
            for ((n, e), c) in nodes.all.iter().zip(&self.co).zip(&cosines) {
                let path = (n.r * n.r - 2.0 * n.r * d * c + d * d).sqrt() - n.r;
                s += e * n.w * Complex64::from_polar(1.0, -k * path);
            }
            s.norm_sqr()
        };
        let lambda = 2.0 * PI / k;
        // The response is a sinc whose main lobe is several wavelengths wide: a coarse scan cannot miss it.
        let coarse = (-16i32..=16).map(|i| f64::from(i) * 0.25 * lambda);
        let start = coarse.fold((0.0, gain(0.0)), |best, d| {
            let g = gain(d);
            if g > best.1 { (d, g) } else { best }
        });
        golden(start.0 - 0.25 * lambda, start.0 + 0.25 * lambda, gain)
    }

    /// Illumination at the nearer and farther edge relative to the greatest node.
    pub(super) fn edges(
        &self,
        reflector: &Reflector,
        pattern: &Pattern,
        aim: Aim,
        axial: f64,
        k: f64,
    ) -> [Decibel; 2] {
        let pose = Pose::new(reflector, aim, [0.0; 2], [0.0, 0.0, axial]);
        let peak = self
            .co
            .iter()
            .map(|e| e.norm_sqr())
            .fold(0.0, f64::max)
            .sqrt();
        let (a, h) = (
            0.5 * reflector.diameter().as_m(),
            reflector.centre_offset().as_m(),
        );
        [h - a, h + a].map(|y| {
            let e = point(reflector, pattern, &pose, 0.0, y, k).0;
            Decibel(amplitude_to_db(e.norm() / peak))
        })
    }

    /// Field and power shadowed, relative to the whole co-polar field towards `uv` and to the captured power.
    pub(super) fn blocked(
        &self,
        reflector: &Reflector,
        pattern: &Pattern,
        blockage: &Blockage,
        uv: [f64; 2],
        k: f64,
    ) -> Result<(Complex64, f64), AntennaError> {
        blockage.check()?;
        let (a, h) = (
            0.5 * reflector.diameter().as_m(),
            reflector.centre_offset().as_m(),
        );
        let mut field = Complex64::default();
        let mut power = 0.0;
        let mut add = |x: f64, y: f64, area: f64| {
            if x.hypot(y - h) <= a {
                let (e, p) = point(reflector, pattern, &self.pose, x, y, k);
                field += e * Complex64::from_polar(area, k * (uv[0] * x + uv[1] * y));
                power += p * area;
            }
        };
        let rf = 0.5 * blockage.feed.as_m();
        if rf > 0.0 {
            // Disc of the feed about its own place, 4 rings x 8.
            for (r, w) in gauss_legendre(4, 0.0, rf) {
                for j in 0..8 {
                    let (s, c) = (PI * f64::from(j) / 4.0).sin_cos();
                    add(
                        self.pose.at[0] + r * c,
                        self.pose.at[1] + r * s,
                        w * r * PI / 4.0,
                    );
                }
            }
        }
        for (strut, azimuth) in &blockage.struts {
            let (s, c) = azimuth.as_rad().sin_cos();
            for (r, w) in gauss_legendre(12, rf, rf + strut.length.as_m()) {
                add(r * c, r * s, w * strut.width.as_m());
            }
        }
        if power == 0.0 {
            return Ok((field, 0.0));
        }
        let whole = self.whole(uv, k, reflector, pattern);
        let share = field / whole;
        require(
            share.norm() < 1.0,
            "blocked share of the aperture",
            share.norm(),
            "",
            "below 1",
        )?;
        Ok((share, power / self.captured))
    }

    /// The co-polar sum on the smooth nodes (blockage needs it without the caller's nodes).
    fn whole(&self, uv: [f64; 2], k: f64, reflector: &Reflector, pattern: &Pattern) -> Complex64 {
        let nodes = Nodes::smooth(reflector);
        Self::new(&nodes, pattern, &self.pose, k).sum_co(&nodes, uv, k)
    }
}

/// Co-polar aperture field and aperture power density at `(x, y)`.
fn point(
    reflector: &Reflector,
    pattern: &Pattern,
    pose: &Pose,
    x: f64,
    y: f64,
    k: f64,
) -> (Complex64, f64) {
    let f = reflector.focal_length().as_m();
    let z = (x * x + y * y) / (4.0 * f) - f;
    let p = [x, y, z];
    let (e, _, d) = pose.field(pattern, p);
    let out = reflect(reflector.normal(p), e);
    let a = Complex64::from_polar(1.0 / d, -k * (d - norm(p)));
    let u = (out[0].norm_sqr() + out[1].norm_sqr() + out[2].norm_sqr()) / (d * d);
    (split(pattern.jones(), out).0 * a, u)
}

fn transform(nodes: &Nodes, field: &[Complex64], uv: [f64; 2], k: f64) -> Complex64 {
    let mut s = Complex64::default();
    for (n, e) in nodes.all.iter().zip(field) {
        s += e * Complex64::from_polar(n.w, k * (uv[0] * n.p[0] + uv[1] * n.p[1]));
    }
    s
}

/// Golden-section maximum of a function with one peak on `[lo, hi]`.
pub(super) fn golden(mut lo: f64, mut hi: f64, f: impl Fn(f64) -> f64) -> f64 {
    const R: f64 = 0.618_033_988_749_894_8;
    let (mut a, mut b) = (hi - R * (hi - lo), lo + R * (hi - lo));
    let (mut fa, mut fb) = (f(a), f(b));
    for _ in 0..24 {
        if fa > fb {
            (hi, b, fb) = (b, a, fa);
            a = hi - R * (hi - lo);
            fa = f(a);
        } else {
            (lo, a, fa) = (a, b, fb);
            b = lo + R * (hi - lo);
            fb = f(b);
        }
    }
    0.5 * (lo + hi)
}

/// Beam polarisation that a feed of this Jones vector makes on boresight, sense reversed, in the dish's `x y` seen along the
/// beam.
pub fn beam_polarisation(pattern: &Pattern) -> Option<crate::polarisation::Polarisation> {
    let [px, py] = pattern.jones();
    crate::polarisation::Polarisation::of_jones(-px, py)
}

/// Tilt of a feed's linear polarisation that makes a beam of this tilt: the mirror image.
pub fn feed_tilt_for_beam(tilt: Angle) -> Angle {
    -tilt
}
