//! Edge of coverage: can a site see a satellite near or below zero elevation?

use slantpath_quantity::{Angle, Length};

use crate::error::{SkyError, within};
use crate::site::Site;

/// What [`verdict`] takes into account.
pub const MODELLED: &[&str] = &[
    "ellipsoidal geometry of site and satellite",
    "height of the site above the sea or terrain that forms the horizon",
    "bending of the ray, as handed in for this elevation",
];

/// What it does not.
pub const NOT_MODELLED: &[&str] = &[
    "diffraction over the horizon (a ray grazing it already loses about 6 dB)",
    "ducting and day-to-day refraction beyond the stated uncertainty",
    "scintillation and multipath from sea or ground at grazing angles",
    "ground noise in the lower half of the beam",
    "waves, vegetation and buildings on the horizon line",
];

/// The horizon of a smooth surface below the site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SurfaceHorizon {
    /// Its elevation as seen: zero or negative.
    pub elevation: Angle,
    /// Distance to it along the surface.
    pub distance: Length,
}

/// Horizon of the sea (or a plain) `height` below the site, in the direction of an azimuth.
///
/// `dip = acos(k R / (k R + h))`, distance `k R dip`, R the ellipsoid's radius of curvature in that direction and k
/// the effective Earth radius factor: 1 for the geometric horizon, 4/3 for the radio horizon as seen through a
/// standard atmosphere (ITU-R P.310 "effective radius of the Earth"; the refraction of the ray inside the
/// atmosphere between site and horizon is then already in the returned elevation).
///
/// # Errors
/// [`SkyError::Range`] for a height outside 0..20 km or k outside 0.3..10.
pub fn surface_horizon(
    site: &Site,
    azimuth: Angle,
    height: Length,
    k: f64,
) -> Result<SurfaceHorizon, SkyError> {
    let h = within(
        "height above the horizon",
        height.as_m(),
        0.0,
        20_000.0,
        "m",
    )?;
    let r = effective_radius(site, azimuth, k)?;
    // acos(r / (r + h)) without cancellation for small h.
    let dip = (h * (2.0 * r + h)).sqrt().atan2(r);
    Ok(SurfaceHorizon {
        elevation: Angle::rad(-dip),
        distance: Length::m(r * dip),
    })
}

/// Elevation at which a ridge stands, seen from the site: `distance` along the surface, `top` and `site_height` above
/// one datum, k as in [`surface_horizon`].
///
/// # Errors
/// [`SkyError::Range`] for a distance outside 1 m..1000 km or heights outside -1000..20 000 m.
pub fn terrain_elevation(
    site: &Site,
    azimuth: Angle,
    site_height: Length,
    distance: Length,
    top: Length,
    k: f64,
) -> Result<Angle, SkyError> {
    let d = within("distance to the terrain", distance.as_m(), 1.0, 1e6, "m")?;
    let h1 = within("site height", site_height.as_m(), -1000.0, 20_000.0, "m")?;
    let h2 = within("terrain height", top.as_m(), -1000.0, 20_000.0, "m")?;
    let r = effective_radius(site, azimuth, k)?;
    let (s, c) = (d / r).sin_cos();
    // (r + h2) cos - (r + h1), with 1 - cos written so that nothing cancels.
    let rise = h2 * c - h1 - r * 2.0 * (0.5 * d / r).sin().powi(2);
    Ok(Angle::rad(rise.atan2((r + h2) * s)))
}

fn effective_radius(site: &Site, azimuth: Angle, k: f64) -> Result<f64, SkyError> {
    let k = within("effective Earth radius factor", k, 0.3, 10.0, "")?;
    within("azimuth", azimuth.as_deg(), -720.0, 720.0, "deg")?;
    Ok(k * site.radius_of_curvature(azimuth).as_m())
}

/// How a site stands towards a low satellite.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coverage {
    /// Above the horizon even without refraction.
    Clear,
    /// Above it thanks to refraction, by more than twice its uncertainty.
    ClearByRefraction,
    /// Within twice the uncertainty of the horizon: comes and goes with the weather.
    Marginal,
    /// Below it by more than twice the uncertainty.
    Below,
}

/// The verdict with its figures.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeVerdict {
    /// The verdict.
    pub coverage: Coverage,
    /// Elevation as seen: geometric plus refraction.
    pub apparent_elevation: Angle,
    /// Apparent elevation above the horizon, negative below.
    pub margin: Angle,
    /// Standard uncertainty of the margin.
    pub u: Angle,
    /// Why, in a sentence.
    pub because: String,
}

