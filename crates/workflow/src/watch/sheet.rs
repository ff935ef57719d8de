//! The watch as a sheet, and its figures for a monitoring system.

use super::cause::Cause;
use super::judge::{Finding, Judged, Of};
use super::moments::{day, shown};
use crate::diagnosis::words;
use slantpath_plan::frequency::retune_interval_s;
use slantpath_quantity::{Answer, Estimate, Unit, show};
use slantpath_report::openmetrics::{Gauge, Sample};
use slantpath_report::{Cell, Section, Sheet, Table};
use slantpath_station::Station;
use slantpath_verdict::health::changes::Course;
use slantpath_verdict::health::drift::NoDrift;
use slantpath_verdict::health::separate::Mover;

/// Days shown, at most.
const DAYS_SHOWN: usize = 14;

/// Writes the sheet of one branch. `causes` stand beside the findings of the same position.
pub(super) fn sheet(
    station: &Station,
    j: &Judged,
    causes: &[Option<Cause>],
    tolerance_hz: f64,
    told: &[String],
) -> Sheet {
    let alarms = j.alarms();
    let mut out = Sheet {
        verb: "watch".into(),
        title: format!(
            "{}, branch {}: {}",
            station.name,
            j.branch,
            match alarms {
                0 => "no alarm".to_string(),
                1 => "ALARM".to_string(),
                n => format!("{n} ALARMS"),
            }
        ),
        ..Sheet::default()
    };
    out.sections.push(days(j));
    out.sections.extend(levels(j));
    out.sections.extend(changes(j, causes));
    out.sections.extend(oscillator(j, tolerance_hz));
    out.sections.push(alarm_section(j, alarms));
    let mut all = Section::new("told", "what else there is to know", Vec::new());
    all.text.extend(told.iter().cloned());
    all.text.extend(j.told.iter().cloned());
    if !j.aside.is_empty() {
        let list: Vec<String> = j
            .aside
            .iter()
            .map(|(why, n)| format!("{n} for {why}"))
            .collect();
        all.text.push(format!(
            "Entries that take no part in the levels, or only with what was taken out: {}. They stand in the book.",
            list.join(", ")
        ));
    }
    if !all.text.is_empty() {
        out.sections.push(all);
    }
    because(&mut out, j, causes);
    out
}

fn days(j: &Judged) -> Section {
    let mut s = Section::new("days", "a line a day", Vec::new());
    let hidden = j.days.len().saturating_sub(DAYS_SHOWN);
    if hidden > 0 {
        s.text
            .push(format!("{hidden} earlier days are not shown here."));
    }
    s.text
        .extend(j.days.iter().skip(hidden).map(|d| d.1.clone()));
    if j.days.is_empty() {
        s.text.push("There is no entry of this branch yet.".into());
    }
    s
}

fn unit_of(of: Of) -> Unit {
    match of {
        Of::Sink => Unit::K,
        Of::Volts => Unit::V,
        _ => Unit::Db,
    }
}

fn levels(j: &Judged) -> Option<Section> {
    let mut answers = Vec::new();
    for c in &j.channels {
        if let Some(t) = c.trend
            && matches!(c.of, Of::Station | Of::Noise | Of::ReturnLoss)
        {
            answers.push(
                Answer::known(
                    format!("watch.{}.trend@{}", c.of.key(), j.branch),
                    format!("{}: change a year, beside the season", c.of.label()),
                    Unit::Db,
                    Estimate::normal(t.per_year.0, t.per_year.1),
                )
                .because(format!(
                    "over {:.0} days; the season swings by {} dB each way",
                    t.span,
                    show::significant(t.season, 1)
                )),
            );
        }
    }
    (!answers.is_empty()).then(|| Section::new("trends", "slow changes", answers))
}

fn course(c: Course) -> String {
    match c {
        Course::Stays => "stays".into(),
        Course::Decays { constant } => {
            format!("goes back with a time constant of {}", span(constant))
        }
        Course::Returned { at } => format!("came back {}", shown(at)),
    }
}

/// A stretch of time for people.
fn span(s: f64) -> String {
    if s < 7200.0 {
        format!("{:.0} min", s / 60.0)
    } else if s < 2.0 * 86_400.0 {
        format!("{} h", show::significant(s / 3600.0, 2))
    } else {
        format!("{} d", show::significant(s / 86_400.0, 2))
    }
}

