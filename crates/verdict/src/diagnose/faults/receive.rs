//! Faults between feed and samples.

use super::Fault;
use super::bench::{Bench, Inputs, even, fault};
use slantpath_quantity::{from_db, to_db};
use slantpath_station::checked::PartKind;

pub(super) fn faults(b: &Bench, i: &Inputs) -> Vec<Fault> {
    let mut all = Vec::new();
    let lnb = b
        .station
        .receive
        .nodes
        .iter()
        .find_map(|n| match &n.part.kind {
            PartKind::Lnb(l) => Some(l),
            _ => None,
        });
    // A 0.1 mm film: about 3.6 dB at 10.5 GHz, 0.4 dB at 2.4 GHz (common practice, no source); warm water radiates.
    all.push(fault(
        "wet_feed",
        "wet feed: water or wet snow on or in it",
        "dry it, mend the cover, open the drain hole",
        1.0,
        even(0.6, 5.0)
            .map(|m| {
                let mut moves = vec![(i.ohmic_rx, m)];
                moves.extend(i.ohmic_tx.map(|id| (id, 0.11 * m)));
                b.shift(
                    &b.moved(&moves),
                    &[("symptom.reflected", -1.5 * m), ("symptom.wet", m)],
                )
            })
            .collect(),
    ));
    all.push(fault(
        "water_down",
        "water in the cable from the converter",
        "replace the cable, make a drip loop",
        0.8,
        even(4.0, 25.0)
            .map(|m| {
                b.shift(
                    &b.moved(&i.behind_lnb(m)),
                    &[
                        ("symptom.wet", 0.3),
                        ("symptom.steps", -m),
                        ("symptom.floor", -m),
                    ],
                )
            })
            .collect(),
    ));
    all.push(fault(
        "if_low",
        "intermediate-frequency gain too low",
        "a line amplifier behind the converter, or more gain in the receiver",
        1.0,
        even(8.0, 30.0)
            .map(|m| {
                b.shift(
                    &b.moved(&i.behind_lnb(m)),
                    &[("symptom.steps", -0.5 * m), ("symptom.floor", -m)],
                )
            })
            .collect(),
    ));
    all.push(fault(
        "if_high",
        "intermediate-frequency gain too high",
        "less gain or an attenuator before the receiver",
        1.0,
        even(0.3, 3.0)
            .map(|m| {
                let moves: Vec<_> = i.beacons.iter().map(|id| (*id, -m)).collect();
                b.shift(
                    &b.moved(&moves),
                    &[("symptom.rails", 4.0 + 0.6 * m), ("symptom.steps", 12.0)],
                )
            })
            .collect(),
    ));
    // The wrong polarisation: everything that the satellite sends falls by the isolation.
    all.push(fault(
        "dc_path",
        "DC path at fault: another port or supply chooses the polarisation",
        "trace the DC path, one feeder only",
        1.0,
        even(12.0, 30.0)
            .map(|m| {
                b.shift(
                    &b.moved(&i.fall(m)),
                    &[
                        ("symptom.cross_polar", -20.0 - m),
                        ("symptom.lnb_volts", -5.0),
                    ],
                )
            })
            .collect(),
    ));
    all.push(fault(
        "volts_lost",
        "volts lost in the cable: the polarisation flips when it is hot",
        "thicker cable or feed the converter nearby",
        1.0,
        even(1.2, 4.5)
            .map(|m| {
                b.shift(
                    &b.moved(&i.fall(2.0 * m)),
                    &[
                        ("symptom.lnb_volts", -m),
                        ("symptom.cross_polar", -3.0 * m),
                        ("symptom.heat_off", 3.0 * m),
                    ],
                )
            })
            .collect(),
    ));
    if let Some(l) = lnb {
        all.push(fault(
            "ageing_lnb",
            "ageing converter",
            "replace it",
            1.0,
            even(0.4, 3.0)
                .map(|m| {
                    b.shift(
                        &b.moved(&[(&l.noise_figure.id, m), (&l.gain.id, -2.5 * m)]),
                        &[("symptom.trend", m), ("symptom.floor", -2.5 * m)],
                    )
                })
                .collect(),
        ));
        all.push(fault(
            "lo_drift",
            "oscillator has drifted",
            "follow a beacon; a converter with a reference",
            1.0,
            even(-400.0, -15.0)
                .chain(even(15.0, 400.0))
                .map(|m| b.shift(&b.x0, &[("symptom.lo_offset", m)]))
                .collect(),
        ));
        // The Sun as warm sky behind the dish: the converter's temperature rises by what it adds.
        all.push(fault(
            "sun",
            "Sun behind the satellite",
            "wait some minutes",
            0.7,
            even(30.0, 1500.0)
                .map(|k| {
                    let nf =
                        b.x0.get(
                            b.model
                                .inputs()
                                .find(l.noise_figure.id.as_str())
                                .map_or(usize::MAX, |s| s.index()),
                        )
                        .copied()
                        .unwrap_or(0.7);
                    let warmer = to_db(from_db(nf) + k / 290.0) - nf;
                    b.shift(
                        &b.moved(&[(&l.noise_figure.id, warmer)]),
                        &[("symptom.sun", -4.6)],
                    )
                })
                .collect(),
        ));
    }
    all
}
