//! Magnetic declination: what to add to a compass reading.
//!
//! World Magnetic Model (NOAA/NCEI and BGS, WMM2025 Technical Report; WMM2020 for dates before 2025), evaluated by
//! the `world_magnetic_model` crate in single precision (within 0.01 deg of the official test values).

use jiff::{Timestamp, civil::Date, tz::Offset};
use slantpath_quantity::{Angle, Validity};
use world_magnetic_model::{
    GeomagneticField, time,
    uom::si::{
        angle::degree,
        f32::{Angle as AngleF32, Length as LengthF32},
        length::meter,
        magnetic_flux_density::nanotesla,
    },
};

use crate::error::SkyError;
use crate::site::Site;

/// The Earth's magnetic field at a site, as far as a compass is concerned.
#[derive(Debug, Clone, PartialEq)]
pub struct Magnetic {
    /// Declination: magnetic north east of true north is +. True azimuth = compass + declination.
    pub declination: Angle,
    /// The model's own standard uncertainty of it, `sqrt(0.26^2 + (5417/H)^2)` deg with H in nT (WMM2025 error
    /// model): crust and model, not the iron of a mast or a car beside the compass. Capped by the full half turn.
    pub sigma: Angle,
    /// Horizontal intensity, nT.
    pub horizontal_nt: f64,
    /// Inclination (dip), down +.
    pub inclination: Angle,
    /// Total intensity, nT.
    pub total_nt: f64,
    /// Name of the model used.
    pub model: &'static str,
    /// First and last day of the model's window.
    pub window: (Date, Date),
    /// Outside when the date is not in the window (the value is then extrapolated with the model's own linear
    /// drift), or where H is too weak for a compass (6000 nT: caution zone of the WMM).
    pub validity: Validity,
}

/// Below this horizontal intensity a compass is unreliable (WMM2025 Technical Report: caution zone), nT.
const CAUTION_NT: f64 = 6000.0;

/// Declination at a site and date. The date counts by days (0.0005 deg).
///
/// # Errors
/// [`SkyError::Magnetic`] when the site's height is outside the model (-1 to 850 km).
pub fn magnetic(site: &Site, at: Timestamp) -> Result<Magnetic, SkyError> {
    let day = Offset::UTC.to_datetime(at).date();
    let w2020 = (
        jiff::civil::date(2020, 1, 1),
        jiff::civil::date(2024, 12, 31),
    );
    let w2025 = (
        jiff::civil::date(2025, 1, 1),
        jiff::civil::date(2029, 12, 31),
    );
    let (model, window) = if day < w2025.0 {
        ("WMM2020", w2020)
    } else {
        ("WMM2025", w2025)
    };
    let mut validity = Validity::Inside;
    let [x, y, z] = if day >= window.0 && day <= window.1 {
        field_nt(site, day)?
    } else {
        validity = Validity::outside(format!(
            "{model}: date {day} is outside {} to {}; extrapolated with the model's linear drift",
            window.0, window.1
        ));
        // Within its window the model is linear in time; the same line carries on outside.
        let (a, b) = (field_nt(site, window.0)?, field_nt(site, window.1)?);
        let days = |d: Date| f64::from(window.0.duration_until(d).as_hours() as i32) / 24.0;
        let k = days(day) / days(window.1);
        [0, 1, 2].map(|i| a[i] + k * (b[i] - a[i]))
    };
    let h = x.hypot(y);
    if h < CAUTION_NT {
        validity = validity.and(Validity::outside(format!(
            "{model}: horizontal intensity {h:.0} nT is below {CAUTION_NT:.0} nT; compasses are unreliable here"
        )));
    }
    Ok(Magnetic {
        declination: Angle::rad(y.atan2(x)),
        sigma: Angle::deg(0.26f64.hypot(5417.0 / h).min(180.0)),
        horizontal_nt: h,
        inclination: Angle::rad(z.atan2(h)),
        total_nt: h.hypot(z),
        model,
        window,
        validity,
    })
}

/// Field (north, east, down), nT, on a day inside the bundled models' windows.
fn field_nt(site: &Site, day: Date) -> Result<[f64; 3], SkyError> {
    let refuse = |e: &dyn std::fmt::Display| SkyError::Magnetic(e.to_string());
    let date = time::Month::try_from(day.month() as u8)
        .and_then(|m| time::Date::from_calendar_date(day.year().into(), m, day.day() as u8))
        .map_err(|e| refuse(&e))?;
    // The model wants -180..180 deg of longitude.
    let lon = site.longitude().as_deg();
    let lon = if lon > 180.0 { lon - 360.0 } else { lon };
    let field = GeomagneticField::new(
        LengthF32::new::<meter>(site.height().as_m() as f32),
        AngleF32::new::<degree>(site.latitude().as_deg() as f32),
        AngleF32::new::<degree>(lon as f32),
        date,
    )
    .map_err(|e| refuse(&e))?;
    Ok([field.x(), field.y(), field.z()].map(|b| f64::from(b.get::<nanotesla>())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outside_the_window_is_said_and_runs_on_smoothly() {
        let site = Site::new(51.5, -0.14, 31.0).unwrap();
        let d = |t: &str| magnetic(&site, t.parse().unwrap()).unwrap();
        let (last, next) = (d("2029-12-31T12:00:00Z"), d("2030-01-01T12:00:00Z"));
        assert!(last.validity.is_inside() && !next.validity.is_inside());
        assert!((last.declination - next.declination).as_deg().abs() < 2e-3);
        let later = d("2032-12-31T12:00:00Z");
        let rate = (later.declination - last.declination).as_deg() / 3.0;
        let inside = (last.declination - d("2026-12-31T00:00:00Z").declination).as_deg() / 3.0;
        assert!((rate - inside).abs() < 0.01, "{rate} {inside}");
        assert!(!d("2019-06-01T00:00:00Z").validity.is_inside());
        assert_eq!(d("2024-06-01T00:00:00Z").model, "WMM2020");
    }

    #[test]
    fn near_the_magnetic_pole_it_warns() {
        let site = Site::new(86.0, 140.0, 0.0).unwrap();
        let m = magnetic(&site, "2026-06-01T00:00:00Z".parse().unwrap()).unwrap();
        assert!(m.horizontal_nt < 2000.0 && !m.validity.is_inside());
        assert!(m.sigma.as_deg() > 2.7);
    }
}
