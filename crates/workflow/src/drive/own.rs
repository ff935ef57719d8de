//! Carriers in a recording against the beacon in the same bandwidth, and the shoulders of what may be the own one.

use super::overdriven;
use super::peak::Heard;
use super::plan::SegmentPlan;
use crate::WorkflowError;
use crate::measure::{MeasureOptions, Measured, measure_file};
use slantpath_capture::wideband::{Carrier, Wideband};
use slantpath_plan::Known;
use slantpath_plan::drive::drive_for_output;
use slantpath_plan::neighbour::{Rule, Verdict, standing};
use slantpath_quantity::decibel::db_of_relative_u;
use slantpath_quantity::{Answer, Estimate, Frequency, Unit, show, to_db};
use slantpath_report::Section;
use slantpath_station::Station;
use slantpath_station::checked::Passband;
use slantpath_stats::Progress;
use std::path::PathBuf;

/// Every carrier of the recordings that can be compared with the beacon, and the correction of each.
///
/// # Errors
/// A recording that cannot be read.
pub(super) fn section(
    station: &Station,
    segments: &[SegmentPlan],
    paths: &[PathBuf],
    o: &MeasureOptions,
    progress: &Progress,
) -> Result<Section, WorkflowError> {
    let mut s = Section::new(
        "neighbour_measured",
        "carriers as recorded: against the beacon in the same bandwidth, and their shoulders",
        Vec::new(),
    );
    for (i, path) in paths.iter().enumerate() {
        let m = measure_file(station, path, o, progress)?;
        let mut n = Numbered {
            recording: i + 1,
            carriers: 0,
        };
        for plan in segments {
            let Some(passband) = station.satellite.passband(&plan.passband) else {
                continue;
            };
            match &plan.rule {
                Some(Rule::Peak { limit_db }) => {
                    peaks(&mut s, &mut n, &m, passband, plan, *limit_db, o)?;
                }
                Some(Rule::Density { limit_db, .. }) => {
                    densities(&mut s, &mut n, &m, passband, plan, *limit_db)?;
                }
                None => {}
            }
            if let Some(w) = &m.wideband {
                overdriven::shoulders(&mut s, &mut n, w, &places(&m, w), passband, plan)?;
            }
        }
        if n.carriers == 0 {
            s.text.push(format!(
                "{}: no carrier besides the beacon could be compared, and none shows shoulders. Record beacon and carrier \
                 together, the whole passband in one recording; for shoulders record behind a coupler and attenuator at the \
                 amplifier.",
                path.display()
            ));
        }
    }
    Ok(s)
}

/// Counts what was told, so that each answer has a name of its own.
pub(super) struct Numbered {
    pub recording: usize,
    pub carriers: usize,
}

impl Numbered {
    pub(super) fn next(&mut self, passband: &str) -> String {
        self.carriers += 1;
        format!(
            "{passband}.recording_{}.carrier_{}",
            self.recording, self.carriers
        )
    }
}

/// The downlink frequency of an offset in the recording, with the oscillator's error taken off where it was found.
fn rf_hz(m: &Measured, offset_hz: f64) -> f64 {
    let x = &m.measurement;
    match &x.location {
        Some(l) => l.meaning.rf_hz(offset_hz - l.shift_hz, x.centre_hz),
        None => x.centre_hz + offset_hz,
    }
}

/// The frequency of every carrier of a wideband measurement.
fn places(m: &Measured, w: &Wideband) -> Vec<f64> {
    w.carriers
        .iter()
        .map(|k| rf_hz(m, k.shape.centre_hz))
        .collect()
}

/// Narrow signals: peak envelope power against the beacon's power.
fn peaks(
    s: &mut Section,
    n: &mut Numbered,
    m: &Measured,
    passband: &Passband,
    plan: &SegmentPlan,
    limit_db: f64,
    o: &MeasureOptions,
) -> Result<(), WorkflowError> {
    let Some(reference) = passband.reference_beacon() else {
        return Ok(());
    };
    let named = format!("beacon {}.{}", passband.name, reference.name);
    let signals = &m.measurement.signals;
    let Some(beacon) = signals
        .iter()
        .find(|g| g.identity.as_deref() == Some(named.as_str()))
    else {
        return Ok(());
    };
    let mut heard: Option<Heard> = None;
    for g in signals {
        let f = rf_hz(m, g.centre_hz);
        let skip = g
            .identity
            .as_deref()
            .is_some_and(|w| w.starts_with("beacon ") || w.starts_with("image "));
        if skip || !passband.downlink.contains(Frequency::hz(f)) {
            continue;
        }
        if heard.is_none() {
            heard = Some(Heard::open(&m.path, m.measurement.sample_rate_hz, &o.open)?);
        }
        let at = format!("{} MHz", show::fixed(f / 1e6, 4));
        let Some(peak) = heard.as_ref().and_then(|h| h.peak(g)) else {
            s.text.push(format!(
                "{at}: the recording is too short for a peak envelope power; record some seconds."
            ));
            continue;
        };
        let over = Known::new(
            peak.dbfs.value - beacon.level_dbfs,
            peak.dbfs.u.hypot(beacon.u_level_db),
        );
        let how = format!(
            "Peak envelope power passed for {} % of {} s in {} kHz, noise taken out; the mean is {} dB lower.",
            show::significant(100.0 * peak.passed, 1),
            show::significant(peak.seconds, 2),
            show::fixed(peak.width_hz / 1e3, 1),
            show::fixed(peak.dbfs.value - g.level_dbfs, 1)
        );
        correction(s, n, plan, over, limit_db, &at, &how)?;
    }
    Ok(())
}

