//! Sun transits: when the Sun passes behind a satellite, for a dish an outage.
//!
//! The Sun passes the satellite's hour angle once a day. A low-precision Sun finds the instant of each pass and
//! drops the days on which the declinations are too far apart; the days left are refined with the apparent Sun
//! of [`crate::body`], interpolated over a few hours in the intermediate celestial frame where it moves slowly.

use jiff::Timestamp;
use slantpath_quantity::Angle;
use sofars::consts::D2PI;

use crate::body::{Attitude, Body, apparent_celestial, polar_motion};
use crate::error::{SkyError, within};
use crate::look::geostationary;
use crate::orbit::Orbit;
use crate::site::{Direction, Ecef, Site};
use crate::time::{EarthOrientation, Epoch, JD0, plus_seconds, utc_days_j2000};
use crate::vector::{
    M3, V3, add, angle_between, frame_turned_z, rotate, rotate_back, scale, sub, unit,
};

/// Largest threshold that the search accepts, deg.
pub const MAX_THRESHOLD_DEG: f64 = 15.0;

/// What the Sun passes behind.
#[derive(Debug, Clone, Copy)]
pub enum Target<'a> {
    /// A satellite standing still in the Earth-fixed frame.
    Still(Ecef),
    /// A satellite that follows orbital elements.
    Moving(&'a Orbit),
}

impl Target<'_> {
    /// A geostationary slot, longitude east +.
    ///
    /// # Errors
    /// As [`geostationary`].
    pub fn slot(longitude: Angle) -> Result<Self, SkyError> {
        Ok(Target::Still(geostationary(longitude)?))
    }
    fn position(&self, at: Timestamp, eop: EarthOrientation) -> Result<Ecef, SkyError> {
        match self {
            Target::Still(p) => Ok(*p),
            Target::Moving(orbit) => Ok(orbit.state(at, eop)?.position),
        }
    }
}

/// The time that the Sun's centre spends within a threshold of the satellite.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossing {
    /// The threshold on the separation of centres.
    pub threshold: Angle,
    /// The Sun's centre comes within the threshold.
    pub enters: Timestamp,
    /// It leaves.
    pub leaves: Timestamp,
    /// Seconds between.
    pub duration_s: f64,
}

/// One day's closest approach of the Sun's centre to the satellite.
#[derive(Debug, Clone, PartialEq)]
pub struct Transit {
    /// Instant of closest approach.
    pub closest: Timestamp,
    /// Separation of the Sun's centre from the satellite then.
    pub separation: Angle,
    /// Direction of the satellite then.
    pub satellite: Direction,
    /// One entry per threshold asked for, in their order; `None` where the Sun does not come that near.
    pub crossings: Vec<Option<Crossing>>,
}

/// Sun transits of a satellite seen from a site, in time order: every daily closest approach between `from` and
/// `to` whose separation is below the largest threshold.
///
/// Thresholds are on the separation of the Sun's *centre*, without refraction (both are refracted alike). Instants
/// are good to 2 s and separations to 0.002 deg when `eop` holds UT1 - UTC; a crossing within 0.03 deg of the
/// closest approach is ill-conditioned. A satellite below the horizon is not left out: look at
/// [`Transit::satellite`].
///
/// # Errors
/// [`SkyError::Range`] for a threshold outside 0..15 deg, [`SkyError::Interval`] when `to` precedes `from`,
/// [`SkyError::Date`] outside 1972..2099, [`SkyError::Propagation`] from elements that diverge.
pub fn sun_transits(
    site: &Site,
    target: Target<'_>,
    from: Timestamp,
    to: Timestamp,
    thresholds: &[Angle],
    eop: EarthOrientation,
) -> Result<Vec<Transit>, SkyError> {
    if to < from {
        return Err(SkyError::Interval {
            from: from.to_string(),
            to: to.to_string(),
        });
    }
    Epoch::new(from, eop)?;
    Epoch::new(to, eop)?;
    let mut widest = 0.0f64;
    for t in thresholds {
        let t = within(
            "transit threshold",
            t.as_rad(),
            0.0,
            MAX_THRESHOLD_DEG.to_radians(),
            "rad",
        )?;
        widest = widest.max(t);
    }
    let mut found = Vec::new();
    // Begin a day early and end a day late: a pass is placed by its closest approach, not by its first guess.
    let mut guess = plus_seconds(from, -86_400.0)?;
    let end = plus_seconds(to, 86_400.0)?;
    while guess <= end {
        let (pass, off) = rough_pass(site, target, guess, eop)?;
        if off.abs() < widest + ROUGH_MARGIN_RAD
            && let Some(transit) = refine(site, target, pass, thresholds, widest, eop)?
            && transit.closest >= from
            && transit.closest <= to
        {
            found.push(transit);
        }
        guess = plus_seconds(pass, 86_400.0)?;
    }
    Ok(found)
}

