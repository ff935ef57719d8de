//! The design sheet.

use super::figures::{front_figure, map_figure, wider_figure};
use super::words::{block, mm, towards, value};
use super::{DesignOptions, Designed};
use crate::planning::number;
use slantpath_plan::design::{Effect, FrontPoint, Purity, ShadowMap, Variable};
use slantpath_quantity::{Answer, Estimate, Unit, show};
use slantpath_report::{Cell, Section, Sheet, Table};
use slantpath_station::Station;

/// Model of the transmit gain, of the axial ratio and of the shadow, dB: own judgement, alike for all designs of one search, so
/// that it moves the curve as a whole and hardly its points against each other.
const MODEL_GAIN_DB: f64 = 0.25;
const MODEL_AXIAL_RATIO_DB: f64 = 0.5;
const MODEL_SHADOW_DB: f64 = 0.4;

pub(super) fn sheet(station: &Station, o: &DesignOptions, d: &Designed) -> Sheet {
    let s = d.bench.setting();
    let mut out = Sheet {
        verb: "design".into(),
        title: format!(
            "{}: coils around the receive feed, {} up and {} GHz down",
            station.name,
            show::significant(s.uplink.as_hz() / 1e9, 4),
            show::significant(s.downlink.as_hz() / 1e9, 5)
        ),
        ..Sheet::default()
    };
    out.sections.push(asked(o, d));
    out.sections.push(curve(d));
    out.sections.push(purity(&d.found.purity));
    if let Some(p) = d.point() {
        out.sections.push(chosen(d, p));
        out.sections.push(errors(o, &d.effects));
        out.sections.push(to_paste(station, d, p));
    }
    out.figures.push(front_figure(d));
    out.figures.push(wider_figure(d));
    if let Some(m) = &d.map {
        out.sections.push(map_section(m));
        out.figures.push(map_figure(d, m));
    }
    remarks(d, &mut out);
    out.next_measurement = Some(
        "Build the coil, put its dimensions into the station file and compare the receive noise step with and without it: \
         `compare` tells a difference of a few tenths of a decibel that no model does."
            .into(),
    );
    out.cautions.push(
        "Impedance is not part of the search: match the coil by measurement, dry and wet, before it gets power."
            .into(),
    );
    out
}

fn asked(o: &DesignOptions, d: &Designed) -> Section {
    let s = d.bench.setting();
    let mut t = Table::new(
        "ranges",
        &[
            ("dimension", "dimension"),
            ("from", "from"),
            ("to", "to"),
            ("raster", "raster"),
        ],
    );
    for v in Variable::ALL {
        let r = d.space.range(v);
        let unit = if v == Variable::Turns { "" } else { " mm" };
        t.rows.push(vec![
            Cell::Text(v.name().into()),
            Cell::Text(format!("{}{unit}", value(v, r.lo))),
            Cell::Text(if r.is_open() {
                format!("{}{unit}", value(v, r.hi))
            } else {
                "fixed".into()
            }),
            Cell::Text(if r.is_open() {
                format!("{}{unit}", value(v, v.raster()))
            } else {
                String::new()
            }),
        ]);
    }
    Section::new("asked", "what was searched", Vec::new())
        .say(format!(
            "{} designs at a coarse division of the wires, seed {}; those of the curve again at a fine one. Disc {} mm, receive \
             feed {} mm wide outside. Beams with an axial ratio above {} dB are left out ({} designs), {} could not be solved.",
            d.found.tried,
            o.seed,
            mm(s.disc.as_m()),
            mm(2.0 * s.horn.outer_radius.as_m()),
            show::significant(o.axial_ratio.0, 3),
            d.found.impure,
            d.found.failed,
        ))
        .say(format!(
            "G/T is against the same receive feed without a coil, in its own best focus, on branch {} of passband {} with {} K \
             of system noise.",
            d.heard.branch,
            d.heard.passband,
            show::significant(d.heard.system_k, 3)
        ))
        .table(t)
}

/// No figure here is known better than this whatever the division, dB: what two solvers differ by on equal wires.
const LEAST_U_DB: f64 = 0.04;

fn estimate(v: f64, u: f64) -> Estimate {
    Estimate::normal(v, u.max(LEAST_U_DB))
}

