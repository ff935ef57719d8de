//! A line a day.

use super::super::moments::day;
use super::super::rows::{OSCILLATOR, Row};
use super::channels::level_of;
use super::{Basis, Channel, DAY_S, Finding, Judged, Of};
use slantpath_stats::robust::median;
use slantpath_verdict::health::Entry;
use slantpath_verdict::health::changes::Course;
use std::collections::BTreeMap;

/// One line for each day that has entries.
pub(super) fn days(b: &Basis<'_>, rows: &[&Row], out: &mut Judged) {
    let mut by_day: BTreeMap<i64, Vec<&Row>> = BTreeMap::new();
    for r in rows {
        by_day
            .entry((r.t_s / DAY_S).floor() as i64)
            .or_default()
            .push(r);
    }
    let newest = by_day.keys().next_back().copied();
    for (d, list) in by_day {
        let begin = d as f64 * DAY_S;
        let end = begin + DAY_S;
        if end <= b.new_from_s && Some(d) != newest {
            continue;
        }
        let mut parts = vec![format!(
            "{} {}",
            list.len(),
            if list.len() == 1 { "entry" } else { "entries" }
        )];
        for c in &out.channels {
            let today: Vec<f64> = c
                .entries
                .iter()
                .filter(|e| e.t >= begin && e.t < end)
                .map(|e| e.value)
                .collect();
            let (Some(v), Some((level, u))) = (median(&today), level_at(c, &out.findings, begin))
            else {
                continue;
            };
            let places = if c.of == Of::Sink { 0 } else { 2 };
            parts.push(format!(
                "{} {:+.*} {} (usual \u{b1} {:.*})",
                c.of.label(),
                places,
                v - level,
                c.of.unit(),
                places,
                u
            ));
        }
        let hz: Vec<f64> = list
            .iter()
            .filter_map(|r| r.get(OSCILLATOR))
            .map(|v| v.0)
            .collect();
        if let (Some(f), Some(o)) = (median(&hz), &out.oscillator) {
            parts.push(format!("received {:+.2} ppm off", 1e6 * f / o.lo_hz));
        }
        if let Some(t) = b.weather.temperature_at(begin + 0.5 * DAY_S) {
            parts.push(format!("{t:.0} \u{b0}C at noon UTC"));
        }
        let raised: Vec<&str> = out
            .findings
            .iter()
            .filter(|f| f.change.raised >= begin && f.change.raised < end)
            .map(|f| f.of.label())
            .collect();
        let verdict = if raised.is_empty() {
            "nothing new".to_string()
        } else {
            format!("CHANGE: {}", raised.join(", "))
        };
        out.days.push((
            begin,
            format!("{}: {}; {verdict}.", day(begin), parts.join(", ")),
        ));
    }
}

/// Level before a day's entries: of the segment that the day began in, from entries before it when there are any.
pub(super) fn level_at(c: &Channel, findings: &[Finding], begin: f64) -> Option<(f64, f64)> {
    let from = findings
        .iter()
        .filter(|f| f.of == c.of && f.change.raised < begin)
        .map(|f| match f.change.course {
            Course::Returned { at } if at < begin => at,
            _ => f.change.began,
        })
        .fold(f64::NEG_INFINITY, f64::max);
    let before: Vec<Entry> = c
        .entries
        .iter()
        .copied()
        .filter(|e| e.t >= from && e.t < begin)
        .collect();
    (before.len() >= 3).then(|| level_of(&before)).flatten()
}
