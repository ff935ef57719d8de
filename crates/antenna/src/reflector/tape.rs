//! An offset dish from what a tape measures.
//!
//! With width `W`, height `H` along the long axis and depth `d` at the deepest point, square to a straightedge across the rim:
//! `cos beta = W/H`, `f = W^3 / (16 d H)`, `h = 2 f tan beta`. The deepest point's foot on the rim's plane stands `d tan beta`
//! from the middle towards the edge nearer to the paraboloid's axis, which is a second reading of `beta`. (Derived here from
//! the plane cut of the paraboloid; the first two are common practice.)

use super::Reflector;
use crate::error::{AntennaError, positive};
use slantpath_quantity::{Angle, Length, Validity};

/// What a tape and a straightedge say about an offset dish.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TapeOffset {
    /// Inner width of the rim.
    pub width: Length,
    /// Inner height of the rim, along the long axis.
    pub height: Length,
    /// Depth at the deepest point, square to the rim's plane.
    pub depth: Length,
    /// Distance of the deepest point's foot from the end of the long axis next to the feed arm, along the rim's plane.
    pub deepest_from_near_edge: Option<Length>,
}

/// The reflector that a reading means and how well the reading hangs together.
#[derive(Debug, Clone, PartialEq)]
pub struct TapeReading {
    /// The reflector.
    pub reflector: Reflector,
    /// Offset angle by `arccos(width/height)`: the one used.
    pub offset_angle: Angle,
    /// Offset angle by the position of the deepest point, when that was measured.
    pub offset_angle_by_depth: Option<Angle>,
    /// Outside when the shape is not that of a cut paraboloid with a circular projection.
    pub validity: Validity,
}

impl TapeOffset {
    /// Focal length, offset and clearance. Cheap and free of iteration: draw the readings to get their spread.
    ///
    /// The result is sensitive near a round rim: an error `e` in `H - W` moves `beta` by `e/(W tan beta)`.
    ///
    /// # Errors
    /// [`AntennaError::Tape`] when the height is not above the width (a round dish is prime focus; readings exchanged), or
    /// [`AntennaError::Domain`] for readings not above 0 or a shape no feed can light.
    pub fn read(&self) -> Result<TapeReading, AntennaError> {
        let (w, h, d) = (self.width.as_m(), self.height.as_m(), self.depth.as_m());
        positive("dish width", w, "m")?;
        positive("dish height", h, "m")?;
        positive("dish depth", d, "m")?;
        if h < w {
            return Err(AntennaError::Tape(format!(
                "the height {h:.3} m is below the width {w:.3} m; an offset dish is higher than wide, measured along the line \
                 from the feed arm: exchange the two, or describe a dish turned on its side by its long axis"
            )));
        }
        let cos_beta = w / h;
        let beta = cos_beta.acos();
        let f = w.powi(3) / (16.0 * d * h);
        let centre = 2.0 * f * beta.tan();
        let clearance = centre - 0.5 * w;
        let reflector = Reflector::offset(self.width, Length::m(f), Length::m(clearance))?;
        let mut validity = Validity::check(
            "offset dish",
            "offset angle",
            beta.to_degrees(),
            10.0..=35.0,
            "deg",
        );
        if clearance < -0.1 * w {
            validity = validity.and(Validity::outside(format!(
                "offset dish: the paraboloid's axis passes {:.0} mm inside the aperture, so the feed would shade it; check \
                 width, height and depth",
                -clearance * 1e3
            )));
        }
        let by_depth = match self.deepest_from_near_edge {
            None => None,
            Some(s) => {
                positive("position of the deepest point", s.as_m(), "m")?;
                if s.as_m() >= h {
                    return Err(AntennaError::Tape(format!(
                        "the deepest point at {:.3} m lies outside the height {h:.3} m",
                        s.as_m()
                    )));
                }
                Some(Angle::rad(((0.5 * h - s.as_m()) / d).atan()))
            }
        };
        if let Some(other) = by_depth {
            // A deepest point is found to about +-15 mm because the surface is flat there.
            let tolerance = (0.015 / d).atan().max(4f64.to_radians());
            if (other.as_rad() - beta).abs() > tolerance {
                validity = validity.and(Validity::outside(format!(
                    "offset dish: width/height say {:.1} deg of offset, the deepest point says {:.1} deg; the rim is not the \
                     plane cut of one paraboloid with a circular projection, or a reading is wrong",
                    beta.to_degrees(),
                    other.as_deg()
                )));
            }
        }
        Ok(TapeReading {
            reflector,
            offset_angle: Angle::rad(beta),
            offset_angle_by_depth: by_depth,
            validity,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn tape(w: f64, h: f64, d: f64, s: Option<f64>) -> TapeOffset {
        TapeOffset {
            width: Length::m(w),
            height: Length::m(h),
            depth: Length::m(d),
            deepest_from_near_edge: s.map(Length::m),
        }
    }

    #[test]
    fn ratio_of_091_is_24_5_degrees() {
        // arccos 0.91 = 24.5 deg (common practice)
        let r = tape(0.91, 1.0, 0.09, None).read().unwrap();
        assert!((r.offset_angle.as_deg() - 24.49).abs() < 0.01);
    }

    #[test]
    fn contradictions_are_said() {
        assert!(matches!(
            tape(1.0, 0.9, 0.1, None).read(),
            Err(AntennaError::Tape(_))
        ));
        assert!(matches!(
            tape(0.9, 1.0, 0.1, Some(1.2)).read(),
            Err(AntennaError::Tape(_))
        ));
        assert!(tape(0.9, 1.0, 0.0, None).read().is_err());
        let off = tape(0.91, 1.0, 0.09, Some(0.55)).read().unwrap();
        assert!(!off.validity.is_inside());
        assert!(
            !tape(0.999, 1.0, 0.1, None)
                .read()
                .unwrap()
                .validity
                .is_inside()
        );
    }

    proptest! {
        #[test]
        fn measuring_a_known_dish_gives_it_back(w in 0.4f64..3.0, fd in 0.45f64..0.9, clear in 0.0f64..0.1) {
            let r = Reflector::offset(Length::m(w), Length::m(fd * w), Length::m(clear)).unwrap();
            let s = 0.5 * r.height().as_m() - r.depth().as_m() * r.offset_angle().as_rad().tan();
            let got = tape(w, r.height().as_m(), r.depth().as_m(), Some(s)).read().unwrap();
            prop_assert!((got.reflector.focal_length().as_m() - fd * w).abs() < 1e-9);
            prop_assert!((got.reflector.clearance().as_m() - clear).abs() < 1e-9);
            prop_assert!((got.offset_angle_by_depth.unwrap().as_rad() - got.offset_angle.as_rad()).abs() < 1e-9);
        }
    }
}
