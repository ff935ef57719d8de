//! Shoulders in a recording, and the change of drive that brings them to their limit.

use super::own::Numbered;
use super::plan::SegmentPlan;
use crate::WorkflowError;
use slantpath_capture::wideband::{Carrier, Shoulder, Wideband};
use slantpath_plan::Known;
use slantpath_plan::drive::{ShoulderWindow, WaveformKind, drive_for_shoulder};
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{Answer, Estimate, Frequency, Unit, show, to_db};
use slantpath_report::Section;
use slantpath_station::checked::Passband;

/// How much harder than the transmitter's own figures allow the search looks: a recording is evidence, the figures are
/// not.
const BEYOND_DB: f64 = 10.0;

/// Carriers with the own symbol rate, in the uplink (a recording behind a coupler) or in the downlink: the shoulders
/// seen, and what drive they speak of. The amplifier's curve tells which drive makes such shoulders with the own
/// waveform; the way to the limit is read along the same curve and in the same window, so that its level cancels.
pub(super) fn shoulders(
    s: &mut Section,
    n: &mut Numbered,
    w: &Wideband,
    places_hz: &[f64],
    passband: &Passband,
    plan: &SegmentPlan,
) -> Result<(), WorkflowError> {
    let WaveformKind::Symbols { .. } = plan.waveform.kind() else {
        return Ok(());
    };
    let Some(rate) = plan.rate else {
        return Ok(());
    };
    for (k, f) in w.carriers.iter().zip(places_hz) {
        let here = Frequency::hz(*f);
        let place = passband.uplink.contains(here) || passband.downlink.contains(here);
        if !place || (k.clock.rate / rate - 1.0).abs() > 0.002 {
            continue;
        }
        let at = format!(
            "{} MHz, {} kBd",
            show::fixed(f / 1e6, 3),
            show::fixed(k.clock.rate / 1e3, 1)
        );
        match worst(k) {
            Some(x) if x.seen() => found(s, n, k, x, &at, plan)?,
            Some(x) => s.text.push(format!(
                "{at}: no shoulder is seen; this recording shows them above {} dBc only.",
                show::fixed(to_db(x.lowest), 0)
            )),
            None => s.text.push(format!(
                "{at}: its shoulders lie outside the recording or under a neighbour; record with the carrier in the middle \
                 and some symbol rates of room on either side."
            )),
        }
    }
    Ok(())
}

/// The higher of both sides.
fn worst(k: &Carrier) -> Option<&Shoulder> {
    k.shoulders
        .iter()
        .flatten()
        .max_by(|a, b| a.ratio.total_cmp(&b.ratio))
}

fn found(
    s: &mut Section,
    n: &mut Numbered,
    k: &Carrier,
    x: &Shoulder,
    at: &str,
    plan: &SegmentPlan,
) -> Result<(), WorkflowError> {
    let id = n.next(&plan.passband);
    let seen = Known::new(to_db(x.ratio), db_of_relative_u(x.u / x.ratio));
    let window = ShoulderWindow {
        offset: x.offset_hz.abs() / k.clock.rate,
        width: x.width_hz / k.clock.rate,
    };
    s.answers.push(
        Answer::known(
            format!("{id}.shoulder"),
            format!("{at}: highest shoulder, density against density"),
            Unit::Db,
            Estimate::normal(seen.value, seen.u),
        )
        .because(format!(
            "Read {} symbol rates from the middle, {} of them wide; the noise is taken off.",
            show::fixed(window.offset, 2),
            show::fixed(window.width, 2)
        )),
    );
    let drive = |dbc: f64| {
        drive_for_shoulder(
            &plan.chain,
            &plan.waveform,
            window,
            dbc,
            plan.max_drive_dbm + BEYOND_DB,
        )
    };
    let limit = plan.goal.shoulder_dbc;
    let (Some(now), Some(then)) = (drive(seen.value)?, drive(limit)?) else {
        s.text.push(format!(
            "{at}: such shoulders ({} dBc) do not follow from the amplifier as written; measure its drive ramp (--ramp), or \
             something else is overloaded.",
            show::fixed(seen.value, 1)
        ));
        return Ok(());
    };
    let sides = (
        drive(seen.value + seen.u)?.unwrap_or(now),
        drive(seen.value - seen.u)?.unwrap_or(now),
    );
    let change = Known::new(then - now, 0.5 * (sides.0 - sides.1).abs());
    s.answers.push(Answer::known(
        format!("{id}.drive_correction"),
        format!(
            "{at}: change of drive that brings its shoulders to {} dBc, if it is yours",
            show::fixed(limit, 0)
        ),
        Unit::Db,
        Estimate::normal(change.value, change.u.max(0.01)),
    ));
    if change.value < -2.0 * change.u {
        let (level, u) = show::value_and_u(seen.value, seen.u);
        let (turn, u_turn) = show::value_and_u(-change.value, change.u.max(0.01));
        s.text.push(format!(
            "OVER-DRIVEN: the carrier at {at} has shoulders at {} ± {} dBc, over the {} dBc allowed. If it is yours, turn the \
             drive down by {} ± {} dB (by the amplifier's curve as written; the uncertainty is the shoulder's).",
            level,
            u,
            show::fixed(limit, 0),
            turn,
            u_turn
        ));
    } else {
        s.text.push(format!("{at}: its shoulders keep the limit."));
    }
    Ok(())
}
