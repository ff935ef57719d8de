//! The enumerations that are checked.

/// One amateur band of the "Band" enumeration: name, lower and upper end in MHz.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// Name, for example `3cm`.
    pub name: &'static str,
    /// Lower end, MHz.
    pub lo_mhz: f64,
    /// Upper end, MHz.
    pub hi_mhz: f64,
}

const fn band(name: &'static str, lo_mhz: f64, hi_mhz: f64) -> Band {
    Band {
        name,
        lo_mhz,
        hi_mhz,
    }
}

/// "Band" enumeration.
pub const BANDS: &[Band] = &[
    band("2190m", 0.1357, 0.1378),
    band("630m", 0.472, 0.479),
    band("560m", 0.501, 0.504),
    band("160m", 1.8, 2.0),
    band("80m", 3.5, 4.0),
    band("60m", 5.06, 5.45),
    band("40m", 7.0, 7.3),
    band("30m", 10.1, 10.15),
    band("20m", 14.0, 14.35),
    band("17m", 18.068, 18.168),
    band("15m", 21.0, 21.45),
    band("12m", 24.89, 24.99),
    band("10m", 28.0, 29.7),
    band("8m", 40.0, 45.0),
    band("6m", 50.0, 54.0),
    band("5m", 54.000_001, 69.9),
    band("4m", 70.0, 71.0),
    band("2m", 144.0, 148.0),
    band("1.25m", 222.0, 225.0),
    band("70cm", 420.0, 450.0),
    band("33cm", 902.0, 928.0),
    band("23cm", 1240.0, 1300.0),
    band("13cm", 2300.0, 2450.0),
    band("9cm", 3300.0, 3500.0),
    band("6cm", 5650.0, 5925.0),
    band("3cm", 10_000.0, 10_500.0),
    band("1.25cm", 24_000.0, 24_250.0),
    band("6mm", 47_000.0, 47_200.0),
    band("4mm", 75_500.0, 81_000.0),
    band("2.5mm", 119_980.0, 123_000.0),
    band("2mm", 134_000.0, 149_000.0),
    band("1mm", 241_000.0, 250_000.0),
    band("submm", 300_000.0, 7_500_000.0),
];

/// The band that holds a frequency in MHz, ends included.
pub fn band_of(mhz: f64) -> Option<&'static Band> {
    BANDS.iter().find(|b| b.lo_mhz <= mhz && mhz <= b.hi_mhz)
}

pub(super) fn band_named(name: &str) -> Option<&'static Band> {
    BANDS.iter().find(|b| b.name.eq_ignore_ascii_case(name))
}

/// "Mode" enumeration: modes in use, not the ones marked import-only.
const MODES: &[&str] = &[
    "AM",
    "ARDOP",
    "ATV",
    "CHIP",
    "CLO",
    "CONTESTI",
    "CW",
    "DIGITALVOICE",
    "DOMINO",
    "DYNAMIC",
    "FAX",
    "FM",
    "FSK441",
    "HELL",
    "ISCAT",
    "JT4",
    "JT6M",
    "JT9",
    "JT44",
    "JT65",
    "MFSK",
    "MSK144",
    "MT63",
    "OLIVIA",
    "OPERA",
    "PAC",
    "PAX",
    "PKT",
    "PSK",
    "PSK2K",
    "Q15",
    "QRA64",
    "ROS",
    "RTTY",
    "RTTYM",
    "SSB",
    "SSTV",
    "T10",
    "THOR",
    "THRB",
    "TOR",
    "V4",
    "VOI",
    "WINMOR",
    "WSPR",
];

/// Submodes that older files give as modes ("Mode" enumeration, import-only), with the mode to write instead.
const AS_SUBMODE: &[(&str, &str)] = &[
    ("LSB", "SSB"),
    ("USB", "SSB"),
    ("PCW", "CW"),
    ("PSK31", "PSK"),
    ("PSK63", "PSK"),
    ("QPSK31", "PSK"),
    ("AMTORFEC", "TOR"),
    ("ASCI", "RTTY"),
];

/// What the "Mode" enumeration says of a mode.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KnownMode {
    /// A mode.
    Mode,
    /// A submode of this mode.
    SubmodeOf(&'static str),
    /// Not in the list here.
    Unknown,
}

