//! The sheet of the transmit side.

use super::plan::{Planned, SegmentPlan, planned};
use super::plant::envelope;
use super::surroundings::{Surroundings, surroundings, wind};
use super::{DriveOptions, desense, own};
use crate::WorkflowError;
use crate::predict::Predicted;
use slantpath_plan::Known;
use slantpath_plan::drive::{Bound, WaveformKind};
use slantpath_plan::exposure::cautions;
use slantpath_plan::heat::{HeatPlan, TimeTold, heat};
use slantpath_plan::supply::supply;
use slantpath_quantity::{Answer, Estimate, Power, Unit, show};
use slantpath_report::figure::{SideView, lines, side_view};
use slantpath_report::sheet::{Cell, Table};
use slantpath_report::{Figure, Section, Sheet};
use slantpath_station::Station;
use slantpath_stats::Progress;

/// Plans the transmit side and writes it down.
///
/// # Errors
/// As [`planned`]; recordings and logs that cannot be read.
pub fn drive_sheet(
    station: &Station,
    p: &Predicted,
    o: &DriveOptions,
    progress: &Progress,
) -> Result<Sheet, WorkflowError> {
    let plan = planned(station, p, o)?;
    let mut sheet = Sheet {
        verb: "drive".into(),
        title: format!("{}: the transmit side", station.name),
        cautions: cautions(),
        ..Sheet::default()
    };
    for s in &plan.segments {
        segment_sections(&mut sheet, s);
    }
    if let Some(l) = &plan.plant.learned {
        sheet.sections.push(log_section(l));
    }
    for s in &plan.segments {
        plant_section(&mut sheet, &plan, s, o)?;
    }
    if !o.desense.is_empty() {
        sheet
            .sections
            .push(desense::section(&o.desense, &o.measure, progress)?.0);
    }
    if !o.own.is_empty() {
        sheet.sections.push(own::section(
            station,
            &plan.segments,
            &o.own,
            &o.measure,
            progress,
        )?);
    }
    if let Some(x) = surroundings(station, p, &plan, o)? {
        exposure_section(&mut sheet, station, p, &x);
    }
    match wind(station, o)? {
        None => sheet.sections.push(Section::new("wind", "wind load", Vec::new()).say(
            "Give the gust and the force coefficient of your local code (--gust, --force-coefficient) for force and moment.",
        )),
        Some((w, bolt)) => {
            let exact = |id: &str, label: &str, unit, v| Answer::known(id, label, unit, Estimate::exact(v));
            let mut answers = vec![
                exact("wind.force", "force on the dish in the gust", Unit::N, w.force_n.round()),
                exact("wind.moment", "moment at the clamp", Unit::Nm, w.moment_n_m.round()),
            ];
            if let Some(b) = bolt {
                answers.push(exact("wind.bolt", "pull on one bolt by the moment, preload and shear apart", Unit::N, b.round()));
            }
            sheet.sections.push(Section::new("wind", "wind load", answers).say(
                "Gust and force coefficient are yours, from the local code; nothing here replaces it.",
            ));
        }
    }
    sheet.refused = plan
        .segments
        .iter()
        .any(|s| !s.protection.dangers.is_empty());
    if sheet.refused {
        sheet.because.insert(
            0,
            "A part can be driven or reflected beyond what it survives: nothing is advised until that is mended.".into(),
        );
    }
    sheet.next_measurement = Some(
        if plan.plant.learned.is_none() {
            "Log sink temperature, air and output from cold for some time constants (two hours), then give it with --log: it \
             replaces the written thermal figures."
        } else {
            "Record the amplifier's output through a coupler and attenuator: through the satellite shoulders below -25 dBc \
             are rarely seen."
        }
        .into(),
    );
    Ok(sheet)
}

fn answer(id: String, label: &str, unit: Unit, k: Known) -> Answer {
    let e = if k.u > 0.0 {
        Estimate::normal(k.value, k.u)
    } else {
        Estimate::exact(k.value)
    };
    Answer::known(id, label, unit, e)
}

fn number(value: f64, places: i32, unit: &str) -> Cell {
    if value.is_finite() {
        Cell::Number {
            value,
            places,
            unit: unit.into(),
        }
    } else {
        Cell::Missing("none".into())
    }
}

fn watts(dbm: f64) -> f64 {
    Power::dbm(dbm).as_w()
}

