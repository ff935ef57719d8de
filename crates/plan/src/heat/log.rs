//! What a temperature log teaches: resistances and time constants, and whether the amplifier folds back.

use super::Cooling;
use crate::error::Result;
use crate::known::Known;
use slantpath_chain::thermal::fit::{LogRow, ThermalFit, fit_log};
use slantpath_chain::thermal::foldback::{Foldback, OperatingRow, find_foldback};
use slantpath_quantity::{Temperature, to_db};

/// One row of a log.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoggedRow {
    /// Time, s.
    pub t_s: f64,
    /// Sink, degrees Celsius.
    pub sink_c: f64,
    /// Air, degrees Celsius; `None` when not logged.
    pub air_c: Option<f64>,
    /// Heat put in from now on, W; `None` when not logged.
    pub heat_w: Option<f64>,
    /// Output, W; `None` when not logged.
    pub out_w: Option<f64>,
    /// Drive, dB on any scale; `None` when not logged.
    pub drive_db: Option<f64>,
}

/// What a log taught.
#[derive(Debug, Clone, PartialEq)]
pub struct Learned {
    /// The fit, or why there is none.
    pub fit: std::result::Result<ThermalFit, String>,
    /// Cooling with the log's figures in place of the written ones; `None` without a fit.
    pub cooling: Option<Cooling>,
    /// What the output shows; `None` when it was not logged.
    pub foldback: Option<Foldback>,
    /// What the log could not tell, and what to record instead.
    pub notes: Vec<String>,
    /// Rows used.
    pub rows: usize,
}

/// Learns from a log. Rows without heat take it from `heat_of` (watts of heat for watts of output). Rows without air
/// take the written air, which is said. `sensor_u_k` is the sensor's standard uncertainty per row; `step_db` the fall of
/// output that counts as foldback.
///
/// Two exponentials are tried where the rows allow, and taken when the residuals ask for them.
///
/// # Errors
/// Never for a log that merely teaches nothing: that is told in [`Learned::fit`].
pub fn learn(
    log: &[LoggedRow],
    written: &Cooling,
    heat_of: &dyn Fn(f64) -> Option<f64>,
    sensor_u_k: f64,
    step_db: f64,
) -> Result<Learned> {
    let mut notes = Vec::new();
    if log.iter().any(|r| r.air_c.is_none()) {
        notes.push(format!(
            "The log has no air temperature (or gaps in it): {:.0} °C is taken. Log the air beside the sink: a moving \
             ambient looks like a change of cooling.",
            written.air_c.value
        ));
    }
    let rows: Vec<LogRow> = log
        .iter()
        .filter_map(|r| {
            Some(LogRow {
                t_s: r.t_s,
                power_w: r.heat_w.or_else(|| heat_of(r.out_w?))?,
                air: Temperature::celsius(r.air_c.unwrap_or(written.air_c.value)),
                sensor: Temperature::celsius(r.sink_c),
            })
        })
        .collect();
    let fit = if rows.len() < log.len() / 2 {
        Err("the log tells neither heat nor output, so that its temperatures teach no resistance; add a column `heat` or \
             `output` in watts"
            .to_string())
    } else {
        choose(&rows, sensor_u_k)
    };
    if rows.len() < log.len() && fit.is_ok() {
        notes.push(format!(
            "{} of {} rows without heat or output were left out.",
            log.len() - rows.len(),
            log.len()
        ));
    }
    notes.extend(gap(log));
    let foldback = operating(log)
        .map(|o| find_foldback(&o, step_db))
        .transpose()?;
    if foldback.is_none() {
        notes.push("Without a column `output` a foldback cannot be recognised.".into());
    }
    if let Ok(f) = &fit {
        if f.residual_k > 3.0 * sensor_u_k {
            notes.push(format!(
                "The fit leaves {:.1} K of residuals: wind, Sun on the sink or another heat source was in it.",
                f.residual_k
            ));
        }
        if f.exponentials.iter().any(|e| e.u_r > 0.2 * e.r_k_per_w) {
            notes.push(
                "The log began warm or at one power only: the total resistance is known, its split between sink and \
                 cabinet is not. Record a start from cold."
                    .into(),
            );
        }
    }
    let cooling = fit.as_ref().ok().map(|f| fitted(f, written));
    Ok(Learned {
        fit,
        cooling,
        foldback,
        notes,
        rows: rows.len(),
    })
}

