//! Volts and current typed from a meter against what the DC graph of the station gives.

use slantpath_quantity::{Answer, Estimate, Unit, show};
use slantpath_station::Station;
use slantpath_station::checked::{Reading, ReadingQuantity};

/// A meter without a stated uncertainty: its last digit (common practice, no source).
const LEAST_U_V: f64 = 0.1;

/// Each reading of volts at the LNB as predicted, measured and the difference; nothing where the graph does not say which
/// LNB is meant, or does not solve.
pub(super) fn at_the_lnb(station: &Station, readings: &[Reading]) -> Vec<Answer> {
    let volts = |r: &&Reading| r.quantity == ReadingQuantity::LnbVolts;
    if !readings.iter().any(|r| volts(&r)) {
        return Vec::new();
    }
    let (Ok(report), Ok(spread)) = (
        slantpath_station::dc::network(station, None).and_then(|n| n.solve()),
        slantpath_station::dc::spread(station, None),
    ) else {
        return Vec::new();
    };
    let mut out = Vec::new();
    for r in readings.iter().filter(volts) {
        let meant = report
            .loads
            .iter()
            .find(|l| {
                r.branch
                    .as_ref()
                    .is_some_and(|b| l.fed_by.iter().any(|f| f == b))
            })
            .or_else(|| report.loads.first().filter(|_| report.loads.len() == 1));
        let Some(there) = meant.and_then(|l| spread.iter().find(|s| s.name == l.name)) else {
            continue;
        };
        let d = r.value.distribution;
        let u_read = if d.u() > 0.0 { d.u() } else { LEAST_U_V };
        let (v, u) = there.volts;
        let id = format!("{}.volts", there.name);
        let (difference, u_difference) = (d.mean() - v, u.hypot(u_read));
        let label = |what: &str| format!("volts at {}: {what}", there.name);
        out.push(Answer::known(
            &id,
            label("predicted"),
            Unit::V,
            Estimate::normal(v, u),
        ));
        out.push(Answer::known(
            format!("{id}.measured"),
            label(&format!("measured ({})", r.value.source)),
            Unit::V,
            Estimate::normal(d.mean(), u_read),
        ));
        let normalised = difference / u_difference;
        let text = format!(
            "{} standard uncertainties{}",
            show::fixed(normalised, 1),
            if normalised < -2.0 {
                ": more is lost on the way than the cable and the parts account for (a connector, another supply on \
                 the splitter, a part that passes no direct current)"
            } else if normalised > 2.0 {
                ": less is lost than stated, or the receiver sets more than its file says"
            } else {
                ""
            }
        );
        out.push(
            Answer::known(
                format!("{id}.disagreement"),
                label("measured less predicted"),
                Unit::V,
                Estimate::normal(difference, u_difference),
            )
            .because(text),
        );
    }
    out
}
