//! Protection, levels, limits and the best drive of a passband.

use super::super::plan::SegmentPlan;
use super::{answer, number, watts};
use slantpath_plan::Known;
use slantpath_plan::drive::{Bound, Probe, WaveformKind};
use slantpath_plan::neighbour::Rule;
use slantpath_quantity::{Answer, Unit, from_db, show};
use slantpath_report::figure::lines;
use slantpath_report::sheet::{Cell, Table};
use slantpath_report::{Figure, Section, Sheet};

fn bound_words(b: &Bound) -> String {
    match b {
        Bound::Margin => "more drive would cost more in distortion than it gains in level".into(),
        Bound::Shoulders => "the shoulders reach their limit".into(),
        Bound::Transmitter => "the transmitter gives no more".into(),
        Bound::Ceiling(w) => w.clone(),
    }
}

pub(super) fn segment_sections(sheet: &mut Sheet, s: &SegmentPlan) {
    let n = &s.passband;
    let mut guard = Section::new(
        &format!("{n}_protection"),
        format!("{n}: protection"),
        Vec::new(),
    );
    if s.protection.dangers.is_empty() {
        guard.text.push("Nothing before the amplifier can drive it, and nothing can come back, beyond what the parts state.".into());
    }
    guard
        .text
        .extend(s.protection.dangers.iter().map(|d| format!("DANGER: {d}.")));
    for label in &s.protection.unknown_input {
        guard.text.push(format!(
            "{label}: no `max_input` is written; whether it can be overdriven is not known."
        ));
    }
    if let Some(label) = &s.protection.unknown_reflected {
        guard
            .text
            .push(format!("{label}: no `max_reflected` is written."));
    }
    guard.text.extend(s.open.iter().map(|d| {
        format!("With the feed off or full of water: {d}. An isolator or a cut-off on reflected power protects it.")
    }));
    sheet.sections.push(guard);

    let mut text = vec![format!("Sends {}.", s.sends)];
    text.extend(s.notes.iter().cloned());
    let mut levels = Table::new(
        "levels",
        &[
            ("part", "part"),
            ("mean", "mean out"),
            ("peak", "peak out"),
            ("compression", "compressed at the peak"),
            ("margin", "below its largest input"),
        ],
    );
    let shown = s
        .advice
        .as_ref()
        .ok()
        .map(|a| &a.probe)
        .or(s.stated.as_ref());
    for l in shown.iter().flat_map(|p| &p.levels) {
        levels.rows.push(vec![
            Cell::Text(l.label.clone()),
            number(l.out_dbm, 1, "dBm"),
            number(l.peak_out_dbm, 1, "dBm"),
            number(l.peak_compression_db, 2, "dB"),
            l.input_margin_db
                .map_or(Cell::Missing("not stated".into()), |m| number(m, 1, "dB")),
        ]);
    }
    let mut answers = Vec::new();
    match &s.advice {
        Err(why) => answers.push(Answer::unknown(
            format!("{n}.drive.output"),
            "best mean output of the amplifier",
            Unit::Dbm,
            why.clone(),
            "see the dangers and limits",
        )),
        Ok(a) => {
            let p = &a.probe;
            answers.push(
                answer(
                    format!("{n}.drive.output"),
                    "best mean output of the amplifier",
                    Unit::Dbm,
                    Known::new(p.out_dbm, s.u_out_db),
                )
                .with_validity(p.validity.clone())
                .because(format!("Limited by: {}.", bound_words(&a.bound))),
            );
            answers.push(answer(
                format!("{n}.drive.level"),
                "drive out of the transmitter for it, mean",
                Unit::Dbm,
                Known::new(p.drive_dbm, s.u_out_db),
            ));
            sheet.because.push(format!(
                "{n}: {} W mean out of the amplifier ({} dBm of drive) is the most; limited by: {}.",
                show::significant(watts(p.out_dbm), 2),
                show::fixed(p.drive_dbm, 1),
                bound_words(&a.bound)
            ));
            for (r, total) in s.receivers.iter().zip(&a.total_db) {
                text.push(format!(
                    "Total Es/N0 at {}: {} dB (satellite's noise {}, station's noise {}, satellite's intermodulation {}, amplifier {} dB).",
                    r.receiver,
                    show::fixed(*total, 1),
                    show::fixed(r.satellite_db + p.out_dbm - r.at_dbm, 1),
                    show::fixed(r.station_db + p.out_dbm - r.at_dbm, 1),
                    show::fixed(r.intermodulation_db + p.out_dbm - r.at_dbm, 1),
                    p.mer_db.map_or("-".into(), |m| show::fixed(m, 1)),
                ));
            }
            if let Some(m) = a.margin_db {
                answers.push(answer(
                    format!("{n}.drive.margin"),
                    "margin at the worst-placed receiver",
                    Unit::Db,
                    Known::new(m, s.u_out_db),
                ));
            }
        }
    }
    let mut signal = Table::new(
        "signal",
        &[
            ("what", "signal"),
            ("stated", "as stated"),
            ("best", "at the best drive"),
        ],
    );
    let best = s.advice.as_ref().ok().map(|a| &a.probe);
    let mut row = |what: &str, places: i32, unit: &str, get: &dyn Fn(&Probe) -> Option<f64>| {
        let cell = |p: Option<&Probe>| {
            p.and_then(get)
                .map_or(Cell::Missing("none".into()), |v| number(v, places, unit))
        };
        signal.rows.push(vec![
            Cell::Text(what.into()),
            cell(s.stated.as_ref()),
            cell(best),
        ]);
    };
    row("mean output", 1, "dBm", &|p| Some(p.out_dbm));
    row("peak output (1e-4)", 1, "dBm", &|p| Some(p.peak_dbm));
    row("crest factor in", 1, "dB", &|p| Some(p.crest_in_db));
    row("crest factor out", 1, "dB", &|p| Some(p.crest_out_db));
    row("back-off from saturation", 1, "dB", &|p| Some(p.backoff_db));
    row("compression of the mean", 2, "dB", &|p| {
        Some(p.compression_db)
    });
    if !matches!(s.waveform.kind(), WaveformKind::Carrier) {
        row("worst shoulder", 1, "dBc", &|p| {
            Some(p.shoulder.worst_dbc())
        });
    }
    row("MER of the amplifier", 1, "dB", &|p| p.mer_db);
    row("EVM", 1, "%", &|p| p.evm.map(|e| 100.0 * e));
    let mut limits = Table::new(
        "limits",
        &[
            ("limit", "limit"),
            ("dbm", "mean output"),
            ("watt", "in watt"),
            ("u", "u"),
        ],
    );
    let mut all: Vec<(String, f64, f64)> = s
        .ceilings
        .iter()
        .map(|(c, u)| (c.what.clone(), c.out_dbm, *u))
        .collect();
    if let Some(d) = s.advice.as_ref().ok().and_then(|a| a.shoulder_out_dbm) {
        all.push((
            format!("shoulders at {} dBc", show::fixed(s.goal.shoulder_dbc, 0)),
            d,
            0.0,
        ));
    }
    all.sort_by(|a, b| a.1.total_cmp(&b.1));
    for (what, dbm, u) in all {
        limits.rows.push(vec![
            Cell::Text(what),
            number(dbm, 1, "dBm"),
            in_watt(dbm, u),
            if u > 0.0 {
                number(u, 1, "dB")
            } else {
                Cell::Missing("not stated".into())
            },
        ]);
    }
    if let (Some(now), Ok(a)) = (&s.stated, &s.advice) {
        let change = a.probe.drive_dbm - now.drive_dbm;
        answers.push(answer(
            format!("{n}.drive.change"),
            "change of drive from the level stated",
            Unit::Db,
            Known::new(change, s.u_out_db),
        ));
        if change < -0.5 {
            text.push(format!(
                "The level stated is over-driven by {} dB.",
                show::fixed(-change, 1)
            ));
        }
    }
    if let Some(r) = &s.ramp {
        text.push(format!(
            "The amplifier's curve comes from the drive ramp: saturation {} dBm, compressed by {} dB at its top.",
            show::fixed(r.model.saturation_dbm, 1),
            show::fixed(r.compression_reached_db, 1)
        ));
    }
    let mut section = Section::new(&format!("{n}_drive"), format!("{n}: drive"), answers)
        .table(signal)
        .table(levels)
        .table(limits);
    section.text = text;
    sheet.sections.push(section);
    neighbour_section(sheet, s);
    sheet.figures.extend(curve_figure(s));
}