/// Two exponentials when both are well resolved (five standard uncertainties) or when the residuals ask for the second
/// (chi squared of three more unknowns passes 20 once in five thousand); else one. A second one that is slower than the
/// log is long was not seen: it stands for something else, such as air that moved during a gap.
fn choose(rows: &[LogRow], u_k: f64) -> std::result::Result<ThermalFit, String> {
    let span = rows.last().map_or(0.0, |b| b.t_s) - rows.first().map_or(0.0, |a| a.t_s);
    let two = (rows.len() >= 64)
        .then(|| fit_log(rows, 2, u_k))
        .filter(|f| {
            f.as_ref()
                .is_ok_and(|f| f.exponentials.iter().all(|e| e.tau_s < span))
        });
    if let Some(Ok(b)) = &two
        && b.exponentials.iter().all(|e| e.r_k_per_w > 5.0 * e.u_r)
    {
        return Ok(b.clone());
    }
    match (fit_log(rows, 1, u_k).map_err(|e| e.to_string()), two) {
        (Ok(a), Some(Ok(b))) => {
            let gain = (a.residual_k / b.residual_k).powi(2) - 1.0;
            Ok(if rows.len() as f64 * gain > 20.0 {
                b
            } else {
                a
            })
        }
        (Err(_), Some(Ok(b))) => Ok(b),
        (one, _) => one,
    }
}

/// The longest time without rows, when it is much longer than their usual distance.
fn gap(log: &[LoggedRow]) -> Option<String> {
    let mut dt: Vec<f64> = log.windows(2).map(|w| w[1].t_s - w[0].t_s).collect();
    dt.sort_by(f64::total_cmp);
    let (usual, longest) = (*dt.get(dt.len() / 2)?, *dt.last()?);
    (longest > 5.0 * usual).then(|| {
        format!(
            "The log has a gap of {longest:.0} s (rows are {usual:.0} s apart): heat and air are taken as they were before \
             it. Log without gaps, and with the air beside the sink."
        )
    })
}

/// Rows with output, for foldback; a log without drive is taken as made at one drive.
fn operating(log: &[LoggedRow]) -> Option<Vec<OperatingRow>> {
    let rows: Vec<OperatingRow> = log
        .iter()
        .filter_map(|r| {
            Some(OperatingRow {
                t_s: r.t_s,
                drive_db: r.drive_db.unwrap_or(0.0),
                out_db: to_db(r.out_w.filter(|w| *w > 0.0)?),
                sensor: r.sink_c,
            })
        })
        .collect();
    (rows.len() >= 3).then_some(rows)
}

