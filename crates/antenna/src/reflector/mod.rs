//! The paraboloid: prime focus or offset, from design values or from a tape measure.
//!
//! Frame: origin at the focus, `+z` along the beam towards the satellite, `+y` from the paraboloid's axis towards the
//! reflector's centre, `x` completing a right-handed frame. The surface is `z = (x^2 + y^2)/(4 f) - f`. The rim of an offset
//! reflector is the cut by a cylinder of diameter `D` (the width) whose axis stands `h` beside the paraboloid's axis; that cut
//! is plane and, seen from the focus, a circular cone.

mod setting;
mod tape;

pub use setting::Arm;
pub use tape::{TapeOffset, TapeReading};

use crate::error::{AntennaError, not_negative, positive, require};
use crate::vector::V3;
use slantpath_quantity::{Angle, Length};
use std::f64::consts::PI;

/// A paraboloid reflector with a circular projected aperture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reflector {
    f_m: f64,
    /// Radius of the projected aperture.
    a_m: f64,
    /// Distance from the paraboloid's axis to the aperture's centre; 0 for prime focus.
    h_m: f64,
}

impl Reflector {
    /// Prime-focus dish of diameter `d` and focal length `f`.
    ///
    /// # Errors
    /// [`AntennaError::Domain`] unless both are above 0, or when the rim lies so far in front of the focus (f/D below 0.125)
    /// that no feed lights it from one side.
    pub fn prime_focus(d: Length, f: Length) -> Result<Self, AntennaError> {
        positive("dish diameter", d.as_m(), "m")?;
        positive("focal length", f.as_m(), "m")?;
        require(f / d >= 0.125, "f/D", f / d, "", "0.125 or above")?;
        Ok(Self {
            f_m: f.as_m(),
            a_m: 0.5 * d.as_m(),
            h_m: 0.0,
        })
    }

    /// Prime-focus dish from its diameter and its depth at the centre: `f = D^2 / (16 depth)`.
    ///
    /// # Errors
    /// As [`Reflector::prime_focus`], and for a depth that is not above 0.
    pub fn prime_focus_from_depth(d: Length, depth: Length) -> Result<Self, AntennaError> {
        positive("dish depth", depth.as_m(), "m")?;
        positive("dish diameter", d.as_m(), "m")?;
        Self::prime_focus(d, Length::m(d.as_m().powi(2) / (16.0 * depth.as_m())))
    }

    /// Offset dish of projected diameter `d` (its width), focal length `f` and `clearance` from the paraboloid's axis to the
    /// nearer edge of the projected aperture (0 when the edge touches the axis; negative when the axis passes through it).
    ///
    /// # Errors
    /// [`AntennaError::Domain`] unless diameter and focal length are above 0, the centre stands at or above the axis, and
    /// the far edge is seen from the focus at less than 120 deg from the axis.
    pub fn offset(d: Length, f: Length, clearance: Length) -> Result<Self, AntennaError> {
        positive("dish width", d.as_m(), "m")?;
        positive("focal length", f.as_m(), "m")?;
        let a_m = 0.5 * d.as_m();
        let h_m = a_m + clearance.as_m();
        not_negative("offset of the aperture's centre", h_m, "m")?;
        let far = 2.0 * ((h_m + a_m) / (2.0 * f.as_m())).atan();
        require(
            far <= 2.0 * PI / 3.0,
            "angle of the far edge from the axis",
            far.to_degrees(),
            "deg",
            "120 or below",
        )?;
        Ok(Self {
            f_m: f.as_m(),
            a_m,
            h_m,
        })
    }

