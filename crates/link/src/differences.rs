//! Two stations, or two variants of one, subtracted draw by draw.

use crate::measurand::{Group, Measurand};
use crate::predict::LEVEL;
use crate::{Drawing, LinkError, Model};
use slantpath_quantity::Estimate;
use slantpath_stats::{Draws, Settings, monte_carlo_with};

/// Differences `b` less `a` of every measurand that both have, under the same seed: contributors that both share draw
/// the same numbers and cancel (JCGM 101 with common random numbers). Each model is drawn once.
///
/// # Errors
/// As [`crate::predict`].
pub fn differences(
    a: &Model,
    b: &Model,
    drawing: Drawing,
) -> Result<Vec<(String, Estimate)>, LinkError> {
    let (of_a, of_b) = (measurands(a), measurands(b));
    let (drawn_a, drawn_b) = (draw(a, of_a.len(), drawing)?, draw(b, of_b.len(), drawing)?);
    let mut out = Vec::new();
    for (i, id) in of_a.iter().enumerate() {
        if let Some(k) = of_b.iter().position(|other| other == id) {
            out.push((
                (*id).to_string(),
                drawn_b.difference(k, &drawn_a, i, LEVEL)?,
            ));
        }
    }
    Ok(out)
}

fn measurands(m: &Model) -> Vec<&str> {
    let is = |o: &&Measurand| o.group == Group::Measurand;
    m.outputs()
        .iter()
        .filter(is)
        .map(|o| o.id.as_str())
        .collect()
}

fn draw(m: &Model, n: usize, drawing: Drawing) -> Result<Draws, LinkError> {
    Ok(monte_carlo_with(
        m.inputs().contributors(),
        n,
        &Settings::new(drawing.seed, drawing.trials),
        || (),
        |(), x, y| m.evaluate_measurands(x, y),
    )?)
}
