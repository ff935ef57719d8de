//! Answers as text.

use super::{Paper, Tone};
use slantpath_quantity::show::{decimals_for, fixed, value_and_u};
use slantpath_quantity::{Answer, Estimate, Unit};

/// `49.2 ± 0.4 dBHz`; angles and other units as the answer carries them. Exact values without `±`.
pub fn value_text(paper: &Paper, e: &Estimate, unit: Unit) -> String {
    let (v, u) = value_and_u(e.value, e.u);
    let symbol = paper.plain(unit.symbol());
    let space = if symbol.is_empty() { "" } else { " " };
    if e.u > 0.0 {
        format!("{v} {} {u}{space}{symbol}", paper.plus_minus())
    } else {
        format!("{v}{space}{symbol}")
    }
}

/// `48.4 .. 50.0` with the digits that are known.
fn interval_text(e: &Estimate) -> String {
    match decimals_for(e.u) {
        Some(p) => format!("{} .. {}", fixed(e.interval.lo, p), fixed(e.interval.hi, p)),
        None => String::new(),
    }
}

/// Label, value, interval: one row of a table.
pub fn answer_row(paper: &Paper, a: &Answer) -> Vec<String> {
    match &a.outcome {
        Ok(e) => {
            let mark = if a.validity.is_inside() { "" } else { " (!)" };
            vec![
                a.label.clone(),
                format!("{}{mark}", value_text(paper, e, a.unit)),
                interval_text(e),
            ]
        }
        Err(u) => vec![a.label.clone(), "undetermined".into(), u.reason.clone()],
    }
}

/// A table of answers; reasons for values outside a model's range follow it.
pub fn answer_table(paper: &Paper, answers: &[Answer]) -> String {
    let level = answers
        .iter()
        .filter_map(Answer::estimate)
        .find(|e| e.u > 0.0)
        .map_or(0.95, |e| e.interval.level);
    let head = format!("{:.3} %", level * 100.0).replace(".000", "");
    let rows: Vec<Vec<String>> = answers.iter().map(|a| answer_row(paper, a)).collect();
    let mut out = paper.table(&["", "value (standard u)", &head], &[], &rows);
    let mut told: Vec<&String> = Vec::new();
    for reason in answers.iter().flat_map(|a| a.validity.reasons()) {
        if !told.contains(&reason) {
            told.push(reason);
            out.push_str(&paper.hanging("(!)", reason));
        }
    }
    out
}

/// One answer, whole: value, because, next measurement.
pub fn answer(paper: &Paper, a: &Answer) -> String {
    let mut out = String::new();
    match &a.outcome {
        Ok(e) => {
            let mut line = format!("{}: {}", a.label, value_text(paper, e, a.unit));
            if e.u > 0.0 {
                line.push_str(&format!(
                    "  ({:.0} %: {})",
                    e.interval.level * 100.0,
                    interval_text(e)
                ));
            }
            out.push_str(&paper.tone(Tone::Heading, &line));
            out.push('\n');
        }
        Err(u) => {
            out.push_str(&paper.tone(Tone::Warning, &format!("{}: undetermined", a.label)));
            out.push('\n');
            out.push_str(&paper.hanging("reason", &u.reason));
            out.push_str(&paper.hanging("instead", &u.remedy));
        }
    }
    for reason in a.validity.reasons() {
        out.push_str(&paper.hanging("(!)", reason));
    }
    for b in &a.because {
        out.push_str(&paper.hanging("because", b));
    }
    if let Some(n) = &a.next_measurement {
        out.push_str(&paper.hanging("next", n));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use slantpath_quantity::Validity;

    #[test]
    fn an_answer_reads_as_a_sentence_with_known_digits() {
        let a = Answer::known(
            "narrow.psk.cn0@main",
            "beacon C/N0",
            Unit::DbHz,
            Estimate::normal(49.2345, 0.42),
        )
        .because("satellite EIRP and shadow")
        .next("a longer recording")
        .with_validity(Validity::outside("P.618: p = 90 % is outside 0.001..50 %"));
        let t = answer(&Paper::default(), &a);
        assert!(t.contains("49.2 ± 0.4 dBHz"), "{t}");
        assert!(t.contains("because") && t.contains("next") && t.contains("(!)"));
        let none = Answer::unknown(
            "x",
            "noise step",
            Unit::Db,
            "no flat window outside",
            "record at 600 kS/s",
        );
        assert!(answer(&Paper::default(), &none).contains("undetermined"));
    }
}
