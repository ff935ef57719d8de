//! Physical optics: the surface current `J = 2 n x H` radiated in free space. Slower than the aperture integral and used to
//! check it (S. Silver 1949, ch. 5: from memory).

use super::illuminate::Pose;
use super::{Nodes, Placement};
use crate::pattern::Pattern;
use crate::vector::{C3, V3, cdot, dot, scale, sub};
use num_complex::Complex64;
use slantpath_quantity::{Angle, Decibel, Frequency, to_db};
use std::f64::consts::PI;

/// Gain of the reflector's scattered field towards the direction `(sin theta cos phi, sin theta sin phi, cos theta)` of the
/// dish frame, both polarisations together. The nodes must resolve the direction: [`Nodes::for_cut`].
pub fn gain(
    nodes: &Nodes,
    pattern: &Pattern,
    placement: &Placement,
    f: Frequency,
    theta: Angle,
    phi: Angle,
) -> Decibel {
    let lambda = f.wavelength().as_m();
    let k = 2.0 * PI / lambda;
    let pose = Pose::placed(nodes.reflector(), placement);
    let (st, ct) = theta.as_rad().sin_cos();
    let (sp, cp) = phi.as_rad().sin_cos();
    let r: V3 = [st * cp, st * sp, ct];
    let mut sum: C3 = [Complex64::default(); 3];
    for n in &nodes.all {
        let (e, s, d) = pose.field(pattern, n.p);
        // J dS eta = 2 n x (s x E) dS = 2 [s (n.E) - E (n.s)] dS, dS = w / n_z
        let ne = cdot(n.n, e);
        let ns = dot(n.n, s);
        let a = Complex64::from_polar(2.0 * n.w / (n.n[2] * d), k * (dot(r, n.p) - d));
        for (i, q) in sum.iter_mut().enumerate() {
            *q += (ne * s[i] - e[i] * ns) * a;
        }
    }
    // Radiated: only what is transverse to r, E = -j k eta/(4 pi) J_t exp(-jkr)/r, against (E_aperture) j/(lambda).
    let along = cdot(r, sum);
    let t: f64 = (0..3).map(|i| (sum[i] - along * r[i]).norm_sqr()).sum();
    // |E|^2 = (k / 4 pi)^2 t = t / (2 lambda)^2; G = 4 pi |E|^2 / P
    Decibel(to_db(
        4.0 * PI * t / (4.0 * lambda * lambda) / pattern.power(),
    ))
}

/// A ray in the symmetry plane for a drawing: the feed, the surface point that the focus sees at `from_axis`, and a point one
/// feed distance further along the reflected ray. `None` when that direction misses the paraboloid.
pub fn ray(nodes: &Nodes, placement: &Placement, from_axis: Angle) -> Option<[[f64; 3]; 3]> {
    let (s, c) = from_axis.as_rad().sin_cos();
    let (p, _) = nodes.reflector().meet([0.0, s, -c])?;
    let pose = Pose::placed(nodes.reflector(), placement);
    let dir = sub(p, pose.at);
    let n = nodes.reflector().normal(p);
    let out = sub(dir, scale(n, 2.0 * dot(dir, n)));
    Some([pose.at, p, [p[0] + out[0], p[1] + out[1], p[2] + out[2]]])
}
