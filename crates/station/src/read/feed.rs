//! `[feed.NAME]`.

use super::bounds as b;
use super::desk::{DEFAULT, Kind, Scope, about, between};
use super::radiator::{horn, radiator};
use super::station::Loader;
use super::touchstone::read_touchstone;
use crate::checked::{
    Cover, Feed, FeedPattern, HornFeed, HornKind, Matching, Memo, PatchRingFeed, PatternRow,
    PhaseCentre, Polarisation, Radiator, ReceiveFeed, Reflection, Shadow, TransmitFeed,
};
use slantpath_input::{Problem, Section};
use slantpath_quantity::{Angle, ContributorId, Dimension, Distribution, Frequency};

const LENGTH: Kind = Kind::Plain(Dimension::Length);
const ANGLE: Kind = Kind::Plain(Dimension::Angle);
const PLAIN: Kind = Kind::Plain(Dimension::Ratio);
/// Line to a transmit feed unless said otherwise (common practice, no source).
const USUAL_LINE_OHM: f64 = 50.0;

pub(crate) fn feed(name: &str, mut s: Scope<'_, '_>, load: &mut Loader<'_>) -> Feed {
    let mut bare_horn = s.sub("horn").map(horn);
    let mut radiator = radiator(&mut s, bare_horn.as_ref());
    let shaded = bare_horn.is_some() && matches!(radiator, Some(Radiator::Coil(_)));
    let described = bare_horn
        .as_ref()
        .is_some_and(|h| h.kind != HornKind::Measured);
    let receive = match s.sub("receive") {
        Some(r) => receive(r, shaded, described),
        None => {
            s.sec.missing(
                "receive",
                &format!("a heading `[feed.{name}.receive]`"),
                &mut s.desk.problems,
            );
            // A stand-in: an empty section in its place.
            let sec = Section::open(s.sec.node(), s.sec.name(), &mut s.desk.problems);
            let quiet = &mut super::desk::Desk {
                problems: slantpath_input::Problems::new(),
                source: s.desk.source,
            };
            receive(
                Scope::new(quiet, sec, s.id.clone(), s.label.clone()),
                shaded,
                described,
            )
        }
    };
    if bare_horn
        .as_ref()
        .is_some_and(|h| h.kind == HornKind::Measured)
    {
        if let FeedPattern::Table { rows, .. } = &receive.pattern {
            let inside = match &mut radiator {
                Some(Radiator::Coil(c)) => c.horn.as_mut(),
                _ => None,
            };
            for h in bare_horn.iter_mut().chain(inside) {
                h.measured.clone_from(rows);
            }
        } else {
            s.problem(
                Problem::error("a `measured` receive feed without a measured pattern")
                    .at_place(s.sec.place_of("horn"))
                    .label("what is in its aperture is found from its pattern")
                    .help(format!(
                        "give `pattern` under [feed.{name}.receive] as a table of angle, level and phase, or say `kind = \"te11\"` or \"he11\""
                    )),
            );
        }
    }
    let transmit = s
        .sub("transmit")
        .map(|t| transmit(t, radiator.as_ref(), bare_horn.is_some(), load));
    // Three degrees is what a scale read by eye gives (common practice, no source).
    let skew_error = s.or_default(
        "skew_error",
        ANGLE,
        b::SKEW,
        about(0.0, 3f64.to_radians()),
        DEFAULT,
    );
    let skew_setting = s.exact("skew_setting", ANGLE, b::SKEW).map(Angle::rad);
    let cover = s.sub("cover").map(cover);
    let used = receive.shadow.from_coil
        || transmit.as_ref().is_some_and(|t| {
            t.pattern == FeedPattern::FromDimensions || t.axial_ratio_from_dimensions
        });
    if let Some(r) = radiator.as_ref().filter(|_| !used) {
        let what = match r {
            Radiator::Coil(_) => {
                "the transmit pattern or `shadow` out to have them computed (the shadow needs `horn` too)"
            }
            Radiator::Patch(_) => "the transmit pattern or `axial_ratio` out to have them computed",
        };
        s.problem(
            Problem::warning(format!("the {}'s dimensions are not used", r.name()))
                .at_place(s.sec.place_of(r.name()))
                .label("every figure that could be computed from them is written")
                .help(format!("written figures go first; leave {what}")),
        );
    }
    if let Some(Radiator::Patch(p)) = &radiator {
        horn_under_patch(&mut s, p, bare_horn.as_ref(), &receive.shadow);
    }
    s.done();
    Feed {
        name: name.to_string(),
        receive,
        transmit,
        skew_error,
        skew_setting,
        cover,
        radiator,
        horn: bare_horn,
        memo: Memo::default(),
    }
}