/// A power in watt with the digits that are known at `u_db`; two where that is not stated.
fn in_watt(dbm: f64, u_db: f64) -> Cell {
    let w = watts(dbm);
    let u = w * (from_db(u_db) - 1.0);
    let places = show::decimals_for(u).unwrap_or_else(|| show::decimals_for(0.1 * w).unwrap_or(0));
    number(w, places, "W")
}

/// Allowed output by symbol rate.
fn neighbour_section(sheet: &mut Sheet, s: &SegmentPlan) {
    let (Some(rule), Some(b)) = (&s.rule, s.against_beacon) else {
        return;
    };
    let mut t = Table::new(
        "allowed",
        &[
            ("rate", "symbol rate"),
            ("dbm", "mean output allowed"),
            ("watt", "in watt"),
        ],
    );
    let rates: Vec<Option<f64>> = match rule {
        Rule::Peak { .. } => vec![None],
        Rule::Density { .. } => {
            let mut r: Vec<f64> = vec![20e3, 66e3, 125e3, 250e3, 333e3, 500e3, 1e6, 2e6, 4e6];
            r.extend(s.rate);
            r.sort_by(f64::total_cmp);
            r.dedup();
            r.into_iter().map(Some).collect()
        }
    };
    for rate in rates {
        let Ok(allowed) = rule.allowed_db(s.waveform.planning_crest_db(), rate) else {
            continue;
        };
        let dbm = s.stated_dbm.value + allowed - b.value;
        t.rows.push(vec![
            rate.map_or(Cell::Text("any: peak envelope power".into()), |r| {
                number(r / 1e3, 0, "kBd")
            }),
            number(dbm, 1, "dBm"),
            in_watt(dbm, b.u),
        ]);
    }
    let n = &s.passband;
    sheet.sections.push(
        Section::new(
            &format!("{n}_neighbour"),
            format!("{n}: what the operating rule allows"),
            vec![answer(
                format!("{n}.own.against_beacon"),
                "own downlink against the beacon at the level stated, power to power",
                Unit::Db,
                b,
            )],
        )
        .table(t)
        .say("Predicted; a recording with beacon and own carrier tells it exactly (--own RECORDING)."),
    );
}

