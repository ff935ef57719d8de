//! The satellite file.

use super::beacon;
use super::bounds as b;
use super::desk::{DEFAULT, Desk, GUESS, Kind, Scope, about, between};
use super::site::geographic;
use crate::checked::{
    Band, Beacon, OperatingRule, Orbit, Passband, PassbandUse, Polarisation, Satellite,
};
use slantpath_input::toml::Node;
use slantpath_input::{Problem, Problems, Section, Source, nearest, toml};
use slantpath_quantity::{Angle, Dimension, Frequency};
use std::sync::Arc;

const FREQUENCY: Kind = Kind::Plain(Dimension::Frequency);
const ANGLE: Kind = Kind::Plain(Dimension::Angle);
const PLAIN: Kind = Kind::Plain(Dimension::Ratio);

/// The version of the two formats that is written and read.
pub(crate) const FORMAT: i64 = 1;

/// Reads a satellite file. The second value holds what was found wrong, warnings included; there is a satellite only
/// when none of it is an error.
pub fn read_satellite(source: &Arc<Source>) -> (Option<Satellite>, Problems) {
    let mut desk = Desk {
        problems: Problems::new(),
        source: "satellite file",
    };
    let root = toml::read(source, &mut desk.problems);
    if desk.problems.has_errors() {
        // After a slip in the syntax half of what follows would be noise.
        return (None, desk.problems.sorted());
    }
    let satellite = file(&mut desk, &root);
    let ok = !desk.problems.has_errors();
    (satellite.filter(|_| ok), desk.problems.sorted())
}

/// Reads and checks `format`. `false` when the file cannot be understood further.
pub(crate) fn format_is_known(root: &mut Section<'_>, problems: &mut Problems) -> bool {
    use toml::Value;
    match root.get("format").map(|n| (&n.value, n.place())) {
        Some((Value::Integer(FORMAT), _)) => true,
        Some((Value::Integer(n), place)) if *n > FORMAT => {
            problems.push(
                Problem::error(format!(
                    "this file has format {n}, newer than this program reads"
                ))
                .at_place(place)
                .label("not known here")
                .expected(format!("`format = {FORMAT}`"))
                .help("use a newer version of the program"),
            );
            false
        }
        Some((_, place)) => {
            problems.push(
                Problem::error("`format` is not a version of this format")
                    .at_place(place)
                    .expected(format!("`format = {FORMAT}`")),
            );
            true
        }
        None => {
            problems.push(
                Problem::error("the file does not begin with `format`")
                    .at_place(root.place())
                    .label("here")
                    .expected(format!("`format = {FORMAT}` as the first line")),
            );
            true
        }
    }
}

fn file(desk: &mut Desk, root: &Node) -> Option<Satellite> {
    let mut top = Section::open(root, "", &mut desk.problems);
    if !format_is_known(&mut top, &mut desk.problems) {
        return None;
    }
    let sec = top.section("satellite", &mut desk.problems);
    let Some(sec) = sec else {
        top.missing("satellite", "a heading `[satellite]`", &mut desk.problems);
        let _ = top.get("passband");
        top.finish(&mut desk.problems);
        return None;
    };
    let mut s = Scope::new(desk, sec, "sat", "satellite");
    let name = s
        .sec
        .required_text("name", "the satellite's name", &mut s.desk.problems)
        .unwrap_or("")
        .to_string();
    let orbit = orbit(&mut s);
    let polarisation_tilt = s.or_default(
        "polarisation_tilt",
        ANGLE,
        b::SKEW,
        about(0.0, 2f64.to_radians()),
        DEFAULT,
    );
    s.done();
    let mut passbands: Vec<Passband> = Vec::new();
    match top.section("passband", &mut desk.problems) {
        Some(mut all) => {
            for e in all.entries() {
                let sec = Section::open(&e.node, format!("passband.{}", e.key), &mut desk.problems);
                let s = Scope::new(desk, sec, format!("sat.{}", e.key), e.key.clone());
                passbands.push(passband(&e.key, s));
            }
        }
        None => top.missing(
            "passband",
            "a heading `[passband.NAME]` for each passband",
            &mut desk.problems,
        ),
    }
    top.finish(&mut desk.problems);
    Some(Satellite {
        name,
        orbit: orbit?,
        polarisation_tilt,
        passbands,
    })
}

