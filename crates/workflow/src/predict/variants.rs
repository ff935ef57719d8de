//! Variants of one station side by side.

use super::Predicted;
use crate::WorkflowError;
use slantpath_link::{Drawing, Group, differences};
use slantpath_quantity::Unit;
use slantpath_report::{Cell, Section, Table};

/// What the column of the station without variant is called.
const BASE: &str = "as built";

/// Every measurand of the base beside that of each variant, and how far each variant differs from the base: what both
/// have in common (satellite, air, the parts that stay) cancels in the difference. `branch` keeps one branch only.
///
/// # Errors
/// As the draws of the differences.
pub fn side_by_side(
    base: &Predicted,
    variants: &[(&str, &Predicted)],
    branch: Option<&str>,
    drawing: Drawing,
) -> Result<Section, WorkflowError> {
    let mut columns = vec![
        ("quantity".to_string(), "".to_string()),
        ("base".to_string(), BASE.to_string()),
    ];
    let mut moved = Vec::new();
    for (i, (name, p)) in variants.iter().enumerate() {
        columns.push((format!("variant_{}", i + 1), (*name).to_string()));
        columns.push((
            format!("difference_{}", i + 1),
            format!("{name} less {BASE}"),
        ));
        moved.push(differences(&base.model, &p.model, drawing)?);
    }
    let mut rows = Vec::new();
    for (m, a) in base.prediction.group(Group::Measurand) {
        if branch.is_some() && m.branch.is_some() && m.branch.as_deref() != branch {
            continue;
        }
        let place = match (&m.passband, &m.branch) {
            (Some(p), Some(b)) => format!("{p}, {b}: "),
            (Some(p), None) => format!("{p}: "),
            _ => String::new(),
        };
        let mut row = vec![Cell::Text(format!("{place}{}", m.label)), Cell::from(a)];
        for ((_, p), differences) in variants.iter().zip(&moved) {
            row.push(match p.prediction.answer(&m.id) {
                Some(b) => Cell::from(b),
                None => Cell::Missing("the variant has no such thing".into()),
            });
            row.push(match differences.iter().find(|(id, _)| *id == m.id) {
                Some((_, d)) => Cell::Value(d.clone(), between(a.unit)),
                None => Cell::Missing("not on both sides".into()),
            });
        }
        rows.push(row);
    }
    Ok(Section::new("side_by_side", "Side by side", Vec::new())
        .say(
            "In a difference, what both have in common (satellite, air, parts that stay) cancels as far as it really does.",
        )
        .table(Table {
            key: "side_by_side".into(),
            columns,
            rows,
        }))
}

/// The unit of a difference: two levels on one reference differ by plain decibels.
fn between(unit: Unit) -> Unit {
    if unit.symbol().starts_with("dB") {
        Unit::Db
    } else {
        unit
    }
}
