//! What is checked on a branch, how, and what each promises.

use super::Acceptance;
use crate::WorkflowError;
use crate::drive::{DriveOptions, planned};
use slantpath_plan::acceptance::{Limits, Means};
use slantpath_quantity::Unit;
use slantpath_station::checked::BeaconKind;
use slantpath_station::reach;
use slantpath_verdict::routes::{Start, to_g_over_t};

/// Where a check's figure comes from.
pub(super) enum By {
    /// A figure of recordings or readings, by its identity.
    Figure(String),
    /// G/T by the routes that recordings of this passband begin.
    Routes(String),
    /// G/T by a source in the sky.
    Sky,
    /// Typed alone.
    Typed,
}

/// One check.
pub(super) struct Check {
    pub key: String,
    pub label: String,
    pub unit: Unit,
    /// Expected value and its standard uncertainty.
    pub expected: (f64, f64),
    pub limits: Limits,
    /// Standard uncertainty that the measurement can reach.
    pub u: f64,
    pub minutes: f64,
    pub means: Means,
    pub how: &'static str,
    pub by: By,
}

/// What a measurement of a kind takes and reaches: minutes and u in the check's unit (common practice, no source).
mod reach_of {
    pub const OSCILLATOR: (f64, f64) = (3.0, 1.0);
    pub const STEP: (f64, f64) = (5.0, 0.06);
    pub const BEACON: (f64, f64) = (3.0, 0.05);
    pub const ABSORBER: (f64, f64) = (15.0, 0.1);
    pub const SUN: (f64, f64) = (30.0, 0.25);
    pub const POINTING: (f64, f64) = (20.0, 0.03);
    pub const METER: (f64, f64) = (20.0, 0.4);
    pub const BESIDE_BEACON: (f64, f64) = (10.0, 0.2);
    pub const COMPRESSION: (f64, f64) = (15.0, 0.1);
    pub const RISE: (f64, f64) = (10.0, 0.03);
}

/// The first passband received on the branch.
pub(super) fn first_passband(a: &Acceptance<'_>) -> Option<String> {
    received(a).into_iter().next()
}

fn received(a: &Acceptance<'_>) -> Vec<String> {
    a.station
        .satellite
        .passbands
        .iter()
        .map(|p| p.name.clone())
        .filter(|p| a.predicted.model.intermediate(p, a.branch).is_some())
        .collect()
}

pub(super) fn checks(a: &Acceptance<'_>) -> Result<Vec<Check>, WorkflowError> {
    let passbands = received(a);
    let Some(first) = passbands.first() else {
        return Err(WorkflowError::argument(
            format!("no passband is received on branch `{}`", a.branch),
            "name a branch that receives with --branch",
        ));
    };
    let mut out: Vec<Check> = oscillator(a).into_iter().collect();
    for p in &passbands {
        out.extend(predicted(
            a,
            format!("{p}.noise_step@{}", a.branch),
            reach_of::STEP,
            Means::Recorder,
            "record the passband with empty band beside it for half a minute",
        ));
        out.extend(beacon(a, p));
    }
    out.extend(pointing(a, first));
    out.extend(predicted(
        a,
        format!("{first}.y_absorber@{}", a.branch),
        reach_of::ABSORBER,
        Means::Absorber,
        "system temperature: absorber over the feed against cold sky, gain fixed",
    ));
    out.extend(g_over_t(a, first));
    transmit_side(a, &passbands, &mut out);
    Ok(out)
}

/// A figure of the model with its own limits.
fn predicted(
    a: &Acceptance<'_>,
    id: String,
    (minutes, u): (f64, f64),
    means: Means,
    how: &'static str,
) -> Option<Check> {
    let answer = a.predicted.prediction.answer(&id)?;
    let e = answer.estimate()?;
    Some(Check {
        key: short(&id).to_string(),
        label: answer.label.clone(),
        unit: answer.unit,
        expected: (e.value, e.u),
        limits: Limits::around(e.value, e.u),
        u,
        minutes,
        means,
        how,
        by: By::Figure(id),
    })
}

/// An identity without its branch: a sheet is of one.
fn short(id: &str) -> &str {
    id.split('@').next().unwrap_or(id)
}

/// The oscillator within what its file promises.
fn oscillator(a: &Acceptance<'_>) -> Option<Check> {
    let branch = a.station.receive.branch(a.branch)?;
    let (_, lnb) = reach::lnb_of(&a.station.receive, branch)?;
    let d = lnb.lo_error.distribution;
    let (minutes, u) = reach_of::OSCILLATOR;
    let limits = match d {
        slantpath_quantity::Distribution::Rectangular { lo, hi } => Limits {
            lo: Some(lo),
            hi: Some(hi),
        },
        _ => Limits::around(d.mean(), d.u()),
    };
    let id = format!("lo.error@{}", a.branch);
    (d.u() > 0.0).then(|| Check {
        key: short(&id).to_string(),
        label: "oscillator: error after warming up".into(),
        unit: Unit::Hz,
        expected: (d.mean(), d.u()),
        limits,
        u,
        minutes,
        means: Means::Recorder,
        how: "record a beacon: its distance from its nominal place",
        by: By::Figure(id),
    })
}

/// C/N0 of the passband's first beacon; of a carrier or a keyed carrier before a wide one.
fn beacon(a: &Acceptance<'_>, passband: &str) -> Option<Check> {
    let p = a
        .station
        .satellite
        .passbands
        .iter()
        .find(|p| p.name == passband)?;
    let narrow = p
        .beacons
        .iter()
        .find(|b| !matches!(b.kind, BeaconKind::DvbS2 { .. }));
    let b = narrow.or_else(|| p.beacons.first())?;
    predicted(
        a,
        format!("{passband}.{}.cn0@{}", b.name, a.branch),
        reach_of::BEACON,
        Means::Recorder,
        "in the same recording, or half a minute of the beacon",
    )
}

