//! Apparent places of Sun and Moon.
//!
//! Earth: VSOP2000 series as in the standard routine `epv00` (13 km, 0.02 arcsec at most, 1900-2100). Moon: the
//! truncated ELP of Meeus as in `moon98` (about 10 arcsec, 0.003 deg). Precession and nutation IAU 2000B (1 mas).
//! Light time, annual and diurnal aberration and parallax are applied; light deflection is not (zero at the Sun
//! itself, far below the Moon's error). No refraction.

use jiff::Timestamp;
use slantpath_quantity::{Angle, Length};
use sofars::consts::{AULT, DAS2R, DAU, DAYSEC, DC};

use crate::error::SkyError;
use crate::site::{Direction, Ecef, Site};
use crate::time::{EarthOrientation, Epoch, JD0, plus_seconds};
use crate::vector::{M3, V3, add, norm, rotate, rotate_back, scale, sub, unit};

/// Radius of the Sun's visible disc, m (IAU 2015 Resolution B3, nominal). At decimetre waves the Sun is larger
/// and uneven; that belongs to whoever needs its brightness.
pub const SUN_RADIUS_M: f64 = 695_700_000.0;
/// Mean radius of the Moon, m (IAU WGCCRE 2009 report).
pub const MOON_RADIUS_M: f64 = 1_737_400.0;

/// Which body.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Body {
    /// The Sun.
    Sun,
    /// The Moon.
    Moon,
}

impl Body {
    /// Radius of the visible disc.
    pub fn radius(self) -> Length {
        Length::m(match self {
            Body::Sun => SUN_RADIUS_M,
            Body::Moon => MOON_RADIUS_M,
        })
    }
}

/// Where a body appears.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Apparent {
    /// True azimuth and geometric elevation of the disc's centre.
    pub direction: Direction,
    /// Right ascension, true equator and equinox of date, 0..360 deg.
    pub right_ascension: Angle,
    /// Declination, true equator of date.
    pub declination: Angle,
    /// Distance from the observer.
    pub distance: Length,
    /// Angular diameter of the visible disc.
    pub angular_diameter: Angle,
}

/// The Earth's attitude at an instant.
pub(crate) struct Attitude {
    /// Celestial (GCRS) to Earth-fixed (ITRS).
    pub to_earth: M3,
    /// Celestial to true equator and equinox of date.
    pub to_true: M3,
}

impl Attitude {
    pub(crate) fn new(epoch: Epoch, eop: EarthOrientation) -> Self {
        let to_true = sofars::pnp::pnm00b(JD0, epoch.tt);
        let to_intermediate = sofars::pnp::c2ibpn(JD0, epoch.tt, &to_true);
        Self {
            to_earth: sofars::pnp::c2tcio(
                &to_intermediate,
                sofars::erst::era00(JD0, epoch.ut1),
                &polar_motion(eop),
            ),
            to_true,
        }
    }
}

/// Polar motion matrix; s' (below 1e-8 deg this century) is left out.
pub(crate) fn polar_motion(eop: EarthOrientation) -> M3 {
    sofars::pnp::pom00(eop.pole_x_arcsec * DAS2R, eop.pole_y_arcsec * DAS2R, 0.0)
}

