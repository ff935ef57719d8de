use super::*;
use slantpath_input::Source;
use slantpath_station::read_station;

const SATELLITE: &str = include_str!("../../../../demo/petrel-1.toml");
const DEMO: &str = include_str!("../../../../demo/qq0aaa.toml");

fn station(text: &str, satellite: &str) -> Station {
    let satellite = satellite.to_string();
    let source = Source::new("station.toml", text.to_string());
    let (file, problems) = read_station(&source, &mut |p: &str| {
        Ok(Source::new(p, satellite.clone()))
    });
    file.unwrap_or_else(|| panic!("{problems:?}")).base
}

/// The demo station moved to another place, without its skyline.
fn moved(latitude: &str, longitude: &str, height: &str) -> String {
    let (head, tail) = DEMO.split_once("latitude = \"57.3 deg N\"").unwrap();
    let (_, rest) = tail.split_once("[reflector]").unwrap();
    format!(
        "{head}latitude = \"{latitude}\"\nlongitude = \"{longitude}\"\nheight = \"{height}\"\n\
         height_above_ground = \"9 m\"\n\n[reflector]{rest}"
    )
}

fn slot(longitude: &str) -> String {
    SATELLITE
        .replace("11.7 deg W", longitude)
        .replace("inclination = \"0.06 deg\"", "")
        .replace("eccentricity = 0.00025", "")
        .replace("3.5 deg ± 0.3", "0 deg")
}

fn find<'a>(sheet: &'a Sheet, id: &str) -> &'a Answer {
    sheet
        .sections
        .iter()
        .flat_map(|s| &s.answers)
        .find(|a| a.measurand == id)
        .unwrap_or_else(|| panic!("no {id}"))
}

fn value(sheet: &Sheet, id: &str) -> f64 {
    find(sheet, id).estimate().unwrap().value
}

fn now() -> Timestamp {
    "2026-11-20T09:00:00Z".parse().unwrap()
}

#[test]
fn a_row_of_the_look_angle_table() {
    // crates/sky/tests/data/geo_look_angles.csv (pyproj 3.7.2, astropy 8.0.2), row Lowland51 towards 19.3 E.
    let text = moved("51.5 deg N", "0.14 deg W", "31 m");
    let sheet = survey(&station(&text, &slot("19.3 deg E")), now()).unwrap();
    assert!((value(&sheet, "site.azimuth_true") - 155.711_193_9).abs() < 1e-6);
    assert!((value(&sheet, "site.elevation") - 28.322_003_68).abs() < 1e-6);
    assert!((value(&sheet, "site.range") - 38_754.936_4).abs() < 1e-3);
    assert!((value(&sheet, "site.delay_one_way") - 129.272_553).abs() < 1e-5);
    assert!((value(&sheet, "site.skew") + 14.962_891).abs() < 1e-5);
    // Sun transits, crates/sky/tests/data/sun_transits.csv: closest on 2027-03-01 or 02 around 10:47 UTC.
    let sun = sheet
        .sections
        .iter()
        .find(|s| s.key == "sun_transits")
        .unwrap();
    assert!(
        sun.text[0].contains("longest on 2027-03-0") && sun.text[0].contains(" from 10:4"),
        "{:?}",
        sun.text
    );
    assert!(
        sun.text[1].contains("longest on 2027-10-1"),
        "{:?}",
        sun.text
    );
    assert!(!sheet.refused);
    assert!(sheet.next_measurement.as_ref().unwrap().contains("shadow"));
}

#[test]
fn below_the_horizon_is_an_answer() {
    // Row Tromso towards 61 W: elevation -5.1638 deg.
    let text = moved("69.65 deg N", "18.96 deg E", "60 m");
    let sheet = survey(&station(&text, &slot("61 deg W")), now()).unwrap();
    assert!(sheet.refused);
    assert!((value(&sheet, "site.elevation") + 5.163_792_546).abs() < 1e-6);
    assert!(find(&sheet, "site.elevation_apparent").outcome.is_err());
    assert!(value(&sheet, "site.horizon_clearance") < -3.0);
    let horizon = sheet.sections.iter().find(|s| s.key == "horizon").unwrap();
    let all = horizon.text.join(" ");
    assert!(
        all.contains(NOT_MODELLED[0])
            && all.contains(MODELLED[0])
            && all.contains("below the skyline")
    );
    assert!(sheet.because.iter().any(|b| b.contains("No signal")));
}

#[test]
fn the_demo_station_whole() {
    let s = station(DEMO, SATELLITE);
    let sheet = survey(&s, now()).unwrap();
    for a in sheet.sections.iter().flat_map(|s| &s.answers) {
        let e = a
            .estimate()
            .unwrap_or_else(|| panic!("{} has no value", a.measurand));
        assert!(
            e.value.is_finite() && e.u.is_finite() && e.u > 0.0,
            "{}: {e:?}",
            a.measurand
        );
    }
    // Offset with the arm below: face + offset angle is the elevation at which the ray arrives.
    let (face, beta) = (
        value(&sheet, "site.face_elevation"),
        value(&sheet, "reflector.offset_angle"),
    );
    assert!((face + beta - value(&sheet, "site.elevation_apparent")).abs() < 1e-9);
    // arccos(width/height), the form of a cut paraboloid's rim.
    assert!((beta - (1.20f64 / 1.30).acos().to_degrees()).abs() < 1e-6);
    // The compass and the true azimuth differ by the declination.
    let d = value(&sheet, "site.azimuth_true") - value(&sheet, "site.azimuth_magnetic");
    assert!((d - value(&sheet, "site.declination")).abs() < 1e-9);
    assert!(
        find(&sheet, "site.obstacle_1.clearance")
            .estimate()
            .is_some()
    );
    let skew = find(&sheet, "site.skew").estimate().unwrap();
    assert!(skew.u >= 0.3, "{skew:?}");
    let svg = &sheet.figures[0].svg;
    assert!(svg.starts_with("<svg") && svg.ends_with("</svg>") && svg.contains("Petrel-1"));
    assert!(!svg.contains("script") && !svg.contains("href") && !svg.contains("NaN"));
    if let Some(out) = option_env!("SLANTPATH_SHOW_SURVEY") {
        std::fs::write(out, svg).unwrap();
        println!("{sheet:#?}");
    }
}
