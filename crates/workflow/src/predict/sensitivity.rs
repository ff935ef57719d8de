//! What the next decibel costs where.

use super::Predicted;
use slantpath_quantity::{Contributor, show};
use slantpath_report::{Cell, Section, Table};
use slantpath_station::Station;

/// Rows of the table.
const ROWS: usize = 8;
/// An input that moves C/N0 by less than this per decibel is not worth a row.
const LEAST_DB_PER_DB: f64 = 0.02;

/// Which of the station's own inputs move the C/N0 of each passband's first beacon most, per decibel, and how far what
/// is stated of them lets it move.
pub fn what_the_next_decibel_costs(p: &Predicted, station: &Station) -> Section {
    let outputs: Vec<(usize, &str)> = station
        .satellite
        .passbands
        .iter()
        .filter_map(|b| {
            let of = |m: &&slantpath_link::Measurand| {
                m.passband.as_deref() == Some(&b.name) && m.id.contains(".cn0@")
            };
            let m = p.prediction.measurands.iter().find(of)?;
            Some((p.prediction.index(&m.id)?, m.label.as_str()))
        })
        .collect();
    let slope = |output: usize, input: usize| -> f64 {
        p.prediction
            .sensitivity
            .get(output)
            .and_then(|row| row.get(input))
            .copied()
            .unwrap_or(0.0)
    };
    let most = |input: usize| -> f64 {
        outputs
            .iter()
            .map(|(k, _)| slope(*k, input).abs())
            .fold(0.0, f64::max)
    };
    // The satellite and the air cannot be bought.
    let ours = |c: &Contributor| {
        let id = c.id.as_str();
        c.unit == "dB" && !id.starts_with("sat.") && !id.starts_with("air.")
    };
    let mut inputs: Vec<(usize, &Contributor)> = p
        .prediction
        .contributors
        .iter()
        .enumerate()
        .filter(|(i, c)| ours(c) && most(*i) > LEAST_DB_PER_DB)
        .collect();
    inputs.sort_by(|a, b| most(b.0).total_cmp(&most(a.0)));
    inputs.truncate(ROWS);

    let mut columns = vec![
        ("input".to_string(), "one decibel more of".to_string()),
        ("stated".to_string(), "stated".to_string()),
    ];
    for (k, label) in &outputs {
        columns.push((format!("output_{k}"), format!("{label} moves by")));
    }
    let rows = inputs
        .into_iter()
        .map(|(i, c)| {
            let d = &c.distribution;
            let (v, u) = show::value_and_u(d.mean(), d.u());
            let stated = if d.u() > 0.0 {
                format!("{v} ± {u} {}", c.unit)
            } else {
                format!("{v} {}", c.unit)
            };
            let mut row = vec![Cell::Text(c.label.clone()), Cell::Text(stated)];
            row.extend(outputs.iter().map(|(k, _)| Cell::Number {
                value: slope(*k, i),
                places: 2,
                unit: "dB".into(),
            }));
            row
        })
        .collect();
    Section::new(
        "sensitivity",
        "What the next decibel costs where",
        Vec::new(),
    )
    .table(Table {
        key: "sensitivity".into(),
        columns,
        rows,
    })
}