fn who(f: &Finding, j: &Judged) -> String {
    match f.attribution.as_ref().map(|a| &a.mover) {
        None => String::new(),
        Some(Mover::Station) => "all signals alike: station or path".into(),
        Some(Mover::Satellite(which)) => {
            let names: Vec<&str> = which
                .iter()
                .filter_map(|i| j.sources.get(*i))
                .map(String::as_str)
                .collect();
            format!("the satellite: {} alone", names.join(", "))
        }
        Some(Mover::Unclear) if j.sources.len() < 2 => {
            "one signal only: station, path or satellite".into()
        }
        Some(Mover::Unclear) => "not told apart".into(),
    }
}

fn changes(j: &Judged, causes: &[Option<Cause>]) -> Option<Section> {
    if j.findings.is_empty() && j.lost_since_s.is_none() {
        return None;
    }
    let mut s = Section::new("changes", "what changed, and when", Vec::new());
    let mut t = Table::new(
        "changes",
        &[
            ("channel", "what"),
            ("began", "since"),
            ("interval", "95 % of the moment"),
            ("size", "by"),
            ("course", "and then"),
            ("who", "who moved"),
            ("known", "accounted for by"),
        ],
    );
    for f in &j.findings {
        let c = &f.change;
        t.rows.push(vec![
            Cell::Text(f.of.label().into()),
            Cell::Text(when(c.began, j)),
            Cell::Text(format!(
                "{} to {}",
                when(c.interval.0, j),
                when(c.interval.1, j)
            )),
            Cell::Value(Estimate::normal(c.size, c.u), unit_of(f.of)),
            Cell::Text(course(c.course)),
            Cell::Text(who(f, j)),
            Cell::Text(f.known.clone().unwrap_or_default()),
        ]);
    }
    s = s.table(t);
    for (f, cause) in j.findings.iter().zip(causes) {
        let Some(x) = cause else { continue };
        s.text.push(format!(
            "{} since {}: {}",
            f.of.label(),
            when(f.change.began, j),
            ranking(x)
        ));
        s = s.table(table(f, x));
    }
    if let Some(t) = j.lost_since_s {
        s.text.push(format!(
            "The satellite has not been seen since {}.",
            shown(t)
        ));
    }
    Some(s)
}

fn when(t_s: f64, j: &Judged) -> String {
    if j.bin_days >= 1.0 {
        day(t_s)
    } else {
        shown(t_s)
    }
}

/// What a cause says, in a sentence.
pub(super) fn ranking(x: &Cause) -> String {
    let Some(g) = x.diagnosis.groups.first() else {
        return String::new();
    };
    let names: Vec<String> = g
        .members
        .iter()
        .filter_map(|m| x.diagnosis.ranked.get(*m))
        .take(4)
        .map(|r| words(&x.case, r).1)
        .collect();
    let p = 100.0 * g.probability;
    match names.as_slice() {
        [one] => format!("most probably {one} ({p:.0} %)."),
        some => format!(
            "most probably one of: {} ({p:.0} % together); these readings do not tell them apart.",
            some.join("; ")
        ),
    }
}

fn table(f: &Finding, x: &Cause) -> Table {
    let key = format!("cause_{}_{:.0}", f.of.key(), f.change.began);
    let mut t = Table::new(
        &key,
        &[
            ("fault", "what it may be"),
            ("probability", "probability"),
            ("remedy", "what to do"),
        ],
    );
    for g in x
        .diagnosis
        .groups
        .iter()
        .filter(|g| g.probability >= 0.03)
        .take(4)
    {
        let of: Vec<(String, String, String)> = g
            .members
            .iter()
            .filter_map(|m| x.diagnosis.ranked.get(*m))
            .take(4)
            .map(|r| words(&x.case, r))
            .collect();
        let join = |k: usize| {
            of.iter()
                .map(|w| if k == 1 { w.1.as_str() } else { w.2.as_str() })
                .collect::<Vec<_>>()
                .join("; or ")
        };
        t.rows.push(vec![
            Cell::Text(join(1)),
            Cell::Number {
                value: 100.0 * g.probability,
                places: 0,
                unit: "%".into(),
            },
            Cell::Text(join(2)),
        ]);
    }
    t
}

