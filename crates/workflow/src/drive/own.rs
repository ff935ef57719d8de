//! The own carrier in a recording, against the beacon in the same bandwidth.

use super::plan::SegmentPlan;
use crate::WorkflowError;
use crate::measure::{MeasureOptions, measure_file};
use slantpath_plan::Known;
use slantpath_plan::drive::drive_for_output;
use slantpath_plan::neighbour::{Rule, Verdict, standing};
use slantpath_quantity::{Answer, Estimate, Unit, show};
use slantpath_report::Section;
use slantpath_station::Station;
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
        "carriers against the beacon in the same bandwidth, as recorded",
        Vec::new(),
    );
    for path in paths {
        let m = measure_file(station, path, o, progress)?;
        let mut n = 0;
        for signal in &m.measurement.signals {
            let Some((over, u)) = signal.over_beacon_db else {
                continue;
            };
            let f = m.measurement.centre_hz + signal.centre_hz;
            let place = station
                .satellite
                .passbands
                .iter()
                .find(|p| p.downlink.contains(slantpath_quantity::Frequency::hz(f)));
            let Some(plan) = place.and_then(|p| segments.iter().find(|s| s.passband == p.name))
            else {
                continue;
            };
            let Some(limit_db) = plan.rule.as_ref().map(|r| match r {
                Rule::Peak { limit_db } | Rule::Density { limit_db, .. } => *limit_db,
            }) else {
                continue;
            };
            n += 1;
            let got = standing(Known::new(over, u), limit_db)?;
            let at = format!("{} MHz", show::fixed(f / 1e6, 3));
            s.answers.push(
                Answer::known(
                    format!("{}.carrier_{n}.correction", plan.passband),
                    format!("{at}: change of level that just keeps the rule"),
                    Unit::Db,
                    Estimate::normal(got.correction_db.value, got.correction_db.u),
                )
                .because(match got.verdict {
                    Verdict::Keeps => "It keeps the rule.",
                    Verdict::Breaks => "It breaks the rule.",
                    Verdict::Unresolved => {
                        "The recording cannot tell on which side of the rule it is."
                    }
                }),
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
                    "If the carrier at {at} is yours: {} dB less level takes {} dB less drive, as the amplifier compresses by \
                     {} dB at the stated level.",
                    show::fixed(-got.correction_db.value, 1),
                    show::fixed(now.drive_dbm - drive, 1),
                    show::fixed(now.compression_db, 1)
                ));
            }
        }
        if n == 0 {
            s.text.push(format!(
                "{}: no carrier besides the beacon could be compared. Record beacon and carrier together, the whole passband \
                 in one recording.",
                path.display()
            ));
        }
    }
    Ok(s)
}
