//! Contacts as GeoJSON, read back by the crate's own reader and checked by RFC 7946.

use geojson::{FeatureCollection, GeometryValue};
use slantpath_book::adif::Record;
use slantpath_book::map::{Own, map};

fn contact(call: &str, locator: &str) -> Record {
    let mut r = Record::default();
    r.set("CALL", call);
    r.set("GRIDSQUARE", locator);
    r
}

const HERE: Own = Own::Coarse {
    lat_deg: 57.345_67,
    lon_deg: -5.612_34,
};

fn read(text: &str) -> FeatureCollection {
    text.parse::<geojson::GeoJson>()
        .unwrap()
        .try_into()
        .unwrap()
}

fn lines(f: &FeatureCollection) -> Vec<Vec<(f64, f64)>> {
    let of = |c: &Vec<geojson::Position>| c.iter().map(|p| (p[0], p[1])).collect::<Vec<_>>();
    let mut out = Vec::new();
    for x in &f.features {
        match &x.geometry.as_ref().unwrap().value {
            GeometryValue::LineString { coordinates } => out.push(of(coordinates)),
            GeometryValue::MultiLineString { coordinates } => {
                out.extend(coordinates.iter().map(of))
            }
            _ => {}
        }
    }
    out
}

#[test]
fn the_own_place_is_the_centre_of_its_square_unless_asked() {
    let m = map(HERE, &[contact("QQ0BBB", "JO22"), contact("QQ0CCC", "")]);
    assert_eq!((m.drawn, m.without_locator), (1, 1));
    let f = read(&m.geojson);
    let GeometryValue::Point { coordinates } = &f.features[0].geometry.as_ref().unwrap().value
    else {
        panic!()
    };
    // IO77: 6 to 4 degrees west, 57 to 58 north. Longitude first (RFC 7946, 3.1.1).
    assert_eq!((coordinates[0], coordinates[1]), (-5.0, 57.5));
    // Nothing in the whole text betrays the place more closely.
    for digits in ["57.34", "-5.61", "5.612"] {
        assert!(!m.geojson.contains(digits), "{digits}");
    }
    let exact = map(
        Own::Exact {
            lat_deg: 57.345_67,
            lon_deg: -5.612_34,
        },
        &[],
    );
    assert!(exact.geojson.contains("57.34567") && exact.geojson.contains("-5.61234"));
}

#[test]
fn lines_are_cut_at_the_antimeridian() {
    // RFC 7946, 3.1.9: a line that crosses 180 degrees is cut in two, none of which crosses it.
    let own = Own::Coarse {
        lat_deg: 0.5,
        lon_deg: 171.0,
    };
    for there in ["AJ00", "AI50", "AR00"] {
        let m = map(own, &[contact("QQ0BBB", there)]);
        let l = lines(&read(&m.geojson));
        assert_eq!(l.len(), 2, "{there}");
        for part in &l {
            for w in part.windows(2) {
                assert!((w[0].0 - w[1].0).abs() <= 180.0, "{there}: {w:?}");
            }
            assert!(part.iter().all(|p| p.0.abs() <= 180.0 && p.1.abs() <= 90.0));
        }
        assert_eq!(l[0].last().unwrap().0, 180.0);
        assert_eq!(l[1][0].0, -180.0);
        assert_eq!(l[0].last().unwrap().1, l[1][0].1);
    }
}