/// A receive feed that ends under the patch looks out through the hole, which nothing computes.
fn horn_under_patch(
    s: &mut Scope<'_, '_>,
    patch: &PatchRingFeed,
    horn: Option<&HornFeed>,
    shadow: &Shadow,
) {
    let best = |c: &slantpath_quantity::Contributor| c.distribution.mean();
    let Some(h) = horn.filter(|h| best(&h.front) < best(&patch.height)) else {
        return;
    };
    if shadow.loss.source == DEFAULT {
        let mm = |m: f64| slantpath_quantity::show::significant(m * 1e3, 3);
        s.problem(
            Problem::warning("the receive feed ends under the patch")
                .at_place(s.sec.place_of("patch"))
                .label(format!(
                    "its aperture is {} mm before the disc (`front`), the patch {} mm",
                    mm(best(&h.front)),
                    mm(best(&patch.height))
                ))
                .help("what the patch then takes from it is not computed: let it reach through the hole (`front`), or write `shadow` under the receive side"),
        );
    }
}

/// `shaded`: by a coil of known dimensions; `described`: its aperture is.
fn receive(mut s: Scope<'_, '_>, shaded: bool, described: bool) -> ReceiveFeed {
    let from = if described {
        Computable::Horn
    } else {
        Computable::Nothing
    };
    let out = ReceiveFeed {
        pattern: pattern(&mut s, from),
        phase_centre: phase_centre(&mut s),
        cross_polar_isolation: s.or_default(
            "cross_polar_isolation",
            Kind::Db,
            b::ISOLATION,
            between(18.0, 30.0),
            DEFAULT,
        ),
        ohmic_loss: s.or_default("ohmic_loss", Kind::Db, b::LOSS, between(0.0, 0.1), DEFAULT),
        return_loss: s.or_default(
            "return_loss",
            Kind::Db,
            b::RETURN_LOSS,
            between(12.0, 25.0),
            DEFAULT,
        ),
        shadow: shadow(&mut s, shaded),
    };
    s.done();
    out
}

fn transmit(
    mut s: Scope<'_, '_>,
    radiator: Option<&Radiator>,
    horn: bool,
    load: &mut Loader<'_>,
) -> TransmitFeed {
    let described = radiator.is_some();
    let focus_from_receive = described && horn && !s.sec.has("focus_error");
    let from = if described {
        Computable::Radiator
    } else {
        Computable::Nothing
    };
    let pattern = pattern(&mut s, from);
    let computed = pattern == FeedPattern::FromDimensions;
    let phase_centre = phase_centre(&mut s);
    let sense_at_feed = sense(&mut s);
    let linear = !sense_at_feed.is_circular();
    if let Some(r) = radiator.filter(|_| linear) {
        let name = r.name();
        s.problem(
            Problem::error(format!("a {name} radiates a circular wave"))
                .at_place(s.sec.place_of("polarisation"))
                .label("this is a linear polarisation")
                .help(format!(
                    "write `sense_after_dish` or `sense_at_feed`, or leave the `{name}` out"
                )),
        );
    }
    let usual = if linear {
        Distribution::Exact(0.0)
    } else {
        between(0.5, 3.0)
    };
    let axial_ratio_from_dimensions = described && !linear && !s.sec.has("axial_ratio");
    let axial_ratio = s.or_default("axial_ratio", Kind::Db, b::AXIAL_RATIO, usual, DEFAULT);
    let ohmic_loss = s.or_default("ohmic_loss", Kind::Db, b::LOSS, between(0.0, 0.2), DEFAULT);
    let return_loss = s.or_default(
        "return_loss",
        Kind::Db,
        b::RETURN_LOSS,
        between(10.0, 20.0),
        DEFAULT,
    );
    let line_ohm = s
        .exact("line", Kind::Plain(Dimension::Resistance), b::LINE)
        .unwrap_or(USUAL_LINE_OHM);
    let matching = matching(&mut s, computed, line_ohm, load);
    s.done();
    TransmitFeed {
        pattern,
        phase_centre,
        sense_at_feed,
        axial_ratio,
        ohmic_loss,
        return_loss,
        matching,
        line_ohm,
        axial_ratio_from_dimensions,
        focus_from_receive: focus_from_receive && computed,
    }
}