/// The fit in the form of a cooling: one body, or sink and what is behind it (Foster to Cauer: the same step at the sink).
fn fitted(f: &ThermalFit, written: &Cooling) -> Cooling {
    let relative = f.u_r_total / f.r_total;
    let mut out = written.clone();
    match f.exponentials.as_slice() {
        [a, b] => {
            let (n0, n1) = (
                a.r_k_per_w + b.r_k_per_w,
                a.r_k_per_w * b.tau_s + b.r_k_per_w * a.tau_s,
            );
            let c1 = a.tau_s * b.tau_s / n1;
            let e = a.tau_s + b.tau_s - c1 * n0;
            let r1 = n1 / e;
            let r2 = n0 - r1;
            let u_t = |tau: f64| tau * (a.u_tau / a.tau_s).hypot(b.u_tau / b.tau_s);
            out.sink = Known::new(r1, relative * r1);
            out.sink_time = Known::new(c1 * r1, u_t(c1 * r1));
            out.cabinet = Some((Known::new(r2, relative * r2), Known::new(e, u_t(e))));
        }
        _ => {
            if let Some(e) = f.exponentials.first() {
                out.sink = Known::new(e.r_k_per_w, e.u_r);
                out.sink_time = Known::new(e.tau_s, e.u_tau);
                out.cabinet = None;
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::testing::{camp, roof};
    use super::*;
    use slantpath_stats::stream::{named_stream, normal};

    /// A sink behind which a cabinet stands, solved in small Euler steps.
    fn log(c: &Cooling, heat: f64, minutes: u32, noise: f64) -> Vec<LoggedRow> {
        let mut rng = named_stream(5, "log", 0);
        let (mut sink, mut cabinet) = (c.air_c.value, c.air_c.value);
        let mut out = Vec::new();
        for k in 0..minutes * 6 {
            let t_s = 10.0 * f64::from(k);
            out.push(LoggedRow {
                t_s,
                sink_c: sink + noise * normal(&mut rng),
                air_c: Some(c.air_c.value),
                heat_w: Some(heat),
                out_w: Some(10.0),
                drive_db: Some(0.0),
            });
            for _ in 0..100 {
                let h = 0.1;
                match c.cabinet {
                    None => {
                        sink += h * (c.air_c.value + c.sink.value * heat - sink) / c.sink_time.value
                    }
                    Some((r, tau)) => {
                        let flow = (sink - cabinet) / c.sink.value;
                        let (c1, c2) = (c.sink_time.value / c.sink.value, tau.value / r.value);
                        sink += h * (heat - flow) / c1;
                        cabinet += h * (flow - (cabinet - c.air_c.value) / r.value) / c2;
                    }
                }
            }
        }
        out
    }

    #[test]
    fn a_log_gives_the_cooling_back() {
        let l = learn(&log(&roof(), 150.0, 240, 0.1), &roof(), &|_| None, 0.1, 1.0).unwrap();
        let c = l.cooling.unwrap();
        let total = c.total();
        assert!(
            (total.value - 0.33).abs() < 3.0 * total.u.max(1e-3),
            "{total:?}"
        );
        let (_, tau) = c.cabinet.unwrap();
        assert!(
            (tau.value / 1800.0 - 1.0).abs() < 0.05
                && (c.sink_time.value / 480.0 - 1.0).abs() < 0.05,
            "{c:?}"
        );
        assert_eq!(l.foldback, Some(Foldback::None));
        // A cooling of one body is not split in two.
        let l = learn(&log(&camp(), 20.0, 120, 0.1), &camp(), &|_| None, 0.1, 1.0).unwrap();
        let c = l.cooling.unwrap();
        assert!(
            c.cabinet.is_none() && (c.sink.value - 0.9).abs() < 0.01,
            "{c:?}"
        );
    }

    #[test]
    fn a_gap_while_the_air_moves_is_no_second_body() {
        // 20 W at 0.9 K/W and 12 min, air rising by 6 K in two hours, 25 minutes missing.
        let mut rng = named_stream(6, "log", 0);
        let mut sink = 20.0;
        let mut rows = Vec::new();
        for k in 0..720 {
            let t_s = 10.0 * f64::from(k);
            let air = 20.0 + 6.0 * t_s / 7200.0;
            sink += (20.0 * 0.9 - (sink - air)) * 10.0 / 720.0;
            if !(3000.0..4500.0).contains(&t_s) {
                rows.push(LoggedRow {
                    t_s,
                    sink_c: sink + 0.1 * normal(&mut rng),
                    air_c: Some(air),
                    heat_w: Some(20.0),
                    out_w: None,
                    drive_db: None,
                });
            }
        }
        let l = learn(&rows, &camp(), &|_| None, 0.1, 1.0).unwrap();
        let r = l.cooling.unwrap().total();
        assert!((r.value - 0.9).abs() < 0.03, "{r:?}");
        assert!(
            l.notes.iter().any(|n| n.contains("gap of 15")),
            "{:?}",
            l.notes
        );
    }

    #[test]
    fn what_a_log_cannot_tell_is_said() {
        let mut rows = log(&camp(), 20.0, 60, 0.1);
        for r in &mut rows {
            (r.heat_w, r.air_c) = (None, None);
            r.drive_db = None;
        }
        // heat from output where the efficiency is known
        let l = learn(&rows, &camp(), &|out| Some(2.0 * out), 0.1, 1.0).unwrap();
        assert!(
            l.cooling.is_some() && l.notes[0].contains("45 °C is taken"),
            "{:?}",
            l.notes
        );
        let l = learn(&rows, &camp(), &|_| None, 0.1, 1.0).unwrap();
        assert!(l.fit.unwrap_err().contains("`heat`"));
        for r in &mut rows {
            r.out_w = None;
        }
        let l = learn(&rows, &camp(), &|_| None, 0.1, 1.0).unwrap();
        assert!(l.foldback.is_none());
    }
}
