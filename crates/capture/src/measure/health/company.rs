//! What else is in the recording: spurs, splatter, the own transmission, gaps, company on a beacon, another place.

use super::{Consequence, Facts, Flag, FlagKind, Severity};
use crate::signals::Signal;
use slantpath_quantity::Unit;
use slantpath_quantity::decibel::db_of_relative_u;

pub(super) fn spurs(x: &Facts<'_>, signals: &[Signal], flags: &mut Vec<Flag>) {
    let found: Vec<&Signal> = signals
        .iter()
        .filter(|s| s.identity.as_deref().is_some_and(|i| i.starts_with("spur")))
        .collect();
    let Some(worst) = found.first() else { return };
    if x.location.is_none() {
        return;
    }
    flags.push(
        Flag::new(
            FlagKind::Spurs,
            Severity::Note,
            "lines outside every passband",
            format!(
                "{} steady line(s) that no satellite sends, the strongest at {:+.2} kHz with {:.1} dBFS",
                found.len(),
                worst.centre_hz * 1e-3,
                worst.level_dbfs
            ),
        )
        .figure("strongest", worst.level_dbfs, Unit::Dbfs)
        .means("they are left out of every noise window", "none needed"),
    );
}

pub(super) fn splatter(x: &Facts<'_>, signals: &[Signal], flags: &mut Vec<Flag>) {
    for (name, step) in x.steps {
        let Ok(s) = step else { continue };
        if s.outside_chi2 > 6.0 {
            let near = signals.iter().find(|g| {
                s.windows.iter().any(|w| {
                    g.centre_hz > w.0 - g.bandwidth_hz && g.centre_hz < w.1 + g.bandwidth_hz
                })
            });
            flags.push(
                Flag::new(
                    FlagKind::Splatter,
                    Severity::Warning,
                    "the noise window outside is not flat",
                    format!(
                        "parts of the window beyond the skirt of {name} scatter {:.1} times more than noise{}",
                        s.outside_chi2.sqrt(),
                        near.map_or(String::new(), |g| format!("; a signal stands at {:+.1} kHz", g.centre_hz * 1e-3))
                    ),
                )
                .figure("scatter over noise, squared", s.outside_chi2, Unit::One)
                .means("the noise step may read low", "record when the neighbouring frequencies are quiet")
                .adding(db_of_relative_u(s.u_outside) * s.outside_chi2.sqrt(), &[Consequence::NoiseStep]),
            );
        }
    }
}

pub(super) fn own_transmitter(x: &Facts<'_>, signals: &[Signal], flags: &mut Vec<Flag>) {
    let own = signals
        .iter()
        .find(|s| s.identity.as_deref() == Some("own transmission"));
    let said = x.about.mount.transmitting == Some(true);
    if own.is_none() && !said {
        return;
    }
    let evidence = match own {
        Some(s) => format!(
            "a signal stands at the own downlink frequency, {:+.1} kHz, {:.1} dBFS",
            s.centre_hz * 1e-3,
            s.level_dbfs
        ),
        None => "the recording says so".to_string(),
    };
    flags.push(
        Flag::new(
            FlagKind::OwnTransmitter,
            Severity::Warning,
            "the own transmitter is on",
            evidence,
        )
        .means(
            "the receiver's noise may be raised and its gain lowered while it is on",
            "record with the transmitter off, and once more with it on, to see the difference",
        ),
    );
}

pub(super) fn lost_samples(x: &Facts<'_>, flags: &mut Vec<Flag>) {
    let gaps = x.about.segments.iter().filter(|s| !s.contiguous).count();
    // A gap turns the phase of every beacon at once; one beacon alone may be somebody's keying.
    let found: Vec<&[(f64, f64)]> = x
        .beacons
        .iter()
        .filter_map(|b| b.found.as_ref())
        .map(|f| f.phase_steps.as_slice())
        .collect();
    let times: Vec<(f64, f64)> = found
        .first()
        .into_iter()
        .flat_map(|s| s.iter().copied())
        .filter(|(t, _)| {
            found
                .iter()
                .all(|o| o.iter().any(|(u, _)| (u - t).abs() < 0.08))
        })
        .collect();
    if gaps == 0 && times.is_empty() {
        return;
    }
    let evidence = if let Some((t, step)) = times.first() {
        format!(
            "a beacon's phase steps by {step:+.2} rad at {t:.2} s ({} such steps)",
            times.len()
        )
    } else {
        format!("the recording says that {gaps} stretch(es) do not follow on")
    };
    flags.push(
        Flag::new(
            FlagKind::LostSamples,
            Severity::Warning,
            "samples are missing",
            evidence,
        )
        .figure("steps of the phase", times.len() as f64, Unit::One)
        .means(
            "frequencies and drift suffer; energies do not",
            "record to a faster disk or at a lower rate",
        ),
    );
}

pub(super) fn interference(x: &Facts<'_>, flags: &mut Vec<Flag>) {
    if flags.iter().any(|f| f.kind == FlagKind::GainChanges) {
        // A gain that follows the traffic fills the gaps by itself.
        return;
    }
    for b in x.beacons {
        let Some(f) = &b.found else { continue };
        let id = format!("{}.{}", b.plan.passband, b.plan.name);
        let Some(company) = &f.company else { continue };
        flags.push(
            Flag::new(
                FlagKind::BeaconInterference,
                if company.trusted { Severity::Warning } else { Severity::Refusal },
                "something stands on a beacon",
                format!("{id}: {}", company.evidence),
            )
            .figure("power beside the beacon's own", 100.0 * company.ratio, Unit::Percent)
            .means(
                if company.trusted {
                    "it is taken off the beacon's power; what that leaves uncertain is part of the uncertainty"
                } else {
                    "the level of this beacon is not given; the other beacons are not affected"
                },
                "look for a spur of the receiver with the LNB unpowered",
            ),
        );
    }
}

pub(super) fn place(x: &Facts<'_>, flags: &mut Vec<Flag>) {
    let Some(l) = x.location else { return };
    let Some(r) = l.runner_up else { return };
    if l.score - r.score < 2.0 {
        flags.push(
            Flag::new(
                FlagKind::AmbiguousPlace,
                Severity::Warning,
                "the place of the beacons is not certain",
                format!(
                    "an oscillator off by {:+.1} kHz explains the recording nearly as well as {:+.1} kHz",
                    r.shift_hz * 1e-3,
                    l.shift_hz * 1e-3
                ),
            )
            .means(
                "every figure rests on the beacons being where they were found",
                "record a wider band, so that two beacons or a passband's edge show",
            ),
        );
    }
}
