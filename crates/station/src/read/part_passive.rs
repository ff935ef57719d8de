//! Parts without power.

use super::bounds as b;
use super::desk::{DEFAULT, Kind, Scope, about, between};
use crate::checked::{
    Attenuator, BiasTee, Cable, Connector, Filter, LossPoint, Rejection, Splitter,
};
use slantpath_chain::cable::{GENERIC_CABLES, GENERIC_RELATIVE_U, GenericCable};
use slantpath_input::toml::Value;
use slantpath_input::{Problem, nearest};
use slantpath_quantity::{Contributor, Dimension, Distribution, Frequency};

const LOSS_PER_LENGTH: Kind = Kind::Plain(Dimension::LossPerLength);
const FREQUENCY: Kind = Kind::Plain(Dimension::Frequency);

pub(crate) fn cable(s: &mut Scope<'_, '_>) -> Cable {
    let length = s.required("length", Kind::Plain(Dimension::Length), b::LENGTH);
    let generic = generic(s);
    let (loss, loss_factor) = cable_loss(s, generic);
    let resistance_default = match generic {
        Some(g) => about(g.loop_ohm_per_m, 0.15 * g.loop_ohm_per_m),
        None => between(0.03, 0.13),
    };
    let resistance_per_m = {
        let mut c = s.or_default(
            "resistance",
            Kind::Plain(Dimension::ResistancePerLength),
            b::OHMS,
            resistance_default,
            DEFAULT,
        );
        if let Some(g) = generic
            && c.source == DEFAULT
        {
            c.source = source_of(g);
        }
        c
    };
    Cable {
        generic: generic.map(|g| g.key.to_string()),
        loss,
        loss_factor,
        length,
        resistance_per_m,
    }
}

fn source_of(g: &GenericCable) -> String {
    format!("{DEFAULT}: generic cable {} (common practice)", g.key)
}

fn generic(s: &mut Scope<'_, '_>) -> Option<&'static GenericCable> {
    let text = s.sec.text("type", &mut s.desk.problems)?;
    let found = GenericCable::named(text);
    if found.is_none() {
        let place = s.sec.place_of("type");
        let keys = GENERIC_CABLES.iter().map(|g| g.key);
        let list: Vec<String> = keys.clone().map(|k| format!("\"{k}\"")).collect();
        s.problem(
            Problem::error(format!("`type` cannot be \"{text}\""))
                .at_place(place)
                .label("not one of the generic kinds")
                .expected(list.join(", "))
                .nearest(nearest(text, keys))
                .help("or give its loss from the maker's sheet: `loss = \"0.18 dB/m\"` with `loss_at = \"740 MHz\"`, or a `loss_table`"),
        );
    }
    found
}

