//! Two stations, or two variants of one, subtracted draw by draw.

use crate::measurand::{Group, Measurand};
use crate::predict::LEVEL;
use crate::{Drawing, LinkError, Model};
use slantpath_quantity::{ContributorId, Estimate};
use slantpath_stats::{Draws, Settings, monte_carlo};

/// Differences `b` less `a` of every measurand that both have, under the same seed: contributors that both share draw
/// the same numbers and cancel (JCGM 101 with common random numbers). Each model is drawn once.
///
/// Two stations of different callsign share the satellite, the Sun and the errors of the propagation models, and nothing
/// else, whatever their files call their parts.
///
/// # Errors
/// As [`crate::predict`].
pub fn differences(
    a: &Model,
    b: &Model,
    drawing: Drawing,
) -> Result<Vec<(String, Estimate)>, LinkError> {
    let (of_a, of_b) = (measurands(a), measurands(b));
    let apart = match (a.callsign(), b.callsign()) {
        (Some(a), Some(b)) if a != b => Some(b),
        _ => None,
    };
    let drawn_a = draw(a, of_a.len(), drawing, None)?;
    let drawn_b = draw(b, of_b.len(), drawing, apart)?;
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

/// Difference `b` less `a` of one measurand; see [`differences`].
///
/// # Errors
/// As [`differences`]; a measurand that one of the two does not have.
pub fn difference(
    a: &Model,
    b: &Model,
    measurand: &str,
    drawing: Drawing,
) -> Result<Estimate, LinkError> {
    differences(a, b, drawing)?
        .into_iter()
        .find(|(id, _)| id == measurand)
        .map(|(_, e)| e)
        .ok_or_else(|| LinkError::Unknown {
            what: "measurand of both",
            name: measurand.to_string(),
            known: measurands(a).join(", "),
        })
}

/// What every station on earth shares when it listens to the same satellite.
fn is_common(id: &str) -> bool {
    ["sat.", "sun.", "air.gas_model", "air.rain_model"]
        .iter()
        .any(|p| id.starts_with(p))
}

/// Draws the measurands; `apart` keeps what belongs to that callsign from sharing draws with another station.
fn draw(m: &Model, n: usize, drawing: Drawing, apart: Option<&str>) -> Result<Draws, LinkError> {
    let mut contributors = m.inputs().contributors().to_vec();
    if let Some(callsign) = apart {
        for c in contributors
            .iter_mut()
            .filter(|c| !is_common(c.id.as_str()))
        {
            c.id = ContributorId::new(format!("{callsign}:{}", c.id));
        }
    }
    Ok(monte_carlo(
        &contributors,
        n,
        &Settings::new(drawing.seed, drawing.trials),
        |x, y| m.evaluate_measurands(x, y),
    )?)
}
