//! A satellite that follows orbital elements: SGP4, Earth-fixed position, range rate, Doppler, daily motion.

use jiff::Timestamp;
use slantpath_quantity::{Angle, Frequency, Length, Speed, Validity, constants::SPEED_OF_LIGHT};

use crate::body::polar_motion;
use crate::elements::MeanElements;
use crate::error::{SkyError, within};
use crate::look::{Look, look};
use crate::site::{EARTH_ROTATION_RAD_PER_S, Ecef, Site};
use crate::time::{EarthOrientation, JD0, plus_seconds, seconds_between, utc_days_j2000};
use crate::vector::{cross, frame_turned_z, norm, rotate, scale, sub};

/// Days from their epoch for which near-geostationary elements are trusted (common practice, no source).
pub const FRESH_DAYS: f64 = 14.0;

/// Elements ready to be carried to any instant.
///
/// SGP4 with WGS-72 constants, as the elements are made with, and without the operational code's Lyddane quirk
/// (Vallado et al., AIAA 2006-6753).
/// Element sets age: near-geostationary ones are usually good to some kilometres within two weeks of their epoch
/// when no manoeuvre falls between (common practice, no source); [`Orbit::validity_at`] says when they are older.
#[derive(Debug, Clone)]
pub struct Orbit {
    constants: sgp4::Constants,
    epoch: Timestamp,
}

/// Position and velocity in the true-equator, mean-equinox frame of SGP4.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Teme {
    /// Position, km.
    pub position_km: [f64; 3],
    /// Velocity, km/s.
    pub velocity_km_per_s: [f64; 3],
}

/// Position and velocity in the Earth-fixed frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct State {
    /// Position.
    pub position: Ecef,
    /// Velocity relative to the turning Earth, m/s, from SGP4's own velocity (within about 10 mm/s of the positions'
    /// change).
    pub velocity_m_per_s: [f64; 3],
}

impl Orbit {
    /// From mean elements.
    ///
    /// # Errors
    /// [`SkyError::Range`] or [`SkyError::Elements`] when SGP4 cannot take them.
    pub fn new(elements: &MeanElements) -> Result<Self, SkyError> {
        let e = elements.clone().checked()?;
        let orbit = sgp4::Orbit::from_kozai_elements(
            &sgp4::WGS72,
            e.inclination_deg.to_radians(),
            e.ra_of_asc_node_deg.to_radians(),
            e.eccentricity,
            e.arg_of_pericenter_deg.to_radians(),
            e.mean_anomaly_deg.to_radians(),
            // rev/day to rad/min.
            e.mean_motion_rev_per_day * std::f64::consts::PI / 720.0,
        )
        .map_err(|x| SkyError::Elements(x.to_string()))?;
        let constants = sgp4::Constants::new(
            sgp4::WGS72,
            // The sidereal angle at epoch as the published verification vectors have it: through a Julian date in
            // double precision, whose rounding (40 us) is 2 mm in a resonant orbit.
            sgp4::afspc_epoch_to_sidereal_time,
            (JD0 + utc_days_j2000(e.epoch) - JD0) / 365.25,
            e.bstar,
            orbit,
        )
        .map_err(|x| SkyError::Elements(x.to_string()))?;
        Ok(Self {
            constants,
            epoch: e.epoch,
        })
    }
    /// Epoch of the elements.
    pub fn epoch(&self) -> Timestamp {
        self.epoch
    }
    /// Whether the elements are fresh enough at an instant: within [`FRESH_DAYS`] of their epoch.
    pub fn validity_at(&self, at: Timestamp) -> Validity {
        Validity::check(
            "SGP4",
            "age of the elements",
            seconds_between(self.epoch, at) / 86_400.0,
            -FRESH_DAYS..=FRESH_DAYS,
            "days",
        )
    }
    /// SGP4's own output, `minutes` after the epoch.
    ///
    /// # Errors
    /// [`SkyError::Propagation`] when the elements diverge or the satellite has decayed.
    pub fn teme(&self, minutes: f64) -> Result<Teme, SkyError> {
        let fail = |reason: String| SkyError::Propagation { minutes, reason };
        let p = self
            .constants
            .propagate(sgp4::MinutesSinceEpoch(minutes))
            .map_err(|e| fail(e.to_string()))?;
        if !p.position.iter().chain(&p.velocity).all(|x| x.is_finite()) {
            return Err(fail("the result is not a number".into()));
        }
        Ok(Teme {
            position_km: p.position,
            velocity_km_per_s: p.velocity,
        })
    }
    /// Earth-fixed position and velocity: TEME turned by GMST (IAU 1982, of UT1), then polar motion
    /// (Vallado, Fundamentals of Astrodynamics, section 3.7; AIAA 2006-6753, appendix C).
    ///
    /// Leaving `eop` zero costs 0.0042 deg of longitude per second of UT1 - UTC: 3 km at the geostationary radius
    /// (measured against tables with both applied: 0.001 deg, 0.15 km in 2026).
    ///
    /// # Errors
    /// As [`Orbit::teme`], and [`SkyError::Range`] for an absurd `eop`.
    pub fn state(&self, at: Timestamp, eop: EarthOrientation) -> Result<State, SkyError> {
        let eop = eop.checked()?;
        let teme = self.teme(seconds_between(self.epoch, at) / 60.0)?;
        let ut1 = utc_days_j2000(at) + eop.ut1_minus_utc_s / 86_400.0;
        let gmst = sofars::erst::gmst82(JD0, ut1);
        let polar = polar_motion(eop);
        // Frame turning with the Earth, before polar motion: velocity loses omega x r there.
        let r = scale(frame_turned_z(gmst, teme.position_km), 1e3);
        let v = scale(frame_turned_z(gmst, teme.velocity_km_per_s), 1e3);
        let v = sub(v, cross([0.0, 0.0, EARTH_ROTATION_RAD_PER_S], r));
        Ok(State {
            position: Ecef {
                m: rotate(&polar, r),
            },
            velocity_m_per_s: rotate(&polar, v),
        })
    }
    /// Look angles and range rate from a site.
    ///
    /// # Errors
    /// As [`Orbit::state`].
    pub fn look(
        &self,
        site: &Site,
        at: Timestamp,
        eop: EarthOrientation,
    ) -> Result<MovingLook, SkyError> {
        let range_after = |s: f64| -> Result<f64, SkyError> {
            let p = self.state(plus_seconds(at, s)?, eop)?.position;
            Ok(norm(sub(p.m, site.ecef().m)))
        };
        Ok(MovingLook {
            look: look(site, self.state(at, eop)?.position),
            range_rate: Speed::from_si(
                (range_after(RATE_STEP_S)? - range_after(-RATE_STEP_S)?) / (2.0 * RATE_STEP_S),
            ),
        })
    }
}