/// What is left of the pointing error, against what the file allows.
fn pointing(a: &Acceptance<'_>, passband: &str) -> Option<Check> {
    let c = a
        .predicted
        .prediction
        .contributors
        .iter()
        .find(|c| c.id.as_str() == "reflector.pointing_error")?;
    let beam = a.predicted.model.beamwidth(passband)?.as_rad();
    // Gaussian beam: 12 dB for each square of the angle over the half-power width.
    let loss = |off: f64| 12.0 * (off / beam).powi(2);
    let (mean, u_off) = (c.distribution.mean(), c.distribution.u());
    let worst = match c.distribution {
        slantpath_quantity::Distribution::Rectangular { hi, .. } => hi,
        _ => mean + 2.0 * u_off,
    };
    let (minutes, u) = reach_of::POINTING;
    (worst > 0.0 && beam > 0.0).then(|| Check {
        key: "pointing_loss".into(),
        label: "loss by pointing that is left".into(),
        unit: Unit::Db,
        expected: (loss(mean), 0.5 * (loss(worst) - loss(mean))),
        limits: Limits::most(loss(worst)),
        u,
        minutes,
        means: Means::Recorder,
        how: "turn each bolt over the peak and back, noting level and turns: the dish page of `serve` fits them",
        by: By::Typed,
    })
}

/// G/T by two routes that share little: what recordings begin, and the Sun.
fn g_over_t(a: &Acceptance<'_>, passband: &str) -> Vec<Check> {
    let id = format!("{passband}.g_over_t@{}", a.branch);
    let Some(e) = a
        .predicted
        .prediction
        .answer(&id)
        .and_then(|x| x.estimate())
    else {
        return Vec::new();
    };
    let check = |key: String, label: &str, (minutes, u), means, how, by| Check {
        key,
        label: format!("G/T {label}"),
        unit: Unit::DbPerK,
        expected: (e.value, e.u),
        limits: Limits::around(e.value, e.u),
        u,
        minutes,
        means,
        how,
        by,
    };
    // What the route reaches when noise step and beacon are as expected: mostly the satellite's own figures.
    let step = format!("{passband}.noise_step@{}", a.branch);
    let expected = a
        .predicted
        .prediction
        .answer(&step)
        .and_then(|x| x.estimate());
    let reached = expected.and_then(|h| {
        let start = Start {
            id: step,
            value: h.value,
            u: reach_of::STEP.1,
        };
        to_g_over_t(&a.predicted.model, passband, a.branch, &[start])
            .first()
            .map(slantpath_verdict::routes::Route::u)
    });
    let mut out = Vec::new();
    if let Some(u) = reached {
        out.push(check(
            format!("{}.step", short(&id)),
            "by noise step and beacon",
            (1.0, u),
            Means::Recorder,
            "from the same recording as the noise step",
            By::Routes(passband.to_string()),
        ));
    }
    out.push(check(
        format!("{}.sun", short(&id)),
        "by the Sun",
        reach_of::SUN,
        Means::Sun,
        "let the Sun drift through the beam and record it, with the day's flux (`measure --sun`)",
        By::Sky,
    ));
    out
}

/// EIRP, compression and isolation of every passband in use.
fn transmit_side(a: &Acceptance<'_>, passbands: &[String], out: &mut Vec<Check>) {
    let Some(transmit) = &a.station.transmit else {
        return;
    };
    let used: Vec<&String> = passbands
        .iter()
        .filter(|p| transmit.segment(p).is_some())
        .collect();
    let plan = planned(a.station, a.predicted, &DriveOptions::default()).ok();
    for p in &used {
        out.extend(predicted(
            a,
            format!("{p}.own.eirp"),
            reach_of::METER,
            Means::Meter,
            "power at the feed by a coupler and a meter, and the gain as predicted",
        ));
        out.extend(predicted(
            a,
            format!("{p}.own.against_beacon"),
            reach_of::BESIDE_BEACON,
            Means::Transmitter,
            "the own carrier and the beacon in one recording (`drive --own`)",
        ));
        let stated = plan
            .as_ref()
            .and_then(|x| x.segments.iter().find(|s| s.passband == **p))
            .and_then(|s| {
                s.stated
                    .as_ref()
                    .map(|probe| (probe.compression_db, s.u_out_db))
            });
        if let Some((expected, u_out)) = stated {
            // Near its limit an amplifier compresses about as fast as its power is unknown.
            let promised = u_out.max(reach_of::COMPRESSION.1);
            let (minutes, u) = reach_of::COMPRESSION;
            out.push(Check {
                key: format!("{p}.compression"),
                label: format!("{p}: compression of the mean at the stated power"),
                unit: Unit::Db,
                expected: (expected, promised),
                limits: Limits::most(expected + 2.0 * promised),
                u,
                minutes,
                means: Means::Transmitter,
                how: "drive in steps from 10 dB below: own downlink against the beacon, or a meter (`drive --ramp`)",
                by: By::Typed,
            });
        }
    }
    if !used.is_empty() {
        let (minutes, u) = reach_of::RISE;
        out.push(Check {
            key: "isolation".into(),
            label: "rise of the receiver's noise while transmitting".into(),
            unit: Unit::Db,
            expected: (0.0, 0.5 * a.worst_rise_db),
            limits: Limits::most(a.worst_rise_db),
            u,
            minutes,
            means: Means::Transmitter,
            how: "noise with the transmitter off, into a dummy load, on the air, in turn (`drive --desense`)",
            by: By::Typed,
        });
    }
}