/// Edge-of-coverage verdict.
///
/// `elevation` is geometric, `refraction` the bending of the ray at that elevation (+ lifts) with its standard
/// uncertainty `u_refraction`, `horizon` the elevation of the horizon *as seen* (from [`surface_horizon`] with
/// k = 4/3, [`terrain_elevation`], or a mask). [`MODELLED`] and [`NOT_MODELLED`] say what the verdict covers.
///
/// # Errors
/// [`SkyError::Range`] for angles that are not numbers, or a negative uncertainty.
pub fn verdict(
    elevation: Angle,
    refraction: Angle,
    u_refraction: Angle,
    horizon: Angle,
) -> Result<EdgeVerdict, SkyError> {
    let el = within("elevation", elevation.as_deg(), -90.0, 90.0, "deg")?;
    let bend = within("refraction", refraction.as_deg(), -5.0, 5.0, "deg")?;
    let u = within(
        "uncertainty of the refraction",
        u_refraction.as_deg(),
        0.0,
        5.0,
        "deg",
    )?;
    let hor = within("horizon", horizon.as_deg(), -90.0, 90.0, "deg")?;
    let margin = el + bend - hor;
    let coverage = if el > hor && margin > 2.0 * u {
        Coverage::Clear
    } else if margin > 2.0 * u {
        Coverage::ClearByRefraction
    } else if margin >= -2.0 * u {
        Coverage::Marginal
    } else {
        Coverage::Below
    };
    let side = if margin >= 0.0 { "above" } else { "below" };
    Ok(EdgeVerdict {
        coverage,
        apparent_elevation: Angle::deg(el + bend),
        margin: Angle::deg(margin),
        u: u_refraction,
        because: format!(
            "geometric elevation {el:.2} deg and refraction {bend:.2} deg put the satellite {:.2} deg (u {u:.2}) {side} the horizon at {hor:.2} deg",
            margin.abs()
        ),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dip_of_thirty_metres() {
        // Closed form: sqrt(2 h / R) for small h; 30 m on R = 6371 km: 0.1758 deg, 19.55 km; with k = 4/3 0.1523 deg.
        let site = Site::new(45.0, 0.0, 30.0).unwrap();
        let h = surface_horizon(&site, Angle::deg(90.0), Length::m(30.0), 1.0).unwrap();
        assert!((h.elevation.as_deg() + 0.1758).abs() < 3e-4);
        assert!((h.distance.as_km() - 19.56).abs() < 0.05);
        let r = surface_horizon(&site, Angle::deg(90.0), Length::m(30.0), 4.0 / 3.0).unwrap();
        assert!((r.elevation.as_deg() + 0.1523).abs() < 3e-4);
        // A terrain point at the horizon's distance with zero height is the horizon.
        let t = terrain_elevation(
            &site,
            Angle::deg(90.0),
            Length::m(30.0),
            h.distance,
            Length::m(0.0),
            1.0,
        );
        assert!((t.unwrap() - h.elevation).as_deg().abs() < 1e-6);
    }

    #[test]
    fn a_thirty_metre_site_reaches_about_one_degree_below() {
        // Common-practice check: 30 m above the sea reaches a geometric elevation of about -0.97 deg, with about
        // 0.8 deg of bending at that ray's apparent elevation.
        let site = Site::new(70.0, 20.0, 30.0).unwrap();
        let horizon =
            surface_horizon(&site, Angle::deg(180.0), Length::m(30.0), 4.0 / 3.0).unwrap();
        let v = |el: f64| {
            verdict(
                Angle::deg(el),
                Angle::deg(0.82),
                Angle::deg(0.02),
                horizon.elevation,
            )
            .unwrap()
        };
        assert_eq!(v(0.1).coverage, Coverage::Clear);
        assert_eq!(v(-0.9).coverage, Coverage::ClearByRefraction);
        assert_eq!(v(-0.97).coverage, Coverage::Marginal);
        assert_eq!(v(-1.1).coverage, Coverage::Below);
        assert!(v(-1.1).because.contains("below the horizon"));
        assert!(
            verdict(
                Angle::deg(f64::NAN),
                Angle::deg(0.0),
                Angle::deg(0.0),
                Angle::deg(0.0)
            )
            .is_err()
        );
    }
}