fn orbit(s: &mut Scope<'_, '_>) -> Option<Orbit> {
    let longitude = geographic(s, "longitude", ['E', 'W'], b::LONGITUDE);
    let inclination = s
        .exact("inclination", ANGLE, b::INCLINATION)
        .map(Angle::rad);
    let eccentricity = s.exact("eccentricity", PLAIN, b::ECCENTRICITY);
    let tle = s.sec.texts("tle", &mut s.desk.problems);
    let omm = s.sec.text("omm", &mut s.desk.problems).map(str::to_string);
    let place = s.sec.place_of(if tle.is_some() { "tle" } else { "omm" });
    let refused = |e: String| {
        Problem::error("these are not orbital elements")
            .at_place(place.clone())
            .label(e)
            .help("copy both lines whole, with their blanks and check digits")
    };
    if tle.is_some() && omm.is_some() {
        s.problem(
            Problem::error("the elements are given twice")
                .at_place(place.clone())
                .label("`tle` and `omm`")
                .help("keep one of the two"),
        );
    }
    if let Some(lines) = tle {
        let [(l1, _), (l2, _)] = lines.as_slice() else {
            s.problem(refused(format!(
                "{} lines are given, there are two",
                lines.len()
            )));
            return None;
        };
        if let Err(e) = slantpath_sky::elements::MeanElements::from_tle(l1, l2) {
            s.problem(refused(e.to_string()));
            return None;
        }
        return Some(Orbit::Tle {
            line1: l1.to_string(),
            line2: l2.to_string(),
            longitude,
        });
    }
    if let Some(text) = omm {
        if let Err(e) = slantpath_sky::elements::MeanElements::from_omm_kvn(&text) {
            s.problem(refused(e.to_string()));
            return None;
        }
        return Some(Orbit::Omm { text, longitude });
    }
    if !s.sec.has("longitude") {
        s.sec.missing(
            "longitude",
            "the orbit slot, written like \"11.7 deg W\"; or elements as `tle` or `omm`",
            &mut s.desk.problems,
        );
    }
    longitude.map(|longitude| Orbit::Slot {
        longitude,
        inclination,
        eccentricity,
    })
}

const POLARISATIONS: [(&str, Polarisation); 4] = [
    ("horizontal", Polarisation::Horizontal),
    ("vertical", Polarisation::Vertical),
    ("RHCP", Polarisation::Rhcp),
    ("LHCP", Polarisation::Lhcp),
];

fn required_polarisation(s: &mut Scope<'_, '_>, key: &'static str) -> Polarisation {
    if !s.sec.has(key) {
        s.sec.missing(
            key,
            "\"horizontal\", \"vertical\", \"RHCP\" or \"LHCP\"",
            &mut s.desk.problems,
        );
    }
    s.sec
        .choice(key, &POLARISATIONS, &mut s.desk.problems)
        .unwrap_or(Polarisation::Horizontal)
}

fn passband(name: &str, mut s: Scope<'_, '_>) -> Passband {
    s.label = format!("{name} passband");
    if !s.sec.has("use") {
        s.sec.missing(
            "use",
            "\"narrow\" (voice, telegraphy) or \"wide\" (television)",
            &mut s.desk.problems,
        );
    }
    let usage = s
        .sec
        .choice(
            "use",
            &[("narrow", PassbandUse::Narrow), ("wide", PassbandUse::Wide)],
            &mut s.desk.problems,
        )
        .unwrap_or(PassbandUse::Narrow);
    let (uplink, downlink, inverted, translation) = frequencies(&mut s);
    let uplink_polarisation = required_polarisation(&mut s, "uplink_polarisation");
    let downlink_polarisation = required_polarisation(&mut s, "downlink_polarisation");
    // Wide limits for what is rarely published (common practice, no source).
    let saturated_eirp = s.or_default(
        "saturated_eirp",
        Kind::Power,
        b::EIRP,
        between(20.0, 60.0),
        GUESS,
    );
    let g_over_t = s.or_default(
        "g_over_t",
        Kind::Plain(Dimension::GOverT),
        b::G_OVER_T,
        between(-20.0, 0.0),
        GUESS,
    );
    let noise_density = s.or_default(
        "noise_density",
        Kind::Plain(Dimension::PowerDensity),
        b::EIRP_DENSITY,
        between(-55.0, -30.0),
        GUESS,
    );
    let symbol_rates = symbol_rates(&mut s);
    let beacons = beacon::beacons(&mut s, &downlink);
    let rule = rule(&mut s, &beacons);
    s.done();
    Passband {
        name: name.to_string(),
        usage,
        uplink,
        downlink,
        inverted,
        translation,
        uplink_polarisation,
        downlink_polarisation,
        saturated_eirp,
        g_over_t,
        noise_density,
        rule,
        symbol_rates,
        beacons,
    }
}

