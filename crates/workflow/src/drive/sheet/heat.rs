//! What a log teaches; heat and supply at the levels in question.

use super::super::DriveOptions;
use super::super::plan::{Planned, SegmentPlan};
use super::super::plant::envelope;
use super::{answer, number, watts};
use crate::WorkflowError;
use slantpath_plan::Known;
use slantpath_plan::heat::{HeatPlan, Learned, TimeTold, heat};
use slantpath_plan::supply::supply;
use slantpath_quantity::{Answer, Estimate, Unit, show};
use slantpath_report::figure::lines;
use slantpath_report::sheet::{Cell, Table};
use slantpath_report::{Figure, Section, Sheet};

pub(super) fn log_section(l: &Learned) -> Section {
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

pub(super) fn plant_section(
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
    section.tables.push(both_levels(plan, s, o)?);
    sheet.sections.push(section);
    Ok(())
}

/// Heat and supply at the level stated and at the best drive, side by side.
fn both_levels(plan: &Planned, s: &SegmentPlan, o: &DriveOptions) -> Result<Table, WorkflowError> {
    let mut t = Table::new(
        "levels",
        &[
            ("what", "heat and supply"),
            ("stated", "as stated"),
            ("best", "at the best drive"),
        ],
    );
    let best = s.advice.as_ref().ok().map(|a| a.probe.out_dbm);
    let mut columns: Vec<Vec<Cell>> = Vec::new();
    for dbm in [Some(s.stated_dbm.value), best] {
        columns.push(match dbm {
            Some(dbm) => at_level(plan, s, o, dbm)?,
            None => vec![Cell::Missing("nothing is advised".into()); ROWS.len()],
        });
    }
    let mut columns = columns.into_iter().map(Vec::into_iter);
    if let (Some(mut stated), Some(mut best)) = (columns.next(), columns.next()) {
        for what in ROWS {
            let cell = |c: Option<Cell>| c.unwrap_or_else(|| Cell::Missing("none".into()));
            t.rows
                .push(vec![(*what).into(), cell(stated.next()), cell(best.next())]);
        }
    }
    Ok(t)
}

/// What [`at_level`] tells.
const ROWS: &[&str] = &[
    "mean output",
    "DC power while transmitting",
    "heat while transmitting",
    "sink in the long run, mean",
    "below its limit at the hottest moment",
    "time to the limit without a pause",
    "current while transmitting",
    "battery at this duty",
];

fn at_level(
    plan: &Planned,
    s: &SegmentPlan,
    o: &DriveOptions,
    dbm: f64,
) -> Result<Vec<Cell>, WorkflowError> {
    let value = |k: Known, unit: Unit| {
        Cell::Value(
            if k.u > 0.0 {
                Estimate::normal(k.value, k.u)
            } else {
                Estimate::exact(k.value)
            },
            unit,
        )
    };
    let missing = |why: &str| Cell::Missing(why.into());
    let mut out = vec![number(dbm, 1, "dBm")];
    let Some(e) = plan.plant.electric(&envelope(&s.waveform, watts(dbm))) else {
        return Ok(out);
    };
    out.extend([value(e.dc_w, Unit::W), value(e.heat_w, Unit::W)]);
    match plan.plant.cooling() {
        Some(c) => {
            let h = heat(c, e.heat_w, 0.0, s.duty, o.cycle_s, o.seed)?;
            out.extend([
                value(h.steady_c, Unit::Celsius),
                value(h.margin_k, Unit::K),
                match h.without_pause.best_s {
                    Some(t) => number(t / 60.0, 0, "min"),
                    None => "never".into(),
                },
            ]);
        }
        None => out.extend(vec![missing("no `[cooling]` is written"); 3]),
    }
    let fed = plan
        .plant
        .supply
        .as_ref()
        .zip(plan.plant.rated_v)
        .and_then(|(sup, rated)| supply(sup, &e, rated, s.duty).ok());
    match fed {
        Some(x) => out.extend([
            value(x.current_a, Unit::A),
            x.hours
                .map_or(missing("no battery, or charge covers it"), |h| {
                    value(h, Unit::Hour)
                }),
        ]),
        None => out.extend(vec![missing("no `[supply]` is written"); 2]),
    }
    Ok(out)
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
