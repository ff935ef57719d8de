//! Cooling and supply of the power amplifier, from the station file or from a log.

use super::{DriveOptions, load_log};
use crate::WorkflowError;
use slantpath_plan::Known;
use slantpath_plan::drive::{Ceiling, Waveform, WaveformKind};
use slantpath_plan::heat::{Cooling, Learned, learn};
use slantpath_plan::supply::{Electric, Supply, electric};
use slantpath_quantity::{Contributor, Power};
use slantpath_station::Station;
use slantpath_station::checked::{PartKind, SupplySource};

/// What feeds and cools the amplifier.
#[derive(Debug)]
pub struct Plant {
    /// Measured efficiencies: output W, efficiency, its u.
    pub efficiency: Vec<(f64, f64, f64)>,
    /// Cooling as written, if it is.
    pub written: Option<Cooling>,
    /// What a log taught.
    pub learned: Option<Learned>,
    /// Whether the amplifier folds back by itself.
    pub foldback: bool,
    /// Supply, if written.
    pub supply: Option<Supply>,
    /// Rated volts of the amplifier.
    pub rated_v: Option<f64>,
}

impl Plant {
    /// Cooling in force: the log's, else the written one.
    pub fn cooling(&self) -> Option<&Cooling> {
        self.learned
            .as_ref()
            .and_then(|l| l.cooling.as_ref())
            .or(self.written.as_ref())
    }
    /// DC power and heat for an output envelope in watt.
    pub fn electric(&self, envelope_w: &[f64]) -> Option<Electric> {
        electric(&self.efficiency, envelope_w).ok()
    }
}

fn k(c: &Contributor) -> Known {
    Known::new(c.distribution.mean(), c.distribution.u())
}

fn celsius(c: &Contributor) -> Known {
    Known::new(c.distribution.mean() - 273.15, c.distribution.u())
}

/// Reads the station's plant and the log.
pub(super) fn plant(station: &Station, o: &DriveOptions) -> Result<Plant, WorkflowError> {
    let amplifier = station
        .transmit
        .as_ref()
        .and_then(|t| t.power_amplifier())
        .and_then(|(_, p)| match &p.kind {
            PartKind::Amplifier(a) => Some(a),
            _ => None,
        });
    let efficiency: Vec<(f64, f64, f64)> = amplifier
        .map(|a| {
            a.efficiency
                .iter()
                .map(|e| {
                    let d = e.efficiency.distribution;
                    // A figure without its own uncertainty is taken as read to 5 % (common practice, no source).
                    let u = if d.u() > 0.0 { d.u() } else { 0.05 * d.mean() };
                    (Power::dbw(e.output_dbw).as_w(), d.mean(), u)
                })
                .collect()
        })
        .unwrap_or_default();
    let written = station.cooling.as_ref().map(|c| Cooling {
        sink: k(&c.sink),
        sink_time: k(&c.sink_time),
        cabinet: c
            .cabinet
            .as_ref()
            .zip(c.cabinet_time.as_ref())
            .map(|(r, t)| (k(r), k(t))),
        device: k(&c.device),
        limit_c: celsius(&c.limit),
        air_c: celsius(&c.ambient),
    });
    let heat = |out: f64| electric(&efficiency, &[out]).ok().map(|e| e.heat_w.value);
    let learned = match (&o.log, &written) {
        (None, _) => None,
        (Some(_), None) => {
            return Err(WorkflowError::argument(
                "a log needs `[cooling]` in the station file",
                "write `sink`, `sink_time` and `limit` as far as they are known; the log improves them",
            ));
        }
        // A digital thermometer beside a sink: 0.3 K per row; 1 dB of output is a step (common practice, no source).
        (Some(path), Some(c)) => Some(learn(&load_log(path)?, c, &heat, 0.3, 1.0)?),
    };
    let volts = amplifier.and_then(|a| a.supply_volts.as_ref()).map(k);
    Ok(Plant {
        written,
        learned,
        foldback: station.cooling.as_ref().is_some_and(|c| c.foldback),
        rated_v: volts
            .map(|v| v.value)
            .or_else(|| station.supply.as_ref().map(|s| s.volts.distribution.mean())),
        supply: station.supply.as_ref().map(|s| Supply {
            volts: k(&s.volts),
            cable_ohm: k(&s.cable_resistance),
            max_current_a: s.max_current.as_ref().map(|c| c.distribution.mean()),
            battery_wh: (s.source == SupplySource::Battery)
                .then_some(s.battery.as_ref())
                .flatten()
                .map(|b| b.distribution.mean() / 3600.0 * s.volts.distribution.mean()),
            usable: o.usable,
            charge_w: o.charge_w,
            receive_w: o.receive_w,
        }),
        efficiency,
    })
}