/// Uplink, downlink, inverted, translation. Two of uplink, downlink and translation say the third.
fn frequencies(s: &mut Scope<'_, '_>) -> (Band, Band, bool, Frequency) {
    let nothing = Band {
        lo: Frequency::hz(0.0),
        hi: Frequency::hz(0.0),
    };
    let uplink = s.band("uplink");
    let downlink = s.band("downlink");
    let inverted = s
        .sec
        .flag("inverted", &mut s.desk.problems)
        .unwrap_or(false);
    let translation = s
        .exact("translation", FREQUENCY, b::FREQUENCY)
        .map(Frequency::hz);
    let shift = |band: &Band, by: f64, sign: f64| {
        let a = sign * band.lo.as_hz() + by;
        let z = sign * band.hi.as_hz() + by;
        Band {
            lo: Frequency::hz(a.min(z)),
            hi: Frequency::hz(a.max(z)),
        }
    };
    match (uplink, downlink, translation) {
        (Some(up), Some(down), t) => {
            let implied = if inverted {
                up.lo + down.hi
            } else {
                down.lo - up.lo
            };
            if (up.width() - down.width()).as_hz().abs() > 1.0 {
                s.problem(
                    Problem::error("uplink and downlink are not equally wide")
                        .at_place(s.sec.place_of("downlink"))
                        .label(format!(
                            "{:.3} kHz down, {:.3} kHz up",
                            down.width().as_hz() / 1e3,
                            up.width().as_hz() / 1e3
                        ))
                        .expected("a passband shifted as a whole"),
                );
            }
            if let Some(t) = t
                && (t - implied).as_hz().abs() > 1.0
            {
                s.problem(
                    Problem::error("`translation` does not lead from uplink to downlink")
                        .at_place(s.sec.place_of("translation"))
                        .label(format!("the two bands say {:.6} MHz", implied.as_mhz()))
                        .help("leave out one of `uplink`, `downlink` and `translation`"),
                );
            }
            (up, down, inverted, t.unwrap_or(implied))
        }
        (Some(up), None, Some(t)) => {
            let sign = if inverted { -1.0 } else { 1.0 };
            let down = shift(&up, t.as_hz(), sign);
            (up, down, inverted, t)
        }
        (None, Some(down), Some(t)) => {
            let up = if inverted {
                shift(&down, t.as_hz(), -1.0)
            } else {
                shift(&down, -t.as_hz(), 1.0)
            };
            (up, down, inverted, t)
        }
        (up, down, _) => {
            for (key, there) in [("uplink", up.is_some()), ("downlink", down.is_some())] {
                if !there && !s.sec.has(key) {
                    s.sec.missing(
                        key,
                        "a range of frequencies, written like \"10472.1..10472.6 MHz\" (or `translation`)",
                        &mut s.desk.problems,
                    );
                }
            }
            (
                up.unwrap_or(nothing),
                down.unwrap_or(nothing),
                inverted,
                Frequency::hz(0.0),
            )
        }
    }
}

fn symbol_rates(s: &mut Scope<'_, '_>) -> Vec<f64> {
    let mut out = Vec::new();
    for node in s
        .sec
        .list("symbol_rates", &mut s.desk.problems)
        .unwrap_or(&[])
    {
        if let Some(r) = s.desk.exact(
            node,
            "symbol_rates",
            Kind::Plain(Dimension::SymbolRate),
            b::SYMBOL_RATE,
        ) {
            out.push(r);
        }
    }
    out
}

fn rule(s: &mut Scope<'_, '_>, beacons: &[Beacon]) -> Option<OperatingRule> {
    let mut r = s.sub("rule")?;
    let beacon = r
        .sec
        .required_text(
            "beacon",
            "the name of the beacon it refers to",
            &mut r.desk.problems,
        )
        .unwrap_or("")
        .to_string();
    let limit_db = r.required_exact("limit", Kind::Db, b::LEVEL);
    if !beacon.is_empty() && !beacons.iter().any(|x| x.name == beacon) {
        let place = r.sec.place_of("beacon");
        r.problem(
            Problem::error(format!("this passband has no beacon \"{beacon}\""))
                .at_place(place)
                .label("not known")
                .nearest(nearest(&beacon, beacons.iter().map(|x| x.name.as_str()))),
        );
    }
    r.done();
    Some(OperatingRule { beacon, limit_db })
}
