//! What values are possible, each with the reason. In base units.

use std::f64::consts::PI;

/// Limits of what is possible, ends included.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Bounds {
    pub lo: f64,
    pub hi: f64,
    pub why: &'static str,
}

const fn bounds(lo: f64, hi: f64, why: &'static str) -> Bounds {
    Bounds { lo, hi, why }
}

const INF: f64 = f64::INFINITY;
/// The least that still counts as more than nothing.
const TINY: f64 = 1e-12;

pub(crate) const ANY: Bounds = bounds(-INF, INF, "");
pub(crate) const LOSS: Bounds = bounds(
    0.0,
    200.0,
    "a part without power cannot amplify; losses are written positive",
);
pub(crate) const GAIN: Bounds = bounds(-100.0, 200.0, "no part has such a gain");
pub(crate) const NOISE_FIGURE: Bounds =
    bounds(0.0, 60.0, "a noise figure below 0 dB would take noise away");
pub(crate) const AXIAL_RATIO: Bounds = bounds(
    0.0,
    60.0,
    "0 dB is a perfect circle; an axial ratio is written as a positive number of dB",
);
pub(crate) const ISOLATION: Bounds = bounds(0.0, 100.0, "isolation is written positive");
pub(crate) const RETURN_LOSS: Bounds = bounds(
    0.0,
    80.0,
    "return loss is written positive; below 0 dB the load would send more than it gets",
);
pub(crate) const SHARE: Bounds = bounds(0.0, 1.0, "a share lies between 0 and 1 (0 % and 100 %)");
pub(crate) const EFFICIENCY: Bounds = bounds(
    TINY,
    1.0,
    "nothing gives out more than it takes in: an efficiency lies between 0 and 100 %",
);
pub(crate) const LENGTH: Bounds = bounds(0.0, 1e5, "a length cannot be negative");
pub(crate) const SIZE: Bounds = bounds(
    1e-4,
    100.0,
    "a dish is larger than nothing and smaller than 100 m",
);
pub(crate) const SMALL_SIZE: Bounds = bounds(0.0, 10.0, "a part of a feed is between 0 and 10 m");
pub(crate) const COIL: Bounds = bounds(
    1e-4,
    1.0,
    "a coil, its wire and its disc lie between a tenth of a millimetre and a metre",
);
pub(crate) const PATCH: Bounds = bounds(
    1e-4,
    1.0,
    "a patch, its posts and its disc lie between a tenth of a millimetre and a metre",
);
pub(crate) const HOLE: Bounds = bounds(
    0.0,
    1.0,
    "a hole lies between nothing (a full disc) and a metre",
);
pub(crate) const LINE: Bounds = bounds(1.0, 1000.0, "a line has 1 to 1000 ohm, mostly 50");
pub(crate) const TURNS: Bounds = bounds(
    1e-3,
    50.0,
    "a coil without a turn is none: leave the section out",
);
pub(crate) const SHIFT: Bounds = bounds(-5.0, 5.0, "a feed this far from the focus is no feed");
pub(crate) const SURFACE: Bounds = bounds(0.0, 0.1, "a surface error is between 0 and 100 mm");
pub(crate) const POINTING: Bounds = bounds(
    0.0,
    PI / 4.0,
    "a pointing error is the distance beside the satellite, 0 to 45 degrees",
);
pub(crate) const SKEW: Bounds = bounds(-PI, PI, "a skew lies between -180 and 180 degrees");
pub(crate) const EDGE_ANGLE: Bounds = bounds(
    1e-3,
    PI,
    "an angle off the feed's axis lies between 0 and 180 degrees",
);
pub(crate) const TAPER: Bounds = bounds(
    0.01,
    60.0,
    "a taper is written positive: so many dB down at that angle",
);
pub(crate) const EXPONENT: Bounds = bounds(
    0.0,
    500.0,
    "the exponent of a cosine pattern is not negative",
);
pub(crate) const BARE_GAIN: Bounds = bounds(
    3.02,
    30.0,
    "a feed that radiates into one half of space has at least 3.01 dBi; above 30 dBi it is a dish itself",
);
pub(crate) const PERMITTIVITY: Bounds = bounds(
    1.0,
    100.0,
    "no plastic has a permittivity below that of vacuum",
);
pub(crate) const FACTOR: Bounds = bounds(0.0, INF, "it cannot be negative");
pub(crate) const LATITUDE: Bounds = bounds(
    -PI / 2.0,
    PI / 2.0,
    "a latitude lies between -90 and 90 degrees",
);
pub(crate) const LONGITUDE: Bounds = bounds(
    -PI,
    2.0 * PI,
    "a longitude lies between -180 and 360 degrees",
);
pub(crate) const HEIGHT: Bounds = bounds(
    -500.0,
    9000.0,
    "a site on land lies between -500 and 9000 m",
);
pub(crate) const HEIGHT_DIFFERENCE: Bounds =
    bounds(-9000.0, 9000.0, "nothing on land is that high");
