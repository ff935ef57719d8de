//! Setting the dish up: what a clinometer on the rim reads, and how the dish frame stands in the world.

use super::Reflector;
use crate::vector::V3;
use slantpath_quantity::Angle;

/// On which side the feed arm of an offset dish stands.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Arm {
    /// Below the dish, the usual way: the face looks lower than the satellite.
    #[default]
    Bottom,
    /// Above the dish, inverted: the face looks higher than the satellite.
    Top,
    /// Turned about the beam by this angle from [`Arm::Bottom`], clockwise as seen from behind the dish.
    Turned(Angle),
}

impl Arm {
    /// Turn about the beam from the bottom position.
    pub fn roll(self) -> Angle {
        match self {
            Self::Bottom => Angle::rad(0.0),
            Self::Top => Angle::rad(std::f64::consts::PI),
            Self::Turned(a) => a,
        }
    }
    /// Height component of the dish frame's axes when the beam stands at `el`: (x, y, z) dotted with the zenith.
    ///
    /// With the arm at the bottom the dish frame's `y` (from the feed's side to the far edge) points up.
    pub(crate) fn zenith_in_dish(self, el_rad: f64) -> V3 {
        let (s, c) = self.roll().as_rad().sin_cos();
        [c_zero(s) * el_rad.cos(), c * el_rad.cos(), el_rad.sin()]
    }
}

/// Keeps an exact half turn from leaving 1e-16 where 0 is meant.
fn c_zero(s: f64) -> f64 {
    if s.abs() < 1e-15 { 0.0 } else { s }
}

impl Reflector {
    /// Elevation of the normal of the rim's plane when the beam stands at `el`: what a clinometer across the rim reads as
    /// lean back from upright. Prime focus: `el` itself. Offset: `el - beta` with the arm at the bottom, `el + beta` inverted.
    pub fn face_elevation(&self, el: Angle, arm: Arm) -> Angle {
        let beta = self.offset_angle().as_rad();
        let up = arm.zenith_in_dish(el.as_rad());
        // The rim's normal is (0, -sin beta, cos beta) in the dish frame.
        Angle::rad(
            (up[2] * beta.cos() - up[1] * beta.sin())
                .clamp(-1.0, 1.0)
                .asin(),
        )
    }

    /// Elevation of the beam when the face reads `face`; the inverse of [`Reflector::face_elevation`] for an arm at the bottom
    /// or at the top.
    pub fn beam_elevation(&self, face: Angle, arm: Arm) -> Angle {
        face + self.offset_angle() * arm.roll().as_rad().cos()
    }

    /// Elevation at which the arm of an offset dish points from the reflector's centre to the feed; negative when it drops.
    pub fn arm_elevation(&self, el: Angle, arm: Arm) -> Angle {
        let up = arm.zenith_in_dish(el.as_rad());
        let t = self.centre_angle().as_rad();
        // From the centre back to the focus: minus the direction (0, sin t, -cos t).
        Angle::rad((up[2] * t.cos() - up[1] * t.sin()).clamp(-1.0, 1.0).asin())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_quantity::Length;

    #[test]
    fn clinometer() {
        let r = Reflector::offset(Length::m(0.9), Length::m(0.54), Length::mm(20.0)).unwrap();
        let (el, beta) = (Angle::deg(30.0), r.offset_angle().as_deg());
        for (arm, want) in [(Arm::Bottom, 30.0 - beta), (Arm::Top, 30.0 + beta)] {
            let face = r.face_elevation(el, arm);
            assert!((face.as_deg() - want).abs() < 1e-9, "{arm:?}");
            assert!((r.beam_elevation(face, arm).as_deg() - 30.0).abs() < 1e-9);
        }
        // with the arm at the bottom the feed stands below the centre's level at this elevation
        assert!((r.arm_elevation(el, Arm::Bottom).as_deg() - (30.0 - 2.0 * beta)).abs() < 1e-9);
        let p = Reflector::prime_focus(Length::m(0.9), Length::m(0.36)).unwrap();
        assert!(
            (p.face_elevation(el, Arm::Turned(Angle::deg(70.0))).as_deg() - 30.0).abs() < 1e-12
        );
    }
}
