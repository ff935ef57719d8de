//! `[supply]`, `[cooling]`, `[limits]` and `[wind]`.

use super::bounds as b;
use super::desk::{DEFAULT, Kind, Scope, about, between};
use crate::checked::{Cooling, ExposureLimits, Supply, SupplySource, Wind};
use slantpath_input::Problem;
use slantpath_quantity::Dimension;

pub(crate) fn supply(mut s: Scope<'_, '_>) -> Supply {
    let out = Supply {
        source: s
            .sec
            .choice(
                "source",
                &[
                    ("mains", SupplySource::Mains),
                    ("battery", SupplySource::Battery),
                ],
                &mut s.desk.problems,
            )
            .unwrap_or(SupplySource::Mains),
        volts: s.required("volts", Kind::Plain(Dimension::Voltage), b::VOLTS),
        max_current: s.optional("max_current", Kind::Plain(Dimension::Current), b::AMPERES),
        cable_resistance: s.or_default(
            "cable_resistance",
            Kind::Plain(Dimension::Resistance),
            b::OHMS,
            between(0.0, 0.02),
            DEFAULT,
        ),
        battery: s.optional("battery", Kind::Plain(Dimension::Charge), b::CHARGE),
    };
    if out.source == SupplySource::Battery && out.battery.is_none() && !s.sec.has("battery") {
        s.problem(
            Problem::warning("the battery's charge is not given")
                .at_place(s.sec.place())
                .label("hours of operation cannot be told")
                .help("write `battery = \"100 Ah\"`"),
        );
    }
    s.done();
    out
}

pub(crate) fn cooling(mut s: Scope<'_, '_>) -> Cooling {
    let thermal = Kind::Plain(Dimension::ThermalResistance);
    let time = Kind::Plain(Dimension::Time);
    let temperature = Kind::Plain(Dimension::Temperature);
    let sink = s.required("sink", thermal, b::THERMAL);
    let sink_time = s.required("sink_time", time, b::TIME);
    let device = s.or_default("device", thermal, b::THERMAL, between(0.2, 0.6), DEFAULT);
    let cabinet = s.optional("cabinet", thermal, b::THERMAL);
    let cabinet_time = s.optional("cabinet_time", time, b::TIME);
    let limit = s.or_default(
        "limit",
        temperature,
        b::PART_TEMPERATURE,
        about(348.15, 5.0),
        DEFAULT,
    );
    let ambient = s.or_default(
        "ambient",
        temperature,
        b::AIR_TEMPERATURE,
        about(293.15, 8.0),
        DEFAULT,
    );
    let fan = s.sec.flag("fan", &mut s.desk.problems).unwrap_or(false);
    let foldback = s
        .sec
        .flag("foldback", &mut s.desk.problems)
        .unwrap_or(false);
    if cabinet.is_some() != cabinet_time.is_some()
        && s.sec.has("cabinet") != s.sec.has("cabinet_time")
    {
        let absent = if cabinet.is_some() {
            "cabinet_time"
        } else {
            "cabinet"
        };
        s.sec.missing(
            absent,
            "a cabinet is described by its thermal resistance (`cabinet`) and its time constant (`cabinet_time`)",
            &mut s.desk.problems,
        );
    }
    if limit.distribution.mean() <= ambient.distribution.mean() {
        s.problem(
            Problem::error("the amplifier is too hot before it begins")
                .at_place(s.sec.place_of(if s.sec.has("limit") {
                    "limit"
                } else {
                    "ambient"
                }))
                .label("the limit is not above the outside air")
                .expected("`limit` above `ambient`"),
        );
    }
    s.done();
    Cooling {
        sink,
        sink_time,
        device,
        cabinet,
        cabinet_time,
        fan,
        limit,
        foldback,
        ambient,
    }
}

pub(crate) fn limits(mut s: Scope<'_, '_>) -> ExposureLimits {
    let flux = Kind::Plain(Dimension::PowerFlux);
    let out = ExposureLimits {
        public_w_m2: s.required_exact("public", flux, b::FLUX),
        occupational_w_m2: s.required_exact("occupational", flux, b::FLUX),
        reflection: s.exact("reflection", Kind::Plain(Dimension::Ratio), b::REFLECTION),
    };
    if out.public_w_m2 > out.occupational_w_m2 && s.sec.has("occupational") {
        s.problem(
            Problem::error("the public may not be allowed more than people at work")
                .at_place(s.sec.place_of("public"))
                .label("above `occupational`")
                .expected("`public` not above `occupational`; perhaps they are exchanged"),
        );
    }
    s.done();
    out
}

pub(crate) fn wind(mut s: Scope<'_, '_>) -> Wind {
    let length = Kind::Plain(Dimension::Length);
    let out = Wind {
        gust_m_s: s.required_exact("gust", Kind::Plain(Dimension::Speed), b::GUST),
        force_coefficient: s.required_exact(
            "force_coefficient",
            Kind::Plain(Dimension::Ratio),
            b::FORCE_COEFFICIENT,
        ),
        lever_m: s.exact("lever", length, b::LEVER),
        bolts_apart_m: s.exact("bolts_apart", length, b::LEVER),
        bolt_pairs: s
            .sec
            .count("bolt_pairs", 1..=16, &mut s.desk.problems)
            .unwrap_or(1),
    };
    if s.sec.has("bolts_apart") && !s.sec.has("lever") {
        s.sec.missing(
            "lever",
            "the pull on a bolt follows from the moment: write the distance from the clamp to the dish's middle",
            &mut s.desk.problems,
        );
    }
    s.done();
    out
}