/// Apparent celestial vector (m, GCRS axes, aberration included) of a body's centre from an observer at `site_m`
/// moving with `site_m_per_s` relative to the Earth's centre (both GCRS axes).
pub(crate) fn apparent_celestial(
    body: Body,
    epoch: Epoch,
    site_m: V3,
    site_m_per_s: V3,
) -> Result<V3, SkyError> {
    let (helio, bary) = sofars::eph::epv00(JD0, epoch.tt).ok_or(SkyError::Date {
        date: format!("JD {}", JD0 + epoch.tt),
        from: "1900",
        to: "2100",
        model: "the Earth's ephemeris",
    })?;
    let earth_v = bary[1];
    let site = scale(site_m, 1.0 / DAU);
    // Position and velocity (au, au/day) of the body relative to the Earth's centre at the instant of reception.
    let (centre, body_v) = match body {
        Body::Sun => (scale(helio[0], -1.0), sub(earth_v, helio[1])),
        Body::Moon => {
            let [p, v] = sofars::eph::moon98(JD0, epoch.tt);
            (p, add(earth_v, v))
        }
    };
    let there = sub(centre, site);
    // Light time: the body stood where it was tau earlier, in barycentric axes.
    let tau_d = norm(there) * AULT / DAYSEC;
    let seen = sub(there, scale(body_v, tau_d));
    // Aberration by the observer's barycentric velocity (iauAb; relativistic, with the Sun's potential).
    let v = scale(add(earth_v, scale(site_m_per_s, DAYSEC / DAU)), 1.0 / DC);
    let bm1 = (1.0 - v.iter().map(|x| x * x).sum::<f64>()).sqrt();
    let proper = sofars::astro::ab(&unit(seen), &v, norm(helio[0]), bm1);
    Ok(scale(proper, norm(seen) * DAU))
}

/// Where a body appears from a site: topocentric, apparent, no refraction.
///
/// Sun within 0.001 deg, Moon within 0.005 deg, when `eop` holds the day's UT1 - UTC; see [`EarthOrientation`] for
/// the effect of leaving it zero. Valid 1972 to 2099.
///
/// # Errors
/// [`SkyError::Date`] outside those years.
pub fn apparent(
    body: Body,
    site: &Site,
    at: Timestamp,
    eop: EarthOrientation,
) -> Result<Apparent, SkyError> {
    let epoch = Epoch::new(at, eop)?;
    let attitude = Attitude::new(epoch, eop);
    let celestial = apparent_celestial(
        body,
        epoch,
        rotate_back(&attitude.to_earth, site.ecef().m),
        rotate_back(&attitude.to_earth, site.rotation_velocity()),
    )?;
    let distance = norm(celestial);
    let [x, y, z] = rotate(&attitude.to_true, celestial);
    Ok(Apparent {
        direction: Direction::of_enu(site.enu(rotate(&attitude.to_earth, celestial))),
        right_ascension: Angle::rad(y.atan2(x).rem_euclid(std::f64::consts::TAU)),
        declination: Angle::rad(z.atan2(x.hypot(y))),
        distance: Length::m(distance),
        angular_diameter: Angle::rad(2.0 * (body.radius().as_m() / distance).asin()),
    })
}

/// Apparent position of a body from the Earth's centre, in the Earth-fixed frame (for shadows).
///
/// # Errors
/// As [`apparent`].
pub fn geocentric(body: Body, at: Timestamp, eop: EarthOrientation) -> Result<Ecef, SkyError> {
    let epoch = Epoch::new(at, eop)?;
    let attitude = Attitude::new(epoch, eop);
    let celestial = apparent_celestial(body, epoch, [0.0; 3], [0.0; 3])?;
    Ok(Ecef {
        m: rotate(&attitude.to_earth, celestial),
    })
}

/// A body's place at one instant of a path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PathPoint {
    /// The instant.
    pub at: Timestamp,
    /// Where the body appears.
    pub direction: Direction,
}

/// A body's path over the sky, for a sky chart: `steps + 1` points evenly over `span_s` seconds from `from` on,
/// both ends included (a day: 86400 s). One step gives the two ends; zero steps the beginning only.
///
/// # Errors
/// As [`apparent`].
pub fn path(
    body: Body,
    site: &Site,
    from: Timestamp,
    span_s: f64,
    steps: u32,
    eop: EarthOrientation,
) -> Result<Vec<PathPoint>, SkyError> {
    let n = f64::from(steps.max(1));
    (0..=steps)
        .map(|i| {
            let at = plus_seconds(from, span_s * f64::from(i) / n)?;
            Ok(PathPoint {
                at,
                direction: apparent(body, site, at, eop)?.direction,
            })
        })
        .collect()
}
