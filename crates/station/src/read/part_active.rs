//! Parts with power.

use super::bounds as b;
use super::desk::{DEFAULT, GUESS, Kind, Scope, between, either_way};
use super::part::tolerance_hz;
use super::part_passive::{flag, required_band};
use crate::checked::{
    AmAmRow, Amplifier, Band, EfficiencyPoint, Lnb, LnbPolarisation, Polarisation, Receiver,
    ReceiverOutput, Transmitter,
};
use slantpath_input::Problem;
use slantpath_input::toml::Value;
use slantpath_quantity::constants::T0_K;
use slantpath_quantity::{Angle, Contributor, Dimension, Distribution, Frequency, Temperature};

const FREQUENCY: Kind = Kind::Plain(Dimension::Frequency);
const VOLTAGE: Kind = Kind::Plain(Dimension::Voltage);
const CURRENT: Kind = Kind::Plain(Dimension::Current);

pub(crate) fn lnb(s: &mut Scope<'_, '_>) -> Lnb {
    let noise_figure = noise_figure(s);
    let gain = s.required("gain", Kind::Db, b::GAIN);
    let lo = Frequency::hz(s.required_exact("lo", FREQUENCY, b::FREQUENCY));
    let lo_with_tone = s
        .exact("lo_with_tone", FREQUENCY, b::FREQUENCY)
        .map(Frequency::hz);
    let lo_error = lo_error(s, lo);
    // A plain crystal wanders by some 10 to 60 kHz over a day (common practice, no source).
    let wander = match reference(s) {
        Reference::Crystal => between(10e3, 60e3),
        Reference::Tcxo => between(0.0, 5e3),
        Reference::Disciplined => between(0.0, 10.0),
    };
    let lo_wander_per_day = s.or_default(
        "lo_wander_per_day",
        FREQUENCY,
        b::FREQUENCY_SHIFT,
        wander,
        DEFAULT,
    );
    let per_kelvin = match reference(s) {
        Reference::Crystal => between(-1.0, 1.0),
        Reference::Tcxo => between(-0.1, 0.1),
        Reference::Disciplined => Distribution::Exact(0.0),
    };
    let lo_ppm_per_kelvin = s.or_default(
        "lo_ppm_per_kelvin",
        Kind::Plain(Dimension::PartsPerMillion),
        b::PPM_PER_KELVIN,
        per_kelvin,
        DEFAULT,
    );
    let ports = s
        .sec
        .count("ports", 1..=8, &mut s.desk.problems)
        .unwrap_or(1);
    let polarisation = lnb_polarisation(s, ports);
    let input_range = required_band(s, "input_range");
    let output_range = required_band(s, "output_range");
    let out = Lnb {
        noise_figure,
        gain,
        lo,
        lo_error,
        lo_ppm_per_kelvin,
        lo_wander_per_day,
        lo_with_tone,
        inverted: lo > input_range.centre(),
        polarisation,
        min_volts: s.or_default("min_volts", VOLTAGE, b::VOLTS, between(10.5, 11.5), DEFAULT),
        max_volts: s.or_default("max_volts", VOLTAGE, b::VOLTS, between(20.0, 22.0), DEFAULT),
        current: s.or_default("current", CURRENT, b::AMPERES, between(0.08, 0.2), DEFAULT),
        input_range,
        output_range,
        ports,
        output_p1db: s.or_default(
            "output_p1db",
            Kind::Power,
            b::POWER,
            between(-35.0, -25.0),
            DEFAULT,
        ),
    };
    if out.min_volts.distribution.mean() >= out.max_volts.distribution.mean() {
        s.problem(
            Problem::error("the LNB has no volts at which it works")
                .at_place(s.sec.place_of("min_volts"))
                .label("not below `max_volts`")
                .expected("`min_volts` below `max_volts`"),
        );
    }
    out
}

