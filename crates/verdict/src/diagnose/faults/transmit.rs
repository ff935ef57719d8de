//! Faults of the transmit side.

use super::Fault;
use super::bench::{Bench, Inputs, even, fault, rebuilt};
use slantpath_link::{Conditions, LinkError};

/// None for a station that only receives.
pub(super) fn faults(
    b: &Bench,
    i: &Inputs,
    conditions: &Conditions,
) -> Result<Vec<Fault>, LinkError> {
    let mut all = Vec::new();
    let s = b.station;
    if s.feed.transmit.is_none() {
        return Ok(all);
    }
    // How far the wrong sense is down follows from the axial ratio, of which a file knows little.
    let mut wrong_sense = Vec::new();
    for axial_db in [1.0, 1.5, 2.3, 3.5, 5.5] {
        let mut wrong = s.clone();
        if let Some(t) = &mut wrong.feed.transmit {
            t.sense_at_feed = t.sense_at_feed.opposite();
            let d = &mut t.axial_ratio.distribution;
            *d = d.affine(1.0, axial_db - d.mean());
        }
        wrong_sense.push(rebuilt(b, &wrong, conditions, &[])?);
    }
    all.push(fault(
        "wrong_sense",
        "wrong circular sense on transmit (the reflector turns it round)",
        "turn the feed's winding or swap its ports",
        1.0,
        wrong_sense,
    ));
    all.push(fault(
        "overload",
        "converter overloaded by the own uplink",
        "more distance or a filter between feed and converter",
        1.0,
        even(0.2, 6.0)
            .map(|m| b.shift(&b.x0, &[("symptom.transmit_rise", m)]))
            .collect(),
    ));
    all.push(fault(
        "pa_compression",
        "power amplifier in compression",
        "less drive",
        1.0,
        even(0.3, 3.0)
            .map(|m| {
                b.shift(
                    &b.moved(&i.eirp(0.5 * m)),
                    &[
                        ("symptom.shoulder", 5.0 * m),
                        ("symptom.drive_slope", -0.27 * m),
                    ],
                )
            })
            .collect(),
    ));
    all.push(fault(
        "foldback",
        "power amplifier folds back with heat",
        "shorter overs, better cooling",
        1.0,
        even(0.7, 6.0)
            .map(|m| {
                b.shift(
                    &b.moved(&i.eirp(m)),
                    &[("symptom.power_step", m), ("symptom.sink", 12.0 + 2.0 * m)],
                )
            })
            .collect(),
    ));
    all.push(fault(
        "fan",
        "failing fan or clogged sink",
        "clean or replace it",
        0.7,
        even(10.0, 40.0)
            .map(|m| b.shift(&b.x0, &[("symptom.sink", m)]))
            .collect(),
    ));
    all.push(fault(
        "water_up",
        "water in the transmit cable or its connectors",
        "replace the cable, seal the connectors",
        0.7,
        even(0.7, 6.0)
            .map(|m| {
                b.shift(
                    &b.moved(&i.eirp(m)),
                    &[("symptom.reflected", -1.2 * m), ("symptom.wet", 0.0)],
                )
            })
            .collect(),
    ));
    Ok(all)
}
