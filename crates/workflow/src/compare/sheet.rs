//! The sheet of a comparison.

use super::{Compared, Comparison};
use slantpath_quantity::{Answer, Estimate, Unit};
use slantpath_report::{Section, Sheet};
use slantpath_verdict::trial::{Pairs, Side};

/// The sheet of a comparison.
pub fn compare_sheet(comparison: &Comparison) -> Sheet {
    let mut sheet = Sheet {
        verb: "compare".into(),
        title: "Swap trial: B against A".into(),
        cautions: comparison.notes.clone(),
        refused: comparison.compared.is_empty(),
        ..Sheet::default()
    };
    for (i, c) in comparison.compared.iter().enumerate() {
        let r = &c.result;
        let answer = r.to_answer(&c.measurand, &c.label);
        sheet.because.extend(answer.because.iter().take(2).cloned());
        sheet.next_measurement.get_or_insert_with(|| r.next.clone());
        sheet.sections.push(section(i, c, answer));
    }
    if !comparison.refused.is_empty() {
        sheet.sections.push(Section::new(
            "refused",
            "what cannot be compared",
            comparison.refused.clone(),
        ));
        if sheet.refused {
            for a in &comparison.refused {
                if let Err(why) = &a.outcome {
                    sheet.because.push(format!("{}: {}.", a.label, why.reason));
                    sheet.next_measurement.get_or_insert(why.remedy.clone());
                }
            }
        }
    }
    sheet
}

fn section(i: usize, c: &Compared, answer: Answer) -> Section {
    let r = &c.result;
    let naive = Answer::known(
        format!("{}.naive", c.measurand),
        "plain difference of means (wrong under drift)",
        Unit::Db,
        r.naive.clone(),
    );
    let scatter = Answer::known(
        format!("{}.remount_scatter", c.measurand),
        "scatter from mounting to mounting",
        Unit::Db,
        Estimate::exact(r.remount_scatter_db),
    );
    let mut s = Section::new(
        &format!("trial_{}", i + 1),
        c.label.clone(),
        vec![answer, naive, scatter],
    )
    .say(r.sentence());
    s.text.extend(c.notes.iter().cloned());
    let n = |side: Side| c.observations.iter().filter(|o| o.side == side).count();
    let m = r.design.mountings;
    s.text.push(format!(
        "{} values in {} mountings on side A, {} in {} on side B{}.",
        n(Side::A),
        m[0],
        n(Side::B),
        m[1],
        if r.design.control_used {
            ", each less the control receiver's at the same time"
        } else {
            ""
        }
    ));
    s.text.push(pairs(&r.pairs));
    for caution in &r.cautions {
        s.text.push(caution.text());
    }
    s
}

fn pairs(p: &Pairs) -> String {
    let count = |k: u32| match k {
        1 => "1 more pair".to_string(),
        k => format!("{k} more pairs"),
    };
    match (p.more_for_observed, p.more_for_effect) {
        (Some(0), _) => "The difference seen is resolved.".to_string(),
        (Some(k), Some(e)) => format!(
            "{} would resolve the difference seen, {} a difference of {} dB.",
            count(k),
            count(e),
            p.effect_db
        ),
        (Some(k), None) => format!("{} would resolve the difference seen.", count(k)),
        (None, Some(e)) => format!(
            "{} would resolve a difference of {} dB.",
            count(e),
            p.effect_db
        ),
        (None, None) => "No practical number of pairs would resolve it.".to_string(),
    }
}
