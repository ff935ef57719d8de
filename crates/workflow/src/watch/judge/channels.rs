//! The channels of a station, and the changes of each.

use super::super::moments::day;
use super::super::rows::{RETURN_LOSS, Row, SINK, VOLTS};
use super::prepare::{floor_of, sights};
use super::{Basis, Channel, DAY_S, Finding, Judged, Of};
use crate::WorkflowError;
use slantpath_stats::robust::median;
use slantpath_verdict::health::changes::{Change, Course, Covariate, Settings, changes};
use slantpath_verdict::health::separate::{Mover, attribute, separate};
use slantpath_verdict::health::trend::trend;
use slantpath_verdict::health::{Entry, binned};

pub(super) fn channels(b: &Basis<'_>, rows: &[Row], out: &mut Judged) -> Result<(), WorkflowError> {
    let (names, sights) = sights(b, rows);
    out.sources = names;
    let parted = separate(&sights);
    let single = |f: &dyn Fn(&Row) -> Option<(f64, f64)>| -> Vec<Entry> {
        rows.iter()
            .filter_map(|r| f(r).map(|(value, u)| Entry { t: r.t_s, value, u }))
            .collect()
    };
    let all = [
        (Of::Station, parted.common.clone()),
        (Of::Noise, single(&floor_of)),
        (Of::ReturnLoss, single(&|r| r.get(RETURN_LOSS))),
        (
            Of::Sink,
            single(&|r| r.get(SINK))
                .into_iter()
                .chain(sinks(b))
                .collect(),
        ),
        (Of::Volts, single(&|r| r.get(VOLTS))),
    ];
    let ids: std::collections::BTreeSet<&String> =
        rows.iter().flat_map(|r| r.figures.keys()).collect();
    for id in ids {
        let list = single(&|r| r.get(id));
        out.raw
            .insert(id.clone(), binned(&list, out.bin_days * DAY_S));
    }
    let sources: Vec<Vec<Entry>> = (0..out.sources.len())
        .map(|i| {
            let list: Vec<Entry> = sights
                .iter()
                .filter_map(|s| {
                    let (value, u) = s.values.get(i).copied().flatten()?;
                    Some(Entry { t: s.t, value, u })
                })
                .collect();
            binned(&list, out.bin_days * DAY_S)
        })
        .collect();
    for (of, entries) in all {
        if entries.is_empty() {
            continue;
        }
        let entries = binned(&entries, out.bin_days * DAY_S);
        channel(b, of, entries, &sources, out)?;
    }
    // The station's channel tells of an event first.
    out.findings.sort_by(|a, b| {
        a.change
            .began
            .total_cmp(&b.change.began)
            .then_with(|| (a.of as u8).cmp(&(b.of as u8)))
    });
    let near = 2.5 * out.bin_days * DAY_S;
    let mut events: Vec<f64> = Vec::new();
    for f in &mut out.findings {
        let (a, z) = (f.change.interval.0 - near, f.change.interval.1 + near);
        f.again = f.alarm && events.iter().any(|t| *t >= a && *t <= z);
        if f.alarm && !f.again {
            events.push(f.change.began);
        }
    }
    Ok(())
}

/// What the sink's temperature over the air's is for each watt of output, brought to the usual output.
pub(super) fn sinks(b: &Basis<'_>) -> Vec<Entry> {
    let full: Vec<(f64, f64)> = b
        .overs
        .overs
        .iter()
        .filter_map(|o| {
            Some((
                o.span_s.1,
                (o.sink_c? - o.air_c?) / o.output_w.filter(|w| *w > 0.0)?,
            ))
        })
        .collect();
    let watts: Vec<f64> = b.overs.overs.iter().filter_map(|o| o.output_w).collect();
    let usual = median(&watts).unwrap_or(1.0);
    full.into_iter()
        .map(|(t, per_w)| Entry {
            t,
            value: per_w * usual,
            u: 1.0,
        })
        .collect()
}

