//! Quadrature nodes on a reflector, independent of feed and frequency.

use crate::quadrature::gauss_legendre;
use crate::reflector::Reflector;
use crate::vector::{V3, compose};
use std::f64::consts::PI;

/// One node on the surface.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Node {
    /// Surface point, dish frame, m.
    pub p: V3,
    /// Distance from the focus, m.
    pub r: f64,
    /// Unit normal, concave side.
    pub n: V3,
    /// Aperture area, m^2.
    pub w: f64,
}

/// Nodes of the aperture integral of one reflector.
#[derive(Debug, Clone)]
pub struct Nodes {
    reflector: Reflector,
    pub(crate) all: Vec<Node>,
}

impl Nodes {
    /// Nodes for boresight, efficiency and small errors of smooth feeds: 12 x 24.
    pub fn smooth(reflector: &Reflector) -> Self {
        Self::new(reflector, 12, 24)
    }

    /// Nodes that resolve a pattern out to `k a sin(theta) = u`: half as many in radius as `u`, twice `u` around, and a floor.
    pub fn for_cut(reflector: &Reflector, u: f64) -> Self {
        let u = u.clamp(0.0, 2000.0);
        Self::new(
            reflector,
            12 + (0.5 * u).ceil() as usize,
            32 + 2 * (u.ceil() as usize),
        )
    }

    /// `n_psi` Gauss-Legendre nodes in the polar angle of the rim's cone times `n_chi` trapezoid nodes around it.
    pub fn new(reflector: &Reflector, n_psi: usize, n_chi: usize) -> Self {
        let frame = Reflector::feed_frame(reflector.bisector_angle().as_rad());
        let mut all = Vec::with_capacity(n_psi * n_chi);
        let step = 2.0 * PI / n_chi.max(1) as f64;
        for (psi, w_psi) in gauss_legendre(n_psi, 0.0, reflector.half_angle().as_rad()) {
            let (s, c) = psi.sin_cos();
            for j in 0..n_chi {
                let (sx, cx) = ((j as f64 + 0.5) * step).sin_cos();
                let dir = compose(&frame, [s * cx, s * sx, c]);
                if let Some((p, r)) = reflector.meet(dir) {
                    all.push(Node {
                        p,
                        r,
                        n: reflector.normal(p),
                        w: r * r * s * w_psi * step,
                    });
                }
            }
        }
        Self {
            reflector: *reflector,
            all,
        }
    }

    /// The reflector.
    pub fn reflector(&self) -> &Reflector {
        &self.reflector
    }
    /// Number of nodes.
    pub fn len(&self) -> usize {
        self.all.len()
    }
    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.all.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_quantity::Length;

    #[test]
    fn weights_cover_the_projected_circle() {
        for r in [
            Reflector::prime_focus(Length::m(1.2), Length::m(0.48)).unwrap(),
            Reflector::offset(Length::m(0.9), Length::m(0.54), Length::mm(25.0)).unwrap(),
        ] {
            let n = Nodes::smooth(&r);
            let area: f64 = n.all.iter().map(|n| n.w).sum();
            assert!((area / r.area_m2() - 1.0).abs() < 1e-10, "{area}");
            let h: f64 = n.all.iter().map(|n| n.w * n.p[1]).sum::<f64>() / area;
            assert!((h - r.centre_offset().as_m()).abs() < 1e-10);
        }
    }
}