fn curve_figure(s: &SegmentPlan) -> Option<Figure> {
    let a = s.advice.as_ref().ok()?;
    let gain = s.chain.small_gain_db();
    let out: Vec<(f64, f64)> = a.curve.iter().map(|c| (c.drive_dbm, c.out_dbm)).collect();
    let straight: Vec<(f64, f64)> = a
        .curve
        .iter()
        .map(|c| {
            (
                c.drive_dbm,
                (c.drive_dbm + gain).min(s.chain.amplifier().curve.saturation_dbm() + 4.0),
            )
        })
        .collect();
    let mut marks = vec![(a.probe.drive_dbm, a.probe.out_dbm, "best drive".to_string())];
    if let Some(p) = &s.stated {
        marks.push((p.drive_dbm, p.out_dbm, "level stated".into()));
    }
    let limit = a
        .shoulder_out_dbm
        .map(|d| (d, "shoulders at their limit".to_string()));
    Some(Figure {
        key: format!("amplifier_{}", s.passband),
        caption: format!(
            "{}: mean output of the amplifier against drive, {}.",
            s.passband, s.sends
        ),
        svg: lines(
            &format!("Amplifier, {}", s.passband),
            "drive out of the transmitter, mean dBm",
            "output of the amplifier, mean dBm",
            &[
                ("the chain".into(), out),
                ("without compression".into(), straight),
            ],
            &marks,
            limit,
        ),
    })
}