    /// Focal length.
    pub fn focal_length(&self) -> Length {
        Length::m(self.f_m)
    }
    /// Diameter of the projected aperture; the width of an offset dish.
    pub fn diameter(&self) -> Length {
        Length::m(2.0 * self.a_m)
    }
    /// Height of the rim along its long axis: `D / cos beta`.
    pub fn height(&self) -> Length {
        Length::m(2.0 * self.a_m / self.offset_angle().as_rad().cos())
    }
    /// Depth at the deepest point, square to the rim's plane: `a^2 cos beta / (4 f)`.
    pub fn depth(&self) -> Length {
        Length::m(self.a_m.powi(2) * self.offset_angle().as_rad().cos() / (4.0 * self.f_m))
    }
    /// Clearance between the paraboloid's axis and the nearer edge of the projected aperture.
    pub fn clearance(&self) -> Length {
        Length::m(self.h_m - self.a_m)
    }
    /// Distance between the paraboloid's axis and the aperture's centre; 0 for prime focus.
    pub fn centre_offset(&self) -> Length {
        Length::m(self.h_m)
    }
    /// Whether this is an offset reflector.
    pub fn is_offset(&self) -> bool {
        self.h_m > 0.0
    }
    /// f/D with D the projected diameter.
    pub fn f_over_d(&self) -> f64 {
        self.f_m / (2.0 * self.a_m)
    }
    /// Area of the projected aperture, m^2.
    pub fn area_m2(&self) -> f64 {
        PI * self.a_m * self.a_m
    }
    /// Offset angle `beta`: between the beam and the normal of the rim's plane, `tan beta = h/(2f)`; equals
    /// `arccos(width/height)`.
    pub fn offset_angle(&self) -> Angle {
        Angle::rad((self.h_m / (2.0 * self.f_m)).atan())
    }
    /// Angles from the paraboloid's axis at which the focus sees the nearer and the farther edge, `2 atan(y/(2f))`; the
    /// nearer is negative when the axis passes through the reflector (prime focus: minus the half-angle).
    pub fn edge_angles(&self) -> (Angle, Angle) {
        let at = |y: f64| Angle::rad(2.0 * (y / (2.0 * self.f_m)).atan());
        (at(self.h_m - self.a_m), at(self.h_m + self.a_m))
    }
    /// Half-angle of the cone under which the focus sees the rim.
    pub fn half_angle(&self) -> Angle {
        let (near, far) = self.edge_angles();
        (far - near) * 0.5
    }
    /// Angle between the paraboloid's axis and the axis of the rim's cone (the bisector): where the feed is aimed by default.
    pub fn bisector_angle(&self) -> Angle {
        let (near, far) = self.edge_angles();
        (far + near) * 0.5
    }
    /// Angle between the paraboloid's axis and the line from the focus to the surface point under the aperture's centre.
    pub fn centre_angle(&self) -> Angle {
        Angle::rad(2.0 * (self.h_m / (2.0 * self.f_m)).atan())
    }
    /// Distances from the focus to the nearer and to the farther edge: `f + y^2/(4f)`. With a string of these two lengths
    /// from the rim's ends on the long axis a person finds the focus.
    pub fn edge_distances(&self) -> (Length, Length) {
        let r = |y: f64| Length::m(self.f_m + y * y / (4.0 * self.f_m));
        (r(self.h_m - self.a_m), r(self.h_m + self.a_m))
    }
    /// Distance from the focus to the ends of the rim's short axis.
    pub fn side_distance(&self) -> Length {
        let rho2 = self.h_m.powi(2) + self.a_m.powi(2);
        Length::m(self.f_m + rho2 / (4.0 * self.f_m))
    }
    /// Distance from the focus to the surface under the aperture's centre.
    pub fn centre_distance(&self) -> Length {
        Length::m(self.f_m + self.h_m.powi(2) / (4.0 * self.f_m))
    }

