//! Mean orbital elements for SGP4, and the two written forms they come in.

use jiff::{Timestamp, civil::DateTime, tz::Offset};

use crate::error::{SkyError, within};

/// SGP4 mean elements (TEME frame, UTC epoch), named as in an Orbit Mean-elements Message (CCSDS 502.0-B, OMM).
#[derive(Debug, Clone, PartialEq)]
pub struct MeanElements {
    /// OBJECT_NAME, when given.
    pub object_name: Option<String>,
    /// EPOCH, UTC.
    pub epoch: Timestamp,
    /// MEAN_MOTION (Kozai), revolutions per day.
    pub mean_motion_rev_per_day: f64,
    /// ECCENTRICITY.
    pub eccentricity: f64,
    /// INCLINATION, deg.
    pub inclination_deg: f64,
    /// RA_OF_ASC_NODE, deg.
    pub ra_of_asc_node_deg: f64,
    /// ARG_OF_PERICENTER, deg.
    pub arg_of_pericenter_deg: f64,
    /// MEAN_ANOMALY, deg.
    pub mean_anomaly_deg: f64,
    /// BSTAR, per Earth radius.
    pub bstar: f64,
}

impl MeanElements {
    /// From the two lines of a TLE (69 characters each; checksums and catalogue numbers must agree).
    ///
    /// # Errors
    /// [`SkyError::Elements`] says line, columns and what was expected there.
    pub fn from_tle(line1: &str, line2: &str) -> Result<Self, SkyError> {
        let (line1, line2) = (line1.trim_end(), line2.trim_end());
        for (n, line) in [(1, line1), (2, line2)] {
            if line.len() != 69 || !line.is_ascii() {
                return Err(SkyError::Elements(format!(
                    "line {n} has {} characters: expected 69, all ASCII",
                    line.chars().count()
                )));
            }
            if !line.ends_with(|c: char| c.is_ascii_digit()) {
                return Err(SkyError::Elements(format!(
                    "line {n}, column 69: expected the checksum digit"
                )));
            }
        }
        let e = sgp4::Elements::from_tle(None, line1.as_bytes(), line2.as_bytes())
            .map_err(|e| SkyError::Elements(e.to_string()))?;
        let epoch = e
            .datetime
            .and_utc()
            .timestamp_nanos_opt()
            .and_then(|ns| Timestamp::from_nanosecond(i128::from(ns)).ok())
            .ok_or_else(|| SkyError::Elements("epoch outside the calendar".into()))?;
        Self {
            object_name: None,
            epoch,
            mean_motion_rev_per_day: e.mean_motion,
            eccentricity: e.eccentricity,
            inclination_deg: e.inclination,
            ra_of_asc_node_deg: e.right_ascension,
            arg_of_pericenter_deg: e.argument_of_perigee,
            mean_anomaly_deg: e.mean_anomaly,
            bstar: e.drag_term,
        }
        .checked()
    }

    /// From one OMM in keyword = value notation (CCSDS 502.0-B, section 4). Units in brackets after a value are
    /// dropped, COMMENT lines and keywords not needed by SGP4 are passed over.
    ///
    /// # Errors
    /// [`SkyError::Elements`] for a missing, repeated or unreadable keyword, a frame other than TEME, a time system
    /// other than UTC, or a mean element theory other than SGP4.
    pub fn from_omm_kvn(text: &str) -> Result<Self, SkyError> {
        let keyword = |name: &str| -> Result<Option<&str>, SkyError> {
            let mut hits = text.lines().filter_map(|l| {
                let (k, v) = l.split_once('=')?;
                (k.trim() == name).then(|| v.split('[').next().unwrap_or("").trim())
            });
            let first = hits.next();
            if hits.next().is_some() {
                return Err(SkyError::Elements(format!(
                    "{name} stands twice: expected one message"
                )));
            }
            Ok(first)
        };
        let needed = |name: &str| {
            keyword(name)?
                .ok_or_else(|| SkyError::Elements(format!("{name} is missing from the message")))
        };
        let number = |name: &str| -> Result<f64, SkyError> {
            let v = needed(name)?;
            v.parse::<f64>()
                .map_err(|_| SkyError::Elements(format!("{name} = {v}: expected a number")))
        };
        for (name, allowed) in [
            ("REF_FRAME", &["TEME"][..]),
            ("TIME_SYSTEM", &["UTC"][..]),
            ("MEAN_ELEMENT_THEORY", &["SGP4", "SGP/SGP4"][..]),
        ] {
            if let Some(v) = keyword(name)?
                && !allowed.contains(&v)
            {
                return Err(SkyError::Elements(format!(
                    "{name} = {v}: expected {}",
                    allowed.join(" or ")
                )));
            }
        }
        let when = needed("EPOCH")?;
        let epoch = when
            .strip_suffix('Z')
            .unwrap_or(when)
            .parse::<DateTime>()
            .and_then(|d| Offset::UTC.to_timestamp(d))
            .map_err(|_| {
                SkyError::Elements(format!("EPOCH = {when}: expected 2026-09-15T00:00:00.000"))
            })?;
        Self {
            object_name: keyword("OBJECT_NAME")?.map(str::to_owned),
            epoch,
            mean_motion_rev_per_day: number("MEAN_MOTION")?,
            eccentricity: number("ECCENTRICITY")?,
            inclination_deg: number("INCLINATION")?,
            ra_of_asc_node_deg: number("RA_OF_ASC_NODE")?,
            arg_of_pericenter_deg: number("ARG_OF_PERICENTER")?,
            mean_anomaly_deg: number("MEAN_ANOMALY")?,
            bstar: number("BSTAR")?,
        }
        .checked()
    }