/// `noise_figure` in dB, or `noise_temperature` in kelvin converted at T0 = 290 K (first order for its uncertainty).
fn noise_figure(s: &mut Scope<'_, '_>) -> Contributor {
    let t = s.optional_as(
        "noise_temperature",
        "noise_figure",
        Kind::Plain(Dimension::Temperature),
        b::Bounds {
            lo: 0.0,
            hi: 1e6,
            why: "a noise temperature is not negative",
        },
    );
    if s.sec.has("noise_temperature") && s.sec.has("noise_figure") {
        s.problem(
            Problem::error("the noise is given twice")
                .at_place(s.sec.place_of_key("noise_temperature"))
                .label("`noise_figure` is there already")
                .help("keep one of the two"),
        );
    }
    let _ = s.sec.get("noise_figure");
    let Some(c) = t else {
        if s.sec.has("noise_temperature") {
            return s.made("noise_figure", "dB", Distribution::Exact(0.0), "");
        }
        return s.required("noise_figure", Kind::Db, b::NOISE_FIGURE);
    };
    let nf = |k: f64| Temperature::k(k).as_noise_figure_db();
    let distribution = match c.distribution {
        Distribution::Exact(k) => Distribution::Exact(nf(k)),
        Distribution::Normal { mean, u } => Distribution::Normal {
            mean: nf(mean),
            u: 10.0 / std::f64::consts::LN_10 * u / (T0_K + mean),
        },
        Distribution::Rectangular { lo, hi } => Distribution::Rectangular {
            lo: nf(lo),
            hi: nf(hi),
        },
    };
    Contributor {
        distribution,
        unit: "dB",
        ..c
    }
}

#[derive(Clone, Copy)]
enum Reference {
    Crystal,
    Tcxo,
    Disciplined,
}

fn reference(s: &mut Scope<'_, '_>) -> Reference {
    s.sec
        .choice(
            "reference",
            &[
                ("crystal", Reference::Crystal),
                ("tcxo", Reference::Tcxo),
                ("disciplined", Reference::Disciplined),
            ],
            &mut s.desk.problems,
        )
        .unwrap_or(Reference::Crystal)
}

/// The oscillator's error: as measured (`lo_error`), within `lo_tolerance`, or what is usual for its reference (common
/// practice, no source).
fn lo_error(s: &mut Scope<'_, '_>, lo: Frequency) -> Contributor {
    let usual = match reference(s) {
        Reference::Crystal => 300e3,
        Reference::Tcxo => 5e3,
        Reference::Disciplined => 10.0,
    };
    let any = b::Bounds {
        lo: -1e9,
        hi: 1e9,
        why: "no oscillator is that far off",
    };
    let measured = s.optional("lo_error", FREQUENCY, any);
    let tolerance = tolerance_hz(s, "lo_tolerance", lo);
    if let Some(c) = measured {
        return c;
    }
    let origin = s.sec.get("lo_tolerance").and_then(|n| n.origin.clone());
    let (d, source) = match tolerance {
        Some(d) => (d, s.desk.source),
        None => (either_way(0.0, usual), DEFAULT),
    };
    let mut c = s.made("lo_error", "Hz", d, source);
    if let Some(o) = origin.filter(|_| s.sec.origin().is_none()) {
        c.id = slantpath_quantity::ContributorId::new(format!("{}.lo_error@{o}", s.id));
    }
    c
}

fn lnb_polarisation(s: &mut Scope<'_, '_>, ports: u32) -> LnbPolarisation {
    const WORDS: [(&str, Option<Polarisation>); 3] = [
        ("switched", None),
        ("horizontal", Some(Polarisation::Horizontal)),
        ("vertical", Some(Polarisation::Vertical)),
    ];
    let threshold = s.or_default(
        "switch_volts",
        VOLTAGE,
        b::VOLTS,
        between(14.5, 15.0),
        DEFAULT,
    );
    let Some(node) = s.sec.get("polarisation") else {
        return LnbPolarisation::Switched { threshold };
    };
    if let Value::List(list) = &node.value {
        let fixed: Vec<Polarisation> = list
            .iter()
            .filter_map(|n| match &n.value {
                Value::Text(t) => WORDS
                    .iter()
                    .find(|(w, _)| w.eq_ignore_ascii_case(t))
                    .and_then(|(_, p)| *p),
                _ => None,
            })
            .collect();
        if fixed.len() != list.len() || fixed.len() != ports as usize {
            s.problem(
                Problem::error("this does not say the polarisation of each port")
                    .at_place(node.place())
                    .label(format!("the LNB has {ports} port(s)"))
                    .expected("one \"horizontal\" or \"vertical\" for each port, or \"switched\""),
            );
        }
        return LnbPolarisation::Fixed(fixed);
    }
    match s.sec.choice("polarisation", &WORDS, &mut s.desk.problems) {
        Some(Some(p)) => LnbPolarisation::Fixed(vec![p; ports as usize]),
        _ => LnbPolarisation::Switched { threshold },
    }
}