pub(crate) const DISTANCE: Bounds = bounds(
    0.1,
    1e6,
    "an obstacle stands in front of the dish, up to 1000 km away",
);
pub(crate) const AZIMUTH: Bounds =
    bounds(0.0, 2.0 * PI, "an azimuth lies between 0 and 360 degrees");
pub(crate) const MASK: Bounds = bounds(
    -PI / 18.0,
    PI / 2.0,
    "a horizon lies between -10 and 90 degrees: nothing is above the zenith",
);
pub(crate) const RAIN_RATE: Bounds = bounds(0.0, 300.0, "the wettest places have about 200 mm/h");
pub(crate) const RAIN_HEIGHT: Bounds = bounds(0.0, 10_000.0, "rain begins between 0 and 10 km");
pub(crate) const AIR_TEMPERATURE: Bounds = bounds(
    173.0,
    343.0,
    "air at the ground is between -100 and 70 degrees Celsius",
);
pub(crate) const PART_TEMPERATURE: Bounds = bounds(
    173.0,
    573.0,
    "a part is between -100 and 300 degrees Celsius",
);
pub(crate) const PRESSURE: Bounds = bounds(
    300.0,
    1100.0,
    "air at the ground is between 300 and 1100 hPa",
);
pub(crate) const VAPOUR: Bounds =
    bounds(0.0, 60.0, "air at the ground holds between 0 and 60 g/m3");
pub(crate) const COLUMN: Bounds =
    bounds(0.0, 150.0, "a column of air holds between 0 and 150 kg/m2");
pub(crate) const REFRACTIVITY: Bounds =
    bounds(0.0, 300.0, "the wet term lies between 0 and 300 N-units");
pub(crate) const FREQUENCY: Bounds = bounds(1.0, 1e12, "a frequency is above 0 and below 1 THz");
pub(crate) const FREQUENCY_SHIFT: Bounds = bounds(
    0.0,
    1e9,
    "written as a positive frequency: so far either way",
);
pub(crate) const PPM: Bounds = bounds(
    0.0,
    10_000.0,
    "written as a positive number of ppm: so far either way",
);
pub(crate) const PPM_PER_KELVIN: Bounds = bounds(-100.0, 100.0, "no oscillator drifts that much");
pub(crate) const VOLTS: Bounds =
    bounds(0.0, 100.0, "volts on such a cable lie between 0 and 100 V");
pub(crate) const AMPERES: Bounds = bounds(0.0, 500.0, "a current lies between 0 and 500 A");
pub(crate) const FLUX: Bounds = bounds(
    1e-3,
    1e4,
    "exposure limits lie between a milliwatt and ten kilowatts per square metre",
);
pub(crate) const REFLECTION: Bounds = bounds(
    1.0,
    4.0,
    "reflection raises the density by a factor of 1 (none) to 4 (in phase)",
);
pub(crate) const GUST: Bounds = bounds(1.0, 120.0, "a code's gust lies between 1 and 120 m/s");
pub(crate) const FORCE_COEFFICIENT: Bounds = bounds(
    0.1,
    3.0,
    "force coefficients of dishes lie between 0.1 and 3",
);
pub(crate) const LEVER: Bounds = bounds(1e-3, 50.0, "a lever lies between a millimetre and 50 m");
pub(crate) const OHMS: Bounds = bounds(0.0, 1e6, "a resistance cannot be negative");
pub(crate) const POWER: Bounds = bounds(-250.0, 60.0, "such a power does not occur in a station");
pub(crate) const BITS: Bounds = bounds(1.0, 24.0, "a converter has between 1 and 24 bits");
pub(crate) const THERMAL: Bounds = bounds(1e-4, 1e3, "a thermal resistance is positive");
pub(crate) const TIME: Bounds = bounds(1e-3, 1e7, "a time constant is positive");
pub(crate) const CHARGE: Bounds = bounds(1.0, 1e9, "a battery holds something");
pub(crate) const EIRP: Bounds = bounds(-50.0, 100.0, "no satellite sends that");
pub(crate) const G_OVER_T: Bounds = bounds(-60.0, 40.0, "no satellite has such a G/T");
pub(crate) const EIRP_DENSITY: Bounds = bounds(-150.0, 20.0, "no satellite sends such a noise");
pub(crate) const ECCENTRICITY: Bounds = bounds(0.0, 0.1, "a geostationary orbit is nearly round");
pub(crate) const INCLINATION: Bounds = bounds(
    0.0,
    PI / 6.0,
    "a geostationary orbit is inclined by 0 to 30 degrees",
);
pub(crate) const SYMBOL_RATE: Bounds = bounds(0.1, 1e9, "a symbol rate is above 0 and below 1 GBd");
pub(crate) const ROLLOFF: Bounds = bounds(0.01, 1.0, "a roll-off lies between 0 and 1");
pub(crate) const LEVEL: Bounds =
    bounds(-100.0, 100.0, "such a difference of levels does not occur");