    /// The same elements when every one is possible.
    ///
    /// # Errors
    /// [`SkyError::Range`] names the element that is not.
    pub fn checked(self) -> Result<Self, SkyError> {
        within(
            "mean motion",
            self.mean_motion_rev_per_day,
            1e-3,
            20.0,
            "rev/day",
        )?;
        within("eccentricity", self.eccentricity, 0.0, 0.999_999, "")?;
        within("inclination", self.inclination_deg, 0.0, 180.0, "deg")?;
        within(
            "right ascension of the node",
            self.ra_of_asc_node_deg,
            -360.0,
            720.0,
            "deg",
        )?;
        within(
            "argument of perigee",
            self.arg_of_pericenter_deg,
            -360.0,
            720.0,
            "deg",
        )?;
        within("mean anomaly", self.mean_anomaly_deg, -360.0, 720.0, "deg")?;
        within("B*", self.bstar, -10.0, 10.0, "1/Earth radius")?;
        Ok(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const L1: &str = "1 99901U 26999A   26258.00000000  .00000000  00000-0  00000-0 0  9996";
    const L2: &str = "2 99901   0.0500  85.0000 0002000 120.0000 168.2722  1.00271000    13";
    const OMM: &str = "CCSDS_OMM_VERS = 3.0
COMMENT invented
OBJECT_NAME = PETREL-1
REF_FRAME = TEME
TIME_SYSTEM = UTC
MEAN_ELEMENT_THEORY = SGP/SGP4
EPOCH = 2026-09-15T00:00:00.000000
MEAN_MOTION = 1.00271000 [rev/day]
ECCENTRICITY = 0.0002000
INCLINATION = 0.0500 [deg]
RA_OF_ASC_NODE = 85.0000 [deg]
ARG_OF_PERICENTER = 120.0000 [deg]
MEAN_ANOMALY = 168.2722 [deg]
BSTAR = 0.0 [1/ER]
";

    #[test]
    fn both_written_forms_say_the_same() {
        let tle = MeanElements::from_tle(L1, L2).unwrap();
        let omm = MeanElements::from_omm_kvn(OMM).unwrap();
        assert_eq!(omm.object_name.as_deref(), Some("PETREL-1"));
        assert_eq!(
            MeanElements {
                object_name: None,
                ..omm
            },
            tle
        );
        assert_eq!(tle.epoch.to_string(), "2026-09-15T00:00:00Z");
    }

    #[test]
    fn a_wrong_message_says_what_is_wrong() {
        let says = |text: &str, word: &str| {
            let e = MeanElements::from_omm_kvn(text).unwrap_err().to_string();
            assert!(e.contains(word), "{e}");
        };
        says(&OMM.replace("TEME", "GCRF"), "REF_FRAME = GCRF");
        says(&OMM.replace("BSTAR = 0.0", "BSTAR = none"), "BSTAR = none");
        says(&OMM.replace("EPOCH", "WHEN"), "EPOCH is missing");
        says(&format!("{OMM}{OMM}"), "twice");
        says(&OMM.replace("0.0002000", "1.2"), "eccentricity");
        let broken = L1.replace("9996", "9995");
        assert!(MeanElements::from_tle(&broken, L2).is_err());
        assert!(MeanElements::from_tle(&L1[..68], L2).is_err());
    }

    /// A line whose checksum is right whatever else was changed in it.
    fn with_checksum(line: &str) -> String {
        let body: String = line.chars().take(68).collect();
        let sum: u32 = body
            .chars()
            .map(|c| c.to_digit(10).unwrap_or(u32::from(c == '-')))
            .sum();
        format!("{body}{}", sum % 10)
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(a in "\\PC{0,80}", b in "\\PC{69}", omm in "\\PC{0,200}") {
            let _ = MeanElements::from_tle(&a, &b);
            let _ = MeanElements::from_omm_kvn(&omm);
        }
        #[test]
        fn damaged_lines_are_read_or_refused(
            at in 2usize..68, c in "[ -~]", second in any::<bool>(),
        ) {
            let damage = |l: &str| {
                let mut l = l.to_owned();
                l.replace_range(at..=at, &c);
                with_checksum(&l)
            };
            let (l1, l2) = if second { (L1.into(), damage(L2)) } else { (damage(L1), L2.into()) };
            if let Ok(e) = MeanElements::from_tle(&l1, &l2) {
                prop_assert!(e.eccentricity < 1.0);
                let _ = crate::orbit::Orbit::new(&e);
            }
        }
    }
}