/// The loss table, and the factor on it that carries its uncertainty.
fn cable_loss(
    s: &mut Scope<'_, '_>,
    generic: Option<&'static GenericCable>,
) -> (Vec<LossPoint>, Contributor) {
    let given: Vec<&str> = ["type", "loss", "loss_table"]
        .into_iter()
        .filter(|k| s.sec.has(k))
        .collect();
    if given.len() > 1 {
        s.problem(
            Problem::error("the cable's loss is given more than once")
                .at_place(s.sec.place_of_key(given[1]))
                .label(format!("`{}` is there already", given[0]))
                .help("keep the maker's table, or what you measured"),
        );
    }
    let single = s.optional("loss", LOSS_PER_LENGTH, b::LOSS);
    let at = s
        .exact("loss_at", FREQUENCY, b::FREQUENCY)
        .map(Frequency::hz);
    let table = s.sec.get("loss_table");
    let factor = |s: &Scope<'_, '_>, d: Distribution, source: &str| s.made("loss", "1", d, source);
    if let Some(node) = table {
        let rows = s.desk.rows(
            node,
            "loss_table",
            &[
                ("frequency", FREQUENCY, b::FREQUENCY),
                ("loss", LOSS_PER_LENGTH, b::LOSS),
            ],
            0,
        );
        s.desk.rising(&rows, "loss_table", "frequency");
        let points: Vec<LossPoint> = rows
            .iter()
            .filter_map(|(v, _)| {
                Some(LossPoint {
                    frequency: Frequency::hz(v.first()?.mean()),
                    db_per_m: v.get(1)?.mean(),
                })
            })
            .collect();
        // One factor for the whole table: the largest relative uncertainty of a row, else that of a maker's sheet.
        let relative = rows
            .iter()
            .filter_map(|(v, _)| v.get(1))
            .filter(|d| d.mean() > 0.0)
            .map(|d| d.u() / d.mean())
            .fold(0.0, f64::max);
        let d = if relative > 0.0 {
            about(1.0, relative)
        } else {
            about(1.0, 0.05)
        };
        let mut c = factor(s, d, s.desk.source);
        if let Some(o) = node.origin.as_deref().filter(|_| s.sec.origin().is_none()) {
            c.id = slantpath_quantity::ContributorId::new(format!("{}.loss@{o}", s.id));
        }
        return (points, c);
    }
    if let Some(c) = single {
        if at.is_none() && !s.sec.has("loss_at") {
            s.sec.missing(
                "loss_at",
                "the frequency of `loss`, written like \"740 MHz\"",
                &mut s.desk.problems,
            );
        }
        let mean = c.distribution.mean();
        let relative = if mean > 0.0 {
            c.distribution.affine(1.0 / mean, 0.0)
        } else {
            Distribution::Exact(1.0)
        };
        let point = LossPoint {
            frequency: at.unwrap_or(Frequency::hz(1e9)),
            db_per_m: mean,
        };
        return (
            vec![point],
            Contributor {
                distribution: relative,
                unit: "1",
                ..c
            },
        );
    }
    if let Some(g) = generic {
        let points = g
            .loss_mhz_db_per_m
            .iter()
            .map(|&(mhz, db_per_m)| LossPoint {
                frequency: Frequency::mhz(mhz),
                db_per_m,
            })
            .collect();
        return (
            points,
            factor(s, about(1.0, GENERIC_RELATIVE_U), &source_of(g)),
        );
    }
    if given.is_empty() {
        s.sec.missing(
            "loss",
            "its loss: `type` (a generic kind), or `loss` with `loss_at`, or `loss_table`",
            &mut s.desk.problems,
        );
    }
    (Vec::new(), factor(s, Distribution::Exact(1.0), ""))
}

pub(crate) fn splitter(s: &mut Scope<'_, '_>) -> Splitter {
    if !s.sec.has("ways") {
        s.sec
            .missing("ways", "the number of its outputs", &mut s.desk.problems);
    }
    let ways = s
        .sec
        .count("ways", 2..=32, &mut s.desk.problems)
        .unwrap_or(2);
    let loss = s.required("loss", Kind::Db, b::LOSS);
    let ideal = slantpath_quantity::to_db(f64::from(ways));
    if s.sec.has("loss")
        && s.sec.has("ways")
        && loss.distribution.mean() + 1e-3 < ideal
        && !loss.source.is_empty()
    {
        s.problem(
            Problem::error("a splitter cannot lose so little")
                .at_place(s.sec.place_of("loss"))
                .label(format!("dividing by {ways} alone takes {ideal:.1} dB"))
                .expected(format!(
                    "{ideal:.1} dB or more, from the input to each output"
                ))
                .help("if it amplifies, add an `amplifier` before it"),
        );
    }
    let isolation = s.or_default(
        "isolation",
        Kind::Db,
        b::ISOLATION,
        between(15.0, 25.0),
        DEFAULT,
    );
    let dc_ports = dc_ports(s, ways);
    Splitter {
        ways,
        loss,
        isolation,
        dc_ports,
    }
}

