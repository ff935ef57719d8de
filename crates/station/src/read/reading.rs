//! `[[reading]]`: values that a person typed.

use super::bounds::{self as b, Bounds};
use super::desk::{Desk, Kind, Scope};
use crate::checked::{Reading, ReadingQuantity, TrialDefaults};
use slantpath_input::{Problem, Section, toml};
use slantpath_quantity::{ContributorId, Dimension, Distribution};

/// How a quantity is kept and what it can be.
pub(crate) fn kept(q: ReadingQuantity) -> (Kind, Bounds) {
    use Dimension as D;
    use ReadingQuantity as Q;
    match q {
        Q::Mer | Q::NoiseStep | Q::YFactor | Q::Margin | Q::Level | Q::CrossPolar => {
            (Kind::Db, b::LEVEL)
        }
        Q::Cn0 => (
            Kind::Plain(D::CarrierToNoiseDensity),
            Bounds {
                lo: -20.0,
                hi: 200.0,
                why: "no carrier reads like that",
            },
        ),
        Q::LnbVolts | Q::SupplyVolts => (Kind::Plain(D::Voltage), b::VOLTS),
        Q::LnbCurrent | Q::SupplyCurrent => (Kind::Plain(D::Current), b::AMPERES),
        Q::ForwardPower | Q::ReflectedPower => (Kind::Power, b::POWER),
        Q::SinkTemperature => (Kind::Plain(D::Temperature), b::PART_TEMPERATURE),
        Q::BeaconFrequency => (Kind::Plain(D::Frequency), b::FREQUENCY),
    }
}

/// Whether a text is a date and time as in RFC 3339, in UTC or with an offset. The calendar itself is checked where the
/// time is used.
pub(crate) fn is_time(text: &str) -> bool {
    let t = text.as_bytes();
    let digits =
        |r: std::ops::Range<usize>| t.get(r).is_some_and(|d| d.iter().all(u8::is_ascii_digit));
    let sign = |i: usize, c: &[u8]| t.get(i).is_some_and(|x| c.contains(x));
    let number = |r: std::ops::Range<usize>| {
        text.get(r)
            .and_then(|d| d.parse::<u32>().ok())
            .unwrap_or(99)
    };
    let head = digits(0..4)
        && sign(4, b"-")
        && digits(5..7)
        && sign(7, b"-")
        && digits(8..10)
        && sign(10, b"Tt ")
        && digits(11..13)
        && sign(13, b":")
        && digits(14..16);
    if !head {
        return false;
    }
    let sound = (1..=12).contains(&number(5..7))
        && (1..=31).contains(&number(8..10))
        && number(11..13) <= 23
        && number(14..16) <= 59;
    let mut rest = text.get(16..).unwrap_or("");
    if let Some(r) = rest.strip_prefix(':') {
        if !digits(17..19) {
            return false;
        }
        rest = r.get(2..).unwrap_or("");
        if let Some(f) = rest.strip_prefix('.') {
            rest = f.trim_start_matches(|c: char| c.is_ascii_digit());
        }
    }
    let offset = matches!(rest, "Z" | "z")
        || (rest.len() == 6
            && rest.starts_with(['+', '-'])
            && rest.as_bytes().get(3) == Some(&b':')
            && rest
                .bytes()
                .enumerate()
                .all(|(i, c)| i == 0 || i == 3 || c.is_ascii_digit()));
    sound && offset
}

pub(crate) const TIME_EXPECTED: &str =
    "date and time with zone, written like \"2026-05-03T14:20:00Z\"";

/// All `[[reading]]`.
pub(crate) fn readings(desk: &mut Desk, top: &mut Section<'_>) -> Vec<Reading> {
    let list = top.list("reading", &mut desk.problems).unwrap_or(&[]);
    let mut out = Vec::new();
    for (i, node) in list.iter().enumerate() {
        let sec = Section::open(node, "reading", &mut desk.problems);
        let s = Scope::new(
            desk,
            sec,
            format!("reading.{}", i + 1),
            format!("reading {}", i + 1),
        );
        out.extend(reading(s));
    }
    out
}

fn reading(mut s: Scope<'_, '_>) -> Option<Reading> {
    if !s.sec.has("quantity") {
        s.sec.missing(
            "quantity",
            "what was read, for example \"mer\"",
            &mut s.desk.problems,
        );
    }
    let words: Vec<(&str, ReadingQuantity)> = ReadingQuantity::ALL
        .iter()
        .map(|q| (q.name(), *q))
        .collect();
    let quantity = s.sec.choice("quantity", &words, &mut s.desk.problems);
    let Some(q) = quantity else {
        // The rest cannot be judged, but is known.
        for key in [
            "value",
            "u",
            "ceiling",
            "time",
            "branch",
            "instrument",
            "passband",
            "beacon",
            "set",
            "mounting",
        ] {
            let _ = s.sec.get(key);
        }
        s.done();
        return None;
    };
    let (kind, bounds) = kept(q);
    let mut value = s.required("value", kind, bounds);
    value.id = ContributorId::new(s.id.clone());
    value.label = q.name().replace('_', " ");
    let spread = s.sec.get("u").and_then(|n| s.desk.spread(n, "u", kind));
    if let Some(u) = spread {
        if !value.distribution.is_exact() {
            let place = s.sec.place_of_key("u");
            s.problem(
                Problem::error("the uncertainty is given twice")
                    .at_place(place)
                    .label("`value` carries one already"),
            );
        }
        value.distribution = with_u(value.distribution, u);
    }
    let ceiling = s.exact("ceiling", kind, bounds);
    let at_ceiling = ceiling.is_some_and(|c| value.distribution.mean() >= c);
    let place = s.sec.place_of("time");
    let time = match s.sec.get("time").map(|n| &n.value) {
        Some(toml::Value::Time(t) | toml::Value::Text(t)) => Some(t.clone()),
        Some(_) => Some(String::new()),
        None => None,
    };
    if let Some(t) = &time
        && !is_time(t)
    {
        s.problem(
            Problem::error("this is not a time")
                .at_place(place)
                .label("with its zone?")
                .expected(TIME_EXPECTED),
        );
    }
    let mut text = |key| s.sec.text(key, &mut s.desk.problems).map(str::to_string);
    let out = Reading {
        quantity: q,
        value,
        at_ceiling,
        ceiling,
        time,
        branch: text("branch"),
        instrument: text("instrument"),
        passband: text("passband"),
        beacon: text("beacon"),
        set: text("set"),
        mounting: text("mounting"),
    };
    s.done();
    Some(out)
}

/// `[trial]`.
pub(crate) fn trial(mut s: Scope<'_, '_>) -> TrialDefaults {
    let u = Bounds {
        lo: 0.0,
        hi: 10.0,
        why: "a standard uncertainty is not negative, and above 10 dB nothing could be said",
    };
    let out = TrialDefaults {
        satellite_level_db: s.exact("satellite_level", Kind::Db, u),
        air_db: s.exact("air", Kind::Db, u),
        remount_db: s.exact("remount", Kind::Db, u),
        correlation_s: s.exact(
            "correlation",
            Kind::Plain(Dimension::Time),
            Bounds {
                lo: 60.0,
                hi: 3.2e7,
                why: "a day-to-day value lasts between a minute and a year",
            },
        ),
    };
    s.done();
    out
}

/// The same estimate with a standard uncertainty.
pub(crate) fn with_u(d: Distribution, u: f64) -> Distribution {
    if u > 0.0 {
        Distribution::Normal { mean: d.mean(), u }
    } else {
        Distribution::Exact(d.mean())
    }
}
