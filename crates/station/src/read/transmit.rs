//! `[transmit]`: the way up, and how each passband is used.

use super::bounds as b;
use super::chain::{Marks, Parts, chain, unknown_part};
use super::desk::{DEFAULT, Desk, Kind, Scope};
use crate::checked::{PartKind, Passband, Satellite, Segment, Transmit, TransmitLevel};
use slantpath_input::{Problem, Section, nearest, toml};
use slantpath_quantity::{Dimension, Distribution, Frequency};

pub(crate) fn transmit(
    desk: &mut Desk,
    sec: Section<'_>,
    parts: &Parts,
    satellite: &Satellite,
    marks: &mut Marks,
) -> Transmit {
    let mut s = Scope::new(desk, sec, "tx", "transmit");
    let list = chain(&mut s);
    let mut out = Vec::new();
    for (i, (name, place)) in list.iter().enumerate() {
        let twice = marks.used.contains(name);
        marks.used.push(name.clone());
        let part = match parts.get(name) {
            None => {
                s.problem(unknown_part(name, place, parts));
                continue;
            }
            Some((None, _)) => continue,
            Some((Some(p), _)) => p,
        };
        let fits = match part.kind {
            PartKind::Transmitter(_) => i == 0,
            PartKind::Cable(_)
            | PartKind::Connector(_)
            | PartKind::Attenuator(_)
            | PartKind::Filter(_)
            | PartKind::Amplifier(_) => i > 0,
            _ => false,
        };
        if twice {
            s.problem(
                Problem::error(format!("`{name}` is used twice"))
                    .at_place(place.clone())
                    .label("one part is one thing and stands in one place")
                    .help(format!(
                        "describe a second one: `[part.{name}-2]` with `like = \"{name}\"`"
                    )),
            );
        }
        if !fits {
            let (label, expected) = if i == 0 {
                (
                    "a transmit chain begins with the transmitter",
                    "a part of `kind = \"transmitter\"` first",
                )
            } else {
                (
                    "this has no place here",
                    "cables, connectors, attenuators, filters and amplifiers behind the transmitter",
                )
            };
            s.problem(
                Problem::error(format!("`{name}` ({}) cannot stand here", part.kind.name()))
                    .at_place(place.clone())
                    .label(label)
                    .expected(expected),
            );
        }
        out.push(part.clone());
    }
    let amplified = out.iter().any(|p| matches!(p.kind, PartKind::Amplifier(_)));
    let segments = segments(&mut s, satellite, amplified);
    Transmit {
        chain: out,
        segments,
    }
}

/// `[transmit.PASSBAND]` tables.
fn segments(s: &mut Scope<'_, '_>, satellite: &Satellite, amplified: bool) -> Vec<Segment> {
    let mut out = Vec::new();
    let entries: Vec<toml::Entry> = s
        .sec
        .entries()
        .iter()
        .filter(|e| e.key != "chain")
        .cloned()
        .collect();
    for e in entries {
        let Some(passband) = satellite.passband(&e.key) else {
            let names = satellite.passbands.iter().map(|p| p.name.as_str());
            let list: Vec<&str> = names.clone().collect();
            s.problem(
                Problem::error(format!("`{}` is not known in `[transmit]`", e.key))
                    .at_place(e.node.source.place(e.key_span.clone()))
                    .label("neither `chain` nor a passband of the satellite")
                    .nearest(nearest(&e.key, names.chain(["chain"])))
                    .expected(format!(
                        "`chain`, or a table for one of: {}",
                        list.join(", ")
                    )),
            );
            continue;
        };
        let sec = Section::open(&e.node, format!("transmit.{}", e.key), &mut s.desk.problems);
        let k = Scope::new(
            s.desk,
            sec,
            format!("tx.{}", e.key),
            format!("{} uplink", e.key),
        );
        out.push(segment(k, passband, amplified));
    }
    out
}

fn segment(mut k: Scope<'_, '_>, passband: &Passband, amplified: bool) -> Segment {
    let power = k.optional("power", Kind::Power, b::POWER);
    let drive = k.optional("drive", Kind::Power, b::POWER);
    let both = k.sec.has("power") && k.sec.has("drive");
    let none = !k.sec.has("power") && !k.sec.has("drive");
    if both {
        let place = k.sec.place_of_key("drive");
        k.problem(
            Problem::error("the transmit level is given twice")
                .at_place(place)
                .label("`power` is there already")
                .help("keep `power` (out of the power amplifier, measured) or `drive` (out of the transmitter, set)"),
        );
    }
    if none {
        k.sec.missing(
            "power",
            "the mean power out of the power amplifier, written like \"20 W\" (or `drive`: out of the transmitter)",
            &mut k.desk.problems,
        );
    }
    if k.sec.has("power") && !amplified {
        let place = k.sec.place_of_key("power");
        k.problem(
            Problem::error("there is no amplifier whose output this could be")
                .at_place(place)
                .label("the chain has no part of `kind = \"amplifier\"`")
                .help("give `drive`, the output of the transmitter"),
        );
    }
    let level = match (power, drive) {
        (Some(p), _) => TransmitLevel::AmplifierOutput(p),
        (None, Some(d)) => TransmitLevel::TransmitterOutput(d),
        (None, None) => {
            TransmitLevel::AmplifierOutput(k.made("power", "dBW", Distribution::Exact(0.0), ""))
        }
    };
    let frequency = k
        .exact("frequency", Kind::Plain(Dimension::Frequency), b::FREQUENCY)
        .map(Frequency::hz);
    if let Some(f) = frequency
        && !passband.uplink.contains(f)
    {
        let place = k.sec.place_of("frequency");
        k.problem(
            Problem::error("this frequency is outside the passband's uplink")
                .at_place(place)
                .label(format!("{:.6} MHz", f.as_mhz()))
                .expected(format!(
                    "{:.3} to {:.3} MHz",
                    passband.uplink.lo.as_mhz(),
                    passband.uplink.hi.as_mhz()
                )),
        );
    }
    let mode = k.sec.text("mode", &mut k.desk.problems).map(str::to_string);
    let symbol_rate = k.exact(
        "symbol_rate",
        Kind::Plain(Dimension::SymbolRate),
        b::SYMBOL_RATE,
    );
    if let Some(r) = symbol_rate
        && r > passband.uplink.width().as_hz()
        && passband.uplink.width().as_hz() > 0.0
    {
        let place = k.sec.place_of("symbol_rate");
        k.problem(
            Problem::error("this carrier is wider than the passband")
                .at_place(place)
                .label(format!(
                    "the passband has {:.0} kHz",
                    passband.uplink.width().as_hz() / 1e3
                )),
        );
    }
    let rolloff = k.exact("rolloff", Kind::Plain(Dimension::Ratio), b::ROLLOFF);
    let duty = k.or_default(
        "duty",
        Kind::Share,
        b::SHARE,
        Distribution::Exact(1.0),
        DEFAULT,
    );
    k.done();
    Segment {
        passband: passband.name.clone(),
        level,
        mode,
        symbol_rate,
        rolloff,
        frequency,
        duty,
    }
}
