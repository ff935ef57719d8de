//! `[[passband.NAME.beacon]]`.

use super::bounds as b;
use super::desk::{GUESS, Kind, Scope, between};
use crate::checked::{Band, Beacon, BeaconKind};
use slantpath_input::{Problem, Section, nearest};
use slantpath_quantity::{Dimension, Frequency};
use slantpath_waveform::{MODCODS, Modcod, modcod as known_modcod};

const FREQUENCY: Kind = Kind::Plain(Dimension::Frequency);
const PLAIN: Kind = Kind::Plain(Dimension::Ratio);

pub(super) fn beacons(s: &mut Scope<'_, '_>, downlink: &Band) -> Vec<Beacon> {
    let mut out: Vec<Beacon> = Vec::new();
    let list = s.sec.list("beacon", &mut s.desk.problems).unwrap_or(&[]);
    let passband_id = s.id.clone();
    for node in list {
        let sec = Section::open(
            node,
            format!("{}.beacon", s.sec.name()),
            &mut s.desk.problems,
        );
        let mut k = Scope::new(s.desk, sec, passband_id.clone(), "beacon");
        let name = k
            .sec
            .required_text("name", "a name for the beacon", &mut k.desk.problems)
            .unwrap_or("")
            .to_string();
        if out.iter().any(|x| x.name == name) && !name.is_empty() {
            let place = k.sec.place_of("name");
            k.problem(
                Problem::error(format!("there are two beacons \"{name}\""))
                    .at_place(place)
                    .label("this name is taken")
                    .help("give each beacon of a passband its own name"),
            );
        }
        k.id = format!("{passband_id}.{name}");
        k.label = format!("beacon {name}");
        let frequency = Frequency::hz(k.required_exact("frequency", FREQUENCY, b::FREQUENCY));
        let outside = downlink.lo.as_hz() > 0.0 && !downlink.contains(frequency);
        if k.sec.has("frequency") && frequency.as_hz() > 0.0 && outside {
            let place = k.sec.place_of("frequency");
            let (lo, hi) = (downlink.lo.as_mhz(), downlink.hi.as_mhz());
            let far =
                (frequency - downlink.centre()).as_hz().abs() > 20.0 * downlink.width().as_hz();
            let text = format!("the downlink is {lo:.3} to {hi:.3} MHz");
            k.problem(if far {
                Problem::error("this beacon is far outside its passband")
                    .at_place(place)
                    .label(text)
                    .expected("the true downlink frequency, not an intermediate frequency")
            } else {
                Problem::warning("this beacon is outside its passband")
                    .at_place(place)
                    .label(text)
            });
        }
        let kind = beacon_kind(&mut k);
        let eirp = k.or_default("eirp", Kind::Power, b::EIRP, between(5.0, 45.0), GUESS);
        k.done();
        if let Some(kind) = kind {
            out.push(Beacon {
                name,
                frequency,
                kind,
                eirp,
            });
        }
    }
    out
}

fn beacon_kind(k: &mut Scope<'_, '_>) -> Option<BeaconKind> {
    if !k.sec.has("kind") {
        k.sec.missing(
            "kind",
            "\"carrier\", \"keyed-carrier\", \"bpsk\" or \"dvb-s2\"",
            &mut k.desk.problems,
        );
    }
    let word = k.sec.choice(
        "kind",
        &[
            ("carrier", 0u8),
            ("keyed-carrier", 1),
            ("bpsk", 2),
            ("dvb-s2", 3),
        ],
        &mut k.desk.problems,
    )?;
    let rate = Kind::Plain(Dimension::SymbolRate);
    Some(match word {
        0 => BeaconKind::Carrier,
        1 => BeaconKind::KeyedCarrier,
        2 => BeaconKind::Bpsk {
            symbol_rate: k.required_exact("symbol_rate", rate, b::SYMBOL_RATE),
            differential: k
                .sec
                .flag("differential", &mut k.desk.problems)
                .unwrap_or(false),
            rolloff: k.exact("rolloff", PLAIN, b::ROLLOFF),
            manchester: k
                .sec
                .flag("manchester", &mut k.desk.problems)
                .unwrap_or(false),
        },
        _ => BeaconKind::DvbS2 {
            modcod: modcod(k),
            symbol_rate: k.required_exact("symbol_rate", rate, b::SYMBOL_RATE),
            rolloff: s2_rolloff(k),
            pilots: k.sec.flag("pilots", &mut k.desk.problems),
            short_frames: k.sec.flag("short_frames", &mut k.desk.problems),
        },
    })
}

/// As it is kept: `8PSK 3/5`.
fn written(m: &Modcod) -> String {
    format!("{} {}", m.modulation.name(), m.rate)
}

fn modcod(k: &mut Scope<'_, '_>) -> String {
    let Some(text) =
        k.sec
            .required_text("modcod", "written like \"8PSK 3/5\"", &mut k.desk.problems)
    else {
        return String::new();
    };
    if let Some(found) = known_modcod(text) {
        return written(found);
    }
    let all: Vec<String> = MODCODS.iter().map(written).collect();
    let place = k.sec.place_of("modcod");
    k.problem(
        Problem::error(format!("\"{text}\" is not a MODCOD of DVB-S2"))
            .at_place(place)
            .label("not one of the 28")
            .expected(
                "modulation and code rate, written like \"8PSK 3/5\" (EN 302 307-1, table 12)",
            )
            .nearest(nearest(text, all.iter().map(String::as_str))),
    );
    String::new()
}

fn s2_rolloff(k: &mut Scope<'_, '_>) -> f64 {
    let r = k.required_exact("rolloff", PLAIN, b::ROLLOFF);
    if k.sec.has("rolloff") && ![0.20, 0.25, 0.35].iter().any(|x| (x - r).abs() < 1e-9) && r != 0.0
    {
        let place = k.sec.place_of("rolloff");
        k.problem(
            Problem::warning("DVB-S2 knows three roll-offs")
                .at_place(place)
                .label("not one of them")
                .expected("0.20, 0.25 or 0.35 (EN 302 307-1, 5.6)"),
        );
    }
    r
}