/// What the rough Sun (0.01 deg, parallax 0.003 deg) and a moving satellite's travel between equal hour angle and
/// closest approach can add to the difference of declinations: for a fixed satellite 0.2 deg is ample, an inclined
/// one (15 deg at most in service) moves up to 0.07 deg per minute for a few minutes.
const ROUGH_MARGIN_RAD: f64 = 0.010;

/// The next instant near `guess` at which Sun and satellite stand at one hour angle, and the difference of their
/// declinations (rad).
fn rough_pass(
    site: &Site,
    target: Target<'_>,
    guess: Timestamp,
    eop: EarthOrientation,
) -> Result<(Timestamp, f64), SkyError> {
    let mut at = guess;
    let mut off = 0.0;
    // The first step may be half a day, the second corrects the satellite's and the Sun's motion meanwhile.
    for _ in 0..3 {
        let d = unit(sub(target.position(at, eop)?.m, site.ecef().m));
        let s = rough_sun(utc_days_j2000(at));
        off = d[2].clamp(-1.0, 1.0).asin() - s[2].clamp(-1.0, 1.0).asin();
        // The Sun goes west: its Earth-fixed longitude falls by a turn a day.
        let lead = s[1].atan2(s[0]) - d[1].atan2(d[0]);
        let lead = lead - D2PI * (lead / D2PI).round();
        at = plus_seconds(at, lead / D2PI * 86_400.0)?;
    }
    Ok((at, off))
}

/// Earth-fixed unit vector of the Sun to about 0.01 deg (Astronomical Almanac, low-precision formulas for the
/// Sun, 1950-2050; 0.02 deg to 2100; coefficients from memory, checked here against the full series).
fn rough_sun(days: f64) -> V3 {
    let g = (357.528 + 0.985_600_3 * days).to_radians();
    let lambda =
        (280.460 + 0.985_647_4 * days + 1.915 * g.sin() + 0.020 * (2.0 * g).sin()).to_radians();
    let epsilon = (23.439 - 4e-7 * days).to_radians();
    let equatorial = [
        lambda.cos(),
        epsilon.cos() * lambda.sin(),
        epsilon.sin() * lambda.sin(),
    ];
    // Mean sidereal angle, deg (the equation of the equinoxes, 0.005 deg, left out).
    let theta = (280.460_618_37 + 360.985_647_366_29 * days).rem_euclid(360.0);
    frame_turned_z(theta.to_radians(), equatorial)
}

/// Half the span over which the Sun is interpolated, s: 15 deg of threshold take an hour of the Sun's motion.
const HALF_SPAN_S: f64 = 5400.0;

/// The apparent geocentric Sun around an instant, in the celestial intermediate frame.
struct NearSun {
    middle: Timestamp,
    nodes: [V3; 3],
    polar: M3,
    ut1_at_middle: f64,
}

impl NearSun {
    fn new(middle: Timestamp, eop: EarthOrientation) -> Result<Self, SkyError> {
        let mut nodes = [[0.0; 3]; 3];
        for (node, k) in nodes.iter_mut().zip([-1.0, 0.0, 1.0]) {
            let epoch = Epoch::new(plus_seconds(middle, k * HALF_SPAN_S)?, eop)?;
            let attitude = Attitude::new(epoch, eop);
            let celestial = apparent_celestial(Body::Sun, epoch, [0.0; 3], [0.0; 3])?;
            // Back from Earth-fixed by polar motion and rotation: the frame in which the Sun moves 1 deg a day.
            let earth_fixed = rotate(&attitude.to_earth, celestial);
            let polar = polar_motion(eop);
            *node = frame_turned_z(
                -sofars::erst::era00(JD0, epoch.ut1),
                rotate_back(&polar, earth_fixed),
            );
        }
        Ok(Self {
            middle,
            nodes,
            polar: polar_motion(eop),
            ut1_at_middle: Epoch::new(middle, eop)?.ut1,
        })
    }
    /// Earth-fixed position `dt` seconds after the middle, m. Quadratic interpolation over three hours: the third
    /// difference of the Sun's motion is below 1e-9 rad.
    fn earth_fixed(&self, dt: f64) -> V3 {
        let x = dt / HALF_SPAN_S;
        let [a, b, c] = self.nodes;
        let p = add(
            scale(a, 0.5 * x * (x - 1.0)),
            add(scale(b, 1.0 - x * x), scale(c, 0.5 * x * (x + 1.0))),
        );
        let era = sofars::erst::era00(JD0, self.ut1_at_middle + dt / 86_400.0);
        rotate(&self.polar, frame_turned_z(era, p))
    }
    /// Unit vector from a site, with parallax and diurnal aberration.
    fn seen_from(&self, site: &Site, dt: f64) -> V3 {
        let topocentric = unit(sub(self.earth_fixed(dt), site.ecef().m));
        unit(add(
            topocentric,
            scale(
                site.rotation_velocity(),
                1.0 / slantpath_quantity::constants::SPEED_OF_LIGHT,
            ),
        ))
    }
}