/// Where the return loss comes from: measured first, then written, then computed.
fn matching(
    s: &mut Scope<'_, '_>,
    computed: bool,
    line_ohm: f64,
    load: &mut Loader<'_>,
) -> Matching {
    let dry = network(s, "s11", line_ohm, load);
    let wet = network(s, "s11_wet", line_ohm, load);
    if s.sec.has("s11_wet") && !s.sec.has("s11") {
        s.sec.missing(
            "s11",
            "the same measurement, dry: a `.s1p` file beside this one",
            &mut s.desk.problems,
        );
    }
    if s.sec.has("s11") && s.sec.has("return_loss") {
        s.problem(
            Problem::warning("`return_loss` is not used")
                .at_place(s.sec.place_of("return_loss"))
                .label("`s11` is the measurement itself")
                .help("remove one of them"),
        );
    }
    match dry {
        Some(dry) => Matching::Measured { dry, wet },
        None if computed && !s.sec.has("return_loss") && !s.sec.has("s11") => {
            Matching::FromDimensions
        }
        None => Matching::Written,
    }
}

/// A Touchstone file named under a key.
fn network(
    s: &mut Scope<'_, '_>,
    key: &'static str,
    line_ohm: f64,
    load: &mut Loader<'_>,
) -> Option<Reflection> {
    let place = s.sec.place_of(key);
    let path = s.sec.text(key, &mut s.desk.problems)?;
    match load(path) {
        Ok(source) => {
            let (r, problems) = read_touchstone(&source);
            s.desk.problems.extend(problems);
            if let Some(r) = r
                .as_ref()
                .filter(|r| (r.reference_ohm / line_ohm - 1.0).abs() > 0.02)
            {
                s.problem(
                    Problem::warning(format!(
                        "measured against {} ohm, but the line has {line_ohm} ohm",
                        r.reference_ohm
                    ))
                    .at_place(source.place(source.line_span(r.option_line)))
                    .label("converted to the line's impedance")
                    .help("if the analyser was calibrated with loads of the line's impedance, correct this `R`; if the line is another, give `line` beside `s11`"),
                );
            }
            r
        }
        Err(why) => {
            s.problem(
                Problem::error("the measured reflection cannot be read")
                    .at_place(place)
                    .label(why)
                    .expected(
                        "the path of a Touchstone file of one port (`.s1p`), relative to this file",
                    ),
            );
            None
        }
    }
}

fn sense(s: &mut Scope<'_, '_>) -> Polarisation {
    use Polarisation::{Horizontal, Lhcp, Rhcp, Vertical};
    let circular = [("RHCP", Rhcp), ("LHCP", Lhcp)];
    let at_feed = s
        .sec
        .choice("sense_at_feed", &circular, &mut s.desk.problems);
    let after = s
        .sec
        .choice("sense_after_dish", &circular, &mut s.desk.problems)
        .map(Polarisation::opposite);
    let linear = s.sec.choice(
        "polarisation",
        &[("horizontal", Horizontal), ("vertical", Vertical)],
        &mut s.desk.problems,
    );
    let written = ["sense_at_feed", "sense_after_dish", "polarisation"]
        .iter()
        .filter(|k| s.sec.has(k))
        .count();
    match written {
        0 => s.sec.missing(
            "sense_after_dish",
            "\"RHCP\" or \"LHCP\" as the wave leaves the dish (or `sense_at_feed`: as the feed radiates it, the reflector turns it round; or `polarisation` for a linear feed)",
            &mut s.desk.problems,
        ),
        1 => {}
        _ => s.problem(
            Problem::error("the sense is given twice")
                .at_place(s.sec.place())
                .label("more than one of `sense_at_feed`, `sense_after_dish`, `polarisation`")
                .help("keep one: the dish turns a circular sense round, so that each says the other"),
        ),
    }
    at_feed.or(after).or(linear).unwrap_or(Rhcp)
}