    /// Surface point seen from the focus in the unit direction `s` (dish frame), its distance, or `None` for `s` along `+z`.
    pub(crate) fn meet(&self, s: V3) -> Option<(V3, f64)> {
        let den = 1.0 - s[2];
        (den > 1e-9).then(|| {
            let r = 2.0 * self.f_m / den;
            ([s[0] * r, s[1] * r, s[2] * r], r)
        })
    }
    /// Unit normal on the concave side at a surface point.
    pub(crate) fn normal(&self, p: V3) -> V3 {
        let (gx, gy) = (p[0] / (2.0 * self.f_m), p[1] / (2.0 * self.f_m));
        let k = 1.0 / (1.0 + gx * gx + gy * gy).sqrt();
        [-gx * k, -gy * k, k]
    }
    /// Frame of a feed aimed from the focus at `aim` from the paraboloid's axis (rows x, y, z of the feed in the dish frame):
    /// z towards the reflector, x as the dish's x.
    pub(crate) fn feed_frame(aim_rad: f64) -> [V3; 3] {
        let (s, c) = aim_rad.sin_cos();
        [[1.0, 0.0, 0.0], [0.0, -c, -s], [0.0, s, -c]]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vector::{cross, dot, norm, sub};

    fn offset() -> Reflector {
        Reflector::offset(Length::m(0.9), Length::m(0.54), Length::mm(20.0)).unwrap()
    }

    #[test]
    fn rim_is_plane_and_a_circular_cone() {
        let r = offset();
        let axis = Reflector::feed_frame(r.bisector_angle().as_rad())[2];
        let beta = r.offset_angle().as_rad();
        let normal = [0.0, -beta.sin(), beta.cos()];
        let rim = |t: f64| -> V3 {
            let (x, y) = (r.a_m * t.cos(), r.h_m + r.a_m * t.sin());
            [x, y, (x * x + y * y) / (4.0 * r.f_m) - r.f_m]
        };
        let level = dot(rim(0.0), normal);
        for i in 0..24 {
            let p = rim(f64::from(i) * 0.2618);
            assert!((dot(p, normal) - level).abs() < 1e-12);
            let angle = (dot(p, axis) / norm(p)).acos();
            assert!((angle - r.half_angle().as_rad()).abs() < 1e-9);
        }
        // height and depth by the rim's own points
        let (bottom, top) = (rim(-0.5 * PI), rim(0.5 * PI));
        assert!((norm(sub(top, bottom)) - r.height().as_m()).abs() < 1e-12);
        let (_, deepest) = (0, [0.0, r.h_m, r.h_m.powi(2) / (4.0 * r.f_m) - r.f_m]);
        assert!((level - dot(deepest, normal) - r.depth().as_m()).abs() < 1e-12);
        let (near, far) = r.edge_distances();
        assert!(
            (norm(bottom) - near.as_m()).abs() < 1e-12 && (norm(top) - far.as_m()).abs() < 1e-12
        );
        assert!((norm(rim(0.0)) - r.side_distance().as_m()).abs() < 1e-12);
    }

    #[test]
    fn equal_path_and_normal() {
        let r = offset();
        for s in [[0.1, 0.5, -0.8], [-0.3, 0.2, -0.9]] {
            let s: V3 = std::array::from_fn(|i| s[i] / norm(s));
            let (p, d) = r.meet(s).unwrap();
            assert!(
                (d - p[2] - 2.0 * r.f_m).abs() < 1e-12,
                "path focus-surface-plane is not 2f"
            );
            // reflection of s about the normal is the beam
            let n = r.normal(p);
            let k = 2.0 * dot(s, n);
            let out: V3 = std::array::from_fn(|i| s[i] - k * n[i]);
            assert!(norm(cross(out, [0.0, 0.0, 1.0])) < 1e-12 && out[2] > 0.0);
        }
    }

    #[test]
    fn prime_focus_half_angle() {
        let r = Reflector::prime_focus(Length::m(1.2), Length::m(0.48)).unwrap();
        assert!((r.half_angle().as_deg() - 64.010766).abs() < 1e-6);
        assert_eq!(r.bisector_angle().as_rad(), 0.0);
        assert!((r.depth().as_m() - 1.44 / (16.0 * 0.48)).abs() < 1e-15);
        assert!(Reflector::prime_focus(Length::m(1.2), Length::m(0.1)).is_err());
        assert!(Reflector::offset(Length::m(1.0), Length::m(0.5), Length::m(-0.6)).is_err());
        assert!(Reflector::offset(Length::m(1.0), Length::m(0.2), Length::m(0.0)).is_err());
    }
}