/// Wide carriers: density against the beacon's density.
fn densities(
    s: &mut Section,
    n: &mut Numbered,
    m: &Measured,
    passband: &Passband,
    plan: &SegmentPlan,
    limit_db: f64,
) -> Result<(), WorkflowError> {
    let Some(w) = &m.wideband else { return Ok(()) };
    let Some(reference) = passband.reference_beacon() else {
        return Ok(());
    };
    let Some(rate) = reference.kind.symbol_rate() else {
        return Ok(());
    };
    // The beacon: the carrier of its symbol rate nearest to its place, within one symbol rate of it.
    let away = |k: &Carrier| (rf_hz(m, k.shape.centre_hz) - reference.frequency.as_hz()).abs();
    let Some(beacon) = w
        .carriers
        .iter()
        .filter(|k| (k.clock.rate / rate - 1.0).abs() < 0.01 && away(k) < rate && k.shape_fitted)
        .min_by(|a, b| away(a).total_cmp(&away(b)))
    else {
        return Ok(());
    };
    for k in &w.carriers {
        let f = rf_hz(m, k.shape.centre_hz);
        if k.number == beacon.number
            || !k.shape_fitted
            || !passband.downlink.contains(Frequency::hz(f))
        {
            continue;
        }
        let over = Known::new(
            to_db(k.shape.density / beacon.shape.density),
            db_of_relative_u(k.shape.u_density.hypot(beacon.shape.u_density)),
        );
        let at = format!(
            "{} MHz, {} kBd",
            show::fixed(f / 1e6, 3),
            show::fixed(k.clock.rate / 1e3, 1)
        );
        correction(
            s,
            n,
            plan,
            over,
            limit_db,
            &at,
            "Density in the flat middle of each carrier, noise taken off.",
        )?;
    }
    Ok(())
}

/// The change of level that just keeps the rule, and the change of drive it takes if the carrier is the own one.
fn correction(
    s: &mut Section,
    n: &mut Numbered,
    plan: &SegmentPlan,
    over: Known,
    limit_db: f64,
    at: &str,
    how: &str,
) -> Result<(), WorkflowError> {
    let got = standing(over, limit_db)?;
    let id = n.next(&plan.passband);
    let verdict = match got.verdict {
        Verdict::Keeps => "It keeps the rule.",
        Verdict::Breaks => "It breaks the rule.",
        Verdict::Unresolved => "The recording cannot tell on which side of the rule it is.",
    };
    s.answers.push(
        Answer::known(
            format!("{id}.over_beacon"),
            format!("{at}: level over the beacon in the same bandwidth"),
            Unit::Db,
            Estimate::normal(over.value, over.u),
        )
        .because(how),
    );
    s.answers.push(
        Answer::known(
            format!("{id}.correction"),
            format!("{at}: change of level that just keeps the rule"),
            Unit::Db,
            Estimate::normal(got.correction_db.value, got.correction_db.u),
        )
        .because(verdict),
    );
    if let (Verdict::Breaks, Some(now)) = (got.verdict, &plan.stated)
        && let Some(drive) = drive_for_output(
            &plan.chain,
            &plan.waveform,
            now.out_dbm + got.correction_db.value,
            plan.max_drive_dbm,
        )?
    {
        s.text.push(format!(
            "If the carrier at {at} is yours: {} ± {} dB less level takes {} dB less drive, as the amplifier compresses by {} dB \
             at the stated level.",
            show::fixed(-got.correction_db.value, 1),
            show::fixed(got.correction_db.u, 1),
            show::fixed(now.drive_dbm - drive, 1),
            show::fixed(now.compression_db, 1)
        ));
    }
    Ok(())
}
