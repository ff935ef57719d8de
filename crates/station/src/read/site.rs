//! `[site]`.

use super::bounds as b;
use super::desk::{DEFAULT, Kind, Scope, about, between};
use crate::checked::{Climate, HorizonPoint, Obstacle, Site};
use slantpath_input::{Problem, Section};
use slantpath_quantity::{Angle, Dimension, Distribution, Length};
use slantpath_sky::Locator;
use std::f64::consts::{PI, TAU};

/// Mean radius of the Earth, m, for the size of a locator's square (IUGG mean radius R1; from memory).
const EARTH_RADIUS_M: f64 = 6_371_008.8;

pub(crate) fn site(mut s: Scope<'_, '_>) -> Site {
    let position = position(&mut s);
    let height = s.required("height", Kind::Plain(Dimension::Length), b::HEIGHT);
    let height_above_ground = s.or_default(
        "height_above_ground",
        Kind::Plain(Dimension::Length),
        b::LENGTH,
        between(1.0, 10.0),
        DEFAULT,
    );
    let horizon = horizon(&mut s);
    let obstacles = obstacles(&mut s);
    let climate = climate(&mut s);
    let ground_temperature = s.or_default(
        "ground_temperature",
        Kind::Plain(Dimension::Temperature),
        b::AIR_TEMPERATURE,
        about(283.0, 8.0),
        DEFAULT,
    );
    let exact_zero = Distribution::Exact(0.0);
    let footprint_down = s.or_default("footprint_down", Kind::Db, b::LEVEL, exact_zero, DEFAULT);
    let footprint_up = s.or_default("footprint_up", Kind::Db, b::LEVEL, exact_zero, DEFAULT);
    s.done();
    Site {
        latitude: position.0,
        longitude: position.1,
        position_radius: position.2,
        locator: position.3,
        height,
        height_above_ground,
        horizon,
        obstacles,
        climate,
        ground_temperature,
        footprint_down,
        footprint_up,
    }
}

/// Latitude, longitude, radius within which the truth lies, locator.
fn position(s: &mut Scope<'_, '_>) -> (Angle, Angle, Length, Option<String>) {
    let lat = geographic(s, "latitude", ['N', 'S'], b::LATITUDE);
    let lon = geographic(s, "longitude", ['E', 'W'], b::LONGITUDE);
    let nowhere = (Angle::rad(0.0), Angle::rad(0.0), Length::m(0.0), None);
    let place = s.sec.place_of("locator");
    let Some(text) = s.sec.text("locator", &mut s.desk.problems) else {
        for key in ["latitude", "longitude"] {
            if !s.sec.has(key) && !s.sec.has("locator") {
                s.sec.missing(
                    key,
                    "an angle, written like \"57.3 deg\" (or give `locator`)",
                    &mut s.desk.problems,
                );
            }
        }
        return match (lat, lon) {
            (Some(a), Some(o)) => (a, o, Length::m(0.0), None),
            _ => nowhere,
        };
    };
    if s.sec.has("latitude") || s.sec.has("longitude") {
        s.problem(
            Problem::error("the position is given twice")
                .at_place(place.clone())
                .label("a locator, and latitude and longitude as well")
                .help("keep the coordinates: they are finer; remove `locator`"),
        );
    }
    match text.parse::<Locator>() {
        Ok(l) => {
            let (lat, lon) = l.centre();
            let (width_deg, height_deg) = size_of(&l);
            let lat_a = Angle::deg(lat);
            let dx = width_deg.to_radians() * lat_a.as_rad().cos();
            let radius = 0.5 * dx.hypot(height_deg.to_radians()) * EARTH_RADIUS_M;
            if l.characters() < 6 {
                s.problem(
                    Problem::warning("this locator is coarse")
                        .at_place(place)
                        .label(format!("its square is {:.0} km across", 2.0 * radius / 1e3))
                        .help("six characters or more, or latitude and longitude, make azimuth and elevation exact enough"),
                );
            }
            (
                lat_a,
                Angle::deg(lon),
                Length::m(radius),
                Some(text.to_string()),
            )
        }
        Err(e) => {
            s.problem(
                Problem::error("this is not a locator")
                    .at_place(place)
                    .label(e.to_string())
                    .expected("a locator of 4, 6, 8 or 10 characters, for example \"IO77ef\""),
            );
            nowhere
        }
    }
}

/// Width and height of a locator's square in degrees.
fn size_of(l: &Locator) -> (f64, f64) {
    let (lat, lon) = l.size();
    (lon, lat)
}