/// A figure that cannot be below 0: what its interval holds below is cut off.
fn above_nothing(v: f64, u: f64) -> Estimate {
    let mut e = estimate(v, u);
    e.interval.lo = e.interval.lo.max(0.0);
    e
}

fn curve(d: &Designed) -> Section {
    let mut figures = Table::new(
        "front",
        &[
            ("row", "row"),
            ("gain", "uplink gain of the dish, right sense"),
            ("axial_ratio", "axial ratio of the beam"),
            ("loss", "receive signal lost"),
            ("g_over_t", "change of G/T"),
        ],
    );
    let mut shapes = Table::new(
        "designs",
        &[
            ("row", "row"),
            ("diameter", "coil diameter, mm"),
            ("wire", "wire, mm"),
            ("pitch", "pitch, mm"),
            ("turns", "turns"),
            ("stub", "first turn over the disc, mm"),
            ("front", "receive feed before the disc, mm"),
            ("disc_at", "disc from the dish's focus, mm"),
        ],
    );
    for (i, p) in d.found.front.iter().enumerate() {
        let row = if i == d.chosen {
            format!("{} *", i + 1)
        } else {
            format!("{}", i + 1)
        };
        figures.rows.push(vec![
            Cell::Text(row.clone()),
            Cell::Value(estimate(p.pair.gain_dbi, p.spread.gain_db), Unit::Dbi),
            Cell::Value(
                above_nothing(p.pair.axial_ratio_db, p.spread.axial_ratio_db),
                Unit::Db,
            ),
            Cell::Value(estimate(p.pair.loss_db, p.spread.loss_db), Unit::Db),
            Cell::Value(estimate(p.pair.g_over_t_db, p.spread.g_over_t_db), Unit::Db),
        ]);
        let mut cells = vec![Cell::Text(row)];
        cells.extend(
            Variable::ALL
                .into_iter()
                .map(|v| Cell::Text(value(v, p.solved.geometry.get(v)))),
        );
        cells.push(number(p.pair.disc.as_m() * 1e3, 0, ""));
        shapes.rows.push(cells);
    }
    Section::new("front", "the curve: no design here is better in both", Vec::new())
        .say(format!(
            "± is the change between the two divisions of the wires, alone (0.04 dB at least). The model's own standard uncertainty ({MODEL_GAIN_DB} \
             dB of gain, {MODEL_AXIAL_RATIO_DB} dB of axial ratio, {MODEL_SHADOW_DB} dB of receive loss; judgement) comes to \
             every row alike. * is built below: a decibel of either counts the same. The disc's place is towards the dish from \
             its focus, negative: behind it.",
        ))
        .table(figures)
        .table(shapes)
}

fn purity(all: &[Purity]) -> Section {
    let mut t = Table::new(
        "purity",
        &[
            ("limit", "axial ratio at most"),
            ("gain", "uplink gain"),
            ("g_over_t", "change of G/T"),
            ("design", "diameter, wire, pitch, turns"),
        ],
    );
    for p in all {
        let mut row = vec![number(p.limit_db, 1, "dB")];
        match &p.best {
            Some((g, pair)) => row.extend([
                number(pair.gain_dbi, 1, "dBi"),
                number(pair.g_over_t_db, 2, "dB"),
                Cell::Text(
                    [
                        Variable::Diameter,
                        Variable::Wire,
                        Variable::Pitch,
                        Variable::Turns,
                    ]
                    .map(|v| value(v, g.get(v)))
                    .join(", "),
                ),
            ]),
            None => row.extend([
                Cell::Missing("none found".into()),
                Cell::Missing("none found".into()),
                Cell::Text(String::new()),
            ]),
        }
        t.rows.push(row);
    }
    Section::new("purity", "what a purer beam costs", Vec::new())
        .say("The best sum of gain and G/T among the designs tried, coarse division, for tighter limits of the beam's axial ratio.")
        .table(t)
}

