//! What a contact means: when, with whom, where, how far.

use crate::adif::{Record, band_of};
use crate::error::BookError;
use slantpath_quantity::{Angle, Length};
use slantpath_sky::{Locator, distance_bearing};

/// What tells two contacts apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Key {
    /// Station worked, upper case.
    pub call: String,
    /// Begin, ms since 1970 (UTC); `None` when its date or time cannot be read.
    pub at_ms: Option<i64>,
    /// Band sent on, lower case; from the frequency when only that is given.
    pub band: String,
    /// Mode, upper case.
    pub mode: String,
}

impl Key {
    /// Of a record.
    pub fn of(r: &Record) -> Self {
        let band = r.get("BAND").map(str::to_lowercase).or_else(|| {
            let mhz: f64 = r.get("FREQ")?.parse().ok()?;
            band_of(mhz).map(|b| b.name.to_string())
        });
        Self {
            call: r.get("CALL").unwrap_or_default().to_ascii_uppercase(),
            at_ms: moment(r),
            band: band.unwrap_or_default(),
            mode: r.get("MODE").unwrap_or_default().to_ascii_uppercase(),
        }
    }
}

/// `QSO_DATE` and `TIME_ON` as ms since 1970.
fn moment(r: &Record) -> Option<i64> {
    let (d, t) = (r.get("QSO_DATE")?, r.get("TIME_ON")?);
    let part = |s: &str, a: usize| s.get(a..a + 2).and_then(|x| x.parse::<i8>().ok());
    let date = jiff::civil::Date::new(d.get(..4)?.parse().ok()?, part(d, 4)?, part(d, 6)?).ok()?;
    let second = if t.len() >= 6 { part(t, 4)? } else { 0 };
    let time = jiff::civil::Time::new(part(t, 0)?, part(t, 2)?, second, 0).ok()?;
    let utc = jiff::tz::TimeZone::UTC
        .to_timestamp(date.to_datetime(time))
        .ok()?;
    Some(utc.as_millisecond())
}

/// What a person enters for a contact through a satellite; the rest follows from it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Heard {
    /// Station worked.
    pub call: String,
    /// Begin.
    pub at: jiff::Timestamp,
    /// Mode as typed (`USB` becomes mode `SSB`, submode `USB`).
    pub mode: String,
    /// Frequency sent on, MHz.
    pub up_mhz: Option<f64>,
    /// Frequency heard on, MHz.
    pub down_mhz: Option<f64>,
    /// Its locator.
    pub locator: Option<String>,
    /// Own locator.
    pub own_locator: Option<String>,
    /// Own callsign.
    pub own_call: Option<String>,
    /// Name of the satellite.
    pub satellite: Option<String>,
    /// Report given.
    pub sent: Option<String>,
    /// Report received.
    pub received: Option<String>,
    /// Own power, W.
    pub power_w: Option<f64>,
    /// Anything else.
    pub comment: Option<String>,
    /// Measured state of the station at the time: name, value, for example `CN0_DBHZ`, 52.3.
    pub state: Vec<(String, f64)>,
}

/// Band letters of `SAT_MODE`: uplink letter, slash, downlink letter. Letters after IEEE Std 521 as amateur satellites
/// use them (V for 2 m and U for 70 cm: common practice, no source).
fn letter(mhz: f64) -> Option<char> {
    Some(match band_of(mhz)?.name {
        "10m" => 'H',
        "2m" => 'V',
        "70cm" => 'U',
        "23cm" => 'L',
        "13cm" | "9cm" => 'S',
        "6cm" => 'C',
        "3cm" => 'X',
        "1.25cm" => 'K',
        _ => return None,
    })
}

impl Heard {
    /// The record in the interchange format.
    pub fn record(&self) -> Record {
        use crate::adif::known_mode;
        let mut r = Record::default();
        r.set("CALL", self.call.to_ascii_uppercase());
        r.set("QSO_DATE", self.at.strftime("%Y%m%d").to_string());
        r.set("TIME_ON", self.at.strftime("%H%M%S").to_string());
        let mode = self.mode.to_ascii_uppercase();
        match known_mode(&mode) {
            crate::adif::KnownMode::SubmodeOf(parent) => {
                r.set("MODE", parent);
                r.set("SUBMODE", mode);
            }
            _ => r.set("MODE", mode),
        }
        for (mhz, f, b) in [
            (self.up_mhz, "FREQ", "BAND"),
            (self.down_mhz, "FREQ_RX", "BAND_RX"),
        ] {
            if let Some(mhz) = mhz {
                r.set(f, format!("{mhz:.6}"));
                if let Some(band) = band_of(mhz) {
                    r.set(b, band.name);
                }
            }
        }
        let some = |x: &Option<String>| x.clone().unwrap_or_default();
        r.set("GRIDSQUARE", some(&self.locator));
        r.set("STATION_CALLSIGN", some(&self.own_call));
        r.set("MY_GRIDSQUARE", some(&self.own_locator));
        r.set("RST_SENT", some(&self.sent));
        r.set("RST_RCVD", some(&self.received));
        if let Some(s) = &self.satellite {
            r.set("PROP_MODE", "SAT");
            r.set("SAT_NAME", s.as_str());
            if let (Some(up), Some(down)) =
                (self.up_mhz.and_then(letter), self.down_mhz.and_then(letter))
            {
                r.set("SAT_MODE", format!("{up}/{down}"));
            }
        }
        if let Some(w) = self.power_w {
            r.set("TX_PWR", slantpath_quantity::show::significant(w, 4));
        }
        r.set("COMMENT", some(&self.comment));
        for (name, value) in &self.state {
            let text = slantpath_quantity::show::significant(*value, 6);
            r.set_typed(&format!("APP_SLANTPATH_{name}"), 'N', text);
        }
        r
    }
}

/// The way between two locators, between the centres of their squares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Way {
    /// Distance on the ellipsoid.
    pub distance: Length,
    /// True bearing of the other station.
    pub bearing: Angle,
    /// How far the distance may be off since a locator names a square: half of both squares' diagonals.
    pub within: Length,
}

/// Distance and bearing between two locators.
///
/// # Errors
/// A text that is no locator.
pub fn way(own: &str, other: &str) -> Result<Way, BookError> {
    let read = |text: &str| {
        text.parse::<Locator>().map_err(|e| BookError::Entry {
            what: format!("`{text}` is not a locator ({e})"),
            expected: "a locator like IO77ex".into(),
        })
    };
    let (a, b) = (read(own)?, read(other)?);
    let sky = |e: slantpath_sky::SkyError| BookError::Entry {
        what: e.to_string(),
        expected: "places on the Earth".into(),
    };
    let w = distance_bearing(a.centre(), b.centre()).map_err(sky)?;
    let mut within = 0.0;
    for l in [a, b] {
        let (south, west) = l.south_west();
        within += distance_bearing(l.centre(), (south, west))
            .map_err(sky)?
            .distance
            .as_m();
    }
    Ok(Way {
        distance: w.distance,
        bearing: w.azimuth,
        within: Length::m(within),
    })
}