/// Heights of an envelope of mean `out_w`, for every seventh sample: not the same place of every symbol.
pub(super) fn envelope(w: &Waveform, out_w: f64) -> Vec<f64> {
    w.samples()
        .iter()
        .step_by(7)
        .map(|z| z.norm_sqr() * out_w)
        .collect()
}

/// Highest output whose mean heat the sink stands for ever, up to `top_dbm`; `None` when heat does not limit.
pub(super) fn heat_of(
    plant: &Plant,
    w: &Waveform,
    duty: f64,
    top_dbm: f64,
) -> Option<(Ceiling, f64)> {
    let cooling = plant.cooling()?;
    let r = cooling.total();
    let allowed = (cooling.limit_c.value - cooling.air_c.value) / r.value;
    let heat = |dbm: f64| {
        let e = plant.electric(&envelope(w, Power::dbm(dbm).as_w()))?;
        Some(e.heat_w.value * duty)
    };
    let top = if top_dbm.is_finite() { top_dbm } else { 60.0 };
    // Heat rises with output up to a maximum; the first crossing from below is the limit.
    let mut dbm = top - 40.0;
    while dbm < top {
        if heat(dbm)? >= allowed {
            let (mut lo, mut hi) = (dbm - 0.5, dbm);
            for _ in 0..12 {
                let mid = 0.5 * (lo + hi);
                if heat(mid)? >= allowed {
                    hi = mid;
                } else {
                    lo = mid;
                }
            }
            // dB per watt of heat by a difference, times the allowed heat's own uncertainty.
            let slope = 0.2 / (heat(lo + 0.1)? - heat(lo - 0.1)?).abs().max(1e-9);
            let u_allowed =
                (cooling.limit_c.u.hypot(cooling.air_c.u) / r.value).hypot(allowed * r.u / r.value);
            return Some((
                Ceiling {
                    what: format!(
                        "heat (sink at {:.0} °C in air of {:.0} °C)",
                        cooling.limit_c.value, cooling.air_c.value
                    ),
                    out_dbm: lo,
                },
                slope * u_allowed,
            ));
        }
        dbm += 0.5;
    }
    None
}

/// Highest output at which the supply still gives the current; `None` when it does not limit below `top_dbm`.
///
/// Speech is held at its crest: a supply's limit acts within milliseconds. Keyed symbols are faster than its capacitors and
/// count by their mean.
pub(super) fn current_of(plant: &Plant, w: &Waveform, top_dbm: f64) -> Option<(Ceiling, f64)> {
    let most = plant.supply.as_ref()?.max_current_a?;
    let rated = plant.rated_v.filter(|v| *v > 0.0)?;
    let crest = match w.kind() {
        WaveformKind::Speech(_) => Some(w.planning_crest_db()),
        _ => None,
    };
    let current = |dbm: f64| {
        let e = match crest {
            Some(c) => plant.electric(&[Power::dbm(dbm + c).as_w()])?,
            None => plant.electric(&envelope(w, Power::dbm(dbm).as_w()))?,
        };
        Some(Known::new(e.dc_w.value / rated, e.dc_w.u / rated))
    };
    let top = if top_dbm.is_finite() { top_dbm } else { 60.0 };
    // Current only rises with output.
    if current(top)?.value <= most {
        return None;
    }
    let (mut lo, mut hi) = (top - 40.0, top);
    for _ in 0..14 {
        let mid = 0.5 * (lo + hi);
        if current(mid)?.value > most {
            hi = mid;
        } else {
            lo = mid;
        }
    }
    let slope = 0.2
        / (current(lo + 0.1)?.value - current(lo - 0.1)?.value)
            .abs()
            .max(1e-9);
    Some((
        Ceiling {
            what: format!("the supply's largest current ({most:.1} A)"),
            out_dbm: lo,
        },
        slope * current(lo)?.u,
    ))
}