/// An angle with a sign or with a letter of the compass behind it: `"5.6 deg W"`.
pub(crate) fn geographic(
    s: &mut Scope<'_, '_>,
    key: &'static str,
    letters: [char; 2],
    bounds: b::Bounds,
) -> Option<Angle> {
    let node = s.sec.get(key)?;
    let mut plain = node.clone();
    let mut sign = 1.0;
    let mut letter_written = false;
    if let slantpath_input::toml::Value::Text(t) = &node.value {
        let trimmed = t.trim_end();
        for (letter, factor) in [(letters[0], 1.0), (letters[1], -1.0)] {
            if let Some(rest) = trimmed.strip_suffix(letter)
                && rest.ends_with([' ', 'g', '°'])
            {
                plain.value = slantpath_input::toml::Value::Text(rest.trim_end().to_string());
                sign = factor;
                letter_written = true;
                if rest.trim_start().starts_with('-') {
                    s.problem(
                        Problem::error(format!("`{key}` has a minus and a letter"))
                            .at_place(node.place())
                            .label("one of the two turns it round, not both")
                            .expected(format!("\"5.6 deg {}\" or \"-5.6 deg\"", letters[1])),
                    );
                    return None;
                }
            }
        }
    }
    let rad = s
        .desk
        .exact(&plain, key, Kind::Plain(Dimension::Angle), bounds)?;
    // With a letter an angle goes halfway round at most; without one a longitude may be counted eastward all the way.
    if letter_written && rad > PI {
        let shown = |x: f64| slantpath_quantity::show::fixed(x.to_degrees(), 4);
        let east = if sign > 0.0 { rad - TAU } else { TAU - rad };
        let (letter, size) = (if east < 0.0 { letters[1] } else { letters[0] }, east.abs());
        s.problem(
            Problem::error(format!("`{key}` goes more than halfway round"))
                .at_place(node.place())
                .label("with a letter it lies between 0 and 180 degrees")
                .help(format!(
                    "counted the shorter way it is {} deg {letter}; is a digit wrong?",
                    shown(size)
                )),
        );
        return None;
    }
    Some(Angle::rad(if rad > PI { rad - TAU } else { sign * rad }))
}

fn horizon(s: &mut Scope<'_, '_>) -> Vec<HorizonPoint> {
    let Some(node) = s.sec.get("horizon") else {
        return Vec::new();
    };
    let angle = Kind::Plain(Dimension::Angle);
    let rows = s.desk.rows(
        node,
        "horizon",
        &[
            ("azimuth", angle, b::AZIMUTH),
            ("elevation", angle, b::MASK),
        ],
        0,
    );
    s.desk.rising(&rows, "horizon", "azimuth");
    rows.iter()
        .filter_map(|(v, _)| match v.as_slice() {
            [a, e] => Some(HorizonPoint {
                azimuth: Angle::rad(a.mean()),
                elevation: Angle::rad(e.mean()),
            }),
            _ => None,
        })
        .collect()
}

fn obstacles(s: &mut Scope<'_, '_>) -> Vec<Obstacle> {
    let mut out = Vec::new();
    let Some(list) = s.sec.list("obstacle", &mut s.desk.problems) else {
        return out;
    };
    for (i, node) in list.iter().enumerate() {
        let sec = Section::open(node, "site.obstacle", &mut s.desk.problems);
        let mut o = Scope::new(s.desk, sec, format!("site.obstacle.{}", i + 1), "obstacle");
        let length = Kind::Plain(Dimension::Length);
        let name = o
            .sec
            .text("name", &mut o.desk.problems)
            .map_or_else(|| format!("obstacle {}", i + 1), str::to_string);
        let distance = Length::m(o.required_exact("distance", length, b::DISTANCE));
        let height = Length::m(o.required_exact("height", length, b::HEIGHT_DIFFERENCE));
        let azimuth =
            Angle::rad(o.required_exact("azimuth", Kind::Plain(Dimension::Angle), b::AZIMUTH));
        o.done();
        out.push(Obstacle {
            name,
            distance,
            height,
            azimuth,
        });
    }
    out
}

fn climate(s: &mut Scope<'_, '_>) -> Climate {
    let Some(mut c) = s.sub("climate") else {
        return Climate::default();
    };
    use Dimension as D;
    let p = Kind::Plain;
    let out = Climate {
        rain_rate_001: c.optional("rain_rate_001", p(D::RainRate), b::RAIN_RATE),
        rain_height: c.optional("rain_height", p(D::Length), b::RAIN_HEIGHT),
        temperature: c.optional("temperature", p(D::Temperature), b::AIR_TEMPERATURE),
        pressure: c.optional("pressure", p(D::Pressure), b::PRESSURE),
        vapour_density: c.optional("vapour_density", p(D::Density), b::VAPOUR),
        vapour_column: c.optional("vapour_column", p(D::ColumnDensity), b::COLUMN),
        cloud_liquid: c.optional("cloud_liquid", p(D::ColumnDensity), b::COLUMN),
        wet_refractivity: c.optional("wet_refractivity", p(D::Ratio), b::REFRACTIVITY),
    };
    c.done();
    out
}