pub(crate) fn amplifier(s: &mut Scope<'_, '_>) -> Amplifier {
    let gain = s.required("gain", Kind::Db, b::GAIN);
    let noise_figure = s.or_default(
        "noise_figure",
        Kind::Db,
        b::NOISE_FIGURE,
        between(3.0, 10.0),
        DEFAULT,
    );
    let power = |s: &mut Scope<'_, '_>, key| s.optional(key, Kind::Power, b::POWER);
    let p1db = power(s, "p1db");
    let psat = power(s, "psat");
    if let (Some(p), Some(q)) = (&p1db, &psat)
        && q.distribution.mean() <= p.distribution.mean()
    {
        s.problem(
            Problem::error("saturation is not above the 1 dB compression point")
                .at_place(s.sec.place_of("psat"))
                .label("not above `p1db`")
                .expected("`psat` some 0.5 to 3 dB above `p1db`"),
        );
    }
    let am_am = am_am(s);
    let efficiency = efficiency(s);
    let out = Amplifier {
        gain,
        noise_figure,
        p1db,
        psat,
        smoothness: s.optional(
            "smoothness",
            Kind::Plain(Dimension::Ratio),
            b::Bounds {
                lo: 0.2,
                hi: 100.0,
                why: "the Rapp model's smoothness lies between 0.2 and 100",
            },
        ),
        am_am,
        max_input: power(s, "max_input"),
        max_reflected: power(s, "max_reflected"),
        max_mean_power: power(s, "max_mean_power"),
        efficiency,
        supply_volts: s.optional("supply_volts", VOLTAGE, b::VOLTS),
        current: s.optional("current", CURRENT, b::AMPERES),
        frequency_range: s.band("frequency_range"),
        dc_pass: flag(s, "dc_pass", false),
    };
    if let (Some(mean), Some(sat)) = (&out.max_mean_power, out.psat.as_ref().or(out.p1db.as_ref()))
        && mean.distribution.mean() > sat.distribution.mean() + 3.0
    {
        s.problem(
            Problem::warning("the mean power allowed is more than the amplifier gives")
                .at_place(s.sec.place_of("max_mean_power"))
                .label("far above its compression"),
        );
    }
    out
}

fn am_am(s: &mut Scope<'_, '_>) -> Vec<AmAmRow> {
    let Some(node) = s.sec.get("am_am") else {
        return Vec::new();
    };
    let rows = s.desk.rows(
        node,
        "am_am",
        &[
            ("input", Kind::Power, b::POWER),
            ("output", Kind::Power, b::POWER),
            ("phase", Kind::Plain(Dimension::Angle), b::ANY),
        ],
        1,
    );
    s.desk.rising(&rows, "am_am", "input power");
    if rows.len() < 3 {
        s.problem(
            Problem::error("an AM/AM table needs at least three rows")
                .at_place(node.place())
                .label(format!("{} usable here", rows.len()))
                .help("step the drive from well below to just past compression"),
        );
    }
    let table: Vec<AmAmRow> = rows
        .iter()
        .filter_map(|(v, _)| {
            Some(AmAmRow {
                input_dbw: v.first()?.mean(),
                output_dbw: v.get(1)?.mean(),
                phase: v.get(2).map(|p| Angle::rad(p.mean())),
            })
        })
        .collect();
    for (w, (_, at)) in table.windows(2).zip(rows.iter().skip(1)) {
        if let [a, z] = w
            && z.output_dbw < a.output_dbw - 0.2
        {
            s.problem(
                Problem::error("the output falls while the input rises")
                    .at_place(at.place())
                    .label("less output than in the row before")
                    .help("is the amplifier folding back? leave out the rows behind that point"),
            );
            break;
        }
    }
    table
}