/// Half the interval of the central difference for the range rate, s. The difference is taken because SGP4's own
/// velocity leaves out the change of some periodic terms (8 mm/s in a near-geostationary orbit); its own
/// error is below 1e-3 m/s there and about 0.1 m/s for the lowest orbits.
const RATE_STEP_S: f64 = 1.0;

/// Look angles with the rate at which the range grows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MovingLook {
    /// Direction and range.
    pub look: Look,
    /// Rate of change of the range, + = receding.
    pub range_rate: Speed,
}

/// One-way Doppler shift `-v/c f` (first order in v/c; the next term is 1e-8 of it for a near-geostationary
/// satellite). Through a transponder, one's own signal shifts by the sum over uplink and downlink when the
/// transponder does not invert, by the difference when it does.
pub fn doppler(range_rate: Speed, f: Frequency) -> Frequency {
    Frequency::hz(-range_rate.si() / SPEED_OF_LIGHT * f.as_hz())
}

/// Smallest and largest of something.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extent<T> {
    /// Smallest.
    pub lo: T,
    /// Largest.
    pub hi: T,
}

/// How far a satellite wanders over a span of time, seen from a site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Motion {
    /// Azimuth; `hi` may exceed a full turn when the path crosses north.
    pub azimuth: Extent<Angle>,
    /// Geometric elevation.
    pub elevation: Extent<Angle>,
    /// Slant range.
    pub range: Extent<Length>,
    /// Range rate.
    pub range_rate: Extent<Speed>,
}

/// Motion over `span_s` seconds from `from`, sampled at `steps + 1` instants (a day in 288 steps misses an extreme
/// by less than 1e-4 of the amplitude).
///
/// # Errors
/// As [`Orbit::look`], and [`SkyError::Range`] for zero steps or a negative span.
pub fn motion(
    orbit: &Orbit,
    site: &Site,
    from: Timestamp,
    span_s: f64,
    steps: u32,
    eop: EarthOrientation,
) -> Result<Motion, SkyError> {
    within("steps", f64::from(steps), 1.0, 1e6, "")?;
    within("span", span_s, 0.0, 366.0 * 86_400.0, "s")?;
    let first = orbit.look(site, from, eop)?;
    let az0 = first.look.direction.azimuth.as_rad();
    let mut e = [[f64::INFINITY, f64::NEG_INFINITY]; 4];
    for i in 0..=steps {
        let at = plus_seconds(from, span_s * f64::from(i) / f64::from(steps))?;
        let l = orbit.look(site, at, eop)?;
        let turn = std::f64::consts::TAU;
        let daz = l.look.direction.azimuth.as_rad() - az0;
        let values = [
            az0 + daz - turn * (daz / turn).round(),
            l.look.direction.elevation.as_rad(),
            l.look.range.as_m(),
            l.range_rate.si(),
        ];
        for (extent, v) in e.iter_mut().zip(values) {
            *extent = [extent[0].min(v), extent[1].max(v)];
        }
    }
    let angle = |x: [f64; 2]| Extent {
        lo: Angle::rad(x[0]),
        hi: Angle::rad(x[1]),
    };
    Ok(Motion {
        azimuth: angle(e[0]),
        elevation: angle(e[1]),
        range: Extent {
            lo: Length::m(e[2][0]),
            hi: Length::m(e[2][1]),
        },
        range_rate: Extent {
            lo: Speed::from_si(e[3][0]),
            hi: Speed::from_si(e[3][1]),
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn old_elements_are_flagged() {
        let e = MeanElements::from_tle(
            "1 99901U 26999A   26258.00000000  .00000000  00000-0  00000-0 0  9996",
            "2 99901   0.0500  85.0000 0002000 120.0000 168.2722  1.00271000    13",
        )
        .unwrap();
        let o = Orbit::new(&e).unwrap();
        let fresh = |t: &str| o.validity_at(t.parse().unwrap()).is_inside();
        assert!(fresh("2026-09-28T00:00:00Z") && !fresh("2026-09-30T00:00:00Z"));
        assert!(!fresh("2026-08-30T00:00:00Z"));
    }
}