pub(super) fn channel(
    b: &Basis<'_>,
    of: Of,
    entries: Vec<Entry>,
    sources: &[Vec<Entry>],
    out: &mut Judged,
) -> Result<(), WorkflowError> {
    let unit = out.bin_days * DAY_S;
    let scaled: Vec<Entry> = entries
        .iter()
        .map(|e| Entry {
            t: e.t / unit,
            ..*e
        })
        .collect();
    let restarts_s: Vec<f64> = b.marks.iter().filter(|m| m.parts).map(|m| m.t_s).collect();
    let restarts: Vec<f64> = restarts_s.iter().map(|t| t / unit).collect();
    let mut s = Settings::default();
    if out.bin_days < 1.0 {
        // A day's swing of 0.1 dB about bins of hours or minutes.
        s.slope = (0.6 * out.bin_days).max(s.slope);
    }
    match of {
        Of::Sink => s.smallest = 2.0,
        Of::Volts => s.smallest = 0.3,
        Of::ReturnLoss => s.smallest = 0.5,
        Of::Station | Of::Noise => {}
    }
    let found: Vec<Change> = changes(
        &scaled,
        &covariates(b, &entries, out.bin_days),
        &restarts,
        &s,
    )
    .into_iter()
    .map(|c| in_seconds(c, unit))
    .collect();
    // Borders between which levels are one: found changes, returns, swaps.
    let mut borders: Vec<f64> = restarts_s.clone();
    for c in &found {
        borders.push(c.began);
        if let Course::Returned { at } = c.course {
            borders.push(at);
        }
    }
    borders.sort_by(f64::total_cmp);
    let last = entries.last().map_or(0.0, |e| e.t);
    for c in &found {
        let not_before = borders
            .iter()
            .copied()
            .filter(|x| *x < c.began)
            .fold(f64::NEG_INFINITY, f64::max);
        let not_after = borders
            .iter()
            .copied()
            .filter(|x| *x > c.began)
            .fold(f64::INFINITY, f64::min);
        let attribution = (of == Of::Station).then(|| attribute(sources, c, not_before, not_after));
        let stands = match c.course {
            Course::Stays => true,
            Course::Returned { .. } => false,
            Course::Decays { constant } => {
                let left = c.size.abs() * (-(last - c.began) / constant).exp();
                left > (3.0 * c.u).max(0.1)
            }
        };
        // A part change within a day, or a fault noted since, accounts for it.
        let known = b
            .marks
            .iter()
            .find(|m| {
                if m.parts {
                    m.t_s >= c.interval.0 - DAY_S && m.t_s <= c.raised + unit || m.t_s > c.raised
                } else {
                    m.t_s >= c.interval.0 - DAY_S
                }
            })
            .map(|m| format!("{} ({})", m.title, day(m.t_s)));
        let satellite = attribution
            .as_ref()
            .is_some_and(|a| matches!(a.mover, Mover::Satellite(_)));
        let alarm = known.is_none()
            && !satellite
            && of.worse(c.size)
            && (stands || c.raised >= b.new_from_s);
        out.findings.push(Finding {
            of,
            after_rain: b.weather.rained(c.began, 36.0),
            change: c.clone(),
            attribution,
            known,
            stands,
            alarm,
            again: false,
        });
    }
    let from = borders.last().copied().unwrap_or(f64::NEG_INFINITY);
    let now: Vec<Entry> = entries.iter().copied().filter(|e| e.t >= from).collect();
    let level = level_of(&now);
    let trend = if out.bin_days >= 1.0 {
        let days: Vec<Entry> = entries
            .iter()
            .map(|e| Entry {
                t: e.t / DAY_S,
                ..*e
            })
            .collect();
        let steps: Vec<f64> = borders.iter().map(|t| t / DAY_S).collect();
        trend(&days, &steps)?
    } else {
        None
    };
    out.channels.push(Channel {
        of,
        entries,
        level,
        trend,
    });
    Ok(())
}

/// Temperature, and whether it rained in the bin (clouds go with rain): what moves levels a little. Effects before the data
/// say anything are common practice, no source.
pub(super) fn covariates(b: &Basis<'_>, entries: &[Entry], bin_days: f64) -> Vec<Covariate> {
    let mut out = Vec::new();
    if !b.weather.temperature.is_empty() {
        out.push(Covariate {
            values: entries
                .iter()
                .map(|e| b.weather.temperature_at(e.t).unwrap_or(f64::NAN))
                .collect(),
            u: 0.01,
        });
    }
    if !b.weather.rain.is_empty() && bin_days >= 1.0 {
        out.push(Covariate {
            values: entries
                .iter()
                .map(|e| match b.weather.rained(e.t + 0.5 * DAY_S, 24.0) {
                    Some(true) => 1.0,
                    Some(false) => 0.0,
                    None => f64::NAN,
                })
                .collect(),
            u: 0.15,
        });
    }
    out
}

pub(super) fn level_of(entries: &[Entry]) -> Option<(f64, f64)> {
    let tail = entries.get(entries.len().saturating_sub(120)..)?;
    let v: Vec<f64> = tail.iter().map(|e| e.value).collect();
    let m = median(&v)?;
    let mad = slantpath_stats::robust::scaled_mad(&v).unwrap_or(0.0);
    let own = tail.iter().map(|e| e.u).fold(0.0, f64::max);
    Some((m, mad.max(if v.len() < 3 { own } else { 0.0 })))
}

pub(super) fn in_seconds(c: Change, unit: f64) -> Change {
    Change {
        began: c.began * unit,
        interval: (c.interval.0 * unit, c.interval.1 * unit),
        raised: c.raised * unit,
        course: match c.course {
            Course::Stays => Course::Stays,
            Course::Decays { constant } => Course::Decays {
                constant: constant * unit,
            },
            Course::Returned { at } => Course::Returned { at: at * unit },
        },
        ..c
    }
}