fn efficiency(s: &mut Scope<'_, '_>) -> Vec<EfficiencyPoint> {
    let Some(node) = s.sec.get("efficiency") else {
        return Vec::new();
    };
    let rows = s.desk.rows(
        node,
        "efficiency",
        &[
            ("output", Kind::Power, b::POWER),
            ("efficiency", Kind::Share, b::EFFICIENCY),
        ],
        0,
    );
    s.desk.rising(&rows, "efficiency", "output power");
    let origin = node.origin.as_deref().filter(|_| s.sec.origin().is_none());
    rows.iter()
        .enumerate()
        .filter_map(|(i, (v, _))| {
            let mut c = s.made(
                &format!("efficiency.{}", i + 1),
                "1",
                *v.get(1)?,
                s.desk.source,
            );
            if let Some(o) = origin {
                c.id = slantpath_quantity::ContributorId::new(format!("{}@{o}", c.id));
            }
            Some(EfficiencyPoint {
                output_dbw: v.first()?.mean(),
                efficiency: c,
            })
        })
        .collect()
}

pub(crate) fn receiver(s: &mut Scope<'_, '_>) -> Receiver {
    let output = s
        .sec
        .choice(
            "output",
            &[
                ("samples", ReceiverOutput::Samples),
                ("readings", ReceiverOutput::Readings),
            ],
            &mut s.desk.problems,
        )
        .unwrap_or(ReceiverOutput::Samples);
    let samples = output == ReceiverOutput::Samples;
    let bits_kind = Kind::Plain(Dimension::Bits);
    let noise_figure = noise_figure(s);
    let (bits, full_scale, bandwidth) = if samples {
        (
            s.required("bits", bits_kind, b::BITS),
            s.required("full_scale", Kind::Power, b::POWER),
            s.required_exact("bandwidth", FREQUENCY, b::FREQUENCY),
        )
    } else {
        (
            s.or_default("bits", bits_kind, b::BITS, between(7.0, 10.0), GUESS),
            s.or_default(
                "full_scale",
                Kind::Power,
                b::POWER,
                between(-70.0, -50.0),
                GUESS,
            ),
            s.exact("bandwidth", FREQUENCY, b::FREQUENCY)
                .unwrap_or(36e6),
        )
    };
    let frequency_range = required_band(s, "frequency_range");
    let sample_rate = s
        .exact("sample_rate", FREQUENCY, b::FREQUENCY)
        .map(Frequency::hz);
    let gain_range_db = s
        .optional("gain_range", Kind::Db, b::GAIN)
        .map(|c| match c.distribution {
            Distribution::Rectangular { lo, hi } => (lo, hi),
            d => (d.mean(), d.mean()),
        });
    let agc = flag(s, "agc", false);
    if agc {
        s.problem(
            Problem::warning("automatic gain makes levels meaningless")
                .at_place(s.sec.place_of("agc"))
                .label("recordings made with it will be refused")
                .help("fix the gain and write `agc = false`"),
        );
    }
    Receiver {
        output,
        noise_figure,
        bits,
        full_scale,
        frequency_range,
        bandwidth: Frequency::hz(bandwidth),
        sample_rate,
        gain_range_db,
        bias_volts: s.optional("bias_volts", VOLTAGE, b::VOLTS),
        tone: flag(s, "tone", false),
        agc,
        mer_ceiling: s.optional("mer_ceiling", Kind::Db, b::LEVEL),
    }
}

pub(crate) fn transmitter(s: &mut Scope<'_, '_>) -> Transmitter {
    let max_power = s.required("max_power", Kind::Power, b::POWER);
    let frequency_range: Band = required_band(s, "frequency_range");
    let centre = if frequency_range.hi.as_hz().is_finite() {
        frequency_range.centre()
    } else {
        Frequency::ghz(2.4)
    };
    let (d, source) = match tolerance_hz(s, "frequency_tolerance", centre) {
        Some(d) => (d, s.desk.source),
        None => (either_way(0.0, 2.5e-6 * centre.as_hz()), DEFAULT),
    };
    let frequency_error = s.made("frequency_error", "Hz", d, source);
    Transmitter {
        max_power,
        frequency_range,
        frequency_error,
        bits: s.optional("bits", Kind::Plain(Dimension::Bits), b::BITS),
        own_mer: s.optional("own_mer", Kind::Db, b::LEVEL),
        max_reflected: s.optional("max_reflected", Kind::Power, b::POWER),
    }
}