fn bound_words(b: &Bound) -> String {
    match b {
        Bound::Margin => "more drive would cost more in distortion than it gains in level".into(),
        Bound::Shoulders => "the shoulders reach their limit".into(),
        Bound::Transmitter => "the transmitter gives no more".into(),
        Bound::Ceiling(w) => w.clone(),
    }
}

fn segment_sections(sheet: &mut Sheet, s: &SegmentPlan) {
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
    let mut row = |what: &str,
                   places: i32,
                   unit: &str,
                   get: &dyn Fn(&slantpath_plan::drive::Probe) -> Option<f64>| {
        let cell = |p: Option<&slantpath_plan::drive::Probe>| {
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
            number(watts(dbm), if watts(dbm) < 10.0 { 1 } else { 0 }, "W"),
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
        slantpath_plan::neighbour::Rule::Peak { .. } => vec![None],
        slantpath_plan::neighbour::Rule::Density { .. } => {
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
            number(watts(dbm), 2, "W"),
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

fn log_section(l: &slantpath_plan::heat::Learned) -> Section {
    use slantpath_chain::thermal::foldback::Foldback;
    let mut answers = Vec::new();
    let mut text = l.notes.clone();
    match &l.fit {
        Err(why) => answers.push(Answer::unknown(
            "log.resistance",
            "sink to air, in all",
            Unit::KPerW,
            why.clone(),
            "log heat or output, air and sink from cold",
        )),
        Ok(f) => {
            answers.push(
                answer(
                    "log.resistance".into(),
                    "sink to air, in all",
                    Unit::KPerW,
                    Known::new(f.r_total, f.u_r_total),
                )
                .with_validity(f.validity.clone()),
            );
            for (i, e) in f.exponentials.iter().enumerate() {
                answers.push(answer(
                    format!("log.time_{}", i + 1),
                    "time constant",
                    Unit::Min,
                    Known::new(e.tau_s / 60.0, e.u_tau / 60.0),
                ));
            }
            text.push(format!(
                "{} rows; residuals {} K rms.",
                l.rows,
                show::significant(f.residual_k, 2)
            ));
        }
    }
    match &l.foldback {
        Some(Foldback::Sawtooth { trips_at, returns_at, period_s, steps, .. }) => {
            text.push(format!(
                "FOLDBACK: the output steps down at {} °C and comes back at {} °C, {} times{}. Less drive, more air or a larger sink; until then the mean power is what this log shows, not what the meter says at the start.",
                show::fixed(*trips_at, 1),
                show::fixed(*returns_at, 1),
                steps.iter().filter(|s| s.change_db < 0.0).count(),
                period_s.map_or(String::new(), |p| format!(", every {} min", show::fixed(p / 60.0, 0)))
            ));
            answers.push(answer("log.foldback".into(), "sink temperature at which the output folds back", Unit::Celsius, Known::exact(*trips_at)));
        }
        Some(Foldback::Fall { steps }) => text.push(format!("The output fell at {} s and did not return: foldback that never cooled, or a fault; the temperature alone cannot tell.", steps.first().map_or(0.0, |s| s.t_s))),
        Some(Foldback::Unrelated { .. }) => text.push("The output steps, but its temperatures show no hysteresis: a contact, the supply or reflected power rather than heat.".into()),
        Some(Foldback::None) => text.push("No foldback in the log.".into()),
        None => {}
    }
    let mut s = Section::new("log", "what the log teaches", answers);
    s.text = text;
    s
}

fn time_words(t: &TimeTold, limit: f64) -> String {
    let minutes = |s: f64| format!("{} min", show::significant(s / 60.0, 2));
    let limit = format!("{limit:.0} °C");
    match (t.best_s, t.early_s) {
        (Some(b), Some(e)) => format!(
            "{limit} after {} (2.5 % of the draws: before {})",
            minutes(b),
            minutes(e)
        ),
        (None, Some(e)) => format!(
            "{limit} not reached at the best estimates; {} % of the draws reach it, the unluckiest 2.5 % of those before {}",
            show::fixed(100.0 * (1.0 - t.never), 0),
            minutes(e)
        ),
        (Some(b), None) => format!("{limit} after {}", minutes(b)),
        (None, None) => format!("{limit} never reached"),
    }
}

fn plant_section(
    sheet: &mut Sheet,
    plan: &Planned,
    s: &SegmentPlan,
    o: &DriveOptions,
) -> Result<(), WorkflowError> {
    let n = &s.passband;
    let out = s.stated_dbm.value;
    let Some(e) = plan.plant.electric(&envelope(&s.waveform, watts(out))) else {
        sheet.sections.push(Section::new(&format!("{n}_heat"), format!("{n}: heat and supply"), Vec::new()).say(
            "The amplifier's efficiency is not written: `efficiency = [[\"50 W\", \"24 %\"], ...]` tells heat, current and hours.",
        ));
        return Ok(());
    };
    let mut section = Section::new(
        &format!("{n}_heat"),
        format!("{n}: heat and supply at the level stated"),
        vec![
            answer(
                format!("{n}.heat.dc"),
                "DC power while transmitting",
                Unit::W,
                e.dc_w,
            )
            .with_validity(e.validity.clone()),
            answer(
                format!("{n}.heat.heat"),
                "heat while transmitting",
                Unit::W,
                e.heat_w,
            ),
        ],
    );
    section.text.push(format!(
        "{} W of mean output at {} % efficiency; on the air {} % of the time.",
        show::significant(e.out_w, 3),
        show::fixed(100.0 * e.efficiency, 0),
        show::fixed(100.0 * s.duty, 0)
    ));
    if let Some(c) = plan.plant.cooling() {
        let h = heat(c, e.heat_w, 0.0, s.duty, o.cycle_s, o.seed)?;
        section.answers.extend([
            answer(
                format!("{n}.heat.steady"),
                "sink in the long run, mean",
                Unit::Celsius,
                h.steady_c,
            ),
            answer(
                format!("{n}.heat.margin"),
                "below its limit at the hottest moment",
                Unit::K,
                h.margin_k,
            ),
            answer(
                format!("{n}.heat.device"),
                "device in the long run, while transmitting",
                Unit::Celsius,
                h.device_c,
            ),
            answer(
                format!("{n}.heat.allowed"),
                "heat that may be made for ever, mean",
                Unit::W,
                h.allowed_w,
            ),
        ]);
        let limit = c.limit_c.value;
        section.text.push(format!(
            "Without a pause: {}.",
            time_words(&h.without_pause, limit)
        ));
        if s.duty < 1.0 {
            section
                .text
                .push(format!("At this duty: {}.", time_words(&h.at_duty, limit)));
        }
        section.text.push(format!(
            "An hour without a trip proves {} % of the final rise.",
            show::fixed(100.0 * h.hour_proves, 0)
        ));
        if plan.plant.foldback && h.margin_k.value < 2.0 * h.margin_k.u {
            section.text.push(
                "The amplifier folds back by itself there: expect its output to step.".into(),
            );
        }
        let mut t = Table::new(
            "derating",
            &[("air", "air"), ("heat", "heat allowed for ever")],
        );
        for (air, w) in c.derating(&[15.0, 25.0, 35.0, 45.0])? {
            t.rows.push(vec![number(air, 0, "°C"), number(w, 0, "W")]);
        }
        section.tables.push(t);
        sheet.figures.push(heat_figure(n, &h, limit));
    }
    if let (Some(sup), Some(rated)) = (&plan.plant.supply, plan.plant.rated_v) {
        match supply(sup, &e, rated, s.duty) {
            Err(why) => section.text.push(format!("Supply: {why}.")),
            Ok(x) => {
                section.answers.extend([
                    answer(
                        format!("{n}.supply.current"),
                        "current while transmitting",
                        Unit::A,
                        x.current_a,
                    ),
                    answer(
                        format!("{n}.supply.volts"),
                        "volts at the amplifier",
                        Unit::V,
                        x.volts,
                    ),
                    answer(
                        format!("{n}.supply.drop"),
                        "volts lost in the cable",
                        Unit::V,
                        x.drop_v,
                    ),
                ]);
                if let Some(h) = x.hours {
                    section.answers.push(answer(
                        format!("{n}.supply.hours"),
                        "hours on the battery at this duty",
                        Unit::Hour,
                        h,
                    ));
                }
                if let Some(over) = x.over_a {
                    section.text.push(format!(
                        "{} A more than the supply gives.",
                        show::significant(over, 2)
                    ));
                }
                section.text.push(format!(
                    "The volts change the saturated output by {} dB.",
                    show::fixed(x.output_change_db, 2)
                ));
            }
        }
    }
    sheet.sections.push(section);
    Ok(())
}

fn heat_figure(n: &str, h: &HeatPlan, limit: f64) -> Figure {
    Figure {
        key: format!("heat_{n}"),
        caption: format!("{n}: sink temperature from cold at the mean heat of this duty."),
        svg: lines(
            &format!("Sink temperature, {n}"),
            "minutes from cold",
            "sink, °C",
            &[(
                "sink".into(),
                h.curve.iter().map(|(t, c)| (t / 60.0, *c)).collect(),
            )],
            &[],
            Some((limit, "limit".into())),
        ),
    }
}

fn exposure_section(sheet: &mut Sheet, station: &Station, p: &Predicted, x: &Surroundings) {
    let e = &x.exposure;
    let mut t = Table::new(
        "places",
        &[
            ("place", "place"),
            ("density", "mean density"),
            ("public", "distance, public limit"),
            ("occupational", "distance, occupational limit"),
        ],
    );
    for place in &e.places {
        let away = |k: Known| {
            if k.value > 0.0 {
                number(k.value + 2.0 * k.u, 1, "m")
            } else {
                Cell::Missing("not reached, or no place to be at all".into())
            }
        };
        t.rows.push(vec![
            Cell::Text(place.name.into()),
            number(
                place.w_m2.value,
                if place.w_m2.value < 10.0 { 1 } else { 0 },
                "W/m2",
            ),
            away(place.public),
            away(place.occupational),
        ]);
    }
    let get = |k: &str| e.place(k);
    let mut answers = Vec::new();
    for (key, id, label) in [
        ("axis", "exposure.axis", "in the beam"),
        ("rim", "exposure.rim", "past the rim, from the feed"),
        ("bare", "exposure.bare", "before the bare feed"),
    ] {
        if let Some(place) = get(key) {
            answers.push(answer(
                format!("{id}.public"),
                &format!("keep-out distance, public, {label}"),
                Unit::M,
                place.public,
            ));
            answers.push(answer(
                format!("{id}.occupational"),
                &format!("keep-out distance, occupational, {label}"),
                Unit::M,
                place.occupational,
            ));
        }
    }
    if let Some(b) = get("between") {
        answers.push(answer(
            "exposure.between".into(),
            b.name,
            Unit::WPerM2,
            b.w_m2,
        ));
    }
    let offered: Vec<String> = x
        .offered
        .iter()
        .map(|l| {
            format!(
                "{}: {} and {} W/m2",
                l.name,
                show::significant(l.public_w_m2, 3),
                show::significant(l.occupational_w_m2, 3)
            )
        })
        .collect();
    let mut s = Section::new("exposure", "where people must not be", answers).table(t).say(format!(
        "For {} W mean at the feed (strongest use: {}), limits {} and {} W/m2 for public and occupational exposure ({}). The table's distances hold two standard uncertainties more.",
        show::significant(e.mean_w.value, 3),
        x.passband,
        show::significant(e.limits.public_w_m2, 3),
        show::significant(e.limits.occupational_w_m2, 3),
        e.limits.name
    ));
    s.text.push(format!(
        "Offered, to be checked against what binds you: {}.",
        offered.join("; ")
    ));
    s.text.push(format!(
        "The near field ends {} m before the dish, the far field begins at {} m (OET 65).",
        show::significant(e.zones.0.as_m(), 2),
        show::significant(e.zones.1.as_m(), 2)
    ));
    sheet.sections.push(s);
    let pair = |k: &str| {
        get(k).map_or((0.0, 0.0), |p| {
            (
                p.public.value + 2.0 * p.public.u,
                p.occupational.value + 2.0 * p.occupational.u,
            )
        })
    };
    sheet.figures.push(Figure {
        key: "side_view".into(),
        caption: "The dish from the side with the distances to keep in the beam and past the rim."
            .into(),
        svg: side_view(
            "Keep-out distances",
            &SideView {
                diameter_m: x.radiating.diameter.as_m(),
                elevation_deg: p.model.geometry().apparent.elevation_deg,
                to_feed_m: x.radiating.to_dish.as_m(),
                axis_m: pair("axis"),
                rim_m: pair("rim"),
                height_m: station.site.height_above_ground.distribution.mean(),
                limits: e.limits.name.clone(),
            },
        ),
    });
}
