//! Time scales: UTC as given, TT for ephemerides, UT1 for the Earth's rotation.
//!
//! `TT = UTC + (TAI - UTC) + 32.184 s` with the leap seconds of IERS Bulletin C up to the last one
//! (2017-01-01, 37 s), held after it; a leap second decided later shifts TT by 1 s, which moves the Sun by
//! 1.1e-5 deg and the Moon by 1.5e-4 deg. Delta T (TT - UT1) is therefore never a separate input: it is
//! `TT - UTC - (UT1 - UTC)`, about 69.2 s in 2026. TDB is taken equal to TT (2 ms at most).

use jiff::{Timestamp, tz::Offset};
use sofars::consts::{DAYSEC, DJ00, TTMTAI};

use crate::error::{SkyError, within};

/// How the Earth is really turned, as the IERS publishes it (Bulletin A).
///
/// All zero by default. Effect of leaving it so: `UT1 - UTC` turns the sky by 15.04 arcsec per second of time
/// (0.0042 deg/s; by agreement it stays below 0.9 s, hence at most 0.0038 deg, and was below 0.3 s from 2016
/// on); polar motion tilts the site by up to 0.6 arcsec (0.00017 deg).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct EarthOrientation {
    /// UT1 - UTC, s.
    pub ut1_minus_utc_s: f64,
    /// Pole coordinate x, arcsec.
    pub pole_x_arcsec: f64,
    /// Pole coordinate y, arcsec.
    pub pole_y_arcsec: f64,
}

impl EarthOrientation {
    /// Only UT1 - UTC, in seconds; no polar motion.
    pub const fn ut1(ut1_minus_utc_s: f64) -> Self {
        Self {
            ut1_minus_utc_s,
            pole_x_arcsec: 0.0,
            pole_y_arcsec: 0.0,
        }
    }
    pub(crate) fn checked(self) -> Result<Self, SkyError> {
        within("UT1 - UTC", self.ut1_minus_utc_s, -10.0, 10.0, "s")?;
        within("pole x", self.pole_x_arcsec, -2.0, 2.0, "arcsec")?;
        within("pole y", self.pole_y_arcsec, -2.0, 2.0, "arcsec")?;
        Ok(self)
    }
}

/// TAI - UTC from the first day of (year, month) on, s. IERS Bulletin C and its predecessors, 1972 to 2017.
const LEAP_SECONDS: [(i16, i8, f64); 28] = [
    (1972, 1, 10.0),
    (1972, 7, 11.0),
    (1973, 1, 12.0),
    (1974, 1, 13.0),
    (1975, 1, 14.0),
    (1976, 1, 15.0),
    (1977, 1, 16.0),
    (1978, 1, 17.0),
    (1979, 1, 18.0),
    (1980, 1, 19.0),
    (1981, 7, 20.0),
    (1982, 7, 21.0),
    (1983, 7, 22.0),
    (1985, 7, 23.0),
    (1988, 1, 24.0),
    (1990, 1, 25.0),
    (1991, 1, 26.0),
    (1992, 7, 27.0),
    (1993, 7, 28.0),
    (1994, 7, 29.0),
    (1996, 1, 30.0),
    (1997, 7, 31.0),
    (1999, 1, 32.0),
    (2006, 1, 33.0),
    (2009, 1, 34.0),
    (2012, 7, 35.0),
    (2015, 7, 36.0),
    (2017, 1, 37.0),
];

/// TAI - UTC at a UTC instant, s; `None` before 1972.
pub fn tai_minus_utc_s(at: Timestamp) -> Option<f64> {
    let day = Offset::UTC.to_datetime(at).date();
    LEAP_SECONDS
        .iter()
        .rev()
        .find(|(y, m, _)| (day.year(), day.month()) >= (*y, *m))
        .map(|(_, _, s)| *s)
}

/// Unix time of J2000.0 (2000-01-01 12:00:00) read as UTC, s.
const UNIX_J2000_S: i64 = 946_728_000;

