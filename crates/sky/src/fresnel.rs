//! Room for the wave near the dish: first Fresnel zone and clearance over an obstacle.

use slantpath_quantity::{Angle, Length};

use crate::error::{SkyError, within};

/// Radius of the first Fresnel zone, `sqrt(lambda d1 d2 / (d1 + d2))` (ITU-R P.526, Fresnel ellipsoids, n = 1; from
/// memory). `far` is the distance from the point to the satellite; for a geostationary one `sqrt(lambda d1)`.
///
/// # Errors
/// [`SkyError::Range`] unless all three are positive.
pub fn first_fresnel_radius(
    wavelength: Length,
    near: Length,
    far: Length,
) -> Result<Length, SkyError> {
    let lambda = within("wavelength", wavelength.as_m(), 1e-6, 1e5, "m")?;
    let d1 = within("distance along the path", near.as_m(), 0.0, 1e12, "m")?;
    let d2 = within("distance to the far end", far.as_m(), 1e-3, 1e12, "m")?;
    Ok(Length::m((lambda * d1 * d2 / (d1 + d2)).sqrt()))
}

/// How a path to a satellite passes over an obstacle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ObstacleClearance {
    /// From the obstacle's top to the axis of the path, across the path; negative when it stands above the axis.
    pub clearance: Length,
    /// Distance along the path to the point nearest to the top.
    pub along: Length,
    /// First Fresnel zone radius there.
    pub fresnel_radius: Length,
    /// What is wanted: the larger of 0.6 of that radius and the dish's own radius (the beam leaves the dish as a
    /// tube of its width before it spreads).
    pub wanted: Length,
}

impl ObstacleClearance {
    /// Whether the obstacle costs next to nothing.
    pub fn is_clear(&self) -> bool {
        self.clearance >= self.wanted
    }
}

/// Clearance of a path over an obstacle whose top stands `height` above (negative: below) the dish's centre at a
/// horizontal `distance`, in the azimuth of the path, which leaves at `elevation` (flat ground: the Earth's bulge
/// is 0.2 m at 1.6 km). 0.6 of the first zone: ITU-R P.530, where diffraction loss vanishes for a knife edge
/// (P.526: -0.8 of the zone's normalised height; from memory). Taking the larger of zone and dish radius is common
/// practice, no source.
///
/// # Errors
/// [`SkyError::Range`] for a distance outside 0..5000 m, a height outside -1000..1000 m, an elevation outside
/// -10..90 deg, a dish radius outside 0..50 m, or when the obstacle's top lies behind the dish along the path.
pub fn obstacle_clearance(
    elevation: Angle,
    distance: Length,
    height: Length,
    wavelength: Length,
    dish_radius: Length,
) -> Result<ObstacleClearance, SkyError> {
    let el = within("elevation", elevation.as_deg(), -10.0, 90.0, "deg")?.to_radians();
    let d = within(
        "distance to the obstacle",
        distance.as_m(),
        0.0,
        5000.0,
        "m",
    )?;
    let h = within(
        "height of the obstacle",
        height.as_m(),
        -1000.0,
        1000.0,
        "m",
    )?;
    let radius = within("dish radius", dish_radius.as_m(), 0.0, 50.0, "m")?;
    let (s, c) = el.sin_cos();
    let along = within(
        "distance along the path to the obstacle",
        d * c + h * s,
        0.0,
        1e4,
        "m",
    )?;
    let zone = first_fresnel_radius(wavelength, Length::m(along), Length::km(36_000.0))?;
    Ok(ObstacleClearance {
        clearance: Length::m(d * s - h * c),
        along: Length::m(along),
        fresnel_radius: zone,
        wanted: Length::m((0.6 * zone.as_m()).max(radius)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_quantity::Frequency;

    #[test]
    fn zone_twenty_metres_from_the_dish() {
        // Common-practice check values: 0.76 m at 3 cm (10.5 GHz), 1.6 m at 13 cm (2.4 GHz), 20 m away.
        let r = |ghz: f64| {
            let lambda = Frequency::ghz(ghz).wavelength();
            first_fresnel_radius(lambda, Length::m(20.0), Length::km(38_000.0))
                .unwrap()
                .as_m()
        };
        assert!((r(10.4) - 0.76).abs() < 0.005, "{}", r(10.4));
        assert!((r(2.4) - 1.58).abs() < 0.005, "{}", r(2.4));
        // Half way between two ends the zone is widest: sqrt(lambda d)/2 of the whole path d.
        let half =
            first_fresnel_radius(Length::m(0.03), Length::m(500.0), Length::m(500.0)).unwrap();
        assert!((half.as_m() - 0.5 * 30f64.sqrt()).abs() < 1e-12);
    }

    #[test]
    fn a_hedge_in_front_of_the_dish() {
        let lambda = Length::m(0.029);
        let over = |el: f64, h: f64| {
            obstacle_clearance(
                Angle::deg(el),
                Length::m(20.0),
                Length::m(h),
                lambda,
                Length::m(0.6),
            )
            .unwrap()
        };
        // 20 m tan 28.3 = 10.77 m: a 5 m hedge leaves (10.77 - 5) cos 28.3 = 5.08 m.
        let c = over(28.3, 5.0);
        assert!((c.clearance.as_m() - 5.08).abs() < 0.01 && c.is_clear());
        assert!(!over(28.3, 10.5).is_clear());
        assert!(over(28.3, 12.0).clearance.as_m() < 0.0);
        // Near the dish the tube is wider than the zone.
        assert_eq!(c.wanted.as_m(), 0.6);
        let far = Length::m(-2000.0);
        assert!(obstacle_clearance(Angle::deg(80.0), Length::m(1.0), far, lambda, lambda).is_err());
    }
}
