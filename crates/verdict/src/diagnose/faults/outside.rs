//! Faults of dish, satellite, receiver settings and of the measuring itself.

use super::Fault;
use super::bench::{Bench, Inputs, even, fault, rebuilt, rebuilt_with};
use slantpath_link::{Air, Conditions, LinkError, Memory};

/// Percentages of an average year whose rain is a size of this hypothesis.
const RAINY_PERCENT: [f64; 6] = [1.0, 0.3, 0.1, 0.03, 0.01, 0.003];

/// Attenuation and rise of the noise in the ratio of the model; 2.4 GHz hardly notices.
fn rain(b: &Bench, conditions: &Conditions) -> Result<Vec<Vec<f64>>, LinkError> {
    let mut memory = Memory::default();
    RAINY_PERCENT
        .iter()
        .map(|percent| {
            let wet = Conditions {
                air: Air::Exceeded { percent: *percent },
                ..*conditions
            };
            rebuilt_with(b, b.station, &wet, &[("symptom.rain", 1.0)], &mut memory)
        })
        .collect()
}

pub(super) fn faults(
    b: &Bench,
    i: &Inputs,
    conditions: &Conditions,
) -> Result<Vec<Fault>, LinkError> {
    let mut all = Vec::new();
    let s = b.station;
    all.push(fault(
        "rain",
        "rain or wet snow in the air on the path",
        "wait until it has passed",
        1.0,
        rain(b, conditions)?,
    ));
    all.push(fault(
        "moved_dish",
        "dish has moved",
        "point it anew and tighten the clamps",
        1.0,
        even(0.3, 1.2)
            .map(|m| {
                b.shift(
                    &b.moved(&[(i.pointing, m.to_radians())]),
                    &[("symptom.scan_offset", m)],
                )
            })
            .collect(),
    ));
    all.push(fault(
        "elevation",
        "offset angle forgotten: elevation misread",
        "compute the offset angle and set the face by it",
        0.7,
        even(0.6, 3.0)
            .map(|m| {
                b.shift(
                    &b.moved(&[(i.pointing, m.to_radians())]),
                    &[
                        ("symptom.scan_offset", m),
                        ("symptom.elevation", 8.0 + 4.0 * m),
                    ],
                )
            })
            .collect(),
    ));
    let mut defocused = Vec::new();
    for mm in [12.0, 20.0, 28.0, 36.0] {
        let mut moved = s.clone();
        let f = &mut moved.feed.receive.phase_centre.focus_error;
        f.distribution = f.distribution.affine(1.0, 1e-3 * mm);
        defocused.push(rebuilt(
            b,
            &moved,
            conditions,
            &[("symptom.scan_width", 0.012 * (mm - 6.0))],
        )?);
    }
    all.push(fault(
        "defocus",
        "feed out of focus",
        "move the feed along its axis to the widest null between lobes",
        1.0,
        defocused,
    ));
    all.push(fault(
        "transponder",
        "transponder's own noise limits",
        "nothing at home: report the station's part separately",
        1.0,
        even(1.0, 8.0)
            .map(|m| {
                let moves: Vec<_> = i.noise.iter().map(|id| (*id, m)).collect();
                b.shift(&b.moved(&moves), &[])
            })
            .collect(),
    ));
    all.push(fault(
        "beacon",
        "beacon has changed (eclipse, load, operator)",
        "compare with a control receiver",
        1.0,
        even(-4.0, -0.5)
            .map(|m| {
                let moves: Vec<_> = i.beacons.iter().map(|id| (*id, m)).collect();
                b.shift(&b.moved(&moves), &[("symptom.control", m)])
            })
            .collect(),
    ));
    all.push(fault(
        "agc",
        "automatic gain is on",
        "switch it off and record again",
        1.0,
        even(-6.0, -0.3)
            .map(|m| b.shift(&b.x0, &[("symptom.carrier_floor", m)]))
            .collect(),
    ));
    all.push(fault(
        "quantisation",
        "too few steps: quantisation and dither",
        "more gain before the converter",
        0.8,
        even(0.1, 2.0)
            .map(|m| {
                // Coarse steps add noise behind the converter's gain.
                b.shift(
                    &b.moved(&i.fall(0.3 * m)),
                    &[("symptom.steps", -19.0 - 2.0 * m)],
                )
            })
            .collect(),
    ));
    all.push(fault(
        "ingress",
        "terrestrial signals enter behind the converter",
        "screened cable, screwed connectors, a filter",
        1.0,
        even(1.0, 20.0)
            .map(|m| b.shift(&b.x0, &[("symptom.bursts", m)]))
            .collect(),
    ));
    all.push(fault(
        "bandwidth",
        "wrong noise bandwidth or averaged decibels",
        "noise bandwidth of the window, powers averaged",
        1.0,
        even(-4.0, -0.5)
            .chain(even(0.5, 4.0))
            .map(|m| b.shift(&b.x0, &[("symptom.bandwidth", m)]))
            .collect(),
    ));
    all.push(fault(
        "sagging",
        "plastic sags in the afternoon sun",
        "a metal feed holder",
        0.7,
        even(0.4, 3.0)
            .map(|m| {
                b.shift(
                    &b.moved(&[(i.pointing, (0.2 * m.sqrt()).to_radians())]),
                    &[("symptom.daily", m), ("symptom.heat_off", 0.5 * m)],
                )
            })
            .collect(),
    ));
    Ok(all)
}