/// From what a pattern can be computed that is not written.
#[derive(Clone, Copy, PartialEq)]
enum Computable {
    Nothing,
    Radiator,
    Horn,
}

fn pattern(s: &mut Scope<'_, '_>, from: Computable) -> FeedPattern {
    const WAYS: &str = "one of: `edge_taper` with `edge_angle`; `exponent`; `bare_gain`; `pattern`";
    let given: Vec<&str> = ["edge_taper", "exponent", "bare_gain", "pattern"]
        .into_iter()
        .filter(|k| s.sec.has(k))
        .collect();
    if given.len() > 1 {
        s.problem(
            Problem::error("the feed's pattern is given more than once")
                .at_place(s.sec.place_of_key(given[1]))
                .label(format!("`{}` is there already", given[0]))
                .expected(WAYS),
        );
    }
    // All four are asked for, so that every one is known when names are compared.
    let taper = s.optional("edge_taper", Kind::Db, b::TAPER);
    let angle = s.optional("edge_angle", ANGLE, b::EDGE_ANGLE);
    let exponent = s.optional("exponent", PLAIN, b::EXPONENT);
    let gain = s.optional("bare_gain", Kind::Plain(Dimension::GainLevel), b::BARE_GAIN);
    let table = s.sec.get("pattern");
    if s.sec.has("edge_angle") && !s.sec.has("edge_taper") {
        s.sec.missing(
            "edge_taper",
            "how many dB down at `edge_angle`",
            &mut s.desk.problems,
        );
    }
    if let Some(node) = table {
        let rows = s.desk.rows(
            node,
            "pattern",
            &[
                (
                    "angle",
                    ANGLE,
                    b::Bounds {
                        lo: 0.0,
                        ..b::EDGE_ANGLE
                    },
                ),
                ("level", Kind::Db, b::LEVEL),
                ("phase", ANGLE, b::ANY),
            ],
            1,
        );
        s.desk.rising(&rows, "pattern", "angle");
        let rows: Vec<PatternRow> = rows
            .iter()
            .filter_map(|(v, _)| {
                Some(PatternRow {
                    angle: Angle::rad(v.first()?.mean()),
                    level_db: v.get(1)?.mean(),
                    phase: v.get(2).map(|p| Angle::rad(p.mean())),
                })
            })
            .collect();
        let first = rows.first().map_or(1.0, |r| r.angle.as_rad());
        if rows.len() < 3 || first != 0.0 {
            s.problem(
                Problem::error("this pattern cannot be used")
                    .at_place(node.place())
                    .label("it begins at 0 degrees and has at least three rows")
                    .expected("[[\"0 deg\", \"0 dB\"], [\"20 deg\", \"-3 dB\"], [\"40 deg\", \"-11 dB\"], ...]"),
            );
        }
        let mut error = s.or_default(
            "pattern_error",
            Kind::Db,
            b::LEVEL,
            about(0.0, 0.5),
            DEFAULT,
        );
        // Another table is another measurement: its error is its own.
        if let Some(o) = node.origin.as_deref()
            && !s.sec.has("pattern_error")
            && s.sec.origin().is_none()
        {
            error.id = ContributorId::new(format!("{}@{o}", error.id));
        }
        return FeedPattern::Table { rows, error };
    }
    if let Some(exponent) = exponent {
        return FeedPattern::CosPower { exponent };
    }
    if let Some(gain) = gain {
        return FeedPattern::BareGain { gain };
    }
    if given.is_empty() && from == Computable::Radiator {
        return FeedPattern::FromDimensions;
    }
    if given.is_empty() && from == Computable::Horn {
        // What currents on the rim and the body do to an aperture's pattern at 10 dB down (own judgement).
        let error = s.or_default(
            "pattern_error",
            Kind::Db,
            b::LEVEL,
            about(0.0, 0.5),
            DEFAULT,
        );
        return FeedPattern::FromHorn { error };
    }
    if given.is_empty() {
        s.sec.missing("edge_taper", WAYS, &mut s.desk.problems);
    } else if s.sec.has("edge_taper") && !s.sec.has("edge_angle") {
        s.sec.missing(
            "edge_angle",
            "the angle off the feed's axis at which `edge_taper` holds, normally that of the rim",
            &mut s.desk.problems,
        );
    }
    FeedPattern::EdgeTaper {
        angle: angle.unwrap_or_else(|| s.made("edge_angle", "rad", Distribution::Exact(0.0), "")),
        taper: taper.unwrap_or_else(|| s.made("edge_taper", "dB", Distribution::Exact(0.0), "")),
    }
}

