//! Contacts as GeoJSON (RFC 7946): points, and the great circles to them.

use crate::adif::Record;
use crate::contact::{Key, way};
use geojson::{Feature, FeatureCollection, Geometry, GeometryValue, JsonObject, JsonValue};
use slantpath_sky::geodesic::destination;
use slantpath_sky::{Locator, distance_bearing};

/// How exactly the own place is given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Own {
    /// The centre of its square of four characters (1 degree by 2): tens of kilometres.
    Coarse {
        /// Latitude, degrees.
        lat_deg: f64,
        /// Longitude, degrees.
        lon_deg: f64,
    },
    /// As it is. Only when asked for.
    Exact {
        /// Latitude, degrees.
        lat_deg: f64,
        /// Longitude, degrees.
        lon_deg: f64,
    },
}

impl Own {
    /// Latitude and longitude to publish, and a sentence about it; `None` for a place that is none.
    pub fn place(&self) -> Option<(f64, f64, String)> {
        match *self {
            Self::Exact { lat_deg, lon_deg } => Some((lat_deg, lon_deg, "exact place".to_string())),
            Self::Coarse { lat_deg, lon_deg } => {
                let square = Locator::of(lat_deg, lon_deg, 4).ok()?;
                let (lat, lon) = square.centre();
                Some((lat, lon, format!("centre of square {square}")))
            }
        }
    }
}

/// What a map holds, and what it could not.
#[derive(Debug, Clone, PartialEq)]
pub struct Map {
    /// The document.
    pub geojson: String,
    /// Contacts drawn.
    pub drawn: usize,
    /// Contacts without a readable locator.
    pub without_locator: usize,
}

/// Points on a great circle before it is cut: about every 200 km.
const STEP_M: f64 = 200_000.0;

/// A map of contacts: the own place, a point for every contact and the shortest way to it. Coordinates are longitude,
/// latitude (RFC 7946, 3.1.1); lines that cross the antimeridian are cut there (3.1.9).
pub fn map(own: Own, contacts: &[Record]) -> Map {
    let mut features = Vec::new();
    let mut without_locator = 0;
    let from = own.place();
    if let Some((lat, lon, said)) = &from {
        let mut p = JsonObject::new();
        p.insert("role".into(), "own station".into());
        p.insert("place".into(), said.as_str().into());
        features.push(feature(point(*lat, *lon), p));
    }
    let mut drawn = 0;
    for r in contacts {
        let Some(there) = r.get("GRIDSQUARE").and_then(|g| g.parse::<Locator>().ok()) else {
            without_locator += 1;
            continue;
        };
        let (lat, lon) = there.centre();
        let key = Key::of(r);
        let mut p = JsonObject::new();
        p.insert("role".into(), "contact".into());
        p.insert("call".into(), key.call.as_str().into());
        p.insert("locator".into(), there.to_string().into());
        if let Some(t) = key
            .at_ms
            .and_then(|t| jiff::Timestamp::from_millisecond(t).ok())
        {
            p.insert("time".into(), t.to_string().into());
        }
        for (name, text) in [("band", &key.band), ("mode", &key.mode)] {
            if !text.is_empty() {
                p.insert(name.into(), text.as_str().into());
            }
        }
        if let Some((own_lat, own_lon, _)) = &from {
            // Distances from the place that is published, so that they do not betray the exact one.
            if let Ok(square) = Locator::of(*own_lat, *own_lon, 10)
                && let Ok(w) = way(&square.to_string(), &there.to_string())
            {
                let km = |m: f64| JsonValue::from((m / 1e3).round());
                p.insert("distance_km".into(), km(w.distance.as_m()));
                p.insert("bearing_deg".into(), w.bearing.as_deg().round().into());
            }
            if let Some(line) = great_circle((*own_lat, *own_lon), (lat, lon)) {
                let mut q = JsonObject::new();
                q.insert("role".into(), "way".into());
                q.insert("call".into(), key.call.as_str().into());
                features.push(feature(line, q));
            }
        }
        features.push(feature(point(lat, lon), p));
        drawn += 1;
    }
    let all = FeatureCollection {
        bbox: None,
        features,
        foreign_members: None,
    };
    Map {
        geojson: format!("{all}\n"),
        drawn,
        without_locator,
    }
}

/// Degrees with the digits that 1 m needs.
fn degrees(x: f64) -> f64 {
    (x * 1e5).round() / 1e5
}

fn position(lat: f64, lon: f64) -> geojson::Position {
    geojson::Position::from(vec![degrees(lon), degrees(lat)])
}

fn point(lat: f64, lon: f64) -> GeometryValue {
    GeometryValue::Point {
        coordinates: position(lat, lon),
    }
}

fn feature(value: GeometryValue, properties: JsonObject) -> Feature {
    Feature {
        bbox: None,
        geometry: Some(Geometry::new(value)),
        id: None,
        properties: Some(properties),
        foreign_members: None,
    }
}

/// The shortest way as a line, or as several when it crosses the antimeridian; `None` between equal places.
fn great_circle(from: (f64, f64), to: (f64, f64)) -> Option<GeometryValue> {
    let w = distance_bearing(from, to).ok()?;
    let length = w.distance.as_m();
    if length < 1.0 {
        return None;
    }
    let n = (length / STEP_M).ceil().clamp(1.0, 200.0) as usize;
    let mut lines: Vec<Vec<(f64, f64)>> = vec![vec![from]];
    let mut last = from;
    for i in 1..=n {
        let next = if i == n {
            to
        } else {
            let part = slantpath_quantity::Length::m(length * i as f64 / n as f64);
            destination(from, w.azimuth, part).ok()?
        };
        let turn = next.1 - last.1;
        if turn.abs() > 180.0 {
            // Cut where the line meets 180 degrees, by the latitude between both ends.
            let (edge, over) = if turn < 0.0 {
                (180.0, 360.0)
            } else {
                (-180.0, -360.0)
            };
            let share = (edge - last.1) / (next.1 + over - last.1);
            let lat = last.0 + share * (next.0 - last.0);
            if let Some(l) = lines.last_mut() {
                l.push((lat, edge));
            }
            lines.push(vec![(lat, -edge)]);
        }
        if let Some(l) = lines.last_mut() {
            l.push(next);
        }
        last = next;
    }
    let mut lines: Vec<Vec<geojson::Position>> = lines
        .into_iter()
        .map(|l| l.into_iter().map(|(a, o)| position(a, o)).collect())
        .collect();
    Some(if lines.len() == 1 {
        GeometryValue::LineString {
            coordinates: lines.pop()?,
        }
    } else {
        GeometryValue::MultiLineString { coordinates: lines }
    })
}