fn refine(
    site: &Site,
    target: Target<'_>,
    pass: Timestamp,
    thresholds: &[Angle],
    widest: f64,
    eop: EarthOrientation,
) -> Result<Option<Transit>, SkyError> {
    let sun = NearSun::new(pass, eop)?;
    let separation = |dt: f64| -> Result<f64, SkyError> {
        let at = plus_seconds(sun.middle, dt)?;
        let satellite = unit(sub(target.position(at, eop)?.m, site.ecef().m));
        Ok(angle_between(satellite, sun.seen_from(site, dt)))
    };
    let closest = golden_minimum(&separation, -1800.0, 1800.0)?;
    let nearest = separation(closest)?;
    if nearest >= widest {
        return Ok(None);
    }
    let mut crossings = Vec::with_capacity(thresholds.len());
    for t in thresholds {
        crossings.push(if nearest < t.as_rad() {
            let enters = crossing(&separation, t.as_rad(), closest, -HALF_SPAN_S)?;
            let leaves = crossing(&separation, t.as_rad(), closest, HALF_SPAN_S)?;
            Some(Crossing {
                threshold: *t,
                enters: plus_seconds(sun.middle, enters)?,
                leaves: plus_seconds(sun.middle, leaves)?,
                duration_s: leaves - enters,
            })
        } else {
            None
        });
    }
    let at = plus_seconds(sun.middle, closest)?;
    let to_satellite = sub(target.position(at, eop)?.m, site.ecef().m);
    Ok(Some(Transit {
        closest: at,
        separation: Angle::rad(nearest),
        satellite: Direction::of_enu(site.enu(to_satellite)),
        crossings,
    }))
}

/// Golden-section search to 10 ms; the separation has one minimum in the hour around a pass, and the search
/// compares only, so that the kink of a near-central pass does it no harm.
fn golden_minimum(
    f: &impl Fn(f64) -> Result<f64, SkyError>,
    mut lo: f64,
    mut hi: f64,
) -> Result<f64, SkyError> {
    const G: f64 = 0.618_033_988_749_894_9;
    let (mut x1, mut x2) = (hi - G * (hi - lo), lo + G * (hi - lo));
    let (mut f1, mut f2) = (f(x1)?, f(x2)?);
    while hi - lo > 0.01 {
        if f1 < f2 {
            (hi, x2, f2) = (x2, x1, f1);
            x1 = hi - G * (hi - lo);
            f1 = f(x1)?;
        } else {
            (lo, x1, f1) = (x1, x2, f2);
            x2 = lo + G * (hi - lo);
            f2 = f(x2)?;
        }
    }
    Ok(0.5 * (lo + hi))
}

/// Bisection to 1 ms between an instant inside the threshold and one outside.
fn crossing(
    f: &impl Fn(f64) -> Result<f64, SkyError>,
    threshold: f64,
    mut inside: f64,
    mut outside: f64,
) -> Result<f64, SkyError> {
    while (outside - inside).abs() > 1e-3 {
        let x = 0.5 * (inside + outside);
        if f(x)? < threshold {
            inside = x;
        } else {
            outside = x;
        }
    }
    Ok(0.5 * (inside + outside))
}

/// Separation of centres at which a dish notices the Sun: the disc's edge reaches the half-power contour,
/// `half-power beamwidth / 2 + 0.267 deg` (mean solar semi-diameter; +-0.0045 deg over the year). Common practice,
/// no source. How many decibels are lost inside is a matter of noise temperature, not of geometry.
pub fn outage_threshold(half_power_beamwidth: Angle) -> Angle {
    half_power_beamwidth * 0.5 + Angle::deg(MEAN_SUN_SEMI_DIAMETER_DEG)
}