/// Looks a mode up, without regard to case.
pub fn known_mode(mode: &str) -> KnownMode {
    if MODES.iter().any(|m| m.eq_ignore_ascii_case(mode)) {
        return KnownMode::Mode;
    }
    AS_SUBMODE
        .iter()
        .find(|(s, _)| s.eq_ignore_ascii_case(mode))
        .map_or(KnownMode::Unknown, |(_, m)| KnownMode::SubmodeOf(m))
}

pub(super) const MODE_NAMES: &[&str] = MODES;

/// "Propagation_Mode" enumeration.
pub(super) const PROPAGATION: &[&str] = &[
    "AS", "AUE", "AUR", "BS", "ECH", "EME", "ES", "F2", "FAI", "GWAVE", "INTERNET", "ION", "IRL",
    "LOS", "MS", "RPT", "RS", "SAT", "TEP", "TR",
];

/// How the data of a field are checked ("Data Types" and the "QSO Fields" table).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Shape {
    /// Characters of ASCII 32 to 126.
    Text,
    /// The same and line breaks.
    Lines,
    /// A number, within these ends.
    Number(f64, f64),
    /// `YYYYMMDD`, from 1930 on.
    Date,
    /// `HHMM` or `HHMMSS`.
    Time,
    /// `Y` or `N`.
    Yes,
    /// A locator of 2, 4, 6 or 8 characters.
    Grid,
    /// Extension of a locator, 2 or 4 characters.
    GridExtension,
    /// `XDDD MM.MMM`.
    Location,
    /// Band enumeration.
    Band,
    /// Mode enumeration.
    Mode,
    /// Propagation_Mode enumeration.
    Propagation,
}

const ANY: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);

/// Fields whose data are checked; others are kept as they are.
pub(super) const FIELDS: &[(&str, Shape)] = &[
    ("A_INDEX", Shape::Number(0.0, 400.0)),
    ("ADDRESS", Shape::Lines),
    ("AGE", Shape::Number(0.0, 120.0)),
    ("ALTITUDE", Shape::Number(ANY.0, ANY.1)),
    ("ANT_AZ", Shape::Number(0.0, 360.0)),
    ("ANT_EL", Shape::Number(-90.0, 90.0)),
    ("BAND", Shape::Band),
    ("BAND_RX", Shape::Band),
    ("CALL", Shape::Text),
    ("COMMENT", Shape::Text),
    ("CQZ", Shape::Number(1.0, 40.0)),
    ("DISTANCE", Shape::Number(0.0, ANY.1)),
    ("FREQ", Shape::Number(0.0, ANY.1)),
    ("FREQ_RX", Shape::Number(0.0, ANY.1)),
    ("GRIDSQUARE", Shape::Grid),
    ("GRIDSQUARE_EXT", Shape::GridExtension),
    ("ITUZ", Shape::Number(1.0, 90.0)),
    ("K_INDEX", Shape::Number(0.0, 9.0)),
    ("LAT", Shape::Location),
    ("LON", Shape::Location),
    ("MODE", Shape::Mode),
    ("MY_ALTITUDE", Shape::Number(ANY.0, ANY.1)),
    ("MY_GRIDSQUARE", Shape::Grid),
    ("MY_GRIDSQUARE_EXT", Shape::GridExtension),
    ("MY_LAT", Shape::Location),
    ("MY_LON", Shape::Location),
    ("NAME", Shape::Text),
    ("NOTES", Shape::Lines),
    ("OPERATOR", Shape::Text),
    ("PROP_MODE", Shape::Propagation),
    ("QSLMSG", Shape::Lines),
    ("QSO_DATE", Shape::Date),
    ("QSO_DATE_OFF", Shape::Date),
    ("QSO_RANDOM", Shape::Yes),
    ("QTH", Shape::Text),
    ("RST_RCVD", Shape::Text),
    ("RST_SENT", Shape::Text),
    ("RX_PWR", Shape::Number(0.0, ANY.1)),
    ("SAT_MODE", Shape::Text),
    ("SAT_NAME", Shape::Text),
    ("SFI", Shape::Number(0.0, 300.0)),
    ("STATION_CALLSIGN", Shape::Text),
    ("STX", Shape::Number(0.0, ANY.1)),
    ("SRX", Shape::Number(0.0, ANY.1)),
    ("SUBMODE", Shape::Text),
    ("SWL", Shape::Yes),
    ("TIME_OFF", Shape::Time),
    ("TIME_ON", Shape::Time),
    ("TX_PWR", Shape::Number(0.0, ANY.1)),
];
