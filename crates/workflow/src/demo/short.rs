//! The demo's story on one screen.

use crate::compare::Compared;
use crate::measure::Measured;
use crate::predict::Predicted;
use crate::verdict::Judged;
use slantpath_quantity::{Answer, Estimate, Unit};
use slantpath_report::{Cell, Section, Sheet, Table};

/// One side of the swap.
pub(super) struct SideOfSwap<'a> {
    /// What it should do.
    pub predicted: &'a Predicted,
    /// What a wide recording of it shows.
    pub measured: Option<&'a Measured>,
    /// Both together.
    pub judged: &'a Judged,
}

/// The same figures of both sides, what each trial says of the swap, and whether the model agrees.
pub(super) fn short(
    station: &str,
    old: &SideOfSwap<'_>,
    new: &SideOfSwap<'_>,
    predicted: Option<&Estimate>,
    careless: Option<&Compared>,
    careful: Option<&Compared>,
) -> Sheet {
    let mut sides = Table::new(
        "sides",
        &[
            ("quantity", ""),
            ("old_predicted", "old feed: predicted"),
            ("old_measured", "measured"),
            ("new_predicted", "new feed: predicted"),
            ("new_measured", "measured"),
        ],
    );
    for (label, id) in [
        ("beacon C/N0", "narrow.beacon-psk.cn0@sdr"),
        ("noise step", "narrow.noise_step@sdr"),
        ("G/T", "narrow.g_over_t@sdr"),
    ] {
        let mut row = vec![Cell::from(label)];
        for side in [old, new] {
            row.push(cell(side.predicted.prediction.answer(id)));
            row.push(cell(
                side.measured
                    .and_then(|m| m.answers().iter().find(|a| a.measurand == id)),
            ));
        }
        sides.rows.push(row);
    }
    let mut swap = Vec::new();
    if let Some(d) = predicted {
        swap.push(difference("predicted", "predicted", d));
    }
    if let Some(c) = careless {
        let label = "one recording a side, on different days";
        swap.push(difference("careless", label, &c.result.difference));
    }
    if let Some(c) = careful {
        let label = "swap trial, twelve mountings";
        swap.push(difference("careful", label, &c.result.difference));
    }
    let mut because = Vec::new();
    if let Some(c) = careful {
        because.push(c.result.sentence());
    }
    if let Some(c) = careless {
        because.push(format!(
            "One recording a side on different days would not have told: {}",
            lower(&c.result.sentence())
        ));
    }
    let agree = old.judged.explanation.agrees() && new.judged.explanation.agrees();
    because.push(
        if agree {
            "Prediction and measurement agree within what is stated, with the old feed and with the new one."
        } else {
            "Prediction and measurement disagree by more than stated; the report names the suspects."
        }
        .into(),
    );
    Sheet {
        verb: "demo".into(),
        title: format!("{station}: did the new feed help?"),
        sections: vec![
            Section::new("sides", "What the station should do, and does", Vec::new()).table(sides),
            Section::new("swap", "What the swap brought: C/N0, new less old", swap),
        ],
        because,
        ..Sheet::default()
    }
}

fn cell(a: Option<&Answer>) -> Cell {
    match a {
        Some(a) if a.outcome.is_ok() => Cell::from(a),
        _ => Cell::from("-"),
    }
}

fn difference(id: &str, label: &str, e: &Estimate) -> Answer {
    Answer::known(format!("swap.{id}"), label, Unit::Db, e.clone())
}

/// A sentence to stand within another.
fn lower(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_lowercase().chain(chars).collect())
}
