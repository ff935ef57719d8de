//! What a change may be: the fault hypotheses of the diagnosis, given what moved at its time.

use super::judge::{Finding, Judged, Of};
use super::rows::{LEVEL, OSCILLATOR, RETURN_LOSS, SINK, VOLTS};
use super::weather::Weather;
use crate::WorkflowError;
use slantpath_link::{Conditions, Model};
use slantpath_station::Station;
use slantpath_verdict::diagnose::{Advice, Case, Diagnosis, Evidence, advise, diagnose, faults};
use slantpath_verdict::health::changes::Course;
use slantpath_verdict::health::separate::step_of;

/// A diagnosis of a change.
#[derive(Debug)]
pub struct Cause {
    /// What can have changed.
    pub case: Case,
    /// What moved.
    pub evidence: Vec<Evidence>,
    /// What it says.
    pub diagnosis: Diagnosis,
    /// What to measure next.
    pub next: Vec<Advice>,
}

/// The hypotheses about changes of a station.
///
/// # Errors
/// A station that cannot be modelled as a fault makes it.
pub(super) fn hypotheses(station: &Station, model: &Model) -> Result<Case, WorkflowError> {
    Ok(faults::change_case(station, model, &Conditions::default())?)
}

/// Diagnoses a change from everything that moved with it. `None` when nothing of it is in the list's language.
///
/// # Errors
/// Evidence that does not hang together.
pub(super) fn cause(
    case: &Case,
    j: &Judged,
    f: &Finding,
    weather: &Weather,
) -> Result<Option<Cause>, WorkflowError> {
    let c = &f.change;
    // Other changes bound what is compared.
    let others = || j.findings.iter().map(|x| x.change.began);
    let near = 1.5 * j.bin_days * 86_400.0;
    let not_before = others()
        .filter(|t| *t < c.began - near)
        .fold(f64::NEG_INFINITY, f64::max);
    let back = match c.course {
        Course::Returned { at } => at,
        // As long as it is mostly there.
        Course::Decays { constant } => c.began + constant,
        Course::Stays => f64::INFINITY,
    };
    let not_after = others()
        .filter(|t| *t > c.began + near)
        .fold(back, f64::min);
    let moved = |id: &str| -> Option<(f64, f64)> {
        let e = j.raw.get(id)?;
        step_of(e, c.began, not_before, not_after)
    };
    let mut evidence: Vec<Evidence> = Vec::new();
    let mut put = |id: String, value: f64, u: f64| {
        if let Some(k) = case.find(&id)
            && let Some(o) = case.observables.get(k)
        {
            evidence.push(Evidence {
                id,
                value: o.healthy + value,
                u: u.max(0.02),
            });
        }
    };
    let mut floor = None;
    for id in j.raw.keys() {
        let Some((d, u)) = moved(id) else { continue };
        if id.ends_with(".cn0") || id.ends_with(".noise_step") {
            put(format!("{id}@{}", j.branch), d, u);
        } else if id.ends_with(".noise_outside") || id == LEVEL {
            floor = floor.or(Some((d, u)));
        } else if id == RETURN_LOSS {
            put("symptom.reflected".into(), d, u.max(0.2));
        } else if id == VOLTS {
            put("symptom.lnb_volts".into(), d, u);
        } else if id == OSCILLATOR {
            put("symptom.lo_offset".into(), d / 1e3, (u / 1e3).max(0.2));
        }
    }
    if let Some((d, u)) = floor {
        put("symptom.floor".into(), d, u);
    }
    // A sink's temperature is a figure of its channel, not of a row.
    if let Some((d, u)) = j
        .channels
        .iter()
        .find(|x| x.of == Of::Sink)
        .and_then(|x| step_of(&x.entries, c.began, not_before, not_after))
        .or_else(|| moved(SINK))
    {
        put("symptom.sink".into(), d, u.max(1.0));
    }
    if f.of == Of::Station {
        // A loss that came with rain and goes as parts dry, or one that came in dry weather.
        let leaves = !matches!(c.course, Course::Stays);
        match f.after_rain {
            Some(true) if leaves => {
                let fall = c.size.abs();
                let loss = j.wet.map_or(0.5 * fall, |w| unfalling(&w, fall));
                put("symptom.wet".into(), loss, 0.15 + 0.15 * loss);
            }
            Some(false) => put("symptom.wet".into(), 0.0, 0.1),
            _ => {}
        }
    }
    // Rainy readings were set aside: what is left stood in the dry.
    if !weather.rain.is_empty() {
        put("symptom.rain".into(), 0.0, 0.05);
    }
    let slow = j
        .channels
        .iter()
        .find(|x| x.of == Of::Station)
        .and_then(|x| x.trend)
        .filter(|t| t.span > 365.0);
    if let Some(t) = slow {
        put("symptom.trend".into(), -t.per_year.0, t.per_year.1);
    }
    if evidence.is_empty() {
        return Ok(None);
    }
    let d = diagnose(case, &evidence)?;
    let next = advise(case, &evidence, &d)?;
    Ok(Some(Cause {
        case: case.clone(),
        evidence,
        diagnosis: d,
        next,
    }))
}

/// Attenuation that makes a signal over noise fall by so much.
fn unfalling(w: &slantpath_verdict::health::rain::WetPath, fall: f64) -> f64 {
    let (mut lo, mut hi) = (0.0, 20.0);
    for _ in 0..40 {
        let mid = 0.5 * (lo + hi);
        if w.fall_db(mid) < fall {
            lo = mid;
        } else {
            hi = mid;
        }
    }
    0.5 * (lo + hi)
}