fn chosen(d: &Designed, p: &FrontPoint) -> Section {
    let answer = |id: &str, label: &str, unit, v: f64, u: f64| {
        Answer::known(format!("design.{id}"), label, unit, estimate(v, u))
    };
    let (pair, spread, t) = (&p.pair, &p.spread, &p.solved.transmit);
    let answers = vec![
        answer(
            "gain",
            "uplink gain of the dish, right sense",
            Unit::Dbi,
            pair.gain_dbi,
            spread.gain_db.hypot(MODEL_GAIN_DB),
        )
        .because("model of the coil, then division of its wires; mismatch and cable are not in it"),
        Answer::known(
            "design.axial_ratio",
            "axial ratio of the uplink beam",
            Unit::Db,
            above_nothing(
                pair.axial_ratio_db,
                spread.axial_ratio_db.hypot(MODEL_AXIAL_RATIO_DB),
            ),
        ),
        answer(
            "loss",
            "receive signal lost to the coil",
            Unit::Db,
            pair.loss_db,
            spread.loss_db.hypot(MODEL_SHADOW_DB),
        )
        .because("model of the shadow: horn body, disc and plastic are left out"),
        answer(
            "added_noise",
            "noise that the coil adds",
            Unit::K,
            pair.added_k,
            0.25 * pair.added_k.abs(),
        ),
        answer(
            "g_over_t",
            "change of G/T",
            Unit::Db,
            pair.g_over_t_db,
            spread.g_over_t_db.hypot(MODEL_SHADOW_DB),
        ),
    ];
    let s = d.bench.setting();
    let mut section = Section::new("chosen", format!("row {}", d.chosen + 1), answers);
    let z = t.impedance;
    section.text.push(format!(
        "Bare coil {} dBi on its axis, axial ratio up to {} dB over the cone of {} deg half-angle under which it sees the dish, \
         front to back {} dB; {} {} j{} ohm at its foot, known to 15 %.",
        show::fixed(t.bare_gain_dbi, 1),
        show::fixed(t.cone_axial_ratio_db, 1),
        show::fixed(s.dish.half_angle().as_deg(), 0),
        show::fixed(t.front_to_back_db, 0),
        show::significant(z.re, 2),
        if z.im < 0.0 { "-" } else { "+" },
        show::significant(z.im.abs(), 2),
    ));
    let shift = d
        .bench
        .bare_focus(p.solved.geometry.front)
        .map(|bare| (pair.disc - bare).as_m());
    if let Ok(m) = shift {
        section.text.push(format!(
            "Focus: the middle of the disc {} mm {} the dish from its focus; that is {} mm {} the dish from where the same feed \
             without a coil stands best. The two bands' best places differ; this one is the pair's.",
            show::fixed(pair.disc.as_mm().abs(), 0),
            towards(pair.disc.as_m()),
            show::fixed((m * 1e3).abs(), 0),
            towards(m),
        ));
    }
    section
}

fn errors(o: &DesignOptions, all: &[Effect]) -> Section {
    let step = mm(o.error.as_m());
    let mut t = Table::new(
        "errors",
        &[
            ("dimension", "dimension"),
            ("step", "by"),
            ("gain", "uplink gain, less | more, dB"),
            ("axial_ratio", "axial ratio, dB"),
            ("g_over_t", "G/T, dB"),
        ],
    );
    for e in all {
        let by = match e.what {
            Some(Variable::Turns) => format!("{} turn", show::significant(e.step, 1)),
            _ => format!("{step} mm"),
        };
        let pair = |k: usize| {
            let one = |c: &Option<[f64; 3]>| {
                c.and_then(|c| c.get(k).copied())
                    .map_or_else(|| "cannot be".to_string(), signed)
            };
            Cell::Text(e.change.iter().map(one).collect::<Vec<_>>().join(" | "))
        };
        t.rows.push(vec![
            Cell::Text(e.name().into()),
            Cell::Text(by),
            pair(0),
            pair(1),
            pair(2),
        ]);
    }
    Section::new(
        "errors",
        format!("what {step} mm in each dimension does, smaller and larger"),
        Vec::new(),
    )
    .table(t)
}

fn signed(v: f64) -> String {
    let text = show::fixed(v, 2);
    if v > 0.0 && !text.starts_with('0') || v >= 0.005 {
        format!("+{text}")
    } else {
        text
    }
}

fn to_paste(station: &Station, d: &Designed, p: &FrontPoint) -> Section {
    let mut s = Section::new("station_file", "for the station file", Vec::new());
    s.block = block(&station.feed.name, d, p);
    s
}