/// Days from 2000-01-01 12:00 UTC, leap seconds not counted.
pub(crate) fn utc_days_j2000(at: Timestamp) -> f64 {
    let whole = (at.as_second() - UNIX_J2000_S) as f64;
    (whole + f64::from(at.subsec_nanosecond()) * 1e-9) / DAYSEC
}

/// `at` plus a number of seconds, to the nanosecond.
pub(crate) fn plus_seconds(at: Timestamp, s: f64) -> Result<Timestamp, SkyError> {
    let nanos = (s * 1e9).round();
    let out_of_range = || SkyError::Date {
        date: format!("{at} + {s} s"),
        from: "-009999-01-02",
        to: "9999-12-30",
        model: "the calendar",
    };
    if !nanos.is_finite() {
        return Err(out_of_range());
    }
    Timestamp::from_nanosecond(at.as_nanosecond() + nanos as i128).map_err(|_| out_of_range())
}

/// Seconds from `a` to `b`.
pub(crate) fn seconds_between(a: Timestamp, b: Timestamp) -> f64 {
    (b.as_nanosecond() - a.as_nanosecond()) as f64 * 1e-9
}

/// One instant in the scales that the formulas want: days from J2000.0 (JD 2451545.0) in TT and UT1.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Epoch {
    pub tt: f64,
    pub ut1: f64,
}

/// The integer part of every two-part Julian date here.
pub(crate) const JD0: f64 = DJ00;

impl Epoch {
    /// Valid 1972-01-01 (UTC in its present form) to 2100-01-01 (ephemerides).
    pub(crate) fn new(at: Timestamp, eop: EarthOrientation) -> Result<Self, SkyError> {
        let eop = eop.checked()?;
        let outside = || SkyError::Date {
            date: at.to_string(),
            from: "1972-01-01",
            to: "2100-01-01",
            model: "the Sun and Moon ephemeris with UTC",
        };
        let utc = utc_days_j2000(at);
        // 36524.5 days: 2100-01-01 00:00.
        if utc >= 36_524.5 {
            return Err(outside());
        }
        let tai_utc = tai_minus_utc_s(at).ok_or_else(outside)?;
        Ok(Self {
            tt: utc + (tai_utc + TTMTAI) / DAYSEC,
            ut1: utc + eop.ut1_minus_utc_s / DAYSEC,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn leap_seconds_agree_with_the_standard_routine() {
        // iauDat as ported by sofars knows dates up to its release year; later ones are flagged, not wrong.
        for year in 1972..=2023 {
            for month in [1, 6, 7, 12] {
                let at: Timestamp = format!("{year}-{month:02}-15T00:00:00Z").parse().unwrap();
                let reference = sofars::ts::dat(year, month, 15, 0.0).unwrap();
                assert_eq!(tai_minus_utc_s(at), Some(reference), "{year}-{month}");
            }
        }
        assert_eq!(
            tai_minus_utc_s("1971-12-31T23:59:59Z".parse().unwrap()),
            None
        );
    }

    #[test]
    fn julian_date_of_the_spa_example() {
        // NREL/TP-560-34302 Table A5.1: 2003-10-17 12:30:30 -07:00 is JD 2452930.312847.
        let at: Timestamp = "2003-10-17T12:30:30-07:00".parse().unwrap();
        assert!((JD0 + utc_days_j2000(at) - 2_452_930.312_847).abs() < 5e-7);
    }

    #[test]
    fn dates_outside_are_refused() {
        for bad in ["1971-06-01T00:00:00Z", "2100-01-01T00:00:00Z"] {
            let r = Epoch::new(bad.parse().unwrap(), EarthOrientation::default());
            assert!(matches!(r, Err(SkyError::Date { .. })), "{bad}");
        }
        let nan = EarthOrientation::ut1(f64::NAN);
        assert!(Epoch::new("2026-01-01T00:00:00Z".parse().unwrap(), nan).is_err());
    }
}
