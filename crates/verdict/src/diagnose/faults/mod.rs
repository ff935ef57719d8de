//! The faults of the trade, each with its own physical consequence.
//!
//! What a fault does to a measurand of the model is computed by evaluating the model with the inputs that the fault
//! moves; what it does to what only an eye, a meter or a log shows (a symptom) stands beside it. Sizes, natural spreads and
//! minutes are common practice, no source, unless said.

mod bench;
mod outside;
mod receive;
mod symptoms;
mod transmit;

pub use symptoms::SYMPTOMS;

use super::{Action, Case, Fault, Observable};
use bench::{Bench, Inputs, fault};
use slantpath_link::{Conditions, LinkError, Model};
use slantpath_station::checked::Station;

/// Fills the case of a station: what can be observed, what can be wrong, what can be measured.
///
/// # Errors
/// A variant of the station, as a fault makes it, that cannot be modelled.
pub fn case(station: &Station, model: &Model, conditions: &Conditions) -> Result<Case, LinkError> {
    let bench = Bench::new(station, model);
    Ok(Case {
        observables: observables(&bench),
        faults: faults(&bench, conditions)?,
        actions: actions(&bench),
    })
}

/// Faults of design and of measuring: they are there from the first day, so that a change is hardly theirs.
const FROM_THE_FIRST_DAY: [&str; 8] = [
    "wrong_sense",
    "elevation",
    "if_low",
    "if_high",
    "quantisation",
    "agc",
    "bandwidth",
    "sun",
];

/// The case of a change: evidence is what a reading has moved by (symptoms: their sound value and what they moved by).
/// Both readings are of one station, so that what is not known of it cancels; what is left is what changes from day to
/// day.
///
/// # Errors
/// As [`case`].
pub fn change_case(
    station: &Station,
    model: &Model,
    conditions: &Conditions,
) -> Result<Case, LinkError> {
    let mut all = case(station, model, conditions)?;
    for o in &mut all.observables {
        o.effects.clear();
        if !o.id.starts_with("symptom.") {
            o.healthy = 0.0;
        }
    }
    for f in &mut all.faults {
        if f.key == "sound" {
            f.weight = 0.5;
        } else if FROM_THE_FIRST_DAY.contains(&f.key) {
            f.weight *= 0.05;
        }
    }
    let floor = all.find("symptom.floor");
    let moved = |m: f64| {
        let mut s = vec![0.0; all.observables.len()];
        if let Some(x) = floor.and_then(|k| s.get_mut(k)) {
            *x = m;
        }
        s
    };
    let nodes = bench::even(-15.0, -1.0)
        .chain(bench::even(1.0, 15.0))
        .map(moved)
        .collect();
    all.faults.push(fault(
        "gain_setting",
        "the receiver's gain was set anew, or its amplifier has changed",
        "note the gain with every recording",
        0.7,
        nodes,
    ));
    Ok(all)
}

fn observables(b: &Bench) -> Vec<Observable> {
    let contributors = b.model.inputs().contributors();
    // One standard uncertainty up and down, each alone (GUM 5.1.3, note 2).
    let mut effects = vec![Vec::with_capacity(contributors.len()); b.ids.len()];
    for (k, c) in contributors.iter().enumerate() {
        let u = c.distribution.u();
        let mut x = b.x0.clone();
        let at = |x: &[f64]| b.see(b.model, x);
        let (up, down) = if u > 0.0 {
            x[k] = b.x0[k] + u;
            let up = at(&x);
            x[k] = b.x0[k] - u;
            (up, at(&x))
        } else {
            (b.y0.clone(), b.y0.clone())
        };
        for (e, (p, m)) in effects.iter_mut().zip(up.iter().zip(&down)) {
            let half = 0.5 * (p - m);
            e.push(if half.is_finite() { half } else { 0.0 });
        }
    }
    let outputs = b.model.outputs();
    b.ids
        .iter()
        .zip(effects)
        .enumerate()
        .map(|(k, (id, effects))| {
            let from_model = b.measurands.get(k).and_then(|m| outputs.get(*m));
            let symptom = SYMPTOMS.iter().find(|s| s.0 == id);
            Observable {
                id: id.clone(),
                label: match (from_model, symptom) {
                    (Some(m), _) => m.label.clone(),
                    (None, Some(s)) => s.1.to_string(),
                    (None, None) => "fall of the noise when the converter is switched off".into(),
                },
                unit: from_model.map_or(symptom.map_or("dB", |s| s.2), |m| m.unit.symbol()),
                healthy: b
                    .y0
                    .get(k)
                    .copied()
                    .filter(|y| y.is_finite())
                    .unwrap_or(0.0),
                // What the model does not draw: small changes from hour to hour.
                u: symptom.map_or(0.1, |s| s.4),
                effects,
            }
        })
        .collect()
}

fn actions(b: &Bench) -> Vec<Action> {
    const KINDS: [(&str, &str, f64, f64); 7] = [
        (
            ".noise_step@",
            "record the whole passband with empty band beside it",
            5.0,
            0.08,
        ),
        (
            ".y_absorber@",
            "hold an absorber over the feed and compare with cold sky",
            15.0,
            0.1,
        ),
        (".y_sun@", "let the Sun drift through the beam", 30.0, 0.1),
        (".cn0@", "record this signal for half a minute", 3.0, 0.1),
        (
            ".own.against_beacon",
            "compare the own downlink with the beacon in one recording",
            10.0,
            0.2,
        ),
        (
            ".own.eirp",
            "measure the power at the feed with a meter",
            20.0,
            0.4,
        ),
        (
            ".lnb_off_drop@",
            "switch the converter off with the cable terminated and compare the noise",
            6.0,
            0.2,
        ),
    ];
    let mut out = Vec::new();
    for id in &b.ids {
        if id.contains("own.cn0") {
            continue;
        }
        if let Some((_, how, minutes, u)) = KINDS.iter().find(|k| id.contains(k.0)) {
            out.push(Action {
                how: format!("{how} ({id})"),
                minutes: *minutes,
                observable: id.clone(),
                u: *u,
            });
        }
    }
    out.extend(SYMPTOMS.iter().map(|s| Action {
        how: s.5.to_string(),
        minutes: s.6,
        observable: s.0.to_string(),
        u: s.7,
    }));
    out
}

fn faults(b: &Bench, conditions: &Conditions) -> Result<Vec<Fault>, LinkError> {
    let i = Inputs::of(b.station);
    let mut all = Vec::new();
    all.push(fault(
        "sound",
        "nothing is wrong: the station is what its file says",
        "nothing",
        3.0,
        vec![b.shift(&b.x0, &[])],
    ));
    all.extend(transmit::faults(b, &i, conditions)?);
    all.extend(receive::faults(b, &i));
    all.extend(outside::faults(b, &i, conditions)?);
    Ok(all)
}