fn map_section(m: &ShadowMap) -> Section {
    let mut t = Table::new(
        "valley",
        &[
            ("y", m.y.name()),
            ("x", m.x.name()),
            ("loss", "least receive loss"),
        ],
    );
    let unit = |v: Variable| if v == Variable::Turns { "" } else { " mm" };
    for (x, y, loss) in m.valley() {
        t.rows.push(vec![
            Cell::Text(format!("{}{}", value(m.y, y), unit(m.y))),
            Cell::Text(format!("{}{}", value(m.x, x), unit(m.x))),
            number(loss, 2, "dB"),
        ]);
    }
    let mut s = Section::new(
        "map",
        format!(
            "receive shadow over {} and {}, {} coils",
            m.x.name(),
            m.y.name(),
            m.loss_db.len()
        ),
        Vec::new(),
    )
    .table(t);
    if let Some((x, y, loss)) = m.least() {
        s.text.push(format!(
            "The floor of the valley, row by row; lowest {} dB at {} {}{}, {} {}{}{}.",
            show::fixed(loss, 2),
            m.x.name(),
            value(m.x, x),
            unit(m.x),
            m.y.name(),
            value(m.y, y),
            unit(m.y),
            if m.least_on_edge() {
                ", at the map's edge: beyond it may be lower"
            } else {
                ""
            }
        ));
    }
    s.text.extend(m.remarks.iter().map(|r| sentence(r)));
    s
}

fn sentence(r: &str) -> String {
    let mut c = r.chars();
    let first = c
        .next()
        .map(|x| x.to_uppercase().to_string())
        .unwrap_or_default();
    format!("{first}{}.", c.as_str())
}

fn remarks(d: &Designed, out: &mut Sheet) {
    if let Some(p) = d.point() {
        out.because.push(format!(
            "Row {}: {} dBi up and {} dB of G/T; the curve runs from {} dBi with {} dB to {} dBi with {} dB.",
            d.chosen + 1,
            show::fixed(p.pair.gain_dbi, 1),
            signed(p.pair.g_over_t_db),
            end(d.found.front.first(), |p| p.pair.gain_dbi, 1),
            end(d.found.front.first(), |p| p.pair.g_over_t_db, 2),
            end(d.found.front.last(), |p| p.pair.gain_dbi, 1),
            end(d.found.front.last(), |p| p.pair.g_over_t_db, 2),
        ));
        // the loss on the axis, and the focus, as the solved coil says them
        out.because
            .extend(p.solved.shadow.remarks.iter().map(|r| sentence(r)));
        out.because.extend(
            p.solved
                .validity
                .reasons()
                .iter()
                .map(|why| format!("Outside the model's range: {why}.")),
        );
    }
    if let Some(p) = d.point() {
        let at_end: Vec<String> = d
            .space
            .open()
            .into_iter()
            .filter(|v| {
                let (r, x) = (d.space.range(*v), p.solved.geometry.get(*v));
                (x - r.lo).abs() < 1e-6 || (x - r.hi).abs() < 1e-6
            })
            .map(|v| format!("{} {}", v.name(), value(v, p.solved.geometry.get(v))))
            .collect();
        if p.solved.geometry.front.as_m() > 0.0 {
            out.because.push(
                "The receive feed reaches into the coil: its metal beside the first turns is not in the receive side's model, so \
                 that these figures are less sure than they look."
                    .into(),
            );
        }
        if p.pair.g_over_t_db > 0.0 {
            out.because.push(
                "The coil is computed to help: it narrows a receive feed that is too wide for this dish. No measurement stands \
                 behind that, and `predict` counts such a shadow as none."
                    .into(),
            );
        }
        if !at_end.is_empty() {
            out.because.push(format!(
                "At an end of its range: {}. A wider range may hold better pairs.",
                at_end.join(", ")
            ));
        }
    }
    out.because
        .extend(d.wider.remarks.iter().map(|r| sentence(r)));
}

fn end(p: Option<&FrontPoint>, get: impl Fn(&FrontPoint) -> f64, places: i32) -> String {
    p.map_or_else(|| "?".into(), |p| show::fixed(get(p), places))
}