/// Semi-diameter of the Sun at 1 au: asin(695 700 km / 149 597 870.7 km), deg.
pub const MEAN_SUN_SEMI_DIAMETER_DEG: f64 = 0.266_451;

/// A run of days with an outage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Season {
    /// First day's crossing.
    pub first: Crossing,
    /// Last day's crossing.
    pub last: Crossing,
    /// The longest crossing.
    pub longest: Crossing,
    /// Days with a crossing.
    pub days: usize,
}

/// Transits gathered into seasons (gaps of more than three days separate them), for the threshold with the given
/// index in each [`Transit::crossings`].
pub fn seasons(transits: &[Transit], threshold_index: usize) -> Vec<Season> {
    let mut out: Vec<Season> = Vec::new();
    for c in transits
        .iter()
        .filter_map(|t| t.crossings.get(threshold_index).copied().flatten())
    {
        match out.last_mut() {
            Some(s) if crate::time::seconds_between(s.last.enters, c.enters) < 3.0 * 86_400.0 => {
                s.last = c;
                s.days += 1;
                if c.duration_s > s.longest.duration_s {
                    s.longest = c;
                }
            }
            _ => out.push(Season {
                first: c,
                last: c,
                longest: c,
                days: 1,
            }),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::geocentric;

    #[test]
    fn rough_sun_is_good_to_two_hundredths_of_a_degree() {
        for year in [1975, 2000, 2026, 2050, 2090] {
            for month in [1, 3, 6, 9, 12] {
                let at: Timestamp = format!("{year}-{month:02}-11T07:00:00Z").parse().unwrap();
                let full = geocentric(Body::Sun, at, EarthOrientation::default()).unwrap();
                let off = angle_between(unit(full.m), rough_sun(utc_days_j2000(at))).to_degrees();
                assert!(off < 0.03, "{at}: {off}");
            }
        }
    }

    #[test]
    fn interpolated_sun_is_the_full_sun() {
        let site = Site::new(51.5, -0.14, 31.0).unwrap();
        let eop = EarthOrientation {
            ut1_minus_utc_s: 0.1,
            pole_x_arcsec: 0.2,
            pole_y_arcsec: 0.4,
        };
        let middle: Timestamp = "2026-03-01T10:47:00Z".parse().unwrap();
        let near = NearSun::new(middle, eop).unwrap();
        for dt in [-4000.0, -600.0, 1.5, 3000.0, 5400.0] {
            let at = plus_seconds(middle, dt).unwrap();
            let full = crate::body::apparent(Body::Sun, &site, at, eop).unwrap();
            let off = angle_between(site.unit_of(full.direction), near.seen_from(&site, dt));
            assert!(off.to_degrees() < 2e-7, "{dt}: {}", off.to_degrees());
        }
    }

    #[test]
    fn outage_of_a_1_67_degree_beam_lasts_about_nine_minutes() {
        // Common-practice check value: a 1.67 deg beam loses the Sun's passage for about 9 min at most.
        let threshold = outage_threshold(Angle::deg(1.67));
        let site = Site::new(51.5, -0.14, 31.0).unwrap();
        let slot = Target::slot(Angle::deg(19.3)).unwrap();
        let all = sun_transits(
            &site,
            slot,
            "2026-01-01T00:00:00Z".parse().unwrap(),
            "2026-12-31T00:00:00Z".parse().unwrap(),
            &[threshold],
            EarthOrientation::default(),
        )
        .unwrap();
        let seasons = seasons(&all, 0);
        assert_eq!(seasons.len(), 2);
        for s in seasons {
            assert!((8.5..9.3).contains(&(s.longest.duration_s / 60.0)), "{s:?}");
        }
    }

    #[test]
    fn backward_intervals_and_silly_thresholds_are_errors() {
        let site = Site::new(0.0, 0.0, 0.0).unwrap();
        let slot = Target::slot(Angle::deg(0.0)).unwrap();
        let (a, b) = ("2026-01-02T00:00:00Z", "2026-01-01T00:00:00Z");
        let run = |from: &str, to: &str, t: f64| {
            sun_transits(
                &site,
                slot,
                from.parse().unwrap(),
                to.parse().unwrap(),
                &[Angle::deg(t)],
                EarthOrientation::default(),
            )
        };
        assert!(matches!(run(a, b, 1.0), Err(SkyError::Interval { .. })));
        assert!(matches!(run(b, a, f64::NAN), Err(SkyError::Range { .. })));
        assert!(matches!(run(b, a, 16.0), Err(SkyError::Range { .. })));
    }
}