fn phase_centre(s: &mut Scope<'_, '_>) -> PhaseCentre {
    PhaseCentre {
        focus_error: s.or_default("focus_error", LENGTH, b::SHIFT, about(0.0, 3e-3), DEFAULT),
        lateral_error: s.or_default(
            "lateral_error",
            LENGTH,
            b::SMALL_SIZE,
            Distribution::Exact(0.0),
            DEFAULT,
        ),
    }
}

fn shadow(s: &mut Scope<'_, '_>, horn: bool) -> Shadow {
    let none = Distribution::Exact(0.0);
    let loss = s.or_default("shadow", Kind::Db, b::LOSS, none, DEFAULT);
    let written = s.sec.has("shadow");
    let from_coil = horn && !written && !s.sec.has("shadow_sees");
    let Some(mut k) = s.sub("shadow_sees") else {
        if written && loss.distribution.mean() > 0.0 {
            s.problem(
                Problem::warning("`shadow` does not say what the shadowed rays see")
                    .at_place(s.sec.place_of("shadow"))
                    .label("sky, ground or absorber decide how much noise it adds")
                    .help("write for example `shadow_sees = { sky = 0.6, ground = 0.2, absorbed = 0.2 }`; thirds of wide uncertainty are taken meanwhile"),
            );
        }
        let thirds = about(1.0 / 3.0, 0.2);
        let made = |key: &str| {
            s.made(
                &format!("shadow_sees.{key}"),
                "1",
                thirds,
                super::desk::GUESS,
            )
        };
        return Shadow {
            loss,
            sees_sky: made("sky"),
            sees_ground: made("ground"),
            absorbed: made("absorbed"),
            from_coil,
        };
    };
    let sees_sky = k.or_default("sky", Kind::Share, b::SHARE, none, DEFAULT);
    let sees_ground = k.or_default("ground", Kind::Share, b::SHARE, none, DEFAULT);
    let absorbed = k.or_default("absorbed", Kind::Share, b::SHARE, none, DEFAULT);
    let sum: f64 = [&sees_sky, &sees_ground, &absorbed]
        .iter()
        .map(|c| c.distribution.mean())
        .sum();
    if (sum - 1.0).abs() > 1e-6 {
        k.problem(
            Problem::error("what the shadowed rays see does not add up to all of them")
                .at_place(k.sec.place())
                .label(format!("sky + ground + absorbed = {sum:.3}"))
                .expected("three shares that sum to 1 (100 %)"),
        );
    }
    k.done();
    Shadow {
        loss,
        sees_sky,
        sees_ground,
        absorbed,
        from_coil,
    }
}

fn cover(mut s: Scope<'_, '_>) -> Cover {
    let out = Cover {
        thickness: s.required("thickness", LENGTH, b::SMALL_SIZE),
        permittivity: s.required("permittivity", PLAIN, b::PERMITTIVITY),
        loss_tangent: s.or_default(
            "loss_tangent",
            PLAIN,
            b::FACTOR,
            between(0.0, 0.02),
            DEFAULT,
        ),
        measured_at: s
            .exact(
                "measured_at",
                Kind::Plain(Dimension::Frequency),
                b::FREQUENCY,
            )
            .map(Frequency::hz),
    };
    s.done();
    out
}
