//! The trial sheet.

use super::number;
use crate::WorkflowError;
use slantpath_link::{Conditions, Model};
use slantpath_plan::trial::{Before, LEVEL, PILOT, POWER, rules, stopping_rule, trial_plan};
use slantpath_quantity::{Answer, Estimate, Unit, show};
use slantpath_report::{Cell, Section, Sheet, Table};
use slantpath_station::Station;

/// What was asked.
#[derive(Debug, Clone)]
pub struct TrialSheetOptions {
    /// What is known before.
    pub before: Before,
    /// What the sides are.
    pub sides: (String, String),
}

/// Writes the sheet.
///
/// # Errors
/// Figures that cannot be, a station that cannot be modelled.
pub fn trial_sheet(station: &Station, o: &TrialSheetOptions) -> Result<Sheet, WorkflowError> {
    let b = &o.before;
    let plan = trial_plan(b)?;
    let model = Model::new(station, &Conditions::default())?;
    let beam = station
        .satellite
        .passbands
        .iter()
        .find_map(|p| model.beamwidth(&p.name));
    let mut sheet = Sheet {
        verb: "plan".into(),
        title: format!(
            "{}: trial sheet, {} against {}",
            station.name, o.sides.0, o.sides.1
        ),
        ..Sheet::default()
    };
    let exact = |id: &str, label: &str, unit, v| Answer::known(id, label, unit, Estimate::exact(v));
    let mut answers = vec![
        exact(
            "trial.pairs",
            "pairs of different parts",
            Unit::One,
            f64::from(plan.pairs),
        ),
        exact(
            "trial.mountings",
            "mountings, pairs of the same part included",
            Unit::One,
            f64::from(plan.mountings()),
        ),
        exact(
            "trial.record",
            "length of each recording",
            Unit::S,
            plan.record_s,
        ),
        exact(
            "trial.duration",
            "from switching on to the last sample",
            Unit::Hour,
            plan.minutes / 60.0,
        ),
    ];
    answers.push(
        exact(
            "trial.meter",
            "meter's random part of one recording",
            Unit::Db,
            two_digits(plan.meter_db),
        )
        .because("4.34 dB over the root of bandwidth times duration"),
    );
    let mut size = Section::new("size", "how large it must be", answers);
    size.text.push(format!(
        "{} dB shows with {:.0} % probability at a two-sided level of {:.0} % when one pair scatters by {} dB ({}).",
        show::significant(b.effect_db, 2),
        100.0 * POWER,
        100.0 * (1.0 - LEVEL),
        show::significant(plan.scatter_db, 2),
        if plan.from_pilot { "as the pilot showed" } else { "assumed: no pilot" },
    ));
    if let (Some(s), Some(n)) = (plan.scatter_upper_db, plan.pairs_upper)
        && n > plan.pairs
    {
        size.text.push(format!(
            "A pilot this short allows a scatter up to {} dB (80 %), which would take {n} pairs.",
            show::significant(s, 2)
        ));
    }
    sheet.sections.push(size);
    let mut t = Table::new(
        "order",
        &[
            ("recording", "recording"),
            ("pair", "pair"),
            ("side", "side"),
            ("part", "part"),
            ("mounting", "mounting"),
            ("at", "starts after"),
        ],
    );
    for (k, s) in plan.steps.iter().enumerate() {
        let part = match (s.same_part, s.side) {
            (true, _) => format!("{} (same part on both sides)", o.sides.0),
            (false, 'A') => o.sides.0.clone(),
            (false, _) => o.sides.1.clone(),
        };
        t.rows.push(vec![
            number((k + 1) as f64, 0, ""),
            number(f64::from(s.pair), 0, ""),
            Cell::Text(s.side.to_string()),
            Cell::Text(part),
            number(f64::from(s.mounting), 0, ""),
            number(s.at_min, 1, "min"),
        ]);
    }
    sheet.sections.push(
        Section::new("order", "order, drawn by lot", Vec::new())
            .say(format!("Seed {}: the same seed draws the same order. Take the part off and put it back, and focus anew, before every recording, also where the side stays the same.", b.seed))
            .table(t),
    );
    let mut before = Section::new("before", "before the first recording", Vec::new());
    before.text = vec![
        format!("Warm up for {:.0} min; fix every gain, automatic gain off.", b.warm_min),
        "Transmitter off and its supply disconnected: hands go near the feed.".into(),
        "A second receiver that nobody touches records at the same times: it takes beacon and weather out of the differences.".into(),
        "Give each recording its side, mounting and start in its metadata or in a set file; average powers, never decibels.".into(),
    ];
    sheet.sections.push(before);
    let mut reject = Section::new("reject", "what is rejected", Vec::new());
    reject.text = rules(beam.map(|a| a.as_deg()));
    sheet.sections.push(reject);
    let mut stop = Section::new("stop", "when it ends", Vec::new());
    stop.text = vec![stopping_rule(&plan)];
    sheet.sections.push(stop);
    sheet.because.push(format!(
        "{} pairs because one pair scatters by {} dB and {} dB is worth knowing.",
        plan.pairs,
        show::significant(plan.scatter_db, 2),
        show::significant(b.effect_db, 2)
    ));
    sheet.next_measurement = Some(if plan.from_pilot {
        "The trial itself, by this sheet, and then `compare`.".into()
    } else {
        format!(
            "A pilot of {PILOT} pairs: `compare` says their scatter, and this sheet then counts with it (--pilot)."
        )
    });
    Ok(sheet)
}

/// An estimate by rule of thumb: what is not known of it is not shown.
fn two_digits(x: f64) -> f64 {
    let scale = 10f64.powf(1.0 - x.abs().max(1e-12).log10().floor());
    (x * scale).round() / scale
}