fn oscillator(j: &Judged, tolerance_hz: f64) -> Option<Section> {
    let o = j.oscillator.as_ref()?;
    let mut s = Section::new("oscillator", "oscillator against temperature", Vec::new());
    let id = |what: &str| format!("watch.oscillator.{what}@{}", j.branch);
    match &o.drift {
        Err(NoDrift::TooFew(n)) => {
            let why = format!("{n} frequencies come with a temperature; twelve are needed");
            s.answers.push(Answer::unknown(
                id("per_kelvin"),
                "ppm for each kelvin",
                Unit::Ppm,
                why,
                "give --weather with a column `temperature`",
            ));
        }
        Err(NoDrift::Still(k)) => s.answers.push(Answer::unknown(
            id("per_kelvin"),
            "ppm for each kelvin",
            Unit::Ppm,
            format!(
                "the temperature moved by {} K only",
                show::significant(*k, 2)
            ),
            "go on until it has moved by 3 K",
        )),
        Ok(d) => {
            s.answers.push(
                Answer::known(
                    id("per_kelvin"),
                    "received frequency, ppm of the oscillator for each kelvin",
                    Unit::Ppm,
                    Estimate::normal(d.per_k.0, d.per_k.1),
                )
                .because(format!(
                    "{} frequencies between {:.0} and {:.0} \u{b0}C; {} ppm are left unexplained{}",
                    d.samples,
                    d.range_c.0,
                    d.range_c.1,
                    show::significant(d.rest_ppm, 2),
                    if d.lag_s > 0.0 {
                        format!("; the case follows the air after {}", span(d.lag_s))
                    } else {
                        String::new()
                    }
                )),
            );
            s.answers.push(Answer::known(
                id("at_mean"),
                format!("received less nominal at {:.0} \u{b0}C", d.mean_c),
                Unit::Ppm,
                Estimate::normal(d.at_mean.0, d.at_mean.1),
            ));
            if d.ageing.0.abs() > 3.0 * d.ageing.1 {
                s.answers.push(Answer::known(
                    id("ageing"),
                    "ageing, ppm a day",
                    Unit::Ppm,
                    Estimate::normal(d.ageing.0, d.ageing.1),
                ));
            }
            match d.doppler_hz {
                _ if o.by_elements => s
                    .text
                    .push("Doppler was taken out by the satellite's elements.".into()),
                Some((a, u)) => s.answers.push(
                    Answer::known(
                        id("doppler"),
                        "satellite's Doppler shift, amplitude of its sidereal day",
                        Unit::Hz,
                        Estimate::normal(a, u),
                    )
                    .because("no elements: told from the temperature by its period and by what the orbit allows"),
                ),
                None => {}
            }
            if let Some(k) = o.daily_k {
                let swing = (d.per_k.0 * k).abs() * 1e-6 * o.lo_hz;
                let u = (d.per_k.1 / d.per_k.0).abs();
                if let Ok(t) = retune_interval_s(swing, tolerance_hz)
                    && t.is_finite()
                {
                    s.answers.push(
                        Answer::known(
                            id("retune"),
                            format!("retune after, to stay within {tolerance_hz:.0} Hz"),
                            Unit::Min,
                            Estimate::normal(t / 60.0, t / 60.0 * u),
                        )
                        .because(format!(
                            "a day of {} K moves it by {} Hz peak to peak; at its steepest",
                            show::significant(k, 2),
                            show::significant(swing, 2)
                        )),
                    );
                }
            }
            if d.without > 0 {
                s.text.push(format!(
                    "{} frequencies have no temperature beside them.",
                    d.without
                ));
            }
        }
    }
    Some(s)
}

fn alarm_section(j: &Judged, alarms: usize) -> Section {
    let count = |id: &str, label: &str, n: usize| {
        Answer::known(
            format!("watch.{id}@{}", j.branch),
            label,
            Unit::One,
            Estimate::exact(n as f64),
        )
    };
    Section::new(
        "alarm",
        "alarm",
        vec![
            count(
                "alarms",
                "changes for the worse that nothing accounts for",
                alarms,
            ),
            count("changes", "changes found", j.findings.len()),
            count("entries", "entries looked at", j.entries),
        ],
    )
}