fn dc_ports(s: &mut Scope<'_, '_>, ways: u32) -> Vec<u32> {
    const EXPECTED: &str =
        "the outputs that pass DC to the LNB, counted from 1: `[1]`, `[1, 2]`, or `[]` for none";
    if !s.sec.has("dc_ports") {
        s.sec.missing("dc_ports", EXPECTED, &mut s.desk.problems);
    }
    let mut out = Vec::new();
    for node in s.sec.list("dc_ports", &mut s.desk.problems).unwrap_or(&[]) {
        match node.value {
            Value::Integer(i) if (1..=i64::from(ways)).contains(&i) => {
                let port = i as u32;
                if !out.contains(&port) {
                    out.push(port);
                }
            }
            _ => s.desk.problems.push(
                Problem::error("this splitter has no such output")
                    .at_place(node.place())
                    .label(format!("its outputs are 1 to {ways}"))
                    .expected(EXPECTED),
            ),
        }
    }
    out
}

pub(crate) fn connector(s: &mut Scope<'_, '_>) -> Connector {
    Connector {
        loss: s.or_default("loss", Kind::Db, b::LOSS, between(0.02, 0.2), DEFAULT),
        dc_pass: flag(s, "dc_pass", true),
    }
}

pub(crate) fn attenuator(s: &mut Scope<'_, '_>) -> Attenuator {
    Attenuator {
        loss: s.required("loss", Kind::Db, b::LOSS),
        max_input: s.optional("max_input", Kind::Power, b::POWER),
        dc_pass: flag(s, "dc_pass", false),
    }
}

pub(crate) fn filter(s: &mut Scope<'_, '_>) -> Filter {
    let passband = required_band(s, "passband");
    let loss = s.required("loss", Kind::Db, b::LOSS);
    let mut rejection = Vec::new();
    if let Some(node) = s.sec.get("rejection") {
        let rows = s.desk.rows(
            node,
            "rejection",
            &[
                ("frequency", FREQUENCY, b::FREQUENCY),
                ("attenuation", Kind::Db, b::LOSS),
            ],
            0,
        );
        s.desk.rising(&rows, "rejection", "frequency");
        rejection = rows
            .iter()
            .filter_map(|(v, _)| {
                Some(Rejection {
                    frequency: Frequency::hz(v.first()?.mean()),
                    attenuation_db: v.get(1)?.mean(),
                })
            })
            .collect();
    }
    Filter {
        passband,
        loss,
        rejection,
        max_input: s.optional("max_input", Kind::Power, b::POWER),
        dc_pass: flag(s, "dc_pass", false),
    }
}

pub(crate) fn bias_tee(s: &mut Scope<'_, '_>) -> BiasTee {
    BiasTee {
        loss: s.or_default("loss", Kind::Db, b::LOSS, between(0.1, 0.5), DEFAULT),
        volts: s.optional("volts", Kind::Plain(Dimension::Voltage), b::VOLTS),
        tone: flag(s, "tone", false),
        max_current: s.optional("max_current", Kind::Plain(Dimension::Current), b::AMPERES),
        resistance: s.or_default(
            "resistance",
            Kind::Plain(Dimension::Resistance),
            b::OHMS,
            between(0.0, 1.0),
            DEFAULT,
        ),
    }
}

pub(crate) fn flag(s: &mut Scope<'_, '_>, key: &'static str, default: bool) -> bool {
    s.sec.flag(key, &mut s.desk.problems).unwrap_or(default)
}

/// A range that must be written (0 to infinity as a stand-in).
pub(crate) fn required_band(s: &mut Scope<'_, '_>, key: &'static str) -> crate::checked::Band {
    if !s.sec.has(key) {
        s.sec.missing(
            key,
            "a range of frequencies, written like \"10.45..10.75 GHz\"",
            &mut s.desk.problems,
        );
    }
    s.band(key).unwrap_or(crate::checked::Band {
        lo: Frequency::hz(0.0),
        hi: Frequency::hz(f64::INFINITY),
    })
}
