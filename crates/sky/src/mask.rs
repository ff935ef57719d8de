//! The horizon around a site, as measured: elevation of the obstacles by azimuth.

use slantpath_quantity::Angle;

use crate::error::{SkyError, within};
use crate::site::Direction;

/// A horizon mask: a polyline of (azimuth, elevation), straight between points and closed over north.
#[derive(Debug, Clone, PartialEq)]
pub struct HorizonMask {
    /// (azimuth, elevation), deg, azimuth rising within 0..360.
    points: Vec<(f64, f64)>,
}

impl HorizonMask {
    /// From points in any order: true azimuth (-360..720 deg, taken modulo a turn) and elevation (-90..90 deg) as
    /// the obstacle is *seen*.
    ///
    /// # Errors
    /// [`SkyError::MaskEmpty`], [`SkyError::MaskTwice`] for two different elevations at one azimuth (a vertical edge
    /// wants two azimuths a little apart), [`SkyError::Range`].
    pub fn new(points: &[(Angle, Angle)]) -> Result<Self, SkyError> {
        let mut p = Vec::with_capacity(points.len());
        for (az, el) in points {
            let az = within("mask azimuth", az.as_deg(), -360.0001, 720.0001, "deg")?;
            let el = within("mask elevation", el.as_deg(), -90.0001, 90.0001, "deg")?;
            let az = az.rem_euclid(360.0);
            // A degree that went through radians may miss the full turn by its last digit.
            p.push((if 360.0 - az < 1e-9 { 0.0 } else { az }, el));
        }
        p.sort_by(|a, b| a.0.total_cmp(&b.0));
        for pair in p.windows(2) {
            if let [(a, x), (b, y)] = pair
                && b - a < 1e-9
                && (y - x).abs() > 1e-9
            {
                return Err(SkyError::MaskTwice {
                    az_deg: *a,
                    first_deg: *x,
                    second_deg: *y,
                });
            }
        }
        p.dedup_by(|b, a| b.0 - a.0 < 1e-9);
        if p.is_empty() {
            return Err(SkyError::MaskEmpty);
        }
        Ok(Self { points: p })
    }

    /// The same elevation all around.
    ///
    /// # Errors
    /// [`SkyError::Range`] outside -90..90 deg.
    pub fn flat(elevation: Angle) -> Result<Self, SkyError> {
        Self::new(&[(Angle::deg(0.0), elevation)])
    }

    /// The points, azimuth rising within 0..360 deg.
    pub fn points(&self) -> impl Iterator<Item = (Angle, Angle)> + '_ {
        self.points
            .iter()
            .map(|(a, e)| (Angle::deg(*a), Angle::deg(*e)))
    }

    /// Elevation of the mask at a true azimuth.
    pub fn elevation_at(&self, azimuth: Angle) -> Angle {
        let az = azimuth.as_deg().rem_euclid(360.0);
        let after = self.points.partition_point(|(a, _)| *a <= az);
        let n = self.points.len();
        let point = |i: usize| self.points.get(i % n.max(1)).copied().unwrap_or((0.0, 0.0));
        let ((a, x), (b, y)) = (point(after + n - 1), point(after));
        // Over north the next point lies behind; a mask of one point has no way to go.
        let (way, along) = ((b - a).rem_euclid(360.0), (az - a).rem_euclid(360.0));
        Angle::deg(if way > 0.0 {
            x + (y - x) * along / way
        } else {
            x
        })
    }

    /// How far a direction passes above the mask, negative when blocked. Compare like with like: a mask that was
    /// measured by eye or camera is an apparent one, so the direction should include refraction. The beam's width
    /// is not in it: see [`crate::fresnel`].
    pub fn clearance(&self, direction: Direction) -> Angle {
        direction.elevation - self.elevation_at(direction.azimuth)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn mask(points: &[(f64, f64)]) -> Result<HorizonMask, SkyError> {
        let p: Vec<_> = points
            .iter()
            .map(|(a, e)| (Angle::deg(*a), Angle::deg(*e)))
            .collect();
        HorizonMask::new(&p)
    }

    #[test]
    fn interpolates_over_north() {
        let m = mask(&[(350.0, 10.0), (20.0, 4.0), (180.0, 2.0)]).unwrap();
        let at = |az: f64| m.elevation_at(Angle::deg(az)).as_deg();
        for (az, el) in [
            (350.0, 10.0),
            (5.0, 7.0),
            (0.0, 8.0),
            (-10.0, 10.0),
            (100.0, 3.0),
            (265.0, 6.0),
        ] {
            assert!((at(az) - el).abs() < 1e-9, "{az}: {}", at(az));
        }
        let clear = m.clearance(Direction::deg(5.0, 6.0)).as_deg();
        assert!((clear + 1.0).abs() < 1e-9);
    }

    #[test]
    fn masks_that_make_no_sense_are_errors() {
        assert_eq!(mask(&[]), Err(SkyError::MaskEmpty));
        assert!(matches!(
            mask(&[(10.0, 1.0), (370.0, 2.0)]),
            Err(SkyError::MaskTwice { .. })
        ));
        assert!(mask(&[(10.0, 91.0)]).is_err());
        assert!(mask(&[(f64::NAN, 1.0)]).is_err());
        assert!(mask(&[(0.0, 1.0), (360.0, 1.0)]).is_ok());
    }

    proptest! {
        #[test]
        fn never_above_its_highest_point(
            p in prop::collection::vec((0.0..360.0f64, -5.0..60.0f64), 1..12), az in -400.0..800.0f64,
        ) {
            if let Ok(m) = mask(&p) {
                let e = m.elevation_at(Angle::deg(az)).as_deg();
                let (lo, hi) = p.iter().fold((90.0f64, -90.0f64), |b, x| (b.0.min(x.1), b.1.max(x.1)));
                prop_assert!(e >= lo - 1e-9 && e <= hi + 1e-9);
            }
        }
    }
}