fn because(out: &mut Sheet, j: &Judged, causes: &[Option<Cause>]) {
    for (k, f) in j.findings.iter().enumerate().filter(|(_, f)| f.alarm) {
        let c = &f.change;
        let (v, u) = show::value_and_u(c.size, c.u);
        let cause = causes
            .get(k)
            .and_then(Option::as_ref)
            .map_or(String::new(), |x| format!(" {}", capital(&ranking(x))));
        out.because.push(format!(
            "{} changed by {v} \u{b1} {u} {} on {}, between {} and {}; {}.{cause}",
            capital(f.of.label()),
            f.of.unit(),
            when(c.began, j),
            when(c.interval.0, j),
            when(c.interval.1, j),
            course(c.course),
        ));
        if out.next_measurement.is_none() {
            out.next_measurement = causes.get(k).and_then(Option::as_ref).and_then(|x| {
                let a = x.case.actions.get(x.next.first()?.action)?;
                Some(format!(
                    "{} (about {:.0} minutes).",
                    capital(&a.how),
                    a.minutes
                ))
            });
        }
    }
    for (c, t) in j.ageing() {
        let (v, u) = show::value_and_u(t.per_year.0, t.per_year.1);
        out.because.push(format!(
            "{} changes by {v} \u{b1} {u} dB a year beside the season: something ages.",
            capital(c.of.label())
        ));
    }
    if let Some(t) = j.lost_since_s {
        out.because.push(format!(
            "No beacon of the satellite has been found since {}.",
            shown(t)
        ));
        out.next_measurement.get_or_insert_with(|| {
            "Look whether the converter draws current and where the dish points; then record with a wider --lo-tolerance.".into()
        });
    }
    if let Some(Ok(d)) = j.oscillator.as_ref().map(|o| &o.drift) {
        let (v, u) = show::value_and_u(d.per_k.0, d.per_k.1);
        out.because.push(format!(
            "The received frequency moves by {v} \u{b1} {u} ppm of the oscillator for each kelvin, learned between {:.0} and {:.0} \u{b0}C.",
            d.range_c.0, d.range_c.1
        ));
    }
    if out.because.is_empty() {
        let learning = j.channels.iter().all(|c| c.entries.len() < 30);
        out.because.push(if learning {
            format!("{} entries: the watch is still learning how this station scatters, and raises no alarm.", j.entries)
        } else {
            "No change for the worse stands without an account.".into()
        });
    }
    if out.next_measurement.is_none() {
        out.next_measurement = Some(if j.alarms() > 0 {
            "Note what you find with `slantpath book fault` or `book change`: the watch then counts it as known.".into()
        } else {
            "Go on with short recordings at the same settings, at the same hours.".into()
        });
    }
}

fn capital(text: &str) -> String {
    let mut c = text.chars();
    c.next()
        .map_or(String::new(), |f| f.to_uppercase().chain(c).collect())
}

/// Figures for a monitoring system, beside the book's.
pub(super) fn samples(j: &Judged) -> Vec<Sample> {
    let at_s = j.span_s.1;
    let one = |measurand: &str, unit: &str, value: f64, u: f64| Sample {
        gauge: Gauge::Measured,
        measurand: measurand.into(),
        branch: j.branch.clone(),
        unit: unit.into(),
        value,
        u,
        at_s,
    };
    let mut out = vec![
        one("watch.alarms", "", j.alarms() as f64, 0.0),
        one("watch.entries", "", j.entries as f64, 0.0),
    ];
    for c in &j.channels {
        if let (Some(last), Some((level, u))) = (c.entries.last(), c.level) {
            out.push(one(
                &format!("watch.{}.off", c.of.key()),
                c.of.unit(),
                last.value - level,
                u,
            ));
        }
    }
    if let Some(Ok(d)) = j.oscillator.as_ref().map(|o| &o.drift) {
        out.push(one(
            "watch.oscillator.per_kelvin",
            "ppm",
            d.per_k.0,
            d.per_k.1,
        ));
    }
    out
}
